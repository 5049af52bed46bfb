package monthplan

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/pattern"
)

// Part is the part of the day that a job needs.
type Part string

// The parts of the day. Their lengths are common practice.
const (
	AnyHour     Part = ""
	Dawn        Part = "dawn"         // from half an hour before sunrise to two hours after
	Morning     Part = "morning"      // from sunrise to 10:00
	Evening     Part = "evening"      // from two hours before sunset to one hour after
	AfterSunset Part = "after sunset" // from sunset to sunrise; never without the time of sunset
	Dark        Part = "dark"         // from two to three hours after sunset

	atDesk Part = "desk" // an hour for a call or a letter: no daylight is needed
)

// byClock are the hours of a part where sunrise and sunset are not known.
// Common practice.
var byClock = map[Part]Span{Dawn: {5 * 60, 8 * 60}, Morning: {6 * 60, 10 * 60}, Evening: {18 * 60, 21 * 60}, Dark: {22 * 60, 24 * 60}}

// Chore is a sort of step that other work waits for.
type Chore string

// The chores. Nothing is cut before the sick plants are out; nothing is let
// out or applied before them and before edges are mown and cleared. Common
// practice.
const (
	Plain Chore = ""
	Rogue Chore = "rogue" // take sick plants out
	Clear Chore = "clear" // mow, or clear weeds and litter
)

// Manner is how a step of the catalogue is to be done, as its words say.
type Manner struct {
	Part     Part
	Dry      bool // on a dry day
	Every    int  // days from one time to the next; 0 is once
	Again    Part // of the further times, where it is another
	Washes   bool // it takes natural enemies off the leaves with the pest
	Times    int  // at most so many times; 0 is no limit
	With     Kind // it goes with each job of this kind: cutting or watering
	Standing bool // it takes no hour of its own: it holds all the time
	Chore    Chore
}

var (
	everyDays  = pattern.New(`every (\d+)(?: to \d+)? days`)
	everyWeek  = pattern.New(`(\d+) weeks`)
	standing   = []string{"all season", "at planning", "until clean", "while shoots are short", "bloom", "hot spells", "hot dry days", "before bud colour", "before thrips build up"}
	standsText = []string{"do not ", "leave ", "keep ", "hang no ", "take no ", "plant no ", "no "}
	rogueText  = []string{"bag and remove the plant", "bag and remove stunted", "bag and destroy"}
	clearText  = []string{"clear weeds", "clear boards", "clear chickweed", "mow "}
)

// ReadManner reads the words of a step: its text, and when it is done.
func ReadManner(text, when string) Manner {
	t, w := strings.ToLower(text), strings.ToLower(when)
	has := func(s string, words ...string) bool {
		return slices.ContainsFunc(words, func(x string) bool { return strings.Contains(s, x) })
	}
	begins := func(list []string) bool {
		return slices.ContainsFunc(list, func(x string) bool { return strings.HasPrefix(t, x) })
	}
	var m Manner
	switch {
	case has(w, "after dark"):
		m.Part = Dark
	case has(w, "bees gone", "bees stop"):
		m.Part = AfterSunset
	case has(w, "dusk", "evening"):
		m.Part = Evening
	case has(w, "dawn"):
		m.Part = Dawn
	case has(w, "morning", "before 10:00"):
		m.Part = Morning
	}
	m.Dry = has(w, "dry morning")
	switch {
	case has(t, "every morning", "each morning"):
		m.Every = 1
	case everyDays().MatchString(t):
		m.Every, _ = strconv.Atoi(everyDays().FindStringSubmatch(t)[1])
	case has(w, "twice a week"):
		m.Every = 3
	case has(w, "weekly"):
		m.Every = 7
	}
	if m.Every == 1 && m.Part != Morning && m.Part != Dawn {
		m.Again = Morning // set in the evening, emptied in the morning
	}
	m.Washes = has(t, "water jet")
	if n := everyWeek().FindStringSubmatch(w); m.Every == 7 && n != nil {
		m.Times, _ = strconv.Atoi(n[1])
	}
	switch {
	case has(w, "each cut", "every cut", "at harvest"):
		m.With = Cutting
	case has(w, "each watering"):
		m.With = Watering
	case slices.Contains(standing, w), begins(standsText) && w != "on sight":
		m.Standing = true
	}
	switch {
	case begins(rogueText):
		m.Chore = Rogue
	case begins(clearText):
		m.Chore = Clear
	}
	return m
}

// stretch is a time from one instant to another.
type stretch struct{ from, to time.Time }

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

func (s stretch) holds(start, end time.Time) bool { return !start.Before(s.from) && !end.After(s.to) }

