package trend_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/estimate"
	"leafturn/internal/trend"
)

func beds(k float64, units int, totals ...int) (out []trend.BedCount) {
	for i, x := range totals {
		out = append(out, trend.BedCount{Code: string(rune('A' + i)), Total: x, N: units, K: k})
	}
	return out
}

// Shrunken means and chances against 400,000 draws (numpy) from the full
// model: mu and tau on a grid of 181 by 60 with a flat and a half-normal(1)
// prior, bed means from their grid posterior, and the share of draws in which
// the bed holds at least factor times the mean of all beds drawn.
func TestHotSpots_Reference(t *testing.T) {
	sparse := beds(0.5, 6, 0, 0, 1, 9, 2)
	sparse[4].N = 12
	for _, c := range []struct {
		beds         []trend.BedCount
		factor       float64
		mean, chance []float64
		spread       float64
	}{
		{beds(1, 10, 3, 5, 2, 40, 4, 6, 3, 2), 1.5, []float64{0.3848, 0.5419, 0.3102, 3.3661, 0.4629, 0.6226, 0.386, 0.3105},
			[]float64{0.0053, 0.0246, 0.002, 1, 0.0122, 0.0452, 0.0054, 0.002}, 1.0262},
		{beds(inf, 20, 12, 9, 15, 11, 80, 10), 1.5, []float64{0.6179, 0.4849, 0.7525, 0.5733, 3.8762, 0.5291},
			[]float64{0, 0, 0, 0, 1, 0}, 0.9526},
		{sparse, 2, []float64{0.1542, 0.1538, 0.2454, 1.1101, 0.214}, []float64{0.0052, 0.0052, 0.0216, 0.7762, 0.0085}, 1.2095},
		{beds(1.2, 20, 30, 42, 25, 60, 38, 33, 29, 51, 44, 20, 36, 120), 1.5,
			[]float64{1.6866, 2.1355, 1.4984, 2.7983, 1.9863, 1.8, 1.649, 2.4689, 2.2108, 1.3092, 1.9115, 4.9191},
			[]float64{0.0009, 0.015, 0.0002, 0.1748, 0.0067, 0.002, 0.0007, 0.0644, 0.0219, 0, 0.0044, 0.9794}, 0.4572},
	} {
		f := must[trend.Field](t)(trend.HotSpots(c.beds, c.factor))
		require.InDelta(t, c.spread, f.Spread, 0.02)
		listed := 0
		for _, s := range f.Beds {
			i := int(s.Code[0] - 'A')
			require.InDelta(t, c.mean[i], s.Mean, 0.015, s.Code)
			require.InDelta(t, c.chance[i], s.Chance, 0.006, s.Code)
			require.Equal(t, c.chance[i] >= trend.ListAt, s.Listed, s.Code)
			if s.Listed {
				listed++
			}
		}
		require.Equal(t, listed, f.Listed)
	}
	f := must[trend.Field](t)(trend.HotSpots(beds(1.2, 20, 30, 42, 25, 60, 38, 33, 29, 51, 44, 20, 36, 120), 1.5))
	require.Equal(t, "1 bed of 12 stands out: L (about 2.2 times the field, chance 98 %); of the beds named under 0.1 would be expected by chance alone", f.Words())
}

