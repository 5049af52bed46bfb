package week

import (
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/schedule"
)

// How a release has turned out, as far as it was looked at.
const (
	settled = "settled"
	failed  = "not settled"
	open    = "not judged yet"
)

// settling is what the answers say of an agent in a bed.
type settling struct {
	state    string // "" where nobody has looked
	on       civil.Date
	release  farm.Release // the one that the state is of
	failures int          // releases of the season that did not settle
	words    string
}

// settling reads the answers on an agent in a bed, release by release: the
// last answer before the next release counts. That it has settled is counted
// on for agentDays.
func (b *builder) settling(bed, pest, agent string, offer AgentOffer) settling {
	var s settling
	all := b.releasesOf(bed, pest, agent)
	for i, r := range all {
		before := civil.Date{}
		if i+1 < len(all) {
			before = all[i+1].Date
		}
		d, ok := b.answer(r, before)
		switch {
		case !ok && s.state == failed, !ok && s.state == open:
			s.state = "" // let out again, and not looked at since
		case ok:
			s.state, s.words = judge(d, r, offer)
			s.on, s.release = d.Date, r
			if s.state == failed {
				s.failures++
			}
		}
	}
	if s.state == settled && b.in.Today.Sub(s.on) > agentDays {
		s.state = ""
	}
	return s
}

// Settled says what was seen of one release by a day: neither yes nor
// no where nobody has looked or it is too early to tell.
func Settled(r farm.Release, all []farm.Release, done []farm.Done, today civil.Date, checkDays []int, successPct *float64) (yes, no bool, words string) {
	b := &builder{in: Input{Today: today, Releases: all, Done: done}}
	before := civil.Date{}
	for _, x := range b.releasesOf(r.Bed, r.Pest, r.Agent) {
		if x.Date.After(r.Date) {
			before = x.Date
			break
		}
	}
	d, ok := b.answer(r, before)
	if !ok {
		return false, false, ""
	}
	state, words := judge(d, r, AgentOffer{Rate: schedule.AgentRate{CheckDays: checkDays}, SuccessPct: successPct})
	return state == settled, state == failed, words
}

// releasesOf lists the releases of an agent against a pest in a bed by day.
func (b *builder) releasesOf(bed, pest, agent string) []farm.Release {
	var out []farm.Release
	for _, r := range b.in.Releases {
		if r.Bed == bed && r.Agent == agent && r.Pest == pest && !r.Date.After(b.in.Today) {
			out = append(out, r)
		}
	}
	slices.SortStableFunc(out, func(x, y farm.Release) int { return x.Date.Compare(y.Date) })
	return out
}

// answer is the last answer on a release that was given before the next one.
func (b *builder) answer(r farm.Release, before civil.Date) (farm.Done, bool) {
	var out farm.Done
	found := false
	for _, d := range b.in.Done {
		if d.Bed != r.Bed || d.Pest != r.Pest || d.Action != farm.Settled+r.Agent || d.Date.Before(r.Date) || d.Date.After(b.in.Today) ||
			!before.IsZero() && !d.Date.Before(before) {
			continue
		}
		if !found || d.Date.After(out.Date) || d.Date == out.Date && d.ID > out.ID {
			out, found = d, true
		}
	}
	return out, found
}

// judge says what an answer means. Where success is a share, it is the share
// that was counted; before the last day for looking a poor one is no failure.
func judge(d farm.Done, r farm.Release, offer AgentOffer) (state, words string) {
	late := len(offer.Rate.CheckDays) == 0 || d.Date.Sub(r.Date) >= slices.Max(offer.Rate.CheckDays)
	words = fmt.Sprintf("%s on %s", d.Outcome, d.Date.Short())
	if d.Seen != nil {
		words = fmt.Sprintf("found on %d of %d looked at on %s", d.Seen.With, d.Seen.Looked, d.Date.Short())
	}
	need := offer.SuccessPct
	enough := d.Outcome == farm.Found
	if need != nil {
		words += fmt.Sprintf("; success is %s %% or more", Number(*need))
		if d.Seen == nil && enough {
			return open, words + ", and the number looked at was not given"
		}
		enough = enough && 100*float64(d.Seen.With) >= *need*float64(d.Seen.Looked)
	}
	switch {
	case enough:
		return settled, words
	case late:
		return failed, words
	}
	return open, words
}

