package app_test

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/render"
	"leafturn/internal/report"
)

// twoSeasons is a farm of four beds on the map with counts in 2025 and 2026:
// aphids were over their level in week 26 of 2025 and week 29 of 2026.
func twoSeasons(t *testing.T) *app.App {
	t.Helper()
	a := newFarm(t, testPath(t), summer, app.FarmOptions{
		Country: p("US"), Zone: p("America/Los_Angeles"), Hardiness: p("8a"), LastFrost: p("04-25"), FirstFrost: p("10-20"), Pests: p("slug,mite,aphid,mosaic"),
	})
	codes := []string{"A1", "A2", "B1", "B2"}
	for i, code := range codes {
		_, err := a.AddBed(ctx, app.BedOptions{Code: code, Block: code[:1], Size: "25 m x 1.2 m", Plants: "100", Site: "outdoor", At: fmt.Sprintf("0 m, %d m", 3*i)})
		require.NoError(t, err)
	}
	for _, year := range []string{"2025", "2026"} {
		for _, s := range [][2]string{{"-05-15", "planted"}, {"-05-28", "emerged"}, {"-06-15", "pinched"}, {"-07-05", "budding"}} {
			_, err := a.Stage(ctx, civil.MustParse(year+s[0]), s[1], codes, "")
			require.NoError(t, err)
		}
	}
	for _, c := range [][2]string{
		{"2025-06-23", "A1 aphid 20*12"}, {"2025-08-25", "A1 aphid 20*0"}, {"2025-07-07", "B1 mosaic 2/100"},
		{"2026-06-08", "A2 aphid 20*0"}, {"2026-07-13", "A2 aphid 20*12"}, {"2026-07-13", "B1 aphid 20*0"},
	} {
		_, err := a.CountWords(ctx, strings.Fields(c[1]), app.CountOptions{Date: civil.MustParse(c[0])})
		require.NoError(t, err, c[1])
	}
	return a
}

func companions(t *testing.T, a *app.App, o app.CompanionOptions) (app.CompanionsData, string) {
	t.Helper()
	doc, _, err := a.Companions(ctx, civil.MustParse("2026-07-20"), o)
	require.NoError(t, err)
	var text bytes.Buffer
	require.NoError(t, render.Text(&text, *doc, render.Options{Width: 88}))
	page, _, _ := strings.Cut(text.String(), "\nmade ")
	return doc.Data.(app.CompanionsData), page
}

// The weeks of need are those of both seasons, each with the three before it.
func TestCompanions_NeedsOfAllSeasons(t *testing.T) {
	d, text := companions(t, twoSeasons(t), app.CompanionOptions{})
	require.Equal(t, 2027, d.Year)
	require.Equal(t, []app.CompanionNeed{{Pest: "aphid", Over: []int{26, 29}, Weeks: []int{23, 24, 25, 26, 27, 28, 29}, Seasons: 2}}, d.Needed)
	// A virus of the season before is not forgotten.
	require.Contains(t, text, "signs of dahlia mosaic in B1")
	// A week is a gap where nothing that serves the pest is in bloom.
	serves := map[string]bool{}
	for _, x := range d.Plants {
		if x.Chosen && x.Layout.Placed && slices.Contains(x.Timing.Serves, "aphid") {
			serves[x.Plant] = true
		}
	}
	require.NotEmpty(t, serves)
	for _, w := range d.Calendar {
		require.Equal(t, slices.Contains(d.Needed[0].Weeks, w.Week), slices.Contains(w.Needed, "aphid"), w.Week)
		fed := slices.ContainsFunc(w.Plants, func(s string) bool { return serves[s] })
		require.Equal(t, len(w.Needed) > 0 && !fed, len(w.Gap) > 0, w.Week)
	}
}

// Every point of every bed lies within reach of the alyssum that is planned, and
// the amounts follow from the places.
func TestCompanions_Reach(t *testing.T) {
	d, _ := companions(t, twoSeasons(t), app.CompanionOptions{Only: "alyssum"})
	i := slices.IndexFunc(d.Plants, func(x app.CompanionPlant) bool { return x.Key == "alyssum" })
	l := d.Plants[i].Layout
	require.True(t, l.Placed)
	require.True(t, l.Least)
	require.Equal(t, len(l.Spots), l.Places)
	require.Equal(t, 3*l.Places, *l.Plants) // three a place
	require.Equal(t, int(math.Ceil(1.2*float64(*l.Plants))), *l.Raise)
	for bed := range 4 {
		for x := 0.0; x <= 25; x += 0.25 {
			for _, y := range []float64{3 * float64(bed), 3*float64(bed) + 0.6, 3*float64(bed) + 1.2} {
				near := math.Inf(1)
				for _, s := range l.Spots {
					near = min(near, math.Hypot(*s.EastM-x, *s.NorthM-y))
				}
				require.LessOrEqual(t, near, 15.0)
			}
		}
	}
	// Each sowing stands in the list, and each planting out.
	n := 0
	for _, s := range d.Plants[i].Timing.Sowings {
		n++
		if s.PlantOut != nil {
			n++
		}
	}
	require.Len(t, d.Sowing, n)
}