// parts are the stretches of a part that touch a day; none where sunset is
// needed and not known.
func (p *planner) parts(part Part, d civil.Date) []stretch {
	day := stretch{p.at(d, 0), p.at(d.AddDays(1), 0)}
	if part == AnyHour || part == atDesk {
		u := p.in.Usual
		if u.To <= 0 {
			return []stretch{day}
		}
		usual := stretch{p.at(d, u.From), p.at(d, u.To)}
		if sun, known := p.in.Sun[d]; known && part == AnyHour {
			light := stretch{later(usual.from, sun[0]), usual.to}
			if sun[1].Before(light.to) {
				light.to = sun[1]
			}
			if light.to.Sub(light.from) >= time.Hour {
				return []stretch{light}
			}
		}
		return []stretch{usual}
	}
	var out []stretch
	for _, x := range []civil.Date{d.AddDays(-1), d} { // the night of the day before reaches into this one
		sun, known := p.in.Sun[x]
		if !known {
			if s, ok := byClock[part]; ok && x == d {
				out = append(out, stretch{p.at(d, s.From), p.at(d, s.To)})
			}
			continue
		}
		rise, set := sun[0], sun[1]
		var s stretch
		switch part {
		case Dawn:
			s = stretch{rise.Add(-30 * time.Minute), rise.Add(2 * time.Hour)}
		case Morning:
			s = stretch{rise, p.at(x, 10*60)}
		case Evening:
			s = stretch{set.Add(-2 * time.Hour), set.Add(time.Hour)}
		case AfterSunset:
			next, ok := p.in.Sun[x.AddDays(1)]
			if !ok {
				continue
			}
			s = stretch{set, next[0]}
		case Dark:
			s = stretch{set.Add(2 * time.Hour), set.Add(3 * time.Hour)}
		}
		out = append(out, s)
	}
	// Where no hours were given, nobody is called out before the usual ones
	// for a part that reaches into them.
	if u := p.in.Usual; u.To > 0 {
		for i, s := range out {
			from, to := p.at(d, u.From), p.at(d, u.To)
			if s.from.Before(from) && s.to.After(from.Add(time.Hour)) {
				out[i].from = from
			}
			if s.from.Before(to.Add(-time.Hour)) && s.to.After(to) {
				out[i].to = to
			}
		}
	}
	return out
}

const freeDay = " is no working day"

// hourWords says why no hour was found for a part of the day.
func (p *planner) hourWords(part Part, d civil.Date) string {
	switch {
	case len(p.in.Hours[d.Weekday()]) == 0:
		return d.Weekday().String() + freeDay
	case part == AnyHour:
		return "no working hour is free"
	}
	list := p.parts(part, d)
	if len(list) == 0 {
		return fmt.Sprintf("it needs the hours %s, and sunset is not known: give the farm its place with `leafturn farm set --at`", part)
	}
	s := list[len(list)-1]
	clock := func(t time.Time) string { return t.In(p.in.Zone).Format("15:04") }
	return fmt.Sprintf("it needs the %s (%s to %s on %s), and no working hour is free then: give such hours with --days", partWords(part), clock(s.from), clock(s.to), d.Short())
}

func partWords(part Part) string {
	switch part {
	case Dark:
		return "dark, two to three hours after sunset"
	case AfterSunset:
		return "night, from sunset on"
	}
	return string(part)
}

// partWhy says which part of the day binds a job, "" when none does.
func (p *planner) partWhy(part Part, d civil.Date) string {
	if part == AnyHour {
		return ""
	}
	w := "in the " + partWords(part) + ", as the step asks"
	if _, known := p.in.Sun[d]; !known {
		w += " (by the clock: sunrise and sunset are not known)"
	}
	return w
}

// starts calls try with each free stretch of the length in a part of a day, in
// order of time, until it returns true.
func (p *planner) starts(d civil.Date, minutes int, part Part, try func(start, end time.Time) bool) bool {
	spans := slices.Clone(p.in.Hours[d.Weekday()])
	slices.SortFunc(spans, func(a, b Span) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To)) })
	within := p.parts(part, d)
	for _, s := range spans {
		for m := s.From; m+minutes <= s.To; m += grid {
			start := p.at(d, m)
			end := start.Add(time.Duration(minutes) * time.Minute)
			if start.Before(p.in.Now) || !p.inside(s, d, start, end) || p.busy(start, end) {
				continue
			}
			if !slices.ContainsFunc(within, func(x stretch) bool { return x.holds(start, end) }) {
				continue
			}
			if try(start, end) {
				return true
			}
		}
	}
	return false
}
