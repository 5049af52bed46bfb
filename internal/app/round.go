package app

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
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

// Round plans the scouting round of a day: the beds in walking order, what is
// looked at in each, and, where time is short, what is left out and what that
// costs. An empty number of minutes is the farm's own, or no limit.
func (a *App) Round(ctx context.Context, day civil.Date, minutesWord string) (*report.Document, error) {
	if day.After(a.Today()) {
		return nil, a.future("--date", day)
	}
	budget := a.farm.RoundMinutes
	if minutesWord != "" {
		n, err := strconv.Atoi(minutesWord)
		if err != nil || n < 1 || n > 10_000 {
			return nil, diag.Usagef("write whole minutes, such as 90", "--minutes %q is not a time for a round", minutesWord)
		}
		budget = n
	}
	in, err := a.weekInput(ctx, day)
	if err != nil {
		return nil, err
	}
	shut := map[string]string{}
	for _, o := range a.openings(in.Treatments, in.Versions, in.Beds, a.roundTime(day)) {
		if !o.Open {
			shut[o.Bed] = o.Words
		}
	}
	cost := a.farm.WaitingCost
	if cost <= 0 {
		cost = 1
	}
	var items []roundItem
	closed := map[string]bool{}
	for _, d := range week.Upcoming(in) {
		if d.By.After(day.AddDays(6)) {
			continue
		}
		if shut[d.Assessment.Bed.Code] != "" {
			closed[d.Assessment.Bed.Code] = true
			continue
		}
		it, err := a.roundItem(d)
		if err != nil {
			return nil, err
		}
		items = append(items, it)
	}
	infected := infectedBeds(in)
	choice, walk := chooseRound(items, budget, cost, infected)
	return a.roundDocument(day, budget, choice, walk, cost, items, in.Beds, shut, closed, infected), nil
}

// roundTime is the moment whose closed beds count: now, or the morning of
// another day.
func (a *App) roundTime(day civil.Date) time.Time {
	if day == a.Today() {
		return a.now
	}
	return day.In(a.loc)
}

