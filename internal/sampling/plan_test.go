package sampling_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"leafturn/internal/estimate"
	"leafturn/internal/sampling"
)

func plan(t require.TestingT, q sampling.Question) sampling.Plan {
	return must[sampling.Plan](t)(sampling.MakePlan(q))
}

// clumped is SQ-02: 2 against 4 animals per unit, k 0.8, risks of 0.10.
func clumped(m sampling.Method, minUnits, maxUnits int) sampling.Question {
	return sampling.Question{
		Threshold: 3, LowerRatio: 2.0 / 3, UpperRatio: 4.0 / 3, Clump: sampling.Clump{K: 0.8},
		Alpha: 0.1, Beta: 0.1, MinUnits: minUnits, MaxUnits: maxUnits, Method: m,
	}
}

// Stop lines as recomputed in R from Wald 1947 and Waters 1955 (SQ-02, SQ-05)
// and Iwao 1975 (SQ-07, floor and ceiling of the printed lines).
func TestPlan_PublishedTables(t *testing.T) {
	const none = -1
	for _, c := range []struct {
		name      string
		q         sampling.Question
		n         []int
		hold, act []int
	}{
		{"SQ-02", clumped(sampling.MethodWald, 1, 60), []int{1, 5, 10, 15, 20, 30, 40, 50},
			[]int{none, none, 13, 27, 41, 69, 97, 125}, []int{18, 29, 43, 57, 71, 99, 127, 155}},
		{"SQ-05", sampling.Question{Threshold: 1.5, LowerRatio: 2.0 / 3, UpperRatio: 4.0 / 3, Clump: sampling.Clump{K: math.Inf(1)}, MinUnits: 1, MaxUnits: 30, Method: sampling.MethodWald},
			[]int{1, 2, 3, 5, 8, 10, 15, 20}, []int{none, none, 1, 4, 8, 11, 18, 25}, []int{5, 7, 8, 11, 15, 18, 25, 33}},
		{"SQ-07", sampling.Question{Threshold: 3, Clump: sampling.Clump{IwaoAlpha: 0.5, IwaoBeta: 1.4}, MinUnits: 1, MaxUnits: 90, Method: sampling.MethodIwao, T: 1.645},
			[]int{5, 10, 15, 20, 30, 50, 80}, []int{4, 15, 26, 39, 64, 116, 198}, []int{26, 45, 64, 81, 116, 184, 282}},
	} {
		p := plan(t, c.q)
		for i, n := range c.n {
			require.Equal(t, sampling.Line{N: n, Hold: c.hold[i], Act: c.act[i]}, p.Lines[n-1], c.name)
		}
	}
}

// SQ-03: Wald's operating characteristic and mean number of units at given
// levels; 2.797 is the slope, where h is 0 (its limit by arithmetic:
// units = 14.2537456195²/(s + s²/0.8), hold = 1/2).
func TestPlan_WaldCurve(t *testing.T) {
	p := plan(t, clumped(sampling.MethodWald, 1, 50))
	levels := []float64{5.84615384615, 4, 3.33575365259, 2.35873402812, 2, 1.46153846154}
	curve := must[[]sampling.CurvePoint](t)(p.Curve(levels))
	hold := []float64{0.0121951219512, 0.1, 0.25, 0.75, 0.9, 0.987804878049}
	units := []float64{4.56100640005, 9.48072999109, 13.2344601087, 16.252443255, 14.3030036537, 10.411040217}
	for i, c := range curve {
		require.InDelta(t, hold[i], c.Wald.Hold, 1e-7)
		require.InDelta(t, units[i], c.Wald.Units, 1e-5)
		require.InDelta(t, 1-hold[i], c.Wald.Act, 1e-7)
	}
	s := 2.79724488448
	curve = must[[]sampling.CurvePoint](t)(p.Curve([]float64{s, 0, 50}))
	require.InDelta(t, 0.5, curve[0].Wald.Hold, 1e-4)
	require.InEpsilon(t, 14.2537456195*14.2537456195/(s+s*s/0.8), curve[0].Wald.Units, 1e-4)
	require.InDelta(t, 1, curve[1].Wald.Hold, 1e-9, "no animals: hold")
	require.InEpsilon(t, 14.2537456195/s, curve[1].Wald.Units, 1e-9)
	require.Less(t, curve[2].Wald.Hold, 1e-6)
	require.Len(t, must[[]sampling.CurvePoint](t)(p.Curve(nil)), 31)
}

