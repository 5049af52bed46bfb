package app

import (
	"cmp"
	"context"
	"fmt"
	"strings"
	"time"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
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
		u = x.Decider.Unit
	}
	words := "look again by " + n.by(d).Short()
	switch {
	case x.ToConfirm != nil:
		return words + ": look for " + x.ToConfirm.Words + " before acting"
	case d.More > 0:
		return fmt.Sprintf("%s: %d more %s would probably settle it", words, d.More, unitPlural(u.Label, d.More))
	case u.Wanted > 0:
		return fmt.Sprintf("%s: %d %s", words, u.Wanted, unitPlural(u.Label, u.Wanted))
	}
	return words + ": every " + u.Label
}

// words say what to do next in one bed against one pest.
func (n nextSteps) words(x assess.Assessment) string {
	k := [2]string{x.Bed.Code, x.Pest.Key}
	var out []string
	say := func(format string, args ...any) {
		out = append(out, sentence(strings.TrimSuffix(fmt.Sprintf(format, args...), "."))+".")
	}
	if until, shut := n.closed[x.Bed.Code]; shut {
		if until.IsZero() {
			say("keep out: the bed is closed until the re-entry interval has been read off the label")
		} else {
			say("keep out until %s (re-entry)", until.In(n.loc).Format("Mon 2 Jan 15:04"))
		}
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
	case x.Result.Verdict == verdict.Act:
		say("act: `leafturn week` has what is allowed")
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
	case !x.InSeason:
		say("no count is due at this stage")
	}
	return strings.Join(out, " ")
}

// short is the next step in two or three words, for a small cell.
func (n nextSteps) short(x assess.Assessment) string {
	k := [2]string{x.Bed.Code, x.Pest.Key}
	day := func(d civil.Date) string {
		if !d.After(n.today) {
			return "today"
		}
		return "by " + d.Time().Format("2 Jan")
	}
	if l, ok := n.do[k]; ok && x.Result.Verdict == verdict.Act {
		return strings.TrimSpace("step " + day(cmp.Or(l.By, n.today)))
	}
	if d, ok := n.due[k]; ok {
		return "count " + day(d.By)
	}
	return ""
}

// foot lists the steps of several beds for the foot of a picture, those that
// cannot wait first.
func (n nextSteps) foot(list []assess.Assessment, most int) []string {
	type group struct {
		head, pest string
		by         civil.Date
		beds       []string
	}
	var order []string
	groups := map[string]*group{}
	add := func(pest, head string, by civil.Date, bed string) {
		k := pest + head + by.String()
		if groups[k] == nil {
			groups[k] = &group{head: head, pest: pest, by: by}
			order = append(order, k)
		}
		groups[k].beds = append(groups[k].beds, bed)
	}
	for _, x := range list {
		l, ok := n.do[[2]string{x.Bed.Code, x.Pest.Key}]
		if ok && x.Result.Verdict == verdict.Act {
			add(x.Pest.Name, strings.TrimSuffix(l.Head, "."), l.By, x.Bed.Code)
		}
	}
	for _, x := range list {
		d, ok := n.due[[2]string{x.Bed.Code, x.Pest.Key}]
		if ok && x.Result.Verdict == verdict.LookAgain {
			add(x.Pest.Name, "look again", n.by(d), x.Bed.Code)
		}
	}
	var out []string
	for _, k := range order {
		g := groups[k]
		when := ""
		if !g.by.IsZero() {
			when = ", by " + g.by.Short()
		}
		out = append(out, fmt.Sprintf("%s, bed %s: %s%s", sentence(g.pest), bedList(g.beds), lowerFirst(g.head), when))
	}
	if len(out) > most {
		out = append(out[:most-1], fmt.Sprintf("and %d more: `leafturn week`", len(out)-most+1))
	}
	return out
}

// bedList names up to ten beds.
func bedList(beds []string) string {
	if len(beds) > 10 {
		beds = append(beds[:9:9], fmt.Sprintf("%d more", len(beds)-9))
	}
	return strings.Join(beds, " ")
}

// plotVerdict is the verdict to print: none where the pest is out of season.
func plotVerdict(x assess.Assessment) plots.Verdict {
	if x.Result.Verdict == verdict.Stale && !x.InSeason {
		return plots.NoVerdict
	}
	return plots.Verdict(x.Result.Verdict)
}
