package paper

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"slices"
	"strings"
	"testing"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/report"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var day = civil.MustParse("2026-07-20")

func dot(t *testing.T, w, h int) []byte {
	img := image.NewGray(image.Rect(0, 0, w, h))
	img.SetGray(0, 0, color.Gray{Y: 9})
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, img))
	return b.Bytes()
}

// sample has every part that a document can have; all of it is invented.
func sample(t *testing.T) report.Document {
	return report.Document{
		Title: "The week's list", Subtitle: "an invented week", Farm: "Tarnwick Lane (invented)", TimeZone: "Europe/London",
		AsOf: day, Made: time.Date(2026, 7, 20, 9, 30, 0, 0, time.UTC), Facts: "f1",
		Warnings: report.Lines("The label outranks this list."),
		Sections: []report.Section{
			{Title: "To do", Lead: report.Plain("Lowest step first."), Items: []report.Item{
				{Number: 9, Box: true, Mark: "by hand", Head: report.Say("Pick {} slugs", report.Count(12345)).Cite(1), Due: report.By(day.AddDays(1)), Details: report.Lines("how much: all of them"),
					Safety: report.Lines("Wear gloves."), Why: report.Plain("4 a trap")},
				{Number: 10, Done: true, Head: report.Plain("Clear the boards")},
				{Ref: "t3", Head: report.Plain("A line of its own")},
			}},
			{Title: "Counts", Table: &report.Table{Title: "By bed", Columns: []report.Column{{Title: "Bed"}, {Title: "Mean", Unit: "per trap"}, {Title: "Why"}},
				Rows: [][]report.Value{{report.Text("B3"), report.Num(4.25, 1), report.Text(strings.Repeat("many words ", 30))}, {report.Text("C1"), report.Missing("the soil was dry, so that the animals stayed down"), report.Text("ü ≥ → °")}}},
				Notes: report.Lines("a note at the end")},
			{Title: "Pictures", Figures: []report.Figure{{Title: "One", Alt: "not shown in words", PNG: dot(t, 40, 20), Width: 400, Height: 200}, {Title: "Two.", Alt: "It rose."}}},
			{Title: "Empty", Table: &report.Table{Columns: []report.Column{{Title: "None"}}}},
		},
		Sources: []report.Source{{Key: 1, Text: "Somebody 1990", URL: "https://example.org/" + strings.Repeat("long/", 40), Basis: "published"}},
	}
}

func printed(t *testing.T, doc report.Document, o Options) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, Document(&b, doc, o))
	return b.Bytes()
}

func TestDocument_SaysEverything(t *testing.T) {
	for _, o := range []Options{{}, {Size: Letter}, {Size: A4, Large: true}} {
		pages := read(t, printed(t, sample(t), o))
		text := flat(pages)
		for _, want := range []string{
			"The week's list", "an invented week", "Tarnwick Lane (invented), as of Mon 20 Jul 2026", "! The label outranks this list.",
			"To do", "Lowest step first.", "9.", "by hand", "Pick 12,345 slugs [1]", "by Tue 21 Jul (tomorrow)", "how much: all of them", "! Wear gloves.", "Why: 4 a trap",
			"10.", "Clear the boards", "A line of its own (t3)",
			"By bed", "Bed", "Mean", "per trap", "B3", "4.2", "– (a)", "(a) the soil was dry, so that the animals stayed down", "ü ≥ → °", "– a note at the end",
			"Picture: Two. It rose.", "(nothing to show)", "[1] Somebody 1990 (published)", "https://example.org/long/",
			"made 2026-07-20 09:30 Europe/London; facts f1", fmt.Sprintf("page 1 of %d", len(pages)),
		} {
			require.Contains(t, text, want)
		}
		require.NotContains(t, text, "not shown in words", "the picture itself stands there")
		if !o.Large {
			tidy(t, pages, o.Size)
		}
	}
}