// SQ-04: exact risks of SQ-02 cut off at 50 units, recomputed in R.
func TestPlan_ExactPublished(t *testing.T) {
	p := plan(t, clumped(sampling.MethodWald, 1, 50))
	act := []float64{0.000100432461714, 0.0592771512718, 0.46279596662, 0.908372465135, 0.992470838921}
	units := []float64{8.60248266974, 16.8252792842, 21.1434585406, 13.4584609217, 6.69183604409}
	for i, m := range []float64{1, 2, 2.8, 4, 6} {
		r := must[sampling.Risk](t)(p.Risk(m, 1))
		require.InDelta(t, act[i], r.Act, 1e-6)
		require.InDelta(t, units[i], r.Units, 1e-5)
	}
	require.Equal(t, p.AtSafe, *p.WaldSafe)
	require.True(t, p.AlphaMet && p.BetaMet)
	// SQ-06: the intercepts of published lines (McAuslane, Ellis & Allen 1987,
	// Canadian Entomologist 119: -17.75 and 13.82; -13.42 and 10.45) stand in
	// the ratio of risks of 0.10 and 0.05.
	q := clumped(sampling.MethodWald, 1, 50)
	q.Beta = 0.05
	w := plan(t, q).Wald
	require.InDelta(t, -17.75/13.82, w.HLower/w.HUpper, 0.002)
	require.InDelta(t, -13.42/10.45, w.HLower/w.HUpper, 0.002)
}

// The exact curve against playing the plan 20,000 times with fixed seeds, by a
// simple loop over the printed lines; standard error of a chance at most
// 0.0036.
func TestPlan_AgainstSimulation(t *testing.T) {
	src := rand.NewPCG(3, 17)
	nb := func(m, k float64) int {
		return int(distuv.Poisson{Lambda: distuv.Gamma{Alpha: k, Beta: k / m, Src: src}.Rand(), Src: src}.Rand())
	}
	taylor := sampling.Clump{TaylorA: 3.3, TaylorB: 1.49}
	for _, c := range []struct {
		name   string
		q      sampling.Question
		factor float64
		draw   func(level, k float64) int
	}{
		{"k", sampling.Question{Threshold: 1, Clump: sampling.Clump{K: 0.8}, MaxUnits: 30}, 1, nb},
		{"true k half", sampling.Question{Threshold: 1, Clump: sampling.Clump{K: 0.8}, MaxUnits: 30}, 0.5, nb},
		{"Taylor", sampling.Question{Threshold: 5, Clump: taylor, MaxUnits: 25}, 1, nb},
		{"Iwao", sampling.Question{Threshold: 5, Clump: taylor, MaxUnits: 25, Method: sampling.MethodIwao}, 1, nb},
		{"share", sampling.Question{Threshold: 0.2, Percent: true, MaxUnits: 50}, 1, func(p, _ float64) int {
			return int(distuv.Bernoulli{P: p, Src: src}.Rand())
		}},
		{"tally", sampling.Question{Threshold: 5, Presence: true, Tally: 4, Clump: sampling.Clump{K: 0.8}, MaxUnits: 40}, 2, func(m, k float64) int {
			if nb(m, k) > 4 {
				return 1
			}
			return 0
		}},
	} {
		p := plan(t, c.q)
		for _, ratio := range []float64{0.5, 1, 1.5} {
			level := ratio * c.q.Threshold
			k := c.q.Clump.At(level) * c.factor
			const runs = 20_000
			var act, units float64
			for range runs {
				total := 0
				for _, l := range p.Lines {
					total += c.draw(level, k)
					if total >= l.Act {
						act++
					}
					if total >= l.Act || total <= l.Hold {
						units += float64(l.N)
						break
					}
				}
			}
			r := must[sampling.Risk](t)(p.Risk(level, c.factor))
			require.InDelta(t, act/runs, r.Act, 0.013, "%s at %v", c.name, level)
			require.InEpsilon(t, units/runs, r.Units, 0.025, "%s at %v", c.name, level)
		}
	}
}

