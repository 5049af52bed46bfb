package companion

import (
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/pattern"
)

// Days is a run of days, both ends included.
type Days struct{ From, To civil.Date }

// Len is the number of days; 0 or less for none.
func (d Days) Len() int { return d.To.Sub(d.From) + 1 }

// SowWindow is when a plant may be sown, as far as its text could be read.
type SowWindow struct {
	Spans        []MonthSpan
	AfterFrost   bool // from FrostDays after the average last frost
	FrostDays    int
	BeforePlant  bool // so many days before the dahlias are planted
	PlantDays    int
	EveryMin     int // days between sowings for steady bloom; 0: one sowing
	EveryMax     int
	Until        civil.MonthDay // resown until then; zero is not said
	PlantOut     bool           // the dates are of planting out, not of sowing
	RaiseMax     int            // days from sowing to planting out, where the text says them
	RaisedInPots bool
	Resown       bool // until the frost, where Until is not said
}

// MonthSpan is a run of days of the year.
type MonthSpan struct{ From, To civil.MonthDay }

var (
	oneMonth    = `(?:(early|late) )?` + monthWord
	spanRE      = pattern.New(`\b` + oneMonth + `(?: ?(?:to|-) ?` + oneMonth + `)?\b`)
	everyRE     = pattern.New(`every (\d{1,2})(?:-(\d{1,2}))? weeks(?: to (?:(early|late) )?` + monthWord + `)?`)
	afterRE     = pattern.New(`(?:from (\d{1,2}) weeks )?after last frost`)
	beforeRE    = pattern.New(`(\d{1,2}) weeks before dahlias? (?:planting|come in)`)
	raisedRE    = pattern.New(`\((?:\d{1,2}-)?(\d{1,2}) weeks old\)`)
	seasonWords = []struct {
		word string
		span MonthSpan
	}{ // the seasons of the weather service, north of the equator
		{"spring", months(time.March, time.May)},
		{"autumn", months(time.September, time.November)},
	}
)

// lateDay and earlyDay bound "late May" and "early Aug".
const lateDay, earlyDay = 21, 10

func months(from, to time.Month) MonthSpan {
	return MonthSpan{civil.MonthDay{Month: from, Day: 1}, lastOf(to)}
}

func lastOf(m time.Month) civil.MonthDay {
	return civil.MonthDay{Month: m, Day: civil.New(2027, m+1, 0).Day}
}

// ParseSowWindow reads a sowing window in the words of the facts, such as
// "Mar-Apr or Sept", "from 2 weeks after last frost, every 3-4 weeks to early
// Aug", "transplants Apr-May (6-7 weeks old); resow every 8-10 weeks" or "2
// weeks before dahlia planting". Spring is March to May, autumn September to
// November; February has 28 days. ok is false when it names no time.
func ParseSowWindow(text string) (w SowWindow, ok bool) {
	p := strings.ToLower(strings.TrimSpace(text))
	if m := raisedRE().FindStringSubmatch(p); m != nil {
		_, w.RaiseMax = days(m[1], "", "weeks")
	}
	w.Resown = strings.Contains(p, "resow")
	w.PlantOut = strings.Contains(p, "transplant")
	w.RaisedInPots = strings.Contains(p, "under cover") || strings.Contains(p, "in pots")
	if m := everyRE().FindStringSubmatch(p); m != nil {
		w.EveryMin, w.EveryMax = days(m[1], m[2], "weeks")
		if m[4] != "" {
			w.Until = lastOf(month(m[4]))
			if m[3] == "early" {
				w.Until.Day = earlyDay
			}
		}
		p = strings.Replace(p, m[0], "", 1)
	}
	if m := afterRE().FindStringSubmatch(p); m != nil {
		n, _ := strconv.Atoi(m[1]) // "" is 0
		w.AfterFrost, w.FrostDays = true, 7*n
	}
	if m := beforeRE().FindStringSubmatch(p); m != nil {
		n, _ := strconv.Atoi(m[1])
		w.BeforePlant, w.PlantDays = true, 7*n
	} else if strings.Contains(p, "before planting") {
		w.BeforePlant = true
	}
	for _, m := range spanRE().FindAllStringSubmatch(p, -1) {
		s := months(month(m[2]), month(m[2]))
		if m[1] == "late" {
			s.From.Day = lateDay
		} else if m[1] == "early" {
			s.To.Day = earlyDay
		}
		if m[4] != "" {
			s.To = lastOf(month(m[4]))
			if m[3] == "early" {
				s.To.Day = earlyDay
			}
		}
		w.Spans = append(w.Spans, s)
	}
	for _, x := range seasonWords {
		if strings.Contains(p, x.word) {
			w.Spans = append(w.Spans, x.span)
		}
	}
	return w, len(w.Spans) > 0 || w.AfterFrost || w.BeforePlant
}

// frostSpanDays is how long after its first day a plant that is sown after the
// last frost may still be sown, where the words name no end. Common practice.
const frostSpanDays = 42

// in returns the days of a year on which it may be sown, in order of their
// first, and why they are not known. raise is the days from sowing to planting
// out, -1 for not known.
func (w SowWindow) in(year int, s Season, raise int) (out []Days, why string) {
	switch {
	case w.AfterFrost && s.LastFrost.IsZero():
		return nil, "it is sown after the last frost, which is not known"
	case w.BeforePlant && s.LastFrost.IsZero():
		return nil, "it is sown before the dahlias are planted, and without the last frost that day is not known"
	case w.PlantOut && raise < 0:
		return nil, "its dates are of planting out, and how long it takes from sowing to that is not known"
	}
	if w.AfterFrost {
		from := s.LastFrost.In(year).AddDays(w.FrostDays)
		out = append(out, Days{from, from.AddDays(frostSpanDays)})
	}
	if w.BeforePlant {
		d := s.LastFrost.In(year).AddDays(s.PlantAfterFrost - w.PlantDays)
		out = append(out, Days{d.AddDays(-7), d})
	}
	for _, x := range w.Spans {
		d := Days{x.From.In(year), x.To.In(year)}
		if d.To.Before(d.From) {
			d.To = x.To.In(year + 1)
		}
		out = append(out, d)
	}
	if !w.Until.IsZero() {
		last := &out[len(out)-1]
		if u := w.Until.In(year); u.After(last.To) {
			last.To = u
		}
		if w.AfterFrost {
			out[0].To = w.Until.In(year)
		}
	}
	if w.Resown && w.EveryMin > 0 && w.Until.IsZero() && len(w.Spans) > 0 && !s.FirstFrost.IsZero() {
		// Resown as long as one round of bloom is left before the frost.
		if u := s.FirstFrost.In(year).AddDays(-w.EveryMin); u.After(out[len(out)-1].To) {
			out[len(out)-1].To = u
		}
	}
	if w.PlantOut {
		for i := range out {
			out[i].From, out[i].To = out[i].From.AddDays(-raise), out[i].To.AddDays(-raise)
		}
	}
	return out, ""
}
