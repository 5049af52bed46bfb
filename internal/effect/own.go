package effect

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/civil"
)

// Own is what a farm's own results say of a step.
type Own struct {
	Key, Name string
	Tries     int     // results with a number
	Percent   float64 // pooled efficacy
	Low, High float64 // 95 %
	Compared  bool    // every try had untreated beds beside it
}

// PassedOver reports whether the step has failed here often and clearly
// enough to try another one first: two tries or more, and at most 30 % fewer
// animals at the best. Common practice.
func (o Own) PassedOver() bool { return o.Tries >= passedOverTries && o.High < passedOverBelow }

// Words says it for a grower.
func (o Own) Words() string {
	times := "once"
	if o.Tries > 1 {
		times = fmt.Sprintf("%d times", o.Tries)
	}
	w := fmt.Sprintf("tried here %s this season: %s (likely between %s and %s)", times, fewer(o.Percent), fewer(o.Low), fewer(o.High))
	if !o.Compared {
		w += ", not all against untreated beds"
	}
	return w
}

// Pool joins the results of each step: logs of the ratio of animals left, by
// the inverse of their variances, widened by the spread between tries where
// they differ by more than chance. Steps come in the order of their keys.
// Source: DerSimonian & Laird 1986, Controlled Clinical Trials 7:177-188 (from
// memory).
func Pool(results []Result) []Own {
	by := map[string][]Result{}
	var keys []string
	for _, r := range results {
		if !r.Known() || !(r.Efficacy.SELnRatio > 0 && r.Efficacy.SELnRatio <= 1e3) || !(math.Abs(lnRatio(r)) <= 1e3) {
			continue
		}
		if by[r.Key] == nil {
			keys = append(keys, r.Key)
		}
		by[r.Key] = append(by[r.Key], r)
	}
	slices.Sort(keys)
	var out []Own
	for _, key := range keys {
		rs := by[key]
		var w, wy, wyy, ww float64
		compared := true
		for _, r := range rs {
			y, p := lnRatio(r), 1/(r.Efficacy.SELnRatio*r.Efficacy.SELnRatio)
			w, wy, wyy, ww = w+p, wy+p*y, wyy+p*y*y, ww+p*p
			compared = compared && r.Method != BeforeAndAfter
		}
		tau2 := 0.0
		if q := wyy - wy*wy/w; len(rs) > 1 && w-ww/w > 0 {
			tau2 = math.Max(0, (q-float64(len(rs)-1))/(w-ww/w))
		}
		w, wy = 0, 0
		for _, r := range rs {
			p := 1 / (r.Efficacy.SELnRatio*r.Efficacy.SELnRatio + tau2)
			w, wy = w+p, wy+p*lnRatio(r)
		}
		m, h := wy/w, 1.959963984540054/math.Sqrt(w)
		pct := func(v float64) float64 { return 100 * (1 - math.Exp(v)) }
		out = append(out, Own{Key: key, Name: rs[0].Name, Tries: len(rs), Percent: pct(m), Low: pct(m + h), High: pct(m - h), Compared: compared})
	}
	return out
}

// lnRatio is the log of the share left, from the middle of the interval: it is
// finite where none were left.
func lnRatio(r Result) float64 {
	return (math.Log1p(-r.Efficacy.Low/100) + math.Log1p(-r.Efficacy.High/100)) / 2
}

// Question raises resistance: a mode of action was used again and again, and
// the pest is still there.
type Question struct {
	Group string
	Days  []civil.Date
	Names []string
	Words string
}

// Resistance asks whether a pest resists a mode of action: two applications or
// more of one numbered group in the season, by themselves or as one course,
// after which fewer than half of the animals were gone, as best reckoned. A
// question is cheap, and an escape that is missed is not, so a wide interval does
// not silence it. It is a question and never a finding: other
// causes come first. Source of the advice to rotate: IRAC, modes of action
// (sequences and alternations); the bounds are common practice.
func Resistance(results []Result) []Question {
	by := map[string]*Question{}
	var groups []string
	for _, r := range results {
		if !r.Product || !r.Known() || !(r.Efficacy.Percent < askResistance) {
			continue
		}
		for _, g := range r.Groups {
			q := by[g]
			if q == nil {
				q = &Question{Group: g}
				by[g] = q
				groups = append(groups, g)
			}
			days := r.Course
			if len(days) == 0 {
				days = []civil.Date{r.Date}
			}
			for _, d := range days {
				if !slices.Contains(q.Days, d) {
					q.Days = append(q.Days, d)
				}
			}
			if !slices.Contains(q.Names, r.Name) {
				q.Names = append(q.Names, r.Name)
			}
		}
	}
	slices.Sort(groups)
	var out []Question
	for _, g := range groups {
		q := by[g]
		if len(q.Days) < resistanceRepeat {
			continue
		}
		days := make([]string, len(q.Days))
		for i, d := range q.Days {
			days[i] = d.Short()
		}
		q.Words = fmt.Sprintf("group %s was used on %s (%s) and did not bring the pest down. Is it resistance? First look at the usual causes: "+
			"missed leaves, too low a rate, old product, rain or heat after it, animals that came in again. If none fits, change to another group and ask an adviser",
			g, strings.Join(days, ", "), strings.Join(q.Names, ", "))
		out = append(out, *q)
	}
	return out
}