// A fixed sample has a closed form: the sum of n counts is negative binomial
// with n k, and of presences binomial (here by the reference library).
func TestFixedPlan_ClosedForm(t *testing.T) {
	q := sampling.Question{Threshold: 4, Clump: sampling.Clump{K: 0.7}}
	p := must[sampling.Plan](t)(sampling.FixedPlan(q, 9))
	require.Equal(t, sampling.Line{N: 9, Hold: 35, Act: 36}, p.Lines[8])
	for _, m := range []float64{0, 1, 2, 4, 6, 11} {
		r := must[sampling.Risk](t)(p.Risk(m, 1))
		require.InDelta(t, estimate.Survival(35, 9*m, 9*0.7), r.Act, 1e-9)
		require.InDelta(t, 9, r.Units, 1e-9)
	}
	p = must[sampling.Plan](t)(sampling.FixedPlan(sampling.Question{Threshold: 0.1, Percent: true}, 50))
	require.Equal(t, 5, p.Lines[49].Act, "5 of 50 is 10 %")
	for _, s := range []float64{0.02, 0.05, 0.1, 0.15, 0.6} {
		r := must[sampling.Risk](t)(p.Risk(s, 1))
		require.InDelta(t, distuv.Binomial{N: 50, P: s}.CDF(4), r.Hold, 1e-9)
	}
	require.Nil(t, p.Wald)
	_, err := sampling.FixedPlan(q, 0)
	require.ErrorIs(t, err, estimate.ErrDomain)
}

func anyQuestion(t *rapid.T) sampling.Question {
	q := sampling.Question{
		Threshold: math.Exp(rapid.Float64Range(-1.5, 2).Draw(t, "ln threshold")),
		Alpha:     rapid.Float64Range(0.02, 0.3).Draw(t, "alpha"),
		Beta:      rapid.Float64Range(0.02, 0.3).Draw(t, "beta"),
		MaxUnits:  rapid.IntRange(1, 40).Draw(t, "most"),
		Method:    rapid.SampledFrom([]sampling.Method{"", sampling.MethodTuned, sampling.MethodWald, sampling.MethodIwao}).Draw(t, "method"),
	}
	q.MinUnits = rapid.IntRange(1, q.MaxUnits).Draw(t, "least")
	switch rapid.IntRange(0, 4).Draw(t, "law") {
	case 0:
		q.Clump.K = rapid.Float64Range(0.2, 5).Draw(t, "k")
	case 1:
		q.Clump.TaylorA, q.Clump.TaylorB = rapid.Float64Range(1, 5).Draw(t, "a"), rapid.Float64Range(1, 1.9).Draw(t, "b")
	case 2:
		q.Clump.IwaoAlpha, q.Clump.IwaoBeta = rapid.Float64Range(0, 1).Draw(t, "alpha I"), rapid.Float64Range(1, 3).Draw(t, "beta I")
	case 3:
		q.Percent, q.Threshold = true, rapid.Float64Range(0.03, 0.5).Draw(t, "share")
	default:
		q.Presence, q.Tally = true, rapid.IntRange(0, 3).Draw(t, "tally")
		q.Threshold = rapid.Float64Range(0.5, 4).Draw(t, "density")
		q.Clump.K = rapid.Float64Range(0.3, 2).Draw(t, "k")
	}
	return q
}

