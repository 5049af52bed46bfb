package render

import (
	"bytes"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"leafturn/internal/civil"
	"leafturn/internal/report"
	"leafturn/internal/testkit"
)

const dot = `<svg xmlns="http://www.w3.org/2000/svg" width="40" height="20" viewBox="0 0 40 20"><rect width="40" height="20"/></svg>`

func samplePage(t *testing.T) []byte {
	t.Helper()
	doc := sampleWeek()
	doc.Sections[0].Figures = append(doc.Sections[0].Figures,
		report.Figure{Key: "a", Title: "Slugs by bed", Alt: "Slugs rose in B3.", SVG: []byte(dot), Width: 40, Height: 20}, report.Figure{Key: "b", Title: "Not drawn", Alt: "Nothing was counted."})
	var b bytes.Buffer
	require.NoError(t, HTML(&b, doc))
	return b.Bytes()
}

func find(n *html.Node, keep func(*html.Node) bool) []*html.Node {
	var out []*html.Node
	if keep(n) {
		out = append(out, n)
	}
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		out = append(out, find(c, keep)...)
	}
	return out
}

func named(names ...string) func(*html.Node) bool {
	return func(n *html.Node) bool {
		for _, s := range names {
			if n.Type == html.ElementNode && n.Data == s {
				return true
			}
		}
		return false
	}
}

