package app

import (
	"fmt"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/pattern"
	"leafturn/internal/week"
)

// The facts name months of the north. On a farm of the south they are moved six
// months on where they are dates, and said to be of the north where they are
// words.

var monthRE = pattern.New(`\b(Jan(uary)?|Feb(ruary)?|Mar(ch)?|Apr(il)?|May|June?|July?|Aug(ust)?|Sept?(ember)?|Oct(ober)?|Nov(ember)?|Dec(ember)?)\b`)

// months says of months in the facts that they are those of the north, where
// the farm lies in the south.
func (a *App) months(text string) string {
	if a.farm.South() && monthRE().MatchString(text) {
		return text + " (months of the north)"
	}
	return text
}

// stepMonths is months for what the steps of a list say.
func (a *App) stepMonths(all []week.Action) []week.Action {
	for i := range all {
		all[i].Text, all[i].When = a.months(all[i].Text), a.months(all[i].When)
	}
	return all
}

// yearWord is what people call a season.
func (s snapshot) yearWord() string {
	if s.year.South() {
		return "season"
	}
	return "year"
}

// yearStartWords names the day on which the farm's seasons begin.
func (a *App) yearStartWords() string {
	if a.farm.South() {
		return "1 July, the 1 January of the south"
	}
	return "1 January"
}

// seasonWords says when the farm's seasons begin and end, and what tells it; ""
// in the north, where they are calendar years.
func seasonWords(f farm.Farm, today civil.Date) string {
	south, by := f.SouthBy()
	if !south {
		return ""
	}
	return fmt.Sprintf("1 July to 30 June, now %s (by the farm's %s)", f.Season(today).Name(), by)
}
