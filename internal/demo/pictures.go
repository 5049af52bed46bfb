package demo

import (
	"embed"
	"encoding/xml"
	"fmt"
	"html/template"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// Picture is a kind of picture and the command that draws it of the demo's
// season. The command lacks its last word, the file.
type Picture struct {
	Name     string // of the files
	Heading  string
	Question string // that it answers
	Command  string
	Earlier  bool // of a farm that has counted in earlier years too
}

// Pictures are all kinds of pictures: a new kind is one row here.
var Pictures = []Picture{
	{Name: "season", Heading: "All pests and beds", Question: "Where on the farm is something going on, and what is not being counted?", Command: "plot --date 2026-10-31 --out"},
	{Name: "mites-D5", Heading: "One pest in one bed", Question: "How did it go through the season, how sure is that, and when did it reach the action level?", Command: "plot mite --bed D5 --date 2026-10-31 --out"},
	{Name: "slugs-by-bed", Heading: "One pest, bed by bed", Question: "Which beds had it worst, and when?", Command: "plot slug --date 2026-10-31 --out"},
	{Name: "mites-years", Heading: "This year against earlier years", Question: "Is this season early, usual or late against earlier years, and what may come?", Command: "plot mite --years --date 2026-07-20 --out", Earlier: true},
	{Name: "field-mites", Heading: "The field", Question: "Where in the field is a pest likely to be over its action level?", Command: "plot mite --map --date 2026-07-20 --out"},
	{Name: "forecast-D5", Heading: "What could come", Question: "Where does a pest go in the next two weeks, and which step leaves the lowest chance of being over the level?", Command: "forecast mite D5 --date 2026-07-20 --draw"},
	{Name: "worked", Heading: "Did it work?", Question: "Did the season's steps do anything, against untreated beds?", Command: "worked --date 2026-10-31 --draw"},
	{Name: "degree-days", Heading: "Degree-days and stages", Question: "How warm was the season so far, and when do a pest's stages come?", Command: "degree-days mite --date 2026-07-20 --draw"},
	{Name: "sampling-plan", Heading: "How many to look at", Question: "When can I stop looking, and how often is that wrong?", Command: "sample slug B3 --date 2026-06-08 --draw"},
	{Name: "bloom", Heading: "Bloom calendar", Question: "When are companion plants sown and in bloom, when are natural enemies needed, and where are the gaps?", Command: "companions --draw"},
	{Name: "covers", Heading: "Covers", Question: "What is sown in which bed before planting, and what is sown next?", Command: "covers --map"},
}

// Sheet is something to read or to print: a file of one kind and the command
// that writes it. The command lacks its last word, the file.
type Sheet struct {
	File     string
	Heading  string
	Question string // that it answers
	Command  string
}

// Sheets are all sheets of paper, and the pages of the season and the week.
var Sheets = []Sheet{
	{"round.pdf", "Scouting sheets", "What do I look at on this week's round, in which order, and when may I stop counting?", "print round --date 2026-07-20 --out"},
	{"week.pdf", "The week, to tick off", "What is to be done this week, and by when?", "print week --date 2026-07-20 --out"},
	{"notice.pdf", "Re-entry notice", "Which beds may nobody enter, and until when?", "print notice --date 2026-07-20 --out"},
	{"season-review.pdf", "The season in review", "What was seen, decided and done, and did it work?", "print season --date 2026-10-31 --out"},
	{"next-year.pdf", "Next year's plan", "What is sown in which bed before planting, which seed does it take, and what is planted with the dahlias?", "print next-year --date 2026-10-31 --out"},
	{"season.html", "The season as a page", "What was seen, decided and done, with the pictures behind it?", "review --year 2026 --html"},
	{"week.html", "The week as a page", "What is to be done this week, with the pictures behind it?", "week --date 2026-07-20 --html"},
}

// EarlierYears names the files of invented counts that were made in the years
// before the season, for the pictures that ask for them.
var EarlierYears = []string{"2023.txt", "2024.txt", "2025.txt"}

//go:embed earlier
var earlier embed.FS

// WriteEarlier writes the counts of earlier years into a folder.
func WriteEarlier(dir string) error {
	for _, name := range EarlierYears {
		data, err := earlier.ReadFile("earlier/" + name)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// Drawn is a picture as it was drawn: its page names without extension, with
// their titles and what they show in words.
type Drawn struct {
	Picture
	Pages []DrawnPage
}

// DrawnPage is one page of a picture.
type DrawnPage struct {
	File       string // without extension
	Title, Alt string
}

// Find looks a picture's pages up in the folder that it was drawn to, and
// reads what they show from the SVG.
func (p Picture) Find(folder string) (Drawn, error) {
	d := Drawn{Picture: p}
	files, err := filepath.Glob(filepath.Join(folder, p.Name+"*.svg"))
	if err != nil {
		return d, err
	}
	number := func(path string) int { // 0 for a single page, -1 for another picture
		rest := strings.TrimPrefix(strings.TrimSuffix(filepath.Base(path), ".svg"), p.Name)
		if rest == "" {
			return 0
		}
		n, err := strconv.Atoi(strings.TrimPrefix(rest, "-"))
		if err != nil || n < 1 {
			return -1
		}
		return n
	}
	files = slices.DeleteFunc(files, func(path string) bool { return number(path) < 0 })
	slices.SortFunc(files, func(a, b string) int { return number(a) - number(b) })
	for _, path := range files {
		raw, err := os.ReadFile(path)
		if err != nil {
			return d, err
		}
		var svg struct {
			Title string `xml:"title"`
			Desc  string `xml:"desc"`
		}
		if err := xml.Unmarshal(raw, &svg); err != nil {
			return d, fmt.Errorf("the picture %s cannot be read: %w", path, err)
		}
		d.Pages = append(d.Pages, DrawnPage{strings.TrimSuffix(filepath.Base(path), ".svg"), svg.Title, svg.Desc})
	}
	if len(d.Pages) == 0 {
		return d, fmt.Errorf("the picture %s was not drawn", p.Name)
	}
	return d, nil
}

//go:embed pictures.html
var picturesPage string

// WriteIndex writes the page that shows all pictures and names all sheets.
func WriteIndex(w io.Writer, drawn []Drawn) error {
	t, err := template.New("pictures").Parse(picturesPage)
	if err != nil {
		return err
	}
	return t.Execute(w, struct {
		Pictures []Drawn
		Sheets   []Sheet
	}{drawn, Sheets})
}
