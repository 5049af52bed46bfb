package app_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/report"
)

// A season is looked back on from a day: what is of a later day is not in it,
// what was voided stands with its reason and counts nowhere, and each figure is
// that of the counts as they were typed.
func TestReview_OfADay(t *testing.T) {
	a := baitFarm(t, testPath(t))
	_, err := a.Stage(ctx, civil.MustParse("2026-05-10"), "planted", []string{"A1", "A2"}, "")
	require.NoError(t, err)
	for _, line := range []string{
		"2026-05-18 A1 slug 4 5 6 4 6 soil=moist air=14C", "2026-05-18 A2 slug 0 0 1 0 0 soil=moist air=14C",
		"2026-05-25 A1 slug 1 0 0 1 0 soil=moist air=14C", "2026-05-25 A2 slug 0 0 0 0 0 soil=dry air=14C",
		"2026-06-15 A1 slug 9 9 9 9 9 soil=moist air=14C",
	} {
		words := strings.Fields(line)
		_, err := a.CountWords(ctx, words[1:], app.CountOptions{Date: civil.MustParse(words[0])})
		require.NoError(t, err)
	}
	_, err = a.CountWords(ctx, strings.Fields("A2 slug 50 50 50 50 50 soil=moist air=14C"), app.CountOptions{Date: civil.MustParse("2026-05-26")})
	require.NoError(t, err)
	_, err = a.Void(ctx, "visit", "6", "the other bed")
	require.NoError(t, err)
	treat(t, a, "A1", "2026-05-19 20:00", app.TreatMore{})
	treat(t, a, "A1", "2026-06-16 20:00", app.TreatMore{})
	for _, day := range []string{"2026-05-19", "2026-05-20", "2026-06-17"} {
		_, err := a.Did(ctx, civil.MustParse(day), "slug", "board_check", []string{"A1"}, "", farm.DoneMore{})
		require.NoError(t, err)
	}
	_, err = a.Void(ctx, "done", "2", "it rained")
	require.NoError(t, err)

	doc, err := a.Review(ctx, "", civil.MustParse("2026-06-01"), false)
	require.NoError(t, err)
	d := doc.Data.(app.ReviewData)
	require.Equal(t, "2026-05-18 to 2026-06-01", d.From.String()+" to "+d.To.String())
	require.Len(t, d.Pests, 1)
	require.Equal(t, app.ReviewPest{Pest: "slug", Name: "slugs", Beds: 2, Visits: 4, Invalid: 1, Units: 20, First: civil.MustParse("2026-05-18"), Last: civil.MustParse("2026-05-25"),
		ActBeds: []string{"A1"}, ActFrom: civil.MustParse("2026-05-18"), Steps: 2}, d.Pests[0])
	require.InDelta(t, 5.0, *d.Beds[0].Highest, 1e-12, "(4+5+6+4+6)/5")
	require.InDelta(t, 0.2, *d.Beds[1].Highest, 1e-12, "the valid one")
	require.Len(t, d.Records.Applications, 1, "not the one of 16 June")
	require.Equal(t, 1, d.Records.Allowances[0].Used)

	text := page(t, doc)
	for _, want := range []string{"4 visits with 20 sample units; 1 of the visits do not count", "done, each bed counted: 1 step, 0 releases, 1 application",
		"Steps that were voided", "VOIDED", "it rained", "board check: ", "watched and counted in no bed: "} {
		require.Contains(t, strings.Join(strings.Fields(text), " "), want)
	}
	for _, never := range []string{"2026-06-16", "2026-06-17", "50.0", "board_check:"} {
		require.NotContains(t, text, never)
	}
	require.Equal(t, 1, strings.Count(text, "!! "), "one warning, said once")

	// Every weekly verdict is the one that the list of its day gave.
	for _, w := range d.Decided {
		doc, err := a.Week(ctx, w.Day)
		require.NoError(t, err)
		for _, bed := range []string{"A1", "A2"} {
			require.Equal(t, slices.Contains(w.Act, bed), verdictOf(t, doc, bed, w.Pest) == "act", "%s %s", w.Day, bed)
		}
	}

	// With pictures they stand behind all words.
	drawn, err := a.Review(ctx, "", civil.MustParse("2026-06-01"), true)
	require.NoError(t, err)
	for i, s := range drawn.Sections {
		require.Equal(t, i == len(drawn.Sections)-1, len(s.Figures) > 0, s.Title)
	}

	_, err = a.Review(ctx, "2025", a.Today(), false)
	require.ErrorContains(t, err, "nothing was counted in 2025")
}

// verdictOf is what a week's list says of a bed and pest.
func verdictOf(t *testing.T, doc *report.Document, bed, pest string) string {
	t.Helper()
	l := doc.Data.(app.WeekData)
	for _, line := range l.Lines {
		for _, v := range line.Basis {
			if v.Bed == bed && v.Pest == pest {
				return fmt.Sprint(v.Verdict)
			}
		}
	}
	return ""
}

