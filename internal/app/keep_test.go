package app_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jmoiron/sqlx"
	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/render"
	"leafturn/internal/report"
	"leafturn/internal/store"
)

// listOf is the week's list of a program that has just started, with or without
// a folder of kept lists, in all three forms.
func listOf(t *testing.T, path, lists string, now time.Time, on civil.Date) string {
	t.Helper()
	a, err := app.Open(ctx, path, now)
	require.NoError(t, err)
	a.KeepLists(lists)
	doc, err := a.Week(ctx, on)
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, render.Text(&out, *doc, render.Options{Width: 88}))
	require.NoError(t, render.JSON(&out, *doc))
	if len(doc.Events) > 0 {
		require.NoError(t, render.ICS(&out, *doc))
	}
	require.NoError(t, a.Close())
	return out.String()
}

// names of a folder's files with the instants at which they were written.
func filesIn(t *testing.T, dir string) map[string]time.Time {
	t.Helper()
	all, err := os.ReadDir(dir)
	require.NoError(t, err)
	out := map[string]time.Time{}
	for _, e := range all {
		info, err := e.Info()
		require.NoError(t, err)
		require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
		out[e.Name()] = info.ModTime()
	}
	return out
}

// A list that is kept says what a new one says, at any instant of the day; it
// is found again, and left alone where it is damaged.
func TestKeepLists(t *testing.T) {
	path := testPath(t)
	a := newFarm(t, path, summer, app.FarmOptions{Pests: p("slug, mite, thrips"), LastFrost: p("04-25")})
	for _, code := range []string{"A1", "B1"} {
		_, err := a.AddBed(ctx, app.BedOptions{Code: code, Size: "10 m x 1.2 m", Plants: "60", Site: "outdoor"})
		require.NoError(t, err)
		for i, n := range []string{"0", "3", "9"} {
			_, err := a.CountWords(ctx, []string{code, "slug", n, "0", "4", "1", "7", "soil=moist", "air=14C"}, app.CountOptions{Date: a.Today().AddDays(7*i - 14)})
			require.NoError(t, err)
		}
	}
	on, lists := a.Today(), t.TempDir()
	require.NoError(t, a.Close())
	time.Sleep(50 * time.Millisecond) // a store written to just now is not told from one written to now
	later := summer.Add(3 * time.Hour)

	first := listOf(t, path, lists, summer, on)
	require.Equal(t, listOf(t, path, "", summer, on), first)
	had := filesIn(t, lists)
	require.Len(t, had, 2, "a list, and the parts that it was made from")
	require.Equal(t, first, listOf(t, path, lists, summer, on))
	require.Equal(t, listOf(t, path, "", later, on), listOf(t, path, lists, later, on), "only the instant is another")
	require.Equal(t, had, filesIn(t, lists), "the kept list was found")

	for name := range had { // damaged at any place, or short
		if strings.HasSuffix(name, ".parts") {
			continue
		}
		file := filepath.Join(lists, name)
		whole, err := os.ReadFile(file)
		require.NoError(t, err)
		for _, spoil := range []func([]byte) []byte{
			func(b []byte) []byte { return nil },
			func(b []byte) []byte { return b[:len(b)/2] },
			func(b []byte) []byte { b[0] ^= 1; return b },
			func(b []byte) []byte { b[len(b)-9] ^= 1; return b },
		} {
			require.NoError(t, os.WriteFile(file, spoil(bytes.Clone(whole)), 0o600))
			require.Equal(t, first, listOf(t, path, lists, summer, on))
			again, err := os.ReadFile(file)
			require.NoError(t, err)
			require.Equal(t, whole, again, "mended")
		}
	}
	for i := range 20 { // as many as are kept, the last ones
		listOf(t, path, lists, summer, on.AddDays(-i))
	}
	require.Len(t, filesIn(t, lists), 8+1)

	for _, bad := range []string{path, filepath.Join(path, "below"), filepath.Join(t.TempDir(), "a", "b")} {
		require.Equal(t, first, listOf(t, path, bad, summer, on), "a folder that cannot be one is no reason to fail")
	}
}

