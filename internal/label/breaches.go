package label

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"leafturn/internal/farm"
)

// Breaches returns what an application that took place has broken, in
// sentences that begin with the rule's code, and what could not be judged
// because something is not known. Both are empty for a clean one. The
// treatment is a fact and stays recorded.
func Breaches(t farm.Treatment, r Request) (broke, unjudged []string) {
	for _, rule := range Findings(t, r) {
		switch {
		case !rule.OfLabel():
		case rule.Unknown:
			unjudged = append(unjudged, rule.Words)
		default:
			broke = append(broke, rule.Code+": "+rule.Words)
		}
	}
	return broke, unjudged
}

// Findings returns the rules that an application which took place does not
// meet: those that it broke, those that cannot be judged (Unknown), and those
// that are no breach of the label (see Rule.OfLabel).
//
// The request gives the label, bed, season and the other circumstances; its
// day, hour, part, pest, amount, area and planned work are replaced by those
// of t, the temperature and wind too where t has them, and only treatments
// before t count as history (t itself, found by its record number, is left
// out).
func Findings(t farm.Treatment, r Request) []Rule { return review(t, r).Refusals }

// Low says that an application which took place was below the label's lowest
// rate, "" where it was not: no breach by US law, and it may not work.
func Low(t farm.Treatment, r Request) string {
	for _, w := range review(t, r).Warnings {
		if strings.HasPrefix(w, belowMinimum) {
			return w
		}
	}
	return ""
}

func review(t farm.Treatment, r Request) Decision {
	r.Date, r.Start, r.End = t.Date, time.Time{}, t.End
	if t.EndKnown {
		r.Start = t.Start
	}
	r.noHour = !t.EndKnown
	// What nobody wrote down is not judged, and said.
	r.Part, r.Pest, r.Amount, r.AreaM2, r.Work, r.Applying = t.Part, t.Pest, t.Amount, t.AreaM2, nil, true
	if t.AirC != nil {
		r.TempC = t.AirC
	}
	if t.WindMS != nil {
		r.WindMS = t.WindMS
	}
	if v, ok := SprayOf(t); ok {
		r.SprayVolume = v
	}
	var before []farm.Treatment
	for _, h := range r.History {
		if h.ID != 0 && h.ID == t.ID {
			continue
		}
		later := h.Date.After(t.Date) || h.Date == t.Date && (h.End.After(t.End) || h.End.Equal(t.End) && h.ID > t.ID && t.ID != 0)
		if !later {
			before = append(before, h)
		}
	}
	r.History = before
	r = r.ready()

	var d Decision
	for _, c := range Contradictions(r.Label) {
		d.refuse(Rule{Code: CodeContradiction, Words: "the label as entered contradicts itself: " + c, Unknown: true})
	}
	for _, g := range Check(r.Label) {
		d.unknown(g.Field, g.Where, g.Why)
	}
	r.permission(&d)
	for _, b := range r.timing(t.Date) {
		d.refuse(b.Rule)
	}
	r.amounts(&d, nil)
	if inWater(r.Label) && r.SprayVolume.IsZero() && !d.Has(CodeRate) {
		d.refuse(Rule{Code: CodeSpray, Field: "spray volume", Where: directions, Unknown: true,
			Words: "the label's rate is in water, and how much spray went on was not written down (`leafturn treat --spray`)"})
	}
	r.method(&d, t.Method)
	r.practice(&d)
	r.looks(&d)
	r.beesThen(&d)
	from := len(d.Refusals)
	r.weather(&d)
	for i := range d.Refusals {
		if rule := &d.Refusals[i]; rule.Code == CodeUnits {
			rule.Unknown = true // an amount that cannot be compared is no overdose
			rule.Words += "; find out how much was used"
		}
	}
	for i := from; i < len(d.Refusals); i++ {
		if rule := &d.Refusals[i]; rule.Unknown && rule.Code == CodeWind {
			rule.Words = "the label limits the wind, and the wind at the application was not written down; not known is not calm"
		} else if rule.Unknown && rule.Code == CodeTemperature {
			rule.Words = "the label limits the temperature, and the temperature at the application was not written down"
		}
	}
	r.place(&d)
	return d
}

// beesThen judges the bee statement of an application that took place. By night no
// bee forages, whatever was in flower.
func (r Request) beesThen(d *Decision) {
	var x Decision
	r.bees(&x)
	for _, rule := range x.Refusals {
		if rule.Code == CodeBloom && rule.Unknown {
			if r.Label.Bees.Value == farm.BeesNotForaging {
				var night Decision
				r.night(&night, CodeForaging, "")
				if len(night.Refusals) == 0 {
					continue
				}
			}
			rule.Words = "nobody noted whether flowers were open in or beside the bed, and the label has a bee statement"
		}
		d.refuse(rule)
	}
}

// method holds the way in which an application was made against those that the
// label forbids.
func (r Request) method(d *Decision, used string) {
	if slices.ContainsFunc(strings.Fields(tidy(used)), func(w string) bool { return w == "no" || w == "not" || w == "without" }) {
		return // "by hand, no fogging"
	}
	plain := func(s string) string { return strings.NewReplacer(" ", "", "-", "").Replace(tidy(s)) }
	for _, m := range r.Label.ForbiddenMethods.Value {
		stem := plain(m)
		for _, end := range []string{"ing", "er", "ers", "s"} {
			if cut, ok := strings.CutSuffix(stem, end); ok && len(cut) > 2 {
				stem = cut
				break
			}
		}
		if stem != "" && strings.Contains(plain(used), stem) {
			d.refuse(Rule{Code: CodeMethod, Field: "forbidden methods", Where: directions,
				Words: fmt.Sprintf("it was put on by %q, and the label forbids %s", used, m)})
		}
	}
}