// TestHotSpots_FalseAlarms draws fields (seeded). Where all beds are alike,
// the share of fields with any bed listed is the false-alarm rate; the plain
// rule "counted mean at least 1.5 times the field's" is beside it. Where beds
// differ, the false share of the listed is held against what Field expects.
// Over 1200 fields of 12 beds (too slow to repeat here) with a spread of 0.8,
// 23 of 1140 listed beds were wrong and 25.2 were expected; with a spread of
// 0.4, 16 of 164 and 6.7, as the prior expects beds to differ more than that.
func TestHotSpots_FalseAlarms(t *testing.T) {
	t.Parallel()
	const fields = 100
	for _, c := range []struct {
		n, units int
		mean, k  float64
		most     float64
	}{{10, 10, 2, 1, 0.02}, {10, 20, 0.5, 0.5, 0.02}, {20, 10, 5, inf, 0.01}, {5, 6, 1, 0.7, 0.02}} {
		rng := rand.New(rand.NewPCG(11, 3))
		alarms, plain := 0, 0
		for range fields {
			var b []trend.BedCount
			all := 0.0
			for i := range c.n {
				total := sum(draw(rng, c.units, c.mean, c.k))
				all += float64(total)
				b = append(b, trend.BedCount{Code: string(rune('A' + i)), Total: total, N: c.units, K: c.k})
			}
			f := must[trend.Field](t)(trend.HotSpots(b, 1.5))
			if f.Listed > 0 {
				alarms++
			}
			if slices.ContainsFunc(b, func(b trend.BedCount) bool { return float64(b.Total) >= 1.5*all/float64(c.n) && b.Total > 0 }) {
				plain++
			}
		}
		rate := float64(alarms) / fields
		t.Logf("%d beds of %d units, mean %v, k %v: a bed listed in %.3f of homogeneous fields; by the plain rule in %.3f", c.n, c.units, c.mean, c.k, rate, float64(plain)/fields)
		require.LessOrEqual(t, rate, c.most)
	}
	rng := rand.New(rand.NewPCG(5, 8))
	listed, wrong, expected, hot, found := 0, 0, 0.0, 0, 0
	for range fields {
		var b []trend.BedCount
		var truth []float64
		mean := 0.0
		for i := range 12 {
			m := 2 * math.Exp(0.8*rng.NormFloat64())
			truth, mean = append(truth, m), mean+m/12
			b = append(b, trend.BedCount{Code: string(rune('A' + i)), Total: sum(draw(rng, 15, m, 1)), N: 15, K: 1})
		}
		f := must[trend.Field](t)(trend.HotSpots(b, 1.5))
		expected += f.ExpectedFalse
		for _, s := range f.Beds {
			is := truth[s.Code[0]-'A'] >= 1.5*mean
			if is {
				hot++
			}
			if s.Listed {
				listed++
				if is {
					found++
				} else {
					wrong++
				}
			}
		}
	}
	t.Logf("beds that differ: %d listed, %d of them wrongly, %.1f expected; %d of %d hot beds found", listed, wrong, expected, found, hot)
	require.Greater(t, listed, 60)
	require.InDelta(t, expected, float64(wrong), 3*math.Sqrt(expected)+2)
	require.Greater(t, float64(found), 0.3*float64(hot))
}

func sum(x []int) (s int) {
	for _, v := range x {
		s += v
	}
	return s
}

func TestHotSpots_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 9).Draw(t, "beds")
		k := rapid.SampledFrom([]float64{0.3, 1, 5, inf}).Draw(t, "k")
		var b []trend.BedCount
		for i := range n {
			b = append(b, trend.BedCount{Code: string(rune('A' + i)), Total: rapid.IntRange(0, 80).Draw(t, "total"), N: rapid.IntRange(1, 20).Draw(t, "units"), K: k})
		}
		factor := rapid.Float64Range(1.1, 2.5).Draw(t, "factor")
		f := must[trend.Field](t)(trend.HotSpots(b, factor))
		require.Len(t, f.Beds, n)
		require.LessOrEqual(t, f.ExpectedFalse, 0.1*float64(f.Listed)+1e-12)
		for i, s := range f.Beds {
			require.True(t, s.Chance >= 0 && s.Chance <= 1 && s.Mean >= 0, "%+v", s)
			require.Equal(t, i < f.Listed, s.Listed)
			if i > 0 {
				require.LessOrEqual(t, s.Chance, f.Beds[i-1].Chance)
			}
		}
		// The order of the beds does not matter.
		w := slices.Clone(b)
		slices.Reverse(w)
		g := must[trend.Field](t)(trend.HotSpots(w, factor))
		at := func(f trend.Field, code string) trend.Spot {
			return f.Beds[slices.IndexFunc(f.Beds, func(s trend.Spot) bool { return s.Code == code })]
		}
		for _, s := range f.Beds {
			require.InDelta(t, s.Chance, at(g, s.Code).Chance, 1e-5)
		}
		// A higher factor never raises a chance; more in a bed raises its mean.
		g = must[trend.Field](t)(trend.HotSpots(b, factor+0.3))
		for _, s := range f.Beds {
			require.LessOrEqual(t, at(g, s.Code).Chance, s.Chance+1e-9)
		}
		w = slices.Clone(b)
		w[0].Total += 10
		g = must[trend.Field](t)(trend.HotSpots(w, factor))
		require.Greater(t, at(g, "A").Mean, at(f, "A").Mean)
	})
}

