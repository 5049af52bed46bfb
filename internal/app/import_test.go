package app_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/report"
	"leafturn/internal/store"
	"leafturn/internal/testkit"
)

// importFarm is a farm with the beds B1 to B4, and what lies in its store.
func importFarm(t *testing.T) (a *app.App, stored func() []string) {
	path := testPath(t)
	a = newFarm(t, path, summer, app.FarmOptions{})
	_, err := a.ImportBeds(ctx, strings.NewReader("code,length_m,width_m\nB1,20,1\nB2,20,1\nB3,20,1\nB4,20,1\n"), "beds.csv")
	require.NoError(t, err)
	require.NoError(t, a.Close())
	a, err = app.Open(ctx, path, summer)
	require.NoError(t, err)
	t.Cleanup(func() { a.Close() })
	return a, func() []string {
		s, err := store.Open(ctx, path)
		require.NoError(t, err)
		defer s.Close()
		var out []string
		require.NoError(t, s.View(ctx, func(tx *store.Tx) error {
			visits, err := tx.Visits(store.Filter{IncludeVoided: true})
			for _, v := range visits {
				out = append(out, fmt.Sprint(v.Bed, v.Date, v.Pest, v.Unit, v.Stratum, v.Counts, v.Observer, v.Note))
			}
			return err
		}))
		return out
	}
}

func sheetFile(t *testing.T, name string, rows ...string) string {
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, []byte(strings.Join(rows, "\n")+"\n"), 0o644))
	return path
}

func fileOf(t *testing.T, doc *report.Document) app.ImportFile {
	require.NotNil(t, doc)
	data, ok := doc.Data.(app.ImportData)
	require.True(t, ok)
	require.Len(t, data.Files, 1)
	return data.Files[0]
}

// long sheets of two weeks, and the second of them in wide form.
var (
	longRows = []string{"date,bed,pest,trap,count",
		"2026-07-06,B1,slug,1,4", "2026-07-06,B1,slug,2,0", "2026-07-06,B2,slug,1,2", "2026-07-06,B2,slug,2,-",
		"2026-07-13,B1,slug,1,1", "2026-07-13,B1,slug,2,0", "2026-07-13,B2,slug,1,0", "2026-07-13,B2,slug,2,3"}
	wideRows = []string{"Bed,Pest,Trap,2026-07-06,2026-07-13", "B1,slug,1,4,1", "B1,slug,2,0,0", "B2,slug,1,2,0", "B2,slug,2,-,3"}
)

// What --check says would be stored is what is stored; once it is, the same
// sheet adds nothing, nor does the same in wide form or with its rows turned.
func TestImport_CheckTellsAndTwiceAddsNothing(t *testing.T) {
	a, stored := importFarm(t)
	path := sheetFile(t, "long.csv", longRows...)
	doc, err := a.Import(ctx, []string{path}, app.ImportOptions{Check: true})
	require.NoError(t, err)
	told := fileOf(t, doc)
	require.Nil(t, told.First)
	require.Empty(t, stored())

	doc, err = a.Import(ctx, []string{path}, app.ImportOptions{})
	require.NoError(t, err)
	done := fileOf(t, doc)
	require.Equal(t, 4, done.New)
	require.Equal(t, told.New, done.New)
	require.Equal(t, told.Units, done.Units)
	all := stored()
	require.Len(t, all, 4)

	turned := slices.Clone(longRows)
	slices.Reverse(turned[1:])
	for _, rows := range [][]string{longRows, wideRows, turned} {
		for _, check := range []bool{false, true} {
			doc, err := a.Import(ctx, []string{sheetFile(t, "again.csv", rows...)}, app.ImportOptions{Check: check})
			require.NoError(t, err)
			f := fileOf(t, doc)
			require.Zero(t, f.New)
			require.Equal(t, 4, f.Already)
			require.Equal(t, all, stored())
		}
	}
}

// Good rows and the corrected rest end in the store that the right sheet makes,
// whichever cell was wrong.
func TestImport_AcceptGoodAndRest(t *testing.T) {
	whole, want := importFarm(t)
	_, err := whole.Import(ctx, []string{sheetFile(t, "x.csv", longRows...)}, app.ImportOptions{})
	require.NoError(t, err)
	for _, rows := range [][]string{longRows, wideRows} {
		for i := 1; i < len(rows); i++ {
			for k, wrong := range []string{"3/4/2026", "B9", "slgu", "x", ">50"} {
				cells := strings.Split(rows[i], ",")
				if len(rows) == len(wideRows) {
					wrong = []string{"B9", "slgu", "x", ">50", "2.5"}[k]
				}
				if wrong == "x" {
					continue // a unit may have any number
				}
				right := cells[k]
				cells[k] = wrong
				hurt := slices.Clone(rows)
				hurt[i] = strings.Join(cells, ",")

				a, got := importFarm(t)
				path := sheetFile(t, "hurt.csv", hurt...)
				_, err := a.Import(ctx, []string{path}, app.ImportOptions{})
				require.Error(t, err)
				require.Empty(t, got(), "all or none")
				doc, err := a.Import(ctx, []string{path}, app.ImportOptions{AcceptGood: true})
				require.NoError(t, err)
				f := fileOf(t, doc)
				require.Len(t, f.Problems, 1)
				require.Equal(t, i+1, f.Problems[0].Row)
				require.Equal(t, wrong, f.Problems[0].Value)
				require.Len(t, got(), f.New)
				text, err := os.ReadFile(f.Rest)
				require.NoError(t, err)
				fixed := strings.Replace(string(text), wrong, right, 1)
				doc, err = a.Import(ctx, []string{sheetFile(t, "rest.csv", strings.TrimSuffix(fixed, "\n"))}, app.ImportOptions{})
				require.NoError(t, err, fixed)
				require.Equal(t, 4, f.New+fileOf(t, doc).New)
				require.ElementsMatch(t, want(), got(), fixed)
			}
		}
	}
}

