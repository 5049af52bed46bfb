package week

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/verdict"
)

// The days between rounds that are not in the catalogue. Common practice:
// recount near the line in 2 to 4 days, after a step in 5 to 7, and twice a
// week while a pest that has reached the watch level is rising.
const (
	recountDays   = 3
	afterStepDays = 7
	risingDays    = 4
	horizonDays   = 7 // a line is on this week's list when due within so many days
)

// Due is one bed and pest that is to be scouted, and when.
type Due struct {
	Assessment *assess.Assessment
	By         civil.Date
	Reason     string // why now
	Kind       string // recount, confirm, after, round, never, coming
	More       int    // units that would probably settle it, 0 for no such number
}

// DueOn returns the day by which a bed and pest must be scouted again, and
// why; ok is false where it need not be: out of season, or never counted (see
// neverCounted, which asks for one bed a block).
func (b *builder) dueOn(a *assess.Assessment) (Due, bool) {
	due, ok := b.usuallyDue(a)
	if ok {
		due = b.sooner(a, due)
	}
	return due, ok
}

func (b *builder) usuallyDue(a *assess.Assessment) (Due, bool) {
	if !a.InSeason || a.Decider == nil {
		return Due{}, false
	}
	last := a.Decider.Visit.Date
	step, stepped := b.lastStep(a.Bed.Code, a.Pest.Key, last)
	switch {
	case a.Result.Verdict == verdict.LookAgain:
		in := a.Result.RecheckInDays
		if in <= 0 {
			in = recountDays
		}
		kind := "recount"
		if a.ToConfirm != nil {
			kind = "confirm"
		}
		return Due{a, last.AddDays(in), againWords(*a), kind, a.Result.MoreUnits}, true
	case stepped:
		return Due{a, step.AddDays(afterStepDays), "to see whether the step of " + step.Short() + " worked", "after", 0}, true
	case a.Result.Verdict == verdict.Act:
		return Due{a, last.AddDays(min(a.Pest.EveryDays, afterStepDays)), "over the action level at the last count", "after", 0}, true
	case a.Rising() && a.Decider.Watch != nil && (a.Result.Watched || a.Decider.Value >= a.Decider.Watch.Value):
		return Due{a, last.AddDays(min(a.Pest.EveryDays, risingDays)), "rising and at the watch level", "recount", 0}, true
	case a.Result.Verdict == verdict.Stale:
		return Due{a, last.AddDays(a.Pest.EveryDays), fmt.Sprintf("last counted %d days ago", a.Age()), "round", 0}, true
	default:
		in := a.Pest.EveryDays
		if r := a.Result.RecheckInDays; r > 0 {
			in = min(in, r)
		}
		why := "the regular round"
		if a.Result.Rule == verdict.RuleEnemies {
			why = "to see whether natural enemies still hold"
		}
		return Due{a, last.AddDays(in), why, "round", 0}, true
	}
}

// againWords says why the verdict is to look again.
func againWords(a assess.Assessment) string {
	switch a.Result.Rule {
	case verdict.RuleInvalid:
		if !a.Decider.Valid() {
			return "the last count is not valid: " + a.Decider.Invalid[0]
		}
	case verdict.RuleUnnoted:
		return "a low count, but a condition that it must have was not noted"
	case verdict.RuleNear:
		return "too near the action level to judge"
	case verdict.RuleTooFew:
		return "too few units were looked at"
	case verdict.RuleNotFound:
		return "none found, but a sample cannot rule it out: walk every plant"
	case verdict.RuleNone:
		return "none found, but so few cannot rule out a level so low"
	case verdict.RuleDamage:
		return "over the level in numbers; look whether there is damage as well"
	case verdict.RuleConfirm:
		return "to be confirmed before anything is done"
	case verdict.RuleSigns:
		return "signs did not show well on the last walk"
	case verdict.RuleUnits:
		return "counted by a unit that the action level is not for"
	}
	return "the last count does not settle it"
}

