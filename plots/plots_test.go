package plots

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/text/encoding/charmap"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// traced draws a figure and returns what was drawn.
func traced(t require.TestingT, fig Figure) []mark {
	require.NoError(t, fig.Check())
	w, h := fig.Size()
	g := newPen(vgsvg.New(vg.Length(w), vg.Length(h)), fig)
	var out []mark
	g.trace = &out
	fig.(interface{ draw(*pen) }).draw(g)
	return out
}

func countOf(ms []mark, kind string) (n int) {
	for _, m := range ms {
		if m.kind == kind {
			n++
		}
	}
	return n
}

func textsOf(ms []mark) (out []string) {
	for _, m := range ms {
		if m.kind == "text" {
			out = append(out, m.text)
		}
	}
	return out
}

func write(t testing.TB, fig Figure, format string) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, Write(fig, &b, format))
	return b.Bytes()
}

// element is a part of an SVG file.
type element struct {
	name, style, d, text string
	x, y                 float64
}

func readSVG(t testing.TB, b []byte) []element {
	t.Helper()
	var out []element
	dec := xml.NewDecoder(bytes.NewReader(b))
	for {
		tok, err := dec.Token()
		if tok == nil {
			require.Equal(t, "EOF", err.Error())
			return out
		}
		switch e := tok.(type) {
		case xml.StartElement:
			el := element{name: e.Name.Local}
			for _, a := range e.Attr {
				switch a.Name.Local {
				case "style":
					el.style = a.Value
				case "d":
					el.d = a.Value
				case "x":
					el.x, _ = strconv.ParseFloat(a.Value, 64)
				case "y":
					el.y, _ = strconv.ParseFloat(a.Value, 64)
				}
			}
			out = append(out, el)
		case xml.CharData:
			if s := strings.TrimSpace(string(e)); s != "" && len(out) > 0 {
				out[len(out)-1].text += s
			}
		}
	}
}

var fontFamily = regexp.MustCompile(`font-family:[^;]*;`)

// structure is the picture without places: elements with their style and
// words, equal neighbours counted.
func structure(t testing.TB, b []byte) string {
	var out strings.Builder
	last, n := "", 0
	flush := func() {
		if n > 0 {
			fmt.Fprintf(&out, "%d x %s\n", n, last)
		}
	}
	for _, e := range readSVG(t, b) {
		s := strings.TrimSpace(e.name + " " + fontFamily.ReplaceAllString(e.style, "") + " " + e.text)
		if s == last {
			n++
			continue
		}
		flush()
		last, n = s, 1
	}
	flush()
	return out.String()
}

func TestSVG_Golden(t *testing.T) {
	for name, fig := range samples() {
		if name == "overview-24" {
			continue // long, and drawn by the code of the others
		}
		got := structure(t, write(t, fig, "svg"))
		path := filepath.Join("testdata", name+".golden")
		if os.Getenv("UPDATE_GOLDEN") == "1" {
			require.NoError(t, os.MkdirAll("testdata", 0o755))
			require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
		}
		want, err := os.ReadFile(path)
		require.NoError(t, err, "run UPDATE_GOLDEN=1 go test ./plots")
		require.Equal(t, string(want), got, name)
	}
}

func TestBytes_Deterministic(t *testing.T) {
	for name, fig := range samples() {
		for _, f := range Formats {
			if f == "png" && !strings.HasPrefix(name, "pressure") {
				continue // slow, and the same code draws them
			}
			require.True(t, bytes.Equal(write(t, fig, f), write(t, fig, f)), "%s.%s", name, f)
		}
	}
}

