package render

import (
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"strconv"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/report"
)

// HTML writes the document as one page that works without a network: styles
// and pictures are in it, and nothing is loaded. It can be read with a screen
// reader (one h1, headings in order, tables with headers, pictures with what
// they show in words), zoomed, and printed. Errors: what Document.Validate
// reports, or a failed write; nothing is written then.
func HTML(w io.Writer, doc report.Document) error {
	if err := doc.Validate(); err != nil {
		return err
	}
	var b strings.Builder
	if err := htmlPage.Execute(&b, newHTMLPage(&doc)); err != nil {
		return fmt.Errorf("write the page: %w", err)
	}
	if _, err := io.WriteString(w, b.String()); err != nil {
		return fmt.Errorf("write the page: %w", err)
	}
	return nil
}

type htmlDoc struct {
	Title, Subtitle, About, Foot string
	Style                        template.CSS
	Warnings                     []htmlLine
	Sections                     []htmlSection
	Sources                      []report.Source
}

type htmlSection struct {
	ID, Title string
	Lead      htmlLine
	Table     *htmlTable
	Items     []htmlItem
	Figures   []htmlFigure
	Notes     []htmlLine
}

// htmlLine is a sentence with the sources it refers to.
type htmlLine struct {
	Text  string
	Cites []int
}

type htmlItem struct {
	ID, Number, Mark, Due string
	Head                  htmlLine
	Details, Safety       []htmlLine
	Why                   htmlLine
	Box, Done, Late       bool
}

type htmlTable struct {
	Caption string
	Heads   []htmlHead
	Rows    [][]htmlCell
	Notes   []string
}

type htmlHead struct {
	Title, Unit string
	Right       bool
}

type htmlCell struct {
	Text  string
	Right bool
	Head  bool // names its row
}

type htmlFigure struct {
	Title, Alt    string
	Source        template.URL // empty where there is no picture
	Width, Height int
}

func newHTMLPage(doc *report.Document) htmlDoc {
	out := htmlDoc{Title: clean(doc.Title), Subtitle: clean(doc.Subtitle), Style: htmlStyle, Sources: doc.Sources}
	out.About = "as of " + doc.AsOf.Short() + " " + strconv.Itoa(doc.AsOf.Year)
	if doc.Farm != "" {
		out.About = clean(doc.Farm) + ", " + out.About
	}
	p := newPrinter(*doc, Options{})
	p.foot(doc)
	out.Foot = strings.Join(strings.Fields(p.out.String()), " ")
	out.Warnings = htmlLines(doc.Warnings, doc.AsOf)
	for i := range doc.Sections {
		out.Sections = append(out.Sections, newHTMLSection(&doc.Sections[i], i+1, doc.AsOf))
	}
	return out
}

func htmlOf(l report.Line, asOf civil.Date) htmlLine { return htmlLine{lineWords(l, asOf), l.Cites()} }

func htmlLines(list []report.Line, asOf civil.Date) []htmlLine {
	var out []htmlLine
	for _, l := range list {
		out = append(out, htmlOf(l, asOf))
	}
	return out
}

func newHTMLSection(s *report.Section, n int, asOf civil.Date) htmlSection {
	out := htmlSection{ID: fmt.Sprintf("section-%d", n), Title: clean(s.Title), Lead: htmlOf(s.Lead, asOf), Notes: htmlLines(s.Notes, asOf)}
	if s.Table != nil {
		out.Table = newHTMLTable(s.Table, clean(s.Title), asOf)
	}
	for i, it := range s.Items {
		x := htmlItem{ID: fmt.Sprintf("item-%d-%d", n, i+1), Mark: clean(it.Mark), Due: clean(dueWords(it.Due, asOf)), Head: htmlOf(it.Head, asOf),
			Details: htmlLines(it.Details, asOf), Safety: htmlLines(it.Safety, asOf), Why: htmlOf(it.Why, asOf), Box: it.Box || it.Done, Done: it.Done}
		x.Late = strings.HasPrefix(x.Due, wasDue) && !it.Done
		switch {
		case it.Number > 0:
			x.Number = strconv.Itoa(it.Number)
		case it.Ref != "":
			x.Head.Text += " (" + clean(it.Ref) + ")"
		}
		out.Items = append(out.Items, x)
	}
	for _, f := range s.Figures {
		x := htmlFigure{Title: clean(f.Title), Alt: clean(f.Alt)}
		if f.SVG != nil {
			x.Source = template.URL("data:image/svg+xml;base64," + base64.StdEncoding.EncodeToString(f.SVG))
			x.Width, x.Height = int(f.Width*4/3+0.5), int(f.Height*4/3+0.5)
		}
		out.Figures = append(out.Figures, x)
	}
	return out
}

