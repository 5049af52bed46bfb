package ingest_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
)

func TestParseStages(t *testing.T) {
	got, err := ingest.ParseStages(strings.NewReader("Bed;Date;Stage;Note\nb1;2026-05-12;Planted;late, wet\nB2;2026-07-20;bloom;\n"), "s", today, names{})
	require.NoError(t, err)
	want := []farm.StageEvent{
		{Bed: "B1", Date: civil.MustParse("2026-05-12"), Stage: farm.Planted, Note: "late, wet"},
		{Bed: "B2", Date: today, Stage: farm.Bloom},
	}
	require.Equal(t, want, got)
	again, err := ingest.ParseStages(strings.NewReader(ingest.FormatStages(want)), "s", today, names{})
	require.NoError(t, err)
	require.Equal(t, want, again)
}

func TestParseStages_AllProblems(t *testing.T) {
	const text = `date,bed,stage
2026-05-12,B9,planted
3/4/2026,B1,plantd
2026-07-21,B1,bloom
2026-05-12,B1,preplant
2026-05-12,B1,planted
,,
2026-05-12,b1,PLANTED
2026-05-12,,bloom
`
	events, err := ingest.ParseStages(strings.NewReader(text), "s", today, names{})
	require.Equal(t, []string{
		`s:2:12: unknown bed "B9"; did you mean "B1"?`,
		`s:3:1: "3/4/2026" can be read as two different dates`,
		`s:3:13: unknown stage "plantd"; did you mean "planted"?`,
		`s:4:1: 2026-07-21 lies in the future; today is 2026-07-20`,
		`s:5:15: unknown stage "preplant"`,
		`s:8:1: bed B1, 2026-05-12, planted is already on row 6`,
		`s:9:12: the row has no bed`,
	}, list(t, err))
	require.Len(t, events, 1)
	_, err = ingest.ParseStages(strings.NewReader("date,bed,stage\n"), "s", today, names{})
	require.Equal(t, []string{"s: no stages in it"}, list(t, err))
}

func FuzzStages(f *testing.F) {
	for _, s := range []string{"Bed;Date;Stage;Note\nb1;2026-05-12;Planted;late, wet\n", "date,bed,stage\n2026-05-12,B1,dug\n2026-05-12,B1,dug", "stage\tbed\tdate\nbu dding\tb2\t2026-01-01"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		events, err := ingest.ParseStages(strings.NewReader(text), "s", today, names{})
		inside(t, text, err)
		if err == nil && len(events) == 0 {
			t.Fatal("no stages and no problem")
		}
		if len(events) == 0 {
			return
		}
		back := ingest.FormatStages(events)
		again, err := ingest.ParseStages(strings.NewReader(back), "s", today, names{})
		if err != nil {
			t.Fatalf("%q was written %q: %v", text, back, err)
		}
		require.Equal(t, events, again)
	})
}