func TestPNG_Size(t *testing.T) {
	fig := samplePresence()
	w, h := fig.Size()
	img, err := png.Decode(bytes.NewReader(write(t, fig, "PNG")))
	require.NoError(t, err)
	require.InDelta(t, w*DPI/72, img.Bounds().Dx(), 1)
	require.InDelta(t, h*DPI/72, img.Bounds().Dy(), 1)
	// It is not an empty sheet: paper, ink and the action level are there.
	seen := map[[3]uint8]bool{}
	for y := img.Bounds().Min.Y; y < img.Bounds().Max.Y; y++ {
		for x := img.Bounds().Min.X; x < img.Bounds().Max.X; x++ {
			r, g, b, _ := img.At(x, y).RGBA()
			seen[[3]uint8{uint8(r >> 8), uint8(g >> 8), uint8(b >> 8)}] = true
		}
	}
	for _, c := range []struct{ R, G, B uint8 }{{paper.R, paper.G, paper.B}, {ink.R, ink.G, ink.B}, {actCol.R, actCol.G, actCol.B}, {ribbon.R, ribbon.G, ribbon.B}} {
		require.True(t, seen[[3]uint8{c.R, c.G, c.B}], "%v", c)
	}
}

func TestPDF_OnePage(t *testing.T) {
	b := write(t, sampleMap(), "pdf")
	require.True(t, bytes.HasPrefix(b, []byte("%PDF-1.")))
	require.Equal(t, 1, bytes.Count(b, []byte("/Type /Page\n")))
	require.NotContains(t, string(b), "undefined font")
}

// Each visit is one mark: discs and rings are counted in the SVG itself.
func TestPressure_OneMarkPerVisit(t *testing.T) {
	fig := sampleSeveral()
	visits, invalid, units := 0, 0, 0
	for _, b := range fig.Panels {
		for _, v := range b.Visits {
			visits++
			units += len(v.Counts)
			if v.Invalid != "" {
				invalid++
			}
		}
	}
	discs, rings, dots := 0, 0, 0
	for _, e := range readSVG(t, write(t, fig, "svg")) {
		switch {
		case !strings.Contains(e.d, "A"):
		case e.style == "fill:#0F4A6B":
			discs++
		case strings.Contains(e.style, "stroke:#55535F"):
			rings++
		case e.style == "fill:#86A3B3":
			dots++
		}
	}
	require.Equal(t, visits-invalid+1, discs, "and one in the key")
	require.Equal(t, invalid+1, rings, "and one in the key")
	require.Equal(t, units+1, dots, "and one in the key")

	ms := traced(t, fig)
	require.Equal(t, visits-invalid, countOf(ms, "visit"))
	require.Equal(t, invalid, countOf(ms, "invalid"))
	require.Equal(t, 5, countOf(ms, "treatment"))
	require.Equal(t, 1, countOf(ms, "release"))
	require.Equal(t, 3*len(stages), countOf(ms, "stage"))
}

func TestPressure_EveryLabel(t *testing.T) {
	texts := textsOf(traced(t, sampleSingle()))
	for _, want := range []string{
		"Slugs in bed B3 – slugs per trap", "Bed B3", "slugs per trap", "Mondays", "May 2026", "June", "July", "August",
		"treated: iron phosphate bait", "released: nematodes", "act at 3, young plants", "act at 6, from pinching on", "watch at 1.5",
		"not valid", "planted", "emerged", "pinched", "budding", "bloom", "mean of a visit", "95 % interval", "one sample unit", "0", "10", "20",
		"As of 1 September 2026. Counted: board traps read at dawn, 10 per bed (invented data). Lines join valid visits up to 21 days apart.",
	} {
		require.Contains(t, texts, want)
	}
	texts = textsOf(traced(t, samplePresence()))
	for _, want := range []string{"percent of units: leaves with mites", "0 %", "20 %", "act at 30 %", "watch at 10 %, look twice a week", "38 %", "6 %"} {
		require.Contains(t, texts, want)
	}
	texts = textsOf(traced(t, sampleSeveral()))
	for _, want := range []string{"slugs per trap (square-root scale)", "1", "5", "100"} {
		require.Contains(t, texts, want)
	}
}

