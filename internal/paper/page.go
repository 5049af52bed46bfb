// Package paper writes PDF for a printer: any report.Document, and the sheets
// that a scout takes along on a clipboard. Black on white first: nothing needs
// colour, no type is under 9 pt, and boxes are large enough for a pencil.
//
// The same document gives the same bytes. Nothing here computes, reads a file
// or asks the clock. Lengths are points (1/72 inch) from the upper left.
//
// Not here: pictures are drawn elsewhere (package plots) and come as PNG.
package paper

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

	"codeberg.org/go-fonts/liberation/liberationmonoregular"
	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
)

// Size is a size of paper.
type Size string

// The sizes.
const (
	Letter Size = "letter" // US letter, 8.5 by 11 inches
	A4     Size = "a4"     // ISO 216, 210 by 297 mm
)

// ParseSize reads letter or a4, in any case.
func ParseSize(s string) (Size, bool) {
	size := Size(strings.ToLower(strings.TrimSpace(s)))
	return size, size == Letter || size == A4
}

// Options are the choices for a document.
type Options struct {
	Size    Size     // "" is A4
	Large   bool     // type to be read from some steps away, for a notice on a door
	Loud    string   // key of the section whose heading and items are the largest type of all
	Compact bool     // scouting sheets with more beds on a page
	Fine    []string // keys of sections in smaller type: what is looked up and not worked from
}

// Margins: the left one leaves room for punched holes (common practice).
const (
	marginLeft   = 54
	marginRight  = 36
	marginTop    = 40
	marginBottom = 52
)

// face is a way of writing.
type face struct {
	family string // sans or mono
	style  string // "" or "B"
	size   float64
}

var (
	titleFace = face{"sans", "B", 18}
	headFace  = face{"sans", "B", 13}
	boldFace  = face{"sans", "B", 10.5}
	textFace  = face{"sans", "", 10.5}
	smallFace = face{"sans", "", 9}
	tinyBold  = face{"sans", "B", 9}
	typeFace  = face{"mono", "", 11} // what is typed in as it stands
)

const leading = 1.3 // line distance in type sizes

// page is a document in the making.
type page struct {
	pdf                      *fpdf.Fpdf
	left, right, top, bottom float64 // of the area to print on
	y                        float64 // the next thing stands below this
	scale                    float64 // of all type
	dry                      bool    // nothing is drawn and no page is turned: y is measured
	pages, total             int
	sheet                    fpdf.SizeType    // upright
	lying                    bool             // the page is turned on its side
	closed                   bool             // nothing more stands on this page
	first                    func(*page)      // what has waited for a new page
	again                    func(*page)      // what stands at the head of each further page
	foot                     func(*page, int) // what stands at the foot of page n
	pictures                 int
}

// meta is what the file says about itself.
type meta struct {
	title string
	made  time.Time
}

// write draws a document twice: the first time tells the number of pages, which
// it returns.
func write(w io.Writer, o Options, m meta, foot func(*page, int), draw func(*page)) (int, error) {
	total := 0
	for {
		p, err := newPage(o, m)
		if err != nil {
			return 0, err
		}
		p.total, p.foot = total, foot
		p.turn()
		draw(p)
		p.foot(p, p.pages)
		if p.pages == total {
			if err := p.pdf.Error(); err != nil {
				return 0, fmt.Errorf("draw the page: %w", err)
			}
			var b bytes.Buffer
			if err := p.pdf.Output(&b); err != nil {
				return 0, fmt.Errorf("draw the page: %w", err)
			}
			_, err := w.Write(b.Bytes())
			return total, err
		}
		total = p.pages
	}
}

