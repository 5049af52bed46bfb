package label

import (
	"fmt"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// OfLabel reports whether the rule stands on a label or in the law that binds
// its use. The farm's own interval and a missing note of the steps before a
// product do not: neither makes an application a breach of its label.
func (r Rule) OfLabel() bool {
	return r.Code != CodePractice && r.Code != CodeFarmInterval && r.Code != CodeLook && r.Code != CodeUnfit
}

// BreachCode returns the code of a breach in the words that Breaches gave it,
// "" when it has none that is known here.
func BreachCode(words string) string {
	code, _, _ := strings.Cut(words, ": ")
	if _, ok := aftermath[code]; ok {
		return code
	}
	return ""
}

// After is what is known of a bed after a breach, for Next.
type After struct {
	Bed     string
	Opens   time.Time // end of the re-entry interval; zero is unknown
	CutFrom civil.Date
	CutOpen bool       // no pre-harvest interval runs
	Again   civil.Date // first day on which the label allows more; zero is unknown or never
	Country string     // ISO 3166-1 alpha-2, "" is unknown
	Now     time.Time  // zero: what has passed is not told apart
	Loc     *time.Location
}

func (a After) loc() *time.Location {
	if a.Loc == nil {
		return time.UTC
	}
	return a.Loc
}

// past reports whether a day has come.
func (a After) past(d civil.Date) bool {
	return !a.Now.IsZero() && !civil.DateIn(a.Now, a.loc()).Before(d)
}

// aftermath says what to do after a breach, by its code. Common practice,
// the careful side each time; who is asked follows from who decides. That a
// certifier is told of a prohibited substance at once is 7 CFR 205.400(f),
// from memory.
var aftermath = map[string]func(After) string{
	CodeClosed: func(a After) string {
		return a.keepOut() + "; whoever went in while it was closed and feels ill goes to a doctor with the label"
	},
	CodePHI:       After.noCut,
	CodeRate:      After.tooMuch,
	CodeInterval:  After.noMore,
	CodeApart:     func(a After) string { return a.noMore() + ", and look at the plants for burnt leaves" },
	CodeWindow:    After.noMore,
	CodeMaxCount:  After.noMore,
	CodeMaxYear:   After.noMore,
	CodeMaxAmount: After.tooMuch,
	CodeMaxActive: After.tooMuch,
	CodeSeason:    After.noMore,
	CodeUnits: func(a After) string {
		return "find out how much was used, and put no more on " + a.Bed + " before that"
	},
	CodeSite: func(a After) string { return "do not cut or sell from " + a.Bed + " before you have asked; " + a.ask() },
	CodePest: func(a After) string { return "do not do it again before you have asked; " + a.ask() },
	CodeExpired: func(a After) string {
		return "use no more from that container; " + a.ask() + " what to do with it"
	},
	CodeRestricted: func(a After) string { return "use no more without a certified applicator; " + a.ask() },
	CodeApproval: func(a After) string {
		return "tell the certifier now, and sell nothing of " + a.Bed + " as organic before the answer (7 CFR 205.400(f))"
	},
	CodeBloom:       After.bees,
	CodeForaging:    After.bees,
	CodeSunset:      After.bees,
	CodeTemperature: func(a After) string { return "look at the plants of " + a.Bed + " for burnt leaves in the next days" },
	CodeWind: func(a After) string {
		return "look where the drift went, tell the neighbours downwind, and keep people and animals off it; " + a.ask()
	},
	CodeRainfast: func(a After) string {
		return "do not repeat it for that; " + a.noMore() + ", and look where the water ran"
	},
	CodeHours: After.bees,
	CodeMethod: func(a After) string {
		return "do not put it on in that way again; look where it drifted, keep people and animals off it; " + a.ask()
	},
	CodeSpray: func(a After) string { return "look at the plants of " + a.Bed + " for burnt leaves; " + a.ask() },
	CodePlantBack: func(a After) string {
		return "plant nothing else in " + a.Bed + " before you have asked; " + a.ask()
	},
	CodeRetired:      func(a After) string { return "read the label on the container again and enter it" },
	CodeJurisdiction: func(a After) string { return "use no more of it; " + a.ask() },
	CodeWater:        func(a After) string { return "keep runoff away from the water; " + a.ask() },
	CodeAnimals: func(a After) string {
		return "keep animals out of " + a.Bed + "; call a vet with the label if one is ill"
	},

	CodeLook: func(a After) string {
		return "no breach of the label: look at the pest in " + a.Bed + " before any more of it, and count again"
	},
	CodeUnfit: func(a After) string {
		return "no breach of the label: do not count on it in " + a.Bed + ", and count again"
	},
	CodeFarmInterval: func(a After) string { return "the farm's own rule, not the label's: decide whether it still holds" },
	CodePractice: func(a After) string {
		return "no breach of the label: note the steps that were tried before, and that they were not enough (7 CFR 205.206(e))"
	},
}

// Next says what to do after a breach of the rule with a code. An unknown
// code gets the careful answer.
func Next(code string, a After) string {
	if f, ok := aftermath[code]; ok {
		return f(a)
	}
	return a.keepOut() + "; " + a.noCut() + "; " + a.ask()
}

func (a After) keepOut() string {
	if a.Opens.IsZero() {
		return "keep out of " + a.Bed + " until the re-entry interval has been read off the label"
	}
	if !a.Now.IsZero() && !a.Now.Before(a.Opens) {
		return fmt.Sprintf("%s is open again since %s", a.Bed, clock(a.Opens, a.loc()))
	}
	return fmt.Sprintf("keep out of %s until %s", a.Bed, clock(a.Opens, a.loc()))
}

func (a After) noCut() string {
	switch {
	case a.CutOpen:
		return "do not cut in " + a.Bed + " while the bed is closed"
	case a.CutFrom.IsZero():
		return "do not cut in " + a.Bed + " until the pre-harvest interval has been read off the label"
	}
	if a.past(a.CutFrom) {
		return fmt.Sprintf("the pre-harvest interval in %s ended on %s %d", a.Bed, a.CutFrom.Short(), a.CutFrom.Year)
	}
	return fmt.Sprintf("do not cut in %s before %s %d", a.Bed, a.CutFrom.Short(), a.CutFrom.Year)
}

func (a After) noMore() string {
	if a.Again.IsZero() {
		return "put no more of it on " + a.Bed + " before the label's limits have been looked up; no day on which it may is known"
	}
	if a.past(a.Again) {
		return "the label's intervals and maxima allow more of it on " + a.Bed + " by now; read the label before the next one"
	}
	return fmt.Sprintf("put no more of it on %s before %s %d", a.Bed, a.Again.Short(), a.Again.Year)
}

// tooMuch: the intervals of a label hold for its own amounts.
func (a After) tooMuch() string {
	words := "keep out of " + a.Bed + " and do not cut there before you have asked: the label's intervals are for the label's amounts; " + a.ask()
	if a.Again.IsZero() || !a.past(a.Again) {
		words += "; " + a.noMore()
	}
	return words
}

func (a After) bees() string {
	return "tell the beekeepers nearby today, and put no more on " + a.Bed + " while anything is in flower"
}

// ask names whom to ask. 40 CFR 156.10 puts the registrant on the label;
// states enforce use in the United States (FIFRA section 26, from memory).
func (a After) ask() string {
	if a.Country == "US" {
		return "ask your state's department of agriculture, or whoever the label names"
	}
	return "ask the authority that the label names, or the one that registers such products in your country"
}

// RateOf returns the rate of an application, in g, L or pieces per square
// metre; false when its amount or area is not known.
func RateOf(t farm.Treatment) (units.Quantity, bool) {
	if t.Amount.IsZero() {
		return units.Quantity{}, false
	}
	q, err := perArea(t.Amount, t.AreaM2, units.Quantity{})
	return q, err == nil
}

// RateWords says the rate of an application beside the rates of its label,
// such as "58 g on 12 m² = 4.83 g/m²; the label: 2.44 to 4.88 g/m²".
func RateWords(t farm.Treatment, l farm.Label, s units.System) string {
	q, ok := RateOf(t)
	if !ok {
		return fmt.Sprintf("%s; the rate is not known, for the area is not", t.Amount)
	}
	words := fmt.Sprintf("%s on %s = %s", t.Amount, s.Area(t.AreaM2), rateText(q, s))
	hi, ok := l.RateMax.Get()
	if !ok {
		return words + "; the label's highest rate is not known"
	}
	top, err := perArea(hi, 0, units.Quantity{})
	if err != nil || top.Unit != q.Unit {
		return words + fmt.Sprintf("; the label: at most %s", hi)
	}
	lo, ok := l.RateMin.Get()
	if bottom, err := perArea(lo, 0, units.Quantity{}); ok && err == nil && bottom.Unit == q.Unit {
		return words + fmt.Sprintf("; the label: %s to %s", rateNumber(bottom, s), rateText(top, s))
	}
	return words + "; the label: at most " + rateText(top, s)
}

// RateIn is the unit in which a rate is told, and how that is written.
func RateIn(q units.Quantity, s units.System) (unit, words string) {
	switch us := s.IsUS(); {
	case q.Unit.Dimension == units.MassPerArea && us:
		return "lb/1000 ft2", "lb/1000 sq ft"
	case q.Unit.Dimension == units.VolPerArea && us:
		return "US fl oz/1000 ft2", "US fl oz/1000 sq ft"
	case us:
		return "/ft2", "a sq ft"
	case q.Unit.Dimension == units.MassPerArea:
		return "g/m2", "g/m²"
	case q.Unit.Dimension == units.VolPerArea:
		return "mL/m2", "mL/m²"
	}
	return "/m2", "a m²"
}

func rateNumber(q units.Quantity, s units.System) string {
	unit, _ := RateIn(q, s)
	return fmt.Sprintf("%.3g", q.MustIn(unit))
}

func rateText(q units.Quantity, s units.System) string {
	_, words := RateIn(q, s)
	return rateNumber(q, s) + " " + words
}

// Keep is one rule on how long a record is kept.
type Keep struct {
	Through civil.Date // last day; zero: it cannot be told
	Rule    string
}

// Keeping returns how long the record of an application is kept at least, by
// the rules that are known here. opened is the end of the re-entry interval
// (zero: unknown), made the day the record was written. Every rule stands
// there that may bind the farm; which does, the grower's own law says.
//
// Sources: 40 CFR 170.311(b)(6) and Regulation (EC) 1107/2009 article 67, both
// from memory; 7 CFR 205.103.
func Keeping(country string, organic bool, applied, made civil.Date, opened civil.Date) []Keep {
	var out []Keep
	if country == "US" || country == "" {
		k := Keep{Rule: "2 years from the end of the re-entry interval, 40 CFR 170.311(b)"}
		if !opened.IsZero() {
			k.Through = KeepThrough(opened, 2)
		} else {
			k.Rule += "; the interval is unknown"
		}
		out = append(out, k)
		if organic {
			out = append(out, Keep{KeepThrough(made, 5), "5 years from its making, 7 CFR 205.103"})
		}
	}
	if country != "US" {
		out = append(out, Keep{KeepThrough(applied, 3), "3 years, Regulation (EC) 1107/2009 article 67; other countries have their own"})
		if organic && country != "" {
			out = append(out, Keep{KeepThrough(made, 5), "5 years, as 7 CFR 205.103 asks of organic farms in the United States; ask your certifier"})
		}
	}
	return out
}
