package sampling

import (
	"math"
	"slices"
)

// drawing is what a set of stop lines is drawn from.
type drawing struct {
	q           Question
	slope       float64
	safe        law // at the safe level
	action      law // at the action level
	belief      Belief
	beliefLaws  []law
	alpha, beta float64 // aimed at; those of q unless they cannot be met
	w           walker
}

// risks returns the exact chance to act at the safe level and to hold at the
// action level.
func (d *drawing) risks(lines []Line) (alpha, beta float64) {
	return d.w.walk(lines, 0, 0, d.safe, false).act, d.w.walk(lines, 0, 0, d.action, false).hold
}

// units returns the mean number of units over the belief.
func (d *drawing) units(lines []Line) float64 {
	u := 0.0
	for i, w := range d.belief.Weights {
		u += w * d.w.walk(lines, 0, 0, d.beliefLaws[i], false).units
	}
	return u
}

// within reports whether a risk is kept, but for rounding noise.
func within(risk, asked float64) bool { return risk <= asked*(1+1e-10) }

// ok reports whether lines meet the risks aimed at.
func (d *drawing) ok(lines []Line) bool { return d.okHold(lines) && d.okAct(lines) }

func (d *drawing) okAct(lines []Line) bool {
	return within(d.w.walk(lines, 0, 0, d.safe, false).act, d.alpha)
}

func (d *drawing) okHold(lines []Line) bool {
	return within(d.w.walk(lines, 0, 0, d.action, false).hold, d.beta)
}

// straight returns two straight lines at distances low and high from
// slope·n, with no decision before the least units and all decided at the
// most, where cut acts. With early, a row also decides when the last row can
// no longer say anything else: the total has passed cut, or in a presence
// plan the units left cannot reach it. That costs nothing.
func (d *drawing) straight(low, high float64, cut int, early bool) []Line {
	lines := make([]Line, d.q.MaxUnits)
	for i := range lines {
		n := i + 1
		l := Line{n, -1, Never}
		switch {
		case n == d.q.MaxUnits:
			l.Hold, l.Act = cut-1, cut
		case n >= d.q.MinUnits:
			c := d.slope * float64(n)
			l.Act = max(1, int(math.Ceil(c+high)))
			if early {
				l.Act = min(l.Act, cut)
			}
			l.Hold = int(math.Floor(c - low))
			if early && d.q.shares() {
				l.Hold = max(l.Hold, cut-1-(d.q.MaxUnits-n))
			}
			if early {
				l.Hold = min(l.Hold, cut-1)
			}
			l.Hold = max(-1, min(l.Hold, l.Act-1))
		}
		lines[i] = l
	}
	return lines
}

// fixedRisks returns the risks when all n units are looked at and cut acts.
// With one k, no rule that looks at the total of at most n units has a lower
// beta at the same alpha (Neyman & Pearson).
func (q Question) fixedRisks(n, cut int) (alpha, beta float64) {
	lo, hi := q.levels()
	_, alpha = q.totals(n, cut-1, lo, 1)
	beta, _ = q.totals(n, cut-1, hi, 1)
	return alpha, beta
}

// cuts returns the smallest and the largest total to act at after n units
// with which a sample of n keeps alpha and beta; first > last when none does.
func (q Question) cuts(n int, alpha, beta float64) (first, last int) {
	lo, hi := q.levels()
	top := n
	if !q.shares() {
		top = int(float64(n)*hi*2) + 2
	}
	// alpha falls and beta rises with the cut. Closed forms and convolutions
	// agree to about 1e-9; a cut that just does it must not be lost for that.
	alpha, beta = alpha*(1+1e-6), beta*(1+1e-6)
	first = smallest(1, top+1, func(cut int) bool {
		_, a := q.totals(n, cut-1, lo, 1)
		return within(a, alpha)
	})
	last = smallest(1, top+1, func(cut int) bool {
		b, _ := q.totals(n, cut-1, hi, 1)
		return !within(b, beta)
	}) - 1
	return first, last
}

