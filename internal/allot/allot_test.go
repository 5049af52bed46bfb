package allot_test

import (
	"context"
	"math"
	"math/bits"
	"math/rand/v2"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/allot"
)

var background = context.Background()

// brute tries every plan: it returns the highest value, and the highest by bed,
// window and choice; -Inf where there is none.
func brute(p allot.Problem) (best float64, with [][allot.Windows][]float64) {
	n := len(p.Beds[0].Value[0])
	best = math.Inf(-1)
	with = make([][allot.Windows][]float64, len(p.Beds))
	for i := range with {
		for w := range allot.Windows {
			for range n {
				with[i][w] = append(with[i][w], math.Inf(-1))
			}
		}
	}
	pick := make([][allot.Windows]int, len(p.Beds))
	used := make([][]float64, len(p.Beds)+1)
	for i := range used {
		used[i] = make([]float64, len(p.Limits))
	}
	var walk func(i int, v float64, lots uint64)
	walk = func(i int, v float64, lots uint64) {
		if p.MaxLots > 0 && bits.OnesCount64(lots) > p.MaxLots {
			return
		}
		if i == len(p.Beds) {
			for k, l := range p.Limits {
				if used[i][k] > l.Most+1e-9 {
					return
				}
			}
			best = max(best, v)
			for x, c := range pick {
				for w := range c {
					with[x][w][c[w]] = max(with[x][w][c[w]], v)
				}
			}
			return
		}
		b := p.Beds[i]
		for c := range n {
			for d := range n {
				x := v + b.Value[0][c] + b.Value[1][d]
				if math.IsNaN(x) || b.Apart != nil && b.Apart[c]>>d&1 != 0 {
					continue
				}
				if i > 0 && p.Beds[i-1].Row == b.Row {
					for w, s := range [allot.Windows]int{c, d} {
						if s != 0 && s == pick[i-1][w] {
							x += p.Together[w]
						}
					}
				}
				for k, l := range p.Limits {
					used[i+1][k] = used[i][k] + l.Use[i][0][c] + l.Use[i][1][d]
					if c+d == 0 && l.Bare != nil {
						used[i+1][k] += l.Bare[i]
					}
				}
				pick[i] = [allot.Windows]int{c, d}
				walk(i+1, x, lots|lotsOf(p, c)|lotsOf(p, d))
			}
		}
	}
	walk(0, 0, 0)
	return best, with
}

func lotsOf(p allot.Problem, c int) uint64 {
	switch {
	case p.Lots != nil:
		return p.Lots[c]
	case c == allot.None:
		return 0
	}
	return 1 << c
}

// checkPlan works out a plan's value and whether it keeps the rules, from the
// problem alone.
func checkPlan(t testing.TB, p allot.Problem, plan allot.Plan) {
	t.Helper()
	require.Len(t, plan.Choice, len(p.Beds))
	value, lots := 0.0, uint64(0)
	used, top := make([]float64, len(p.Limits)), make([]float64, len(p.Limits))
	for i, b := range p.Beds {
		c, d := plan.Choice[i][0], plan.Choice[i][1]
		require.False(t, b.Apart != nil && b.Apart[c]>>d&1 != 0, "bed %d holds %d and %d", i, c, d)
		value += b.Value[0][c] + b.Value[1][d]
		lots |= lotsOf(p, c) | lotsOf(p, d)
		if i > 0 && p.Beds[i-1].Row == b.Row {
			for w, x := range plan.Choice[i] {
				if x != allot.None && plan.Choice[i-1][w] == x {
					value += p.Together[w]
				}
			}
		}
		for k, l := range p.Limits {
			used[k] += l.Use[i][0][c] + l.Use[i][1][d]
			if c == allot.None && d == allot.None && l.Bare != nil {
				used[k] += l.Bare[i]
			}
			for w := range l.Use[i] {
				for _, u := range l.Use[i][w] {
					top[k] = max(top[k], math.Abs(u))
				}
			}
			if l.Bare != nil {
				top[k] = max(top[k], math.Abs(l.Bare[i]))
			}
		}
	}
	require.InDelta(t, value, plan.Value, 1e-9*(1+math.Abs(value)), "value") // NaN where a closed choice is held
	require.GreaterOrEqual(t, plan.Bound, plan.Value)
	require.Equal(t, plan.Bound <= plan.Value+1e-6, plan.Proved)
	if p.MaxLots > 0 {
		require.LessOrEqual(t, bits.OnesCount64(lots), p.MaxLots, "lots")
	}
	for k, l := range p.Limits {
		require.LessOrEqual(t, used[k], l.Most+2e-9*top[k], "limit %d", k)
	}
}

