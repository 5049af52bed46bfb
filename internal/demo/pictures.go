package demo

import (
	_ "embed"
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
}

// Pictures are all kinds of pictures: a new kind is one row here.
var Pictures = []Picture{
	{"season", "All pests and beds", "Where on the farm is something going on, and what is not being counted?", "plot --date 2026-10-31 --out"},
	{"mites-D5", "One pest in one bed", "How did it go through the season, how sure is that, and when did it reach the action level?", "plot mite --bed D5 --date 2026-10-31 --out"},
	{"slugs-by-bed", "One pest, bed by bed", "Which beds had it worst, and when?", "plot slug --date 2026-10-31 --out"},
	{"field-mites", "The field", "Where in the field is a pest likely to be over its action level?", "plot mite --map --date 2026-07-20 --out"},
	{"forecast-D5", "What could come", "Where does a pest go in the next two weeks, and which step leaves the lowest chance of being over the level?", "forecast mite D5 --date 2026-07-20 --draw"},
	{"worked", "Did it work?", "Did the season's steps do anything, against untreated beds?", "worked --date 2026-10-31 --draw"},
	{"degree-days", "Degree-days and stages", "How warm was the season so far, and when do a pest's stages come?", "degree-days mite --date 2026-07-20 --draw"},
	{"sampling-plan", "How many to look at", "When can I stop looking, and how often is that wrong?", "sample slug B3 --date 2026-06-08 --draw"},
	{"bloom", "Bloom calendar", "When are companion plants sown and in bloom, when are natural enemies needed, and where are the gaps?", "companions --draw"},
	{"covers", "Covers", "What is sown in which bed before planting, and what is sown next?", "covers --map"},
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

// WriteIndex writes the page that shows all pictures.
func WriteIndex(w io.Writer, drawn []Drawn) error {
	t, err := template.New("pictures").Parse(picturesPage)
	if err != nil {
		return err
	}
	return t.Execute(w, drawn)
}
