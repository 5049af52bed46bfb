package plots

// banner is a frame on top of a picture with the verdict and what to do next.
type banner struct {
	verdict Verdict
	word    string // the verdict, clipped
	next    []string
	full    string
	box     rect
}

// bannerAir is the room above and below the words together.
const bannerAir = 12

// newBanner puts a banner of the width of a season at y; without words it has
// no height.
func newBanner(v Verdict, next string, y float64) banner {
	b := banner{verdict: v, full: next, box: rect{20, y, plotRight, y}}
	if v == NoVerdict && next == "" {
		return b
	}
	b.word = boldFace.clip(string(v), 150)
	b.next = labelFace.wrap(next, b.box.w()-20-b.indent(), 4)
	b.box.y1 += float64(max(1, len(b.next)))*sizeLabel*lineStep + bannerAir
	return b
}

// indent is the room that the verdict takes.
func (b banner) indent() float64 {
	if b.word == "" {
		return 0
	}
	return boldFace.width(b.word) + 20
}

// below is where the picture goes on.
func (b banner) below(y float64) float64 {
	if b.box.h() == 0 {
		return y
	}
	return b.box.y1 + 14
}

func (b banner) draw(g *pen) {
	r := b.box
	if r.h() == 0 {
		return
	}
	g.note("banner", r, b.full)
	g.frame(ink, 1.1, r)
	if b.word != "" {
		drawVerdictWord(g, b.verdict, b.word, rect{r.x0 + 6, r.y0 + 6, r.x0 + 15 + boldFace.width(b.word), r.y0 + 21})
	}
	drawLines(g, r.x0+10+b.indent(), r.y0+5+sizeLabel, labelFace, b.next)
}

func verdictFace(v Verdict) face {
	if v == Act {
		return boldFace.colour(paper)
	}
	return smallFace
}

// drawVerdict writes a verdict in its shape from x, y on and returns where
// words after it may begin.
func drawVerdict(g *pen, v Verdict, x, y float64) float64 {
	room := verdictRoom(v)
	if v != NoVerdict {
		drawVerdictWord(g, v, verdictFace(v).clip(string(v), 150), rect{x, y, x + room - 9, y + 14})
	}
	return x + room
}

// verdictRoom is the width of a verdict's label and of the space behind it.
func verdictRoom(v Verdict) float64 {
	if v == NoVerdict {
		return 0
	}
	return verdictFace(v).width(verdictFace(v).clip(string(v), 150)) + 16
}

// drawVerdictWord writes the word of a verdict in its shape: act on a filled
// label, look again in a frame, stale and never counted in a dashed one, any
// other as a plain word.
func drawVerdictWord(g *pen, v Verdict, word string, r rect) {
	g.note("verdict", r, string(v))
	switch v {
	case Act:
		g.fillRect(actCol, r)
	case LookAgain:
		g.fillRect(paper, r)
		g.frame(ink, 1, r)
	case Stale, NeverCounted:
		g.fillRect(paper, r)
		g.frame(quiet, 0.9, r, 2.5, 2)
	default:
		g.fillRect(paper, r)
	}
	f := verdictFace(v)
	g.text(r.x0+3.5, f.midline((r.y0+r.y1)/2), 0, f, word)
}