func TestOverview_EveryLabel(t *testing.T) {
	o := sampleOverview(8)
	ms := traced(t, o)
	texts := textsOf(ms)
	empty, verdicts := 0, 0
	for _, r := range o.Rows {
		require.Contains(t, texts, upperFirst(r.Pest))
		for _, c := range r.Cells {
			if len(c.Visits) == 0 {
				empty++
			} else if c.Verdict != "" {
				verdicts++
				require.Contains(t, texts, string(c.Verdict))
			}
		}
	}
	for _, c := range o.Columns {
		require.Contains(t, texts, "Bed "+c)
	}
	require.Positive(t, empty)
	require.Equal(t, empty, countOf(ms, "hatch"))
	require.Equal(t, verdicts, countOf(ms, "verdict"))
	n := 0
	for _, s := range texts {
		if s == "not counted" {
			n++
		}
	}
	require.Equal(t, empty, n)
}

func TestFieldMap_EveryLabel(t *testing.T) {
	m := sampleMap()
	ms := traced(t, m)
	all := strings.Join(textsOf(ms), "\n")
	acts, empty := 0, 0
	for _, b := range m.Beds {
		v := "not counted"
		if b.Over != nil {
			v = percent(*b.Over)
		} else {
			empty++
		}
		if b.Act {
			acts++
		}
		if len(b.Code) < 5 {
			require.Regexp(t, `(?m)^`+b.Code+`(  |\n)`+regexp.QuoteMeta(v)+`$`, all)
		}
	}
	require.Equal(t, acts, countOf(ms, "outline"))
	require.Equal(t, empty, countOf(ms, "hatch"))
	require.Contains(t, all, "Nursery bed by the west…  72 %")
	require.Contains(t, all, "Beds whose place is not known: H1.")
}

// Beds are to scale: sides and distances in the drawing are those of the
// field times one number.
func TestFieldMap_ToScale(t *testing.T) {
	m := sampleMap()
	var boxes []rect
	for _, k := range traced(t, m) {
		if k.kind == "bed" {
			boxes = append(boxes, k.box)
		}
	}
	require.Len(t, boxes, len(m.Beds))
	s := boxes[0].h() / 12 // points per metre, from the first bed's 12 m
	for i, b := range m.Beds {
		require.InDelta(t, b.EastM*s, boxes[i].w(), 1e-6)
		require.InDelta(t, b.NorthM*s, boxes[i].h(), 1e-6)
		require.InDelta(t, (b.X-m.Beds[0].X)*s, boxes[i].x0-boxes[0].x0, 1e-6)
		require.InDelta(t, (b.Y-m.Beds[0].Y)*s, boxes[0].y1-boxes[i].y1, 1e-6, "north is up")
	}
}

// The action level lies where its value belongs between the tick labels,
// whose places are read from the SVG.
func TestPressure_LevelAtItsPixel(t *testing.T) {
	fig := samplePresence()
	els := readSVG(t, write(t, fig, "svg"))
	_, h := fig.Size()
	tick := map[string]float64{}
	for _, e := range els {
		if e.name == "text" && strings.HasSuffix(e.text, " %") && e.x < plotLeft {
			tick[e.text] = h + e.y // y counts up from the foot, negative
		}
	}
	y0, y40 := tick["0 %"], tick["40 %"]
	require.NotZero(t, y0)
	require.NotZero(t, y40)
	for _, c := range []struct {
		colour string
		value  float64
	}{{"stroke:#A02C08", 30}, {"stroke:#7C5B0C", 10}} {
		var ys []float64
		for _, e := range els {
			if e.name == "path" && strings.Contains(e.style, c.colour) {
				var x, y float64
				_, err := fmt.Sscanf(e.d, "M%f,%f", &x, &y)
				require.NoError(t, err)
				ys = append(ys, h-y)
			}
		}
		require.Len(t, ys, 1)
		// A label's baseline lies 0.36 em below the middle of its figures.
		want := y0 + (y40-y0)*c.value/40 - 0.36*sizeSmall
		require.InDelta(t, want, ys[0], 0.05)
	}
}

