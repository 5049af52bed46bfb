package sampling_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/sampling"
)

// enumerate plays a plan over every sequence of counts, one by one. pmf are the
// chances of 0, 1, 2, ... on a unit; what they leave out to 1 is a count that
// is over every line.
func enumerate(lines []sampling.Line, pmf []float64) (act, hold, units float64) {
	over := 1.0
	for _, p := range pmf {
		over -= p
	}
	var next func(n, total int, chance float64)
	next = func(n, total int, chance float64) {
		for x := range len(pmf) + 1 {
			p := over
			if x < len(pmf) {
				p = pmf[x]
			}
			switch l, t := lines[n], total+x; {
			case t >= l.Act:
				act += chance * p
				units += chance * p * float64(n+1)
			case t <= l.Hold:
				hold += chance * p
				units += chance * p * float64(n+1)
			default:
				next(n+1, t, chance*p)
			}
		}
	}
	next(0, 0, 1)
	return act, hold, units
}

// counts are the chances of 0 to most animals on a unit: negative binomial by
// the recursion p(x+1) = p(x) (x+k)/(x+1) m/(k+m), Poisson for k = +Inf.
func counts(m, k float64, most int) []float64 {
	p := []float64{math.Pow(k/(k+m), k)}
	if math.IsInf(k, 1) {
		p[0] = math.Exp(-m)
	}
	for x := range most {
		f := m
		if !math.IsInf(k, 1) {
			f = (float64(x) + k) * m / (k + m)
		}
		p = append(p, p[x]*f/float64(x+1))
	}
	return p
}

// The exact risks and mean numbers of units, with a least number of units and
// without, against every sequence of counts there is.
func TestPlan_AgainstEnumeration(t *testing.T) {
	for _, c := range []struct {
		name string
		q    sampling.Question
	}{
		{"k", sampling.Question{Threshold: 1, Clump: sampling.Clump{K: 0.8}, MinUnits: 1, MaxUnits: 6}},
		{"k, at least 4", sampling.Question{Threshold: 1, Clump: sampling.Clump{K: 0.8}, MinUnits: 4, MaxUnits: 6}},
		{"Poisson, at least 3", sampling.Question{Threshold: 1, Clump: sampling.Clump{K: math.Inf(1)}, MinUnits: 3, MaxUnits: 6}},
		{"Taylor, at least 3", sampling.Question{Threshold: 1.5, Clump: sampling.Clump{TaylorA: 2, TaylorB: 1.4}, MinUnits: 3, MaxUnits: 5}},
		{"share, at least 6", sampling.Question{Threshold: 0.2, Percent: true, MinUnits: 6, MaxUnits: 14}},
		{"tally, at least 5", sampling.Question{Threshold: 2, Presence: true, Tally: 1, Clump: sampling.Clump{K: 0.8}, MinUnits: 5, MaxUnits: 12}},
	} {
		for _, m := range []sampling.Method{sampling.MethodTuned, sampling.MethodWald, sampling.MethodIwao} {
			q := c.q
			q.Method = m
			p := plan(t, q)
			top := 1
			for _, l := range p.Lines {
				if l.CanAct() {
					top = max(top, l.Act)
				}
			}
			for _, level := range []float64{0.5 * q.Threshold, q.Threshold, 1.5 * q.Threshold} {
				k := q.Clump.At(level)
				var pmf []float64
				switch {
				case q.Percent:
					pmf = []float64{1 - level, level}
				case q.Presence:
					few := counts(level, k, q.Tally)
					pmf = []float64{few[0] + few[1], 1 - few[0] - few[1]}
				default:
					pmf = counts(level, k, top-1)
				}
				act, hold, units := enumerate(p.Lines, pmf)
				r := must[sampling.Risk](t)(p.Risk(level, 1))
				require.InDelta(t, act, r.Act, 1e-9, "%s, %s at %v", c.name, m, level)
				require.InDelta(t, hold, r.Hold, 1e-9, "%s, %s at %v", c.name, m, level)
				require.InDelta(t, units, r.Units, 1e-8, "%s, %s at %v", c.name, m, level)
				require.GreaterOrEqual(t, units, float64(q.MinUnits)-1e-9)
			}
		}
	}
}
