package plots

// top is the head of a picture that ends in what to do next: the title, the
// finding, and the next step in a box of its own.
type top struct{ title, lead, next []string }

const nextAir = 6

func newTop(width float64, title, lead, next string) top {
	t := top{title: titleFace.wrap(title, width, 2), lead: leadFace.wrap(lead, width, 5)}
	if next != "" {
		t.next = headFace.wrap("Next: "+next, width-2*nextAir-6, 3)
	}
	return t
}

func (t top) height() float64 {
	h := headHeight(t.title, t.lead)
	if len(t.next) > 0 {
		h += float64(len(t.next))*sizeHead*lineStep + 2*nextAir + 6
	}
	return h
}

func (t top) draw(g *pen, right float64) {
	drawHead(g, t.title, t.lead)
	if len(t.next) == 0 {
		return
	}
	y := headHeight(t.title, t.lead) - 4
	box := rect{20, y, right, y + float64(len(t.next))*sizeHead*lineStep + 2*nextAir}
	g.note("next", box, "")
	g.fillRect(nextFill, box)
	g.fillRect(ink, rect{box.x0, box.y0, box.x0 + 4, box.y1})
	drawLines(g, box.x0+6+nextAir, box.y0+nextAir+sizeHead-1, headFace, t.next)
}

// sentences joins what is not empty with blanks.
func sentences(parts ...string) string {
	out := ""
	for _, p := range parts {
		if p != "" && out != "" {
			out += " "
		}
		out += p
	}
	return out
}