// What cannot be written whole is not written at all.
func TestImport_NothingHalfDone(t *testing.T) {
	a, stored := importFarm(t)
	good := sheetFile(t, "good.csv", longRows...)
	hurt := sheetFile(t, "hurt.csv", append(slices.Clone(longRows), "2026-07-13,B9,slug,9,1")...)

	_, err := a.Import(ctx, []string{good, hurt}, app.ImportOptions{})
	require.ErrorContains(t, err, "nothing was stored")
	require.Empty(t, stored())

	_, err = a.Import(ctx, []string{hurt}, app.ImportOptions{AcceptGood: true, Rest: filepath.Join(t.TempDir(), "no", "folder.csv")})
	require.ErrorContains(t, err, "cannot be written")
	require.Empty(t, stored())

	stop, cancel := context.WithCancel(ctx)
	cancel()
	_, err = a.Import(stop, []string{good}, app.ImportOptions{})
	require.Error(t, err)
	require.Empty(t, stored())
}

// What --check tells of two sheets is what importing them does, problem by
// problem in the order of the rows, also where a visit stands in both of them or
// in the store.
func TestImport_CheckTellsWhatImportDoes(t *testing.T) {
	rng := testkit.Seeded(15, 29)
	problems, twice, already, stored := 0, 0, 0, 0
	for range 25 {
		a, all := importFarm(t)
		counts := map[string]int{} // how often a place was given other counts than its first
		rows := func(visits int, slip, other float64) []string {
			out := []string{"date,bed,pest,trap,count"}
			drawn := map[string]bool{}
			for range visits {
				date, bed := fmt.Sprintf("2026-07-%02d", rng.IntN(12)+1), fmt.Sprintf("B%d", rng.IntN(4)+1)
				if drawn[date+bed] {
					continue
				}
				drawn[date+bed] = true
				more := 0
				if rng.Float64() < other {
					counts[date+bed]++
					more = counts[date+bed]
				}
				for u := range 3 {
					n := fmt.Sprint(u + more)
					if rng.Float64() < slip {
						n = ">50"
					}
					out = append(out, fmt.Sprintf("%s,%s,slug,%d,%s", date, bed, u+1, n))
				}
			}
			return out
		}
		_, err := a.Import(ctx, []string{sheetFile(t, "before.csv", rows(8, 0, 0)...)}, app.ImportOptions{})
		require.NoError(t, err)
		before := all()
		slip, other := []float64{0, 0, 0.02}[rng.IntN(3)], []float64{0, 0, 0.1}[rng.IntN(3)]
		files := []string{sheetFile(t, "one.csv", rows(20, slip, other)...), sheetFile(t, "two.csv", rows(20, slip, other)...)}
		doc, errCheck := a.Import(ctx, files, app.ImportOptions{Check: true})
		require.NotNil(t, doc)
		told := doc.Data.(app.ImportData).Files
		require.Equal(t, before, all())
		doc, err = a.Import(ctx, files, app.ImportOptions{})
		require.Equal(t, errCheck == nil, err == nil)
		if err != nil {
			text := err.Error()
			for i, f := range told {
				for _, p := range f.Problems {
					want := fmt.Sprintf("%s:%d: %s", files[i], p.Row, p.Problem)
					if p.Column != "" {
						want = fmt.Sprintf("%s:%d:5: column E %q: %s", files[i], p.Row, p.Heading, p.Problem)
					}
					var found bool
					_, text, found = strings.Cut(text, want)
					require.True(t, found, "%s\nin %s", want, err)
					problems++
				}
			}
			require.NotContains(t, text, ".csv:", "no other problem")
			require.Equal(t, before, all())
			continue
		}
		for i, f := range doc.Data.(app.ImportData).Files {
			require.Equal(t, []int{told[i].New, told[i].Units, told[i].Already, told[i].Twice, told[i].Visits}, []int{f.New, f.Units, f.Already, f.Twice, f.Visits})
			require.Equal(t, f.Visits, f.New+f.Already+f.Twice)
			twice, already, stored = twice+f.Twice, already+f.Already, stored+f.New
		}
		require.Len(t, all(), len(before)+doc.Data.(app.ImportData).Files[0].New+doc.Data.(app.ImportData).Files[1].New)
	}
	for _, n := range []int{problems, twice, already, stored} {
		require.Greater(t, n, 10)
	}
}
