package app

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/report"
	"leafturn/internal/verdict"
	"leafturn/internal/week"
)

// ReviewData is a season for machines.
type ReviewData struct {
	Year       int            `json:"year"` // in which it begins
	From       civil.Date     `json:"from"`
	To         civil.Date     `json:"to"`
	Pests      []ReviewPest   `json:"pests"`
	Beds       []ReviewBed    `json:"beds"`
	Done       []ReviewDone   `json:"done"`
	NotCounted []ReviewBlank  `json:"not_counted"`
	Worked     WorkedData     `json:"worked"`
	Records    RecordsData    `json:"records"`
	Decided    []ReviewWeekly `json:"decided"`
}

// ReviewPest is a pest over the season, all beds together.
type ReviewPest struct {
	Pest    string     `json:"pest"`
	Name    string     `json:"name"`
	Beds    int        `json:"beds"` // counted
	Visits  int        `json:"visits"`
	Invalid int        `json:"invalid"` // of them, visits that do not count
	Units   int        `json:"units"`
	First   civil.Date `json:"first"`
	Last    civil.Date `json:"last"`
	ActBeds []string   `json:"act_beds"` // in which a weekly verdict was to act
	ActFrom civil.Date `json:"act_from"` // the first such week; null for none
	Steps   int        `json:"steps"`    // done against it, each bed counted
}

// ReviewBed is a pest in a bed over the season.
type ReviewBed struct {
	Bed     string     `json:"bed"`
	Pest    string     `json:"pest"`
	Visits  int        `json:"visits"`
	Measure string     `json:"measure"`
	Highest *float64   `json:"highest"` // mean of a valid visit, nil without one
	On      civil.Date `json:"on"`
	Act     int        `json:"act"` // weeks by verdict
	Hold    int        `json:"hold"`
	Look    int        `json:"look_again"`
	Stale   int        `json:"stale"`
	ActFrom civil.Date `json:"act_from"`
	ActTo   civil.Date `json:"act_to"`
}

// ReviewWeekly is how many beds each verdict had in a week.
type ReviewWeekly struct {
	Week  string     `json:"week"`
	Day   civil.Date `json:"day"`
	Pest  string     `json:"pest"`
	Act   []string   `json:"act"`
	Look  int        `json:"look_again"`
	Hold  int        `json:"hold"`
	Stale int        `json:"stale"`
}

// ReviewDone is something that was done on a day, in one or more beds.
type ReviewDone struct {
	Date civil.Date `json:"date"`
	Kind string     `json:"kind"` // step, release or application
	What string     `json:"what"`
	Pest string     `json:"pest"`
	Beds []string   `json:"beds"`
	Who  string     `json:"who"`
	Note string     `json:"note"`
}

// ReviewBlank is a watched pest that was not counted in some beds.
type ReviewBlank struct {
	Pest string   `json:"pest"`
	Beds []string `json:"beds"`
}

