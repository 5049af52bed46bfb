package paper

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
)

// Round is what a scout takes along: the stops in walking order, each with
// lines to fill in as a notes file takes them.
type Round struct {
	Farm     string
	Date     civil.Date
	Made     time.Time
	Zone     string
	Facts    string
	Subtitle string   // when it starts, how long it takes
	US       bool     // degrees Fahrenheit and inches
	Warnings []string // before all else
	Stops    []Stop
	Closed   []string // beds that must not be entered
	Left     []string // what to leave out first, when time runs short
	Cues     []Cue    // one for each pest of the round
}

// Stop is one bed of the walk.
type Stop struct {
	Bed   string
	Where string // block, cultivar or place
	Note  string // what to mind there
	Looks []Look
}

// Look is one pest to count in a bed.
type Look struct {
	Name  string // of the pest, in words
	Word  string // of the pest, in a notes line
	Ask   string // how many of what, such as "10 leaves"
	Why   string
	How   string // the protocol in a line
	Boxes int    // one for each count; of a presence sample one for each unit, to mark the infested
	Share bool   // a presence sample: infested of looked at
	Of    int    // of a presence sample of every plant: how many there are; 0 when units are marked
	Unit  string // the notes word, when it is not the pest's usual unit
	Words []Word // what follows the counts
	Stop  []StopLine
	Rule  string // what is particular about the stop lines, in a sentence
}

// Word is a word of a notes line to fill in: "air=" with a blank and its unit,
// or a choice.
type Word struct {
	Name   string
	Choice []string // to circle one; empty is a blank
	After  string   // behind the blank, such as "C" or "/50"
}

// StopLine is the running total at which a scout can stop after so many
// units; nil is no total can.
type StopLine struct {
	After     int
	Hold, Act *int
}

// Cue says what a pest looks like.
type Cue struct{ Name, How, Signs, Alike, Valid string }

// Sheets writes the round for a clipboard and returns how many sheets it is.
// Errors: an unknown size, a round
// without stops, or a failed write; nothing is written then.
func Sheets(w io.Writer, r Round, o Options) (int, error) {
	if len(r.Stops) == 0 && len(r.Closed) == 0 {
		return 0, fmt.Errorf("the round has no stops")
	}
	s := &sheets{round: r, compact: o.Compact}
	return write(w, o, meta{"Scouting sheets " + r.Date.String(), r.Made}, s.foot, func(p *page) {
		s.page = p
		s.draw()
	})
}

type sheets struct {
	*page
	round   Round
	compact bool // how to count stands once for each pest, at the end
}

func (s *sheets) foot(p *page, n int) {
	y := p.bottom + 8
	p.line(p.left, y, p.right, y, 0.5, 120)
	left := "Scouting round, " + s.round.Farm + ", " + dayWords(s.round.Date)
	right := "sheet " + strconv.Itoa(n) + " of " + strconv.Itoa(p.total)
	wide := p.measure(smallFace, right)
	p.text(smallFace, p.left, y+12, p.wrap(smallFace, left, p.width()-wide-20)[0])
	p.text(smallFace, p.right-wide, y+12, right)
	p.text(smallFace, p.left, y+24, "0: looked at, none found. –: not looked at (type -). The product label and local law outrank this sheet.")
}

const blank = "____"

func (s *sheets) draw() {
	r := s.round
	s.para(titleFace, s.left, s.width(), "Scouting round")
	s.para(textFace, s.left, s.width(), r.Farm+", "+dayWords(r.Date)+". "+r.Subtitle)
	s.y += 4
	for _, w := range r.Warnings {
		s.hanging(boldFace, s.left, 10, s.width(), "!", w)
	}
	s.head()
	if len(r.Closed) > 0 {
		s.closed()
	}
	for i, stop := range r.Stops {
		s.stop(i+1, stop)
	}
	s.free()
	if len(r.Left) > 0 {
		s.together(func() {
			s.title("If you run short, leave these first")
			for _, l := range r.Left {
				s.hanging(textFace, s.left, 10, s.width(), "–", l)
			}
		})
	}
	s.cues()
}

// head are the lines that stand at the top of the notes file, and the
// weather.
func (s *sheets) head() {
	s.line(s.left, s.y, s.right, s.y, 1.2, 0)
	s.y += 6
	s.para(smallFace, s.left, s.width(), "Lines in this type are those of the notes file: type them as they stand, one line for each bed and pest, and read them in with `leafturn count --file notes.txt`. Circle one of the words with a stroke between. Leave out a word of which you filled in nothing.")
	s.y += 8
	s.typed(s.left, s.y, "date "+s.round.Date.String())
	s.y += 18
	s.typed(s.left, s.y, "by ____________________")
	s.y += 22
	air, rain := "C", "mm"
	if s.round.US {
		air, rain = "F", "in"
	}
	s.text(textFace, s.left, s.y+textFace.size, "Weather: air ______ "+air+"   rain since the last round ______ "+rain+"   wind ____________")
	s.y += 20
	s.text(textFace, s.left, s.y+textFace.size, "Soil: dry | moist | wet     Leaves: dry | wet     Begun at ______   done at ______")
	s.y += 20
	if s.stops() {
		s.para(smallFace, s.left, s.width(), "To stop early: write the total so far at the end of each row. At or below \"hold\" the bed can wait, at or above \"act\" it needs a step, between the two go on to the next row. At half the level and at one and a half times it, about 1 bed in 10 is judged wrongly. Unused boxes: strike them out and leave them away in the line.")
		s.y += 4
	}
}