// moreWords says how many more units would settle a verdict, and how surely.
func moreWords(a *assess.Assessment, n int, u assess.Unit) string {
	if a.Result.Rule == verdict.RuleTooFew {
		return fmt.Sprintf("%s: at least %d more %s for a verdict", a.Bed.Code, n, assess.Plural(u.Label, n))
	}
	many := fmt.Sprintf("%s: about %d more %s would", a.Bed.Code, n, assess.Plural(u.Label, n))
	if p := a.Result.SettleChance; p > 0 {
		return fmt.Sprintf("%s settle it with a chance of %.0f %%", many, 100*p)
	}
	return many + " probably settle it"
}

// lastStep returns the last day, on or after since, on which something was
// done against the pest in the bed.
func (b *builder) lastStep(bed, pest string, since civil.Date) (civil.Date, bool) {
	var best civil.Date
	see := func(d civil.Date) {
		if !d.Before(since) && d.After(best) {
			best = d
		}
	}
	for _, t := range b.in.Treatments {
		if t.Bed == bed && t.Pest == pest {
			see(t.Date)
		}
	}
	for _, r := range b.in.Releases {
		if r.Bed == bed && r.Pest == pest {
			see(r.Date)
		}
	}
	for _, d := range b.in.Done {
		if d.Bed == bed && d.Pest == pest && !d.Date.After(b.in.Today) && b.isStep(d) {
			see(d.Date)
		}
	}
	return best, !best.IsZero()
}

// isStep reports whether what was done should show in the next count. The
// catalogue's prevention is kept up all season and its biological control is
// noted when the animals are ordered; neither is a step to be judged yet.
func (b *builder) isStep(d farm.Done) bool {
	return slices.ContainsFunc(b.in.Actions[d.Pest], func(x Action) bool {
		return x.Key == d.Action && x.Rung >= Cultural && x.Rung != Biological
	})
}

// scouting adds what is due within the week, grouped by pest and reason.
func (b *builder) scouting() {
	for i := range b.in.Assessments {
		a := &b.in.Assessments[i]
		due, ok := b.dueOn(a)
		if !ok || due.By.After(b.in.Today.AddDays(horizonDays-1)) {
			continue
		}
		b.add(b.scoutLine(due))
	}
	for _, due := range b.neverCounted() {
		b.add(b.scoutLine(due))
	}
}

func (b *builder) scoutLine(due Due) Line {
	a := due.Assessment
	u := a.Pest.Units[0]
	if a.Decider != nil {
		u = *a.Decider.Unit
	}
	by := due.By
	if by.Before(b.in.Today) {
		by = b.in.Today
	}
	head := fmt.Sprintf("%s: %d %s a bed", upperFirst(a.Pest.Name), u.Wanted, plural(u.Label))
	if u.Wanted <= 0 {
		head = fmt.Sprintf("%s: every %s of the bed", upperFirst(a.Pest.Name), u.Label)
	}
	where := bedWhere(due)
	details := nonEmpty(where, u.How)
	if w := u.ValidWhen(); w != "" {
		details = append(details, "valid only when "+w)
	}
	if a.Decider != nil && a.Decider.Density != nil && a.Decider.Density.Outlier {
		details = append(details, fmt.Sprintf("%s: %s", a.Bed.Code, OutlierWords(a.Decider.Density.OutlierUnit, a.Decider.Density.Max)))
	}
	if due.Kind == "after" {
		details = append(details, b.treatedWords(a)...)
	}
	if due.Kind == "coming" {
		details = append(details, fmt.Sprintf("%s: `leafturn forecast %s %s` gives the days, and what could be done", a.Bed.Code, a.Pest.Key, a.Bed.Code))
	}
	if due.More > 0 {
		details = append(details, moreWords(a, due.More, u))
	}
	record := fmt.Sprintf("leafturn count BED %s COUNTS...", a.Pest.Key)
	if c := a.ToConfirm; c != nil {
		head = fmt.Sprintf("%s: look for %s before acting", upperFirst(a.Pest.Name), c.Words)
		if c.Area != "" {
			record = "leafturn farm set --area " + c.Area
			details = nonEmpty(c.How+":", record)
		} else {
			record = fmt.Sprintf("leafturn did %s confirmed %s", a.Pest.Key, bedsHere)
			details = nonEmpty(c.How, "found, which holds for the season: "+record, fmt.Sprintf("not found: leafturn did %s not-confirmed %s", a.Pest.Key, bedsHere))
		}
	}
	return Line{
		Section: Scout, Ref: fmt.Sprintf("scout:%s:%s:%s:%s", a.Pest.Key, u.Key, due.Kind, refWord(due.Reason)),
		Pest: a.Pest.Key, PestName: a.Pest.Name, Beds: []string{a.Bed.Code},
		Head: head, Details: details, Why: due.Reason, From: b.in.Today, By: by,
		Record:  record,
		Sources: []assess.Ref{u.Ref},
		Traces:  []Trace{{Bed: a.Bed.Code, Assessment: a, Rule: fmt.Sprintf("%s: due by %s, %s", a.Pest.Name, due.By, due.Reason), Facts: b.comingFacts(due)}},
	}
}

