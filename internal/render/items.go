package render

import (
	"strconv"
	"strings"

	"leafturn/internal/report"
)

// layout holds the widths of the columns in front of an item's text. The
// number's is the same in the whole document; box and tag take room only in
// the lists that have any.
type layout struct{ number, box, mark int }

const maxMark = 12 // longer tags are cut

func itemLayout(doc *report.Document) layout {
	var l layout
	for _, s := range doc.Sections {
		for _, it := range s.Items {
			if it.Number > 0 {
				l.number = max(l.number, len(strconv.Itoa(it.Number))+2)
			}
		}
	}
	return l
}

// of returns the layout for one list.
func (l layout) of(items []report.Item) layout {
	for _, it := range items {
		if it.Box || it.Done {
			l.box = len("[ ] ")
		}
		if it.Mark != "" {
			l.mark = max(l.mark, min(width(clean(it.Mark)), maxMark)+2)
		}
	}
	return l
}

func (l layout) indent() int { return l.number + l.box + l.mark }

// items prints a list. A blank line sets off items of more than one line.
func (p *printer) items(items []report.Item, lay layout) {
	lay = lay.of(items)
	wasLong := false
	for i, it := range items {
		start := p.out.Len()
		p.item(it, lay)
		text := p.out.String()[start:]
		long := strings.Count(text, "\n") > 1
		if i > 0 && (long || wasLong) {
			p.out.Truncate(start)
			p.blank()
			p.out.WriteString(text)
		}
		wasLong = long
	}
}

func (p *printer) item(it report.Item, lay layout) {
	number, box := "", ""
	if it.Number > 0 {
		number = strconv.Itoa(it.Number) + ". "
	}
	switch {
	case it.Done:
		box = "[x] "
	case it.Box:
		box = "[ ] "
	}
	mark := cells.Truncate(clean(it.Mark), maxMark, "")
	st, ok := markStyle[it.Mark]
	if !ok {
		st = dim
	}
	first := pad(number, lay.number, true) + pad(box, lay.box, false) +
		p.paint(mark, st) + strings.Repeat(" ", max(lay.mark-width(mark), 0))

	in := lay.indent()
	lead := strings.Repeat(" ", in)
	head := citedWords(it.Head, p.asOf)
	if it.Ref != "" && it.Number == 0 { // a numbered item is named by its number
		head += " (" + clean(it.Ref) + ")"
	}
	st = bold
	if it.Done {
		st = plain
	}
	due, dueStyle := clean(dueWords(it.Due, p.asOf)), plain
	if strings.HasPrefix(due, wasDue) && !it.Done {
		dueStyle = yellow
	}
	// A short head has its date at the right end of the line.
	if room := p.width - in - width(head) - width(due); due != "" && room >= 3 {
		p.out.WriteString(first + p.paint(loosen(head), st) + strings.Repeat(" ", room) + p.paint(due, dueStyle) + "\n")
	} else {
		p.para(first, in, head, st)
		if due != "" {
			p.para(lead, in, due, dueStyle)
		}
	}
	for _, l := range it.Details {
		p.para(lead, in, citedWords(l, p.asOf), plain)
	}
	for _, l := range it.Safety {
		p.para(lead+p.paint("!", red)+" ", in+2, citedWords(l, p.asOf), red)
	}
	if !it.Why.IsZero() {
		p.para(lead+p.paint("Why:", dim)+" ", in+5, citedWords(it.Why, p.asOf), dim)
	}
}