// stops reports whether any look has stop lines.
func (s *sheets) stops() bool {
	for _, stop := range s.round.Stops {
		for _, l := range stop.Looks {
			if len(l.Stop) > 0 {
				return true
			}
		}
	}
	return false
}

// typed writes a line of the notes file.
func (s *sheets) typed(x, y float64, words string) { s.text(typeFace, x, y+typeFace.size, words) }

func (s *sheets) title(words string) {
	s.need(10 + headFace.step() + 40)
	s.y += 8
	s.para(headFace, s.left, s.width(), words)
	s.line(s.left, s.y+1, s.right, s.y+1, 0.6, 90)
	s.y += 5
}

func (s *sheets) closed() {
	inner := func() {
		s.y += 5
		s.para(boldFace, s.left+7, s.width()-14, "CLOSED: do not enter, do not count")
		for _, c := range s.round.Closed {
			s.para(textFace, s.left+7, s.width()-14, c)
		}
		s.y += 6
	}
	s.need(s.height(inner))
	top := s.y
	inner()
	if s.y > top {
		s.box(s.left, top, s.width(), s.y-top, 1.6, 0)
	}
	s.y += 8
}

const (
	boxWide, boxHigh   = 25, 22 // 8.8 by 7.8 mm: room for two digits in pencil
	boxLow             = 17     // 6 mm: for a round with many beds
	markWide, markHigh = 12.5, 13
	rowGap             = 4
	totalWide          = 34
)

func (s *sheets) stop(n int, stop Stop) {
	band := func() {
		s.y += 6
		s.line(s.left, s.y, s.right, s.y, 1.2, 0)
		s.y += 4
		bed := face{"sans", "B", 17}
		if s.compact {
			bed.size = 13
		}
		s.tick(s.left, s.y+4, 12, false)
		s.text(bed, s.left+20, s.y+bed.size, known(stop.Bed))
		x := s.left + 20 + s.measure(bed, known(stop.Bed)) + 10
		words := "stop " + strconv.Itoa(n)
		if stop.Where != "" {
			words += ", " + stop.Where
		}
		y := s.y
		s.y += 6
		s.para(smallFace, x, s.right-x, words)
		s.y = max(y+bed.step(), s.y)
		if stop.Note != "" {
			s.hanging(boldFace, s.left+20, 10, s.width()-20, "!", stop.Note)
		}
	}
	for i, l := range stop.Looks {
		draw := func() {
			if i == 0 {
				band()
			}
			s.look(stop.Bed, l)
		}
		page := s.pages
		s.need(s.height(draw))
		if i > 0 && s.pages > page {
			s.para(boldFace, s.left, s.width(), stop.Bed+", stop "+strconv.Itoa(n)+", goes on")
		}
		draw()
	}
}

func (s *sheets) look(bed string, l Look) {
	s.y += 5
	x := s.left + 20
	head := l.Name + ": " + l.Ask
	s.tick(s.left+4, s.y+1, 9, false)
	s.para(boldFace, x, s.right-x, head)
	if !s.compact {
		words := strings.TrimSpace(l.How)
		if l.Why != "" {
			words += " (" + l.Why + ")"
		}
		s.para(smallFace, x, s.right-x, strings.TrimSpace(words))
		if l.Rule != "" {
			s.para(smallFace, x, s.right-x, l.Rule)
		}
	}
	s.y += 3
	line := bed + " " + l.Word
	switch {
	case l.Share && l.Of > 0:
		s.fields(x, line+" "+blank+"/"+strconv.Itoa(l.Of), l)
	case l.Share:
		s.para(smallFace, x, s.right-x, "Mark each infested one:")
		s.grid(x, l, markWide, markHigh, 20)
		s.fields(x, line+" "+blank+"/"+blank, l)
	case l.Boxes == 0:
		s.fields(x, line+" "+blank, l)
	case l.Boxes <= 15 && (len(l.Stop) == 0 || l.Stop[0].After <= 5):
		y := s.y + 5
		if len(l.Stop) > 0 {
			y += 10
		}
		s.grid(x+max(s.measure(typeFace, known(line))+8, 86), l, boxWide, s.boxHigh(), 5)
		s.typed(x, y, known(line))
		s.fields(x, "", l)
	default:
		s.typed(x, s.y, known(line))
		if len(l.Stop) == 0 {
			s.y += 18
		} else {
			s.y += 7
		}
		s.grid(x, l, boxWide, s.boxHigh(), 10)
		s.fields(x, "", l)
	}
}

func (s *sheets) boxHigh() float64 {
	if s.compact {
		return boxLow
	}
	return boxHigh
}

