package sampling

import (
	"math"
)

// FixedPlan returns the rule of a printed protocol as a plan: look at n units,
// then act if the mean (or the share infested) is at or over the threshold.
// Its exact risks can then be set beside those of MakePlan. MinUnits, MaxUnits,
// Method and T of q are not used. A presence rule for a threshold in animals
// acts at the share that the threshold stands for.
// Errors: as for MakePlan.
func FixedPlan(q Question, n int) (Plan, error) {
	q.MinUnits, q.MaxUnits, q.Method, q.T = n, n, MethodIwao, 0
	if n < 1 {
		q.MinUnits = 1 // so that the most units is what is refused
	}
	q, err := q.filled()
	if err != nil {
		return Plan{}, err
	}
	p := newPlan(q)
	at := q.Threshold
	if q.shares() {
		at = q.share(at, 1)
	}
	cut := max(1, RoundUp(float64(n)*at))
	for i := range n {
		p.Lines = append(p.Lines, Line{i + 1, -1, Never})
	}
	p.Lines[n-1] = Line{n, cut - 1, cut}
	p.finish()
	return p, nil
}

// Size returns how many units give a mean to precision D (SE/mean at z = 1,
// half-width/mean at z = 1.96) under the clumping c: NegBin, Taylor or Iwao.
// Sources: Karandinos 1976; Southwood 1978 (see General).
func (c Clump) Size(mean, d, z float64) (float64, error) {
	if w := c.check(); w != "" {
		return 0, problem("give k, or a and b of Taylor's law, or alpha and beta of Iwao's", "%s", w)
	}
	switch {
	case c.K > 0:
		return NegBin(mean, c.K, d, z)
	case c.TaylorA > 0:
		return Taylor(mean, c.TaylorA, c.TaylorB, d, z)
	}
	return Iwao(mean, c.IwaoAlpha, c.IwaoBeta, d, z)
}

// PrecisionRow is one row of a stop table for a fixed precision: after N units
// stop as soon as the running total is Total or more.
type PrecisionRow struct {
	N     int
	Total int     // Never where no total is enough yet
	Exact float64 // the line before rounding up; 0 where there is none
}

// PrecisionTable returns the stop lines for a mean known to D = SE/mean, at
// every number of units given: Green's line for Taylor's law, Kuno's for k and
// for Iwao's law (with k, alpha = 0 and beta = 1 + 1/k). An estimate of the
// density to a fixed precision needs far more units than a decision: see
// MakePlan. Errors: estimate.ErrDomain; Taylor's b must be below 2.
func (c Clump) PrecisionTable(d float64, units []int) ([]PrecisionRow, error) {
	if w := c.check(); w != "" {
		return nil, problem("give k, or a and b of Taylor's law, or alpha and beta of Iwao's", "%s", w)
	}
	var out []PrecisionRow
	for _, n := range units {
		r := PrecisionRow{N: n, Total: Never}
		var err error
		ok := true
		switch {
		case c.TaylorA > 0:
			r.Exact, err = GreenLine(n, c.TaylorA, c.TaylorB, d)
		case c.K > 0:
			r.Exact, ok, err = KunoLine(n, 0, 1+1/c.K, d)
		default:
			r.Exact, ok, err = KunoLine(n, c.IwaoAlpha, c.IwaoBeta, d)
		}
		if err != nil {
			return nil, err
		}
		if ok && r.Exact < math.MaxInt32 {
			r.Total = RoundUp(r.Exact)
		}
		out = append(out, r)
	}
	return out, nil
}

// ShareTable is PrecisionTable for the number of infested units, when the share
// infested is to be known to D = SE/share. From D² = (1 - p)/(n p) and p = T/n
// it follows that T = n/(1 + n D²), which is below 1/D² at every n.
// Errors: estimate.ErrDomain.
func ShareTable(d float64, units []int) ([]PrecisionRow, error) {
	var out []PrecisionRow
	for _, n := range units {
		if n < 1 || !pos(d) {
			return nil, problem("give a precision above 0 and numbers of units from 1 on", "precision %v at %d units", d, n)
		}
		t := float64(n) / (1 + float64(n)*d*d)
		out = append(out, PrecisionRow{N: n, Total: RoundUp(t), Exact: t})
	}
	return out, nil
}

// SheetUnits returns the numbers of units of a paper table: every one up to
// 10, then every fifth, and the last; none for more than 100,000.
func SheetUnits(most int) []int {
	var out []int
	if most > 100_000 {
		return nil
	}
	for n := 1; n <= most; n++ {
		if n <= 10 || n%5 == 0 || n == most {
			out = append(out, n)
		}
	}
	return out
}
