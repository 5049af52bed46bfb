package app

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/assess"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
)

// names must serve the notes grammar.
var _ ingest.Names = (*names)(nil)

func testNames(t *testing.T) *names {
	t.Helper()
	cat, err := loadCatalog()
	require.NoError(t, err)
	return newNames(cat, []farm.Bed{{Code: "B3"}, {Code: "A1"}, {Code: "North-2"}})
}

func TestNames_Look(t *testing.T) {
	n := testNames(t)
	for _, w := range []string{"B3", "b3"} {
		code, ok := n.Bed(w)
		require.True(t, ok)
		require.Equal(t, "B3", code, "the farm's own spelling comes back")
	}
	_, ok := n.Bed("B4")
	require.False(t, ok)
	require.Equal(t, []string{"B3", "A1", "North-2"}, n.BedCodes(), "in the farm's order")

	for word, want := range map[string]string{"slug": "slug", "mite": "spider_mite", "mites": "spider_mite", "mosaic": "dahlia_mosaic"} {
		key, ok := n.Pest(word)
		require.True(t, ok, word)
		require.Equal(t, want, key)
	}
	_, ok = n.Pest("yeti")
	require.False(t, ok)
	require.Contains(t, n.PestWords(), "mite")

	u, ok := n.Unit("slug", "")
	require.True(t, ok)
	require.Equal(t, "trap", u, "the usual unit")
	u, ok = n.Unit("slug", "tiles")
	require.True(t, ok)
	require.Equal(t, "slate", u, "an alias")
	_, ok = n.Unit("slug", "leaf")
	require.False(t, ok)
	for _, w := range n.UnitWords("slug") {
		_, ok := n.Unit("slug", w)
		require.True(t, ok, w)
	}
	key, ok := n.Enemy("predatory_mite")
	require.True(t, ok)
	require.Equal(t, "predatory_mite", key)
	for _, w := range n.EnemyWords() {
		_, ok := n.Enemy(w)
		require.True(t, ok, w)
	}
}

func TestNames_FindBeds(t *testing.T) {
	n := testNames(t)
	beds, err := n.findBeds([]string{"a1", "North-2", "B3"})
	require.NoError(t, err)
	require.Equal(t, []string{"A1", "North-2", "B3"}, []string{beds[0].Code, beds[1].Code, beds[2].Code})

	_, err = n.findBeds([]string{"A1", "B3", "b3"})
	require.ErrorContains(t, err, "B3 stands twice")
	_, err = n.findBeds([]string{"A2", "B9"})
	require.ErrorContains(t, err, `unknown bed "A2"; did you mean "A1"`)
	require.ErrorContains(t, err, `unknown bed "B9"`, "every problem is said")

	_, err = n.findPest("slugg")
	require.ErrorContains(t, err, `unknown pest "slugg"; did you mean "slug"`)
	p, err := n.findPest("mites")
	require.NoError(t, err)
	require.Equal(t, "spider_mite", p.Key)
}

// Sources are numbered in the order of first use; the same source with another
// remark is one source, the same words with another basis are two.
func TestSources_Numbering(t *testing.T) {
	var s sources
	a := assess.Ref{Basis: "published", Source: "Author 2001", URL: "https://example.org/a", Note: "table 2"}
	b := assess.Ref{Basis: "common practice"}
	require.Equal(t, []int{1}, s.cite(a))
	require.Equal(t, []int{2, 1}, s.cite(b, a), "in the order cited")
	a.Note = "table 3"
	require.Equal(t, []int{1}, s.cite(a, a), "each once")
	require.Nil(t, s.cite(assess.Ref{}, assess.Ref{Source: "no basis"}), "what has no basis is not cited")
	require.Equal(t, []int{3}, s.cite(assess.Ref{Basis: "from memory", Source: "Author 2001", URL: a.URL}))
	require.Len(t, s.list, 3)
	require.Equal(t, 1, s.list[0].Key)
	require.Equal(t, "Author 2001", s.list[0].Text)
	require.Equal(t, "no source; common practice", s.list[1].Text, "what has no source says so")
	for i, x := range s.list {
		require.Equal(t, i+1, x.Key)
	}
}

func TestUnitPlural(t *testing.T) {
	for _, c := range []struct {
		label string
		n     int
		want  string
	}{
		{"refuge trap", 1, "refuge trap"}, {"refuge trap", 9, "refuge traps"}, {"leaf", 40, "leaves"}, {"stretch of row by torch", 2, "stretches of row by torch"},
		{"", 2, "units"}, {"leaf scored at 5 or more", 45, "leaves scored at 5 or more"}, {"shoot tapped over paper", 20, "shoots tapped over paper"},
	} {
		require.Equal(t, c.want, unitPlural(c.label, c.n))
	}
	cat, err := loadCatalog()
	require.NoError(t, err)
	for _, p := range cat.AllProtocols() {
		if w := unitPlural(p.UnitLabel, 2); !strings.Contains(w, "s") {
			t.Errorf("%q has the plural %q", p.UnitLabel, w)
		}
	}
}

func TestPeakPressure(t *testing.T) {
	peak, weeks := peakPressure([]float64{math.NaN(), math.NaN()}) // no action level, no chance
	require.Zero(t, peak)
	require.Zero(t, weeks)
	peak, weeks = peakPressure([]float64{0.2, 0.5, 0.49, 0.9})
	require.Equal(t, 0.9, peak)
	require.Equal(t, 2, weeks, "a half is over")
}
