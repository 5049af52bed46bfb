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
		v := rect{r.x0 + 6, r.y0 + 6, r.x0 + 16 + boldFace.width(b.word), r.y0 + 21}
		f := boldFace
		switch b.verdict {
		case Act:
			g.fillRect(actCol, v)
			f = f.colour(paper)
		case Stale, NeverCounted:
			g.frame(quiet, 0.9, v, 2.5, 2)
		default:
			g.frame(ink, 1, v)
		}
		g.note("verdict", v, string(b.verdict))
		g.text(v.x0+5, f.midline((v.y0+v.y1)/2), 0, f, b.word)
	}
	drawLines(g, r.x0+10+b.indent(), r.y0+5+sizeLabel, labelFace, b.next)
}