// A box for each step to tick off, crossed where it is done.
func TestDocument_Boxes(t *testing.T) {
	pages := read(t, printed(t, sample(t), Options{Size: A4}))
	n := 0
	for _, p := range pages {
		for _, b := range p.boxes {
			if b[2] == 10.5 && b[3] == 10.5 {
				n++
			}
		}
	}
	require.Equal(t, 2, n)
}

func TestDocument_SameBytes(t *testing.T) {
	require.True(t, bytes.Equal(printed(t, sample(t), Options{}), printed(t, sample(t), Options{})))
}

func TestDocument_Pages(t *testing.T) {
	doc := sample(t)
	rows := doc.Sections[1].Table
	for i := range 200 {
		rows.Rows = append(rows.Rows, []report.Value{report.Text(fmt.Sprintf("X%d", i)), report.Num(1, 1), report.Text("row")})
	}
	pages := read(t, printed(t, doc, Options{Size: Letter}))
	require.Greater(t, len(pages), 4)
	tidy(t, pages, Letter)
	for i, p := range pages {
		require.Contains(t, p.text(), fmt.Sprintf("page %d of %d", i+1, len(pages)))
		require.Equal(t, i > 0, strings.Contains(p.text(), "The warnings on page 1 hold for this page too."), "page %d", i+1)
		if strings.Contains(p.text(), "\nX") {
			require.Contains(t, p.text(), "per trap", "the table's head on page %d", i+1)
		}
	}
}

// A heading is not left alone at the foot of a page, nor an item cut in two.
func TestDocument_KeepsTogether(t *testing.T) {
	for n := range 40 {
		doc := report.Document{Title: "T", AsOf: day, Sections: []report.Section{
			{Title: "First", Notes: report.Lines(make([]string, n)...)},
			{Title: "Second", Items: []report.Item{{Number: 1, Box: true, Head: report.Plain("head of it"), Details: report.Lines("one of it", "two of it", "three of it")}}},
			{Title: "Third", Table: &report.Table{Columns: []report.Column{{Title: "column"}}, Rows: [][]report.Value{{report.Text("cell one")}, {report.Text("cell two")}}}},
		}}
		for i := range doc.Sections[0].Notes {
			doc.Sections[0].Notes[i] = report.Plain("a line to fill the page")
		}
		pages := read(t, printed(t, doc, Options{Size: A4}))
		for _, p := range pages {
			text := p.text()
			require.Equal(t, strings.Contains(text, "Second"), strings.Contains(text, "three of it"), "%d lines before", n)
			require.Equal(t, strings.Contains(text, "Third"), strings.Contains(text, "cell one"), "%d lines before", n)
		}
	}
}

