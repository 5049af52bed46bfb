package paper

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/testkit"
)

// printedPage is what a page of a PDF says, as a reader would find it.
type printedPage struct {
	high  float64
	runs  []run
	boxes [][4]float64 // x, y of the upper left, width, height
}

// run is one line of text with its baseline, from the upper left.
type run struct {
	font       string
	size, x, y float64
	text       string
}

func (p printedPage) text() string {
	var out []string
	for _, r := range p.runs {
		out = append(out, r.text)
	}
	return strings.Join(out, "\n")
}

// flat is the text of all pages without line breaks.
func flat(pages []printedPage) string {
	var out []string
	for _, p := range pages {
		out = append(out, p.text())
	}
	return strings.Join(strings.Fields(strings.Join(out, " ")), " ")
}

// read takes a PDF of ours apart.
func read(t *testing.T, pdf []byte) []printedPage {
	t.Helper()
	var out []printedPage
	for _, p := range testkit.ReadPDF(t, pdf) {
		page := printedPage{high: p.High, boxes: p.Boxes}
		for _, r := range p.Runs {
			page.runs = append(page.runs, run{r.Font, r.Size, r.X, r.Y, r.Text})
		}
		out = append(out, page)
	}
	return out
}

// tidy checks what every page must keep: nothing beyond the margins, no type
// under 9 pt, no two lines of text over each other.
func tidy(t *testing.T, pages []printedPage, size Size) {
	t.Helper()
	p, err := newPage(Options{Size: size}, meta{})
	require.NoError(t, err)
	p.turn()
	wide := func(r run) float64 { // by the narrowest of the faces: it tells no font by its name
		w := p.measure(face{"sans", "", r.size}, r.text)
		if strings.Contains(r.text, "____") || strings.HasPrefix(r.text, "date ") {
			return min(w, p.measure(face{"mono", "", r.size}, r.text))
		}
		return min(w, p.measure(face{"sans", "B", r.size}, r.text))
	}
	for n, page := range pages {
		require.InDelta(t, p.bottom+marginBottom, page.high, 0.1)
		for i, r := range page.runs {
			require.GreaterOrEqual(t, r.size, 9.0, "page %d: %q", n+1, r.text)
			require.GreaterOrEqual(t, r.x, p.left-0.01, "page %d: %q", n+1, r.text)
			require.LessOrEqual(t, r.x+wide(r), p.right+1, "page %d: %q", n+1, r.text)
			require.Less(t, r.y, p.bottom+marginBottom-10, "page %d: %q", n+1, r.text)
			require.Greater(t, r.y, float64(marginTop), "page %d: %q", n+1, r.text)
			for _, q := range page.runs[:i] {
				apart := r.y-q.y >= 0.8*r.size || q.y-r.y >= 0.8*q.size || r.x >= q.x+wide(q)-1 || q.x >= r.x+wide(r)-1
				require.True(t, apart, "page %d: %q over %q", n+1, r.text, q.text)
			}
		}
		for _, b := range page.boxes {
			require.True(t, b[0] >= p.left-0.5 && b[0]+b[2] <= p.right+0.5 && b[1] >= marginTop-1 && b[1]+b[3] <= p.bottom+8, "page %d: box %v", n+1, b)
		}
	}
}