func newHTMLTable(t *report.Table, section string, asOf civil.Date) *htmlTable {
	g := Cells(t, asOf)
	out := &htmlTable{Caption: clean(t.Title), Notes: g.Notes}
	if out.Caption == "" {
		out.Caption = section
	}
	for c, h := range g.Heads {
		out.Heads = append(out.Heads, htmlHead{h[0], h[1], g.Right[c]})
	}
	for _, row := range g.Rows {
		cells := make([]htmlCell, len(row))
		for c, s := range row {
			cells[c] = htmlCell{Text: loosen(s), Right: g.Right[c], Head: c == 0}
		}
		out.Rows = append(out.Rows, cells)
	}
	return out
}

// The colours of the page. TestHTML_Contrast holds each pair against WCAG 2.2.
const (
	htmlInk    = "#17161c"
	htmlQuiet  = "#55535f"
	htmlPaper  = "#ffffff"
	htmlTint   = "#f4f2ec" // behind warnings and heads
	htmlAlert  = "#8a2405" // safety, overdue
	htmlLink   = "#0f4a6b"
	htmlBorder = "#8c8a96"
)

const htmlStyle template.CSS = `
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1rem 1.25rem 3rem; max-width: 62rem; font: 1rem/1.5 system-ui, "Liberation Sans", Arial, sans-serif; color: ` + htmlInk + `; background: ` + htmlPaper + `; overflow-wrap: break-word; }
h1 { font-size: 1.8rem; line-height: 1.2; margin: .6rem 0 .2rem; }
h2 { font-size: 1.25rem; margin: 2rem 0 .5rem; padding-bottom: .2rem; border-bottom: 2px solid ` + htmlBorder + `; }
p { margin: .4rem 0; }
a { color: ` + htmlLink + `; }
a:focus-visible, input:focus-visible, .wide:focus-visible { outline: 3px solid ` + htmlLink + `; outline-offset: 2px; }
.skip { position: absolute; left: -100rem; }
.skip:focus { position: static; }
.about, .foot, .why { color: ` + htmlQuiet + `; }
.foot { margin-top: 2rem; }
.warning { background: ` + htmlTint + `; border: 2px solid ` + htmlInk + `; padding: .5rem 1rem; margin: 1rem 0; }
.contents ul { columns: 16rem; padding-left: 1.2rem; }
ul.list { list-style: none; padding: 0; margin: .5rem 0; }
ul.list p { margin: .15rem 0; }
ul.list > li { padding: .5rem 0 .5rem 2.6rem; position: relative; border-bottom: 1px solid ` + htmlBorder + `; }
.number { position: absolute; left: 0; top: .5rem; width: 2.2rem; text-align: right; font-weight: bold; }
.head { font-weight: bold; }
.head input { width: 1.1rem; height: 1.1rem; vertical-align: -.15rem; margin: 0 .35rem 0 0; }
.mark { display: inline-block; border: 1px solid ` + htmlQuiet + `; border-radius: .2rem; padding: 0 .35rem; font-weight: normal; font-size: .9rem; }
.late, .safety { color: ` + htmlAlert + `; font-weight: bold; }
.cite { font-size: .9rem; font-weight: normal; }
.wide { overflow-x: auto; padding: 3px; }
table { border-collapse: collapse; margin: .5rem 0; }
caption { text-align: left; font-weight: bold; padding: .2rem 0; }
th, td { padding: .25rem .7rem .25rem 0; text-align: left; vertical-align: top; border-bottom: 1px solid ` + htmlBorder + `; }
thead th { vertical-align: bottom; background: ` + htmlTint + `; padding-left: .3rem; border-bottom: 2px solid ` + htmlInk + `; }
tbody th { font-weight: normal; padding-left: .3rem; }
th.right, td.right { text-align: right; font-variant-numeric: tabular-nums; }
figure { margin: 1rem 0; }
img { max-width: 100%; height: auto; }
@media screen and (max-width: 45rem) {
  figure img { max-width: none; width: 45rem; }
}
figcaption { color: ` + htmlQuiet + `; }
.sources { padding-left: 2.2rem; overflow-wrap: anywhere; }
@media print {
  body { max-width: none; padding: 0; font-size: 10.5pt; }
  .contents, .skip { display: none; }
  a { color: inherit; text-decoration: none; }
  li, figure, tr { break-inside: avoid; }
  h2, h2 + p { break-after: avoid; break-inside: avoid; }
  thead { display: table-header-group; }
}
`

