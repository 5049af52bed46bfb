package belief

import "math"

// Ahead answers for the belief that Carry would give, at a quarter of the cost
// of making it: chances of being over a level need no density at every point.
// The zero Ahead speaks of the weak belief.
type Ahead struct {
	from   Belief
	days   int
	growth Growth

	read  *Reader // where carrying changes nothing but the date, or all
	u, p  []float64
	sd    float64
	share float64 // of the weak belief
	whole float64 // of what the blur leaves on the grid
}

var weakReader = newReader(curve{f: weakLn[:]})

// LookAhead prepares the belief of some days later. Errors are those of Carry.
func LookAhead(b Belief, days int, g Growth) (*Ahead, error) {
	a := &Ahead{from: b, days: days, growth: g}
	if err := carryable(days, g); err != nil {
		return nil, err
	}
	var start carryStart
	b, start = b.start(days, g)
	switch {
	case b.IsWeak():
		a.read = weakReader
		return a, nil
	case days == 0:
		a.read = b.Read()
		return a, nil
	}
	a.sd, a.share = start.sd, start.weak
	w := rooms.Get().(*room)
	defer rooms.Put(w)
	u, every := gridU[:], 1
	var p []float64
	if bend := bendOf(b.ln); !(bend <= sharpest) {
		u, p, _ = gauss(b.curve(), a.sd/1.5)
	} else {
		every, _ = thinned(bend, a.sd)
		p = w.atoms(b.ln, every)
	}
	count := 0
	for _, m := range p {
		if m >= 1e-17 {
			count++
		}
	}
	a.u, a.p = make([]float64, 0, count), make([]float64, 0, count)
	for i, m := range p {
		if m >= 1e-17 {
			a.u = append(a.u, math.Min(math.Max(u[i*every]+start.shift, gridU[0]), gridU[points-1]))
			a.p = append(a.p, m)
		}
	}
	a.whole = a.above(gridU[0]) - a.above(gridU[points-1])
	return a, nil
}

// above is the mass of the blurred atoms over a ln density.
func (a *Ahead) above(at float64) float64 {
	sum := 0.0
	for i, u := range a.u {
		switch z := (u - at) / a.sd; {
		case z > 8.5:
			sum += a.p[i]
		case z > -8.5:
			sum += a.p[i] * math.Erfc(-z/math.Sqrt2) / 2
		}
	}
	return sum
}

// Exceeds is Belief.Exceeds of the carried belief.
func (a *Ahead) Exceeds(threshold float64) float64 {
	if a == nil || a.u == nil && a.read == nil {
		return weakReader.Exceeds(threshold)
	}
	if a.read != nil || math.IsNaN(threshold) || threshold <= Lowest || threshold > Highest {
		r := a.read
		if r == nil {
			r = weakReader
		}
		return r.Exceeds(threshold)
	}
	over := a.above(math.Log(threshold)) - a.above(gridU[points-1])
	return ((1-a.share)*over + a.share*weakReader.Exceeds(threshold)) / ((1-a.share)*a.whole + a.share)
}

// Belief makes the carried belief.
func (a *Ahead) Belief() Belief {
	if a == nil {
		return Weak()
	}
	return a.After(a.days)
}

// Days is how far ahead the belief was asked for.
func (a *Ahead) Days() int { return a.days }

// After is the belief some days after the one that was looked ahead from, 0 to
// Days, on the same growth.
func (a *Ahead) After(days int) Belief {
	b, err := Carry(a.from, days, a.growth)
	if err != nil { // LookAhead has asked already
		return Belief{Date: a.from.Date}
	}
	return b
}
