package label

import (
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
func Findings(t farm.Treatment, r Request) []Rule {
	r.Date, r.Start, r.End = t.Date, time.Time{}, t.End
	if t.EndKnown {
		r.Start = t.Start
	}
	r.Part, r.Pest, r.Amount, r.AreaM2, r.Work, r.Applying, r.past = t.Part, t.Pest, t.Amount, t.AreaM2, nil, false, true
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
	r.practice(&d)
	r.looks(&d)
	hour := r
	if !t.EndKnown {
		hour.End = time.Time{} // only the day is known
	}
	hour.bees(&d)
	hour.Applying = true // a limit on conditions that nobody wrote down is not judged, and said
	from := len(d.Refusals)
	hour.weather(&d)
	for i := from; i < len(d.Refusals); i++ {
		if rule := &d.Refusals[i]; rule.Unknown && rule.Code == CodeWind {
			rule.Words = "the label limits the wind, and the wind at the application was not written down; not known is not calm"
		} else if rule.Unknown && rule.Code == CodeTemperature {
			rule.Words = "the label limits the temperature, and the temperature at the application was not written down"
		}
	}
	r.place(&d)
	return d.Refusals
}