// smallest returns the smallest whole number from a to b that is ok, where ok
// once true stays true; b when none before it is.
func smallest(a, b int, ok func(int) bool) int {
	for a < b {
		if m := a + (b-a)/2; ok(m) {
			b = m
		} else {
			a = m + 1
		}
	}
	return a
}

// needUnits returns the smallest fixed sample that keeps both risks, or 0
// when none up to most does. Because totals are whole numbers a number of
// units may do while the next does not: the last few are tried one by one.
func (q Question) needUnits(most int) int {
	ok := func(n int) bool {
		first, last := q.cuts(n, q.Alpha, q.Beta)
		return first <= last
	}
	hi := 1
	for hi < most && !ok(hi) {
		hi = min(most, 2*hi)
	}
	n := smallest(hi/2+1, hi, ok)
	for m := max(1, n-12); m <= n; m++ {
		if ok(m) {
			return m
		}
	}
	return 0
}

// tuned returns lines that keep the risks aimed at. When the most units is
// too few for the asked ones, the aim is widened evenly, to a little over what
// that many units can do, so that clear cases still end early.
func (d *drawing) tuned() []Line {
	q := d.q
	d.alpha, d.beta = q.Alpha, q.Beta
	first, last := q.cuts(q.MaxUnits, d.alpha, d.beta)
	if first > last {
		// A fixed sample steps from one whole total to the next; stopping early
		// mixes the two and may just keep both risks. So may a few units fewer.
		for cut := max(last, 1); cut <= first && cut <= last+2; cut++ {
			if lines := d.closest(cut); d.ok(lines) {
				d.polish(lines)
				return lines
			}
		}
		for n := q.MaxUnits - 1; n >= max(q.MinUnits, q.MaxUnits-12); n-- {
			if f, l := q.cuts(n, d.alpha, d.beta); f > l {
				continue
			}
			less := *d
			less.q.MaxUnits = n
			lines := less.tuned()
			for row := lines[n-1]; len(lines) < q.MaxUnits; { // not reached
				row.N++
				lines = append(lines, row)
			}
			return lines
		}
		r := math.Inf(1)
		for c := min(first, last); c <= max(first, last)+1; c++ {
			a, b := q.fixedRisks(q.MaxUnits, max(c, 1))
			r = math.Min(r, math.Max(a/q.Alpha, b/q.Beta))
		}
		const slack = 1.15
		r = math.Max(1, r) * slack
		d.alpha, d.beta = math.Min(r*q.Alpha, 0.5), math.Min(r*q.Beta, 0.5)
		if first, last = q.cuts(q.MaxUnits, d.alpha, d.beta); first > last {
			first = last
		}
	}
	first, last = max(first, 1), max(last, 1)
	// Among the cuts that can do it the one nearest to the slope is taken,
	// unless another saves a hundredth of the units over the belief.
	middle := int(math.Round(d.slope * float64(q.MaxUnits)))
	near := min(max(middle, first), last)
	tries := []int{near, first, (3*first + last) / 4, (first + last) / 2, (first + 3*last) / 4, last}
	var best []Line
	fewest := math.Inf(1)
	most := d.w.work + polishWork
	for i, cut := range tries {
		if slices.Contains(tries[:i], cut) || best != nil && d.w.work > most {
			continue
		}
		lines := d.closest(cut)
		if u := d.units(lines); u < 0.99*fewest {
			best, fewest = lines, u
		}
	}
	d.polish(best)
	return best
}