func (a *App) roundItem(d week.Due) (roundItem, error) {
	x := d.Assessment
	u := x.Pest.Units[0]
	if x.Decider != nil {
		u = x.Decider.Unit
	}
	n := u.Wanted
	it := roundItem{due: d, unit: fmt.Sprintf("%d %s", n, unitPlural(u.Label, n))}
	if u.PerNights > 0 {
		it.nights = max(u.Nights, 1)
	}
	if n == 0 {
		n, it.unit = max(x.Bed.Plants, 1), "every "+u.Label
	}
	m, ok := a.cat.MinutesFor(u.Key)
	if !ok {
		m.Setup, m.Each = 2, 0.5
	}
	it.minutes = m.Setup + m.Each*float64(n)
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

func (a *App) roundDocument(day civil.Date, budget int, choice round.Choice, order []farm.Bed, cost float64, items []roundItem, beds []farm.Bed, shut map[string]string, closed, infected map[string]bool) *report.Document {
	doc := a.document("The scouting round", day)
	kept, over := choice.Keep, int(math.Ceil(choice.Over-1e-9))
	data := RoundData{Budget: budget, OverBy: over, Lost: choice.Lost / cost, Least: choice.Least / cost, Proven: choice.Proven, Stops: []RoundStop{}, Dropped: []RoundLook{}, FirstOut: []RoundLook{}, Closed: []RoundClosed{}}
	metres := choice.Metres
	data.WalkM = math.Round(metres)
	total := metres / walkSpeed
	walk := report.Section{Key: "walk", Title: "The walk"}
	nowhere := 0
	for n, b := range order {
		stop := RoundStop{Bed: b.Code, Last: infected[b.Code], Looks: []RoundLook{}}
		item := report.Item{Number: n + 1, Ref: "stop:" + b.Code, Box: true}
		for i, it := range items {
			if !kept[i] || it.due.Assessment.Bed.Code != b.Code {
				continue
			}
			stop.Looks = append(stop.Looks, it.look())
			total += it.minutes
			item.Details = append(item.Details, report.Plain(fmt.Sprintf("[ ] %s: %s, %s min; %s", it.due.Assessment.Pest.Name, it.unit, minuteWords(it.minutes), it.due.Reason)))
			if it.nights > 0 {
				item.Details = append(item.Details, report.Plain(fmt.Sprintf("    set them %s before, and read them now", nightsWords(it.nights))))
			}
		}
		stop.Minutes = math.Round(total)
		head := fmt.Sprintf("%s, done after %s min", b.Code, minuteWords(total))
		if b.X == nil {
			nowhere++
		}
		if stop.Last {
			head += ": signs of disease were found here, so it comes last; clean hands and tools after it"
		}
		item.Head = report.Plain(head)
		walk.Items = append(walk.Items, item)
		data.Stops = append(data.Stops, stop)
	}
	data.Minutes = math.Round(total)
	switch {
	case len(items) == 0:
		walk.Lead = report.Plain("Nothing is to be looked at this week.")
	case over > 0:
		walk.Lead = report.Plain(fmt.Sprintf("What must be looked at takes %s min, %d more than the %d you have: it is never dropped.", minuteWords(total), over, budget))
	case budget > 0:
		walk.Lead = report.Plain(fmt.Sprintf("%s of %d min, %.0f m on foot.", minuteWords(total), budget, metres))
	default:
		walk.Lead = report.Plain(fmt.Sprintf("%s min, %.0f m on foot. With --minutes N, or `leafturn farm set --round-minutes N`, it is cut to the time you have.", minuteWords(total), metres))
	}
	if nowhere > 0 {
		walk.Notes = append(walk.Notes, report.Plain(fmt.Sprintf("%d of the beds have no place on the map and come after the others, by their codes", nowhere)))
	}
	walk.Notes = append(walk.Notes, report.Plain("minutes for a unit are common practice (the catalogue's minutes.csv); walking at 50 m a minute"))
	doc.Sections = append(doc.Sections, walk)

	dropped := report.Section{Key: "dropped", Title: "Left out, for want of time"}
	left := make([]int, 0, len(items))
	for i := range items {
		if !kept[i] {
			left = append(left, i)
		}
	}
	slices.SortStableFunc(left, func(x, y int) int { // the dearest first
		switch cx, cy := *items[x].chance, *items[y].chance; {
		case cx > cy:
			return -1
		case cx < cy:
			return 1
		}
		return 0
	})
	if len(left) > 0 {
		dropped.Lead = report.Plain(lostWords(choice, cost, len(left)))
	}
	for _, i := range left {
		it := items[i]
		data.Dropped = append(data.Dropped, it.look())
		dropped.Notes = append(dropped.Notes, report.Plain(fmt.Sprintf("%s, %s (%s min): leaves a chance of %s that they are over the action level unseen in a week",
			it.due.Assessment.Bed.Code, it.due.Assessment.Pest.Name, minuteWords(it.minutes), chanceWord(*it.chance))))
	}
	if len(left) > 0 {
		doc.Sections = append(doc.Sections, dropped)
	}
	if first := firstOut(items, kept); len(first) > 0 {
		sec := report.Section{Key: "first-out", Title: "If you run short, leave these first"}
		for _, it := range first {
			data.FirstOut = append(data.FirstOut, it.look())
			sec.Notes = append(sec.Notes, report.Plain(fmt.Sprintf("%s, %s: saves %s min and leaves a chance of %s that they are over the action level unseen in a week",
				it.due.Assessment.Bed.Code, it.due.Assessment.Pest.Name, minuteWords(it.minutes), chanceWord(*it.chance))))
		}
		doc.Sections = append(doc.Sections, sec)
	}
	out := report.Section{Key: "closed", Title: "Closed: do not enter"}
	for _, b := range beds {
		if closed[b.Code] {
			data.Closed = append(data.Closed, RoundClosed{b.Code, shut[b.Code]})
			out.Notes = append(out.Notes, report.Plain(shut[b.Code]))
		}
	}
	if len(out.Notes) > 0 {
		doc.Sections = append(doc.Sections, out)
	}
	doc.Data = data
	return doc
}

// lostWords says what leaving looks out costs, and whether less was possible.
func lostWords(c round.Choice, cost float64, n int) string {
	words := fmt.Sprintf("The %d left out carry a risk of %s in all: so many beds and pests are to be expected over the action level, unseen for a week.", n, riskWord(c.Lost/cost))
	if n == 1 {
		words = fmt.Sprintf("What is left out carries a risk of %s of being over the action level, unseen for a week.", riskWord(c.Lost/cost))
	}
	switch {
	case c.Over > 0:
		return words
	case c.Proven:
		return words + " No other choice for this time leaves less."
	}
	return words + fmt.Sprintf(" No choice found leaves less; none can leave less than %s.", riskWord(c.Least/cost))
}

func riskWord(v float64) string {
	if v < 0.005 {
		return "under 0.01"
	}
	return strconv.FormatFloat(v, 'f', 2, 64)
}

// firstOut are the looks that would be left out first if time ran short: the
// least risk for their minutes.
func firstOut(items []roundItem, kept []bool) []roundItem {
	var out []roundItem
	for i, it := range items {
		if kept[i] && it.chance != nil && it.minutes > 0 {
			out = append(out, it)
		}
	}
	slices.SortStableFunc(out, func(x, y roundItem) int { return cmp.Compare(*x.chance/x.minutes, *y.chance/y.minutes) })
	return out[:min(len(out), 3)]
}

func (it roundItem) look() RoundLook {
	x := it.due.Assessment
	return RoundLook{Bed: x.Bed.Code, Pest: x.Pest.Key, What: it.unit, Minutes: it.minutes, Nights: it.nights, By: it.due.By, Reason: it.due.Reason, Chance: it.chance}
}

func minuteWords(m float64) string { return strconv.FormatFloat(math.Ceil(m), 'f', -1, 64) }

func nightsWords(n int) string {
	if n == 1 {
		return "the evening"
	}
	return fmt.Sprintf("%d nights", n)
}

func chanceWord(p float64) string {
	switch {
	case p < 0.005:
		return "under 1 in 100"
	case p > 0.995:
		return "over 99 in 100"
	}
	return fmt.Sprintf("%.0f in 100", 100*p)
}