func TestHotSpots_Edges(t *testing.T) {
	for _, c := range []struct {
		beds   []trend.BedCount
		factor float64
		want   error
		words  string
	}{
		{beds(1, 10, 3, 4), 1.5, estimate.ErrFew, "2 beds"},
		{nil, 1.5, estimate.ErrFew, "0 beds"},
		{beds(1, 10, 3, 4, 5), 1, estimate.ErrDomain, "factor 1"},
		{beds(1, 10, 3, 4, 5), 3, estimate.ErrDomain, "factor 3"},
		{beds(1, 10, 3, 4, 5), math.NaN(), estimate.ErrDomain, "factor NaN"},
		{beds(0, 10, 3, 4, 5), 1.5, estimate.ErrDomain, "bed 1 (A): 3 animals on 10 units, k 0"},
		{beds(math.NaN(), 10, 3, 4, 5), 1.5, estimate.ErrDomain, "k NaN"},
		{beds(1, 0, 3, 4, 5), 1.5, estimate.ErrDomain, "on 0 units"},
		{beds(1, 10, 3, -4, 5), 1.5, estimate.ErrDomain, "-4 animals"},
	} {
		_, err := trend.HotSpots(c.beds, c.factor)
		require.ErrorIs(t, err, c.want)
		require.ErrorContains(t, err, c.words)
	}
	f := must[trend.Field](t)(trend.HotSpots(beds(1, 10, 0, 0, 0), 1.5))
	require.Equal(t, 0, f.Listed)
	require.Equal(t, "nothing was found in any bed", f.Words())
	f = must[trend.Field](t)(trend.HotSpots(beds(1, 10, 5, 5, 5, 5), 1.5))
	require.Equal(t, "no bed stands out: none is surely 1.5 times the field or more", f.Words())
	// One animal in one bed proves nothing; an enormous bed does.
	require.Equal(t, 0, must[trend.Field](t)(trend.HotSpots(beds(1, 10, 0, 0, 0, 0, 1), 1.5)).Listed)
	f = must[trend.Field](t)(trend.HotSpots(beds(1, 10, 3, 2, 4, 3, 900_000_000), 1.5))
	require.Equal(t, "E", f.Beds[0].Code)
	require.True(t, f.Beds[0].Listed && !math.IsNaN(f.Mean))
}