// Words do not cover each other, and none leaves the sheet.
func TestText_NoOverlap(t *testing.T) {
	figs := samples()
	for i, p := range sampleOverview(200).Pages() {
		figs[fmt.Sprintf("page %d", i+1)] = p
	}
	for name, fig := range edgeFigures() {
		figs[name] = fig
	}
	for name, fig := range figs {
		w, h := fig.Size()
		sheet := rect{0, 0, w, h}
		var ts []mark
		for _, m := range traced(t, fig) {
			if m.kind == "text" {
				ts = append(ts, m)
			}
		}
		for i, a := range ts {
			require.InDelta(t, a.box.w()*a.box.h(), a.box.overlap(sheet), 1e-6, "%s: %q leaves the sheet at %v", name, a.text, a.box)
			for _, b := range ts[:i] {
				// Up to a fifth of the line height may be shared by empty room above and below.
				require.Zero(t, a.box.inset(1).overlap(b.box.inset(1)), "%s: %q and %q", name, a.text, b.text)
			}
		}
	}
}

// Every character of the package's own words has a glyph, and a place in the
// code page of the PDF.
func TestWords_HaveGlyphs(t *testing.T) {
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	n := 0
	for _, path := range files {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		require.NoError(t, err)
		ast.Inspect(f, func(node ast.Node) bool {
			lit, ok := node.(*ast.BasicLit)
			if !ok || lit.Kind != token.STRING {
				return true
			}
			s, err := strconv.Unquote(lit.Value)
			require.NoError(t, err)
			s = strings.NewReplacer("\n", "", "\t", "").Replace(s)
			require.Equal(t, s, legible(s), path)
			for _, r := range s {
				_, ok := charmap.Windows1252.EncodeRune(r)
				require.True(t, ok, "%s: %q in %q", path, r, s)
			}
			n++
			return true
		})
	}
	require.Greater(t, n, 100)
	require.Equal(t, "bed ?? a b", legible("bed 畑花 a\nb"))
	require.Equal(t, "Grünkohl ½ ≥ ß", legible("Grünkohl ½ ≥ ß"))
}

// Words on paper and on every shade reach the contrast of 4.5 that WCAG 2.2
// (success criterion 1.4.3) asks of text; neighbouring shades differ by at
// least 1.3 in contrast, and what lies on each other can be told apart in grey.
func TestStyle_Grey(t *testing.T) {
	for _, c := range []struct {
		name string
		f    face
	}{{"title", titleFace}, {"lead", leadFace}, {"head", headFace}, {"label", labelFace}, {"tick", tickFace}, {"note", noteFace}, {"small", smallFace}, {"bold", boldFace}} {
		require.GreaterOrEqual(t, contrast(c.f.col, paper), 4.5, c.name)
		require.GreaterOrEqual(t, c.f.size, 10.0, c.name)
	}
	require.GreaterOrEqual(t, contrast(actCol, paper), 4.5)
	require.GreaterOrEqual(t, contrast(watchCol, paper), 4.5)
	require.GreaterOrEqual(t, contrast(treatCol, paper), 4.5)
	require.GreaterOrEqual(t, contrast(releaseCol, paper), 4.5)
	require.GreaterOrEqual(t, contrast(series, ribbon), 4.5, "values stand on the ribbon")
	require.GreaterOrEqual(t, contrast(quiet, ribbon), 4.5, "not valid stands on the ribbon")
	require.GreaterOrEqual(t, contrast(actCol, ribbon), 3.0, "WCAG 1.4.11: lines")
	require.GreaterOrEqual(t, contrast(within, ribbon), 1.4, "the half in the middle on the nine in ten")
	require.GreaterOrEqual(t, contrast(series, within), 3.0, "WCAG 1.4.11: the line of the middle")
	require.GreaterOrEqual(t, contrast(actCol, within), 3.0, "WCAG 1.4.11: the level")
	require.GreaterOrEqual(t, contrast(ink, nextFill), 4.5, "what to do next")
	require.GreaterOrEqual(t, contrast(holdFill, actFill), 1.25, "hold and act, told apart in grey too")
	require.GreaterOrEqual(t, contrast(actCol, actFill), 3.0, "WCAG 1.4.11: the line to act")
	require.GreaterOrEqual(t, contrast(releaseCol, holdFill), 4.5, "hold")
	require.GreaterOrEqual(t, contrast(series, bandFill), 4.5, "words and the line on other years")
	require.GreaterOrEqual(t, contrast(bandFill, paper), 1.3, "other years on paper")
	require.GreaterOrEqual(t, contrast(unit, paper), 2.0)
	require.GreaterOrEqual(t, contrast(unit, ribbon), 1.5)
	for _, s := range stageFill {
		require.GreaterOrEqual(t, contrast(ink, s), 4.5)
	}
	for i, s := range shades {
		require.GreaterOrEqual(t, contrast(onShade(s), s), 4.5, "words on shade %d", i)
		if i > 0 {
			require.Less(t, luminance(s), luminance(shades[i-1]), "darker is more")
			require.GreaterOrEqual(t, contrast(s, shades[i-1]), 1.3, "shades %d and %d", i-1, i)
		}
	}
	// Known ratios: black on white is 21; #767676 on white is 4.54 (both in
	// W3C's "Understanding SC 1.4.3").
	require.InDelta(t, 21, contrast(rgb(0), paper), 1e-9)
	require.InDelta(t, 4.54, contrast(rgb(0x767676), paper), 0.005)
}

