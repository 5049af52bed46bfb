package app

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/report"
	"leafturn/internal/store"
)

// deviationDays is how long a breach of a label stands on the week's list.
// Common practice; in `records` it stands for good.
const deviationDays = 30

// addDeviations puts a short part on breaches of labels in the 30 days before
// into the week's list, after what is to be done.
func (a *App) addDeviations(ctx context.Context, on civil.Date, doc *report.Document) error {
	var ts []farm.Treatment
	var versions map[int64]farm.Label
	err := a.st.View(ctx, func(tx *store.Tx) (err error) {
		if ts, err = tx.Treatments(store.Filter{From: on.AddDays(-deviationDays), To: on}); err != nil {
			return err
		}
		versions, err = labelsThen(tx, ts, on)
		return err
	})
	if err != nil || len(ts) == 0 {
		return err
	}
	j, err := a.newJudge(ctx, on)
	if err != nil {
		return err
	}
	var all []DeviationData
	sec := report.Section{Key: "deviations", Title: "Deviations from a label, last 30 days", Lead: report.Plain(
		"What happened is recorded; `leafturn records` has the whole of each.")}
	for _, t := range ts {
		found, _, _, err := j.deviations(ctx, t, versions[t.ID], false)
		if err != nil {
			return err
		}
		if len(found) == 0 {
			continue
		}
		all = append(all, found...)
		var broke, next []string
		for _, x := range found {
			broke = append(broke, x.Code)
			if !contains(next, x.Next) {
				next = append(next, x.Next)
			}
		}
		sec.Notes = append(sec.Notes, report.Plain(fmt.Sprintf("%s, %s, treatment %d with %s: %s. Now: %s",
			t.Bed, t.Date.Short(), t.ID, versions[t.ID].Product, strings.Join(broke, ", "), strings.Join(next, "; "))))
	}
	if len(all) == 0 {
		return nil
	}
	at := slices.IndexFunc(doc.Sections, func(s report.Section) bool { return s.Key == "must_not" })
	if at < 0 {
		at = len(doc.Sections)
	} else {
		at++
	}
	doc.Sections = slices.Insert(doc.Sections, at, sec)
	if d, ok := doc.Data.(WeekData); ok {
		d.Deviations = all
		doc.Data = d
	}
	return nil
}

// nowBroken says which applications after a day break their label only with
// what has been recorded since they were entered, in the beds given.
func (a *App) nowBroken(ctx context.Context, beds []farm.Bed, day civil.Date) ([]string, error) {
	if day == a.Today() {
		return nil, nil // nothing is later
	}
	j, err := a.newJudge(ctx, a.Today())
	if err != nil {
		return nil, err
	}
	var out []string
	for _, t := range j.today.treatments {
		if !t.Date.After(day) || !slices.ContainsFunc(beds, func(b farm.Bed) bool { return b.Code == t.Bed }) {
			continue
		}
		found, _, _, err := j.deviations(ctx, t, j.today.versions[t.ID], false)
		if err != nil {
			return nil, err
		}
		for _, x := range found {
			if x.Seen == seenSince {
				out = append(out, fmt.Sprintf("%s: with what is recorded now treatment %d of %s breaks the label too: %s: %s. Now: %s", x.Bed, x.Treatment, x.Date.Short(), x.Code, x.Text, x.Next))
			}
		}
	}
	return out, nil
}