// Edge against middle: one count a side is the Wald interval of a log ratio,
// as estimate.AbbottCounts has it; several beds with Poisson units are R's
// glm(total ~ edge + offset(log(n)), poisson).
func TestEdge(t *testing.T) {
	one := func(total, n int, k float64) []trend.BedCount {
		return []trend.BedCount{{Code: "x", Total: total, N: n, K: k}}
	}
	for _, c := range []struct {
		edge, te, middle, tm int
		k                    float64
	}{{40, 10, 25, 20, 1}, {3, 10, 25, 20, 0.4}, {0, 10, 25, 20, 2}, {8, 8, 8, 8, inf}} {
		r := must[trend.Ratio](t)(trend.EdgeAgainstMiddle(one(c.edge, c.te, c.k), one(c.middle, c.tm, c.k)))
		e := must[estimate.Efficacy](t)(estimate.AbbottCounts(estimate.Cell{Total: float64(c.edge), Units: c.te}, estimate.Cell{Total: float64(c.middle), Units: c.tm}, c.k, 0.95))
		require.InEpsilon(t, 1-e.High/100, r.Low, 1e-9)
		require.InEpsilon(t, 1-e.Low/100, r.High, 1e-9)
		require.InEpsilon(t, e.SELnRatio, r.SELn, 1e-9)
		require.Equal(t, e.Adjusted, r.Adjusted)
		back := must[trend.Ratio](t)(trend.EdgeAgainstMiddle(one(c.middle, c.tm, c.k), one(c.edge, c.te, c.k)))
		require.InEpsilon(t, 1/r.High, back.Low, 1e-9)
	}
	edge := []trend.BedCount{{Total: 34, N: 10, K: inf}, {Total: 51, N: 10, K: inf}, {Total: 12, N: 5, K: inf}}
	middle := []trend.BedCount{{Total: 9, N: 10, K: inf}, {Total: 14, N: 10, K: inf}, {Total: 30, N: 20, K: inf}, {Total: 4, N: 5, K: inf}}
	r := must[trend.Ratio](t)(trend.EdgeAgainstMiddle(edge, middle))
	require.InDelta(t, 1.1194463755710, math.Log(r.Ratio), 1e-9)
	require.Greater(t, r.Scatter, 1.0)
	require.Greater(t, math.Log(r.High/r.Ratio), 1.96*r.SELn)
	require.Equal(t, "the edge holds about 3.1 times as many as the middle (1.9 to 5)", r.Words())
	r = must[trend.Ratio](t)(trend.EdgeAgainstMiddle(middle, edge))
	require.Equal(t, "the middle holds about 3.1 times as many as the edge (1.9 to 5)", r.Words())
	r = must[trend.Ratio](t)(trend.EdgeAgainstMiddle(one(10, 10, 1), one(12, 10, 1)))
	require.Equal(t, "no clear difference between edge and middle (the edge holds 0.25 to 2.8 times as many)", r.Words())

	// Beds with unlike k: the score equation holds at the mean.
	mixed := []trend.BedCount{{Total: 60, N: 10, K: 0.3}, {Total: 20, N: 10, K: 9}}
	r = must[trend.Ratio](t)(trend.EdgeAgainstMiddle(mixed, one(40, 10, 1)))
	m := 4 * r.Ratio
	require.InDelta(t, 0, (60-10*m)/(1+m/0.3)+(20-10*m)/(1+m/9), 1e-9)

	for _, c := range []struct {
		edge, middle []trend.BedCount
		want         error
	}{
		{nil, one(1, 1, 1), estimate.ErrEmpty}, {one(1, 1, 1), nil, estimate.ErrEmpty},
		{one(0, 5, 1), one(0, 5, 1), trend.ErrNoSlope}, {one(1, 5, 0), one(1, 5, 1), estimate.ErrDomain},
		{one(1, 0, 1), one(1, 5, 1), estimate.ErrDomain}, {one(1, 5, math.NaN()), one(1, 5, 1), estimate.ErrDomain},
		{one(-1, 5, 1), one(1, 5, 1), estimate.ErrDomain},
	} {
		_, err := trend.EdgeAgainstMiddle(c.edge, c.middle)
		require.ErrorIs(t, err, c.want)
	}
}

