package round

import (
	"cmp"
	"math"
	"slices"
)

// Place is a bed on the map. One that is not Known takes no walking. Places
// that are Last are walked after all others.
type Place struct {
	Point
	Known, Last bool
}

// Look is one pest to look at in one place.
type Look struct {
	Place   int
	Minutes float64
	Risk    float64 // chance of passing the level unseen times what waiting costs
	Must    bool    // left out only after all that are not; for instance where the risk is unknown
}

// Choice is what to look at within the time.
type Choice struct {
	Keep    []bool // by look
	Order   []int  // the places on the map that are walked
	Minutes float64
	Metres  float64
	Short   float64 // minutes that all the musts need beyond the time, by the walk found
	Out     int     // musts left out
	OutMin  int     // no choice within the time leaves out fewer musts than this
	Lost    float64 // risk of the looks left out
	Least   float64 // no choice within the time leaves out as few musts and less risk than this
	Proven  bool    // Out and Lost are the least there are
}

// nodes bounds the search, so that an odd farm gets an answer with its gap
// instead of none.
const nodes = 100_000

// Best returns which looks to keep within the minutes, the walk between their
// places included: it leaves out as few musts as can be, and of such choices
// it takes one whose looks left out carry the least risk; of those, one with
// more looks. The minutes are never exceeded.
//
// The search is branch and bound over places. A branch is cut when even the
// best filling of its time cannot reach the best choice found; the time left
// is reckoned by two bounds of the walk, the shortest tree over the places
// chosen and the way into each place from its nearest neighbour. Walks of up
// to twelve places are exact; of more, a choice that the walk found does not
// fit and no bound rules out leaves a gap between Lost and Least, and so does
// a search that comes to its limit of nodes.
func Best(places []Place, looks []Look, minutes, speed float64) Choice {
	s := newSearch(places, looks, minutes, speed)
	s.prepare(true)
	w := s.walk()
	short := s.spent + w.minutes - minutes
	if short > slack && !w.exact {
		w = s.deep()
		short = s.spent + w.minutes - minutes
	}
	if short > slack { // then musts are left out too, after all else
		s = newSearch(places, looks, minutes, speed)
		s.prepare(false)
	}
	s.best, s.bestValue = slices.Clone(s.keep), 0
	s.startFrom()
	s.branch(0, 0)

	c := s.choice(s.best)
	all, value := 0.0, 0.0 // the risk of what may be left out, and of what of it is kept
	musts, kept := 0, 0
	for i, l := range looks {
		switch {
		case l.Must && s.best[i]:
			kept++
		case l.Must:
			c.Out++
		}
		if l.Must {
			musts++
		}
		if !l.Must || s.force > 0 {
			all += l.Risk
			if s.best[i] {
				value += l.Risk
			}
		}
	}
	if c.Out > 0 {
		c.Short = short
	}
	gap := math.Max(0, s.open-s.bestValue)
	c.Proven = gap <= 1e-7
	c.OutMin, c.Least = c.Out, c.Lost
	if !c.Proven {
		if s.force > 0 {
			c.OutMin = max(0, musts-int((s.bestValue+gap)/s.force+slack))
		}
		c.Least = math.Max(0, all-value-gap*s.unit)
	}
	return c
}

const (
	slack = 1e-9
	// more is what a look counts beside its risk, so that of equal choices the
	// one with more looks is taken.
	more = 1e-9
)

// group is the looks of one place that may be left out.
type group struct {
	place   int
	options []option // the empty one last
	entry   float64  // minutes of the shortest way into the place
}

type option struct {
	looks          []int
	minutes, value float64
}

type walked struct {
	order   []int
	metres  float64
	minutes float64
	exact   bool
}

type search struct {
	unit          float64 // risk that counts as 1: that of all looks
	force         float64 // what a must counts beside its risk; 0 while all are kept
	places        []Place
	looks         []Look
	budget, speed float64
	groups        []group
	entry         []float64 // by place, in minutes; 0 for a place not known
	largest       float64   // of entry
	free, paid    [][]float64
	scale         float64

	keep      []bool
	in        []int // looks kept by place
	spent     float64
	ways      float64 // sum of entry over the places in
	best      []bool
	bestValue float64
	open      float64 // the most value that a branch not searched might hold
	visited   int
	walks     map[string]walked
	trees     map[string]float64
}

func newSearch(places []Place, looks []Look, minutes, speed float64) *search {
	s := &search{places: places, looks: looks, budget: minutes, speed: speed, walks: map[string]walked{}, keep: make([]bool, len(looks)), in: make([]int, len(places))}
	for _, l := range looks {
		s.unit += l.Risk
	}
	if s.unit <= 0 {
		s.unit = 1
	}
	return s
}

