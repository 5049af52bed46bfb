package plots

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// On a large field the maps of its parts hold each bed once, with its code, and
// a cover has the fill that it has on the whole map.
func TestCoverMap_Pages(t *testing.T) {
	small := CoverMap{Window: "winter"}
	for i := range 20 {
		small.Beds = append(small.Beds, CoverBed{Code: fmt.Sprint("A", i), Y: float64(i) * 2, EastM: 25, NorthM: 1.2, Cover: "oats"})
	}
	require.Len(t, small.Pages(), 1, "a field that can be read has one map")
	whole := coverEdges()["200 beds of covers"].(CoverMap)
	for i := range whole.Beds { // a field far too wide for a page
		whole.Beds[i].X, whole.Beds[i].Y, whole.Beds[i].EastM, whole.Beds[i].NorthM = float64(i%10)*28, float64(i/10)*2, 25, 1.2
	}
	whole.NoPlace = []string{"H1"}
	pages := whole.Pages()
	require.Greater(t, len(pages), 2)
	require.Len(t, pages[0].Beds, len(whole.Beds))
	require.Contains(t, strings.Join(textsOf(traced(t, pages[0])), " "), "The maps that follow show the parts of the field closer")
	require.Equal(t, upperFirst(whole.Window), pages[0].Caption())
	fills := pages[0].layout().covers
	var seen []string
	for i, p := range pages[1:] {
		require.NoError(t, p.Check())
		s := p.layout()
		require.Empty(t, p.uncoded(s), "part %d", i+1)
		require.Equal(t, fills, s.covers, "the same fills")
		require.Empty(t, p.NoPlace, "said once, on the whole map")
		require.Contains(t, p.Caption(), "part")
		require.Contains(t, p.title(), p.pageNote)
		keys := 0
		for _, e := range s.entries {
			require.NotContains(t, e.word, ", 0 beds")
			keys += b2i(strings.HasSuffix(e.word, " beds") || strings.HasSuffix(e.word, " bed"))
		}
		require.Len(t, p.covers(), keys, "the key has the covers of this part")
		for _, b := range p.Beds {
			seen = append(seen, b.Code)
		}
	}
	var want []string
	for _, b := range whole.Beds {
		want = append(want, b.Code)
	}
	slices.Sort(seen)
	slices.Sort(want)
	require.Equal(t, want, seen, "each bed once")
	require.Len(t, CoverMap{}.Pages(), 1, "Check says what is wrong")
}

// Two reasons with the same hatching share their sign.
func TestFieldMap_HatchKey(t *testing.T) {
	m := mapOf(2, 3, 20, 1.2)
	for i := range m.Beds {
		m.Beds[i].Over = nil
		m.Beds[i].Blank = []string{"", "stale", "not valid"}[i%3]
	}
	var words []string
	for _, e := range m.signs() {
		words = append(words, e.word)
	}
	require.Equal(t, []string{"not counted", "not valid or stale"}, words[len(words)-2:])
}

// A narrow cell says the next step in fewer words before any is cut.
func TestOverview_NarrowNext(t *testing.T) {
	o := sampleOverview(4)
	words := func(room float64) string {
		var ms []mark
		g := newPen(&nullCanvas{}, o)
		g.trace = &ms
		drawNext(g, "count by 27 Jul", rect{0, 0, room + 8, 50})
		return textsOf(ms)[0]
	}
	full := boldFace.width("count by 27 Jul")
	require.Equal(t, "count by 27 Jul", words(full))
	require.Equal(t, "count 27 Jul", words(full-1))
}