// lightFarm is a farm with counts of some weeks and all that a list looks at.
func lightFarm(t *testing.T, path string) {
	a := newFarm(t, path, summer, app.FarmOptions{Pests: p("slug, mite, thrips, earwig"), LastFrost: p("04-25"), Country: p("GB"), At: p("51.5, -0.1")})
	for i, code := range []string{"A1", "A2", "B1", "B2"} {
		_, err := a.AddBed(ctx, app.BedOptions{Code: code, Size: "10 m x 1.2 m", Plants: "60", Site: "outdoor", Leaves: "40"})
		require.NoError(t, err)
		_, err = a.Stage(ctx, civil.MustParse("2026-05-12"), "planted", []string{code}, "")
		require.NoError(t, err)
		_, err = a.Stage(ctx, civil.MustParse("2026-07-01"), "budding", []string{code}, "")
		require.NoError(t, err)
		for week := range 5 { // more than savedLast of package assess
			for _, line := range []string{"slug 0 3 1 4 1 5 2 6 0 soil=moist air=14C", "mite 20*0 12*3 8*9 foliage=dry", "thrips 9*2 9*8", "earwig 1 0 3 2 1"} {
				_, err := a.CountWords(ctx, strings.Fields(code+" "+line+fmt.Sprintf(" %d", i+week*i)), app.CountOptions{Date: a.Today().AddDays(-7*week - 1)})
				require.NoError(t, err)
			}
		}
	}
	for from, to := range map[string]string{"2026-05-01": "2026-07-14", "2026-07-17": "2026-07-22"} {
		_, err := a.WeatherFile(ctx, strings.NewReader(flatDays(from, to, 11, 23)), "days.csv", app.WeatherFileOptions{}, false)
		require.NoError(t, err)
	}
	_, err := a.AddLabel(ctx, strings.NewReader(exampleLabel(t)), "bait.toml", civil.MustParse("2026-06-01"), false)
	require.NoError(t, err)
	require.NoError(t, a.Close())
}

