package app

import (
	"context"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/store"
)

// longAgo is how many years before the farm's first record (before today where
// there is none) a day may lie: an earlier one is taken for a slip until somebody
// says that it is meant. farAhead is how many days a forecast may reach. Common
// practice.
const (
	longAgo  = 10
	farAhead = 30
)

// AllowOld lets days in that lie long ago.
func (a *App) AllowOld() { a.old = true }

// earliest is the first day that is taken without asking; zero: every day is.
func (a *App) earliest(ctx context.Context) (first civil.Date, err error) {
	if a.old {
		return civil.Date{}, nil
	}
	today := a.Today()
	err = a.st.View(ctx, func(tx *store.Tx) error { first, err = tx.FirstDay(); return err })
	if first.IsZero() || first.After(today) {
		first = today
	}
	return civil.New(first.Year-longAgo, first.Month, first.Day), err
}

// happened refuses a day on which nothing can have happened that is recorded
// now: one to come, and one so long ago that the year is a slip.
func (a *App) happened(ctx context.Context, what string, d civil.Date) error {
	if d.After(a.Today()) {
		return a.future(what, d)
	}
	return a.notLongAgo(ctx, what, d)
}

func (a *App) notLongAgo(ctx context.Context, what string, d civil.Date) error {
	if d.IsZero() || d.Year >= a.Today().Year-longAgo+1 { // nearly always, and needs no look at the records
		return nil
	}
	first, err := a.earliest(ctx)
	if err != nil || !d.Before(first) {
		return err
	}
	return slip(what, d, first)
}

func slip(what string, d, first civil.Date) *diag.Problem {
	return diag.Usagef("correct the year; where it is right, add --old", "%s %s lies before %s, %d years before the farm's first record (or today), and is taken for a slip", what, d, first, longAgo)
}

// dayAt is a day in a file and its row, 0 when that is not known.
type dayAt struct {
	day civil.Date
	row int
}

// notLongAgoIn is notLongAgo for the days of a file; it tells each of them once.
func (a *App) notLongAgoIn(ctx context.Context, file string, days []dayAt) error {
	first, err := a.earliest(ctx)
	if err != nil {
		return err
	}
	var l diag.List
	told := map[civil.Date]bool{}
	for _, x := range days {
		if !x.day.Before(first) || told[x.day] {
			continue
		}
		told[x.day] = true
		p := slip("the day", x.day, first)
		p.File, p.Row, p.Usage = file, x.row, false
		l.Add(p)
	}
	return l.Err()
}

// notFarAhead refuses a forecast for a day that no forecast reaches.
func (a *App) notFarAhead(what string, d civil.Date) *diag.Problem {
	if last := a.Today().AddDays(farAhead); d.After(last) {
		return diag.Usagef("correct the date", "%s %s is no day of a forecast: it lies more than %d days ahead", what, d, farAhead)
	}
	return nil
}

// dayOf is a day in words, with its year where that is not this one.
func (a *App) dayOf(d civil.Date) string {
	if d.Year != a.Today().Year {
		return fullDay(d)
	}
	return d.Short()
}