func newPage(o Options, m meta) (*page, error) {
	size := fpdf.SizeType{Wd: 595.28, Ht: 841.89}
	switch o.Size {
	case Letter:
		size = fpdf.SizeType{Wd: 612, Ht: 792}
	case A4, "":
	default:
		return nil, fmt.Errorf("paper of the size %q is not known", o.Size)
	}
	pdf := fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: size})
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(m.made.UTC())
	pdf.SetModificationDate(m.made.UTC())
	pdf.SetProducer("leafturn", true)
	pdf.SetTitle(m.title, true)
	pdf.SetLang("en")
	pdf.AddUTF8FontFromBytes("sans", "", liberationsansregular.TTF)
	pdf.AddUTF8FontFromBytes("sans", "B", liberationsansbold.TTF)
	pdf.AddUTF8FontFromBytes("mono", "", liberationmonoregular.TTF)
	p := &page{pdf: pdf, sheet: size, scale: 1}
	if o.Large {
		p.scale = 1.5
	}
	return p, pdf.Error()
}

func (p *page) width() float64 { return p.right - p.left }

// turn begins an upright page and returns where its own head ends.
func (p *page) turn() float64 { return p.begin("P", p.sheet.Wd, p.sheet.Ht) }

// lay begins a page that lies on its side.
func (p *page) lay() { p.begin("L", p.sheet.Ht, p.sheet.Wd) }

func (p *page) begin(orientation string, wide, high float64) float64 {
	if p.pages > 0 {
		p.foot(p, p.pages)
	}
	p.pdf.AddPageFormat(orientation, p.sheet)
	p.left, p.right, p.top, p.bottom = marginLeft, wide-marginRight, marginTop, high-marginBottom
	p.pages++
	p.y, p.lying, p.closed = p.top, orientation == "L", false
	if p.pages > 1 && p.first != nil && !p.lying {
		p.first(p)
	}
	filled := p.y > p.top
	if p.pages > 1 && p.again != nil {
		p.again(p)
	}
	if filled {
		return p.top
	}
	return p.y
}

// need turns the page when less than h is left on it, unless the page is
// still empty.
func (p *page) need(h float64) {
	for !p.dry && (p.closed || p.y+h > p.bottom && p.y > p.top) {
		head := p.turn()
		if p.y <= head { // as much as a page has
			return
		}
	}
}

// height is what draw takes.
func (p *page) height(draw func()) float64 {
	was, y := p.dry, p.y
	p.dry = true
	draw()
	h := p.y - y
	p.dry, p.y = was, y
	return h
}

// keptWhole is the largest part of a page that is not parted.
const keptWhole = 0.7

// together draws on one page what fits on one.
func (p *page) together(draw func()) {
	if h := p.height(draw); h <= (p.bottom-p.top)*keptWhole {
		p.need(h)
	}
	draw()
}

func (f face) step() float64 { return f.size * leading }

// face is a way of writing at the scale of the page, never too small to read.
func (p *page) face(f face) face { f.size = max(smallFace.size, f.size*p.scale); return f }

func (p *page) set(f face) { p.pdf.SetFont(f.family, f.style, f.size) }

// measure is the width of a text.
func (p *page) measure(f face, s string) float64 {
	p.set(f)
	return p.pdf.GetStringWidth(s)
}

// text writes one line with its baseline at y.
func (p *page) text(f face, x, y float64, s string) {
	if p.dry || s == "" {
		return
	}
	p.set(f)
	p.pdf.Text(x, y, s)
}

// para writes text into a column, and moves below it.
func (p *page) para(f face, x, w float64, s string) {
	for _, line := range p.wrap(f, s, w) {
		p.need(f.step())
		p.text(f, x, p.y+f.size, line)
		p.y += f.step()
	}
}

// hanging writes a text with a sign in front of its first line.
func (p *page) hanging(f face, x, indent, w float64, sign, s string) {
	lines := p.wrap(f, s, w-indent)
	if len(lines) == 0 {
		lines = []string{""}
	}
	for i, line := range lines {
		p.need(f.step())
		if i == 0 {
			p.text(f, x, p.y+f.size, sign)
		}
		p.text(f, x+indent, p.y+f.size, line)
		p.y += f.step()
	}
}

// line draws a straight line; grey is 0 for black to 255.
func (p *page) line(x0, y0, x1, y1, width float64, grey int) {
	if p.dry {
		return
	}
	p.pdf.SetDrawColor(grey, grey, grey)
	p.pdf.SetLineWidth(width)
	p.pdf.Line(x0, y0, x1, y1)
}