// A host of a virus is not set against the beds once signs of one were found;
// at the edge it keeps 10 m.
func TestCompanions_VirusHosts(t *testing.T) {
	a := twoSeasons(t)
	d, _ := companions(t, a, app.CompanionOptions{Only: "cosmos,calendula,coriander"})
	why := map[string]string{}
	for _, x := range d.Plants {
		if x.Chosen {
			why[x.Key] = x.Layout.Why
		}
	}
	require.Contains(t, why["cosmos"], "it hosts tospovirus, signs of a virus were found here")
	require.Contains(t, why["calendula"], "how far apart they stand is not known")
	require.Empty(t, why["coriander"])
	d, _ = companions(t, a, app.CompanionOptions{Pests: []string{"cucumber_beetle"}, Only: "squash", Margin: "12 m"})
	for _, x := range d.Plants {
		if x.Chosen {
			require.True(t, x.Layout.Placed)
			for _, s := range x.Layout.Spots {
				dx, dy := max(0, -*s.EastM, *s.EastM-25), max(0, -*s.NorthM, *s.NorthM-10.2)
				require.GreaterOrEqual(t, math.Hypot(dx, dy), 10.0)
			}
		}
	}
}

func TestCompanions_Golden(t *testing.T) {
	_, text := companions(t, twoSeasons(t), app.CompanionOptions{Without: "fennel"})
	file := filepath.Join("testdata", "companions.txt")
	if os.Getenv("UPDATE_GOLDEN") != "" {
		require.NoError(t, os.WriteFile(file, []byte(text), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, string(want), text, "UPDATE_GOLDEN=1 rewrites it; review the diff")
}

// On paper the bloom calendar is a picture, so no note may explain signs that
// are not there.
func TestNextYear_CalendarIsAPicture(t *testing.T) {
	a := twoSeasons(t)
	doc, err := a.NextYear(ctx, a.Today(), app.CoverOptions{Rest: "0"})
	require.NoError(t, err)
	text := strings.Join(strings.Fields(page(t, doc)), " ")
	require.Contains(t, text, "Bloom calendar")
	require.NotContains(t, text, "one sign a week")
}

// Next year's plan on paper is short, and loses no sowing, no caution of a work
// and no source that it cites.
func TestNextYear_OnPaper(t *testing.T) {
	a := twoSeasons(t)
	doc, err := a.NextYear(ctx, a.Today(), app.CoverOptions{Rest: "0"})
	require.NoError(t, err)
	text := ""
	for _, s := range doc.Sections {
		s.MapLines(func(l report.Line) report.Line {
			for _, v := range l.Parts() {
				text += v.Words()
			}
			text += "\n"
			return l
		})
		if s.Table != nil {
			for _, v := range slices.Concat(s.Table.Rows...) {
				text += v.Words() + "\n"
			}
		}
	}
	require.NotRegexp(t, `\bR[0-9]+: `, text, "numbers of rules")
	for _, pest := range []string{"spider_mite", "cucumber_beetle", "nematode_lesion"} {
		require.NotContains(t, text, pest)
	}
	covers, err := a.Covers(ctx, a.Today(), app.CoverOptions{Rest: "0"})
	require.NoError(t, err)
	works := 0
	for _, w := range covers.Data.(app.CoverPlanData).Works {
		works++
		for _, c := range append(w.Safety, w.Notes...) {
			require.Contains(t, text, c)
		}
	}
	require.Positive(t, works)
	cited := map[int]bool{}
	sowings, plants := 0, map[string]bool{}
	for _, s := range doc.Sections {
		s.MapLines(func(l report.Line) report.Line {
			for _, k := range l.Cites() {
				cited[k] = true
			}
			return l
		})
		if s.Key == "sowing" {
			for _, r := range s.Table.Rows {
				key := r[0].Words() + r[1].Words()
				require.False(t, plants[key], "each plant and work has one row")
				plants[key] = true
				sowings += 1 + strings.Count(r[2].Words(), ",")
			}
		}
	}
	require.Len(t, cited, len(doc.Sources))
	full, _, err := a.Companions(ctx, a.Today(), app.CompanionOptions{})
	require.NoError(t, err)
	for _, s := range full.Sections {
		if s.Key == "sowing" {
			require.Len(t, s.Table.Rows, sowings)
		}
	}
}
