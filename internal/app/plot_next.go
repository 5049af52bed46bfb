package app

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/verdict"
	"leafturn/internal/week"
	"leafturn/plots"
)

// nextSteps is what the week's list and the due rounds ask for, for pictures.
type nextSteps struct {
	today  civil.Date
	do     map[[2]string]week.Line // the first step above prevention, by bed and pest
	due    map[[2]string]week.Due
	closed map[string]time.Time // by bed: until when, zero where nobody has read it
	loc    *time.Location
}

// onlyOf is a snapshot with the visits of one pest alone.
func onlyOf(s snapshot, pest string) snapshot {
	s.visits, s.byPest = s.byPest[pest], map[string][]farm.Visit{pest: s.byPest[pest]}
	return s
}

// nextFor works them out for assessments of one pest, with as many more units
// as the week's list asks for.
func (a *App) nextFor(ctx context.Context, s snapshot, pest string, list []assess.Assessment) (nextSteps, error) {
	if err := a.settleNear(s, list); err != nil {
		return nextSteps{}, err
	}
	return a.nextOf(ctx, onlyOf(s, pest), list)
}

// nextOf works them out for assessments of some pests.
func (a *App) nextOf(ctx context.Context, s snapshot, list []assess.Assessment) (nextSteps, error) {
	n := nextSteps{today: s.on, do: map[[2]string]week.Line{}, due: map[[2]string]week.Due{}, closed: map[string]time.Time{}, loc: a.loc}
	in, err := a.weekFacts(s, list)
	if err != nil {
		return n, err
	}
	if err := a.coming(ctx, s, &in); err != nil {
		return n, err
	}
	built := week.Build(in, nil)
	for _, l := range built.In(week.Do) {
		if l.Rung == week.Prevention || l.Rung == 0 {
			continue
		}
		for _, bed := range l.Beds {
			k := [2]string{bed, l.Pest}
			if old, ok := n.do[k]; !ok || l.Rung < old.Rung {
				n.do[k] = l
			}
		}
	}
	for _, d := range week.Upcoming(in) {
		n.due[[2]string{d.Assessment.Bed.Code, d.Assessment.Pest.Key}] = d
	}
	for _, c := range built.Closed {
		n.closed[c.Bed] = c.Until
	}
	return n, nil
}

// by is the day of a due round, today where it is past.
func (n nextSteps) by(d week.Due) civil.Date {
	if d.By.Before(n.today) {
		return n.today
	}
	return d.By
}

// look says by when to look again, and at how much.
func (n nextSteps) look(x assess.Assessment, d week.Due) string {
	u := x.Pest.Units[0]
	if x.Decider != nil {
		u = *x.Decider.Unit
	}
	words := "look again by " + n.by(d).Short() + ": "
	switch {
	case x.ToConfirm != nil:
		return words + "look for " + x.ToConfirm.Words + " before acting"
	case d.More > 0:
		return words + fmt.Sprintf("%d more %s would probably settle it", d.More, unitPlural(u.Label, d.More))
	case u.Wanted > 0:
		words += fmt.Sprintf("%d %s", u.Wanted, unitPlural(u.Label, u.Wanted))
	default:
		words += "every " + u.Label
	}
	if w := u.ValidWhen(); w != "" && x.Decider != nil && !x.Decider.Valid() {
		words += "; the last count was not valid: count only when " + w
	}
	return words
}

// keepOut says until when a bed is closed, "" where it is open.
func (n nextSteps) keepOut(bed string) string {
	until, shut := n.closed[bed]
	switch {
	case !shut:
		return ""
	case until.IsZero():
		return "keep out: the bed is closed until the re-entry interval has been read off the label"
	}
	return fmt.Sprintf("keep out until %s (re-entry)", until.In(n.loc).Format("Mon 2 Jan 15:04"))
}

