package week

import (
	"fmt"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/forecast"
	"leafturn/internal/verdict"
)

// Coming is what the forecast says of a bed and pest if nothing more is done
// than was recorded.
type Coming struct {
	From   civil.Date // the count that it starts from
	Within []float64  // chance to have been at or over the action level, by day from From on
	// Over and With are the chances to be over on the day itself, without and
	// with the natural enemy let out that could be ordered now, nil where none
	// can; Agent is its key, Name its name and Let its day.
	Over, With  []float64
	Agent, Name string
	Let         civil.Date
}

// WithinBy is the chance to have been at or over the level by a day, false
// beyond the days that the forecast tells.
func (c Coming) WithinBy(d civil.Date) (float64, bool) { return c.by(c.Within, d) }

// by is the chance by a day, false beyond the days that the forecast tells.
func (c Coming) by(within []float64, d civil.Date) (float64, bool) {
	i := d.Sub(c.From)
	if i < 0 || i >= len(within) {
		return 0, false
	}
	return within[i], true
}

// Chances at which the forecast moves a line. Common practice.
const (
	// ComesAt is the chance from which on the next round, or a release, is
	// brought forward.
	ComesAt = 0.5
	// waitsBelow lets a recount of a rising pest wait for the regular round.
	waitsBelow = 0.1
	// looksAt is the chance on whose first day the round is brought forward to.
	looksAt = 0.3
	// leastDays is how soon after a count another one tells anything new.
	leastDays = 2
	// winsBy is what a release must take off the chance to be worth bringing
	// forward.
	winsBy = 0.2
)

// sooner moves a regular round by what the forecast says: forward where the
// pest is likely to be over the level before it, or a recount of a rising pest
// back to it where that is unlikely.
func (b *builder) sooner(a *assess.Assessment, due Due) Due {
	c, ok := b.in.Coming[[2]string{a.Bed.Code, a.Pest.Key}]
	if !ok || a.Result.Verdict != verdict.Hold || c.From != a.Decider.Visit.Date || !due.By.After(b.in.Today) || due.Kind == "after" {
		return due
	}
	round := c.From.AddDays(a.Pest.EveryDays)
	if p, ok := c.by(c.Within, due.By); ok && p >= ComesAt && c.Within[0] < ComesAt {
		for d := c.From.AddDays(leastDays); d.Before(due.By); d = d.AddDays(1) {
			if q, _ := c.by(c.Within, d); q >= looksAt {
				return Due{a, d, fmt.Sprintf("could be over the action level before the next round: %s by %s", forecast.Chance(p), due.By.Short()), "coming", 0}
			}
		}
		return due
	}
	if p, ok := c.by(c.Within, round); ok && p < waitsBelow && due.Kind == "recount" && due.By.Before(round) {
		return Due{a, round, fmt.Sprintf("rising, but it can wait for the round: %s to be over the action level by then", forecast.Chance(p)), "round", 0}
	}
	return due
}

// forward says whether a release is to be ordered now although the counts do
// not ask for one yet: the pest is likely to pass the level, and with the
// natural enemies out it is less likely by much.
func (b *builder) forward(a *assess.Assessment, agent string) (words string, ok bool) {
	c, has := b.in.Coming[[2]string{a.Bed.Code, a.Pest.Key}]
	if !has || c.Agent != agent || a.Decider == nil || c.From != a.Decider.Visit.Date {
		return "", false
	}
	last := min(len(c.Within), len(c.Over), len(c.With)) - 1
	if last < 0 {
		return "", false
	}
	without, with := c.Over[last], c.With[last]
	words = fmt.Sprintf("%s: with %s out on %s it could be over the action level on %s with a chance of %s, without them of %s",
		a.Bed.Code, c.Name, c.Let.Short(), c.From.AddDays(last).Short(), forecast.Chance(with), forecast.Chance(without))
	return words, c.Within[last] >= ComesAt && without-with >= winsBy
}

// comingFacts says by what a forecast has moved a line.
func (b *builder) comingFacts(due Due) []string {
	if due.Kind != "coming" {
		return nil
	}
	c := b.in.Coming[[2]string{due.Assessment.Bed.Code, due.Assessment.Pest.Key}]
	p, _ := c.by(c.Within, due.By)
	return []string{fmt.Sprintf("the forecast from the count of %s: %s to have been over the action level by %s; a round comes forward where that is even or likelier before it, to the first day with 3 in 10 (common practice)",
		c.From, forecast.Chance(p), due.By)}
}