func TestErrors(t *testing.T) {
	with := func(change func(*Pressure)) Figure {
		p := sampleSingle()
		change(&p)
		return p
	}
	visit := func(change func(*Visit)) Figure {
		return with(func(p *Pressure) { change(&p.Panels[0].Visits[2]) })
	}
	bed := func(change func(*MapBed)) Figure {
		m := sampleMap()
		change(&m.Beds[1])
		return m
	}
	nan, inf := math.NaN(), math.Inf(1)
	short := sampleOverview(3)
	short.Rows[1].Cells = short.Rows[1].Cells[:2]
	for _, c := range []struct {
		name string
		fig  Figure
		is   error
		says string
	}{
		{"no panels", Pressure{Pest: "slugs"}, ErrNoData, "slugs: nothing has been counted"},
		{"no visits", Pressure{Pest: "slugs", Panels: []Panel{{Bed: "A1", Act: []Segment{{Value: 3}}}}}, ErrNoData, "slugs"},
		{"empty overview", Overview{}, ErrNoData, "season overview"},
		{"overview of nothing", Overview{Columns: []string{"A"}, Rows: []Row{{Pest: "slugs", Cells: make([]Cell, 1)}}}, ErrNoData, ""},
		{"no beds", FieldMap{Pest: "slugs"}, ErrNoData, "map of slugs"},
		{"no bed counted", FieldMap{Beds: []MapBed{{Code: "A1", EastM: 1, NorthM: 2}}}, ErrNoData, ""},
		{"nan mean", visit(func(v *Visit) { v.Mean = nan }), ErrValue, "bed B3, visit of 2026-05-19: the mean NaN"},
		{"inf mean", visit(func(v *Visit) { v.Mean = inf }), ErrValue, "+Inf"},
		{"negative mean", visit(func(v *Visit) { v.Mean = -0.1 }), ErrValue, "-0.1"},
		{"nan interval", visit(func(v *Visit) { v.Interval = &Range{0, nan} }), ErrValue, "NaN"},
		{"interval upside down", visit(func(v *Visit) { v.Interval = &Range{3, 2} }), ErrValue, "from 3 to 2"},
		{"negative count", visit(func(v *Visit) { v.Counts = []int{1, -2} }), ErrValue, "unit 2 has the count -2"},
		{"no date", visit(func(v *Visit) { *v = Visit{} }), ErrValue, "no date"},
		{"year mistyped", visit(func(v *Visit) { v.Date = day("2006-05-20") }), ErrValue, "a year may be mistyped"},
		{"nan level", with(func(p *Pressure) { p.Panels[0].Act[0].Value = nan }), ErrValue, "action level"},
		{"level backwards", with(func(p *Pressure) {
			p.Panels[0].Watch[0].From, p.Panels[0].Watch[0].To = day("2026-07-02"), day("2026-07-01")
		}), ErrValue, "watch level ends on 2026-07-01"},
		{"event without date", with(func(p *Pressure) { p.Panels[0].Treatments = []Event{{Label: "bait"}} }), ErrValue, `"bait" has no date`},
		{"stage without date", with(func(p *Pressure) { p.Panels[0].Stages = []StageSpan{{Label: "bloom"}} }), ErrValue, `"bloom"`},
		{"scale", with(func(p *Pressure) { p.Scale = "cube" }), ErrValue, "cube"},
		{"too many", with(func(p *Pressure) { p.Panels = make([]Panel, 7) }), ErrTooMany, "Pages"},
		{"percent", func() Figure { p := samplePresence(); p.Panels[0].Visits[0].Mean = 101; return p }(), ErrValue, "above 100"},
		{"wide", sampleOverview(25), ErrTooMany, "25 columns"},
		{"ragged", short, ErrValue, "2 cells for 3 columns"},
		{"chance", bed(func(b *MapBed) { v := 1.2; b.Over = &v }), ErrValue, "chance 1.2"},
		{"chance nan", bed(func(b *MapBed) { b.Over = &nan }), ErrValue, "NaN"},
		{"flat bed", bed(func(b *MapBed) { b.EastM = 0 }), ErrValue, "sides 0 by 12 m"},
		{"place", bed(func(b *MapBed) { b.X = inf }), ErrValue, "place"},
		{"far bed", bed(func(b *MapBed) { b.X = 1e6 }), ErrValue, "check the places"},
	} {
		var b bytes.Buffer
		err := Write(c.fig, &b, "svg")
		require.ErrorIs(t, err, c.is, c.name)
		require.Contains(t, err.Error(), c.says, c.name)
		require.Zero(t, b.Len(), c.name)
		require.ErrorIs(t, c.fig.Draw(nil), c.is, c.name)
	}
	for _, f := range []string{"", "gif", "jpeg", "svg "} {
		require.ErrorIs(t, Write(sampleMap(), &bytes.Buffer{}, f), ErrFormat, f)
	}
}

