package plots

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Todo is what is to be done next against one pest in some beds.
type Todo struct {
	Pest  string
	Beds  []string
	Words string // such as "look again, by Mon 27 Jul"
}

// mostTodo is how many steps are listed under a picture, and mostBeds how many
// beds are named in each.
const (
	mostTodo = 9
	mostBeds = 9
)

// Where names the beds, the first of many.
func (t Todo) Where() string {
	return beds(t.Beds, mostBeds)
}

// words are the step in one line, with its pest where several are shown.
func (t Todo) words(pest bool) string {
	s := t.Where() + ": " + t.Words
	if pest {
		return upperFirst(t.Pest) + ", " + s
	}
	return upperFirst(s)
}

// todoLines are the steps under a picture, the title of the list not among them.
func todoLines(all []Todo, pest bool, width float64) []string {
	shown := all
	if len(all) > mostTodo {
		shown = all[:mostTodo-1]
	}
	var out []string
	for _, t := range shown {
		out = append(out, labelFace.wrap("– "+t.words(pest), width, 2)...)
	}
	if n := len(all) - len(shown); n > 0 {
		out = append(out, fmt.Sprintf("– and %d more steps: see the week's list", n))
	}
	return out
}

func todoHeight(lines []string) float64 {
	if len(lines) == 0 {
		return 0
	}
	return sizeHead*lineStep + float64(len(lines))*sizeLabel*lineStep + 4
}

// drawTodo writes the list with its title.
func drawTodo(g *pen, x, y float64, lines []string) {
	if len(lines) == 0 {
		return
	}
	g.text(x, y+sizeHead, 0, headFace, "What to do next")
	drawLines(g, x, y+sizeHead*(1+lineStep), labelFace, lines)
}

// todoAlt is the whole list in sentences.
func todoAlt(all []Todo, pest bool) []string {
	var out []string
	for _, t := range all {
		out = append(out, t.words(pest)+".")
	}
	return out
}

// todoFor is what of a list is about some pests and beds.
func todoFor(all []Todo, pests, beds []string) []Todo {
	var out []Todo
	for _, t := range all {
		if !slices.Contains(pests, t.Pest) {
			continue
		}
		t.Beds = slices.DeleteFunc(slices.Clone(t.Beds), func(b string) bool { return !slices.Contains(beds, b) })
		if len(t.Beds) > 0 {
			out = append(out, t)
		}
	}
	return out
}

// need is how many cells have each verdict, the most pressing first.
type need [4]int

func (n *need) add(c Cell) {
	i := slices.Index([]Verdict{Act, LookAgain, Stale, NeverCounted}, c.Verdict)
	if i >= 0 {
		n[i]++
	}
}

// ByNeed returns the overview with the most pressing pests on top and the most
// pressing beds on the left: first those with most cells to act in, then to
// look again, then stale, then never counted; equal ones stay in their order.
// The picture says so in its foot.
func (o Overview) ByNeed() Overview {
	rows, columns := make([]need, len(o.Rows)), make([]need, len(o.Columns))
	for i, r := range o.Rows {
		for j, c := range r.Cells[:min(len(r.Cells), len(o.Columns))] {
			rows[i].add(c)
			columns[j].add(c)
		}
	}
	order := func(of []need) []int {
		out := make([]int, len(of))
		for i := range out {
			out[i] = i
		}
		slices.SortStableFunc(out, func(x, y int) int { return slices.Compare(of[y][:], of[x][:]) })
		return out
	}
	ro, co := order(rows), order(columns)
	out := o
	out.sorted, out.Columns, out.Rows = true, nil, nil
	for _, j := range co {
		out.Columns = append(out.Columns, o.Columns[j])
	}
	for _, i := range ro {
		r := o.Rows[i]
		if len(r.Cells) == len(o.Columns) { // else Check says what is wrong
			cells := make([]Cell, len(co))
			for k, j := range co {
				cells[k] = r.Cells[j]
			}
			r.Cells = cells
		}
		out.Rows = append(out.Rows, r)
	}
	return out
}

func needWords(column string) string {
	return fmt.Sprintf("Most pressing first, pests from the top and %ss from the left: by how often the verdict is act, then look again, then stale.", strings.ToLower(cmp.Or(column, "bed")))
}
