package app

import (
	"cmp"
	"maps"
	"reflect"
	"slices"
	"sync"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"
)

// memory is what an App keeps between the lists of one run, so that a list
// costs what is new and not what is known: the visits of a season, the facts
// of a pest, and each verdict of a day with what it was made from. Everything
// in it can be forgotten at any time.
type memory struct {
	beds    []farm.Bed
	year    farm.Season
	season  visits // live ones of the season
	last    int64  // the highest number among them
	facts   map[factsOf]*assess.Pest
	kept    map[pairOn]*keptVerdict
	beliefs assess.Beliefs
	grows   map[growsOf]assess.Grows

	mu sync.Mutex // over facts and grows
}

type factsOf struct {
	pest  string
	stage farm.Stage
	on    civil.Date
}

type growsOf struct {
	pest string
	on   civil.Date
}

type pairOn struct {
	bed, pest string
	on        civil.Date
	brief     bool
}

// keptVerdict is an assessment and what it was made from, besides the bed.
type keptVerdict struct {
	in   assess.Input
	pest *assess.Pest
	out  assess.Assessment
}

// keptDays is the number of days whose verdicts are kept: a list looks back at
// the one of the week before.
const keptDays = 2

// visits are counts by date, bed, pest and number, all of them and in parts.
// Lists share them: one that grows does so behind what the others see.
type visits struct {
	all    []farm.Visit
	byPest map[string][]farm.Visit
	byPair map[[2]string][]farm.Visit // by bed and pest
}

func byDate(x, y *farm.Visit) int {
	return cmp.Or(x.Date.Compare(y.Date), cmp.Compare(x.Bed, y.Bed), cmp.Compare(x.Pest, y.Pest), cmp.Compare(x.ID, y.ID))
}

// with returns the visits and fresh ones, which it sorts.
func (v visits) with(fresh []farm.Visit) visits {
	sort := func(list []farm.Visit) {
		slices.SortFunc(list, func(x, y farm.Visit) int { return byDate(&x, &y) })
	}
	sort(fresh)
	if n := len(v.all); n > 0 && len(fresh) > 0 && byDate(&v.all[n-1], &fresh[0]) > 0 {
		fresh = append(slices.Clone(v.all), fresh...)
		sort(fresh)
		v = visits{}
	}
	if v.all == nil {
		out := visits{all: fresh}
		var both sync.WaitGroup
		both.Go(func() { out.byPest = split(fresh, func(x *farm.Visit) string { return x.Pest }) })
		both.Go(func() { out.byPair = split(fresh, func(x *farm.Visit) [2]string { return [2]string{x.Bed, x.Pest} }) })
		both.Wait()
		return out
	}
	v.all = append(v.all, fresh...)
	for i := range fresh {
		x := &fresh[i]
		v.byPest[x.Pest] = append(v.byPest[x.Pest], *x)
		pair := [2]string{x.Bed, x.Pest}
		v.byPair[pair] = append(v.byPair[pair], *x)
	}
	return v
}

// split are the visits of a list by a key, each list in one piece of memory that
// ends where the next one begins.
func split[K comparable](list []farm.Visit, key func(*farm.Visit) K) map[K][]farm.Visit {
	number, of := map[K]int{}, make([]int, len(list))
	var keys []K
	var ends []int
	for i := range list {
		k := key(&list[i])
		n, ok := number[k]
		if !ok {
			n = len(keys)
			number[k] = n
			keys, ends = append(keys, k), append(ends, 0)
		}
		of[i] = n
		ends[n]++
	}
	at, from := make([]int, len(keys)), 0
	for n := range keys {
		at[n] = from
		from += ends[n]
		ends[n] = from
	}
	all, out := make([]farm.Visit, len(list)), make(map[K][]farm.Visit, len(keys))
	for i, n := range of {
		all[at[n]] = list[i]
		at[n]++
	}
	from = 0
	for n, k := range keys {
		out[k] = all[from:ends[n]:ends[n]]
		from = ends[n]
	}
	return out
}

// until are those of a sorted list up to a day.
func until(list []farm.Visit, day civil.Date) []farm.Visit {
	n, _ := slices.BinarySearchFunc(list, day.AddDays(1), func(v farm.Visit, d civil.Date) int { return v.Date.Compare(d) })
	return slices.Clip(list[:n])
}

