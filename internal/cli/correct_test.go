package cli_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"
	"leafturn/internal/units"
)

// TestUnknownZone does what the error tells to do.
func TestUnknownZone(t *testing.T) {
	f := newField(t, "2026-07-20T18:00:00Z")
	s, err := store.Create(context.Background(), f.db, farm.Farm{Name: "Test field (invented)", TimeZone: "Mars/Base", Units: units.Metric, Pests: []string{"slug"},
		LastFrost: civil.MonthDay{Month: 5, Day: 1}, FirstFrost: civil.MonthDay{Month: 10, Day: 20}, ScoutDay: time.Monday})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	for _, args := range [][]string{{"week"}, {"doctor"}, {"farm", "set", "--organic", "yes"}} {
		code, _, errs := f.try(args...)
		require.Equal(t, 1, code, "%v", args)
		require.Contains(t, errs, "the farm's time zone \"Mars/Base\" is not known here\n  do: set it with `leafturn farm set --zone Area/City`")
	}
	code, _, errs := f.try("farm", "set", "--zone", "Moon/Base")
	require.Equal(t, 2, code)
	require.Contains(t, errs, `--zone "Moon/Base" is not a time zone known here`)
	require.Contains(t, f.run("farm", "set", "--zone", "Europe/Vienna"), "is changed")
	require.Contains(t, f.run("farm", "show"), "made 2026-07-20 20:00 Europe/Vienna")
	f.run("check")
}

// edited exports the farm, changes one cell of a table in its first row that has
// a record, and restores the folder in the place of the farm's file.
func edited(t *testing.T, f *field, table, column, value string) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "out")
	f.run("export", dir)
	name := filepath.Join(dir, table+".csv")
	raw, err := os.ReadFile(name)
	require.NoError(t, err)
	rows, err := csv.NewReader(bytes.NewReader(raw)).ReadAll()
	require.NoError(t, err)
	rows[1][slices.Index(rows[0], column)] = value
	var b bytes.Buffer
	require.NoError(t, csv.NewWriter(&b).WriteAll(rows))
	require.NoError(t, os.WriteFile(name, b.Bytes(), 0o644))
	f.run("restore", dir, "--changed")
}

// TestDoctor_Remedies types what doctor tells to do, and looks again.
func TestDoctor_Remedies(t *testing.T) {
	base := newField(t, "2026-07-20T18:00:00Z")
	base.run("farm", "new", "--name", "Test field (invented)", "--zone", "Europe/Vienna", "--last-frost", "05-01", "--first-frost", "10-20", "--hardiness", "8a", "--pests", "slug,mite")
	base.run("bed", "add", "B1", "--size", "25 m x 1.2 m", "--plants", "100")
	base.run("stage", "planted", "B1", "--date", "2026-05-12")
	base.run("count", "--date", "2026-07-10", "B1", "slug", "4", "0", "2")
	base.run("did", "slug", "night_pick", "B1", "--date", "2026-07-11")
	base.run("release", "phytoseiulus_persimilis", "B1", "--amount", "200", "--date", "2026-07-12")
	base.run("weather", "--min", "9C", "--max", "22C", "--date", "2026-07-13")
	base.run("label", "set", "mybait", "product=My bait (invented)", "rei=4 hours", "--date", "2026-07-01")
	base.run("treat", "mybait", "B1", "--pest", "slug", "--amount", "60 g", "--end", "2026-07-14 20:30")
	base.run("covers", "--keep")
	base.run("check")
	for _, c := range []struct {
		table, column, value, found, do string
		typed                           []string
	}{
		{"treatments", "end_at", "2026-07-02T18:30:00Z", "treatment 1 (mybait in B1 on 2026-07-14) ended on another day, 2 Jul 2026 20:30", `leafturn amend treatment 1 --end "YYYY-MM-DD HH:MM" --reason`,
			[]string{"amend", "treatment", "1", "--end", "2026-07-14 20:30", "--reason", "typed wrong"}},
		{"steps_done", "action", "slug_wolf", `done 1 is of the step "slug_wolf" against "slug", which these facts do not know`, `leafturn amend done 1 PEST STEP --reason`,
			[]string{"amend", "done", "1", "slug", "night_pick", "--reason", "typed wrong"}},
		{"releases", "agent", "wolf", `release 1 is of "wolf", which is no agent of these facts`, `leafturn amend release 1 AGENT --reason`,
			[]string{"amend", "release", "1", "phytoseiulus_persimilis", "--reason", "typed wrong"}},
		{"releases", "amount", "0", "release 1 (phytoseiulus_persimilis in B1 on 2026-07-12) has no animals", `leafturn amend release 1 --amount N --reason`,
			[]string{"amend", "release", "1", "--amount", "200", "--reason", "typed wrong"}},
		{"planned_covers", "cover", "wolf", `cover 1 is "wolf", which is no cover of these facts`, `leafturn amend cover 1 COVER --reason`,
			[]string{"amend", "cover", "1", "oats", "--reason", "typed wrong"}},
		{"weather", "max_c", "88", "the weather of 2026-07-13 has a highest temperature of 88 °C", `leafturn amend weather 1 --min T --max T --soil T --reason`,
			[]string{"amend", "weather", "1", "--max", "22C", "--reason", "typed wrong"}},
		{"beds", "width_m", "0.1", "treatment 1 (mybait in B1 on 2026-07-14) is of 30 m²; the bed has 2.5 m²", `or, if the bed's size is wrong: leafturn bed set B1 --size "LENGTH x WIDTH"`,
			[]string{"bed", "set", "B1", "--size", "25 m x 1.2 m"}},
		{"labels", "document", "{}", "label mybait, version 1, names no product", `leafturn label set mybait product="..."`,
			[]string{"label", "set", "mybait", "product=My bait (invented)", "rei=4 hours"}},
		{"farm", "pests", `["wolf"]`, `the farm watches "wolf", which is no pest of these facts`, `leafturn farm set --pests`,
			[]string{"farm", "set", "--pests", "slug,mite"}},
	} {
		t.Run(c.table+" "+c.column, func(t *testing.T) {
			f := newField(t, base.now)
			raw, err := os.ReadFile(base.db)
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(f.db, raw, 0o644))
			edited(t, f, c.table, c.column, c.value)
			code, out, errs := f.try("doctor", "--json")
			require.Equal(t, 1, code, out)
			require.Contains(t, errs, "see what to do beside each")
			var doc struct {
				Data struct {
					Findings []struct{ What, Do string }
				}
			}
			require.NoError(t, json.Unmarshal([]byte(out), &doc))
			told := false
			for _, x := range doc.Data.Findings {
				told = told || strings.Contains(x.What, c.found) && strings.Contains(x.Do, c.do)
			}
			require.True(t, told, "%v", doc.Data.Findings)
			f.run(c.typed...)
			code, out, _ = f.try("doctor")
			require.Equal(t, 0, code, out)
		})
	}
}
