package plots

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/units"
)

// needFigure is an overview of verdicts: a row for each word list, one letter
// for each bed: a act, l look again, s stale, n never counted, h hold.
func needFigure(rows ...string) Overview {
	o := Overview{To: day("2026-07-20")}
	for j := range rows[0] {
		o.Columns = append(o.Columns, fmt.Sprint("B", j+1))
	}
	for i, r := range rows {
		row := Row{Pest: fmt.Sprint("pest ", i+1)}
		for j, c := range r {
			v := map[rune]Verdict{'a': Act, 'l': LookAgain, 's': Stale, 'n': NeverCounted, 'h': Hold}[c]
			row.Cells = append(row.Cells, Cell{Visits: []Visit{{Date: day("2026-07-06"), Mean: float64(10*i + j)}}, Verdict: v})
		}
		o.Rows = append(o.Rows, row)
	}
	return o
}

func TestOverview_ByNeed(t *testing.T) {
	o := needFigure("hhlh", "haah", "lhhh", "hhsh")
	got := o.ByNeed()
	require.Equal(t, []string{"B3", "B2", "B1", "B4"}, got.Columns, "act and look again before act, before look again, before hold")
	require.Equal(t, []string{"pest 2", "pest 1", "pest 3", "pest 4"}, got.pests(), "equal ones stay in their order")
	require.Equal(t, []string{"B1", "B2", "B3", "B4"}, o.Columns, "the caller's is left alone")
	for _, r := range got.Rows {
		for j, c := range r.Cells {
			// The mean says which cell it was.
			require.Equal(t, fmt.Sprintf("%s in %s", r.Pest, got.Columns[j]), fmt.Sprintf("pest %d in B%d", int(c.Visits[0].Mean)/10+1, int(c.Visits[0].Mean)%10+1))
		}
	}
	require.Contains(t, strings.Join(textsOf(traced(t, got)), " "), "Most pressing first, pests from the top and beds from the left")
	require.NotContains(t, strings.Join(textsOf(traced(t, o)), " "), "Most pressing first")

	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 6).Draw(t, "beds")
		line := rapid.StringOfN(rapid.SampledFrom([]rune("alsnh")), n, n, -1)
		o := needFigure(rapid.SliceOfN(line, 1, 5).Draw(t, "rows")...).ByNeed()
		count := func(cells []Cell) (out [4]int) {
			for _, c := range cells {
				for i, v := range []Verdict{Act, LookAgain, Stale, NeverCounted} {
					if c.Verdict == v {
						out[i]++
					}
				}
			}
			return out
		}
		for i := 1; i < len(o.Rows); i++ {
			a, b := count(o.Rows[i-1].Cells), count(o.Rows[i].Cells)
			require.GreaterOrEqual(t, slices.Compare(a[:], b[:]), 0)
		}
		for j := 1; j < n; j++ {
			var left, right []Cell
			for _, r := range o.Rows {
				left, right = append(left, r.Cells[j-1]), append(right, r.Cells[j])
			}
			a, b := count(left), count(right)
			require.GreaterOrEqual(t, slices.Compare(a[:], b[:]), 0)
		}
	})
}

// sampleTodo is an overview with what is to be done next.
func sampleTodo() Overview {
	o := sampleOverview(20)
	for i := range o.Rows {
		for j := range o.Rows[i].Cells {
			if c := &o.Rows[i].Cells[j]; c.Verdict == Act {
				c.Next = "act by 3 Sep"
			} else if j%2 == 0 {
				c.Next = "count by 8 Sep"
			}
		}
	}
	o.Todo = []Todo{
		{"slugs", o.Columns[2:5], "lift the boards every morning, by Thu 3 Sep"},
		{"spider mites", o.Columns[:14], "wash the leaf undersides with a strong water jet; repeat every 3 to 4 days, by Thu 3 Sep"},
		{"thrips", o.Columns[19:], "look again, by Tue 8 Sep"},
	}
	o.PerPage, o.RowsPerPage = 8, 3
	return o.ByNeed()
}

