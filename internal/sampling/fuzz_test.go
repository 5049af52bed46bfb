package sampling_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/estimate"
	"leafturn/internal/sampling"
)

// strange are the numbers that break arithmetic, among ordinary ones.
var strange = []float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, 5e-324, 1e-300, 1e-9, 0.05, 0.2, 0.5, 0.95, 1, 1.5, 2, 10, 1e6, 1e300, math.MaxFloat64, -0.5, -1e300}

var strangeWhole = []int{0, 1, 2, 12, 1000, math.MaxInt32, math.MaxInt, -1, math.MinInt}

// numbers fails on an answer that is not a number although there was no error.
func numbers(t *testing.T, err error, what string, args []any, got ...float64) {
	t.Helper()
	if err != nil {
		return
	}
	for _, f := range got {
		if math.IsNaN(f) {
			t.Fatalf("%s of %v: %v and no error", what, args, got)
		}
	}
}

func chance(t *testing.T, err error, what string, args []any, got ...float64) {
	t.Helper()
	if err != nil {
		return
	}
	for _, p := range got {
		if !(p >= -1e-9 && p <= 1+1e-9) {
			t.Fatalf("%s of %v is %v, no chance", what, args, got)
		}
	}
}

// sizes calls everything that takes numbers alone.
func sizes(t *testing.T, n, m int, a, b, c, d float64) {
	args := []any{n, m, a, b, c, d}
	one := func(what string) func(float64, error) {
		return func(v float64, err error) {
			t.Helper()
			numbers(t, err, what, args, v)
			if err == nil && math.IsInf(v, 0) {
				t.Fatalf("%s of %v is %v", what, args, v)
			}
		}
	}
	two := func(what string) func(lower, upper float64, err error) {
		return func(lower, upper float64, err error) { t.Helper(); numbers(t, err, what, args, lower, upper) }
	}
	one("FinitePlants")(sampling.FinitePlants(a, n))
	one("General")(sampling.General(a, b, c, d))
	one("GreenLine")(sampling.GreenLine(n, a, b, c))
	one("Iwao")(sampling.Iwao(a, b, c, d, 1.96))
	one("IwaoMaxUnits")(sampling.IwaoMaxUnits(a, b, c, d, 0.5))
	one("NegBin")(sampling.NegBin(a, b, c, d))
	one("PresenceForMean")(sampling.PresenceForMean(a, b, c, d))
	one("ShareHalfWidth")(sampling.ShareHalfWidth(a, b, c))
	one("ShareRelative")(sampling.ShareRelative(a, b, c))
	one("Taylor")(sampling.Taylor(a, b, c, d, 1.96))
	two("IwaoLines")(sampling.IwaoLines(n, a, b, c, d))
	two("TaylorLines")(sampling.TaylorLines(n, a, b, c, d))
	v, _, err := sampling.KunoLine(n, a, b, c)
	one("KunoLine")(v, err)
	if u := sampling.RoundUp(a); u > math.MaxInt32 || u < -math.MaxInt32 {
		t.Fatalf("RoundUp of %v is %d", a, u)
	}
	sampling.SheetUnits(n)
	for _, clump := range []sampling.Clump{{}, {K: a}, {TaylorA: a, TaylorB: b}, {IwaoAlpha: a, IwaoBeta: b}} {
		if k := clump.At(c); math.IsNaN(k) {
			t.Fatalf("%+v at %v: k is NaN", clump, c)
		}
		one("Clump.Size")(clump.Size(c, d, 1.96))
		rows, err := clump.PrecisionTable(c, []int{1, n, m, 40})
		for _, r := range rows {
			numbers(t, err, "PrecisionTable", args, r.Exact)
		}
		for _, b := range []sampling.Belief{{}, {Levels: []float64{a, b, 0}, Weights: []float64{1, c, d}}} {
			p, err := clump.Precise(c, n, m, 5, b)
			whole(t, err, "Precise", args, p)
		}
	}
	p, err := sampling.PreciseShare(c, n, m, 5, sampling.Belief{Levels: []float64{a}, Weights: []float64{b}})
	whole(t, err, "PreciseShare", args, p)
	for _, share := range []bool{false, true} {
		bl, err := sampling.SeasonBelief(a, share, m)
		numbers(t, err, "SeasonBelief", args, append(bl.Levels, bl.Weights...)...)
	}
	bl, err := sampling.LogNormal(a, b, c, min(n, 200))
	numbers(t, err, "LogNormal", args, append(bl.Levels, bl.Weights...)...)
	numbers(t, nil, "Median", args, sampling.Belief{Levels: []float64{1, 2}, Weights: []float64{a, b}}.Median(), bl.Median())
	rows, err := sampling.ShareTable(a, []int{1, n, 40})
	for _, r := range rows {
		numbers(t, err, "ShareTable", args, r.Exact)
	}
	sprts(t, n, m, a, b, c, d)
}

