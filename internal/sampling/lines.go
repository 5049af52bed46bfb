package sampling

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat/distuv"

	"leafturn/internal/estimate"
)

func normalQuantile(p float64) float64 { return distuv.UnitNormal.Quantile(p) }

// Line is one row of a table of stop lines: after N units hold at a running
// total of Hold or less and act at Act or more. Hold is -1 where no total can
// hold yet, Act is Never where none can act yet.
type Line struct{ N, Hold, Act int }

// Never is a total that is not reached.
const Never = math.MaxInt

// CanHold reports whether some total holds at this row.
func (l Line) CanHold() bool { return l.Hold >= 0 }

// CanAct reports whether some total acts at this row.
func (l Line) CanAct() bool { return l.Act != Never }

// decide returns what a total means at this row.
func (l Line) decide(total int) Stop {
	switch {
	case total >= l.Act:
		return StopAct
	case total <= l.Hold:
		return StopHold
	}
	return GoOn
}

// law is the distribution of what one unit adds to the total: pmf[x], and
// tail[x] the chance of x or more. Both end at the largest total of use.
type law struct{ pmf, tail []float64 }

// countLaw is negative binomial; shareLaw adds 1 with chance p.
func countLaw(mean, k float64, top int) law {
	l := law{make([]float64, top+1), make([]float64, top+2)}
	l.tail[top+1] = estimate.Survival(top, mean, k)
	for x := top; x >= 0; x-- {
		l.pmf[x] = math.Exp(estimate.LogPMF(x, mean, k))
		l.tail[x] = l.tail[x+1] + l.pmf[x]
	}
	return l
}

func shareLaw(p float64) law { return law{[]float64{1 - p, p}, []float64{1, p, 0}} }

// law returns what one unit adds at a level, with k times factor.
func (q Question) law(level, factor float64, top int) law {
	if q.shares() {
		return shareLaw(q.share(level, factor))
	}
	return countLaw(level, q.k(level, factor), top)
}

// passage is where the walk between the lines ends.
type passage struct {
	hold, act float64
	units     float64   // mean number of further units
	stopped   []float64 // stopped[i]: chance to have stopped by row i
}

// walker carries the distribution of the running total from unit to unit and
// takes out what crosses a line. It keeps its scratch space between walks.
// Chances under 1e-20 are dropped: a whole walk loses less than 1e-14.
type walker struct {
	live, next []float64
	work       int // multiplications so far
}

// walk begins after from units with a total that has not been decided, and
// follows lines (row i is for i+1 units; the last row decides everything).
//
// Cost: the sum over rows of the square of the width between the lines.
// Source: direct enumeration; compare Nyrop & Binns 1991 (from memory).
func (w *walker) walk(lines []Line, from, total int, l law, keep bool) passage {
	var out passage
	if keep {
		out.stopped = make([]float64, len(lines))
	}
	live, lo := append(w.live[:0], 1), total
	next := w.next
	mass, pending := 1.0, 0.0 // pending: sure to act at the next row that decides
	for i := from; i < len(lines); i++ {
		// The next act line bounds the totals that matter: totals never fall.
		limit := Never
		for _, r := range lines[i:] {
			if r.CanAct() {
				limit = r.Act
				break
			}
		}
		out.units += mass
		width := limit - lo
		if width > 0 {
			next = grown(next, width)
		} else {
			next = next[:0]
		}
		over := pending
		for j, q := range live {
			if q < 1e-20 {
				continue
			}
			room := width - j // totals under the limit that this one can reach
			if room <= 0 {
				over += q
				continue
			}
			if room < len(l.tail) {
				over += q * l.tail[room]
			}
			p := l.pmf[:min(room, len(l.pmf))]
			w.work += len(p)
			floats.AddScaled(next[j:j+len(p)], q, p)
		}
		row := lines[i]
		if row.CanAct() {
			out.act += over
			pending = 0
		} else {
			pending = over
		}
		cut := 0
		for cut < len(next) && lo+cut <= row.Hold {
			out.hold += next[cut]
			cut++
		}
		lo += cut
		live, next = next[cut:], live
		mass = pending
		for _, q := range live {
			mass += q
		}
		if keep {
			out.stopped[i] = math.Min(1, out.hold+out.act)
		}
		if mass < 1e-15 {
			for j := i + 1; keep && j < len(lines); j++ {
				out.stopped[j] = out.stopped[i]
			}
			break
		}
	}
	w.live, w.next = live, next
	return out
}

// grown returns s with n zeros, reusing its space.
func grown(s []float64, n int) []float64 {
	if cap(s) < n {
		return make([]float64, n, n+n/2)
	}
	s = s[:n]
	clear(s)
	return s
}

// totals of n units at a level: the chance of at most x, and of more.
func (q Question) totals(n, x int, level, factor float64) (atMost, more float64) {
	if q.shares() {
		return binomial(n, x, q.share(level, factor))
	}
	// The sum of n negative binomial counts is negative binomial with n k.
	m, k := float64(n)*level, float64(n)*q.k(level, factor)
	return estimate.CDF(x, m, k), estimate.Survival(x, m, k)
}

// binomial returns the chance of at most x of n, and of more.
func binomial(n, x int, p float64) (atMost, more float64) {
	for i := 0; i <= n; i++ {
		if b := math.Exp(logBinomial(n, i, p)); i <= x {
			atMost += b
		} else {
			more += b
		}
	}
	return math.Min(atMost, 1), math.Min(more, 1)
}

// logBinomial returns the log of the chance of x infested of n.
func logBinomial(n, x int, p float64) float64 {
	a, _ := math.Lgamma(float64(n) + 1)
	b, _ := math.Lgamma(float64(x) + 1)
	c, _ := math.Lgamma(float64(n-x) + 1)
	l := a - b - c
	if x > 0 {
		l += float64(x) * math.Log(p)
	}
	if x < n {
		l += float64(n-x) * math.Log1p(-p)
	}
	return l
}

// logTotal returns the log of the chance of a total of x on n units.
func (q Question) logTotal(n, x int, level float64) float64 {
	if q.shares() {
		if x > n {
			return math.Inf(-1)
		}
		return logBinomial(n, x, q.share(level, 1))
	}
	return estimate.LogPMF(x, float64(n)*level, float64(n)*q.Clump.At(level))
}