func TestEdgeWithinBeds(t *testing.T) {
	bed := func(total, n int, k float64) trend.BedCount {
		return trend.BedCount{Code: "x", Total: total, N: n, K: k}
	}
	// R 4, MASS: glm(y ~ bed + side, family = negative.binomial(k)) on units that
	// add up to these totals; epsilon 1e-15; summary(dispersion = 1); the chi-square is that of
	// the totals, over 2.
	for _, c := range []struct{ k, ln, se, scatter float64 }{
		{0.8, 0.90310370226983, 0.29207947040112, 1}, // 0.79 is below 1
		{3, 0.84342130518884, 0.17073020111529, 1.4648295797583},
	} {
		edge := []trend.BedCount{bed(90, 10, c.k), bed(241, 10, c.k), bed(14, 6, c.k)}
		middle := []trend.BedCount{bed(96, 20, c.k), bed(205, 20, c.k), bed(5, 12, c.k)}
		r := must[trend.Ratio](t)(trend.EdgeWithinBeds(edge, middle))
		require.InDelta(t, c.ln, math.Log(r.Ratio), 1e-7)
		require.InDelta(t, c.se, r.SELn, 1e-7)
		require.InDelta(t, c.scatter, r.Scatter, 1e-6)
		require.InDelta(t, 345.0/26, r.Edge, 1e-12)
		// Beds without an animal change nothing, and sides swapped turn it over.
		more := must[trend.Ratio](t)(trend.EdgeWithinBeds(append(edge, bed(0, 5, c.k)), append(middle, bed(0, 5, c.k))))
		require.InEpsilon(t, r.High, more.High, 1e-9)
		back := must[trend.Ratio](t)(trend.EdgeWithinBeds(middle, edge))
		require.InEpsilon(t, 1/r.High, back.Low, 1e-9)
	}
	// One bed is the plain comparison.
	for _, c := range [][2]trend.BedCount{{bed(40, 10, 1), bed(25, 20, 0.5)}, {bed(0, 10, 1), bed(25, 20, 1)}} {
		one := must[trend.Ratio](t)(trend.EdgeAgainstMiddle(c[:1], c[1:]))
		r := must[trend.Ratio](t)(trend.EdgeWithinBeds(c[:1], c[1:]))
		require.InEpsilon(t, one.Low, r.Low, 1e-9)
		require.InEpsilon(t, one.High, r.High, 1e-9)
		require.Equal(t, one.Adjusted, r.Adjusted)
	}
	// Beds far apart, each with its edge at three times its middle: clear within
	// beds, lost between them.
	edge := []trend.BedCount{bed(3000, 10, 4), bed(30, 10, 4), bed(300, 10, 4)}
	middle := []trend.BedCount{bed(1000, 10, 4), bed(10, 10, 4), bed(100, 10, 4)}
	r := must[trend.Ratio](t)(trend.EdgeWithinBeds(edge, middle))
	require.InDelta(t, 3, r.Ratio, 1e-6)
	require.Equal(t, "the edge holds about 3 times as many as the middle (2.2 to 4.1)", r.Words()) // information: the sum over beds of 1/(1/edge + 1/middle + 2/(n k))
	require.Less(t, must[trend.Ratio](t)(trend.EdgeAgainstMiddle(edge, middle)).Low, 1.0)

	for _, c := range []struct {
		edge, middle []trend.BedCount
		want         error
	}{
		{nil, middle, estimate.ErrEmpty}, {edge[:2], middle, estimate.ErrDomain},
		{[]trend.BedCount{bed(0, 5, 1)}, []trend.BedCount{bed(0, 5, 1)}, trend.ErrNoSlope},
		{[]trend.BedCount{bed(1, 5, 0)}, []trend.BedCount{bed(1, 5, 1)}, estimate.ErrDomain},
	} {
		_, err := trend.EdgeWithinBeds(c.edge, c.middle)
		require.ErrorIs(t, err, c.want)
	}
}

