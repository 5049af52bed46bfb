// Package monthplan puts the work of the coming weeks on days and hours: hand
// steps, counts, orders and releases of natural enemies, and products last.
//
// One person works; nothing overlaps and nothing lies outside the working
// hours. Work is placed in a fixed order and each job takes the first hour
// that fits, so the same input gives the same plan. Cutting days stand first,
// then the ladder is climbed: prevention, hand steps, natural enemies, a
// recount, and a product only if that recount still says act. Every product
// is asked of package label with all that is planned in the bed; after each
// one the whole plan is asked again, because a later entry can take up the
// allowance of an earlier one. What does not fit is listed with the reason.
//
// Not here: walking order, more than one worker, and the times of sunset: a
// label that needs the night is not placed until the times are given.
package monthplan

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/schedule"
	"leafturn/internal/units"
)

// DefaultDays is the length of a plan when none is given.
const DefaultDays = 28

// Rung is the step of the ladder that a job stands on, lowest first.
type Rung int

// The rungs. A job on Free has no place in the ladder.
const (
	Free Rung = iota
	Prevention
	Hand
	Biological
	Recount
	Product
)

// Kind is the sort of a slot.
type Kind string

// The kinds of slots.
const (
	Cutting  Kind = "cutting"
	Step     Kind = "step"
	Look     Kind = "look"
	Ordering Kind = "order"
	LetOut   Kind = "let out"
	Applying Kind = "product"
)

// Span is a stretch of the farm's clock, in minutes after midnight.
type Span struct{ From, To int }

// Hours are the working hours by weekday; a day without spans is free.
type Hours map[time.Weekday][]Span

// Task is a job that a person does in a bed.
type Task struct {
	ID        string // unique
	Kind      Kind
	Bed, Pest string
	Text      string
	Rung      Rung
	From, By  civil.Date // zero By is the end of the plan; a job that comes later is marked late
	Minutes   int
	Why       string
}

// Course is a release of natural enemies, ordered already or to be ordered.
type Course struct {
	ID      string
	Pest    string
	Agent   string // catalogue key
	Request schedule.ReleaseRequest
	Ordered civil.Date // zero: not ordered yet
	Why     string
}

// Offer is the products that might go on a bed against a pest; at most one is
// placed. Date, Start, End, History, Weather and Work are set by the plan.
type Offer struct {
	Bed, Pest string
	Products  []label.Request
	// RecountDays is the time from the last lower step to the recount.
	RecountDays int
	Minutes     int
	Why         string
}

// Input is all that a plan is made from.
type Input struct {
	Today    civil.Date
	Days     int // 0 is DefaultDays
	Now      time.Time
	Zone     *time.Location
	Beds     []farm.Bed
	Hours    Hours
	Cut      map[string][]time.Weekday // cutting days by bed
	Tasks    []Task
	Courses  []Course
	Offers   []Offer
	History  []farm.Treatment
	Versions map[int64]farm.Label  // by treatment
	Labels   map[string]farm.Label // in force, by key
	Released []farm.Release
	Weather  map[civil.Date]farm.WeatherDay
	Sun      map[civil.Date][2]time.Time // rise and set, where known
	// Wait tells how many days a residue harms an agent.
	Wait func(active, agent string) (days int, known bool)
}

// Slot is one placed job.
type Slot struct {
	ID         string
	Kind       Kind
	Bed, Pest  string
	Text       string
	Rung       Rung
	Start, End time.Time
	Date       civil.Date
	Late       bool
	If         string // the condition it stands under
	Why        []string

	// Of a product.
	Label                string
	AmountMin, AmountMax units.Quantity
	Left                 int // applications left in the period after it
	LeftKnown            bool
	LeftAmount           units.Quantity // left of the label's maximum per area before it
	OpenFrom             civil.Date     // first day the label allows
	OpensAt              time.Time      // end of re-entry
	NextFrom, UsefulTo   civil.Date     // of the application after it; zero is unknown
	Conditions           []string
	Others               []string // the products not chosen, with the reason

	// Of natural enemies.
	Agent string
	Count int
	For   civil.Date // of an order: the day of delivery

	after   []string
	request label.Request
}

// Unplaced is a job that no slot was found for.
type Unplaced struct {
	ID, Bed, Pest, Text string
	Why                 string
	Next                civil.Date // the next possible day; zero is unknown
	LookUp              []string
}

// Total is the most of a product that the plan needs.
type Total struct {
	Label, Product string
	Amount         units.Quantity
}

// Plan is the answer: slots in order of time.
type Plan struct {
	From, Through civil.Date
	Slots         []Slot
	Unplaced      []Unplaced
	Totals        []Total
}

const (
	grid = 15 // minutes between the starts that are tried
	// settled is how long natural enemies that were let out are counted on.
	// Common practice.
	settled = 35
	// hotArrival is the forecast in °C above which no parcel is to arrive.
	// Common practice.
	hotArrival = 32
	deskTime   = 15 // minutes for an order
)