// After any change, by this program or another one, a list that is put together
// from what was kept says what a new one says.
func TestParts_NeverOld(t *testing.T) {
	path, lists := testPath(t), t.TempDir()
	lightFarm(t, path)
	rng := rand.New(rand.NewPCG(20, 26))
	pick := func(words ...string) string { return words[rng.IntN(len(words))] }
	bed := func() string { return pick("A1", "A2", "B1", "B2") }
	pest := func() string { return pick("slug", "mite", "thrips", "earwig") }
	number := func(most int) string { return fmt.Sprint(1 + rng.IntN(most)) }
	var today civil.Date
	day := func() civil.Date { return today.AddDays(-rng.IntN(40)) }
	one := func(_ string, err error) error { return err }
	said := func(_ app.Said, err error) error { return err }
	amended := func(_ *report.Document, _ app.Said, err error) error { return err }
	turned := func(_ *report.Document, _ string, err error) error { return err }
	sql := func(text string) error {
		db, err := sqlx.Open("sqlite", path)
		require.NoError(t, err)
		_, err = db.Exec(text)
		require.NoError(t, db.Close())
		return err
	}
	changes := []struct {
		name string
		do   func(a *app.App) error
	}{
		{"count", func(a *app.App) error {
			line := bed() + " " + pest() + " " + number(9) + " " + number(30) + " 0 " + number(4) + pick("", " hotspot", " edge", " - -", " 15*1") + pick("", " soil=moist", " foliage=dry air=14C") + pick("", " +predatory_mite=3") + pick("", " damage=4/50") + " by=AB"
			return one(a.CountWords(ctx, strings.Fields(line), app.CountOptions{Date: day()}))
		}},
		{"presence", func(a *app.App) error {
			return one(a.CountWords(ctx, strings.Fields(bed()+" "+pick("mite 12/50", "tospovirus 1/60", "mosaic 2/60", "mite 0/30")), app.CountOptions{Date: day()}))
		}},
		{"amend", func(a *app.App) error {
			return amended(a.Amend(ctx, app.AmendOptions{Kind: "visit", Number: number(80), Words: strings.Fields(bed() + " " + pest() + " 4 0 " + number(9) + " 7 2"), Reason: "misread"}))
		}},
		{"void", func(a *app.App) error { return one(a.Void(ctx, "visit", number(60), "a slip")) }},
		{"undo", func(a *app.App) error { return turned(a.Undo(ctx)) }},
		{"redo", func(a *app.App) error { return turned(a.Redo(ctx)) }},
		{"weather", func(a *app.App) error {
			return one(a.Weather(ctx, app.WeatherOptions{Date: "2026-07-" + fmt.Sprint(15+rng.IntN(2)), Min: fmt.Sprint(18+rng.IntN(4)) + "C", Max: "30C", Rain: number(9) + "mm"}))
		}},
		{"forecast", func(a *app.App) error {
			return one(a.Weather(ctx, app.WeatherOptions{Date: "2026-07-" + fmt.Sprint(23+rng.IntN(7)), Min: "9C", Max: number(3) + "5C", Forecast: true}))
		}},
		{"did", func(a *app.App) error {
			return one(a.Did(ctx, day(), "slug", "night_pick", []string{bed()}, "", farm.DoneMore{}))
		}},
		{"release", func(a *app.App) error {
			return said(a.Release(ctx, app.ReleaseOptions{Agent: "phytoseiulus_persimilis", Pest: "mite", Amount: number(4000), Beds: []string{bed()}, Date: day()}))
		}},
		{"treat", func(a *app.App) error {
			return said(a.Treat(ctx, app.TreatOptions{Label: "bait", Beds: []string{bed()}, Date: day(), Pest: "slug", Amount: number(20) + " g"}))
		}},
		{"stage", func(a *app.App) error {
			return one(a.Stage(ctx, day(), pick("emerged", "pinched", "budding", "bloom"), []string{bed()}, ""))
		}},
		{"threshold", func(a *app.App) error {
			return one(a.SetThreshold(ctx, today, pick("slug", "mite"), pick("act", "watch"), number(30), "", "they do no harm here"))
		}},
		{"farm", func(a *app.App) error {
			cost := number(9)
			return one(a.SetFarm(ctx, app.FarmOptions{WaitingCost: &cost, Area: p(pick("japanese_beetle_established", "no_tospovirus"))}))
		}},
		{"bed", func(a *app.App) error {
			return one(a.SetBed(ctx, app.BedOptions{Code: bed(), Plants: fmt.Sprint(40 + rng.IntN(40)), Leaves: number(60)}))
		}},
		{"another program changes a visit", func(*app.App) error {
			return sql("UPDATE visit SET soil = '" + pick("wet", "dry", "moist") + "', air_c = 0.1 + " + number(20) + " WHERE id = " + number(60))
		}},
		{"another program voids a visit", func(*app.App) error {
			return sql("UPDATE visit SET voided_at = '2026-07-22T08:00:00Z', void_reason = 'x' WHERE voided_at IS NULL AND id = " + number(60))
		}},
		{"another program renames a bed", func(*app.App) error {
			return sql("UPDATE bed SET plants = plants + 1 WHERE code = '" + bed() + "'")
		}},
	}
	done := map[string]int{}
	for i := range 3 * len(changes) {
		a, err := app.Open(ctx, path, summer)
		require.NoError(t, err)
		today = a.Today()
		c := changes[i%len(changes)]
		if rng.IntN(3) == 0 {
			c = changes[rng.IntN(4)] // most changes are counts
		}
		err = c.do(a)
		require.NoError(t, a.Close())
		if err == nil {
			done[c.name]++
		}
		for _, back := range []int{0, 7 * rng.IntN(3)} {
			on := today.AddDays(-back)
			require.Equal(t, listOf(t, path, "", summer, on), listOf(t, path, lists, summer, on), "change %d, %s (%v), the list of %s", i, c.name, err, on)
		}
	}
	for _, c := range changes {
		require.NotZero(t, done[c.name], c.name)
	}
	// A day later all lists are other ones; a damaged folder is no reason to fail.
	tomorrow := summer.AddDate(0, 0, 1)
	for range 2 {
		require.Equal(t, listOf(t, path, "", tomorrow, today), listOf(t, path, lists, tomorrow, today))
		for name := range filesIn(t, lists) {
			file := filepath.Join(lists, name)
			b, err := os.ReadFile(file)
			require.NoError(t, err)
			b[len(b)/2] ^= 4
			require.NoError(t, os.WriteFile(file, b, 0o600))
		}
	}
	require.Equal(t, listOf(t, path, "", tomorrow, today), listOf(t, path, lists, tomorrow, today))
}