func TestDocument_Refuses(t *testing.T) {
	var b bytes.Buffer
	require.Error(t, Document(&b, report.Document{Title: "no day"}, Options{}))
	require.ErrorContains(t, Document(&b, sample(t), Options{Size: "a3"}), `"a3"`)
	require.Zero(t, b.Len())
	require.Error(t, Document(full{}, sample(t), Options{}))
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no room") }

// A wide picture that would come out small lies on a page of its own, behind the
// words of its section; what follows stands upright again, and keeps within the
// upright page. A tall one does not.
func TestDocument_WidePicture(t *testing.T) {
	for _, x := range []struct {
		wide, high float64
		lies       bool
	}{{864, 500, true}, {864, 1000, false}, {400, 200, false}, {500, 100, false}} {
		doc := report.Document{Title: "T", AsOf: day, Sections: []report.Section{{Title: "Before", Figures: []report.Figure{{Title: "Wide", PNG: dot(t, 40, 20), Width: x.wide, Height: x.high}}, Notes: report.Lines("beside it")},
			{Lead: report.Plain("after it " + strings.Repeat("many words ", 30))}}}
		pdf := printed(t, doc, Options{Size: A4})
		require.Equal(t, x.lies, bytes.Contains(pdf, []byte("/MediaBox [0 0 841.89 595.28]")), "%v", x)
		pages := read(t, pdf)
		if x.lies {
			require.Len(t, pages, 3)
			require.Contains(t, pages[0].text(), "beside it")
			require.NotContains(t, pages[1].text(), "after it")
			require.Contains(t, pages[2].text(), "after it")
			require.Less(t, len(pages[2].runs[0].text), 110, "wrapped for the upright page")
			require.Contains(t, pages[1].text(), "page 2 of 3")
		}
	}
}

// A section that is nothing but pictures needs no heading, which could stand on
// the page before them: a picture says its title.
func TestDocument_NoHeadingAlone(t *testing.T) {
	wide := report.Figure{Title: "Wide", PNG: dot(t, 40, 20), Width: 864, Height: 500}
	doc := report.Document{Title: "T", AsOf: day, Sections: []report.Section{{Lead: report.Plain("first")}, {Title: "Calendar", Figures: []report.Figure{wide}}}}
	require.NotContains(t, flat(read(t, printed(t, doc, Options{}))), "Calendar")
	doc.Sections[1].Figures[0].Width = 400 // on an upright page too
	require.NotContains(t, flat(read(t, printed(t, doc, Options{}))), "Calendar")
	doc.Sections[1].Notes = report.Lines("a note")
	require.Contains(t, read(t, printed(t, doc, Options{}))[0].text(), "Calendar\n–\na note")
}

// A heading stands on the page of its table's first row, wherever it begins.
func TestDocument_HeadingStays(t *testing.T) {
	table := &report.Table{Columns: []report.Column{{Title: "Bed"}, {Title: "Act", Unit: "weeks"}}, Rows: [][]report.Value{{report.Text("B4"), report.Count(7)}}}
	for n := range 60 {
		doc := report.Document{Title: "T", AsOf: day, Sections: []report.Section{{Notes: report.Lines(slices.Repeat([]string{"a line"}, n)...)}, {Title: "Seen", Lead: report.Plain("Means."), Table: table}}}
		for _, p := range read(t, printed(t, doc, Options{})) {
			if strings.Contains(p.text(), "Seen") {
				require.Contains(t, p.text(), "B4", "%d lines before it", n)
			}
		}
	}
}

// A heading stands on the page of its first item, however tall that is, and no
// note is parted for a line.
func TestDocument_HeadingStaysWithTallItem(t *testing.T) {
	tall := report.Item{Head: report.Plain("Sow it"), Details: report.Lines(slices.Repeat([]string{"a detail"}, 22)...)}
	note := report.Plain("first words of the note " + strings.Repeat("many words ", 12) + "last words of the note")
	for n := range 60 {
		doc := report.Document{Title: "T", AsOf: day, Sections: []report.Section{{Notes: report.Lines(slices.Repeat([]string{"a line"}, n)...)}, {Title: "Plants", Lead: report.Plain("Of some beds."), Items: []report.Item{tall}, Notes: []report.Line{note}}}}
		for _, p := range read(t, printed(t, doc, Options{})) {
			if strings.Contains(p.text(), "Plants") {
				require.Contains(t, p.text(), "Sow it", "%d lines before it", n)
			}
			whole := flat([]printedPage{p})
			require.Equal(t, strings.Contains(whole, "first words of the note"), strings.Contains(whole, "last words of the note"), "%d lines before it", n)
		}
	}
}

// What is closed until when is the largest type of a notice.
func TestDocument_Loud(t *testing.T) {
	for n, size := range map[int]float64{1: 34, 6: 26, 20: 20} {
		shut := report.Section{Key: "closed", Title: "CLOSED: keep out"}
		for i := range n {
			shut.Items = append(shut.Items, report.Item{Head: report.Plain(fmt.Sprintf("D%d: closed until Mon 20 Jul 2026 20:30 PDT", i)), Details: report.Lines("after Sulfur (invented)")})
		}
		doc := report.Document{Title: "Re-entry board", AsOf: day, Warnings: report.Lines("No cutting."), Sections: []report.Section{shut, {Title: "Open", Notes: report.Lines("A1")}}}
		pages := read(t, printed(t, doc, Options{Large: true, Loud: "closed"}))
		text := flat(pages)
		require.Contains(t, text, fmt.Sprintf("D%d: closed until Mon 20 Jul 2026 20:30 PDT after Sulfur (invented)", n-1))
		for _, p := range pages {
			for _, r := range p.runs {
				if strings.HasPrefix(r.text, "D") || strings.HasPrefix(r.text, "CLOSED") {
					require.Equal(t, size, r.size, r.text)
				} else if r.text == "Re-entry board" || r.text == "Open" {
					require.Less(t, r.size, 34.0, r.text)
				}
			}
		}
	}
}

// Any text comes out within the margins, on as many pages as it takes.
func TestDocument_AnyText(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		word := rapid.StringOfN(rapid.RuneFrom([]rune("abcdefgWM iil.-/,_()\\ü≥→°😀漢\u00a0\t\n\x00")), 0, 120, -1)
		doc := report.Document{Title: "T " + word.Draw(rt, "title"), Farm: word.Draw(rt, "farm"), AsOf: day}
		for range rapid.IntRange(0, 4).Draw(rt, "sections") {
			s := report.Section{Title: word.Draw(rt, "section"), Lead: report.Plain(word.Draw(rt, "lead"))}
			for range rapid.IntRange(0, 5).Draw(rt, "items") {
				s.Items = append(s.Items, report.Item{Box: true, Mark: word.Draw(rt, "mark"), Head: report.Plain("x" + word.Draw(rt, "head")), Details: report.Lines(word.Draw(rt, "detail"))})
			}
			if n := rapid.IntRange(0, 8).Draw(rt, "columns"); n > 0 {
				s.Table = &report.Table{}
				for range n {
					s.Table.Columns = append(s.Table.Columns, report.Column{Title: word.Draw(rt, "column")})
				}
				for range rapid.IntRange(1, 4).Draw(rt, "rows") {
					var row []report.Value
					for range n {
						row = append(row, report.Text(word.Draw(rt, "cell")))
					}
					s.Table.Rows = append(s.Table.Rows, row)
				}
			}
			doc.Sections = append(doc.Sections, s)
		}
		if doc.Validate() != nil {
			return
		}
		size := rapid.SampledFrom([]Size{Letter, A4}).Draw(rt, "size")
		tidy(t, read(t, printed(t, doc, Options{Size: size})), size)
	})
}