// words say what to do next in one bed against one pest.
func (n nextSteps) words(x assess.Assessment) string {
	k := [2]string{x.Bed.Code, x.Pest.Key}
	var out []string
	say := func(format string, args ...any) {
		out = append(out, sentence(strings.TrimSuffix(fmt.Sprintf(format, args...), "."))+".")
	}
	if w := n.keepOut(x.Bed.Code); w != "" {
		say("%s", w)
	}
	line, step := n.do[k]
	due, round := n.due[k]
	first := round && x.Result.Verdict == verdict.LookAgain
	if first {
		say("%s", n.look(x, due))
	}
	switch {
	case step && line.By.IsZero():
		say("%s", line.Head)
	case step:
		say("by %s: %s", line.By.Short(), lowerFirst(line.Head))
	case x.Result.Verdict == verdict.Act && n.do == nil:
		say("over the level at the last count")
	case x.Result.Verdict == verdict.Act:
		say("act: `leafturn week` has what is allowed")
	case dugOver(x):
		say("the season is over: the plants were dug on %s, and no count is due", x.StageSince.Short())
	case x.Result.Verdict == verdict.Hold:
		say("nothing to do now")
	case x.Result.Verdict == verdict.Stale:
		say("the last count is too old to go by")
	case x.Result.Verdict == verdict.NeverCounted:
		say("not counted this season")
	}
	switch {
	case first:
	case round:
		say("%s", n.look(x, due))
	case !x.InSeason && !dugOver(x):
		say("no count is due at this stage")
	}
	return strings.Join(out, " ")
}

// short is the next step in two or three words, for a small cell.
func (n nextSteps) short(x assess.Assessment) string {
	k := [2]string{x.Bed.Code, x.Pest.Key}
	if _, shut := n.closed[x.Bed.Code]; shut {
		return "keep out now"
	}
	day := func(d civil.Date) string {
		if !d.After(n.today) {
			return "today"
		}
		return "by " + d.Time().Format("2 Jan")
	}
	if l, ok := n.do[k]; ok && x.Result.Verdict == verdict.Act {
		return "act " + day(cmp.Or(l.By, n.today))
	}
	if d, ok := n.due[k]; ok {
		return "count " + day(d.By)
	}
	return ""
}

// dugOver reports whether the season of a pest is over in a bed.
func dugOver(x assess.Assessment) bool { return x.Stage == farm.Dug && !x.InSeason }

// todo lists the steps of several beds for the foot of a picture: what a
// verdict to act asks for, then what is to be looked at again, each by its day.
func (n nextSteps) todo(list []assess.Assessment) []plots.Todo {
	type step struct {
		plots.Todo
		by    civil.Date
		again bool
	}
	var steps []step
	at := map[string]int{}
	add := func(x assess.Assessment, words string, by civil.Date, again bool) {
		if !by.IsZero() {
			words += ", by " + by.Short()
		}
		if w := n.keepOut(x.Bed.Code); w != "" {
			words += "; first " + w
		}
		i, ok := at[x.Pest.Key+words]
		if !ok {
			i = len(steps)
			at[x.Pest.Key+words] = i
			steps = append(steps, step{plots.Todo{Pest: x.Pest.Name, Words: words}, by, again})
		}
		steps[i].Beds = append(steps[i].Beds, x.Bed.Code)
	}
	for _, x := range list {
		k := [2]string{x.Bed.Code, x.Pest.Key}
		line, ok := n.do[k]
		if ok && x.Result.Verdict == verdict.Act {
			add(x, lowerFirst(strings.TrimSuffix(line.Head, ".")), line.By, false)
		}
		due, ok := n.due[k]
		if ok && (x.Result.Verdict == verdict.LookAgain || x.Result.Verdict == verdict.Stale) {
			add(x, "look again", n.by(due), true)
		}
	}
	slices.SortStableFunc(steps, func(x, y step) int {
		return cmp.Or(boolOrder(x.again, y.again), civil.CompareDeadline(x.by, y.by))
	})
	var out []plots.Todo
	for _, s := range steps {
		out = append(out, s.Todo)
	}
	return out
}

// boolOrder puts false before true.
func boolOrder(x, y bool) int {
	switch {
	case x == y:
		return 0
	case y:
		return -1
	}
	return 1
}

// plotVerdict is the verdict to print: none where the pest is out of season
// and nothing is to be done about it.
func plotVerdict(x assess.Assessment) plots.Verdict {
	if x.Result.Verdict != verdict.Act && !x.InSeason {
		return plots.NoVerdict
	}
	return plots.Verdict(x.Result.Verdict)
}