func TestOverview_Next(t *testing.T) {
	o := sampleTodo()
	pages := o.Pages()
	require.Len(t, pages, 6)
	todos := map[string]int{}
	for _, p := range pages {
		require.NoError(t, p.Check())
		texts := textsOf(requireApart(t, p))
		all := strings.Join(texts, " ")
		next := 0
		for _, r := range p.Rows {
			for _, c := range r.Cells {
				if c.Next != "" {
					next++
				}
			}
		}
		got := 0
		for _, s := range texts {
			if s == "act by 3 Sep" || s == "count by 8 Sep" {
				got++
			}
		}
		require.Equal(t, next, got, "each next step stands in its cell")
		for _, td := range p.Todo {
			require.Contains(t, p.pests(), td.Pest)
			for _, b := range td.Beds {
				require.Contains(t, p.Columns, b)
				todos[td.Pest+b]++
			}
			require.Contains(t, all, "– "+upperFirst(td.Pest)+", bed")
			require.Contains(t, p.Alt(), td.Words+".")
		}
		require.Equal(t, len(p.Todo) > 0, strings.Contains(all, "What to do next"))
	}
	want := map[string]int{}
	for _, td := range o.Todo {
		for _, b := range td.Beds {
			want[td.Pest+b]++
		}
	}
	require.Equal(t, want, todos, "each step of each bed on one page")
}

func TestTodo_Lines(t *testing.T) {
	var all []Todo
	for i := range 12 {
		all = append(all, Todo{"slugs", []string{fmt.Sprint("A", i)}, "look again"})
	}
	lines := todoLines(all, true, 500)
	require.Len(t, lines, mostTodo)
	require.Equal(t, "– Slugs, bed A0: look again", lines[0])
	require.Equal(t, "– and 4 more steps: see the week's list", lines[mostTodo-1])
	require.Len(t, todoLines(all[:9], false, 500), 9, "as many as fit are all named")
	require.Equal(t, "beds A1, A2 and A3", Todo{Beds: []string{"A1", "A2", "A3"}}.Where())
	require.Contains(t, Todo{Beds: strings.Fields(strings.Repeat("A ", 30))}.Where(), "and 21 more")
}

// mapOf is a field of beds in columns, invented.
func mapOf(columns, rows int, eastM, northM float64) FieldMap {
	m := FieldMap{Pest: "slugs", AsOf: day("2026-07-13"), Level: "5 slugs per trap", HotTold: "holds over 1.5 times the field's mean"}
	for c := range columns {
		for r := range rows {
			b := MapBed{Code: fmt.Sprintf("%c%d", 'A'+c, r+1), X: float64(c) * (eastM + 2), Y: float64(r) * (northM + 0.9), EastM: eastM, NorthM: northM}
			switch i := c*rows + r; {
			case i%4 != 3:
				v := float64(i*37%100) / 99
				b.Over, b.Act, b.Hot, b.Spot = &v, v > 0.8, v > 0.9, i%10 == 0
			case i%8 == 3:
				b.Blank = BlankStale
			}
			m.Beds = append(m.Beds, b)
		}
	}
	m.Todo = []Todo{{"slugs", []string{"A1", fmt.Sprintf("%c%d", 'A'+columns-1, rows)}, "lift the boards, by Thu 16 Jul"}}
	return m
}

// A large field comes as a whole and in parts: each bed is once in a part, with
// its code and its words, and each part can be printed on a page.
func TestFieldMap_Parts(t *testing.T) {
	for _, m := range []FieldMap{mapOf(6, 50, 20, 0.9), mapOf(10, 20, 1.2, 5), mapOf(2, 150, 30, 0.75), mapOf(40, 5, 0.8, 12)} {
		pages := m.Pages()
		require.Greater(t, len(pages), 1)
		require.Equal(t, m.Beds, pages[0].Beds)
		seen, todo := map[string]int{}, 0
		for _, p := range pages[1:] {
			require.NoError(t, p.Check())
			s := p.layout()
			require.Empty(t, p.unlabelled(s))
			require.LessOrEqual(t, max(s.box.w(), s.box.h()), float64(partSize)+1e-9)
			requireApart(t, p)
			for _, b := range p.Beds {
				seen[b.Code]++
			}
			for _, td := range p.Todo {
				todo += len(td.Beds)
			}
			require.Contains(t, p.Alt(), fmt.Sprintf("of %d: map of %s", len(pages)-1, plural(len(p.Beds), "bed", "beds")))
		}
		require.Len(t, seen, len(m.Beds))
		for code, n := range seen {
			require.Equal(t, 1, n, code)
		}
		require.Equal(t, 2, todo)
	}
	require.Len(t, sampleMap().Pages(), 1, "a field that can be read is one map")
}