// value is what keeping a look is worth.
func (s *search) value(i int) float64 {
	v := s.looks[i].Risk/s.unit + more
	if s.looks[i].Must {
		v += s.force
	}
	return v
}

// prepare makes the groups of what may be left out: all looks but the musts,
// or with keepMusts false the musts too, each worth more than all the risk.
func (s *search) prepare(keepMusts bool) {
	if !keepMusts {
		s.force = 2
	}
	s.trees = map[string]float64{}
	s.entry = make([]float64, len(s.places))
	for i, p := range s.places {
		if !p.Known {
			continue
		}
		near := math.Inf(1)
		for j, q := range s.places {
			if i != j && q.Known {
				near = math.Min(near, p.to(q.Point))
			}
		}
		if !math.IsInf(near, 1) {
			s.entry[i] = near / s.speed
			s.largest = math.Max(s.largest, s.entry[i])
		}
	}
	by := map[int][]int{}
	for i, l := range s.looks {
		if l.Must && keepMusts {
			s.add(i)
		} else {
			by[l.Place] = append(by[l.Place], i)
		}
	}
	for place, list := range by {
		entry := s.entry[place]
		if s.in[place] > 0 {
			entry = 0 // a must leads there anyway
		}
		for len(list) > 0 { // more than 8 looks in a place are groups of their own
			n := min(len(list), 8)
			s.groups = append(s.groups, s.group(place, entry, list[:n]))
			list, entry = list[n:], 0
		}
	}
	worth := func(g group) float64 { return g.options[0].value / (g.options[0].minutes + g.entry + slack) }
	slices.SortFunc(s.groups, func(a, b group) int {
		return cmp.Or(cmp.Compare(worth(b), worth(a)), cmp.Compare(a.options[0].looks[0], b.options[0].looks[0]))
	})
	s.tables()
}

// group lists what can be kept of the looks of a place, the most value first,
// leaving out what takes longer and brings no more.
func (s *search) group(place int, entry float64, list []int) group {
	g := group{place: place, entry: entry}
	var all []option
	for set := range 1 << len(list) {
		var o option
		for k, i := range list {
			if set&(1<<k) != 0 {
				o.looks = append(o.looks, i)
				o.minutes += s.looks[i].Minutes
				o.value += s.value(i)
			}
		}
		all = append(all, o)
	}
	slices.SortStableFunc(all, func(a, b option) int {
		return cmp.Or(cmp.Compare(b.value, a.value), cmp.Compare(a.minutes, b.minutes))
	})
	for _, o := range all {
		if n := len(g.options); n == 0 || o.minutes < g.options[n-1].minutes || len(o.looks) == 0 {
			g.options = append(g.options, o)
		}
	}
	return g
}

// tables works out the most value that the groups from i on can bring in a
// time: free of any walking, and with the way into each place paid.
func (s *search) tables() {
	total := 0.0
	for _, g := range s.groups {
		total += g.options[0].minutes + g.entry
	}
	top := math.Min(total, s.budget+s.largest)
	s.scale = math.Max(0.01, top/4000) // minutes a column; costs are rounded down, so the bound holds
	n := max(int(top/s.scale), 0) + 1
	s.free, s.paid = make([][]float64, len(s.groups)+1), make([][]float64, len(s.groups)+1)
	last := len(s.groups)
	s.free[last], s.paid[last] = make([]float64, n+1), make([]float64, n+1)
	for i := last - 1; i >= 0; i-- {
		s.free[i], s.paid[i] = slices.Clone(s.free[i+1]), slices.Clone(s.paid[i+1])
		for _, o := range s.groups[i].options {
			if len(o.looks) == 0 {
				continue
			}
			for k, t := range [][][]float64{s.free, s.paid} {
				c := o.minutes
				if k == 1 {
					c += s.groups[i].entry
				}
				cost := max(int(c/s.scale-slack), 0)
				for m := cost; m <= n; m++ {
					t[i][m] = math.Max(t[i][m], o.value+t[i+1][m-cost])
				}
			}
		}
	}
}

func (s *search) add(i int) {
	p := s.looks[i].Place
	s.keep[i] = true
	s.spent += s.looks[i].Minutes
	if s.in[p]++; s.in[p] == 1 {
		s.ways += s.entry[p]
	}
}

func (s *search) drop(i int) {
	p := s.looks[i].Place
	s.keep[i] = false
	s.spent -= s.looks[i].Minutes
	if s.in[p]--; s.in[p] == 0 {
		s.ways -= s.entry[p]
	}
}

