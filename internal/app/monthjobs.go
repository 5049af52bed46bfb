package app

import (
	"fmt"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/monthplan"
	"leafturn/internal/week"
)

// ownResults says in the offer what the farm's own results of the season speak
// against a product.
func ownResults(o *monthplan.Offer, w week.Input, pest string, l farm.Label) {
	for _, own := range w.Own[pest] {
		if own.Key == "label:"+l.Key && own.PassedOver() {
			o.Failed[l.Key] = own.Words() + "; take another step first"
		}
	}
	for _, q := range w.Questions[pest] {
		for _, x := range l.Actives {
			code, _ := x.Group.Get()
			if g, ok := label.MainGroup(code); ok && g == q.Group {
				o.Doubt[l.Key] = "group " + g + " did not bring the pest down here before (`leafturn worked " + pest + "`): does the pest resist it?"
			}
		}
	}
}

// trapsOf is what must stand in the bed before a count of the week's list.
func trapsOf(l week.Line, bed string) monthplan.Traps {
	for _, t := range l.Traces {
		if t.Bed == bed && t.Assessment != nil {
			return traps(t.Assessment)
		}
	}
	return monthplan.Traps{}
}

func traps(x *assess.Assessment) monthplan.Traps {
	u := x.Pest.Units[0]
	if x.Decider != nil {
		u = *x.Decider.Unit
	}
	nights := u.Nights
	if u.PerNights > 0 {
		nights = max(nights, 1)
	}
	if nights <= 0 || x.Decider != nil && strings.Contains(u.How, "put back") { // those counted before lie there still
		return monthplan.Traps{}
	}
	return monthplan.Traps{Words: fmt.Sprintf("%d %s", u.Wanted, unitPlural(u.Label, u.Wanted)), Nights: nights}
}

// countFrom is the first day on which a count of the week's list is worth its
// time: not before half of the days since the last one are over. One that was
// never made is wanted at once, and so is one that is due.
func countFrom(l week.Line, bed string, today civil.Date) civil.Date {
	from := l.From
	for _, t := range l.Traces {
		if x := t.Assessment; t.Bed == bed && x != nil && x.Decider != nil {
			last := x.Decider.Visit.Date
			if half := last.AddDays((l.By.Sub(last) + 1) / 2); half.After(from) {
				from = half
			}
		}
	}
	if from.Before(today) {
		return today
	}
	return from
}
