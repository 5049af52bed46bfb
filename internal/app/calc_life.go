package app

import (
	"fmt"
	"math"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/growth"
	"leafturn/internal/report"
	"leafturn/internal/units"
)

// LifeTableOf is the rate of increase of a life table that a person gives, each
// age class as AGE=ALIVE,DAUGHTERS.
func LifeTableOf(words []string, today civil.Date) (*report.Document, error) {
	cat, err := loadCatalog()
	if err != nil {
		return nil, err
	}
	const how = "write AGE=ALIVE,DAUGHTERS, such as 5=0.83,2.1"
	var l growth.LifeTable
	d := LifeTableData{Classes: []LifeTableClass{}, Words: []string{}}
	t := &report.Table{Columns: []report.Column{{Title: "Age"}, {Title: "Alive"}, {Title: "Daughters"}, {Title: "Both multiplied"}}}
	var problems diag.List
	col := 1
	for _, w := range words {
		at := col
		col += len([]rune(w)) + 1
		age, rest, ok := strings.Cut(w, "=")
		alive, daughters, ok2 := strings.Cut(rest, ",")
		var v [3]float64
		for i, text := range []string{age, alive, daughters} {
			if v[i], err = units.ParseNumber(text); err != nil {
				ok = false
			}
		}
		if !ok || !ok2 {
			problems.Add(&diag.Problem{Col: at, What: fmt.Sprintf("%q is no age class", w), Do: how, Usage: true})
			continue
		}
		l.Age, l.Alive, l.Daughters = append(l.Age, v[0]), append(l.Alive, v[1]), append(l.Daughters, v[2])
		d.Classes = append(d.Classes, LifeTableClass{v[0], v[1], v[2]})
		t.Rows = append(t.Rows, []report.Value{report.Text(figure(v[0])), report.Text(figure(v[1])), report.Text(figure(v[2])), report.Text(figure(v[1] * v[2]))})
	}
	if err := problems.Err(); err != nil {
		return nil, err
	}
	x, err := l.Increase()
	if err != nil {
		return nil, diag.Usagef("give rising ages above 0, the share alive from 0 to 1, and 0 or more daughters, of which there must be some", "%s", strings.TrimSuffix(err.Error(), ": "+growth.ErrDomain.Error()))
	}
	d.R0, d.R, d.Lambda, d.Generation, d.Mothers = x.R0, x.R, x.Lambda, finite(x.T), x.CohortT
	say := func(format string, args ...any) { d.Words = append(d.Words, fmt.Sprintf(format, args...)) }
	say("Times are in the unit of the ages, such as days.")
	say("Rate of increase %s a unit of time: times %s in one.", figure(x.R), figure(x.Lambda))
	switch {
	case math.IsInf(x.Doubling, 0):
		say("It neither grows nor falls.")
	case x.Doubling > 0:
		d.Doubling = finite(x.Doubling)
		say("It doubles in %s units of time.", figure(x.Doubling))
	default:
		d.Doubling = finite(x.Doubling)
		say("It halves in %s units of time.", figure(-x.Doubling))
	}
	say("%s daughters in the life of a female; the mothers' mean age is %s.", figure(x.R0), figure(x.CohortT))
	if d.Generation != nil {
		say("One generation takes %s units of time.", figure(x.T))
	}
	say("A life table from a laboratory gives an upper bound for the field.")
	doc := &report.Document{Title: "Life table", AsOf: today, Facts: cat.Version}
	doc.Sections = []report.Section{{Key: "words", Title: "In words", Notes: report.Lines(d.Words...)},
		{Key: "classes", Table: t, Notes: report.Lines("the rate r solves Euler and Lotka's sum of e^(-r age) × alive × daughters = 1: Birch 1948, J. Anim. Ecol. 17:15-26")}}
	doc.Data = d
	return doc, nil
}
