package ingest_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
)

func TestParseSample(t *testing.T) {
	v, err := ingest.ParseSample([]string{"3", "-", "2*4", "12/50", "nights=3", "hotspot", "+predatory_mite=2", "damage=4/50", "by=Ana Lopez"}, "", opt)
	require.NoError(t, err)
	require.Equal(t, []int{3, 4, 4}, v.Seen())
	require.Equal(t, &farm.Presence{Infested: 12, Looked: 50}, v.Presence)
	require.Equal(t, 3, v.Conditions.Nights)
	require.Equal(t, farm.HotSpot, v.Stratum)
	require.Equal(t, "Ana Lopez", v.Observer)
	require.Equal(t, []farm.EnemyCount{{Enemy: "predatory_mite", Count: 2}}, v.Enemies)
	require.Equal(t, &farm.Damage{Hurt: 4, Looked: 50}, v.Damage)

	v, err = ingest.ParseSample([]string{"3", "unit=leaf"}, "mite", opt)
	require.NoError(t, err)
	require.Equal(t, "leaf", v.Unit)

	// A problem stands at the column of the words as they were typed.
	for _, c := range []struct {
		words, pest, want string
	}{
		{"3 x", "", `column 3: unknown word "x"`},
		{"x", "", `column 1: unknown word "x"`},
		{"12/50 4/3", "", `column 7: 4/3: the first number`},
		{"4 -1", "", `column 3: the count -1 is negative`},
		{"nights=3", "", `column 9: no counts`},
		{"", "", `no counts given`},
		{"4 unit=leaf", "", `column 3: unit= means something only for a pest`},
		{"4 unit=lef", "mite", `column 8: unknown unit of mite "lef"`},
		{"4 \x01", "", `column 3: `},
	} {
		_, err := ingest.ParseSample(strings.Fields(c.words), c.pest, opt)
		require.ErrorContains(t, err, c.want, c.words)
		require.Equal(t, diag.CodeUsage, diag.Code(err), c.words)
	}
}

func TestReadSamples(t *testing.T) {
	got, err := ingest.ReadSamples(strings.NewReader("# plots\nplot7: 3 0, 1 -\n\n70*0 1  # a note\n"), "f", false)
	require.NoError(t, err)
	require.Len(t, got, 2)
	require.Equal(t, ingest.Sample{Row: 2, Name: "plot7", Counts: []int{3, 0, 1}}, got[0])
	require.Equal(t, 4, got[1].Row)
	require.Len(t, got[1].Counts, 71)

	got, err = ingest.ReadSamples(strings.NewReader("2026-06-01 3 0\n2026-06-08 c: 311 effort=504.5\n"), "f", true)
	require.NoError(t, err)
	require.Equal(t, []ingest.Sample{
		{Row: 1, Date: civil.MustParse("2026-06-01"), Counts: []int{3, 0}},
		{Row: 2, Date: civil.MustParse("2026-06-08"), Name: "c", Counts: []int{311}, Effort: 504.5},
	}, got)

	for _, c := range []struct {
		text  string
		dated bool
		want  []string
	}{
		{"3 x\n4 y\n", false, []string{`f:1:3: "x" is not a count`, `f:2:3: "y" is not a count`}},
		{"3 1/2", false, []string{`f:1:3: "1/2" is a presence sample`}},
		{"2026-06-01 3", false, []string{`f:1:1: the date "2026-06-01" stands among the counts`}},
		{"3 effort=2", false, []string{`f:1:3: "effort=2" is not a count`}},
		{"- -", false, []string{`f:1:1: no counts on the line`}},
		{"3 100001", false, []string{`f:1:3: the count 100001 is above`}},
		{"3 4", true, []string{`f:1:1: the line has no date`}},
		{"2026-02-30 4", true, []string{`f:1:1: `}},
		{"2026-06-01", true, []string{`f:1:1: no counts on the line`}},
		{"2026-06-01 3 effort=0", true, []string{`f:1:21: "0" is not a number above 0`}},
		{"2026-06-01 3 4 effort=2", true, []string{`f:1:1: effort= stands on a line with 2 counts`}},
		{"", false, []string{`f: no counts in it`}},
		{"3 \xff\n4\n", false, []string{`f:1:3: byte 0xFF is not UTF-8 text`}},
	} {
		_, err := ingest.ReadSamples(strings.NewReader(c.text), "f", c.dated)
		for _, w := range c.want {
			require.ErrorContains(t, err, w, "%q", c.text)
		}
	}
}

func TestParseCell(t *testing.T) {
	for _, c := range []struct {
		text          string
		counts        []int
		total, looked int
	}{
		{"4 0 1 1 0", []int{4, 0, 1, 1, 0}, 6, 5},
		{"3*2 -", []int{2, 2, 2}, 6, 3},
		{"36/40", nil, 36, 40},
		{"252 on 40", nil, 252, 40}, // more animals than units: a total, no presence sample
		{"7", []int{7}, 7, 1},
	} {
		counts, total, looked, err := ingest.ParseCell(c.text)
		require.NoError(t, err, c.text)
		require.Equal(t, c.counts, counts, c.text)
		require.Equal(t, []int{c.total, c.looked}, []int{total, looked}, c.text)
	}
	for _, bad := range []string{"", "x", "4/0", "4 x", "4 nights=3", "4 12/50", "4 # a", "4 +mite=1", "1.5", "-3", "-", "99999999999999999999/4"} {
		_, _, _, err := ingest.ParseCell(bad)
		require.Error(t, err, bad)
		require.Equal(t, diag.CodeUsage, diag.Code(err), bad)
	}
}

func TestParseShare(t *testing.T) {
	hit, looked, err := ingest.ParseShare(" 12/50 ")
	require.NoError(t, err)
	require.Equal(t, []int{12, 50}, []int{hit, looked})
	for _, bad := range []string{"", "12", "51/50", "0/0", "1/2/3", "a/b"} {
		_, _, err := ingest.ParseShare(bad)
		require.Error(t, err, bad)
	}
}

func FuzzSamples(f *testing.F) {
	for _, s := range []string{"3 0 1", "plot: 70*0 1\n-\n", "2026-06-01 3 effort=2.5", "2026-06-01 3 4 effort=1", "12/50", "3 x # n", "a: b: 3", "\xff", "99999*1\n99999*1", ":", "3 effort=1e999"} {
		f.Add(s, true)
		f.Add(s, false)
	}
	f.Fuzz(func(t *testing.T, text string, dated bool) {
		got, err := ingest.ReadSamples(strings.NewReader(text), "n", dated)
		inside(t, text, err)
		if err == nil && len(got) == 0 {
			t.Fatal("neither samples nor an error")
		}
		for _, s := range got {
			if len(s.Counts) == 0 || dated == s.Date.IsZero() || !(s.Effort >= 0) {
				t.Fatalf("accepted %+v", s)
			}
			for _, c := range s.Counts {
				if c < 0 || c > farm.MaxCount {
					t.Fatalf("accepted the count %d", c)
				}
			}
		}
		for _, line := range strings.SplitN(text, "\n", 3) {
			if v, err := ingest.ParseSample(strings.Fields(line), "", opt); err == nil && v.UnitsLooked() == 0 {
				t.Fatalf("accepted %q without a unit", line)
			}
			if counts, total, looked, err := ingest.ParseCell(line); err == nil && (total < 0 || looked < 1 || counts != nil && len(counts) != looked) {
				t.Fatalf("accepted %q as %v, %d on %d", line, counts, total, looked)
			}
		}
	})
}