// closest returns the straight lines nearest to the slope that keep the risks
// aimed at. Moving one line out lowers one risk and may raise the other, so
// the two are moved out by turns until both risks hold: what is reached is the
// least pair, since every step was needed. Lines so far out that they decide
// nothing before the last row are the plain fixed sample, which keeps them.
func (d *drawing) closest(cut int) []Line {
	most := float64(cut) + d.slope*float64(d.q.MaxUnits) + 2
	low, high := 0.0, 0.0
	step := math.Max(0.25, float64(cut)/400)
	out := func(v float64, ok func(float64) bool) float64 {
		if v >= most || ok(v) {
			return v
		}
		bad, by := v, step
		for v = bad + by; v < most && !ok(v); v = bad + by {
			bad, by = v, by*2
		}
		good := math.Min(v, most)
		for good-bad > step {
			if m := (good + bad) / 2; ok(m) {
				good = m
			} else {
				bad = m
			}
		}
		return good
	}
	for range 60 {
		l, h := low, high
		high = out(high, func(v float64) bool {
			return d.okAct(d.straight(low, v, cut, true))
		})
		low = out(low, func(v float64) bool {
			return d.okHold(d.straight(v, high, cut, true))
		})
		if low == l && high == h {
			break
		}
	}
	return d.straight(low, high, cut, true)
}

// polishWork bounds the multiplications spent on trying other cuts, and again
// on polishing: both end earlier where totals are large and whole numbers
// matter little.
const polishWork = 25_000_000

// polish uses up what whole numbers left of the risks: row by row, from the
// first, a line is moved in as long as both risks hold and the line never
// falls from one row to the next. No move can raise the mean number of units
// at any density.
func (d *drawing) polish(lines []Line) {
	if !d.ok(lines) {
		return
	}
	most := d.w.work + polishWork
	// push moves row i by the largest steps that fit, and reports whether it
	// moved.
	push := func(i int, by int, fits func(Line) bool, move func(*Line, int)) (moved bool) {
		for ; by >= 1; by /= 2 {
			for d.w.work < most {
				old := lines[i]
				move(&lines[i], by)
				if !fits(lines[i]) || !d.ok(lines) {
					lines[i] = old
					break
				}
				moved = true
			}
		}
		return moved
	}
	for range 3 {
		changed := false
		for i := d.q.MinUnits - 1; i < len(lines)-1; i++ {
			by := max(1, (lines[i].Act-lines[i].Hold)/16)
			up := push(i, by, func(l Line) bool { return l.Hold < l.Act && l.Hold <= lines[i+1].Hold },
				func(l *Line, by int) { l.Hold += by })
			down := push(i, by, func(l Line) bool {
				return l.Act > l.Hold && l.Act >= 1 && (i == 0 || !lines[i-1].CanAct() || l.Act >= lines[i-1].Act)
			}, func(l *Line, by int) { l.Act -= by })
			changed = changed || up || down
		}
		if !changed {
			break
		}
	}
}

// confidence returns Iwao's lines at multiplier t: the last row acts at the
// threshold.
func (d *drawing) confidence(t float64) []Line {
	v := d.q.Threshold * (1 - d.q.Threshold)
	at := d.q.Threshold
	switch {
	case d.q.Presence && !d.q.Percent:
		at = d.q.share(d.q.Threshold, 1)
		v = at * (1 - at)
	case !d.q.Percent:
		v = d.q.Clump.variance(at)
	}
	old := d.slope
	defer func() { d.slope = old }()
	d.slope = at
	cut := max(1, RoundUp(float64(d.q.MaxUnits)*at))
	lines := d.straight(0, 0, cut, false)
	for i := d.q.MinUnits - 1; i < len(lines)-1; i++ {
		lo, hi, err := confidenceLines(i+1, at, v, t)
		if err != nil { // the threshold and the law were checked
			panic("sampling: " + err.Error())
		}
		lines[i].Act = max(1, whole(math.Ceil(hi)))
		lines[i].Hold = max(-1, min(whole(math.Floor(lo)), lines[i].Act-1))
	}
	return lines
}

// confident returns Iwao's lines with the smallest multiplier, in steps of
// 0.05, that keeps both risks; or the one that comes nearest.
func (d *drawing) confident() (lines []Line, t float64) {
	near := math.Inf(1)
	for i := 4; i <= 100; i++ {
		at := float64(i) / 20
		l := d.confidence(at)
		a, b := d.risks(l)
		r := math.Max(a/d.q.Alpha, b/d.q.Beta)
		if r < near-1e-9 {
			near, lines, t = r, l, at
		}
		if r <= 1 {
			break
		}
	}
	return lines, t
}
