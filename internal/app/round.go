package app

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/report"
	"leafturn/internal/round"
	"leafturn/internal/week"
)

// Walking with a clipboard, metres a minute. Common practice.
const walkSpeed = 50

// roundItem is one pest to look at in one bed.
type roundItem struct {
	due     week.Due
	unit    string // what to look at, in words
	minutes float64
	chance  *float64 // of passing the action level unseen within a week; nil: not known
	nights  int      // the units stand so many nights before they are read
}

// plannedRound is a round before it is worded.
type plannedRound struct {
	day        civil.Date
	budget     int // minutes, 0 for no limit
	start      time.Time
	startWords string
	cost       float64
	in         week.Input
	shut       map[string]label.Opening
	closed     map[string]bool // beds that are due and shut
	infected   map[string]bool
	items      []roundItem
	choice     round.Choice
	walk       []farm.Bed
}

// Round plans the scouting round of a day: the beds in walking order, what is
// looked at in each, and, where time is short, what is left out and what that
// costs. An empty number of minutes is the farm's own, or no limit; an empty
// hour to start is now, or the first working hour of another day.
func (a *App) Round(ctx context.Context, day civil.Date, minutesWord, startWord string) (*report.Document, error) {
	r, err := a.planRound(ctx, day, minutesWord, startWord)
	if err != nil {
		return nil, err
	}
	doc := a.document("The scouting round", day)
	doc.Subtitle = r.startWords
	data := RoundData{Budget: r.budget, Start: stamp(r.start, a.loc), Stops: []RoundStop{}, MustOut: []RoundLook{}, Dropped: []RoundLook{}, FirstOut: []RoundLook{}, Closed: []RoundClosed{}}
	data.Lost, data.Least, data.Proven = r.choice.Lost/r.cost, r.choice.Least/r.cost, r.choice.Proven
	doc.Sections = slices.Concat(
		mustOutSection(&data, r.choice, r.items), []report.Section{walkSection(a.farm.Units, &data, r.choice, r.walk, r.items, r.infected)},
		droppedSection(&data, r.choice, r.cost, r.items), firstOutSection(&data, r.items, r.choice.Keep), a.closedSection(&data, r.in.Beds, r.shut, r.closed))
	doc.Data = data
	return doc, nil
}

func (a *App) planRound(ctx context.Context, day civil.Date, minutesWord, startWord string) (plannedRound, error) {
	r := plannedRound{day: day, budget: a.farm.RoundMinutes, cost: a.farm.WaitingCost, closed: map[string]bool{}}
	if day.After(a.Today()) {
		return r, a.future("--date", day)
	}
	if minutesWord != "" {
		n, err := strconv.Atoi(minutesWord)
		if err != nil || n < 1 || n > 10_000 {
			return r, diag.Usagef("write whole minutes, such as 90", "--minutes %q is not a time for a round", minutesWord)
		}
		r.budget = n
	}
	var known bool
	var err error
	if r.start, known, r.startWords, err = a.roundStart(day, startWord); err != nil {
		return r, err
	}
	if r.in, err = a.weekInput(ctx, day); err != nil {
		return r, err
	}
	r.shut = a.shutBeds(r.in, r.start, known)
	if r.cost <= 0 {
		r.cost = 1
	}
	for _, d := range week.Upcoming(r.in) {
		if d.By.After(day.AddDays(6)) {
			continue
		}
		if _, is := r.shut[d.Assessment.Bed.Code]; is {
			r.closed[d.Assessment.Bed.Code] = true
			continue
		}
		it, err := a.roundItem(r.in, d)
		if err != nil {
			return r, err
		}
		r.items = append(r.items, it)
	}
	r.infected = infectedBeds(r.in)
	r.choice, r.walk = chooseRound(r.items, r.budget, r.cost, r.infected)
	return r, nil
}

// roundStart is the moment the round starts, whose closed beds count, and the
// words for it; where it is not known, the beginning of the day.
func (a *App) roundStart(day civil.Date, word string) (at time.Time, known bool, words string, err error) {
	if word != "" {
		at, err = a.hourOf(day, word, "--start")
		return at, true, "starting at " + at.In(a.loc).Format("15:04"), err
	}
	if day == a.Today() {
		return a.now, true, "starting now, at " + a.now.In(a.loc).Format("15:04"), nil
	}
	if spans, err := farm.ParseHours(a.farm.WorkHours); a.farm.WorkHours != "" && err == nil {
		first := fmt.Sprintf("%02d:%02d", spans[0].From/60, spans[0].From%60)
		at, err = a.hourOf(day, first, "the farm's working hours")
		return at, true, "starting at " + first + ", the first of the farm's working hours", err
	}
	return day.In(a.loc), false, "the hour it starts was not given, so a bed that is closed at any time of the day is left out: give --start", nil
}