var htmlPage = template.Must(template.New("page").Parse(`{{define "cites"}}{{if .}} <span class="cite">[{{range $i, $k := .}}{{if $i}}, {{end}}<a href="#source-{{$k}}" aria-label="source {{$k}}">{{$k}}</a>{{end}}]</span>{{end}}{{end -}}
{{define "line"}}{{.Text}}{{template "cites" .Cites}}{{end -}}
<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{.Title}}: {{.About}}</title>
<style>{{.Style}}</style>
</head>
<body>
<a class="skip" href="#main">Skip to the list</a>
<header>
<h1>{{.Title}}</h1>
{{with .Subtitle}}<p>{{.}}</p>
{{end}}<p class="about">{{.About}}</p>
</header>
{{with .Warnings}}<div class="warning" role="note" aria-label="Warning">
{{range .}}<p><strong>{{template "line" .}}</strong></p>
{{end}}</div>
{{end}}<nav class="contents" aria-label="Contents">
<ul>
{{range .Sections}}{{if .Title}}<li><a href="#{{.ID}}">{{.Title}}</a></li>
{{end}}{{end}}{{if .Sources}}<li><a href="#sources">Sources</a></li>
{{end}}</ul>
</nav>
<main id="main">
{{range .Sections}}<section{{if .Title}} aria-labelledby="{{.ID}}"{{end}}>
{{if .Title}}<h2 id="{{.ID}}">{{.Title}}</h2>
{{end}}{{if .Lead.Text}}<p>{{template "line" .Lead}}</p>
{{end}}{{with .Table}}<div class="wide" tabindex="0" role="region" aria-label="{{.Caption}}">
<table>
{{with .Caption}}<caption>{{.}}</caption>
{{end}}<thead><tr>{{range .Heads}}<th scope="col"{{if .Right}} class="right"{{end}}>{{.Title}}{{with .Unit}}<br>{{.}}{{end}}</th>{{end}}</tr></thead>
<tbody>
{{range .Rows}}<tr>{{range .}}{{if .Head}}<th scope="row"{{if .Right}} class="right"{{end}}>{{.Text}}</th>{{else}}<td{{if .Right}} class="right"{{end}}>{{.Text}}</td>{{end}}{{end}}</tr>
{{end}}</tbody>
</table>
{{range .Notes}}<p>{{.}}</p>
{{end}}</div>
{{end}}{{with .Items}}<ul class="list">
{{range .}}<li>{{with .Number}}<span class="number">{{.}}.</span>{{end}}
<div class="head">{{if .Box}}<input type="checkbox" id="{{.ID}}"{{if .Done}} checked{{end}}><label for="{{.ID}}">{{end}}{{with .Mark}}<span class="mark">{{.}}</span> {{end}}{{.Head.Text}}{{if .Box}}</label>{{end}}{{template "cites" .Head.Cites}}</div>
{{if .Due}}<p class="due{{if .Late}} late{{end}}">{{.Due}}</p>
{{end}}{{range .Details}}<p>{{template "line" .}}</p>
{{end}}{{range .Safety}}<p class="safety">Caution: {{template "line" .}}</p>
{{end}}{{if .Why.Text}}<p class="why">Why: {{template "line" .Why}}</p>
{{end}}</li>
{{end}}</ul>
{{end}}{{range .Figures}}{{if .Source}}<figure>
<div class="wide" tabindex="0" role="region" aria-label="Picture: {{.Title}}">
<img src="{{.Source}}" width="{{.Width}}" height="{{.Height}}" alt="{{.Alt}}">
</div>
<figcaption>{{.Title}}</figcaption>
</figure>
{{else}}<p>Picture: {{.Title}}. {{.Alt}}</p>
{{end}}{{end}}{{with .Notes}}<ul>
{{range .}}<li>{{template "line" .}}</li>
{{end}}</ul>
{{end}}</section>
{{end}}{{with .Sources}}<section aria-labelledby="sources">
<h2 id="sources">Sources</h2>
<ul class="sources">
{{range .}}<li id="source-{{.Key}}">[{{.Key}}] {{.Words}}{{with .URL}} <a href="{{.}}">{{.}}</a>{{end}}</li>
{{end}}</ul>
</section>
{{end}}</main>
<footer class="foot"><p>{{.Foot}}</p></footer>
</body>
</html>
`))