// readsOfCounts makes the list of a day with a folder of kept lists, and says how
// many statements read counts: those of visits that are named, and others.
func readsOfCounts(t *testing.T, path, lists string, now time.Time) (all, some int64) {
	t.Helper()
	var others, named atomic.Int64
	a, err := app.Open(ctx, path, now, store.WithHook(func(query string) error {
		switch {
		case !strings.Contains(query, "unit_count"):
		case strings.Contains(query, "json_each"):
			named.Add(1)
		default:
			others.Add(1)
		}
		return nil
	}))
	require.NoError(t, err)
	a.KeepLists(lists)
	_, err = a.Week(ctx, a.Today())
	require.NoError(t, err)
	require.NoError(t, a.Close())
	return others.Load(), named.Load()
}

// Where all is kept no count is read; after one new count those of its bed and
// pest alone.
func TestParts_ReadLittle(t *testing.T) {
	path, lists := testPath(t), t.TempDir()
	lightFarm(t, path)
	reads := func() (int64, int64) { return readsOfCounts(t, path, lists, summer) }
	all, some := reads()
	require.NotZero(t, all+some, "a first list reads counts")
	a, err := app.Open(ctx, path, summer)
	require.NoError(t, err)
	_, err = a.CountWords(ctx, strings.Fields("A1 mite 20*1 20*2 foliage=dry"), app.CountOptions{Date: a.Today()})
	require.NoError(t, err)
	require.NoError(t, a.Close())
	all, some = reads()
	require.Equal(t, [2]int64{0, 1}, [2]int64{all, some}, "the counts of one bed and pest")
	time.Sleep(50 * time.Millisecond)
	for range 2 {
		all, some = reads()
		require.Equal(t, [2]int64{0, 0}, [2]int64{all, some})
	}
	for name := range filesIn(t, lists) { // one bit of the last part, and no list
		file := filepath.Join(lists, name)
		b, err := os.ReadFile(file)
		require.NoError(t, err)
		b[len(b)-1] ^= 1
		require.NoError(t, os.WriteFile(file, b, 0o600))
	}
	all, some = reads()
	require.NotZero(t, all+some, "damaged parts are not taken")
}

// Every document of the kinds that are kept reads back as it was.
func TestKept_Document(t *testing.T) {
	one := 1.5
	type data struct {
		Words []string
		P, Q  *float64
		M     map[string]string
		Doc   report.Document
	}
	d := data{Words: []string{}, P: &one, M: map[string]string{"b": "", "a": "x"}, Doc: report.Document{
		Title: "ü", AsOf: civil.MustParse("2026-07-20"), Warnings: report.Lines("", "a"),
		Sections: []report.Section{{Key: "k", Lead: report.Say("{} of {}: {}", 3, report.Num(0.1, 2), civil.MustParse("2026-01-02")).Cite(4),
			Table: &report.Table{Columns: []report.Column{{Title: "c"}}, Rows: [][]report.Value{{report.Missing("lost")}, nil}},
			Items: []report.Item{{Number: -3, Box: true, Due: report.Due{By: civil.MustParse("2026-07-21")}}}}},
		Events: []report.Event{{UID: "u", Start: summer.UTC(), Alarms: []report.Alarm{{Offset: -time.Hour}}}},
	}}
	b, err := report.Keep(d)
	require.NoError(t, err)
	var got data
	require.NoError(t, report.Kept(b, &got))
	require.Equal(t, d, got)
	for i := range b {
		var x data
		require.ErrorIs(t, report.Kept(b[:i], &x), report.ErrKept, "%d bytes", i)
	}
	for _, bad := range []report.Document{
		{Data: 1}, {Made: summer.In(time.FixedZone("x", 60))}, {Sections: []report.Section{{Figures: []report.Figure{{Data: d}}}}},
	} {
		_, err := report.Keep(bad)
		require.Error(t, err)
	}
}
