package app

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/report"
	"leafturn/plots"
)

// short is the season on one page: what was seen, done, and whether it worked.
func (r *review) short(worked *report.Document) report.Section {
	t := &report.Table{Columns: []report.Column{{Title: "Pest"}, {Title: "Beds counted"}, {Title: "Visits"}, {Title: "Sample units"}, {Title: "Beds to act"}, {Title: "First to act"}, {Title: "Steps done"}}}
	visits, units, left := 0, 0, 0
	for _, p := range r.data.Pests {
		first := report.MissingAs("–", "no bed was to be acted on")
		if !p.ActFrom.IsZero() {
			first = report.Day(p.ActFrom)
		}
		t.Rows = append(t.Rows, []report.Value{report.Text(p.Name), report.Count(p.Beds), report.Count(p.Visits), report.Count(p.Units), report.Count(len(p.ActBeds)), first, report.Count(p.Steps)})
		visits, units, left = visits+p.Visits, units+p.Units, left+p.Invalid
	}
	sec := report.Section{Key: "short", Title: "The season in short", Table: t}
	sec.Lead = report.Say("{} visits with {} sample units; {} of the visits do not count, because a condition of the protocol was not met. \"Beds to act\" are those in which the verdict of a weekly scouting day, made from what was known on that day, was to act.", report.Count(visits), report.Count(units), report.Count(left))
	sec.Notes = append(sec.Notes, report.Plain(r.doneWords()))
	for _, s := range worked.Sections {
		if s.Key == "own" || s.Key == "questions" {
			sec.Notes = append(sec.Notes, s.Notes...)
		}
	}
	if len(r.data.Worked.Own) == 0 && len(r.data.Done) > 0 {
		sec.Notes = append(sec.Notes, report.Plain("whether it worked cannot be said: there was no valid count before and after"))
	}
	var never []string
	for _, b := range r.data.NotCounted {
		if !slices.ContainsFunc(r.data.Pests, func(p ReviewPest) bool { return p.Pest == b.Pest }) {
			never = append(never, r.pestName(b.Pest))
		}
	}
	if len(never) > 0 {
		sec.Notes = append(sec.Notes, report.Plain("watched and counted in no bed: "+strings.Join(never, ", ")))
	}
	return sec
}

// doneWords count what was done, each bed by itself.
func (r *review) doneWords() string {
	n := map[string]int{}
	var products []string
	for _, d := range r.data.Done {
		n[d.Kind] += len(d.Beds)
		if d.Kind == "application" && !slices.Contains(products, d.What) {
			products = append(products, d.What)
		}
	}
	words := fmt.Sprintf("done, each bed counted: %s, %s, %s", unitsOf(n["step"], "step"), unitsOf(n["release"], "release"), unitsOf(n["application"], "application"))
	if len(products) > 0 {
		words += " (" + strings.Join(products, ", ") + ")"
	}
	return words
}

// byPest says of each pest what was seen and decided, bed by bed.
func (r *review) byPest() []report.Section {
	var out []report.Section
	for _, p := range r.data.Pests {
		t := &report.Table{Columns: []report.Column{{Title: "Bed"}, {Title: "Visits"}, {Title: "Highest mean"}, {Title: "On"}, {Title: "Act", Unit: "weeks"}, {Title: "Look again", Unit: "weeks"}, {Title: "Hold", Unit: "weeks"}, {Title: "Stale", Unit: "weeks"}, {Title: "To act", Unit: "first to last"}}}
		measure := ""
		for _, b := range r.data.Beds {
			if b.Pest != p.Pest {
				continue
			}
			measure = cmp.Or(measure, b.Measure)
			high, on, act := report.Missing("no valid count"), report.MissingAs("–", "no valid count"), report.MissingAs("–", "never")
			if b.Highest != nil {
				high, on = report.Num(*b.Highest, 1), report.Day(b.On)
			}
			switch {
			case b.Act == 1:
				act = report.Text(b.ActFrom.Short())
			case b.Act > 1:
				act = report.Text(b.ActFrom.Short() + " to " + b.ActTo.Short())
			}
			t.Rows = append(t.Rows, []report.Value{report.Text(b.Bed), report.Count(b.Visits), high, on, report.Count(b.Act), report.Count(b.Look), report.Count(b.Hold), report.Count(b.Stale), act})
		}
		sec := report.Section{Key: "seen-" + p.Pest, Title: "Seen and decided: " + p.Name, Lead: report.Plain(fmt.Sprintf("Means in %s. %s", measure, actWords(p))), Table: t}
		out = append(out, sec)
	}
	return out
}

func actWords(p ReviewPest) string {
	switch n := len(p.ActBeds); n {
	case 0:
		return "No bed was to be acted on."
	case 1:
		return fmt.Sprintf("%s was to be acted on, first in the week of %s.", p.ActBeds[0], p.ActFrom.Short())
	default:
		return fmt.Sprintf("%d of %d beds were to be acted on, first in the week of %s: %s.", n, p.Beds, p.ActFrom.Short(), strings.Join(p.ActBeds, " "))
	}
}

