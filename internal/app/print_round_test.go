package app_test

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/paper"
)

// fill writes a line of a sheet as a scout fills it in: so many units looked
// at, and the first choice of each word.
func fill(bed string, l paper.Look) string {
	out := []string{bed, l.Word}
	switch {
	case l.Share && l.Of > 0:
		out = append(out, fmt.Sprintf("0/%d", l.Of))
	case l.Share:
		out = append(out, fmt.Sprintf("0/%d", l.Boxes))
	default:
		for range l.Boxes {
			out = append(out, "0")
		}
	}
	if l.Unit != "" {
		out = append(out, "unit="+l.Unit)
	}
	for _, w := range l.Words {
		word := w.Name + "1"
		if len(w.Choice) > 0 {
			word = w.Name + w.Choice[len(w.Choice)-1]
		}
		out = append(out, word+strings.ReplaceAll(w.After, "____", "50"))
	}
	return strings.Join(out, " ") + " # as found"
}

// sameTotals holds the totals of a sheet against those of `leafturn sample`,
// which a scout can ask in the field. A row of that table holds until the next.
func sameTotals(t *testing.T, a *app.App, day civil.Date, bed string, l paper.Look) {
	t.Helper()
	if len(l.Stop) == 0 {
		return
	}
	o := app.SampleOptions{Date: day, Pest: l.Word, Bed: bed, Unit: l.Unit}
	set := strings.Contains(l.How, "Set them")
	if set {
		o.Most = fmt.Sprint(l.Boxes)
	}
	doc, err := a.Sample(ctx, o)
	require.NoError(t, err)
	data := doc.Data.(app.SampleData)
	for _, st := range l.Stop {
		var hold, act *int
		for _, x := range data.Lines {
			if x.Units <= st.After {
				hold, act = x.HoldAt, x.ActAt
			}
		}
		require.Equal(t, hold, st.Hold, "%s %s after %d", bed, l.Word, st.After)
		require.Equal(t, act, st.Act, "%s %s after %d", bed, l.Word, st.After)
	}
	if l.Boxes == data.Protocol && !set {
		return
	}
	if set {
		require.Contains(t, l.How, fmt.Sprintf("`leafturn sample %s %s --most %d`", l.Word, bed, l.Boxes))
	} else {
		require.Contains(t, l.Ask, fmt.Sprintf("at most %d", l.Boxes))
		require.Contains(t, l.Ask, fmt.Sprintf("(without the totals: %d)", data.Protocol), "the protocol in a line names another number")
	}
}

// What is written on the sheets is read as it stands by `count --file`, and
// what a protocol needs to be valid is asked for on the sheet.
func TestRoundSheets_AreNotes(t *testing.T) {
	for _, units := range []string{"metric", "us"} {
		a := newFarm(t, testPath(t), summer, app.FarmOptions{LastFrost: p("04-25"), FirstFrost: p("10-20"), Units: p(units)})
		for _, b := range []string{"A1", "B2"} {
			_, err := a.AddBed(ctx, app.BedOptions{Code: b, Size: "25 m x 1.2 m", Plants: "100", Site: "outdoor"})
			require.NoError(t, err)
		}
		for stage, day := range map[string]string{"planted": "2026-05-10", "budding": "2026-07-01"} {
			_, err := a.Stage(ctx, civil.MustParse(day), stage, []string{"A1", "B2"}, "")
			require.NoError(t, err)
		}
		day := civil.MustParse("2026-07-22")
		r, err := a.RoundSheets(ctx, day, "", "")
		require.NoError(t, err)
		require.Equal(t, units == "us", r.US)
		notes := []string{"date " + r.Date.String(), "by AL"}
		seen := map[string]bool{}
		for _, s := range r.Stops {
			for _, l := range s.Looks {
				notes = append(notes, fill(s.Bed, l))
				seen[l.Word] = true
				require.True(t, l.Boxes > 0 || l.Of > 0, "%s %s", s.Bed, l.Word)
				sameTotals(t, a, day, s.Bed, l)
				for i, st := range l.Stop {
					require.True(t, st.Hold != nil || st.Act != nil, "%s after %d", l.Word, st.After)
					if st.Hold != nil && st.Act != nil {
						require.Less(t, *st.Hold, *st.Act)
					}
					if i == len(l.Stop)-1 {
						require.Equal(t, l.Boxes, st.After, "a box for every unit of the plan")
						require.Equal(t, *st.Hold+1, *st.Act, "the last line decides")
					}
				}
			}
		}
		require.Greater(t, len(seen), 4, "%v", seen)
		require.True(t, slices.ContainsFunc(r.Cues, func(c paper.Cue) bool { return c.Name == "Spider mites" && c.Alike != "" }))
		_, err = a.CountFile(ctx, strings.NewReader(strings.Join(notes, "\n")+"\n"), "notes.txt", app.CountOptions{Date: day})
		require.NoError(t, err, strings.Join(notes, "\n"))
		// Filled in like this, no count is refused for a condition that was not asked for.
		for word := range seen {
			doc, err := a.WhyBed(ctx, day, "A1", word)
			require.NoError(t, err)
			require.NotContains(t, page(t, doc), "not noted", word)
		}
		var b bytes.Buffer
		_, err = paper.Sheets(&b, r, paper.Options{Size: a.PaperSize()})
		require.NoError(t, err)
	}
}
