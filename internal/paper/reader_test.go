package paper

import (
	"bytes"
	"compress/zlib"
	"io"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/stretchr/testify/require"
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

var (
	stream   = regexp.MustCompile(`/Length (\d+)>>\r?\nstream\r?\n`)
	mediaBox = regexp.MustCompile(`/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]`)
	operator = regexp.MustCompile(`(?s)BT /F(\w+) ([\d.]+) Tf ET|BT ([-\d.]+) ([-\d.]+) Td \(((?:\\.|[^\\)])*)\) Tj ET|([-\d.]+) ([-\d.]+) ([-\d.]+) ([-\d.]+) re`)
)

// read takes a PDF of ours apart.
func read(t *testing.T, pdf []byte) []printedPage {
	t.Helper()
	m := mediaBox.FindSubmatch(pdf)
	require.NotNil(t, m)
	high := number(string(m[2]))
	var pages []printedPage
	for _, s := range stream.FindAllSubmatchIndex(pdf, -1) {
		z, err := zlib.NewReader(bytes.NewReader(pdf[s[1] : s[1]+int(number(string(pdf[s[2]:s[3]])))]))
		if err != nil {
			continue
		}
		raw, err := io.ReadAll(z)
		require.NoError(t, err)
		if !bytes.Contains(raw, []byte(") Tj ET")) {
			continue
		}
		p := printedPage{high: high}
		font, size := "", 0.0
		for _, op := range operator.FindAllStringSubmatch(string(raw), -1) {
			switch {
			case op[1] != "":
				font, size = op[1], number(op[2])
			case op[6] != "":
				h := -number(op[9])
				p.boxes = append(p.boxes, [4]float64{number(op[6]), high - number(op[7]), number(op[8]), h})
			default:
				p.runs = append(p.runs, run{font, size, number(op[3]), high - number(op[4]), decode(op[5])})
			}
		}
		pages = append(pages, p)
	}
	return pages
}

func number(s string) float64 { v, _ := strconv.ParseFloat(s, 64); return v }

// decode reads a PDF string of UTF-16.
func decode(s string) string {
	var b []byte
	for i := 0; i < len(s); i++ {
		if s[i] == '\\' && i+1 < len(s) {
			i++
			switch s[i] {
			case 'r':
				b = append(b, '\r')
				continue
			case 'n':
				b = append(b, '\n')
				continue
			}
		}
		b = append(b, s[i])
	}
	var u []uint16
	for i := 0; i+1 < len(b); i += 2 {
		u = append(u, uint16(b[i])<<8|uint16(b[i+1]))
	}
	return string(utf16.Decode(u))
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