// grid draws the boxes, row by row, and at the end of each row the running
// total and what it says.
func (s *sheets) grid(x float64, l Look, w, h float64, per int) {
	lines := map[int]StopLine{}
	for _, st := range l.Stop {
		lines[st.After] = st
	}
	if len(lines) > 0 {
		s.text(smallFace, x+float64(per)*w+8, s.y+7, "total")
		s.y += 10
	}
	for from := 0; from < l.Boxes; from += per {
		n := min(per, l.Boxes-from)
		for i := range n {
			bx := x + float64(i)*w
			if per > 5 && i >= per/2 {
				bx += 3
			}
			s.box(bx, s.y, w, h, 0.7, 60)
		}
		if len(lines) > 0 {
			tx := x + float64(per)*w + 8
			s.box(tx, s.y, totalWide, h, 1.1, 0)
			words := fmt.Sprintf("after %d: go on", from+n)
			if st, ok := lines[from+n]; ok {
				words = st.words()
			}
			said := s.wrap(smallFace, words, s.right-tx-totalWide-5)
			for i, line := range said {
				s.text(smallFace, tx+totalWide+5, s.y+h/2+smallFace.size/3+(float64(i)-float64(len(said)-1)/2)*smallFace.size*1.15, line)
			}
		}
		s.y += h + rowGap
	}
}

func (st StopLine) words() string {
	out := fmt.Sprintf("after %d: ", st.After)
	switch {
	case st.Hold != nil && st.Act != nil:
		return out + fmt.Sprintf("hold ≤ %d, act ≥ %d", *st.Hold, *st.Act)
	case st.Act != nil:
		return out + fmt.Sprintf("act ≥ %d", *st.Act)
	case st.Hold != nil:
		return out + fmt.Sprintf("hold ≤ %d", *st.Hold)
	}
	return out + "go on"
}

// fields are the words that follow the counts, and the line for a note.
func (s *sheets) fields(x float64, first string, l Look) {
	parts := []string{}
	if first != "" {
		parts = append(parts, first)
	}
	if l.Unit != "" {
		parts = append(parts, "unit="+l.Unit)
	}
	for _, w := range l.Words {
		word := w.Name
		switch {
		case len(w.Choice) > 0:
			word += strings.Join(w.Choice, "|")
		default:
			word += blank + w.After
		}
		parts = append(parts, word)
	}
	line := ""
	s.y += 2
	flush := func() {
		if line != "" {
			s.typed(x, s.y, known(line))
			s.y += 19
		}
		line = ""
	}
	for _, w := range parts {
		if line != "" && s.measure(typeFace, line+"  "+w) > s.right-x {
			flush()
		}
		if line != "" {
			line += "  "
		}
		line += w
	}
	if line != "" && s.measure(typeFace, line+"  # "+strings.Repeat("_", 16)) > s.right-x {
		flush()
		if s.compact {
			return
		}
	}
	if line != "" {
		line += "  "
	}
	line += "# "
	for s.measure(typeFace, line+"_") <= s.right-x {
		line += "_"
	}
	flush()
}

// free are lines for what is found on the way: hot spots, signs, other pests.
func (s *sheets) free() {
	s.together(func() {
		s.title("Found on the way")
		s.para(smallFace, s.left, s.width(), "Hot spots and edges are lines of their own: bed, pest, counts, then the word hotspot or edge. Signs of disease, damage, natural enemies (+name=number): write the bed first.")
		for range 6 {
			s.y += 24
			s.line(s.left, s.y, s.right, s.y, 0.5, 120)
		}
		s.y += 8
	})
}

// howOnce is how to count a pest, and what is particular about its stop lines,
// where that does not stand with each bed.
func (s *sheets) howOnce(c Cue) string {
	if !s.compact {
		return ""
	}
	var rules []string
	beds := map[string][]string{}
	for _, stop := range s.round.Stops {
		for _, l := range stop.Looks {
			if l.Name == c.Name && l.Rule != "" {
				if beds[l.Rule] == nil {
					rules = append(rules, l.Rule)
				}
				beds[l.Rule] = append(beds[l.Rule], stop.Bed)
			}
		}
	}
	parts := []string{c.How}
	for _, r := range rules {
		if len(rules) > 1 {
			r = strings.Join(beds[r], " ") + ": " + r
		}
		parts = append(parts, r)
	}
	return strings.TrimSpace(strings.Join(parts, " "))
}

func (s *sheets) cues() {
	if len(s.round.Cues) == 0 {
		return
	}
	for i, c := range s.round.Cues {
		s.together(func() {
			if i == 0 {
				s.title("What it looks like")
			}
			s.para(boldFace, s.left, s.width(), c.Name)
			for _, part := range [][2]string{{"How to count", s.howOnce(c)}, {"Signs", c.Signs}, {"Harmless or another cause", c.Alike}, {"The count holds only when", c.Valid}} {
				if part[1] != "" {
					s.para(textFace, s.left+12, s.width()-12, part[0]+": "+part[1])
				}
			}
			s.y += 4
		})
	}
}