// All orders of seven values on a line: their I has mean -1/(n-1) and the
// randomisation variance exactly.
func TestMoran_Permutations(t *testing.T) {
	v := []float64{0, 3, 1, 9, 2, 2, 5}
	var cells [][2]int
	for i := range v {
		cells = append(cells, [2]int{i, 0})
	}
	for _, w := range []trend.Weights{trend.Rook(cells), trend.Rook(cells).RowStandard()} {
		var want trend.Pattern
		n, s, s2 := 0.0, 0.0, 0.0
		permute(slices.Clone(v), 0, func(x []float64) {
			want = must[trend.Pattern](t)(trend.Moran(x, w))
			n, s, s2 = n+1, s+want.I, s2+want.I*want.I
		})
		require.Equal(t, 5040.0, n)
		require.InDelta(t, want.Expected, s/n, 1e-10)
		require.InDelta(t, want.Variance, s2/n-s/n*s/n, 1e-10)
	}
}

func permute(x []float64, i int, f func([]float64)) {
	if i == len(x) {
		f(x)
		return
	}
	for j := i; j < len(x); j++ {
		x[i], x[j] = x[j], x[i]
		permute(x, i+1, f)
		x[i], x[j] = x[j], x[i]
	}
}

func TestMoran_Edges(t *testing.T) {
	grid := [][2]int{{0, 0}, {1, 0}, {0, 1}, {1, 1}}
	w := trend.Rook(grid)
	xy := [][2]float64{{0, 0}, {1, 0}, {0, 1}, {9, 9}}
	full := trend.Queen(grid)
	for _, c := range []struct {
		v     []float64
		w     trend.Weights
		want  error
		words string
	}{
		{[]float64{1, 2, 3}, w, estimate.ErrFew, "3 places"},
		{[]float64{2, 2, 2, 2}, w, estimate.ErrDomain, "all places hold the same"},
		{[]float64{0, 0, 0, 0}, w, estimate.ErrDomain, "all places hold the same"},
		{[]float64{1, 2, math.NaN(), 2}, w, estimate.ErrDomain, "place 3"},
		{[]float64{1, 2, inf, 2}, w, estimate.ErrDomain, "place 3"},
		{[]float64{1, 2, 3, 4, 5}, w, estimate.ErrDomain, "4 rows"},
		{[]float64{1, 2, 3, 4}, trend.Within(xy, 2), estimate.ErrDomain, "place 4 has no neighbour"},
		{[]float64{1, 2, 3, 4}, trend.InverseDistance([][2]float64{{0, 0}, {0, 0}, {1, 1}, {2, 2}}), estimate.ErrDomain, "weight +Inf"},
		{[]float64{1, 2, 3, 4}, trend.Weights{{0, 1, 0, 0}, {1}, {0, 1, 0, 0}, {0, 1, 0, 0}}, estimate.ErrDomain, "place 2"},
		{[]float64{1, 2, 3, 4}, trend.Weights{{1, 1, 0, 0}, {1, 0, 0, 0}, {0, 1, 0, 0}, {0, 1, 0, 0}}, estimate.ErrDomain, "to itself"},
		{[]float64{1, 2, 3, 4}, full, estimate.ErrDomain, "same I"},
	} {
		_, err := trend.Moran(c.v, c.w)
		require.ErrorIs(t, err, c.want)
		require.ErrorContains(t, err, c.words)
	}
	// Huge and shifted values give the same I.
	a := must[trend.Pattern](t)(trend.Moran([]float64{1, 2, 3, 7}, w))
	b := must[trend.Pattern](t)(trend.Moran([]float64{1e300, 2e300, 3e300, 7e300}, w))
	require.InDelta(t, a.Z, b.Z, 1e-9)
	require.Equal(t, "no sign of patches (Moran's I 0.13; as much by chance alone: 25 %)", trend.Pattern{I: 0.13, P: 0.25}.Words())
	require.Equal(t, "neighbours are alike: the pest sits in patches (Moran's I 0.27, chance without patches under 1 %)", trend.Pattern{I: 0.27, P: 0.001}.Words())
	require.Equal(t, "neighbours differ more than chance leads to expect (Moran's I -0.80)", trend.Pattern{I: -0.8, P: 0.99}.Words())
}
