package sampling_test

import (
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/diag"
	"leafturn/internal/estimate"
	"leafturn/internal/sampling"
)

// Every refusal says what was wrong and what to do.
func TestMakePlan_Refuses(t *testing.T) {
	ok := sampling.Question{Threshold: 1, Clump: sampling.Clump{K: 0.5}, MaxUnits: 20}
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		says string
		mar  func(q *sampling.Question)
	}{
		{"the threshold is 0", func(q *sampling.Question) { q.Threshold = 0 }},
		{"the threshold is NaN", func(q *sampling.Question) { q.Threshold = nan }},
		{"the threshold is +Inf", func(q *sampling.Question) { q.Threshold = inf }},
		{"a share of 10", func(q *sampling.Question) { q.Percent, q.Threshold = true, 10 }},
		{"share of 1.2", func(q *sampling.Question) { q.Percent, q.Threshold = true, 0.8 }},
		{"clumped the animals are is missing", func(q *sampling.Question) { q.Clump = sampling.Clump{} }},
		{"given twice", func(q *sampling.Question) { q.Clump.TaylorA = 2 }},
		{"k is -1", func(q *sampling.Question) { q.Clump.K = -1 }},
		{"k is NaN", func(q *sampling.Question) { q.Clump.K = nan }},
		{"Taylor's a is +Inf", func(q *sampling.Question) { q.Clump = sampling.Clump{TaylorA: inf, TaylorB: 1} }},
		{"Iwao's alpha is -2", func(q *sampling.Question) { q.Clump = sampling.Clump{IwaoAlpha: -2, IwaoBeta: 1} }},
		{"1.5 and 0.5 times", func(q *sampling.Question) { q.LowerRatio, q.UpperRatio = 1.5, 0.5 }},
		{"risks are 0.7", func(q *sampling.Question) { q.Alpha = 0.7 }},
		{"risks are 0.1 and NaN", func(q *sampling.Question) { q.Beta = nan }},
		{"most units is 0", func(q *sampling.Question) { q.MaxUnits = 0 }},
		{"least units is 30", func(q *sampling.Question) { q.MinUnits = 30 }},
		{"no method \"guess\"", func(q *sampling.Question) { q.Method = "guess" }},
		{"multiplier", func(q *sampling.Question) { q.T = -1 }},
		{"tally number is -1", func(q *sampling.Question) { q.Tally = -1 }},
		{"presence cannot tell", func(q *sampling.Question) { q.Presence, q.Clump.K, q.Threshold = true, inf, 100 }},
		{"too large", func(q *sampling.Question) { q.Threshold, q.MaxUnits = 1000, 100 }},
		{"animals apart", func(q *sampling.Question) { q.Clump.K = 1e-6 }},
		{"weight 1 of the belief is -1", func(q *sampling.Question) { q.Belief = sampling.Belief{Levels: []float64{1}, Weights: []float64{-1}} }},
		{"2 densities and 1 weights", func(q *sampling.Question) {
			q.Belief = sampling.Belief{Levels: []float64{1, 2}, Weights: []float64{1}}
		}},
	} {
		q := ok
		c.mar(&q)
		_, err := sampling.MakePlan(q)
		var p *diag.Problem
		require.ErrorAs(t, err, &p, c.says)
		require.Contains(t, p.What, c.says)
		require.NotEmpty(t, p.Do)
		require.True(t, errors.Is(err, estimate.ErrDomain) || errors.Is(err, estimate.ErrLarge))
	}
	p := plan(t, ok)
	for _, e := range []error{second(p.Risk(-1, 1)), second(p.Risk(1, 0)), second(p.Risk(nan, 1)), second(p.Curve([]float64{inf}))} {
		require.ErrorIs(t, e, estimate.ErrDomain)
	}
	_, _, err := p.Expect(sampling.Belief{})
	require.ErrorIs(t, err, estimate.ErrDomain)
}

func FuzzMakePlan(f *testing.F) {
	f.Add(1.0, 0.8, 0.0, 0.5, 1.5, 0.1, 0.1, 5, 20, uint8(0))
	f.Add(0.1, 0.0, 0.0, 0.5, 1.5, 0.1, 0.1, 5, 50, uint8(1))
	f.Add(5.0, 3.3, 1.49, 0.5, 1.5, 0.01, 0.05, 3, 25, uint8(2))
	f.Add(5.0, 0.5, 0.0, 0.9, 1.1, 0.49, 0.01, 1, 30, uint8(7))
	f.Add(math.NaN(), math.Inf(1), -1.0, 0.0, 1e300, 0.0, 1.0, -5, 500, uint8(8))
	f.Add(1e-300, 1e-300, 1e300, 1e-300, 1e300, 1e-300, 0.499, 0, 30, uint8(12))
	f.Fuzz(func(t *testing.T, threshold, a, b, lower, upper, alpha, beta float64, least, most int, kind uint8) {
		if most > 30 || threshold > 30 {
			return // long plans are measured elsewhere
		}
		q := sampling.Question{
			Threshold: threshold, LowerRatio: lower, UpperRatio: upper, Alpha: alpha, Beta: beta, MinUnits: least, MaxUnits: most,
			Percent: kind&1 == 1, Presence: kind&2 == 2, Tally: int(kind >> 5),
			Method: []sampling.Method{sampling.MethodTuned, sampling.MethodWald, sampling.MethodIwao}[kind>>3%3],
		}
		if kind&4 == 4 {
			q.Clump = sampling.Clump{TaylorA: a, TaylorB: b}
		} else {
			q.Clump = sampling.Clump{K: a}
		}
		p, err := sampling.MakePlan(q)
		if err != nil {
			var d *diag.Problem
			require.ErrorAs(t, err, &d)
			require.NotEmpty(t, d.What)
			require.NotEmpty(t, d.Do)
			return
		}
		sound(t, p)
		adv, err := p.At(p.Question.MaxUnits, 0)
		require.NoError(t, err)
		require.Equal(t, sampling.StopHold, adv.Stop, "nothing found holds")
	})
}