// sound checks what must hold of every plan.
func sound(t require.TestingT, p sampling.Plan) {
	q := p.Question
	require.Len(t, p.Lines, q.MaxUnits)
	for i, l := range p.Lines {
		require.Equal(t, i+1, l.N)
		require.Less(t, l.Hold, l.Act, "no total both holds and acts")
		require.GreaterOrEqual(t, l.Act, 1, "nothing found never acts")
		require.Equal(t, l.Hold >= 0, l.CanHold())
		if l.N < q.MinUnits {
			require.False(t, l.CanHold() || l.CanAct(), "no decision before the least units")
		}
		if q.Method == sampling.MethodTuned && i > 0 && l.N > q.MinUnits {
			require.GreaterOrEqual(t, l.Hold, p.Lines[i-1].Hold, "lines do not fall")
			require.GreaterOrEqual(t, l.Act, p.Lines[i-1].Act)
		}
	}
	last := p.Lines[q.MaxUnits-1]
	require.Equal(t, last.Act-1, last.Hold, "the last row decides")
	for _, r := range []sampling.Risk{p.AtSafe, p.AtThreshold, p.AtAction} {
		require.InDelta(t, 1, r.Act+r.Hold, 1e-9, "act and hold are all there is")
		require.GreaterOrEqual(t, r.Units, float64(q.MinUnits)-1e-9)
		require.LessOrEqual(t, r.Units, float64(q.MaxUnits)+1e-9)
	}
	if p.AlphaMet {
		require.LessOrEqual(t, p.AtSafe.Act, q.Alpha*(1+1e-9))
	}
	if p.BetaMet {
		require.LessOrEqual(t, p.AtAction.Hold, q.Beta*(1+1e-9))
	}
	require.Equal(t, p.AlphaMet && p.BetaMet, p.Shortfall == "", p.Shortfall)
}

func TestPlan_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := anyQuestion(t)
		p, err := sampling.MakePlan(q)
		if errors.Is(err, estimate.ErrDomain) || errors.Is(err, estimate.ErrLarge) {
			return // a share over 1, or levels that presence cannot tell apart
		}
		require.NoError(t, err)
		sound(t, p)
		if p.Question.Method == sampling.MethodTuned && q.Clump.K > 0 && !q.Presence {
			// If looking at all units, or all but one, keeps both risks, the plan must.
			can := false
			for n := max(q.MinUnits, q.MaxUnits-1); n <= q.MaxUnits; n++ {
				f := float64(n)
				for cut := 1; cut < int(3*f*p.Action)+5 && !can; cut++ {
					can = estimate.Survival(cut-1, f*p.Safe, f*q.Clump.K) <= q.Alpha && estimate.CDF(cut-1, f*p.Action, f*q.Clump.K) <= q.Beta
				}
			}
			require.True(t, !can || p.AlphaMet && p.BetaMet, p.Shortfall)
		}
		// More animals never turn act into hold, or stop into its opposite.
		n := rapid.IntRange(1, q.MaxUnits).Draw(t, "n")
		order := map[sampling.Stop]int{sampling.StopHold: 0, sampling.GoOn: 1, sampling.StopAct: 2}
		before := -1
		for total := 0; total <= 12; total++ {
			if (q.Percent || q.Presence) && total > n {
				break
			}
			a := must[sampling.Advice](t)(p.At(n, total))
			require.GreaterOrEqual(t, order[a.Stop], before)
			before = order[a.Stop]
			if l := p.Lines[n-1]; a.Stop == sampling.StopHold {
				require.LessOrEqual(t, total, l.Hold)
				require.GreaterOrEqual(t, l.Hold, 0, "a negative lower line never holds")
			}
		}
		// Higher densities never make acting less likely (one k for all).
		if q.Clump.TaylorA == 0 && q.Clump.IwaoBeta == 0 {
			last := -1.0
			for _, c := range must[[]sampling.CurvePoint](t)(p.Curve(nil)) {
				require.GreaterOrEqual(t, c.Act, last-1e-9)
				require.InDelta(t, 1, c.Act+c.Hold, 1e-9)
				last = c.Act
			}
		}
		for _, most := range []int{3, 12, 40} {
			sheetSound(t, p, p.Sheet(most), most)
		}
	})
}

