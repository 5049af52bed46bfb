package plots

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// paperWide is the width of pictures for paper, and a4 is the room for one
// there: package paper makes a wider picture smaller.
const (
	paperWide = 560.0
	a4        = 595.28 - 54 - 36
)

// sparse is an overview in which only one cell in so many was counted.
func sparse(beds, every int) Overview {
	o := sampleOverview(beds)
	n := 0
	for i := range o.Rows {
		for j := range o.Rows[i].Cells {
			if n++; n%every != 0 {
				o.Rows[i].Cells[j] = Cell{Verdict: NeverCounted, Next: "count by 1 Sep"}
			}
		}
	}
	return o
}

// onPaper are the figures that stand on sheets of paper, in their width there.
func onPaper() map[string]Figure {
	several, covers, bloom := sampleSeveral(), sampleCovers(), sampleBloom()
	several.Wide, covers.Wide, bloom.Wide = paperWide, paperWide, paperWide
	packed, full := sparse(20, 4), sampleOverview(5)
	packed.Wide, full.Wide = paperWide, paperWide
	return map[string]Figure{
		"pressure-paper": several, "bloomcalendar-paper": bloom, "covermap-paper": covers,
		"packed-paper": packed.ByNeed().Packed()[0], "overview-paper": full,
	}
}

func TestOnPaper_TypeCanBeRead(t *testing.T) {
	for name, fig := range onPaper() {
		w, _ := fig.Size()
		require.Equal(t, paperWide, w, name)
		require.GreaterOrEqual(t, sizeSmall*min(1, a4/w), 9.0, name)
	}
}

// Every cell that was counted stands on one page, and no other; what was not
// counted is said in words.
func TestPacked_EveryCount(t *testing.T) {
	o := sparse(20, 4)
	o.Uncounted = []string{"aphids", "virus"}
	require.True(t, o.Sparse())
	require.False(t, sampleOverview(20).Sparse())
	require.False(t, Overview{}.Sparse(), "nothing counted is another matter")
	want := map[string]bool{}
	for _, r := range o.Rows {
		for j, c := range r.Cells {
			if len(c.Visits) > 0 {
				want[r.Pest+" "+o.Columns[j]] = true
			}
		}
	}
	o.RowsPerPage = 2
	got := map[string]bool{}
	pages := o.ByNeed().Packed()
	for i, p := range pages {
		require.NoError(t, p.Check())
		ms := traced(t, p)
		require.Zero(t, countOf(ms, "hatch"))
		texts := strings.Join(textsOf(ms), " ")
		require.NotContains(t, texts, "count by 1 Sep")
		require.Contains(t, texts, fmt.Sprintf(", page %d of %d", i+1, len(pages)))
		require.Contains(t, texts, "slugs in 4")
		require.Contains(t, texts, "of 20 beds")
		require.Contains(t, texts, "Counted in no bed: aphids, virus.")
		cells := 0
		for _, l := range p.lines {
			for _, j := range l.cells {
				cells++
				key := p.o.Rows[l.row].Pest + " " + p.o.Columns[j]
				require.False(t, got[key], key)
				got[key] = true
			}
			require.Contains(t, texts, upperFirst(p.o.Rows[l.row].Pest))
		}
		require.Equal(t, cells, countOf(ms, "cell"))
	}
	require.Greater(t, len(pages), 1)
	require.Equal(t, want, got)
	require.ErrorIs(t, Packed{}.Check(), ErrNoData)
}

// The most pressing stand first in their pest.
func TestPacked_Order(t *testing.T) {
	p := needFigure("hhlahs").Packed()[0]
	var order []string
	for _, j := range p.lines[0].cells {
		order = append(order, p.o.Columns[j])
	}
	require.Equal(t, []string{"B4", "B3", "B6", "B1", "B2", "B5"}, order)
}

// A name too long to stand beside a verdict stands above its cell, and so do all.
func TestPacked_LongNames(t *testing.T) {
	o := needFigure("hhla")
	require.False(t, o.Packed()[0].above)
	o.Columns[2] = "GLASSHOUSE-1"
	p := o.Packed()[0]
	require.True(t, p.above)
	texts := textsOf(traced(t, p))
	for _, c := range o.Columns {
		require.Contains(t, texts, c)
	}
}

// What is to be done keeps its order, the pests of the page among one another.
func TestPacked_Todo(t *testing.T) {
	o := needFigure("lh", "la")
	o.Todo = []Todo{{Pest: "pest 2", Beds: []string{"B2"}, Words: "first"}, {Pest: "pest 1", Beds: []string{"B1"}, Words: "second"}, {Pest: "pest 2", Beds: []string{"B1"}, Words: "third"}, {Pest: "pest 3", Beds: []string{"B1"}, Words: "elsewhere"}}
	p := o.Packed()[0]
	require.Equal(t, o.Todo[:3], p.o.Todo)
}

func TestPacked_Properties(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		o := sparse(rapid.IntRange(1, 60).Draw(rt, "beds"), rapid.IntRange(1, 9).Draw(rt, "every"))
		o.Wide = rapid.SampledFrom([]float64{0, paperWide}).Draw(rt, "wide")
		o.RowsPerPage = rapid.IntRange(0, 6).Draw(rt, "lines")
		counted := 0
		for _, r := range o.Rows {
			for _, c := range r.Cells {
				if len(c.Visits) > 0 {
					counted++
				}
			}
		}
		drawn := 0
		for _, p := range o.Packed() {
			if counted == 0 {
				require.ErrorIs(rt, p.Check(), ErrNoData)
				return
			}
			require.NoError(rt, p.Check())
			drawn += countOf(traced(t, p), "cell")
		}
		require.Equal(rt, counted, drawn)
	})
}
