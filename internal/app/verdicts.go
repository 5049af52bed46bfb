package app

import (
	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/effect"
	"leafturn/internal/farm"
	"leafturn/internal/report"
	"leafturn/internal/week"
)

// keptVerdicts are the parts of a day's list that are about one bed and pest. A
// nil one knows nothing and keeps nothing.
type keptVerdicts struct {
	p     *parts
	facts map[*assess.Pest][]byte // hashes
	grows map[string][]byte
	keys  map[[2]string]partKey      // of the verdicts that can be kept
	short map[[2]string]assess.Input // of those that were: what they were made from
}

func pairOf(x *assess.Assessment) [2]string { return [2]string{x.Bed.Code, x.Pest.Key} }

// begin takes what many verdicts are made from.
func (k *keptVerdicts) begin(facts map[factsOf]*assess.Pest, grows map[string]assess.Grows) {
	k.facts, k.grows = map[*assess.Pest][]byte{}, map[string][]byte{}
	for _, f := range facts {
		if b, err := report.Keep(*f); err == nil {
			k.facts[f] = sumOf(b)
		}
	}
	for pest, g := range grows {
		k.grows[pest] = sumOf(growsBytes(g))
	}
}

// key hashes all that a brief verdict is made from, but for what was noted of
// conditions, which is compared where it is restored. ok is false where that
// cannot be written down.
func (k *keptVerdicts) key(in assess.Input, f *assess.Pest) (key partKey, ok bool) {
	facts, ok := k.facts[f]
	if !ok {
		return key, false
	}
	own, err := report.Keep(struct {
		Today            civil.Date
		Bed              farm.Bed
		Stage            farm.Stage
		StageSince       civil.Date
		Events           []farm.StageEvent
		Holds            map[string]bool
		Confirmed        farm.Confirmation
		Suspects         []assess.Suspect
		Steps            []civil.Date
		ActAt, HoldBelow float64
		Brief, Grows     bool
		South            bool
	}{in.Today, in.Bed, in.Stage, in.StageSince, in.Events, in.Holds, in.Confirmed, in.Suspects, in.Steps, in.ActAt, in.HoldBelow, in.Brief, in.Grows != nil, in.South})
	if err != nil {
		return key, false
	}
	return k.p.key("verdict", own, facts, k.grows[f.Key], k.p.season(k.p.a.farm.Season(in.Today)).rows(in.Visits)), true
}

// get returns the verdict made from the same input, if one is kept.
func (k *keptVerdicts) get(in assess.Input, f *assess.Pest) (assess.Assessment, bool) {
	key, ok := k.key(in, f)
	if !ok {
		return assess.Assessment{}, false
	}
	pair := [2]string{in.Bed.Code, f.Key}
	k.keys[pair] = key
	var s assess.Short
	if !k.p.get(key, &s) {
		return assess.Assessment{}, false
	}
	x, ok := s.Restore(in)
	if ok {
		k.short[pair] = in
	}
	return x, ok
}

func (k *keptVerdicts) put(x *assess.Assessment) {
	if key, ok := k.keys[pairOf(x)]; ok {
		k.p.put(key, x.Short())
	}
}

// whole makes verdicts that were restored anew, with all readings.
func (k *keptVerdicts) whole(s snapshot, list []*assess.Assessment) error {
	if k == nil {
		return nil
	}
	var of []*assess.Assessment
	var from []assess.Input
	for _, x := range list {
		if in, ok := k.short[pairOf(x)]; ok {
			delete(k.short, pairOf(x))
			of, from = append(of, x), append(from, in)
		}
	}
	var visits []*[]farm.Visit
	for i := range from {
		visits = append(visits, &from[i].Visits)
	}
	if err := k.p.count(s.year, visits...); err != nil {
		return err
	}
	return inParallel(len(of), func(i int) error {
		x, err := assess.Assess(from[i])
		x.Result.MoreUnits, x.Result.SettleChance = of[i].Result.MoreUnits, of[i].Result.SettleChance
		*of[i] = x
		return err
	})
}

// about is the key of what follows from a verdict, and from what was noted where
// it asked for it.
func (k *keptVerdicts) about(kind string, x *assess.Assessment, more ...[]byte) (key partKey, ok bool) {
	verdict, ok := k.keys[pairOf(x)]
	asked, err := report.Keep(x.Asked)
	if !ok || err != nil {
		return key, false
	}
	return k.p.key(kind, append([][]byte{verdict[:], asked}, more...)...), true
}

// settled is how many more units would settle a verdict.
type settled struct {
	MoreUnits int
	Chance    float64
}

// settle fills in for verdicts of a list, by their numbers, what is known
// already, and returns the others, whose visits it gives their counts.
func (k *keptVerdicts) settle(s snapshot, list []assess.Assessment, near []int) (left []int, err error) {
	var visits []*[]farm.Visit
	for _, i := range near {
		x := &list[i]
		var is settled
		if key, ok := k.about("settled", x); ok && k.p.get(key, &is) {
			x.Result.MoreUnits, x.Result.SettleChance = is.MoreUnits, is.Chance
			continue
		}
		own := s.byPair[pairOf(x)]
		visits, left = append(visits, &own), append(left, i)
	}
	if err := k.p.count(s.year, visits...); err != nil {
		return nil, err
	}
	for n, i := range left {
		s.byPair[pairOf(&list[i])] = *visits[n]
	}
	return left, nil
}

func (k *keptVerdicts) putSettled(x *assess.Assessment) {
	if key, ok := k.about("settled", x); ok {
		k.p.put(key, settled{x.Result.MoreUnits, x.Result.SettleChance})
	}
}

// foretold is what the forecast says of a bed and pest.
type foretold struct{ Coming *week.Coming }

// comingKey is of the forecast behind a verdict. It rests on all that the store
// holds but for visits, and of those on what they show of steps.
func (k *keptVerdicts) comingKey(in *week.Input, x *assess.Assessment) (key partKey, ok bool) {
	steps, err := report.Keep(struct {
		Own       map[string][]effect.Own
		Questions map[string][]effect.Question
	}{in.Own, in.Questions})
	if err != nil {
		return key, false
	}
	return k.about("coming", x, k.p.around, steps)
}

// foretold adds to the week's facts the forecast of a bed and pest, if it is
// known already.
func (k *keptVerdicts) foretold(in *week.Input, x *assess.Assessment) bool {
	if k == nil {
		return false
	}
	key, ok := k.comingKey(in, x)
	var f foretold
	if !ok || !k.p.get(key, &f) {
		return false
	}
	if f.Coming != nil {
		if in.Coming == nil {
			in.Coming = map[[2]string]week.Coming{}
		}
		in.Coming[pairOf(x)] = *f.Coming
	}
	return true
}

func (k *keptVerdicts) putForetold(in *week.Input, list []*assess.Assessment) {
	if k == nil {
		return
	}
	for _, x := range list {
		if key, ok := k.comingKey(in, x); ok {
			f := foretold{}
			if c, ok := in.Coming[pairOf(x)]; ok {
				f.Coming = &c
			}
			k.p.put(key, f)
		}
	}
}