// whyNotSettled says what on record may have kept a release from settling:
// residues before and after it, the weather of its first week, the days.
func (b *builder) whyNotSettled(a *assess.Assessment, act Action, offer AgentOffer, s settling) []string {
	var out []string
	say := func(format string, args ...any) {
		out = appendNew(out, a.Bed.Code+": "+fmt.Sprintf(format, args...))
	}
	req := b.releaseRequest(a, offer)
	for _, r := range req.Residues {
		name := r.Active
		if name == "" {
			name = r.Label
		}
		switch {
		case r.Date.After(s.on):
		case !r.Known:
			say("what %s of %s does to it is not known", name, r.Date.Short())
		case r.Date.AddDays(r.WaitDays).After(s.release.Date):
			say("%s of %s can harm it for %s, and it was let out on %s", name, r.Date.Short(), dayWords(r.WaitDays), s.release.Date.Short())
		}
	}
	var unknown []string
	for _, g := range req.GatesOn(s.release.Date) {
		switch g.State {
		case schedule.Failed:
			say("%s", g.Words)
		case schedule.Open:
			unknown = append(unknown, g.Name)
		}
	}
	if len(out) == 0 {
		say("no residue, weather or length of day on record explains it")
	}
	if len(unknown) > 0 {
		say("not known of its first week: %s", strings.Join(unknown, ", "))
	}
	return out
}

// holdLine says that a release has settled, so that no other one is called for.
func (b *builder) holdLine(a *assess.Assessment, act Action, offer AgentOffer, s settling) Line {
	return Line{
		Section: Avoid, Ref: "not:" + a.Pest.Key + ":settled:" + act.Agent, Pest: a.Pest.Key, PestName: a.Pest.Name, Beds: []string{a.Bed.Code},
		Head:    "No further release of " + offer.Rate.Name,
		Details: []string{a.Bed.Code + ": count " + a.Pest.Name + " and the natural enemies again, and keep sprays away that harm them"},
		Why:     fmt.Sprintf("%s: it has settled: %s", a.Bed.Code, s.words),
		Traces: []Trace{{Bed: a.Bed.Code, Assessment: a, Rule: fmt.Sprintf("natural enemies that have settled are counted on for %d days", agentDays),
			Facts: []string{fmt.Sprintf("release of %s on %s", s.release.Agent, s.release.Date), s.words}}},
	}
}

// stopLine says that a release did not settle and is not to be repeated.
func (b *builder) stopLine(a *assess.Assessment, act Action, offer AgentOffer, s settling) Line {
	rule := fmt.Sprintf("a release that did not settle is repeated at most %d times in a season", offer.Repeats)
	if offer.Repeats == 0 {
		rule = "nothing says that a release that did not settle may be repeated"
	}
	facts := append([]string{fmt.Sprintf("release of %s on %s", s.release.Agent, s.release.Date), s.words}, b.whyNotSettled(a, act, offer, s)...)
	return Line{
		Section: Avoid, Ref: "not:" + a.Pest.Key + ":stop:" + act.Agent, Pest: a.Pest.Key, PestName: a.Pest.Name, Beds: []string{a.Bed.Code},
		Head: "No further release of " + offer.Rate.Name, Why: fmt.Sprintf("%s: it did not settle: %s", a.Bed.Code, s.words),
		Details: append(b.whyNotSettled(a, act, offer, s), nonEmpty(prefixed("instead: ", offer.IfNot))...),
		Traces:  []Trace{{Bed: a.Bed.Code, Assessment: a, Rule: rule, Facts: facts}},
	}
}

