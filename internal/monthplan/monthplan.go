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
	Watering Kind = "watering"
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
	Traps     Traps // what a count reads
	Manner
}

// Traps are what stands in a bed for so many nights before it is read.
type Traps struct {
	Words  string // such as "9 refuge traps"
	Nights int    // 0: nothing is set before the count
}

// Course is a release of natural enemies, ordered already or to be ordered.
type Course struct {
	ID      string
	Pest    string
	Agent   string // catalogue key
	Request schedule.ReleaseRequest
	Ordered civil.Date // zero: not ordered yet
	Part    Part       // when in the day they are let out
	Why     string
}

// Offer is the products that might go on a bed against a pest; one of them is
// chosen. Date, Start, End, History, Weather and Work are set by the plan.
type Offer struct {
	Bed, Pest string
	Products  []label.Request
	// RecountDays is the time from the last lower step to the recount.
	RecountDays int
	Traps       Traps // what the counts read
	Minutes     int
	Why         string
	// Part and Dry say when in the day the step is done, besides the label.
	Part Part
	Dry  bool
	// Renews is the last application, where one was made since the count: then
	// only those that follow it are planned.
	Renews farm.Treatment
	// GenerationDays is the shortest time of one generation of the pest; 0 is
	// not known, and then nothing is said of rotation.
	GenerationDays int
	// Failed and Doubt say by label what the farm's own results speak against:
	// a product that failed is not planned, one in doubt comes after the others.
	Failed, Doubt map[string]string
}

// Input is all that a plan is made from.
type Input struct {
	Today    civil.Date
	Days     int // 0 is DefaultDays
	Now      time.Time
	Zone     *time.Location
	Beds     []farm.Bed
	Hours    Hours
	Usual    Span                      // hours for jobs that name no part of the day; zero is all working hours
	Cut      map[string][]time.Weekday // cutting days by bed
	Sick     map[string]bool           // beds with signs of a disease: cut last
	Water    []time.Weekday            // days on which the beds that are not rainfed are watered
	Tasks    []Task
	Courses  []Course
	Offers   []Offer
	History  []farm.Treatment
	Versions map[int64]farm.Label  // by treatment
	Labels   map[string]farm.Label // in force, by key
	Released []farm.Release
	Agents   map[string]string // names of natural enemies, by key
	Weather  map[civil.Date]farm.WeatherDay
	Units    units.System                // in which weather is told
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
	With       []string // steps that go with it
	Beds       []string // of a watering: the beds watered

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

// Event is an application that no day is set for: it depends on what a label
// says must happen first.
type Event struct {
	Bed, Pest      string
	Label, Product string
	When           string     // the label's own words
	From           civil.Date // the label allows none before; zero is not known
	Until          civil.Date // the effect of the one before is reckoned to here; zero is not said
}

// Plan is the answer: slots in order of time.
type Plan struct {
	From, Through civil.Date
	Slots         []Slot
	Standing      []Task // steps that hold all the time and take no hour
	Events        []Event
	Unplaced      []Unplaced
	Totals        []Total
}

const (
	grid      = 15 // minutes between the starts that are tried
	setTime   = 15 // minutes for setting traps
	deskTime  = 15 // minutes for an order
	waterTime = 30 // minutes for a watering round
	// dailyFor is how many days a step of every day goes on without a count.
	// Common practice.
	dailyFor = 7
)

// Make lays the work out.
func Make(in Input) Plan {
	if in.Days <= 0 {
		in.Days = DefaultDays
	}
	if in.Zone == nil {
		in.Zone = time.UTC
	}
	in = sorted(in)
	p := &planner{in: in, through: in.Today.AddDays(in.Days - 1), beds: map[string]farm.Bed{}, missing: map[string]bool{}}
	for _, b := range in.Beds {
		p.beds[b.Code] = b
	}
	p.rogues()
	p.cutting()
	p.cuttingNext()
	p.watering()
	p.tasks()
	p.courses()
	p.products()
	p.repeats()
	slices.SortStableFunc(p.slots, func(a, b Slot) int { return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.ID, b.ID)) })
	return Plan{From: in.Today, Through: p.through, Slots: p.slots, Standing: p.standing, Events: p.events, Unplaced: p.unplaced, Totals: p.totals()}
}

// sorted puts the lists in one order, whatever order they come in.
func sorted(in Input) Input {
	in.Beds = slices.SortedStableFunc(slices.Values(in.Beds), func(a, b farm.Bed) int { return cmp.Compare(a.Code, b.Code) })
	// Clean beds come first: hands and tools carry a disease.
	clean := func(a, b string) int {
		switch {
		case in.Sick[a] == in.Sick[b]:
			return 0
		case in.Sick[b]:
			return -1
		}
		return 1
	}
	in.Tasks = slices.SortedStableFunc(slices.Values(in.Tasks), func(a, b Task) int {
		return cmp.Or(cmp.Compare(a.Rung, b.Rung), civil.CompareDeadline(a.By, b.By), clean(a.Bed, b.Bed), cmp.Compare(a.Bed, b.Bed), cmp.Compare(a.ID, b.ID))
	})
	in.Courses = slices.SortedStableFunc(slices.Values(in.Courses), func(a, b Course) int { return cmp.Compare(a.ID, b.ID) })
	in.Offers = slices.SortedStableFunc(slices.Values(in.Offers), func(a, b Offer) int {
		return cmp.Or(clean(a.Bed, b.Bed), cmp.Compare(a.Bed, b.Bed), cmp.Compare(a.Pest, b.Pest))
	})
	in.History = slices.SortedStableFunc(slices.Values(in.History), func(a, b farm.Treatment) int {
		return cmp.Or(a.Date.Compare(b.Date), a.End.Compare(b.End), cmp.Compare(a.Bed, b.Bed), cmp.Compare(a.ID, b.ID))
	})
	in.Released = slices.SortedStableFunc(slices.Values(in.Released), func(a, b farm.Release) int {
		return cmp.Or(a.Date.Compare(b.Date), cmp.Compare(a.Bed, b.Bed), cmp.Compare(a.Agent, b.Agent))
	})
	return in
}

type planner struct {
	in       Input
	through  civil.Date
	beds     map[string]farm.Bed
	slots    []Slot
	standing []Task
	events   []Event
	unplaced []Unplaced
	missing  map[string]bool         // IDs of unplaced jobs
	cutNext  map[string][]label.Work // by bed: the cutting of the week after the plan
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
		hours, state := label.REI(l, p.beds[bed].Site, p.beds[bed].CropWord())
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