// whole fails where more units are promised than none or fewer than none.
func whole(t *testing.T, err error, name string, args []any, p sampling.Precise) {
	if err == nil && (p.More < 0 || p.Low < 0 || p.High < p.Low || math.IsNaN(p.Reached) || p.Stop != (p.More == 0)) {
		t.Fatalf("%s of %v: %+v", name, args, p)
	}
}

// sprts calls Wald's plans.
func sprts(t *testing.T, n, m int, a, b, c, d float64) {
	args := []any{n, m, a, b, c, d}
	plans := []sampling.SPRT{{}, {Slope: a, HLower: b, HUpper: c}}
	for _, f := range []func() (sampling.SPRT, error){
		func() (sampling.SPRT, error) { return sampling.NewPoisson(a, b, c, d) },
		func() (sampling.SPRT, error) { return sampling.NewNegBin(a, b, c, d, 0.1) },
		func() (sampling.SPRT, error) { return sampling.NewNegBin(a, b, c, 0.1, d) },
		func() (sampling.SPRT, error) { return sampling.NewBinomial(a, b, c, d) },
	} {
		p, err := f()
		numbers(t, err, "SPRT", args, p.Slope, p.HLower, p.HUpper)
		if err == nil {
			plans = append(plans, p)
		}
	}
	for _, p := range plans {
		for _, units := range []int{n, 12} {
			if h, _ := p.HoldAt(units); h > math.MaxInt32 || p.ActAt(units) > math.MaxInt32 || p.FirstHold() > math.MaxInt32 {
				t.Fatalf("%v: %+v", args, p)
			}
			if units < 5000 { // more are only slow
				e, err := p.Exact(a, c, m, units)
				numbers(t, err, "SPRT.Exact", args, e.Level, e.Units)
				chance(t, err, "SPRT.Exact", args, e.Hold)
			}
		}
		for _, h := range []float64{a, 1, -1, 1e-300, 60, -60, 200} {
			w, err := p.Wald(h)
			numbers(t, err, "SPRT.Wald", args, w.Level, w.Units)
			chance(t, err, "SPRT.Wald", args, w.Hold)
		}
	}
}