// Columns stay whole where a wide path lies between them.
func TestFieldMap_PartsCutAtPaths(t *testing.T) {
	m := mapOf(4, 30, 20, 1.2)
	for i := range m.Beds {
		if m.Beds[i].Code[0] >= 'C' {
			m.Beds[i].X += 15
		}
	}
	for _, p := range m.Pages()[1:] {
		west := slices.ContainsFunc(p.Beds, func(b MapBed) bool { return b.Code[0] < 'C' })
		east := slices.ContainsFunc(p.Beds, func(b MapBed) bool { return b.Code[0] >= 'C' })
		require.False(t, west && east)
	}
}

func TestFieldMap_Signs(t *testing.T) {
	m := mapOf(2, 10, 20, 1.2)
	m.Told = []string{"The edge holds about twice as many as the middle."}
	ms := traced(t, m)
	var act, hot, spot, blank, empty int
	for _, b := range m.Beds {
		act, hot, spot = act+b2i(b.Act), hot+b2i(b.Hot), spot+b2i(b.Spot)
		blank, empty = blank+b2i(b.Blank != ""), empty+b2i(b.Over == nil && b.Blank == "")
	}
	require.Equal(t, []int{act, hot, spot, blank, empty}, []int{countOf(ms, "outline"), countOf(ms, "hot"), countOf(ms, "spot"), countOf(ms, "blank"), countOf(ms, "hatch")})
	texts := textsOf(ms)
	for _, want := range []string{"not counted", "stale", "a hot spot within the bed", m.Told[0], "What to do next", "– Beds A1 and B10: lift the boards, by Thu 16 Jul", "north of the field"} {
		require.Contains(t, texts, want)
	}
	require.Contains(t, m.Alt(), "Stale: beds A4, B2 and B10. Not counted: beds A8 and B6.")
	require.Contains(t, m.Alt(), "Beds A1 and B10: lift the boards, by Thu 16 Jul.")

	// Nothing is known of a chance, but why is: that is a map worth drawing.
	for i := range m.Beds {
		m.Beds[i].Over, m.Beds[i].Blank = nil, "not valid"
	}
	require.NoError(t, m.Check())
	require.Contains(t, m.Alt(), "The chance is not known in any bed here.")
}

// The scale bar in feet is as long as its feet are, a foot being 0.3048 m.
func TestMaps_Feet(t *testing.T) {
	for _, feet := range []bool{false, true} {
		m := mapOf(2, 10, 20, 1.2)
		m.Feet = feet
		requireScale(t, m, m.layout().width, m.layout().scale, feet)
		c := sampleCovers()
		c.Feet = feet
		requireScale(t, c, c.layout().width, c.layout().scale, feet)
	}
}

func requireScale(t *testing.T, fig Figure, width, scale float64, feet bool) {
	t.Helper()
	unit, metres := " m", 1.0
	if feet {
		unit, metres = " ft", units.Of(1, "ft").MustIn("m")
	}
	var words mark
	for _, x := range kindOf(traced(t, fig), "text") {
		var long float64
		if n, _ := fmt.Sscanf(x.text, "%g"+unit, &long); n == 1 && strings.HasSuffix(x.text, unit) && x.box.x0 < width/2 {
			words = x
		}
	}
	var long float64
	_, err := fmt.Sscanf(words.text, "%g", &long)
	require.NoError(t, err, "%q", words.text)
	require.InDelta(t, long*metres*scale, words.box.x0-6-20, 1e-6)
	require.True(t, long == math.Trunc(long))
}

func TestPressure_Next(t *testing.T) {
	p := sampleSeveral()
	p.Panels[1].Verdict, p.Panels[1].Next = Act, "By Thu 3 Sep: lift the boards. Look again by Tue 8 Sep: 10 traps."
	p.Panels[2].Next = strings.Repeat(long, 4)
	ms := requireApart(t, p)
	require.Contains(t, textsOf(ms), p.Panels[1].Next)
	require.Equal(t, 1, countOf(ms, "verdict"))
	require.Contains(t, p.Alt(), "Bed B4: act. By Thu 3 Sep: lift the boards.")
}