// box draws a frame.
func (p *page) box(x, y, w, h, width float64, grey int) {
	if p.dry {
		return
	}
	p.pdf.SetDrawColor(grey, grey, grey)
	p.pdf.SetLineWidth(width)
	p.pdf.Rect(x, y, w, h, "D")
}

// tick draws a box to tick off, crossed when it is done.
func (p *page) tick(x, y, size float64, done bool) {
	p.box(x, y, size, size, 0.9, 0)
	if done {
		p.line(x, y, x+size, y+size, 0.9, 0)
		p.line(x, y+size, x+size, y, 0.9, 0)
	}
}

// scales are how large a picture is on an upright page and on one that lies on
// its side, and whether it has a page of the second kind to itself: one that is
// wide, and would be made small.
func (p *page) scales(width, height float64) (upright, lying float64, own bool) {
	scale := func(wide, high float64) float64 { return min(1, wide/width, high/height) }
	upright = scale(p.sheet.Wd-marginLeft-marginRight, p.sheet.Ht-marginTop-marginBottom-20)
	lying = scale(p.sheet.Ht-marginLeft-marginRight, p.sheet.Wd-marginTop-marginBottom)
	return upright, lying, lying > 1.15*upright
}

// picture draws a PNG as large as the page allows; it keeps its shape.
func (p *page) picture(png []byte, width, height float64) {
	upright, lying, own := p.scales(width, height)
	own = own && !p.dry
	if own {
		upright = lying
		p.lay()
	}
	w, h := width*upright, height*upright
	if !own {
		p.need(h)
	}
	if !p.dry {
		p.pictures++
		name := fmt.Sprintf("picture%d", p.pictures)
		p.pdf.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "PNG"}, bytes.NewReader(png))
		p.pdf.ImageOptions(name, p.left, p.y, w, h, false, fpdf.ImageOptions{ImageType: "PNG"}, 0, "")
	}
	p.y += h
	p.closed = p.closed || own
}

// wrap breaks a text into lines of at most w points, at blanks; a word that is
// longer is broken behind a stroke or hyphen, else where the line is full.
// Characters that the font lacks become "?".
func (p *page) wrap(f face, s string, w float64) []string {
	p.set(f)
	s = known(s)
	var lines []string
	line := ""
	flush := func() {
		if line != "" {
			lines = append(lines, strings.ReplaceAll(line, "\u00a0", " "))
		}
		line = ""
	}
	for _, word := range unbroken(s) {
		if line != "" {
			if p.pdf.GetStringWidth(line+" "+word) <= w {
				line += " " + word
				continue
			}
			flush()
		}
		for p.pdf.GetStringWidth(word) > w {
			head := p.cut(word, w)
			line = head
			flush()
			word = word[len(head):]
		}
		line = word
	}
	flush()
	return lines
}

// unbroken are the parts of a text between which a line may end.
func unbroken(s string) []string {
	return strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == '\n' || r == '\t' })
}

// cut is the first part of a long word, at least one character of it.
func (p *page) cut(word string, w float64) string {
	end, good := 0, 0
	for i, r := range word {
		next := i + len(string(r))
		if end > 0 && p.pdf.GetStringWidth(word[:next]) > w {
			break
		}
		end = next
		if strings.ContainsRune("/-_,.", r) {
			good = next
		}
	}
	if good >= end/2 && good > 0 {
		end = good
	}
	return word[:end]
}

var regular = sync.OnceValues(func() (*opentype.Font, error) { return opentype.Parse(liberationsansregular.TTF) })

// known replaces what cannot be printed. The PDF library counts characters in
// two bytes, so none beyond them is given to it.
func known(s string) string {
	font, err := regular()
	if err != nil {
		return s
	}
	var b sfnt.Buffer
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t' || r == '\u00a0':
			return r
		case r < ' ' || r == 0x7f:
			return -1
		case r > 0xffff:
			return '?'
		}
		if i, err := font.GlyphIndex(&b, r); err != nil || i == 0 {
			return '?'
		}
		return r
	}, s)
}
