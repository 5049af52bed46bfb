package week

import (
	"cmp"
	"slices"

	"leafturn/internal/assess"
	"leafturn/internal/effect"
)

// own is what the farm's own results say of a step, false where there are none.
func (b *builder) own(pest, key string) (effect.Own, bool) {
	i := slices.IndexFunc(b.in.Own[pest], func(o effect.Own) bool { return o.Key == key })
	if i < 0 {
		return effect.Own{}, false
	}
	return b.in.Own[pest][i], true
}

// byResults puts first, within a rung, what has surely worked here.
func (b *builder) byResults(pest string) []Action {
	actions := slices.Clone(b.in.Actions[pest])
	sure := func(a Action) float64 {
		o, _ := b.own(pest, a.Key)
		return max(o.Low, 0)
	}
	slices.SortStableFunc(actions, func(x, y Action) int {
		return cmp.Or(cmp.Compare(x.Rung, y.Rung), cmp.Compare(sure(y), sure(x)))
	})
	return actions
}

// failedHere says instead of a step that it has failed on this farm, and
// reports whether it has.
func (b *builder) failedHere(a *assess.Assessment, key, head string) bool {
	o, ok := b.own(a.Pest.Key, key)
	if !ok || !o.PassedOver() {
		return false
	}
	b.add(Line{
		Section: Avoid, Ref: "not:" + a.Pest.Key + ":" + key + ":failed", Pest: a.Pest.Key, PestName: a.Pest.Name, Beds: []string{a.Bed.Code},
		Head: head, Why: o.Words() + "; take another step first", Details: []string{"`leafturn worked " + a.Pest.Key + "` gives the counts behind it"},
		Traces: []Trace{{Bed: a.Bed.Code, Assessment: a, Rule: "a step that failed twice or more on this farm is passed over", Facts: []string{o.Words()}}},
	})
	return true
}

// ownWords adds what the farm's own results say of a step.
func (b *builder) ownWords(pest, key string, details []string) []string {
	if o, ok := b.own(pest, key); ok {
		return append(details, o.Words())
	}
	return details
}