// bound is the most value that this branch can still add, below 0 when what
// it holds does not fit already.
func (s *search) bound(i int) float64 {
	look := func(table []float64, left float64) float64 {
		if left < -slack {
			return math.Inf(-1)
		}
		return table[min(int((left+slack)/s.scale), len(table)-1)]
	}
	left := s.budget - s.spent
	// One place of a walk is its start and needs no way in: the largest is given back.
	return math.Min(look(s.free[i], left-s.tree()), look(s.paid[i], left-s.ways+s.largest))
}

// branch tries what may be kept of the groups from i on.
func (s *search) branch(i int, value float64) {
	b := value + s.bound(i)
	if b <= s.bestValue+slack/10 {
		return
	}
	if s.visited++; s.visited > nodes {
		s.open = math.Max(s.open, b)
		return
	}
	if i == len(s.groups) {
		s.leaf(value)
		return
	}
	for _, o := range s.groups[i].options {
		for _, k := range o.looks {
			s.add(k)
		}
		s.branch(i+1, value+o.value)
		for _, k := range o.looks {
			s.drop(k)
		}
	}
}

// leaf takes a choice when its walk fits.
func (s *search) leaf(value float64) {
	w := s.walk()
	late := func() bool { return s.spent+w.minutes > s.budget+slack }
	if late() && !w.exact && s.spent+s.ascent() <= s.budget+slack {
		w = s.deep()
	}
	switch {
	case !late():
		s.best, s.bestValue = slices.Clone(s.keep), value
	case !w.exact && s.spent+s.ascent() <= s.budget+slack:
		s.open = math.Max(s.open, value) // nobody knows whether a shorter walk fits
	}
}

// startFrom makes a first choice to hold the others against: without the
// walk, then with less time until the walk fits as well.
func (s *search) startFrom() {
	var tasks []Task
	var looks []int
	room := 0
	for i, l := range s.looks {
		if s.keep[i] {
			continue
		}
		tasks, looks = append(tasks, Task{Minutes: int(math.Ceil(l.Minutes)), Risk: s.value(i)}), append(looks, i)
		room += int(math.Ceil(l.Minutes))
	}
	for left := min(int(s.budget-s.spent), room); left > 0; {
		value := 0.0
		var added []int
		for k, keep := range Choose(tasks, left) {
			if keep {
				s.add(looks[k])
				added = append(added, looks[k])
				value += tasks[k].Risk
			}
		}
		excess := s.spent + s.walk().minutes - s.budget
		fits := excess <= slack
		left -= max(1, int(excess))
		if fits && value > s.bestValue {
			s.best, s.bestValue = slices.Clone(s.keep), value
		}
		for _, i := range added {
			s.drop(i)
		}
		if fits {
			return
		}
	}
}

func (s *search) choice(keep []bool) Choice {
	c := Choice{Keep: slices.Clone(keep)}
	in := make([]bool, len(s.places))
	for i, l := range s.looks {
		if keep[i] {
			c.Minutes += l.Minutes
			in[l.Place] = true
		} else {
			c.Lost += l.Risk
		}
	}
	var list []int
	for p, ok := range in {
		if ok && s.places[p].Known {
			list = append(list, p)
		}
	}
	w := s.walkOf(list)
	c.Order, c.Metres = w.order, w.metres
	c.Minutes += c.Metres / s.speed
	return c
}

// chosen are the known places in, and a word for the set of them.
func (s *search) chosen() (list []int, key string) {
	for p, n := range s.in {
		if n > 0 && s.places[p].Known {
			list = append(list, p)
		}
	}
	return list, s.word(list)
}

func (s *search) word(list []int) string {
	b := make([]byte, (len(s.places)+7)/8)
	for _, p := range list {
		b[p/8] |= 1 << (p % 8)
	}
	return string(b)
}

func (s *search) walk() walked {
	list, _ := s.chosen()
	return s.walkOf(list)
}

func (s *search) walkOf(list []int) walked {
	key := s.word(list)
	w, ok := s.walks[key]
	if !ok {
		w.order, w.metres, w.exact = Legs(s.places, list)
		w.minutes = w.metres / s.speed
		s.walks[key] = w
	}
	return w
}

// deep looks harder for a short walk over the places in: the shortest where
// they are not too many.
func (s *search) deep() walked {
	list, key := s.chosen()
	two := legs(s.places, list)
	if max(len(two[0]), len(two[1])) > deepBeds {
		w := s.walks[key]
		if order, metres := manyStarts(s.places, two); metres < w.metres {
			w.order, w.metres, w.minutes = order, metres, metres/s.speed
			s.walks[key] = w
		}
		return w
	}
	order, metres := shortestLegs(s.places, two)
	s.walks[key] = walked{order: order, metres: metres, minutes: metres / s.speed, exact: true}
	return s.walks[key]
}