func attr(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

func words(n *html.Node) string {
	var b strings.Builder
	for _, x := range find(n, func(n *html.Node) bool { return n.Type == html.TextNode }) {
		if x.Parent.Data != "style" {
			b.WriteString(x.Data)
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// All that the printed text says stands on the page.
func TestHTML_SaysEverything(t *testing.T) {
	page := samplePage(t)
	root, err := html.Parse(bytes.NewReader(page))
	require.NoError(t, err)
	all := words(root)
	doc := sampleWeek()
	said := func(l report.Line) {
		require.Contains(t, all, strings.Join(strings.Fields(lineWords(l, doc.AsOf)), " "))
	}
	for _, l := range doc.Warnings {
		said(l)
	}
	for _, s := range doc.Sections {
		require.Contains(t, all, s.Title)
		said(s.Lead)
		for _, it := range s.Items {
			said(it.Head)
			require.Contains(t, all, clean(dueWords(it.Due, doc.AsOf)))
			for _, l := range append(append([]report.Line{it.Why}, it.Details...), it.Safety...) {
				said(l)
			}
		}
		if s.Table != nil {
			for _, row := range Cells(s.Table, doc.AsOf).Rows {
				for _, c := range row {
					require.Contains(t, all, strings.Join(strings.Fields(loosen(c)), " "))
				}
			}
		}
		for _, l := range s.Notes {
			said(l)
		}
	}
	for _, s := range doc.Sources {
		require.Contains(t, all, s.Text)
	}
	require.Contains(t, all, "Picture: Not drawn. Nothing was counted.")
}

// The page can be read with a screen reader and loads nothing.
func TestHTML_Structure(t *testing.T) {
	page := samplePage(t)
	root, err := html.Parse(bytes.NewReader(page))
	require.NoError(t, err)
	require.Equal(t, "en", attr(find(root, named("html"))[0], "lang"))
	require.NotEmpty(t, words(find(root, named("title"))[0]))
	require.Len(t, find(root, named("h1")), 1)
	level := 0
	for _, h := range find(root, named("h1", "h2", "h3", "h4")) {
		n := int(h.Data[1] - '0')
		require.LessOrEqual(t, n, level+1, words(h))
		level = n
	}
	ids := map[string]bool{}
	for _, n := range find(root, func(n *html.Node) bool { return attr(n, "id") != "" }) {
		require.False(t, ids[attr(n, "id")], attr(n, "id"))
		ids[attr(n, "id")] = true
	}
	pictures := find(root, named("img"))
	require.Len(t, pictures, 1)
	require.Equal(t, "Slugs rose in B3.", attr(pictures[0], "alt"))
	require.True(t, strings.HasPrefix(attr(pictures[0], "src"), "data:image/svg+xml;base64,"))
	for _, a := range find(root, named("a")) {
		href := attr(a, "href")
		if target, ok := strings.CutPrefix(href, "#"); ok {
			require.True(t, ids[target], href)
			continue
		}
		require.Regexp(t, `^https?://`, href)
	}
	tables := find(root, named("table"))
	require.NotEmpty(t, tables)
	for _, table := range tables {
		require.NotEmpty(t, words(find(table, named("caption"))[0]))
		for _, th := range find(table, named("th")) {
			require.Contains(t, []string{"col", "row"}, attr(th, "scope"))
		}
	}
	labels := map[string]bool{}
	for _, l := range find(root, named("label")) {
		labels[attr(l, "for")] = words(l) != ""
	}
	boxes := find(root, named("input"))
	require.NotEmpty(t, boxes)
	for _, b := range boxes {
		require.True(t, labels[attr(b, "id")], attr(b, "id"))
	}
	require.Empty(t, find(root, named("script", "link", "iframe", "object", "embed", "form")))
	require.NotRegexp(t, `url\(|@import`, string(page))
}

// Contrast ratios as WCAG 2.2 defines them: at least 7 for words (level AAA),
// 4.5 for links and cautions (AA), 3 for borders (success criterion 1.4.11).
func TestHTML_Contrast(t *testing.T) {
	light := func(c string) float64 {
		v, err := strconv.ParseUint(c[1:], 16, 32)
		require.NoError(t, err)
		f := func(x uint64) float64 {
			s := float64(x&0xff) / 255
			if s <= 0.04045 {
				return s / 12.92
			}
			return math.Pow((s+0.055)/1.055, 2.4)
		}
		return 0.2126*f(v>>16) + 0.7152*f(v>>8) + 0.0722*f(v)
	}
	ratio := func(a, b string) float64 { return (max(light(a), light(b)) + 0.05) / (min(light(a), light(b)) + 0.05) }
	require.InDelta(t, 21, ratio("#000000", "#ffffff"), 1e-9)
	for _, back := range []string{htmlPaper, htmlTint} {
		require.GreaterOrEqual(t, ratio(htmlInk, back), 7.0)
		require.GreaterOrEqual(t, ratio(htmlQuiet, back), 6.5)
		require.GreaterOrEqual(t, ratio(htmlAlert, back), 4.5)
		require.GreaterOrEqual(t, ratio(htmlLink, back), 4.5)
	}
	require.GreaterOrEqual(t, ratio(htmlBorder, htmlPaper), 3.0)
	known := map[string]bool{htmlInk: true, htmlQuiet: true, htmlPaper: true, htmlTint: true, htmlAlert: true, htmlLink: true, htmlBorder: true}
	for _, c := range regexp.MustCompile(`#[0-9a-f]{3,8}\b`).FindAllString(string(htmlStyle), -1) {
		require.True(t, known[c], "%s is not held against anything", c)
	}
}

// Words of people cannot become markup, and a source's address only a link to
// the web.
func TestHTML_Hostile(t *testing.T) {
	evil := `<script>alert(1)</script>" onmouseover="alert(2)`
	doc := report.Document{Title: evil, Subtitle: evil, Farm: evil, AsOf: civil.MustParse("2026-07-20"), Warnings: report.Lines(evil), Sources: []report.Source{{Key: 1, Text: evil, URL: "javascript:alert(3)", Basis: evil}},
		Sections: []report.Section{{Title: evil, Lead: report.Plain(evil), Notes: report.Lines(evil), Items: []report.Item{{Head: report.Plain(evil), Mark: evil, Ref: evil}},
			Table:   &report.Table{Columns: []report.Column{{Title: evil, Unit: evil}}, Rows: [][]report.Value{{report.Text(evil)}}},
			Figures: []report.Figure{{Title: evil, Alt: evil, SVG: []byte(evil)}}}}}
	var b bytes.Buffer
	require.NoError(t, HTML(&b, doc))
	root, err := html.Parse(&b)
	require.NoError(t, err)
	require.Empty(t, find(root, named("script")))
	for _, n := range find(root, func(n *html.Node) bool { return n.Type == html.ElementNode }) {
		for _, a := range n.Attr {
			require.False(t, strings.HasPrefix(a.Key, "on"), "%s of %s", a.Key, n.Data)
			if a.Key == "href" {
				require.False(t, strings.HasPrefix(a.Val, "javascript:"))
			}
		}
	}
	require.Contains(t, words(root), evil)
}

func TestHTML_Refuses(t *testing.T) {
	var b bytes.Buffer
	require.Error(t, HTML(&b, report.Document{Title: "no day"}))
	require.Zero(t, b.Len())
}

func TestHTML_InABrowser(t *testing.T) {
	page := samplePage(t)
	for _, width := range []int{1200, 500} {
		s := testkit.Browser(t, page, width)
		require.Empty(t, s.Faults)
		require.Empty(t, s.Loaded)
		require.LessOrEqual(t, s.Wide, s.Width, "%d points wide", width)
		require.Greater(t, s.Texts, 100)
		require.Equal(t, 1, s.Pictures)
		require.NotZero(t, s.Tables)
	}
	pages := regexp.MustCompile(`/Type /Page\b`).FindAll(testkit.BrowserPrint(t, page), -1)
	require.NotEmpty(t, pages, fmt.Sprint(len(pages)))
}