// Hundreds of beds give no hundreds of pictures: the most pressing are drawn,
// and the page says how to draw the others.
func TestPictures_OfManyBeds(t *testing.T) {
	a := newFarm(t, testPath(t), summer, app.FarmOptions{})
	var beds []string
	for i := range 60 {
		beds = append(beds, fmt.Sprintf("B%02d", i+1))
		_, err := a.AddBed(ctx, app.BedOptions{Code: beds[i], Size: "12 m x 1 m", Site: "outdoor"})
		require.NoError(t, err)
	}
	_, err := a.Stage(ctx, civil.MustParse("2026-07-01"), "budding", beds, "")
	require.NoError(t, err)
	for _, day := range []string{"2026-07-13", "2026-07-20"} {
		notes := []string{"date " + day}
		for i, b := range beds {
			n := 7 // to be looked at
			if i >= 50 {
				n = 40 // to be acted on
			}
			notes = append(notes, fmt.Sprintf("%s mite %s foliage=dry", b, strings.TrimSpace(strings.Repeat(fmt.Sprint(n, " "), 10))))
		}
		_, err := a.CountFile(ctx, strings.NewReader(strings.Join(notes, "\n")+"\n"), "notes.txt", app.CountOptions{Date: civil.MustParse(day)})
		require.NoError(t, err)
	}
	doc, err := a.WeekPage(ctx, a.Today())
	require.NoError(t, err)
	figures := map[string]int{}
	text := page(t, doc)
	require.Contains(t, text, "Counted in spider mites per leaf.")
	require.Regexp(t, `(?m)^B01  +7 \(\S+ to \S+\)  +watch from 5  +\d\d$`, text, "many beds stand in a table, each with its season")
	require.Regexp(t, `(?m)^B51  +40 \(\S+ to \S+\)  +act from 10  +##$`, text)
	for _, s := range doc.Sections {
		figures[s.Key] = len(s.Figures)
		if s.Key == "do-spider_mite" {
			require.Contains(t, s.Figures[0].Alt, "B51", "what is to be acted on stands first")
			require.Contains(t, fmt.Sprint(s.Notes), "`leafturn plot mite --out mite.png`")
		}
	}
	require.Equal(t, 2, figures["do-spider_mite"])
	require.Equal(t, 4, figures["season"])

	doc, err = a.Review(ctx, "", a.Today(), true)
	require.NoError(t, err)
	last := doc.Sections[len(doc.Sections)-1]
	require.Contains(t, fmt.Sprint(last.Notes), "the 8 beds that were to be acted on for most weeks are drawn; the other 2:")
	require.LessOrEqual(t, len(last.Figures), 12)
	require.Contains(t, page(t, doc), "slugs: all 60 beds")
}

// As long as a season goes on its pictures say the next step of the week's list;
// looked back on from a later day they say how it stood.
func TestReview_PicturesSayWhatIsNext(t *testing.T) {
	a := baitFarm(t, testPath(t))
	_, err := a.Stage(ctx, a.Today().AddDays(-60), "planted", []string{"A1"}, "")
	require.NoError(t, err)
	_, err = a.CountWords(ctx, strings.Fields("A1 slug 9 8 9 9 7 9 9 8 9 soil=moist air=14C"), app.CountOptions{Date: a.Today().AddDays(-8)})
	require.NoError(t, err)
	_, err = a.CountWords(ctx, strings.Fields("A1 slug 9 8 9 9 7 9 9 8 9 soil=moist air=14C"), app.CountOptions{Date: a.Today().AddDays(-1)})
	require.NoError(t, err)
	said := func(day civil.Date) string {
		doc, err := a.Review(ctx, "", day, true)
		require.NoError(t, err)
		out := ""
		for _, s := range doc.Sections {
			for _, f := range s.Figures {
				out += f.Alt + "\n"
			}
		}
		return out
	}
	week, err := a.Week(ctx, a.Today())
	require.NoError(t, err)
	now := said(a.Today())
	require.Contains(t, now, "Bed A1: act. By ")
	require.Contains(t, page(t, week), "Pick slugs by torch")
	require.Contains(t, now, "pick slugs by torch")
	before := said(a.Today().AddDays(-1))
	require.Contains(t, before, "Bed A1: act. Over the level at the last count.")
	require.NotContains(t, before, "leafturn week")
}

// A notice on which nothing is closed must not say CLOSED.
func TestBoard_NothingClosed(t *testing.T) {
	doc, err := baitFarm(t, testPath(t)).Board(ctx, civil.MustParse("2026-07-22"), "")
	require.NoError(t, err)
	require.NotContains(t, page(t, doc), "CLOSED")
	require.Contains(t, page(t, doc), "No bed is closed by what is recorded.")
}