func (r *review) doneSection() report.Section {
	t := &report.Table{Columns: []report.Column{{Title: "Day"}, {Title: "Beds"}, {Title: "What"}, {Title: "Against"}, {Title: "Note"}}}
	for _, d := range r.data.Done {
		note := strings.Join(nonEmpty(d.Who, d.Note), "; ")
		t.Rows = append(t.Rows, []report.Value{report.Day(d.Date), report.Text(strings.Join(d.Beds, " ")), report.Text(d.What), report.Text(r.pestName(d.Pest)), report.Text(note)})
	}
	sec := report.Section{Key: "done", Title: "Done", Table: t}
	if len(t.Rows) == 0 {
		sec.Table, sec.Lead = nil, report.Plain("No step, release or application was recorded.")
	}
	return sec
}

func (r *review) blankSection() report.Section {
	sec := report.Section{Key: "not-counted", Title: "Watched and not counted"}
	for _, b := range r.data.NotCounted {
		beds := strings.Join(b.Beds, " ")
		if n := len(b.Beds); n > 1 && n == len(r.s.beds) {
			beds = fmt.Sprintf("all %d beds", n)
		}
		sec.Notes = append(sec.Notes, report.Plain(r.pestName(b.Pest)+": "+beds))
	}
	if len(sec.Notes) == 0 {
		sec.Lead = report.Plain("Every watched pest was counted in every bed.")
	}
	return sec
}

// Pictures for a sheet of paper are so many points wide: on A4 their type is
// then 9 pt and more. So many rows of the overview, and beds of one pest, fit on
// a sheet.
const (
	paperWide    = 560
	overviewRows = 7
	bedsOnPaper  = 3
	seasonPages  = 8 // of all pests and beds
	mostBeds     = 8 // of a pest: those that were to be acted on for most weeks
)

// pictures stand at the end, so that the words before them can be read without
// turning the sheets.
func (r *review) pictures(ctx context.Context) (report.Section, error) {
	sec := report.Section{Key: "pictures", Title: "Pictures"}
	r.next = nextSteps{today: r.s.on, loc: r.a.loc}
	if r.s.on == r.a.Today() {
		var err error
		if r.next, err = r.a.nextOf(ctx, r.s, r.list); err != nil {
			return sec, err
		}
	}
	if err := r.overview(&sec); err != nil {
		return sec, err
	}
	for _, p := range r.data.Pests {
		if err := r.picture(&sec, p.Pest, p.Name); err != nil {
			return sec, err
		}
	}
	return sec, nil
}

// overview draws all pests and beds into a section.
func (r *review) overview(sec *report.Section) error {
	all := r.a.overview(r.s, r.list, r.next)
	all.Wide, all.RowsPerPage = paperWide, overviewRows
	if r.next.do != nil { // the steps stand below
		all.RowsPerPage -= 2
	}
	pages := overviewPictures(all)
	for i, page := range pages {
		if i == seasonPages {
			sec.Notes = append(sec.Notes, moreWords(len(pages)-i, "plot --out season.png")...)
			break
		}
		f, err := drawn(page, fmt.Sprintf("overview-%d", i+1), "All pests and beds")
		if err != nil {
			return err
		}
		sec.Figures = append(sec.Figures, f)
	}
	return nil
}

// picture draws a pest by bed into a section.
func (r *review) picture(sec *report.Section, pest, name string) error {
	var mine []assess.Assessment
	for _, x := range r.list {
		if x.Pest.Key == pest && r.per[[2]string{x.Bed.Code, pest}] != nil && r.pair(x.Bed.Code, pest).Act > 0 {
			mine = append(mine, x)
		}
	}
	if len(mine) == 0 {
		return nil
	}
	if left := len(mine) - mostBeds; left > 0 {
		order := slices.Clone(mine)
		slices.SortStableFunc(order, func(x, y assess.Assessment) int {
			return cmp.Compare(r.pair(y.Bed.Code, pest).Act, r.pair(x.Bed.Code, pest).Act)
		})
		mine = order[:mostBeds]
		word := r.a.pestWord(pest)
		sec.Notes = append(sec.Notes, report.Plain(fmt.Sprintf("%s: the %d beds that were to be acted on for most weeks are drawn; the other %d: `leafturn plot %s --out %s.png`", name, mostBeds, left, word, word)))
	}
	fig, err := r.a.pressure(r.s, mine, nil, r.next)
	if err != nil {
		return err
	}
	fig.Wide = paperWide
	i := 0
	for part := range slices.Chunk(fig.Panels, bedsOnPaper) {
		i++
		page := fig
		page.Panels = part
		f, err := drawn(page, fmt.Sprintf("%s-%d", pest, i), capital(name)+", bed by bed")
		if err != nil {
			return err
		}
		sec.Figures = append(sec.Figures, f)
	}
	return nil
}

// drawn is a picture as a figure of a document.
func drawn(fig plots.Figure, key, title string) (report.Figure, error) {
	if err := fig.Check(); err != nil {
		return report.Figure{Key: key, Title: title, Alt: err.Error()}, nil
	}
	f := report.Figure{Key: key, Title: title, Alt: fig.Alt()}
	f.Width, f.Height = fig.Size()
	for format, to := range map[string]*[]byte{"png": &f.PNG, "svg": &f.SVG} {
		var b bytes.Buffer
		if err := plots.Write(fig, &b, format); err != nil {
			return f, err
		}
		*to = b.Bytes()
	}
	return f, nil
}
