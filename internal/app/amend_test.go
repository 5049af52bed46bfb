package app_test

import (
	"bytes"
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/render"
	"leafturn/internal/report"
	"leafturn/internal/store"
)

// What one command wrote is one change, whatever it wrote, and undo after undo
// gives back each page as it was.
func TestUndo_EveryCommand(t *testing.T) {
	ctx := context.Background()
	path := filepath.Join(t.TempDir(), "farm.leafturn")
	now := time.Date(2026, 7, 20, 18, 0, 0, 0, time.UTC)
	str := func(s string) *string { return &s }
	_, err := app.NewFarm(ctx, path, app.FarmOptions{Name: str("Test field (invented)"), Zone: str("UTC"), LastFrost: str("04-25"), FirstFrost: str("10-20")}, "farm new", "", now)
	require.NoError(t, err)
	a, err := app.Open(ctx, path, now)
	require.NoError(t, err)
	defer a.Close()
	one := func(_ string, err error) error { return err }
	said := func(_ app.Said, err error) error { return err }
	amended := func(_ *report.Document, _ app.Said, err error) error { return err }
	day := a.Today()
	steps := []struct {
		name string
		do   func() error
	}{
		{"bed", func() error {
			return one(a.AddBed(ctx, app.BedOptions{Code: "B3", Size: "25 m x 1.2 m", Plants: "100", Site: "outdoor"}))
		}},
		{"beds", func() error {
			return one(a.ImportBeds(ctx, strings.NewReader("code,length_m,width_m\nB4,20,1\nB5,20,1\n"), "beds.csv"))
		}},
		{"bed set", func() error { return one(a.SetBed(ctx, app.BedOptions{Code: "B3", Water: "20 m", Leaves: "45"})) }},
		{"farm set", func() error {
			return one(a.SetFarm(ctx, app.FarmOptions{Organic: str("yes"), At: str("45.1, -122.9")}))
		}},
		{"stages", func() error {
			return one(a.StageFile(ctx, strings.NewReader("date,bed,stage\n2026-05-01,B3,planted\n2026-06-01,B3,emerged\n"), "stages.csv"))
		}},
		{"count", func() error {
			return one(a.CountWords(ctx, strings.Fields("B3 slug 4 0 2 7 1"), app.CountOptions{Date: day}))
		}},
		{"counts", func() error {
			return one(a.CountFile(ctx, strings.NewReader("B4 slug 1 2 3\nB3 mite 12/50\n"), "notes.txt", app.CountOptions{Date: day}))
		}},
		{"label", func() error {
			return said(a.SetLabel(ctx, "bait", []string{"product=Bait (invented)", "rei=4 hours"}, day, false))
		}},
		{"label again", func() error { return said(a.SetLabel(ctx, "bait", []string{"phi=none stated"}, day, false)) }},
		{"treat", func() error {
			return said(a.Treat(ctx, app.TreatOptions{Label: "bait", Beds: []string{"B3", "B4"}, Date: day, Pest: "slug", Amount: "50 g", End: "2026-07-20 17:00"}))
		}},
		{"amend treatment", func() error {
			return amended(a.Amend(ctx, app.AmendOptions{Kind: "treatment", Number: "1", Set: map[string]string{"amount": "55 g"}, Reason: "weighed again"}))
		}},
		{"release", func() error {
			return said(a.Release(ctx, app.ReleaseOptions{Agent: "phytoseiulus_persimilis", Amount: "20", Beds: []string{"B3"}, Date: day}))
		}},
		{"amend visit", func() error {
			return amended(a.Amend(ctx, app.AmendOptions{Kind: "visit", Number: "1", Words: strings.Fields("B3 slug 4 0 2 7 2"), Reason: "misread"}))
		}},
		{"void", func() error { return one(a.Void(ctx, "visit", "2", "wrong bed")) }},
		{"weather", func() error { return one(a.Weather(ctx, app.WeatherOptions{Min: "9C", Max: "22C", Forecast: true})) }},
		{"weather again", func() error { return one(a.Weather(ctx, app.WeatherOptions{Min: "8C", Max: "21C"})) }},
		{"normals", func() error {
			return one(a.WeatherNormals(ctx, strings.NewReader("month,min_c,max_c\n1,0,5\n2,0,5\n3,1,9\n4,3,12\n5,6,16\n6,9,19\n7,11,22\n8,11,22\n9,8,18\n10,5,13\n11,2,8\n12,0,5\n"), "n.csv"))
		}},
		{"threshold", func() error { return one(a.SetThreshold(ctx, day, "slug", "act", "2", "trap", "stems sell badly")) }},
		{"retire", func() error { return said(a.RetireLabel(ctx, "bait", "used up", day)) }},
	}
	pages := func() string {
		var b bytes.Buffer
		for _, f := range []func() (*report.Document, error){
			func() (*report.Document, error) { return a.Week(ctx, day) },
			func() (*report.Document, error) { return a.Visits(ctx, day, nil, false) },
			func() (*report.Document, error) { return a.Labels(ctx, day) },
			func() (*report.Document, error) { return a.Beds(ctx, day) },
			func() (*report.Document, error) { return a.ShowFarm(ctx) },
		} {
			doc, err := f()
			if err != nil { // no beds yet
				b.WriteString(err.Error())
				continue
			}
			require.NoError(t, render.JSON(&b, *doc))
		}
		return b.String()
	}
	states := []string{pages()}
	for _, s := range steps {
		a.As(s.name, "Ana")
		require.NoError(t, s.do(), s.name)
		states = append(states, pages())
	}
	for i := len(steps) - 1; i >= 0; i-- {
		a.As("undo", "")
		_, text, err := a.Undo(ctx)
		require.NoError(t, err)
		require.Contains(t, text, "taken back: leafturn "+steps[i].name+", of 20 Jul 2026 18:00")
		require.Equal(t, states[i], pages(), steps[i].name)
	}
	_, _, err = a.Undo(ctx)
	require.ErrorIs(t, err, store.ErrNothing)
	for i, s := range steps {
		a.As("redo", "")
		_, text, err := a.Redo(ctx)
		require.NoError(t, err)
		require.Contains(t, text, "brought back: leafturn "+s.name+",")
		require.Equal(t, states[i+1], pages(), s.name)
	}
	doc, err := a.History(ctx, nil, true)
	require.NoError(t, err)
	changes := doc.Data.(app.HistoryData).Changes
	require.Len(t, changes, 1+3*len(steps))
	doc, err = a.Doctor(ctx)
	require.NoError(t, err)
	for _, f := range doc.Data.(app.DoctorData).Findings {
		require.False(t, f.Wrong, f.What)
	}
	require.NoError(t, app.Unsound(doc))
}