// The asked risks are kept wherever a fixed sample of the most units could
// keep them, and the tuned plan needs fewer units than Wald's own lines while
// Wald's are not the asked risks at all.
func TestPlan_TunedKeepsRisks(t *testing.T) {
	for _, q := range []sampling.Question{
		{Threshold: 1, Clump: sampling.Clump{K: 0.8}, MaxUnits: 30},
		{Threshold: 4, Clump: sampling.Clump{K: 0.5}, MaxUnits: 40, Alpha: 0.05, Beta: 0.15},
		{Threshold: 5, Clump: sampling.Clump{TaylorA: 3.3, TaylorB: 1.49}, MaxUnits: 30, Alpha: 0.05, Beta: 0.05},
		{Threshold: 0.1, Percent: true, MaxUnits: 80},
		{Threshold: 5, Presence: true, Tally: 4, Clump: sampling.Clump{K: 0.8}, MaxUnits: 40},
	} {
		p := plan(t, q)
		sound(t, p)
		require.True(t, p.AlphaMet && p.BetaMet, p.Shortfall)
		require.LessOrEqual(t, p.NeedUnits, q.MaxUnits)
		require.Greater(t, p.AtSafe.Act, 0.9*p.Question.Alpha, "nothing of the risk is left unused")
		require.Greater(t, p.AtAction.Hold, 0.9*p.Question.Beta)
		require.Less(t, p.AtSafe.Units, float64(p.NeedUnits), "fewer than a fixed sample")
	}
	short := plan(t, sampling.Question{Threshold: 1, Clump: sampling.Clump{K: 0.8}, MaxUnits: 8})
	require.False(t, short.AlphaMet && short.BetaMet)
	require.Contains(t, short.Shortfall, fmt.Sprintf("about %d units", short.NeedUnits))
}

// NeedUnits is the smallest sample that keeps both risks, by trying every
// number of units and every cut.
func TestPlan_NeedUnits(t *testing.T) {
	for _, c := range []struct{ threshold, k, alpha, beta float64 }{
		{1, 0.8, 0.1, 0.1}, {1, 0.8, 0.05, 0.1}, {0.3, 2, 0.1, 0.2}, {0.2, 5, 0.15, 0.15}, {0.25, 1, 0.2, 0.2}, {4, 0.5, 0.02, 0.05},
	} {
		can := func(n int) bool {
			fn := float64(n)
			for cut := 1; float64(cut) < 3*fn*c.threshold+5; cut++ {
				if estimate.Survival(cut-1, fn*0.5*c.threshold, fn*c.k) <= c.alpha && estimate.CDF(cut-1, fn*1.5*c.threshold, fn*c.k) <= c.beta {
					return true
				}
			}
			return false
		}
		want := 1
		for !can(want) {
			want++
		}
		p := plan(t, sampling.Question{Threshold: c.threshold, Clump: sampling.Clump{K: c.k}, Alpha: c.alpha, Beta: c.beta, MaxUnits: 8})
		require.Equal(t, want, p.NeedUnits, "%+v", c)
	}
	near := plan(t, sampling.Question{Threshold: 0.1, Percent: true, LowerRatio: 0.95, UpperRatio: 1.05, MaxUnits: 30})
	require.Zero(t, near.NeedUnits)
	require.Contains(t, near.Shortfall, "move the levels apart")
}

// With Taylor's law k is taken at each density; a wrong k changes the risks.
func TestPlan_Robust(t *testing.T) {
	p := plan(t, sampling.Question{Threshold: 5, Clump: sampling.Clump{TaylorA: 3.3, TaylorB: 1.49}, MaxUnits: 40})
	require.InDelta(t, 2.5*2.5/(3.3*math.Pow(2.5, 1.49)-2.5), p.KSafe, 1e-9) // k = m²/(a m^b - m)
	require.InDelta(t, 7.5*7.5/(3.3*math.Pow(7.5, 1.49)-7.5), p.KAction, 1e-9)
	require.Len(t, p.Robust, 2)
	half, double := p.Robust[0], p.Robust[1]
	require.Equal(t, 0.5, half.Factor)
	require.Greater(t, half.Alpha, p.AtSafe.Act, "more clumped than planned: more errors")
	require.Greater(t, half.Beta, p.AtAction.Hold)
	require.Less(t, double.Alpha, p.AtSafe.Act)
	require.Less(t, double.Beta, p.AtAction.Hold)
	require.Equal(t, half.Alpha, must[sampling.Risk](t)(p.Risk(2.5, 0.5)).Act)
}

func TestClump(t *testing.T) {
	// Iwao with alpha 0 and beta 1 + 1/k is the negative binomial with that k.
	require.InEpsilon(t, 0.8, sampling.Clump{IwaoBeta: 2.25}.At(7), 1e-12)
	require.Equal(t, math.Inf(1), sampling.Clump{IwaoBeta: 1}.At(7), "Poisson")
	require.Equal(t, 0.8, sampling.Clump{K: 0.8}.At(123))
}