func TestSave(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.svg")
	require.NoError(t, os.WriteFile(path, []byte("old"), 0o600))

	// What cannot be drawn leaves the old file.
	err := Save(Pressure{}, path)
	require.ErrorIs(t, err, ErrNoData)
	require.Contains(t, err.Error(), path)
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, "old", string(b))

	require.NoError(t, Save(sampleMap(), path))
	b, err = os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, write(t, sampleMap(), "svg"), b)
	st, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), st.Mode().Perm(), "the mode of the file replaced")

	require.ErrorIs(t, Save(sampleMap(), filepath.Join(dir, "a.bmp")), ErrFormat)
	require.ErrorIs(t, Save(sampleMap(), filepath.Join(dir, "plain")), ErrFormat)
	require.ErrorIs(t, Save(sampleMap(), filepath.Join(dir, "none", "a.svg")), os.ErrNotExist)
	require.NoError(t, os.Mkdir(filepath.Join(dir, "d.svg"), 0o755))
	require.ErrorContains(t, Save(sampleMap(), filepath.Join(dir, "d.svg")), "is a folder")

	names, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, names, 2, "no temporary file is left")
}

// failing accepts n bytes and then fails.
type failing struct{ n int }

var errFull = errors.New("full")

func (f *failing) Write(b []byte) (int, error) {
	if len(b) > f.n {
		return f.n, errFull
	}
	f.n -= len(b)
	return len(b), nil
}

func TestWrite_Full(t *testing.T) {
	for _, n := range []int{0, 1, 5000} {
		require.ErrorIs(t, Write(sampleMap(), &failing{n}, "svg"), errFull)
	}
}

func TestSVG_SaysItInWords(t *testing.T) {
	for name, fig := range samples() {
		els := readSVG(t, write(t, fig, "svg"))
		require.Equal(t, "desc", els[2].name, name)
		require.Equal(t, fig.Alt(), els[2].text, name)
		require.NotContains(t, string(write(t, fig, "svg")), "NaN", name)
	}
}
