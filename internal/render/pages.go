package render

import (
	"fmt"
	"io"
	"strings"

	"leafturn/internal/report"
)

// PageLines and PageWidth fit a sheet of US letter (66 lines of 85 cells at
// 6 lines and 10 cells to the inch) and of A4 (70 lines of 82) with a margin.
const (
	PageLines = 60
	PageWidth = 78
)

// Pages writes the document for printing: pages of at most so many lines, with
// a form feed between them. On each stand the title, what it is as of, the
// number of the page and the warnings; a heading stands again where its section
// goes on. What belongs together is not parted unless it is longer than a page.
// A document of one page is as Text writes it. Errors: as of Text.
func Pages(w io.Writer, doc report.Document, o Options, lines int) error {
	if err := doc.Validate(); err != nil {
		return err
	}
	whole := newPrinter(doc, o)
	whole.document(&doc)
	text := whole.out.String()
	if strings.Count(text, "\n") > lines {
		text = paged(doc, o, lines)
	}
	if _, err := io.WriteString(w, text); err != nil {
		return fmt.Errorf("write text: %w", err)
	}
	return nil
}

// piece is what stays together on a page, in a section; gap sets it off from
// the piece before.
type piece struct {
	section int
	gap     bool
	lines   []string
}

// linesOf are the lines that print writes.
func linesOf(doc report.Document, o Options, print func(*printer)) []string {
	p := newPrinter(doc, o)
	print(p)
	return strings.Split(strings.TrimSuffix(p.out.String(), "\n"), "\n")
}

func paged(doc report.Document, o Options, lines int) string {
	title := linesOf(doc, o, func(p *printer) { p.title(&doc) })
	var warnings []string
	if len(doc.Warnings) > 0 {
		warnings = linesOf(doc, o, func(p *printer) { p.warnings(&doc) })
	}
	room := max(lines-len(title)-1-len(warnings), 10)
	var pages [][]string
	var page []string
	at := -1 // the section that the page is in
	begun := map[int]bool{}
	turn := func() {
		if len(page) > 0 {
			pages = append(pages, page)
		}
		page, at = nil, -1
	}
	for _, x := range pieces(doc, o) {
		head := heading(doc, o, x.section, begun[x.section])
		need := len(x.lines)
		if x.section != at {
			need += len(head) + 1
		} else if x.gap {
			need++
		}
		if len(page)+need > room {
			turn()
			head = heading(doc, o, x.section, begun[x.section])
		}
		if x.section != at {
			page = append(append(page, ""), head...)
			at, begun[x.section] = x.section, true
		} else if x.gap {
			page = append(page, "")
		}
		for _, l := range x.lines {
			if len(page) >= room { // longer than a page
				turn()
				page = append(append(page, ""), heading(doc, o, x.section, true)...)
				at = x.section
			}
			page = append(page, l)
		}
	}
	turn()
	var out strings.Builder
	for i, p := range pages {
		if i > 0 {
			out.WriteByte('\f')
		}
		for _, part := range [][]string{title, {fmt.Sprintf("page %d of %d", i+1, len(pages))}, warnings, p} {
			for _, l := range part {
				out.WriteString(l + "\n")
			}
		}
	}
	return out.String()
}

// heading is the heading of a section; what stands after the sections has none.
func heading(doc report.Document, o Options, section int, again bool) []string {
	if section >= len(doc.Sections) || doc.Sections[section].Title == "" {
		return nil
	}
	words := doc.Sections[section].Title
	if again {
		words += " (continued)"
	}
	return linesOf(doc, o, func(p *printer) { p.heading(words) })
}

func pieces(doc report.Document, o Options) []piece {
	var out []piece
	lay := itemLayout(&doc)
	for i, s := range doc.Sections {
		add := func(gap bool, print func(*printer)) {
			out = append(out, piece{i, gap, linesOf(doc, o, print)})
		}
		if !s.Lead.IsZero() {
			add(true, func(p *printer) { p.para("", 0, citedWords(s.Lead, p.asOf), plain) })
		}
		if s.Table != nil {
			add(true, func(p *printer) { p.table(s.Table) })
		}
		long := true
		for _, it := range s.Items {
			add(true, func(p *printer) { p.item(it, lay.of(s.Items)) })
			x := &out[len(out)-1]
			was := long
			long = len(x.lines) > 1
			x.gap = was || long
		}
		for _, f := range s.Figures {
			add(true, func(p *printer) { p.figure(f) })
		}
		for k, l := range s.Notes {
			add(k == 0, func(p *printer) { p.para("- ", 2, citedWords(l, p.asOf), plain) })
		}
		if len(out) == 0 || out[len(out)-1].section != i { // a heading alone
			out = append(out, piece{i, false, nil})
		}
	}
	last := linesOf(doc, o, func(p *printer) {
		if len(doc.Sources) > 0 {
			p.sources(doc.Sources)
		}
		p.foot(&doc)
	})
	for len(last) > 0 && last[0] == "" {
		last = last[1:]
	}
	if len(last) > 0 {
		out = append(out, piece{len(doc.Sections), true, last})
	}
	return out
}