// plans calls everything that makes a plan or reads one.
func plans(t *testing.T, n, m int, a, b, c, d float64) {
	args := []any{n, m, a, b, c, d}
	read := func(p sampling.Plan, err error) {
		t.Helper()
		if err != nil {
			return
		}
		for i, l := range p.Deciding() {
			if l.CanHold() && l.CanAct() && l.Act <= l.Hold || i > 0 && l.Hold < p.Lines[l.N-2].Hold {
				t.Fatalf("%v: line %+v", args, l)
			}
		}
		for _, l := range p.Grid() {
			numbers(t, nil, "Grid", args, l)
		}
		for _, r := range []sampling.Risk{p.AtSafe, p.AtThreshold, p.AtAction, p.Sheet(40).AtSafe, p.Sheet(40).AtAction} {
			chance(t, nil, "risk", args, r.Act, r.Hold)
			numbers(t, nil, "risk", args, r.Level, r.Units)
		}
		for _, r := range p.Robust {
			chance(t, nil, "robust", args, r.Alpha, r.Beta)
			numbers(t, nil, "robust", args, r.UnitsSafe, r.UnitsAction)
		}
		for _, levels := range [][]float64{nil, {a, 0}, {d}} {
			points, err := p.Curve(levels)
			for _, r := range points {
				chance(t, err, "Curve", args, r.Act, r.Hold)
				if r.Wald != nil {
					numbers(t, err, "Wald's curve", args, r.Wald.Act, r.Wald.Hold, r.Wald.Units)
				}
			}
		}
		r, err := p.Risk(a, b)
		chance(t, err, "Risk", args, r.Act, r.Hold)
		units, act, err := p.Expect(sampling.Belief{Levels: []float64{a, 1}, Weights: []float64{b, 1}})
		numbers(t, err, "Expect", args, units)
		chance(t, err, "Expect", args, act)
		for _, at := range [][2]int{{0, 0}, {n, m}, {3, 1}, {3, 40}, {12, 0}} {
			adv, err := p.At(at[0], at[1])
			numbers(t, err, "At", args, adv.More)
			chance(t, err, "At", args, adv.Act, adv.ChanceSettledBy(n), adv.ChanceSettledBy(8))
			if err == nil && adv.Words() == "" {
				t.Fatalf("%v: no words", args)
			}
		}
	}
	read(sampling.Plan{}, nil)
	clumps := []sampling.Clump{{K: b}, {TaylorA: b, TaylorB: c}, {IwaoAlpha: b, IwaoBeta: c}}
	for i, clump := range clumps {
		q := sampling.Question{Threshold: a, Clump: clump, MaxUnits: 12, Tally: m, T: d, Method: []sampling.Method{sampling.MethodTuned, sampling.MethodWald, sampling.MethodIwao}[(i+m)%3&3%3]}
		read(sampling.FixedPlan(q, 12))
		read(sampling.MakePlan(q))
		q.Method, q.Belief = sampling.MethodIwao, sampling.Belief{Levels: []float64{0, a, c}, Weights: []float64{1, b, d}}
		read(sampling.MakePlan(q))
		q.Presence, q.T = true, 0
		read(sampling.MakePlan(q))
		q.Presence, q.Percent, q.LowerRatio, q.UpperRatio, q.Alpha = false, true, c, d, b
		read(sampling.MakePlan(q))
		if n > 100 {
			read(sampling.FixedPlan(q, n))
		}
		for _, share := range []bool{false, true} {
			s := sampling.Settle{Belief: sampling.Belief{Levels: []float64{0, 0.5, 1, a}, Weights: []float64{1, 1, c, 2}}, Threshold: a, Percent: share, Tally: m, Clump: clump, ActAt: d, HoldBelow: 0.2}
			settled, act, hold, err := s.Chance(min(n, 60))
			chance(t, err, "Settle.Chance", args, settled, act, hold)
			_, got, _, err := s.More(0.8, 8)
			chance(t, err, "Settle.More", args, got)
		}
	}
}

// Every function answers every strange number, soon, and with a number or an
// error.
func TestStrangeNumbers(t *testing.T) {
	for i, a := range strange {
		for j, b := range strange {
			for k, c := range strange {
				n, m := strangeWhole[(i+j+k)%len(strangeWhole)], strangeWhole[(i+2*j+3*k+1)%len(strangeWhole)]
				sizes(t, n, min(m, 200), a, b, c, strange[(i+3*j+7*k)%len(strange)])
				if (i+j+k)%15 == 0 {
					plans(t, n, m, a, b, c, strange[(i+3*j+7*k)%len(strange)])
				}
			}
		}
	}
}