// Review is a season for the grower, the landlord or an inspector:
// what was seen, what was decided, what was done, whether it worked, and the
// records. The verdicts are those of each week's scouting day, made from what
// was known then. It ends with a day, or with the season where that is earlier.
// With pictures it is drawn too. An empty year is the season of the day.
func (a *App) Review(ctx context.Context, yearWord string, day civil.Date, pictures bool) (*report.Document, error) {
	year := a.farm.Season(day)
	if yearWord != "" {
		y, ok := farm.ParseSeason(yearWord, year.South())
		if !ok || y.First.After(a.Today()) || y.Year() < ingest.MinYear {
			do := fmt.Sprintf("write a year up to %d, such as %[1]d", year.Year())
			if year.South() {
				do = fmt.Sprintf("write a season up to %s, or the year in which it begins, such as %d", year.Name(), year.Year())
			}
			return nil, diag.Usagef(do, "--year %q is no year to look back on", yearWord)
		}
		year = y
	}
	to := year.Last
	if day.Before(to) {
		to = day
	}
	s, err := a.snapshot(ctx, to)
	if err != nil {
		return nil, err
	}
	if len(s.visits) == 0 {
		return nil, diag.Failf(nil, "name another year with --year, or count: `leafturn count`", "nothing was counted in %s, so there is nothing to look back on", year.Name())
	}
	list, err := a.assessments(s, false)
	if err != nil {
		return nil, err
	}
	r := review{a: a, s: s, list: list, data: ReviewData{Year: year.Year(), To: to, Pests: []ReviewPest{}, Beds: []ReviewBed{}, Done: []ReviewDone{}, NotCounted: []ReviewBlank{}, Decided: []ReviewWeekly{}}}
	r.data.From = s.visits[0].Date
	for _, v := range s.visits {
		if v.Date.Before(r.data.From) {
			r.data.From = v.Date
		}
	}
	if err := r.weeks(ctx); err != nil {
		return nil, err
	}
	r.done()
	r.seen()
	worked, err := a.Worked(ctx, to, "", "", "")
	if err != nil {
		return nil, err
	}
	records, err := a.Records(ctx, RecordOptions{Year: year.Name(), To: to})
	if err != nil {
		return nil, err
	}
	r.data.Worked, r.data.Records = worked.Data.(WorkedData), records.Data.(RecordsData)

	doc := a.document("The season of "+year.Name(), to)
	doc.Subtitle = strings.Join(nonEmpty(a.farm.Place, fmt.Sprintf("counts from %s to %s", r.data.From.Short(), to.Short())), "; ")
	doc.Warnings = report.Lines("The product label and local law outrank this page. It shows what was recorded; what nobody wrote down is not in it.")
	doc.Sections = append(doc.Sections, r.short(worked))
	doc.Sections = append(doc.Sections, r.byPest()...)
	doc.Sections = append(doc.Sections, r.doneSection())
	for i := range worked.Sections {
		sec := &worked.Sections[i]
		if strings.HasPrefix(sec.Key, "steps") {
			sec.Title = strings.TrimSuffix("Did it work? "+sec.Title, " ")
		}
	}
	doc.Append(*worked)
	doc.Sections = append(doc.Sections, r.blankSection())
	records.Warnings = nil // said above
	records.Sections = slices.DeleteFunc(records.Sections, func(s report.Section) bool { return s.Key == "steps" })
	doc.Append(*records)
	if voided := slices.DeleteFunc(slices.Clone(r.data.Records.Steps), func(x StepData) bool { return x.VoidReason == "" }); len(voided) > 0 {
		sec := a.stepSection(voided)
		sec.Title = "Steps that were voided"
		doc.Sections = append(doc.Sections, sec)
	}
	if pictures {
		sec, err := r.pictures(ctx)
		if err != nil {
			return nil, err
		}
		doc.Sections = append(doc.Sections, sec)
	}
	doc.Data = r.data
	return doc, nil
}

// review is a season in the making.
type review struct {
	a    *App
	s    snapshot
	list []assess.Assessment
	data ReviewData
	per  map[[2]string]*ReviewBed
	next nextSteps // none where a season is looked back on
}

// weeks makes the verdicts of each week's scouting day.
func (r *review) weeks(ctx context.Context) error {
	r.per = map[[2]string]*ReviewBed{}
	day := r.data.From
	for day.Weekday() != r.a.farm.ScoutDay {
		day = day.AddDays(1)
	}
	for ; !day.After(r.data.To); day = day.AddDays(7) {
		if err := ctx.Err(); err != nil {
			return err
		}
		s, err := r.a.snapshot(ctx, day)
		if err != nil {
			return err
		}
		list, err := r.a.assessments(s, true)
		if err != nil {
			return err
		}
		byPest := map[string]*ReviewWeekly{}
		for _, x := range list {
			if len(x.Readings) == 0 || x.Result.Verdict == verdict.Stale && !x.InSeason {
				continue
			}
			w := byPest[x.Pest.Key]
			if w == nil {
				w = &ReviewWeekly{Week: day.WeekString(), Day: day, Pest: x.Pest.Key, Act: []string{}}
				byPest[x.Pest.Key] = w
			}
			b := r.pair(x.Bed.Code, x.Pest.Key)
			switch x.Result.Verdict {
			case verdict.Act:
				w.Act = append(w.Act, x.Bed.Code)
				if b.Act++; b.ActFrom.IsZero() {
					b.ActFrom = day
				}
				b.ActTo = day
			case verdict.Hold:
				w.Hold++
				b.Hold++
			case verdict.Stale:
				w.Stale++
				b.Stale++
			default:
				w.Look++
				b.Look++
			}
		}
		for _, key := range r.a.watched(s) {
			if w := byPest[key]; w != nil {
				r.data.Decided = append(r.data.Decided, *w)
			}
		}
	}
	return nil
}