// Make lays the work out.
func Make(in Input) Plan {
	if in.Days <= 0 {
		in.Days = DefaultDays
	}
	if in.Zone == nil {
		in.Zone = time.UTC
	}
	p := &planner{in: in, through: in.Today.AddDays(in.Days - 1), beds: map[string]farm.Bed{}, missing: map[string]bool{}}
	for _, b := range in.Beds {
		p.beds[b.Code] = b
	}
	p.cutting()
	p.tasks()
	p.courses()
	p.products()
	slices.SortStableFunc(p.slots, func(a, b Slot) int { return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.ID, b.ID)) })
	return Plan{From: in.Today, Through: p.through, Slots: p.slots, Unplaced: p.unplaced, Totals: p.totals()}
}

type planner struct {
	in       Input
	through  civil.Date
	beds     map[string]farm.Bed
	slots    []Slot
	unplaced []Unplaced
	missing  map[string]bool // IDs of unplaced jobs
}

// at is the instant of a clock time on a day.
func (p *planner) at(d civil.Date, minute int) time.Time {
	return time.Date(d.Year, d.Month, d.Day, 0, minute, 0, 0, p.in.Zone)
}

// inside reports whether the farm's clock shows both ends within the span. An
// hour that the clock leaps over is in no span.
func (p *planner) inside(s Span, d civil.Date, start, end time.Time) bool {
	a, b := start.In(p.in.Zone), end.In(p.in.Zone)
	m, n := a.Hour()*60+a.Minute(), b.Hour()*60+b.Minute()
	if civil.DateIn(end, p.in.Zone) == d.AddDays(1) && n == 0 {
		n = 24 * 60
	} else if civil.DateIn(end, p.in.Zone) != d {
		return false
	}
	return civil.DateIn(start, p.in.Zone) == d && m >= s.From && n <= s.To && n > m
}

// starts calls try with each free stretch of the length on a day, in order of
// time, until it returns true.
func (p *planner) starts(d civil.Date, minutes int, try func(start, end time.Time) bool) bool {
	spans := slices.Clone(p.in.Hours[d.Weekday()])
	slices.SortFunc(spans, func(a, b Span) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To)) })
	for _, s := range spans {
		for m := s.From; m+minutes <= s.To; m += grid {
			start := p.at(d, m)
			end := start.Add(time.Duration(minutes) * time.Minute)
			if start.Before(p.in.Now) || !p.inside(s, d, start, end) || p.busy(start, end) {
				continue
			}
			if try(start, end) {
				return true
			}
		}
	}
	return false
}

func (p *planner) busy(start, end time.Time) bool {
	return slices.ContainsFunc(p.slots, func(s Slot) bool { return start.Before(s.End) && s.Start.Before(end) })
}

// version is the label that a treatment was made under.
func (p *planner) version(t farm.Treatment) (farm.Label, bool) {
	if l, ok := p.in.Versions[t.ID]; ok && t.ID != 0 {
		return l, true
	}
	l, ok := p.in.Labels[t.Label]
	return l, ok
}

// closed says why nobody may work in a bed at a time, "" when it is open.
func (p *planner) closed(bed string, start, end time.Time) string {
	for _, t := range p.in.History {
		if t.Bed != bed || !t.Start.Before(end) {
			continue
		}
		l, ok := p.version(t)
		hours, state := label.REI(l, p.beds[bed].Site)
		switch {
		case !ok || state == farm.NotRead:
			return fmt.Sprintf("%s is closed: the re-entry interval of %s is not known", bed, t.Label)
		case start.Before(t.End.Add(time.Duration(hours * float64(time.Hour)))):
			return fmt.Sprintf("%s is closed for re-entry after %s of %s", bed, t.Label, t.Date.Short())
		}
	}
	for _, s := range p.slots {
		if s.Kind == Applying && s.Bed == bed && s.Start.Before(end) && start.Before(s.OpensAt) {
			return fmt.Sprintf("%s is closed for re-entry after the planned %s of %s", bed, s.Text, s.Date.Short())
		}
	}
	return ""
}

// cutFrom is the first day of cutting after what went on the bed by a day.
func (p *planner) cutFrom(bed string, d civil.Date) (civil.Date, string) {
	var first civil.Date
	for _, t := range p.in.History {
		if t.Bed != bed || t.Date.After(d) {
			continue
		}
		l, _ := p.version(t)
		if !l.PHIDays.Known() {
			return civil.Date{}, "the pre-harvest interval of " + t.Label + " is not known"
		}
		if n, ok := l.PHIDays.Get(); ok && t.Date.AddDays(n).After(first) {
			first = t.Date.AddDays(n)
		}
	}
	if first.After(d) {
		return first, "no cutting before " + first.Short() + " (pre-harvest interval)"
	}
	return first, ""
}

func (p *planner) miss(u Unplaced) {
	p.missing[u.ID] = true
	p.unplaced = append(p.unplaced, u)
}

