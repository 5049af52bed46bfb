package sampling_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"leafturn/internal/estimate"
	"leafturn/internal/sampling"
)

func TestPlan_At(t *testing.T) {
	p := plan(t, sampling.Question{Threshold: 1, Clump: sampling.Clump{K: 0.5}, MaxUnits: 40})
	start := must[sampling.Advice](t)(p.At(0, 0))
	require.Equal(t, sampling.GoOn, start.Stop)
	require.Zero(t, start.ChanceSettledBy(4), "not before the least units")
	require.InDelta(t, 1, start.ChanceSettledBy(40), 1e-9)
	require.InDelta(t, 1, start.ChanceSettledBy(4000), 1e-9)
	// The mean number of units is the sum of the chances not to have stopped.
	sum := 0.0
	for n := range 40 {
		sum += 1 - start.ChanceSettledBy(n)
	}
	require.InDelta(t, start.More, sum, 1e-6)
	// A belief in one density gives the mean number of units at it.
	q := p.Question
	q.Belief = sampling.Belief{Levels: []float64{0.5}, Weights: []float64{3}}
	one := plan(t, q)
	a := must[sampling.Advice](t)(one.At(0, 0))
	require.InDelta(t, one.AtSafe.Units, a.More, 1e-9)
	require.InDelta(t, one.AtSafe.Act, a.Act, 1e-9)
	// Clear cases stop; the advice after a stop expects nothing more.
	a = must[sampling.Advice](t)(p.At(12, 0))
	require.Equal(t, sampling.StopHold, a.Stop)
	require.Zero(t, a.More)
	a = must[sampling.Advice](t)(p.At(5, 60))
	require.Equal(t, sampling.StopAct, a.Stop)
	require.Equal(t, 1.0, a.Act)
	require.Equal(t, 1.0, a.ChanceSettledBy(5))
	// Before the least units even a heap goes on, and is all but settled.
	a = must[sampling.Advice](t)(p.At(1, 60))
	require.Equal(t, sampling.GoOn, a.Stop)
	require.InDelta(t, 4, a.More, 1e-6)
	require.InDelta(t, 1, a.Act, 1e-6)
	// More animals in view: acting is likelier.
	lo, hi := must[sampling.Advice](t)(p.At(8, 4)), must[sampling.Advice](t)(p.At(8, 7))
	require.Equal(t, sampling.GoOn, lo.Stop)
	require.Equal(t, sampling.GoOn, hi.Stop)
	require.Less(t, lo.Act, hi.Act)
	require.Equal(t, p.Lines[8].Hold, lo.HoldAt)
	require.Equal(t, p.Lines[8].Act, lo.ActAt)
	require.Equal(t, fmt.Sprintf("Go on. Expect about %.0f more units.", lo.More), lo.Words())
	// In the words of the sample unit, where it is given.
	named := p
	named.Question.Unit, named.Question.Units = "leaf", "leaves"
	for n := 1; n <= 39; n++ {
		a := must[sampling.Advice](t)(named.At(n, p.Lines[n-1].Hold+1))
		switch more := math.Max(1, math.Round(a.More)); {
		case a.Stop != sampling.GoOn:
			require.Contains(t, a.Words(), fmt.Sprintf("on %d leaves is", n))
		case more == 1:
			require.Equal(t, "Go on. Expect about 1 more leaf.", a.Words())
		default:
			require.Equal(t, fmt.Sprintf("Go on. Expect about %.0f more leaves.", more), a.Words())
		}
	}
	// At the most units and past them one of two is always said.
	cut := p.Lines[39].Act
	require.Equal(t, sampling.StopAct, must[sampling.Advice](t)(p.At(40, cut)).Stop)
	require.Equal(t, sampling.StopHold, must[sampling.Advice](t)(p.At(40, cut-1)).Stop)
	require.Equal(t, sampling.StopAct, must[sampling.Advice](t)(p.At(80, 2*cut)).Stop)
	require.Equal(t, sampling.StopHold, must[sampling.Advice](t)(p.At(80, 2*cut-1)).Stop)
	for _, bad := range [][2]int{{-1, 0}, {3, -1}, {0, 2}} {
		_, err := p.At(bad[0], bad[1])
		require.ErrorIs(t, err, estimate.ErrDomain)
	}
	_, err := plan(t, sampling.Question{Threshold: 0.1, Percent: true, MaxUnits: 20}).At(3, 4)
	require.ErrorIs(t, err, estimate.ErrDomain, "more infested than looked at")
	_, err = sampling.Plan{}.At(1, 1)
	require.ErrorIs(t, err, estimate.ErrDomain)
}

// What is expected in mid-field, against playing on from there 20,000 times.
func TestPlan_AtAgainstSimulation(t *testing.T) {
	src := rand.NewPCG(8, 2)
	q := sampling.Question{Threshold: 1, Clump: sampling.Clump{K: 0.5}, MaxUnits: 40}
	q.Belief = sampling.Belief{Levels: []float64{0.4, 1, 2}, Weights: []float64{2, 1, 1}}
	p := plan(t, q)
	a := must[sampling.Advice](t)(p.At(8, 4))
	// Bayes by hand: weights times the chance of 4 animals on 8 units.
	post := make([]float64, 3)
	sum := 0.0
	for i, m := range q.Belief.Levels {
		post[i] = q.Belief.Weights[i] * math.Exp(estimate.LogPMF(4, 8*m, 8*0.5))
		sum += post[i]
	}
	const runs = 20_000
	var act, more, by15 float64
	r := rand.New(src)
	for range runs {
		u, j := r.Float64()*sum, 0
		for j < 2 && u > post[j] {
			u -= post[j]
			j++
		}
		m := q.Belief.Levels[j]
		total := 4
		for _, l := range p.Lines[8:] {
			total += int(distuv.Poisson{Lambda: distuv.Gamma{Alpha: 0.5, Beta: 0.5 / m, Src: src}.Rand(), Src: src}.Rand())
			if total >= l.Act {
				act++
			}
			if total >= l.Act || total <= l.Hold {
				more += float64(l.N - 8)
				if l.N <= 15 {
					by15++
				}
				break
			}
		}
	}
	require.InDelta(t, act/runs, a.Act, 0.013)
	require.InEpsilon(t, more/runs, a.More, 0.03)
	require.InDelta(t, by15/runs, a.ChanceSettledBy(15), 0.013)
}