func TestSolve_EveryPlanTried(t *testing.T) {
	none, closed := 0, 0
	for seed := range uint64(400) {
		p := small(rand.New(rand.NewPCG(seed, 1)))
		if seed%4 == 0 {
			p = instance(rand.New(rand.NewPCG(seed, 1)), 1+int(seed/4)%4, 2+int(seed/16)%3, true)
		}
		want, with := brute(p)
		may, err := allot.Possible(background, p, allot.Options{})
		require.NoError(t, err, "seed %d", seed)
		require.Equal(t, !math.IsInf(want, -1), may, "seed %d", seed)
		got, err := allot.Solve(background, p, allot.Options{Ceilings: true})
		if math.IsInf(want, -1) {
			none++
			require.ErrorIs(t, err, allot.ErrImpossible, "seed %d", seed)
			continue
		}
		require.NoError(t, err, "seed %d", seed)
		checkPlan(t, p, got)
		require.InDelta(t, want, got.Value, 1e-6, "seed %d", seed)
		require.True(t, got.Proved, "seed %d", seed)
		for i := range with {
			for w := range with[i] {
				for c, best := range with[i][w] {
					require.GreaterOrEqual(t, got.Ceiling[i][w][c], best-1e-9, "seed %d, bed %d, window %d, choice %d", seed, i, w, c)
					if math.IsNaN(p.Beds[i].Value[w][c]) {
						closed++
						require.Equal(t, math.Inf(-1), got.Ceiling[i][w][c])
					}
				}
			}
		}
	}
	require.Greater(t, none, 40, "problems that no plan solves")
	require.Greater(t, closed, 100)
}

// Neither the number of processors nor a run before changes a plan.
func TestSolve_SamePlan(t *testing.T) {
	for seed := range uint64(3) {
		p := coarse(rand.New(rand.NewPCG(seed, 4)), 30, 12, true)
		want, err := allot.Solve(background, p, allot.Options{Nodes: 40, Ceilings: true})
		require.NoError(t, err)
		for _, processors := range []int{1, 2, 4} {
			was := runtime.GOMAXPROCS(processors)
			got, err := allot.Solve(background, p, allot.Options{Nodes: 40, Ceilings: true})
			runtime.GOMAXPROCS(was)
			require.NoError(t, err)
			require.Equal(t, want, got, "seed %d, %d processors", seed, processors)
		}
	}
}

func TestSolve_Warm(t *testing.T) {
	p := instance(rand.New(rand.NewPCG(7, 4)), 40, 16, true)
	cold, err := allot.Solve(background, p, allot.Options{})
	require.NoError(t, err)
	warm, err := allot.Solve(background, p, allot.Options{Warm: &cold})
	require.NoError(t, err)
	require.InDelta(t, cold.Value, warm.Value, 1e-6)

	// One bed may no longer hold what it held, and there is less money.
	p.Beds[3].Value[0][cold.Choice[3][0]] = math.NaN()
	p.Limits[0].Most *= 0.9
	want, err := allot.Solve(background, p, allot.Options{})
	require.NoError(t, err)
	got, err := allot.Solve(background, p, allot.Options{Warm: &cold})
	require.NoError(t, err)
	checkPlan(t, p, got)
	require.InDelta(t, want.Value, got.Value, 1e-6)

	// A plan of another field does no harm.
	other, err := allot.Solve(background, p, allot.Options{Warm: &allot.Plan{Choice: [][allot.Windows]int{{99, -1}}}})
	require.NoError(t, err)
	require.InDelta(t, want.Value, other.Value, 1e-6)
}

