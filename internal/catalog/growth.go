package catalog

import (
	"cmp"
	"fmt"
	"slices"

	"leafturn/internal/diag"
)

// Kinds of growth rates.
const (
	Increase = "growth"   // of ln density per day
	Appetite = "appetite" // prey per predator and day
)

// GrowthRate is a rate at one temperature: as printed, or a point of the line
// that is gone by.
type GrowthRate struct {
	Key    string
	Pest   string // key, "" for a natural enemy
	Agent  string // key, "" for a pest
	Kind   string // Increase or Appetite
	TempC  float64
	Value  float64
	Used   bool // a point of the line that is gone by; others stand beside it
	Animal string
	Host   string // what it was fed on
	Provenance
}

// GrowthCurve is the line that is gone by, straight between its points.
type GrowthCurve struct {
	Points    []GrowthRate // temperatures rising
	EndC      float64      // °C up to which the last rate is held
	Low, High float64      // times the rate: the true one lies outside with a chance of 5 % each
	Cap       float64      // animals per unit at which it is overrun; 0 for none
	Provenance
}

type growthLimit struct {
	of, kind string
	GrowthCurve
}

// GrowthRates returns every rate of a pest or an agent, in table order.
func (c *Catalog) GrowthRates(key string) []GrowthRate {
	return filter(c.growthRates, func(r GrowthRate) bool { return key != "" && (r.Pest == key || r.Agent == key) })
}

// GrowthCurve returns the line of a pest or an agent; ok is false where no
// published rate supports one.
func (c *Catalog) GrowthCurve(key, kind string) (GrowthCurve, bool) {
	l, ok := find(c.growthLimits, func(l growthLimit) bool { return l.of == key && l.kind == kind })
	if !ok {
		return GrowthCurve{}, false
	}
	out := l.GrowthCurve
	out.Points = slices.Clone(out.Points)
	return out, true
}

func (l *loader) growth() {
	var keys []string
	points := map[[2]string][]GrowthRate{}
	l.table("growth_rates.csv", columns("key,pest_key,agent_key,kind,temp_c,value,used,animal,host"), func(w row) {
		r := GrowthRate{Key: w.key("key"), Pest: w.oneOfOrNone("pest_key", l.pestKeys...), Agent: w.oneOfOrNone("agent_key", l.agentKeys...),
			Kind: w.oneOf("kind", Increase, Appetite), Used: w.flag("used"), Animal: w.must("animal"), Host: w.must("host"), Provenance: w.provenance()}
		temp, value := w.num("temp_c"), w.num("value")
		switch {
		case (r.Pest == "") == (r.Agent == ""):
			w.bad("agent_key", "a row is on a pest or on an agent", "fill in one of the two")
		case r.Kind == Appetite && r.Agent == "":
			w.bad("kind", "only an agent eats prey", "write growth")
		case temp == nil || *temp < -5 || *temp > 45:
			w.bad("temp_c", "is no temperature of a rate", "give it in °C, -5 to 45")
		case value == nil || *value < 0 || r.Kind == Increase && *value > 1 || *value > 100:
			w.bad("value", "is no rate", "give it per day: growth 0 to 1, prey 0 to 100")
		default:
			r.TempC, r.Value = *temp, *value
		}
		keys = unique(w, "key", r.Key, keys)
		l.c.growthRates = append(l.c.growthRates, r)
		if of := [2]string{r.Pest + r.Agent, r.Kind}; r.Used {
			if slices.ContainsFunc(points[of], func(o GrowthRate) bool { return o.TempC == r.TempC }) {
				w.bad("temp_c", fmt.Sprintf("%g °C stands twice in the line", r.TempC), "keep one of the points")
			}
			points[of] = append(points[of], r)
		}
	})
	l.table("growth_limits.csv", columns("pest_key,agent_key,kind,end_c,low,high,cap"), func(w row) {
		x := growthLimit{of: w.oneOfOrNone("pest_key", l.pestKeys...) + w.oneOfOrNone("agent_key", l.agentKeys...), kind: w.oneOf("kind", Increase, Appetite)}
		x.Provenance = w.provenance()
		end, low, high, most := w.num("end_c"), w.num("low"), w.num("high"), w.num("cap")
		of := [2]string{x.of, x.kind}
		line := points[of]
		slices.SortFunc(line, func(a, b GrowthRate) int { return cmp.Compare(a.TempC, b.TempC) })
		switch {
		case len(line) < 2:
			w.bad("kind", "has no line: fewer than two points of it are used", "give the points in growth_rates.csv")
			return
		case end == nil || *end < line[len(line)-1].TempC || *end > 50:
			w.bad("end_c", "does not go with the line", "give the °C up to which its last rate is held")
			return
		case low == nil || high == nil || !(*low > 0 && *low <= 1) || !(*high >= 1 && *high <= 5):
			w.bad("low", "is no band", "give low above 0 and at most 1, high from 1 to 5")
			return
		case most != nil && !(*most > 0 && *most <= 1e4):
			w.bad("cap", "is no density", "give animals per unit, or leave it empty")
			return
		}
		if slices.ContainsFunc(l.c.growthLimits, func(o growthLimit) bool { return o.of == x.of && o.kind == x.kind }) {
			w.bad("kind", "stands twice", "keep one of the rows")
		}
		x.Points, x.EndC, x.Low, x.High = line, *end, *low, *high
		if most != nil {
			x.Cap = *most
		}
		l.c.growthLimits = append(l.c.growthLimits, x)
	})
	for of := range points {
		if !slices.ContainsFunc(l.c.growthLimits, func(x growthLimit) bool { return x.of == of[0] && x.kind == of[1] }) && len(l.list.Problems) == 0 {
			l.list.Add(&diag.Problem{File: "growth_limits.csv", What: fmt.Sprintf("the line of %s, %s, has no limits", of[0], of[1]), Do: "give it a row"})
		}
	}
}
