package companion

import (
	"fmt"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
)

// Bloom is a bloom window as far as its text could be read. Days are counted
// from sowing; zero values were not given.
type Bloom struct {
	NotAFlower         bool
	From, To           time.Month // calendar months, both included
	ToFrost            bool       // blooms until the first autumn frost
	DelayMin, DelayMax int        // days from sowing to bloom
	LastMin, LastMax   int        // days in bloom
	SecondYear         bool       // none in the year of sowing
	Rest               []string   // parts of the text that were not understood
}

const monthWord = `(jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sep(?:t(?:ember)?)?|oct(?:ober)?|nov(?:ember)?|dec(?:ember)?)`

var (
	monthsRE = regexp.MustCompile(`^` + monthWord + `(?: ?(?:to|-) ?(?:` + monthWord + `|(frost)))?$`)
	delayRE  = regexp.MustCompile(`^(?:about )?(\d{1,3})(?:-(\d{1,3}))? (days|weeks)( (?:after|from) sowing)?( to frost)?$`)
	lastsRE  = regexp.MustCompile(`^(?:lasts )?(\d{1,3})(?:-(\d{1,3}))? (days|weeks)$`)
)

// ParseBloom reads a bloom window in the words of the facts:
//
//	July to frost · June to Sept · May-June · May
//	50-60 days after sowing, 3-4 weeks · 8 weeks to frost
//	8-10 weeks, July to frost · not a flower · second year, June to Aug
//
// Parts it does not understand are kept in Rest. ok is false when neither
// months nor days nor "not a flower" was found: the window is not known.
func ParseBloom(text string) (b Bloom, ok bool) {
	for _, part := range strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ';' }) {
		part = strings.TrimSpace(part)
		p := strings.ToLower(part)
		switch m, d, l := monthsRE.FindStringSubmatch(p), delayRE.FindStringSubmatch(p), lastsRE.FindStringSubmatch(p); {
		case p == "not a flower":
			b.NotAFlower = true
		case p == "second year":
			b.SecondYear = true
		case m != nil && b.From == 0:
			b.From = month(m[1])
			switch {
			case m[3] != "":
				b.ToFrost = true
			case m[2] != "":
				b.To = month(m[2])
			default:
				b.To = b.From
			}
		case d != nil && b.DelayMax == 0:
			b.DelayMin, b.DelayMax = days(d[1], d[2], d[3])
			b.ToFrost = b.ToFrost || d[5] != ""
		case l != nil && b.DelayMax > 0 && b.LastMax == 0:
			b.LastMin, b.LastMax = days(l[1], l[2], l[3])
		case part != "":
			b.Rest = append(b.Rest, part)
		}
	}
	return b, b.NotAFlower || b.From > 0 || b.DelayMax > 0
}

func days(lo, hi, unit string) (int, int) {
	a, _ := strconv.Atoi(lo)
	z := a
	if hi != "" {
		z, _ = strconv.Atoi(hi)
	}
	if unit == "weeks" {
		a, z = 7*a, 7*z
	}
	return min(a, z), max(a, z)
}

func month(word string) time.Month {
	for m := time.January; m <= time.December; m++ {
		if strings.HasPrefix(strings.ToLower(m.String()), word[:3]) {
			return m
		}
	}
	return 0
}

// Sowing is a sowing window as far as its text could be read.
type Sowing struct {
	From       time.Month // sown from the first day of it; 0 when counted from the last frost
	FrostDays  int        // days after the average last spring frost, when From is 0
	EveryDays  int        // resown after so many days (the longest given), 0 for one sowing
	Until      time.Month // resown until this month
	EarlyUntil bool       // only to the 10th of Until
}

var (
	sowFromRE  = regexp.MustCompile(`^` + monthWord + `(?: ?(?:to|-) ?` + monthWord + `)?(?: |$)`)
	sowFrostRE = regexp.MustCompile(`^(?:from (\d{1,2}) weeks )?after last frost`)
	sowEveryRE = regexp.MustCompile(`every (\d{1,2})(?:-(\d{1,2}))? weeks(?: to (early )?` + monthWord + `)?`)
)

// ParseSowing reads a sowing window such as "Mar to June", "after last frost",
// "Apr to July every 4 weeks" or "from 2 weeks after last frost, every 3-4
// weeks to early Aug". ok is false for other words ("spring").
func ParseSowing(text string) (s Sowing, ok bool) {
	p := strings.ToLower(strings.TrimSpace(text))
	if m := sowFrostRE.FindStringSubmatch(p); m != nil {
		n, _ := strconv.Atoi(m[1]) // "" is 0
		s.FrostDays = 7 * n
	} else if m := sowFromRE.FindStringSubmatch(p); m != nil {
		s.From = month(m[1])
		if m[2] != "" {
			s.Until = month(m[2])
		}
	} else {
		return Sowing{}, false
	}
	m := sowEveryRE.FindStringSubmatch(p)
	if m == nil {
		s.Until = 0
		return s, true
	}
	if m[4] != "" {
		s.Until, s.EarlyUntil = month(m[4]), m[3] != ""
	}
	if s.Until != 0 {
		_, s.EveryDays = days(m[1], m[2], "weeks")
	}
	return s, true
}