// sheetSound follows the sheet as a grower does and compares with the plan.
func sheetSound(t require.TestingT, p sampling.Plan, s sampling.Sheet, most int) {
	lines := p.Deciding()
	last := lines[len(lines)-1]
	require.Equal(t, lines[0], s.Rows[0], "the first row is the first that may decide")
	require.Equal(t, last, s.Rows[len(s.Rows)-1], "the last row decides and is there")
	require.Equal(t, last.Hold+1, last.Act)
	require.LessOrEqual(t, len(s.Rows), most)
	require.InDelta(t, 1, s.AtSafe.Act+s.AtSafe.Hold, 1e-9)
	if s.Gaps {
		require.GreaterOrEqual(t, s.AtSafe.Units, p.AtSafe.Units-1e-9, "fewer looks, not fewer units")
		return
	}
	require.Equal(t, p.AtSafe, s.AtSafe)
	require.Equal(t, p.AtAction, s.AtAction)
	row := 0
	for _, l := range lines {
		for row+1 < len(s.Rows) && s.Rows[row+1].N <= l.N {
			row++
		}
		require.Equal(t, sampling.Line{N: l.N, Hold: s.Rows[row].Hold, Act: s.Rows[row].Act}, l, "a row holds until the next")
	}
}

func TestPlan_Sheet(t *testing.T) {
	units := func(s sampling.Sheet) (ns []int) {
		for _, r := range s.Rows {
			ns = append(ns, r.N)
		}
		return ns
	}
	p := plan(t, sampling.Question{Threshold: 1, Clump: sampling.Clump{K: 0.5}, MaxUnits: 33})
	last := p.Deciding()[len(p.Deciding())-1].N
	require.Equal(t, []int{5, 10, 15, 20, 25, 30, last}, units(p.Sheet(8)), "33 units on eight rows")
	require.True(t, p.Sheet(8).Gaps)
	require.False(t, p.Sheet(40).Gaps)
	// Few infested of many: the lines change at some units only.
	tips := plan(t, sampling.Question{Threshold: 0.1, Percent: true, MinUnits: 25, MaxUnits: 75})
	s := tips.Sheet(40)
	require.False(t, s.Gaps)
	require.Less(t, len(s.Rows), 20)
	sheetSound(t, tips, s, 40)
	// The risks of a sheet with gaps are those of the plan with those rows only.
	thin := p.Sheet(8)
	only := p
	only.Lines = make([]sampling.Line, last)
	for i := range only.Lines {
		only.Lines[i] = sampling.Line{N: i + 1, Hold: -1, Act: sampling.Never}
	}
	for _, r := range thin.Rows {
		only.Lines[r.N-1] = r
	}
	require.Equal(t, must[sampling.Risk](t)(only.Risk(p.Safe, 1)), thin.AtSafe)
	require.Equal(t, []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12}, sampling.SheetUnits(12))
}

