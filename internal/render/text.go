// Package render writes a report.Document as plain text, as JSON, as an
// iCalendar file and as a page to read (HTML), on an io.Writer.
//
// Renderers round, wrap and word; they never compute. The same document
// gives the same bytes on any machine: no clock, no locale, no environment.
// Colour is the caller's decision and adds nothing that the text lacks.
//
// Not here: drawings (package plots), paper (package paper), translation, right-to-left layout.
package render

import (
	"bytes"
	"fmt"
	"io"
	"strconv"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/report"
)

// Widths of the printed text, in terminal cells.
const (
	DefaultWidth = 88
	MinWidth     = 60
	MaxWidth     = 100
)

// Options are the choices for Text.
type Options struct {
	Width int  // cells per line: 60 to 100 (values outside are brought in), 0 is 88
	Color bool // colour and bold with ANSI sequences; the layout stays the same
}

// Text writes the document for reading on a terminal or on paper. No line is
// wider than the width unless it holds nothing but one URL. Errors: what
// Document.Validate reports, or a failed write.
func Text(w io.Writer, doc report.Document, o Options) error {
	if err := doc.Validate(); err != nil {
		return err
	}
	p := newPrinter(doc, o)
	p.document(&doc)
	if _, err := w.Write(p.out.Bytes()); err != nil {
		return fmt.Errorf("write text: %w", err)
	}
	return nil
}

func newPrinter(doc report.Document, o Options) *printer {
	if o.Width == 0 {
		o.Width = DefaultWidth
	}
	return &printer{asOf: doc.AsOf, width: min(max(o.Width, MinWidth), MaxWidth), color: o.Color}
}

// style is an ANSI "select graphic rendition" parameter; "" is plain.
type style string

const (
	plain  style = ""
	bold   style = "1"
	dim    style = "2"
	red    style = "31"
	green  style = "32"
	yellow style = "33"
	cyan   style = "36"
)

// markStyle colours the tags that ask for work; others are dim.
var markStyle = map[string]style{"do": green, "scout": cyan, "order": yellow, "not": red, "must not": red}

type printer struct {
	out   bytes.Buffer
	asOf  civil.Date
	width int
	color bool
}

func (p *printer) paint(s string, st style) string {
	if !p.color || st == plain || s == "" {
		return s
	}
	return "\x1b[" + string(st) + "m" + s + "\x1b[0m"
}

func (p *printer) blank() { p.out.WriteByte('\n') }

// para prints text wrapped, with first before its first line and as many
// spaces as indent says before the others. first is indent cells wide.
func (p *printer) para(first string, indent int, text string, st style) {
	lines := wrap(hold(text), p.width-indent)
	if len(lines) == 0 {
		lines = []string{""}
	}
	for i, line := range lines {
		lead := first
		if i > 0 {
			lead = strings.Repeat(" ", indent)
		} else if indent+width(line) > p.width && strings.Trim(first, " ") != "" {
			p.out.WriteString(strings.TrimRight(first, " ") + "\n") // a long URL stands alone
			lead = strings.Repeat(" ", indent)
		}
		p.out.WriteString(strings.TrimRight(lead+p.paint(loosen(line), st), " "))
		p.blank()
	}
}

// rule prints a line of c under a title that was just printed.
func (p *printer) rule(title, c string) {
	n := 0
	for _, l := range wrap(hold(title), p.width) {
		n = max(n, width(l))
	}
	p.out.WriteString(p.paint(strings.Repeat(c, min(n, p.width)), dim))
	p.blank()
}

func (p *printer) document(doc *report.Document) {
	p.title(doc)
	p.warnings(doc)
	lay := itemLayout(doc)
	for i := range doc.Sections {
		p.blank()
		p.section(&doc.Sections[i], lay)
	}
	if len(doc.Sources) > 0 {
		p.blank()
		p.sources(doc.Sources)
	}
	p.foot(doc)
}

// title says what the document is and of which day.
func (p *printer) title(doc *report.Document) {
	title := clean(doc.Title)
	p.para("", 0, title, bold)
	p.rule(title, "=")
	if doc.Subtitle != "" {
		p.para("", 0, clean(doc.Subtitle), plain)
	}
	about := "as of " + doc.AsOf.Short() + " " + strconv.Itoa(doc.AsOf.Year)
	if doc.Farm != "" {
		about = clean(doc.Farm) + ", " + about
	}
	p.para("", 0, about, dim)
}

func (p *printer) warnings(doc *report.Document) {
	if len(doc.Warnings) == 0 {
		return
	}
	p.blank()
	for _, l := range doc.Warnings {
		p.para(p.paint("!!", yellow)+" ", 3, citedWords(l, p.asOf), yellow)
	}
}

func (p *printer) foot(doc *report.Document) {
	var foot []string
	if !doc.Made.IsZero() {
		made := "made " + doc.Made.Format("2006-01-02 15:04")
		if doc.TimeZone != "" {
			made += " " + clean(doc.TimeZone)
		}
		foot = append(foot, made)
	}
	if doc.Facts != "" {
		foot = append(foot, "facts "+clean(doc.Facts))
	}
	if len(foot) > 0 {
		p.blank()
		p.para("", 0, strings.Join(foot, "; "), dim)
	}
}

func (p *printer) section(s *report.Section, lay layout) {
	between := false // something was printed since the heading
	gap := func() {
		if between {
			p.blank()
		}
		between = true
	}
	p.heading(s.Title)
	if !s.Lead.IsZero() {
		gap()
		p.para("", 0, citedWords(s.Lead, p.asOf), plain)
	}
	if s.Table != nil {
		gap()
		p.table(s.Table)
	}
	if len(s.Items) > 0 {
		gap()
		p.items(s.Items, lay)
	}
	for _, f := range s.Figures {
		gap()
		p.figure(f)
	}
	if len(s.Notes) > 0 {
		gap()
		for _, l := range s.Notes {
			p.para("- ", 2, citedWords(l, p.asOf), plain)
		}
	}
}

func (p *printer) heading(title string) {
	if title = clean(title); title != "" {
		p.para("", 0, title, bold)
		p.rule(title, "-")
	}
}

func (p *printer) figure(f report.Figure) {
	text := "Figure: " + clean(f.Title)
	if f.Alt != "" {
		text = strings.TrimRight(text, ".:") + ". " + clean(f.Alt)
	}
	p.para("", 0, text, plain)
	if f.File != "" {
		p.para("  ", 2, "File: "+clean(f.File), dim)
	}
}

func (p *printer) sources(sources []report.Source) {
	p.para("", 0, "Sources", bold)
	p.rule("Sources", "-")
	indent := 0
	for _, s := range sources {
		indent = max(indent, len(strconv.Itoa(s.Key))+3)
	}
	for _, s := range sources {
		p.para(pad(fmt.Sprintf("[%d]", s.Key), indent, false), indent, clean(s.Words()), plain)
		if s.URL != "" {
			p.para(strings.Repeat(" ", indent), indent, clean(s.URL), dim)
		}
	}
}