// cutting puts the cutting days in, first thing in the day.
func (p *planner) cutting() {
	for d := p.in.Today; !d.After(p.through); d = d.AddDays(1) {
		for _, b := range p.in.Beds {
			if !slices.Contains(p.in.Cut[b.Code], d.Weekday()) {
				continue
			}
			id := "cut:" + b.Code + ":" + d.String()
			next, why := p.cutFrom(b.Code, d)
			if why == "" {
				why = "no working hour of the day is free"
				if p.starts(d, 30, func(start, end time.Time) bool {
					if c := p.closed(b.Code, start, end); c != "" {
						why = c
						return false
					}
					p.slots = append(p.slots, Slot{ID: id, Kind: Cutting, Bed: b.Code, Text: "Cut flowers", Start: start, End: end, Date: d,
						Why: []string{d.Weekday().String() + " is a cutting day"}})
					return true
				}) {
					continue
				}
			}
			p.miss(Unplaced{ID: id, Bed: b.Code, Text: "Cut flowers on " + d.Short(), Why: why, Next: next})
		}
	}
}

// lower lists the jobs of the same bed and pest on lower rungs: when the last
// of them ends, and one that found no place.
func (p *planner) lower(bed, pest string, r Rung) (ids []string, last time.Time, missing string) {
	if r == Free || r == Prevention {
		return nil, time.Time{}, ""
	}
	for _, s := range p.slots {
		if s.Bed == bed && s.Pest == pest && s.Rung != Free && s.Rung < r {
			ids = append(ids, s.ID)
			if s.End.After(last) {
				last = s.End
			}
		}
	}
	for _, t := range p.in.Tasks {
		if t.Bed == bed && t.Pest == pest && t.Rung != Free && t.Rung < r && p.missing[t.ID] {
			missing = t.Text
		}
	}
	return ids, last, missing
}

func (p *planner) tasks() {
	list := slices.Clone(p.in.Tasks)
	slices.SortStableFunc(list, func(a, b Task) int {
		return cmp.Or(cmp.Compare(a.Rung, b.Rung), deadline(a.By, b.By), cmp.Compare(a.Bed, b.Bed), cmp.Compare(a.ID, b.ID))
	})
	for _, t := range list {
		p.task(t)
	}
}

// deadline puts the earliest first and none last.
func deadline(a, b civil.Date) int {
	switch {
	case a == b:
		return 0
	case a.IsZero():
		return 1
	case b.IsZero():
		return -1
	}
	return a.Compare(b)
}

// task places one job on the first hour that fits, after the lower rungs.
func (p *planner) task(t Task) bool {
	u := Unplaced{ID: t.ID, Bed: t.Bed, Pest: t.Pest, Text: t.Text}
	ids, last, missing := p.lower(t.Bed, t.Pest, t.Rung)
	if missing != "" {
		u.Why = fmt.Sprintf("it comes after %q, which has no place", missing)
		p.miss(u)
		return false
	}
	from := t.From
	if from.Before(p.in.Today) {
		from = p.in.Today
	}
	why := "no working hour is free"
	for d := from; !d.After(p.through); d = d.AddDays(1) {
		if p.starts(d, t.Minutes, func(start, end time.Time) bool {
			if start.Before(last) {
				return false
			}
			if c := p.closed(t.Bed, start, end); c != "" {
				why = c
				return false
			}
			s := Slot{ID: t.ID, Kind: t.Kind, Bed: t.Bed, Pest: t.Pest, Text: t.Text, Rung: t.Rung, Start: start, End: end, Date: d, after: ids}
			s.Late = !t.By.IsZero() && d.After(t.By)
			if t.Why != "" {
				s.Why = append(s.Why, t.Why)
			}
			switch {
			case s.Late:
				s.Why = append(s.Why, fmt.Sprintf("late: wanted by %s; %s before", t.By.Short(), why))
			case !t.By.IsZero():
				s.Why = append(s.Why, "by "+t.By.Short())
			}
			if len(ids) > 0 {
				s.Why = append(s.Why, "after the lower steps of "+last.In(p.in.Zone).Format("Mon 2 Jan"))
			}
			p.slots = append(p.slots, s)
			return true
		}) {
			return true
		}
	}
	u.Why, u.LookUp = why, nil
	if from.After(p.through) {
		u.Why, u.Next = "its day lies after this plan", from
	}
	p.miss(u)
	return false
}

func (p *planner) totals() []Total {
	var out []Total
	for _, s := range p.slots {
		if s.Kind != Applying || s.AmountMax.IsZero() {
			continue
		}
		i := slices.IndexFunc(out, func(t Total) bool { return t.Label == s.Label && t.Amount.Unit == s.AmountMax.Unit })
		if i < 0 {
			out = append(out, Total{Label: s.Label, Product: s.request.Label.Product, Amount: s.AmountMax})
			continue
		}
		out[i].Amount.Value += s.AmountMax.Value
	}
	slices.SortFunc(out, func(a, b Total) int { return cmp.Compare(a.Label, b.Label) })
	return out
}

func join(words []string) string { return strings.Join(words, "; ") }