// What used to panic, to hang, or to be NaN or nonsense without a word.
func TestStrangeNumbers_Mended(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	domain := func(what string, err error) {
		t.Helper()
		require.ErrorIs(t, err, estimate.ErrDomain, what)
	}
	require.Equal(t, math.MaxInt32, sampling.RoundUp(nan))
	require.Equal(t, -math.MaxInt32, sampling.RoundUp(-1e300))
	require.Empty(t, sampling.SheetUnits(math.MaxInt))
	domain("one plant", second(sampling.FinitePlants(1e-300, 1)))
	domain("more units than numbers", second(sampling.IwaoMaxUnits(1e300, 1, 2, 1e300, 1e-300)))
	_, _, err := sampling.KunoLine(10, 1e300, 1, 1e-5)
	domain("a total over all numbers", err)
	_, _, err = sampling.TaylorLines(10, 1e300, 1, 1, 1e300)
	domain("lines over all numbers", err)
	require.Equal(t, inf, sampling.Clump{IwaoAlpha: inf, IwaoBeta: inf}.At(inf))

	// A law of Iwao with beta under 1 has no variance from some density on.
	q := sampling.Question{Threshold: 3, Clump: sampling.Clump{IwaoAlpha: 0.2, IwaoBeta: 0.5}, MaxUnits: 20, Method: sampling.MethodIwao}
	domain("no variance", second(sampling.MakePlan(q)))
	q.Clump, q.T = sampling.Clump{K: 1}, 1e300
	domain("a multiplier of the normal law over 10", second(sampling.MakePlan(q)))
	q.T, q.Clump.K = 0, 5e-324
	domain("k next to nothing", second(sampling.MakePlan(q)))

	p, err := sampling.NewPoisson(1, 2, 0.1, 0.1)
	require.NoError(t, err)
	_, err = p.Exact(1, inf, 1, math.MaxInt)
	require.ErrorIs(t, err, estimate.ErrLarge)
	require.LessOrEqual(t, sampling.SPRT{Slope: 1e300, HLower: 1, HUpper: 1}.ActAt(5), math.MaxInt32)
	domain("no plan", second(sampling.SPRT{}.Exact(1, 1, 1, 5)))
	domain("no plan", second(sampling.SPRT{}.Wald(1)))
	domain("as good as 0", second(p.Wald(1e-300)))
	// Risks so small that the powers leave the range of numbers: at h = 1 the
	// chance to hold is 1 - alpha, at -1 it is beta, by definition.
	tiny, err := sampling.NewBinomial(0.1, 0.3, 1e-300, 1e-300)
	require.NoError(t, err)
	for _, h := range []float64{1, 60, 200} {
		w, err := tiny.Wald(h)
		require.NoError(t, err)
		require.InDelta(t, 1, w.Hold, 1e-12)
	}
	w, err := tiny.Wald(-200)
	require.NoError(t, err)
	require.Zero(t, w.Hold)
	require.InDelta(t, 1, w.Level, 1e-9, "the level rises as h falls")

	var none sampling.Plan
	domain("a plan without lines", second(none.Risk(1, 1)))
	domain("a plan without lines", second(none.Curve([]float64{1})))
	_, _, err = none.Expect(sampling.Belief{Levels: []float64{1}, Weights: []float64{1}})
	domain("a plan without lines", err)
	domain("k times next to nothing", second(plan(t, sampling.Question{Threshold: 1, Clump: sampling.Clump{K: 1}, MaxUnits: 10}).Risk(1, 1e-300)))
}

// FuzzSizes feeds any numbers to sample sizes, stop lines and Wald's plans.
func FuzzSizes(f *testing.F) {
	f.Add(10, 1, 1.0, 2.0, 0.8, 0.1)
	f.Add(1, math.MaxInt, 1e-300, 1e300, 1e-9, 1e-300)
	f.Add(-5, 0, math.NaN(), math.Inf(1), -1.0, 0.0)
	f.Fuzz(func(t *testing.T, n, m int, a, b, c, d float64) {
		if m > 200 { // more points are only slow
			m = 200
		}
		sizes(t, n, m, a, b, c, d)
	})
}

// FuzzReadPlans feeds any numbers to what makes plans and to what reads them.
func FuzzReadPlans(f *testing.F) {
	f.Add(10, 0, 1.0, 0.8, 1.3, 0.5)
	f.Add(12, 4, 5.0, 3.3, 1.49, 0.9)
	f.Add(3, 1, 3.0, 0.5, 0.5, 2.0)
	f.Add(0, -1, math.NaN(), math.Inf(1), 5e-324, 1e300)
	f.Fuzz(func(t *testing.T, n, m int, a, b, c, d float64) { plans(t, n, m, a, b, c, d) })
}