// treatedWords says of the products used since the deciding count when their
// labels allow them again.
func (b *builder) treatedWords(a *assess.Assessment) []string {
	var out []string
	for _, t := range b.in.Treatments {
		if t.Bed != a.Bed.Code || t.Pest != a.Pest.Key || t.Date.Before(a.Decider.Visit.Date) {
			continue
		}
		if l, ok := b.in.Versions[t.ID]; ok {
			out = append(out, nonEmpty(b.againFrom(a, l, t.Date))...)
		}
	}
	return out
}

// refWord makes a reason fit into a line's stable name.
func refWord(reason string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(reason), func(r rune) bool {
		return (r < 'a' || r > 'z') && (r < '0' || r > '9')
	}), "-")
}

func bedWhere(d Due) string {
	if d.Kind == "never" {
		return "where: spread over the bed; any one bed of the block will do to begin with"
	}
	return ""
}

// neverCounted asks for one bed of each block in which no bed has been
// counted for a pest in season. The bed with the most plants stands for its
// block, the first by code where several do.
func (b *builder) neverCounted() []Due {
	type key struct{ block, pest string }
	counted := map[key]bool{}
	pick := map[key]*assess.Assessment{}
	var order []key
	for i := range b.in.Assessments {
		a := &b.in.Assessments[i]
		k := key{a.Bed.Block, a.Pest.Key}
		if a.Decider != nil {
			counted[k] = true
			continue
		}
		if !a.InSeason {
			continue
		}
		p, ok := pick[k]
		if !ok {
			order = append(order, k)
		}
		if !ok || a.Bed.Plants > p.Bed.Plants || a.Bed.Plants == p.Bed.Plants && cmp.Compare(a.Bed.Code, p.Bed.Code) < 0 {
			pick[k] = a
		}
	}
	var out []Due
	for _, k := range order {
		if counted[k] {
			continue
		}
		why := "no bed of the block has been counted this season"
		if k.block == "" {
			why = "no bed has been counted this season"
		}
		out = append(out, Due{pick[k], b.in.Today.AddDays(horizonDays - 1), why, "never", 0})
	}
	return out
}

// Upcoming returns, for every bed and pest in season, the day by which it is
// to be scouted again, earliest first. It is what the command `due` shows.
func Upcoming(in Input) []Due {
	b := &builder{in: in}
	var out []Due
	for i := range in.Assessments {
		if d, ok := b.dueOn(&in.Assessments[i]); ok {
			out = append(out, d)
		}
	}
	out = append(out, b.neverCounted()...)
	slices.SortStableFunc(out, func(x, y Due) int {
		return cmp.Or(x.By.Compare(y.By),
			cmp.Compare(x.Assessment.Pest.Name, y.Assessment.Pest.Name),
			cmp.Compare(x.Assessment.Bed.Code, y.Assessment.Bed.Code))
	})
	return out
}