// A search that is cut short says what it knows.
func TestSolve_CutShort(t *testing.T) {
	p := coarse(rand.New(rand.NewPCG(2, 4)), 24, 12, true)
	got, err := allot.Solve(background, p, allot.Options{Nodes: 1})
	require.NoError(t, err)
	checkPlan(t, p, got)
	full, err := allot.Solve(background, p, allot.Options{})
	require.NoError(t, err)
	hard := coarse(rand.New(rand.NewPCG(17, 2)), 200, 24, true)
	some, err := allot.Solve(background, hard, allot.Options{Work: 40})
	require.NoError(t, err)
	checkPlan(t, hard, some)
	require.False(t, some.Proved)
	again, err := allot.Solve(background, hard, allot.Options{Work: 40})
	require.NoError(t, err)
	require.Equal(t, some, again)
	require.GreaterOrEqual(t, got.Bound, full.Value-1e-6)
	require.LessOrEqual(t, got.Value, full.Value+1e-6)

	over, cancel := context.WithCancel(background)
	cancel()
	_, err = allot.Solve(over, p, allot.Options{})
	require.ErrorIs(t, err, context.Canceled)
	_, err = allot.Possible(over, p, allot.Options{})
	require.ErrorIs(t, err, context.Canceled)
	warm, err := allot.Solve(over, p, allot.Options{Warm: &full})
	require.NoError(t, err)
	require.False(t, warm.Proved)
	require.Equal(t, full.Choice, warm.Choice)
}

func TestSolve_Domain(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for name, spoil := range map[string]func(*allot.Problem){
		"no beds":              func(p *allot.Problem) { p.Beds = nil },
		"no choices":           func(p *allot.Problem) { p.Beds[0].Value = [allot.Windows][]float64{} },
		"value":                func(p *allot.Problem) { p.Beds[1].Value[1][1] = -inf },
		"values":               func(p *allot.Problem) { p.Beds[1].Value[1] = p.Beds[1].Value[1][1:] },
		"apart":                func(p *allot.Problem) { p.Beds[1].Apart = []uint64{1} },
		"lots of too few":      func(p *allot.Problem) { p.Lots = []uint64{0} },
		"a lot for no cover":   func(p *allot.Problem) { p.Lots = []uint64{1, 1, 1, 1, 1} },
		"lots below 0":         func(p *allot.Problem) { p.MaxLots = -1 },
		"together below 0":     func(p *allot.Problem) { p.Together[1] = -0.1 },
		"together not known":   func(p *allot.Problem) { p.Together[0] = nan },
		"most not known":       func(p *allot.Problem) { p.Limits[0].Most = nan },
		"most without end":     func(p *allot.Problem) { p.Limits[0].Most = inf },
		"use not known":        func(p *allot.Problem) { p.Limits[0].Use[2][1][1] = nan },
		"uses of too few beds": func(p *allot.Problem) { p.Limits[0].Use = p.Limits[0].Use[1:] },
		"too few uses":         func(p *allot.Problem) { p.Limits[0].Use[0][0] = nil },
		"bare not known":       func(p *allot.Problem) { p.Limits[3].Bare[2] = inf },
		"bare of too few beds": func(p *allot.Problem) { p.Limits[3].Bare = p.Limits[3].Bare[1:] },
	} {
		p := instance(rand.New(rand.NewPCG(1, 1)), 3, 4, true)
		_, err := allot.Solve(background, p, allot.Options{})
		require.NoError(t, err, name)
		spoil(&p)
		_, err = allot.Solve(background, p, allot.Options{})
		require.ErrorIs(t, err, allot.ErrDomain, name)
		_, err = allot.Possible(background, p, allot.Options{})
		require.ErrorIs(t, err, allot.ErrDomain, name)
	}
}

// A bed where everything is closed has no plan; a field without rules is one
// programme.
func TestSolve_Edges(t *testing.T) {
	p := instance(rand.New(rand.NewPCG(5, 1)), 6, 4, false)
	got, err := allot.Solve(background, p, allot.Options{})
	require.NoError(t, err)
	want, _ := brute(p)
	require.InDelta(t, want, got.Value, 1e-9)
	require.Equal(t, 1, got.Nodes)

	for c := range p.Beds[2].Value[1] {
		p.Beds[2].Value[1][c] = math.NaN()
	}
	_, err = allot.Solve(background, p, allot.Options{})
	require.ErrorIs(t, err, allot.ErrImpossible)

	single := allot.Problem{Beds: []allot.Bed{{Value: [allot.Windows][]float64{{-1}, {0.5}}}}}
	got, err = allot.Solve(background, single, allot.Options{Ceilings: true})
	require.NoError(t, err)
	require.Equal(t, [][allot.Windows]int{{0, 0}}, got.Choice)
	require.InDelta(t, -0.5, got.Value, 1e-12)
}