func (r *review) pair(bed, pest string) *ReviewBed {
	k := [2]string{bed, pest}
	if r.per[k] == nil {
		r.per[k] = &ReviewBed{Bed: bed, Pest: pest}
	}
	return r.per[k]
}

// seen sums up the counts.
func (r *review) seen() {
	for _, key := range r.a.watched(r.s) {
		p := ReviewPest{Pest: key, ActBeds: []string{}}
		blank := ReviewBlank{Pest: key}
		for _, x := range r.list {
			if x.Pest.Key != key {
				continue
			}
			p.Name = x.Pest.Name
			if len(x.Readings) == 0 && len(x.HotSpots) == 0 {
				blank.Beds = append(blank.Beds, x.Bed.Code)
				continue
			}
			p.Beds++
			b := r.pair(x.Bed.Code, key)
			u := decidingUnit(&x)
			b.Measure = u.Words
			for _, one := range slices.Concat(x.Readings, x.HotSpots, x.Edges) {
				p.Visits++
				p.Units += one.N
				if !one.Valid() {
					p.Invalid++
				}
				if p.First.IsZero() || one.Visit.Date.Before(p.First) {
					p.First = one.Visit.Date
				}
				if one.Visit.Date.After(p.Last) {
					p.Last = one.Visit.Date
				}
			}
			for _, one := range x.Readings {
				b.Visits++
				if one.Valid() && one.Unit.Measure == u.Measure && (b.Highest == nil || one.Value > *b.Highest) {
					b.Highest, b.On = &one.Value, one.Visit.Date
				}
			}
			if b.Act > 0 {
				p.ActBeds = append(p.ActBeds, b.Bed)
				if p.ActFrom.IsZero() || b.ActFrom.Before(p.ActFrom) {
					p.ActFrom = b.ActFrom
				}
			}
			r.data.Beds = append(r.data.Beds, *b)
		}
		for _, d := range r.data.Done {
			if d.Pest == key {
				p.Steps += len(d.Beds)
			}
		}
		if p.Beds > 0 {
			r.data.Pests = append(r.data.Pests, p)
		}
		if len(blank.Beds) > 0 {
			r.data.NotCounted = append(r.data.NotCounted, blank)
		}
	}
}

// done gathers what was done, the same thing of a day in one line.
func (r *review) done() {
	add := func(x ReviewDone, bed string) {
		for i := range r.data.Done {
			d := &r.data.Done[i]
			if d.Date == x.Date && d.Kind == x.Kind && d.What == x.What && d.Pest == x.Pest && d.Who == x.Who && d.Note == x.Note {
				if !slices.Contains(d.Beds, bed) {
					d.Beds = append(d.Beds, bed)
				}
				return
			}
		}
		x.Beds = []string{bed}
		r.data.Done = append(r.data.Done, x)
	}
	for _, d := range r.s.done {
		what := shortStep(d.Action)
		for _, x := range r.a.cat.Actions(d.Pest) {
			if x.Key == d.Action {
				what = x.Text
			}
		}
		add(ReviewDone{Date: d.Date, Kind: "step", What: what, Pest: d.Pest, Note: d.Note}, d.Bed)
	}
	for _, x := range r.s.releases {
		name := x.Agent
		if g, ok := r.a.cat.Agent(x.Agent); ok {
			name = g.Latin
		}
		add(ReviewDone{Date: x.Date, Kind: "release", What: fmt.Sprintf("%s, %s animals", name, week.Number(x.Amount)), Pest: x.Pest, Note: x.Note}, x.Bed)
	}
	for _, t := range r.s.treatments {
		if r.s.year.Holds(t.Date) {
			add(ReviewDone{Date: t.Date, Kind: "application", What: r.s.versions[t.ID].Product, Pest: t.Pest, Who: t.Who, Note: t.Reason}, t.Bed)
		}
	}
	slices.SortStableFunc(r.data.Done, func(x, y ReviewDone) int {
		return cmp.Or(x.Date.Compare(y.Date), strings.Compare(x.Pest, y.Pest), strings.Compare(x.What, y.What))
	})
}

func (r *review) pestName(key string) string {
	if p, ok := r.a.cat.Pest(key); ok {
		return p.Name
	}
	return key
}