// A picture without room waits for the next page, and the words behind it go on
// in its place; none is lost, none leaves its page, and they stay in order.
func TestDocument_PictureWaits(t *testing.T) {
	fig := func(high float64) report.Figure {
		return report.Figure{Title: "F", PNG: dot(t, 40, int(high)), Width: 400, Height: high}
	}
	for n := 0; n < 50; n += 5 {
		lines := func(word string, n int) []report.Line { return report.Lines(slices.Repeat([]string{word}, n)...) }
		doc := report.Document{Title: "T", AsOf: day, Sections: []report.Section{{Title: "First", Notes: lines("a line", n), Figures: []report.Figure{fig(400), fig(300)}}, {Title: "Second", Notes: lines("another", 9)}}}
		pdf := printed(t, doc, Options{Size: A4})
		require.Equal(t, 2, bytes.Count(pdf, []byte("/Subtype /Image")), "%d", n)
		pages := read(t, pdf)
		require.Equal(t, 9, strings.Count(flat(pages), "another"))
		for i, p := range pages {
			for _, r := range p.runs {
				require.Less(t, r.y, p.high, "%d: page %d", n, i)
			}
		}
		if n == 30 {
			require.Contains(t, pages[0].text(), "another", "the words go on before the picture")
		}
	}
}