// read returns the live visits of a season. Only those that came since the last
// call are read; after a void all of them.
func (m *memory) read(tx *store.Tx, beds []farm.Bed, year farm.Season) (visits, error) {
	if m.year != year || !reflect.DeepEqual(m.beds, beds) {
		*m = memory{beds: beds, year: year}
	}
	f := store.Filter{From: year.First, To: year.Last}
	live, err := tx.CountVisits(f)
	if err != nil {
		return visits{}, err
	}
	f.After = m.last
	fresh, err := tx.Visits(f)
	if err != nil {
		return visits{}, err
	}
	if len(m.season.all)+len(fresh) != live {
		m.season, f.After = visits{}, 0
		if fresh, err = tx.Visits(f); err != nil {
			return visits{}, err
		}
	}
	if len(fresh) > 0 {
		m.season = m.season.with(fresh)
		for _, v := range fresh {
			m.last = max(m.last, v.ID)
		}
	}
	return m.season, nil
}

// same returns the facts that are known already if they say what p says.
func (m *memory) same(key factsOf, p assess.Pest) *assess.Pest {
	m.mu.Lock()
	defer m.mu.Unlock()
	if old := m.facts[key]; old != nil && reflect.DeepEqual(*old, p) {
		return old
	}
	if m.facts == nil {
		m.facts = map[factsOf]*assess.Pest{}
	}
	m.facts[key] = &p
	return &p
}

// sameGrows returns the rates that are known already if they say what g says.
func (m *memory) sameGrows(of growsOf, g assess.Grows) assess.Grows {
	m.mu.Lock()
	defer m.mu.Unlock()
	if old, ok := m.grows[of]; ok && maps.Equal(old, g) {
		return old
	}
	if m.grows == nil {
		m.grows = map[growsOf]assess.Grows{}
	}
	m.grows[of] = g
	return g
}

// sameMap reports whether two maps are the very same one.
func sameMap(a, b assess.Grows) bool {
	return reflect.ValueOf(a).UnsafePointer() == reflect.ValueOf(b).UnsafePointer()
}

// known returns the assessment that was made from the same input, if one is
// kept.
func (m *memory) known(in assess.Input, pest *assess.Pest) (assess.Assessment, bool) {
	k, ok := m.kept[pairOn{in.Bed.Code, pest.Key, in.Today, in.Brief}]
	if !ok || k.pest != pest || k.in.Stage != in.Stage || k.in.StageSince != in.StageSince ||
		k.in.ActAt != in.ActAt || k.in.HoldBelow != in.HoldBelow || k.in.Confirmed != in.Confirmed || !maps.Equal(k.in.Holds, in.Holds) || !sameMap(k.in.Grows, in.Grows) ||
		!slices.Equal(k.in.Suspects, in.Suspects) || !slices.Equal(k.in.Steps, in.Steps) || !slices.Equal(k.in.Events, in.Events) ||
		!slices.EqualFunc(k.in.Visits, in.Visits, func(x, y farm.Visit) bool { return x.ID == y.ID }) {
		return assess.Assessment{}, false
	}
	for _, x := range k.out.Asked { // visits of other pests and beds may have come
		if !x.Conditions.Same(in.Noted(x.Bed, x.Day)) {
			return assess.Assessment{}, false
		}
	}
	return k.out, true
}

// keep stores an assessment.
func (m *memory) keep(in assess.Input, pest *assess.Pest, out assess.Assessment) {
	if m.kept == nil {
		m.kept = map[pairOn]*keptVerdict{}
	}
	m.kept[pairOn{in.Bed.Code, pest.Key, in.Today, in.Brief}] = &keptVerdict{in, pest, out}
}

// makeRoom drops the verdicts of other days when those of too many are kept.
func (m *memory) makeRoom(on civil.Date) {
	m.mu.Lock()
	defer m.mu.Unlock()
	days := map[civil.Date]bool{on: true}
	for k := range m.kept {
		days[k.on] = true
	}
	if len(days) > keptDays {
		m.kept, m.facts, m.grows = nil, nil, nil
	}
}