// Green's table for onion thrips (Soto-Rojas et al. 2021, Insects 12:331; SS-03)
// and Kuno's (SS-04), rounded up to whole animals; Tollerup et al. 2013 print
// 23 leaves at 5 mites (SS-02: 23.236).
func TestPrecision(t *testing.T) {
	rows := must[[]sampling.PrecisionRow](t)(sampling.Clump{TaylorA: 2.586, TaylorB: 1.511}.PrecisionTable(0.25, []int{5, 10, 15, 20, 30, 40, 60, 100}))
	for i, total := range []int{377, 183, 120, 89, 58, 43, 29, 17} {
		require.Equal(t, total, rows[i].Total)
	}
	require.InDelta(t, 376.545663392, rows[0].Exact, 1e-6)
	rows = must[[]sampling.PrecisionRow](t)(sampling.Clump{IwaoAlpha: 0.5, IwaoBeta: 1.3}.PrecisionTable(0.25, []int{4, 5, 10, 80}))
	require.Equal(t, sampling.PrecisionRow{N: 4, Total: sampling.Never}, rows[0])
	require.Equal(t, []int{600, 47, 26}, []int{rows[1].Total, rows[2].Total, rows[3].Total})
	require.InDelta(t, 23.236, must[float64](t)(sampling.Clump{TaylorA: 3.3, TaylorB: 1.49}.Size(5, 0.25, 1)), 5e-4)
	require.InDelta(t, 107.5648, must[float64](t)(sampling.Clump{K: 0.8}.Size(2, 0.25, 1.96)), 1e-9) // SS-01
	require.InDelta(t, 107.5648, must[float64](t)(sampling.Clump{IwaoBeta: 2.25}.Size(2, 0.25, 1.96)), 1e-9)
	rows = must[[]sampling.PrecisionRow](t)(sampling.Clump{K: 0.8}.PrecisionTable(0.25, []int{25, 40}))
	for _, r := range rows { // NegBin at the mean where it stops gives that many units
		require.InDelta(t, float64(r.N), must[float64](t)(sampling.NegBin(r.Exact/float64(r.N), 0.8, 0.25, 1)), 1e-6)
	}
	for _, e := range []error{
		second(sampling.Clump{}.PrecisionTable(0.25, []int{5})), second(sampling.Clump{}.Size(1, 0.25, 1)),
		second(sampling.Clump{TaylorA: 2, TaylorB: 2}.PrecisionTable(0.25, []int{5})), second(sampling.Clump{K: 1}.PrecisionTable(0, []int{5})),
	} {
		require.ErrorIs(t, e, estimate.ErrDomain)
	}
}

// Of a share the line is where (1 - p)/(n p) = D²: the sample size at the share
// of the line is n.
func TestShareTable(t *testing.T) {
	for _, d := range []float64{0.05, 0.25, 0.7} {
		for _, r := range must[[]sampling.PrecisionRow](t)(sampling.ShareTable(d, []int{1, 5, 28, 400})) {
			require.InEpsilon(t, float64(r.N), must[float64](t)(sampling.ShareRelative(r.Exact/float64(r.N), d, 1)), 1e-9)
			require.Equal(t, int(math.Ceil(r.Exact-1e-9)), r.Total)
			require.LessOrEqual(t, r.Total, r.N)
		}
	}
	for _, e := range []error{second(sampling.ShareTable(0, []int{5})), second(sampling.ShareTable(math.NaN(), []int{5})), second(sampling.ShareTable(0.2, []int{0}))} {
		require.ErrorIs(t, e, estimate.ErrDomain)
	}
}

func TestBelief_Median(t *testing.T) {
	require.Equal(t, 2.0, sampling.Belief{Levels: []float64{3, 1, 2}, Weights: []float64{4, 4, 2}}.Median())
	require.Equal(t, 3.0, sampling.Belief{Levels: []float64{3, 1, 2}, Weights: []float64{11, 4, 2}}.Median())
	require.Zero(t, sampling.Belief{}.Median())
	b := must[sampling.Belief](t)(sampling.LogNormal(0.7, 1, 0, 41))
	require.InDelta(t, 0.7, b.Median(), 1e-9)
}

// A plan for slugs under traps (k 0.8 is common practice): the table to take
// into the field.
func ExampleMakePlan() {
	p, err := sampling.MakePlan(sampling.Question{
		Threshold: 1, Clump: sampling.Clump{K: 0.8}, Alpha: 0.1, Beta: 0.2, MinUnits: 5, MaxUnits: 15,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, l := range p.Sheet(40).Rows {
		fmt.Printf("%2d: hold at %2d, act at %2d\n", l.N, l.Hold, l.Act)
	}
	fmt.Printf("acts needlessly %.1f %%, holds wrongly %.1f %%\n", 100*p.AtSafe.Act, 100*p.AtAction.Hold)
	a, _ := p.At(6, 4)
	fmt.Println(a.Words())
	// Output:
	//  5: hold at  2, act at  7
	//  6: hold at  2, act at  8
	//  7: hold at  3, act at  9
	//  8: hold at  4, act at  9
	//  9: hold at  5, act at 10
	// 10: hold at  6, act at 10
	// 11: hold at  8, act at 11
	// 12: hold at  8, act at 12
	// 13: hold at  9, act at 12
	// 14: hold at 11, act at 12
	// acts needlessly 9.9 %, holds wrongly 19.9 %
	// Go on. Expect about 3 more units.
}