// shutBeds are the beds that are closed for re-entry at a moment. An
// application that began after it does not count, unless the hour is not known.
func (a *App) shutBeds(in week.Input, at time.Time, known bool) map[string]label.Opening {
	var ts []farm.Treatment
	for _, t := range in.Treatments {
		began := t.Start
		if began.IsZero() {
			began = t.End
		}
		if !known || !t.EndKnown || !began.After(at) {
			ts = append(ts, t)
		}
	}
	out := map[string]label.Opening{}
	for _, o := range a.openings(ts, in.Versions, in.Beds, at) {
		if !o.Open {
			out[o.Bed] = o
		}
	}
	return out
}

func (a *App) roundItem(in week.Input, d week.Due) (roundItem, error) {
	x := d.Assessment
	u := x.Pest.Units[0]
	if x.Decider != nil {
		u = *x.Decider.Unit
	}
	n := u.Wanted
	it := roundItem{due: d, unit: fmt.Sprintf("%d %s", n, unitPlural(u.Label, n))}
	it.nights = traps(x).Nights
	if n == 0 {
		n, it.unit = max(x.Bed.Plants, 1), "every "+u.Label
	}
	m, ok := a.cat.MinutesFor(u.Key)
	if !ok {
		m.Setup, m.Each = 2, 0.5
	}
	it.minutes = m.Setup + m.Each*float64(n)
	if c, ok := in.Coming[[2]string{x.Bed.Code, x.Pest.Key}]; ok {
		if p, ok := c.WithinBy(in.Today.AddDays(7)); ok {
			it.chance = &p
			return it, nil
		}
	}
	b, known, err := trendOf(*x)
	switch {
	case err != nil:
		return it, err
	case known && b.Over7 != nil:
		it.chance = b.Over7
	case x.Result.ChanceKnown:
		it.chance = finite(x.Result.Chance)
	}
	return it, nil
}

// chooseRound keeps what fits into the minutes, walking included, or all of it
// where there is no limit, and gives the beds in walking order: the clean ones
// first, the infected ones in a leg of their own. Beds without a place come at
// the end of their leg in the order of their codes.
func chooseRound(items []roundItem, budget int, cost float64, infected map[string]bool) (round.Choice, []farm.Bed) {
	var beds []farm.Bed
	looks := make([]round.Look, len(items))
	for i, it := range items {
		bed := it.due.Assessment.Bed
		k := slices.IndexFunc(beds, func(b farm.Bed) bool { return b.Code == bed.Code })
		if k < 0 {
			k = len(beds)
			beds = append(beds, bed)
		}
		looks[i] = round.Look{Place: k, Minutes: it.minutes, Must: it.chance == nil}
		if it.chance != nil {
			looks[i].Risk = *it.chance * cost
		}
	}
	places := placesOf(beds, infected)
	c := round.Choice{Keep: make([]bool, len(items)), Proven: true}
	if budget > 0 {
		c = round.Best(places, looks, float64(budget), walkSpeed)
	} else {
		all := make([]int, len(beds))
		for i := range all {
			all[i] = i
		}
		for i := range c.Keep {
			c.Keep[i] = true
		}
		c.Order, c.Metres, _ = round.Legs(places, all)
	}
	in := make([]bool, len(places))
	for i, l := range looks {
		in[l.Place] = in[l.Place] || c.Keep[i]
	}
	var walk []farm.Bed
	for _, last := range []bool{false, true} {
		var nowhere []farm.Bed
		for _, i := range c.Order {
			if places[i].Last == last {
				walk = append(walk, beds[i])
			}
		}
		for i, p := range places {
			if p.Last == last && !p.Known && in[i] {
				nowhere = append(nowhere, beds[i])
			}
		}
		slices.SortFunc(nowhere, func(x, y farm.Bed) int { return strings.Compare(x.Code, y.Code) })
		walk = append(walk, nowhere...)
	}
	return c, walk
}

// placesOf are the middles of the beds on the map.
func placesOf(beds []farm.Bed, infected map[string]bool) []round.Place {
	out := make([]round.Place, len(beds))
	for i, b := range beds {
		if out[i].Last = infected[b.Code]; b.X != nil && b.Y != nil {
			out[i].Point, out[i].Known = round.Point{X: *b.X + b.LengthM/2, Y: *b.Y + b.WidthM/2}, true
		}
	}
	return out
}

// infectedBeds are those in which signs of a virus were found this season:
// they are walked last.
func infectedBeds(in week.Input) map[string]bool {
	out := map[string]bool{}
	for _, x := range in.Assessments {
		if !x.Pest.Disease {
			continue
		}
		for _, r := range x.Readings {
			if r.Valid() && r.Value > 0 {
				out[x.Bed.Code] = true
			}
		}
	}
	return out
}