// Pictures that wait while a table goes on stand above its head.
func TestDocument_PictureAboveTable(t *testing.T) {
	table := &report.Table{Columns: []report.Column{{Title: "Headword"}}}
	for i := range 90 {
		table.Rows = append(table.Rows, []report.Value{report.Text(fmt.Sprint("row ", i))})
	}
	fig := func(high float64) report.Figure {
		return report.Figure{Title: "F", PNG: dot(t, 40, int(high)), Width: 400, Height: high}
	}
	doc := report.Document{Title: "T", AsOf: day, Sections: []report.Section{{Notes: report.Lines(slices.Repeat([]string{"a line"}, 20)...), Figures: []report.Figure{fig(500), fig(501), fig(300)}}, {Table: table}}}
	pages := read(t, printed(t, doc, Options{Size: A4}))
	require.Equal(t, 90, strings.Count(flat(pages), "row "))
	for i, p := range pages {
		if n := slices.IndexFunc(p.runs, func(r run) bool { return r.text == "Headword" }); n >= 0 {
			require.Less(t, n+1, len(p.runs), "%d", i)
			require.Contains(t, p.runs[n+1].text, "row ", "a row stands below the head on page %d", i+1)
		}
	}
}

// Columns take the room that makes the table lowest, and a date is not parted.
func TestTable_Columns(t *testing.T) {
	doc := report.Document{Title: "T", AsOf: day, Sections: []report.Section{{Table: &report.Table{Columns: []report.Column{{Title: "Days"}, {Title: "Bed"}, {Title: "What"}, {Title: "Note"}}}}}}
	long := strings.TrimSpace(strings.Repeat("many words to tell ", 7))
	for i := range 6 {
		doc.Sections[0].Table.Rows = append(doc.Sections[0].Table.Rows, []report.Value{report.Day(day.AddDays(i)), report.Text("A1 A2 A3 A4 A5 B1 B2 B3"), report.Text(long), report.Text("a short note of some words here")})
	}
	pages := read(t, printed(t, doc, Options{Size: A4}))
	lines := 0
	for _, r := range pages[0].runs {
		if strings.Contains(r.text, "many") || strings.Contains(r.text, "tell") {
			lines++
		}
		require.NotRegexp(t, "^(Mon|Tue|Wed|Thu|Fri|Sat|Sun)$", r.text, "a day parted from its date")
	}
	require.LessOrEqual(t, lines, 6*3, "the longest words have most of the room")
}

// A table that fits as it is has no broken cell.
func TestTable_FitsAsItIs(t *testing.T) {
	doc := report.Document{Title: "T", AsOf: day, Sections: []report.Section{{Table: &report.Table{Columns: []report.Column{{Title: "Pest"}, {Title: "Why"}}, Rows: [][]report.Value{
		{report.Text("cucumber beetle"), report.Text("it comes from anywhere")}, {report.Text("slug"), report.Text("counted in 12 weeks: chance 100 % over its level")}}}}}}
	text := read(t, printed(t, doc, Options{Size: A4}))[0].text()
	require.Contains(t, text, "cucumber beetle")
	require.Contains(t, text, "counted in 12 weeks: chance 100 % over its level")
}

// Sections in fine type are smaller than others, and no type is under 9 pt.
func TestDocument_Fine(t *testing.T) {
	doc := sample(t)
	doc.Sections = append(doc.Sections, report.Section{Key: "why", Title: "Reasons", Notes: report.Lines("fine words"), Items: []report.Item{{Head: report.Plain("head"), Why: report.Plain("small already")}}})
	for _, p := range read(t, printed(t, doc, Options{Fine: []string{"why"}})) {
		for _, r := range p.runs {
			require.GreaterOrEqual(t, r.size, 9.0, r.text)
			if r.text == "fine words" {
				require.InDelta(t, 9, r.size, 0.01)
			}
		}
	}
}