// SettledWords says what the answers so far mean for a bed: hold, once more,
// stop, or look again.
func SettledWords(in Input, bed, pest, agent string) string {
	b := &builder{in: in}
	offers := in.Agents[agent]
	if len(offers) == 0 {
		return bed + ": noted; this agent is not offered here, so nothing follows from it"
	}
	s := b.settling(bed, pest, agent, offers[0])
	switch s.state {
	case settled:
		return fmt.Sprintf("%s: it has settled (%s): no further release; count the pest again", bed, s.words)
	case failed:
		next := "once more if the pest still calls for it; `leafturn week` and `why` say when, and what may have kept it from settling"
		if s.failures > offers[0].Repeats {
			next = strings.Join(nonEmpty("no further release of it this season", offers[0].IfNot), "; ")
		}
		return fmt.Sprintf("%s: it did not settle (%s): %s", bed, s.words, next)
	case open:
		for _, n := range offers[0].Rate.CheckDays {
			if d := s.release.Date.AddDays(n); d.After(s.on) {
				return fmt.Sprintf("%s: too early to tell (%s); look again on %s", bed, s.words, d.Short())
			}
		}
		return fmt.Sprintf("%s: it cannot be told from this (%s); give --count", bed, s.words)
	}
	return bed + ": noted"
}

func prefixed(prefix, words string) string {
	if words == "" {
		return ""
	}
	return prefix + words
}

// overdueDays is how long an answer is asked for after its day. Common practice.
const overdueDays = 14

// checks asks whether a release has taken, on the days the catalogue gives,
// until it is answered.
func (b *builder) checks(a *assess.Assessment, act Action) {
	offers := b.in.Agents[act.Agent]
	if len(offers) == 0 {
		return
	}
	rate := offers[0].Rate
	all := b.releasesOf(a.Bed.Code, a.Pest.Key, act.Agent)
	for i, r := range all {
		next := civil.Date{}
		if i+1 < len(all) {
			next = all[i+1].Date
		}
		d, answered := b.answer(r, next)
		if answered {
			if state, _ := judge(d, r, offers[0]); state == settled {
				continue
			}
		}
		for k, n := range rate.CheckDays {
			day, by := r.Date.AddDays(n), r.Date.AddDays(n)
			if answered && !d.Date.Before(day.AddDays(-1)) || day.After(b.in.Today.AddDays(horizonDays-1)) {
				continue
			}
			if day.Before(b.in.Today) {
				// Late: the next one stands for it where that is due as well.
				if b.in.Today.Sub(day) > overdueDays || k+1 < len(rate.CheckDays) && !r.Date.AddDays(rate.CheckDays[k+1]).After(b.in.Today.AddDays(horizonDays-1)) {
					continue
				}
				by = b.in.Today
			}
			how := "--found or --not-found"
			if offers[0].SuccessPct != nil {
				how = "--count WITH/LOOKED"
			}
			b.add(Line{
				Section: Scout, Ref: fmt.Sprintf("scout:%s:settled:%s", a.Pest.Key, act.Agent), Pest: a.Pest.Key, PestName: a.Pest.Name,
				Beds: []string{a.Bed.Code}, Head: "Look whether " + rate.Name + " has settled",
				Details: nonEmpty(rate.CheckFor),
				Why:     fmt.Sprintf("let out in %s on %s, %d days before", a.Bed.Code, r.Date.Short(), n), From: day, By: by,
				Record:  fmt.Sprintf("leafturn settled %s %s --pest %s %s", act.Agent, bedsHere, a.Pest.Key, how),
				Sources: []assess.Ref{{Basis: "common practice"}},
				Traces:  []Trace{{Bed: a.Bed.Code, Assessment: a, Rule: fmt.Sprintf("release of %s on %s, looked at after %d days", r.Agent, r.Date, n)}},
			})
		}
	}
}

// isCheck names the agent whose settling a line asks for, "" where it is none.
func isCheck(l Line) string {
	if parts := strings.Split(l.Ref, ":"); l.Section == Scout && len(parts) == 4 && parts[2] == "settled" {
		return parts[3]
	}
	return ""
}
