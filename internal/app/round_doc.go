package app

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/report"
	"leafturn/internal/round"
	"leafturn/internal/units"
)

// mustOutSection says, before all else, what must be looked at and does not
// fit into the time.
func mustOutSection(data *RoundData, choice round.Choice, items []roundItem) []report.Section {
	if choice.Out == 0 {
		return nil
	}
	data.ShortBy = int(math.Ceil(choice.Short - 1e-9))
	sec := report.Section{Key: "must", Title: "NOT ENOUGH TIME"}
	for i, it := range items {
		if !choice.Keep[i] && it.chance == nil {
			data.MustOut = append(data.MustOut, it.look())
			sec.Notes = append(sec.Notes, report.Plain(fmt.Sprintf("%s, %s (%s min): %s", it.due.Assessment.Bed.Code, it.due.Assessment.Pest.Name, minuteWords(it.minutes), it.due.Reason)))
		}
	}
	words := fmt.Sprintf("These must be looked at, for nobody knows how many there are, and are left out. To look at all that must be looked at needs %d more minutes: take them, or come back for the rest today or tomorrow.", data.ShortBy)
	switch {
	case choice.OutMin < choice.Out:
		words += fmt.Sprintf(" No choice was found that leaves out fewer; none can leave out fewer than %d.", choice.OutMin)
	default:
		words += " No other choice for this time leaves out fewer of them."
	}
	sec.Lead = report.Plain(words)
	return []report.Section{sec}
}

func walkSection(system units.System, data *RoundData, choice round.Choice, order []farm.Bed, items []roundItem, infected map[string]bool) report.Section {
	metres := choice.Metres
	data.WalkM = math.Round(metres)
	onFoot := system.Length(data.WalkM)
	total := metres / walkSpeed
	walk := report.Section{Key: "walk", Title: "The walk"}
	nowhere := 0
	for n, b := range order {
		stop := RoundStop{Bed: b.Code, Last: infected[b.Code], Looks: []RoundLook{}}
		item := report.Item{Number: n + 1, Ref: "stop:" + b.Code, Box: true}
		for i, it := range items {
			if !choice.Keep[i] || it.due.Assessment.Bed.Code != b.Code {
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
	case len(order) == 0:
		walk.Lead = report.Plain(fmt.Sprintf("Nothing of it fits into %d min.", data.Budget))
	case data.Budget > 0:
		walk.Lead = report.Plain(fmt.Sprintf("%s of %d min, %s on foot.", minuteWords(total), data.Budget, onFoot))
	default:
		walk.Lead = report.Plain(fmt.Sprintf("%s min, %s on foot. With --minutes N, or `leafturn farm set --round-minutes N`, it is cut to the time you have.", minuteWords(total), onFoot))
	}
	if nowhere > 0 {
		walk.Notes = append(walk.Notes, report.Plain(noPlaceWords(nowhere)))
	}
	walk.Notes = append(walk.Notes, report.Plain(fmt.Sprintf("minutes for a unit are common practice (the catalogue's minutes.csv); walking at %s a minute", system.Length(walkSpeed))))
	return walk
}

// droppedSection lists what else is left out for want of time, the dearest first.
func droppedSection(data *RoundData, choice round.Choice, cost float64, items []roundItem) []report.Section {
	var left []roundItem
	for i, it := range items {
		if !choice.Keep[i] && it.chance != nil {
			left = append(left, it)
		}
	}
	if len(left) == 0 {
		return nil
	}
	slices.SortStableFunc(left, func(x, y roundItem) int { return cmp.Compare(*y.chance, *x.chance) })
	sec := report.Section{Key: "dropped", Title: "Left out, for want of time", Lead: report.Plain(lostWords(choice, cost, len(left)))}
	for _, it := range left {
		data.Dropped = append(data.Dropped, it.look())
		sec.Notes = append(sec.Notes, report.Plain(fmt.Sprintf("%s, %s (%s min): leaves a chance of %s that they are over the action level unseen in a week",
			it.due.Assessment.Bed.Code, it.due.Assessment.Pest.Name, minuteWords(it.minutes), chanceWord(*it.chance))))
	}
	return []report.Section{sec}
}

func firstOutSection(data *RoundData, items []roundItem, kept []bool) []report.Section {
	first := firstOut(items, kept)
	if len(first) == 0 {
		return nil
	}
	sec := report.Section{Key: "first-out", Title: "If you run short, leave these first"}
	for _, it := range first {
		data.FirstOut = append(data.FirstOut, it.look())
		sec.Notes = append(sec.Notes, report.Plain(fmt.Sprintf("%s, %s: saves %s min and leaves a chance of %s that they are over the action level unseen in a week",
			it.due.Assessment.Bed.Code, it.due.Assessment.Pest.Name, minuteWords(it.minutes), chanceWord(*it.chance))))
	}
	return []report.Section{sec}
}

// closedSection names the beds that are due and closed when the round starts.
func (a *App) closedSection(data *RoundData, beds []farm.Bed, shut map[string]label.Opening, closed map[string]bool) []report.Section {
	out := report.Section{Key: "closed", Title: "Closed: do not enter"}
	for _, b := range beds {
		o := shut[b.Code]
		if !closed[b.Code] {
			continue
		}
		x := RoundClosed{Bed: b.Code, Words: o.Words}
		words := o.Words
		if o.Known {
			x.Opens = stamp(o.At, a.loc)
			words += fmt.Sprintf("; look at it from %s on", o.At.In(a.loc).Format("Mon 2 Jan 15:04"))
		}
		data.Closed = append(data.Closed, x)
		out.Notes = append(out.Notes, report.Plain(words))
	}
	if len(out.Notes) == 0 {
		return nil
	}
	return []report.Section{out}
}

// lostWords says what leaving looks out costs, and whether less was possible.
func lostWords(c round.Choice, cost float64, n int) string {
	words := fmt.Sprintf("The %d left out carry a risk of %s in all: so many beds and pests are to be expected over the action level, unseen for a week.", n, riskWord(c.Lost/cost))
	if n == 1 {
		words = fmt.Sprintf("What is left out carries a risk of %s of being over the action level, unseen for a week.", riskWord(c.Lost/cost))
	}
	switch {
	case c.Proven && c.Out > 0:
		return words + " No other choice leaves less and keeps as many of those that must be looked at."
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

func noPlaceWords(beds int) string {
	if beds == 1 {
		return "1 bed has no place on the map and comes after the others"
	}
	return fmt.Sprintf("%d beds have no place on the map and come after the others, by their codes", beds)
}
