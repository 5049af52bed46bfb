package plots

import (
	"fmt"
	"image/color"
	"math"
	"strings"
	"sync"
	"unicode"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	xfont "golang.org/x/image/font"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// Type sizes in points. Nothing is smaller than sizeSmall: 10 pt on paper can
// be read at arm's length.
const (
	sizeTitle = 17
	sizeLead  = 12.5
	sizeHead  = 12.5
	sizeLabel = 11
	sizeSmall = 10
	lineStep  = 1.28 // line distance in type sizes
)

// Colours. Their order in luminance is the order of their weight: what must
// be seen first is darkest, so the pictures hold in grey and for readers who
// do not tell hues apart. Meaning is never carried by hue alone: act is a
// solid line and watch a dashed one, treatments are filled wedges and releases
// hollow diamonds, and all have words. TestStyle_Grey checks the contrasts.
var (
	paper   = rgb(0xFFFFFF)
	ink     = rgb(0x17161C)                       // titles, words on paper
	quiet   = rgb(0x55535F)                       // ticks, sources
	rule    = rgb(0x8C8A96)                       // frames, ticks
	faint   = rgb(0xE4E2E8)                       // grid lines
	veilCol = color.NRGBA{0xFF, 0xFF, 0xFF, 0xB8} // behind words on data
	hatch   = rgb(0xB9B6C2)                       // "not counted"

	series = rgb(0x0F4A6B) // visit means and the line through them
	ribbon = rgb(0xC3D9E4) // 95 % interval
	within = rgb(0x8DB4C8) // the half of the chances in the middle
	unit   = rgb(0x86A3B3) // single units

	actCol     = rgb(0xA02C08) // action level
	watchCol   = rgb(0x7C5B0C) // watch level
	treatCol   = rgb(0x53217F) // treatments
	releaseCol = rgb(0x1C6638) // releases
	stepCol    = rgb(0x4A4038) // hand work and other steps
	closedFill = rgb(0xEFE8F4) // days on which a bed is closed
	dot        = rgb(0x557689) // single units that stand on the band of what is believed

	coldHot = rgb(0x978A7E) // a day's lowest to highest temperature
	rainCol = rgb(0x2F6690) // a day's rain
	ahead   = rgb(0xCBC7D2) // days that a forecast speaks of

	rangeFill = rgb(0xE3DED2)                                                              // what earlier years held
	yearCols  = [4]color.NRGBA{rgb(0x6E6B78), rgb(0x7A5C3E), rgb(0x4E6E5A), rgb(0x6A5488)} // earlier years, told apart by dash and name

	bandFill  = rgb(0xE0DCD3) // other years
	actFill   = rgb(0xE8BFA4) // totals that act
	holdFill  = rgb(0xDDE8CF) // totals that hold
	nextFill  = rgb(0xF3EFE3) // behind what to do next
	stageFill = [2]color.NRGBA{rgb(0xECEAE4), rgb(0xD9D5CA)}

	// fills of a map of sown beds: all light, so that words and patterns in
	// dark lines stand out; the pattern tells them apart, not the hue.
	sownFill = [7]color.NRGBA{rgb(0xF2E2A0), rgb(0xBFD9E8), rgb(0xE9BE9A), rgb(0xCFE3BC), rgb(0xD3C3E3), rgb(0xF6D9DC), rgb(0xC9CDB2)}

	// shades of the map for chances of 0-20, 20-40, ..., 80-100 %.
	shades = [5]color.NRGBA{rgb(0xFBF5E0), rgb(0xEBCB93), rgb(0xCF8D58), rgb(0x8F4640), rgb(0x45182F)}
)

func rgb(v uint32) color.NRGBA {
	return color.NRGBA{R: uint8(v >> 16), G: uint8(v >> 8), B: uint8(v), A: 0xFF}
}

// shadeOf returns the class of a chance 0-1 among shades.
func shadeOf(chance float64) int { return min(int(chance*5), 4) }

// onShade returns the colour of words on a fill: the one with more contrast.
func onShade(fill color.NRGBA) color.NRGBA {
	if contrast(fill, paper) > contrast(fill, ink) {
		return paper
	}
	return ink
}

// luminance returns the relative luminance of a colour, 0 black to 1 white.
// Source: WCAG 2.2, definition of relative luminance (sRGB).
func luminance(c color.NRGBA) float64 {
	lin := func(v uint8) float64 {
		s := float64(v) / 255
		if s <= 0.04045 {
			return s / 12.92
		}
		return math.Pow((s+0.055)/1.055, 2.4)
	}
	return 0.2126*lin(c.R) + 0.7152*lin(c.G) + 0.0722*lin(c.B)
}

// contrast returns the contrast ratio of two colours, 1 to 21.
// Source: WCAG 2.2, definition of contrast ratio.
func contrast(a, b color.NRGBA) float64 {
	la, lb := luminance(a), luminance(b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

// face is a way of writing words.
type face struct {
	size float64
	bold bool
	col  color.NRGBA
}

var (
	titleFace = face{sizeTitle, true, ink}
	leadFace  = face{sizeLead, false, ink}
	headFace  = face{sizeHead, true, ink}
	labelFace = face{sizeLabel, false, ink}
	tickFace  = face{sizeSmall, false, quiet}
	noteFace  = face{sizeSmall, false, quiet}
	smallFace = face{sizeSmall, false, ink}
	boldFace  = face{sizeSmall, true, ink}
)

func (f face) colour(c color.NRGBA) face { f.col = c; return f }

// fonts holds the two faces of the bundled Liberation Sans.
var fonts = sync.OnceValue(func() (f struct{ regular, bold *opentype.Font }) {
	var err error
	if f.regular, err = opentype.Parse(liberationsansregular.TTF); err == nil {
		f.bold, err = opentype.Parse(liberationsansbold.TTF)
	}
	if err != nil {
		panic(fmt.Sprintf("plots: the bundled font does not parse: %v", err))
	}
	return f
})

func (f face) font() font.Face {
	fs := fonts()
	out := font.Face{Font: font.Font{Typeface: "Liberation", Variant: "Sans", Size: vg.Length(f.size)}, Face: fs.regular}
	if f.bold {
		out.Font.Weight, out.Face = xfont.WeightBold, fs.bold
	}
	return out
}

// width returns the width of s in points.
func (f face) width(s string) float64 {
	ff := f.font()
	return float64(ff.Width(s))
}

// legible returns s with control characters as blanks and every character
// that the font has no glyph for as "?", because a missing glyph would vanish
// without a word.
func legible(s string) string {
	var buf sfnt.Buffer
	fs := fonts()
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == '\u2028' || r == '\u2029' {
			return ' '
		}
		for _, f := range []*opentype.Font{fs.regular, fs.bold} {
			if i, err := f.GlyphIndex(&buf, r); err != nil || i == 0 {
				return '?'
			}
		}
		return r
	}, s)
}

const ellipsis = "…"

// clip returns s, shortened with an ellipsis until it is at most w points
// wide, or "" when not even one letter and the ellipsis fit.
func (f face) clip(s string, w float64) string {
	s = legible(s)
	if f.width(s) <= w {
		return s
	}
	r := []rune(s)
	// Widths grow with letters, so the longest prefix is found by halving.
	lo, hi := 0, len(r)
	for lo < hi {
		mid := (lo + hi + 1) / 2
		if f.width(strings.TrimRight(string(r[:mid]), " ,")+ellipsis) <= w {
			lo = mid
		} else {
			hi = mid - 1
		}
	}
	if lo == 0 {
		return ""
	}
	return strings.TrimRight(string(r[:lo]), " ,") + ellipsis
}

// wrap breaks s at blanks into at most n lines of at most w points; what does
// not fit is clipped.
func (f face) wrap(s string, w float64, n int) []string {
	var lines []string
	words := strings.Fields(legible(s))
	for len(words) > 0 {
		k := 1
		for k < len(words) && f.width(strings.Join(words[:k+1], " ")) <= w {
			k++
		}
		if len(lines) == n-1 {
			k = len(words)
		}
		lines = append(lines, f.clip(strings.Join(words[:k], " "), w))
		words = words[k:]
	}
	return lines
}