// dates returns the sowing days in a year: the first day of the window and,
// where it is resown, every EveryDays after it.
func (s Sowing) dates(year int, lastFrost civil.MonthDay) ([]civil.Date, bool) {
	var d civil.Date
	switch {
	case s.From != 0:
		d = civil.New(year, s.From, 1)
	case lastFrost.IsZero():
		return nil, false
	default:
		d = lastFrost.In(year).AddDays(s.FrostDays)
	}
	out := []civil.Date{d}
	if s.EveryDays > 0 {
		end := civil.New(year, s.Until+1, 0)
		if s.EarlyUntil {
			end = civil.New(year, s.Until, 10)
		}
		for d = d.AddDays(s.EveryDays); !d.After(end); d = d.AddDays(s.EveryDays) {
			out = append(out, d)
		}
	}
	return out, true
}

// Flower is a plant whose bloom counts for nectar cover. Sown is the day it is
// sown; zero takes the sowing window's words.
type Flower struct {
	Plant       string
	BloomWindow string
	SowWindow   string
	Sown        civil.Date
}

// span is a run of days, both ends included.
type span struct{ from, to civil.Date }

// spans returns the days in bloom of a flower in a year, or why they are not
// known. Windows in months run from the first of the first to the last of the
// last month or the first frost. Windows in days are taken cautiously: they
// begin after the longest delay given and end after the shortest delay and
// shortest bloom.
func (f Flower) spans(year int, lastFrost, firstFrost civil.MonthDay) ([]span, string) {
	b, ok := ParseBloom(f.BloomWindow)
	switch {
	case !ok && strings.TrimSpace(f.BloomWindow) == "":
		return nil, "no bloom window is given"
	case !ok:
		return nil, fmt.Sprintf("bloom window %q cannot be read", f.BloomWindow)
	case b.NotAFlower:
		return nil, ""
	case b.ToFrost && firstFrost.IsZero():
		return nil, "it blooms to the first frost, which is not known"
	case b.SecondYear && f.Sown.IsZero():
		return nil, "it blooms in its second year, and when it was sown is not known"
	case b.SecondYear && f.Sown.Year >= year:
		return nil, ""
	}
	frost := firstFrost.In(year)
	if b.From > 0 {
		s := span{civil.New(year, b.From, 1), frost}
		if !b.ToFrost {
			s.to = civil.New(year, b.To+1, 0)
		}
		if s.to.Before(s.from) {
			return nil, fmt.Sprintf("bloom window %q ends before it begins", f.BloomWindow)
		}
		return []span{s}, ""
	}
	if b.LastMax == 0 && !b.ToFrost {
		return nil, fmt.Sprintf("bloom window %q does not say how long it blooms", f.BloomWindow)
	}
	sown := []civil.Date{f.Sown}
	if f.Sown.IsZero() {
		s, ok := ParseSowing(f.SowWindow)
		if !ok {
			return nil, fmt.Sprintf("sowing window %q cannot be read", f.SowWindow)
		}
		if sown, ok = s.dates(year, lastFrost); !ok {
			return nil, "it is sown after the last frost, which is not known"
		}
	}
	var out []span
	for _, d := range sown {
		s := span{d.AddDays(b.DelayMax), d.AddDays(b.DelayMin + b.LastMin - 1)}
		if b.ToFrost {
			s.to = frost
		}
		if !s.to.Before(s.from) {
			out = append(out, s)
		}
	}
	return out, ""
}

// MonthCover is one month of the season and the plants that bloom in it.
type MonthCover struct {
	Month  time.Month
	Plants []string // by name
}

// NectarCover is the season month by month. Gaps are the months in which no
// plant with a known window blooms; a plant in Unknown may still fill one.
type NectarCover struct {
	Months  []MonthCover
	Gaps    []time.Month
	Unknown []string // "plant: why its bloom is not known", by name
}

// bloomDays is how many days of a month a plant must bloom to cover it (common
// practice, this tool's own cut-off).
const bloomDays = 14

// Nectar returns which months of a season (from..to, in one year) have flowers
// for natural enemies, and the gaps. A month counts as covered by a plant that
// blooms on 14 days of it or more. Frost dates may be zero (not known); plants
// that need them are then unknown.
func Nectar(flowers []Flower, year int, from, to time.Month, lastFrost, firstFrost civil.MonthDay) NectarCover {
	var n NectarCover
	covers := map[time.Month][]string{}
	for _, f := range flowers {
		spans, why := f.spans(year, lastFrost, firstFrost)
		if why != "" {
			n.Unknown = appendNew(n.Unknown, f.Plant+": "+why)
			continue
		}
		for m := from; m <= to; m++ {
			count := 0
			for d := civil.New(year, m, 1); d.Month == m; d = d.AddDays(1) {
				for _, s := range spans {
					if !d.Before(s.from) && !d.After(s.to) {
						count++
						break
					}
				}
			}
			if count >= bloomDays {
				covers[m] = appendNew(covers[m], f.Plant)
			}
		}
	}
	for m := from; m <= to; m++ {
		sort.Strings(covers[m])
		n.Months = append(n.Months, MonthCover{m, covers[m]})
		if len(covers[m]) == 0 {
			n.Gaps = append(n.Gaps, m)
		}
	}
	sort.Strings(n.Unknown)
	return n
}
