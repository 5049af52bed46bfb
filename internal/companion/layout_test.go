package companion_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/companion"
)

func num(v float64) *float64 { return &v }

func plot(code string, x, y, length, width float64) companion.Plot {
	return companion.Plot{Code: code, X: &x, Y: &y, LengthM: length, WidthM: width, Dahlias: true}
}

// grid is four blocks of five beds as in the demo: 25 m by 1.2 m, every 2 m.
func grid() []companion.Plot {
	var out []companion.Plot
	for i, block := range []string{"A", "B", "C", "D"} {
		for j := range 5 {
			out = append(out, plot(fmt.Sprintf("%s%d", block, j+1), float64(i/2)*28, float64(i%2)*12+2*float64(j), 25, 1.2))
		}
	}
	return out
}

func place(t testing.TB, p companion.Planting, plots []companion.Plot, g companion.Ground) companion.Layout {
	t.Helper()
	p.Plant = "x"
	l, err := companion.Place(p, plots, g)
	require.NoError(t, err)
	return l
}

// Worked by hand on the grid: the field is 53 m by 21.2 m, alleys of 2.8 m lie
// between A5 and B1 and between C5 and D1 (y 9.2 to 12), one of 3 m between the
// columns (x 25 to 28), 0.8 m between single beds.
func TestPlace_ByHand(t *testing.T) {
	g := companion.DefaultGround()
	for name, c := range map[string]struct {
		p                     companion.Planting
		g                     companion.Ground
		units                 int
		length, area          float64
		plants, pieces, grams float64
		why                   string
	}{
		// 0.5 m from the beds, two strips of 25 m: the beds' middle lines are at
		// most 10 m away (A1: 10.6 - 0.3 - 0.6 = 9.7 m).
		"strips": {p: companion.Planting{Kind: companion.Strips, SpacingM: num(20), WidthM: num(0.6), Amount: num(7.8), AmountPer: companion.GramsPerM2},
			g: g, units: 2, length: 50, area: 30, grams: 234},
		// ceil(53/15) = 4 along each long side, ceil(21.2/15) = 2 along each short.
		"clumps": {p: companion.Planting{Kind: companion.EdgeClumps, SpacingM: num(15), Amount: num(3), AmountPer: companion.PlantsPerPlace}, g: g, units: 12, plants: 36},
		"row":    {p: companion.Planting{Kind: companion.EdgeStrip, Amount: num(3), AmountPer: companion.PlantsPerM}, g: g, units: 1, length: 53, area: 53 * 0.3, plants: 159},
		// 2.8 - 1 = 1.8 m of 25 m twice, and 3 - 1 = 2 m of 21.2 m.
		"alley": {p: companion.Planting{Kind: companion.Alley, WidthM: num(1), FromBedM: num(0.5), Amount: num(30), AmountPer: companion.GramsPerM2},
			g: g, units: 3, length: 71.2, area: 2*25*1.8 + 21.2*2, grams: 30 * (2*25*1.8 + 21.2*2)},
		"far, no room": {p: companion.Planting{Kind: companion.EdgeStrip, WidthM: num(1), FromBedM: num(10)}, g: g, why: "the map shows no ground at the edge for it: it needs 1 m of width, 10 m or more from every bed; round the beds 1.5 m are taken as free (--margin)"},
		"far, room":    {p: companion.Planting{Kind: companion.EdgeStrip, WidthM: num(1), FromBedM: num(10)}, g: companion.Ground{MarginM: 11, PathM: 0.5}, units: 1, length: 53, area: 53},
		// ceil(2 x 26.2 / 2) = 27 round each of 20 beds.
		"beside": {p: companion.Planting{Kind: companion.BesideBed, SpacingM: num(2), Amount: num(1), AmountPer: companion.PlantsPerPlace}, g: g, units: 540, plants: 540},
		"points": {p: companion.Planting{Kind: companion.BedPoints, AreaPerUnitM2: num(1), Amount: num(1), AmountPer: companion.PiecesPerPlace}, g: g, units: 600, pieces: 600},
		"in bed": {p: companion.Planting{Kind: companion.InBed, SpacingM: num(5), Amount: num(1), AmountPer: companion.PlantsPerPlace}, g: g, units: 100, plants: 100},
		"line":   {p: companion.Planting{Kind: companion.InBedRow, Amount: num(4), AmountPer: companion.GramsPerM}, g: g, units: 20, length: 500, grams: 2000},
		"pots":   {p: companion.Planting{Kind: companion.Pots, AreaPerUnitM2: num(93)}, g: g, why: "it is for beds under cover, and no bed of dahlias here is"},
		"full":   {p: companion.Planting{Kind: companion.FullStand}, g: g, why: "it works only as a full stand that fills a bed for a season, not beside dahlias: see `leafturn covers`"},
		"remove": {p: companion.Planting{Kind: companion.Remove}, g: g, why: "it is to be removed, not planted"},
		"apart":  {p: companion.Planting{Kind: companion.EdgeClumps}, g: g, why: "how far apart they stand is not known"},
	} {
		l := place(t, c.p, grid(), c.g)
		require.Equal(t, c.why, l.Why, name)
		require.Equal(t, c.units, l.Units, name)
		require.InDelta(t, c.length, l.LengthM, 1e-9, name)
		require.InDelta(t, c.area, l.AreaM2, 1e-9, name)
		if c.plants > 0 {
			require.EqualValues(t, c.plants, *l.Plants, name)
		}
		if c.pieces > 0 {
			require.EqualValues(t, c.pieces, *l.Pieces, name)
		}
		if c.grams > 0 {
			require.InDelta(t, c.grams, *l.SeedG, 1e-9, name)
		}
	}
}

// Ground south and west of the beds is known from the map's zero on: 12 m here.
// Plants are whole: 53 m by 0.5 m at 6 a m2 are 159, at 6.01 a m2 160.
func TestPlace_KnownGround(t *testing.T) {
	plots := grid()
	for i := range plots {
		*plots[i].Y += 12
	}
	far := companion.Planting{Kind: companion.EdgeStrip, WidthM: num(1), FromBedM: num(10)}
	l := place(t, far, plots, companion.DefaultGround())
	require.Equal(t, "south", l.Spots[0].Side)
	require.InDelta(t, 1, *l.Spots[0].Y, 1e-9)
	for i := range plots {
		*plots[i].Y -= 2 // 10 m: a strip of 1 m has no room
	}
	require.NotEmpty(t, place(t, far, plots, companion.DefaultGround()).Why)
	for amount, want := range map[float64]int{6: 159, 6.01: 160} {
		l = place(t, companion.Planting{Kind: companion.EdgeStrip, WidthM: num(0.5), Amount: num(amount), AmountPer: companion.PlantsPerM2}, grid(), companion.DefaultGround())
		require.Equal(t, want, *l.Plants)
	}
}

// A big field is laid out in the bounded time of its search, and covered
// whether or not the number is proven.
func TestPlace_BigField(t *testing.T) {
	var plots []companion.Plot
	for i := range 120 {
		plots = append(plots, plot(fmt.Sprint("B", i), float64(i/30)*43, float64(i%30)*2, 40, 1.2))
	}
	l := place(t, companion.Planting{Kind: companion.Scattered, ReachM: num(15)}, plots, companion.DefaultGround())
	// 169 m by 59.2 m are 10005 m2, and a circle of 15 m holds 707 m2.
	require.Greater(t, l.Units, 10005/707)
	require.Less(t, l.Units, 40)
}

// An alley whose end lies too near to the next column is no place.
func TestPlace_NearColumn(t *testing.T) {
	plots := []companion.Plot{plot("A", 0, 0, 10, 1), plot("B", 0, 4, 10, 1), plot("C", 10.3, 1, 10, 3)}
	require.NotEmpty(t, place(t, companion.Planting{Kind: companion.Alley, WidthM: num(1), FromBedM: num(0.5)}, plots, companion.DefaultGround()).Why)
	require.Empty(t, place(t, companion.Planting{Kind: companion.Alley, WidthM: num(1), FromBedM: num(0.3)}, plots, companion.DefaultGround()).Why)
	for _, spot := range place(t, companion.Planting{Kind: companion.Strips, SpacingM: num(30), WidthM: num(0.6)}, plots, companion.DefaultGround()).Spots {
		require.Equal(t, companion.AtTheEdge, spot.Kind)
	}
}

// Under cover: 5 beds of 30 m2 are 150 m2, at 93 m2 a plant 2 plants.
func TestPlace_Pots(t *testing.T) {
	plots := grid()
	for i := range 5 {
		plots[i].House = true
	}
	l := place(t, companion.Planting{Kind: companion.Pots, AreaPerUnitM2: num(93), Amount: num(1), AmountPer: companion.PlantsPerPlace}, plots, companion.DefaultGround())
	require.Equal(t, 2, *l.Plants)
	require.Equal(t, []string{"for all beds under cover together: A1, A2, A3, A4, A5"}, l.Notes)
}

// Traps against a soil pest go where it presses; a bed's rows are known or not.
func TestPlace_Pressed(t *testing.T) {
	plots := grid()
	plots[3].Pressed, plots[3].Rows = true, 2
	l := place(t, companion.Planting{Kind: companion.InBedRow, Amount: num(4), AmountPer: companion.GramsPerM}, plots, companion.DefaultGround())
	require.Len(t, l.Spots, 1)
	require.Equal(t, "A4", l.Spots[0].Bed)
	require.InDelta(t, 4*25*2, *l.SeedG, 1e-9)
	require.Equal(t, []string{"only in the beds where the pest presses"}, l.Notes)
}

// Beds without a place: by length alone, and said.
func TestPlace_OffTheMap(t *testing.T) {
	off := []companion.Plot{{Code: "P1", LengthM: 40, WidthM: 1.2, Dahlias: true}, {Code: "P2", LengthM: 10, WidthM: 1.2, Dahlias: true}}
	g := companion.DefaultGround()
	note := "no bed has a place on the map, so the amounts go by bed length alone"
	// A plant reaches sqrt(15^2 - 0.6^2) = 14.99 m along a bed to each side: 40 m
	// take 2, 10 m one.
	l := place(t, companion.Planting{Kind: companion.Scattered, ReachM: num(15), Amount: num(3), AmountPer: companion.PlantsPerPlace}, off, g)
	require.Equal(t, 3, l.Units)
	require.Equal(t, 9, *l.Plants)
	require.Contains(t, l.Notes, note)
	for _, c := range []struct {
		p     companion.Planting
		units int
	}{
		{companion.Planting{Kind: companion.BedEnds, SpacingM: num(15)}, 4},
		{companion.Planting{Kind: companion.EdgeClumps, SpacingM: num(15)}, 3 + 1},
		{companion.Planting{Kind: companion.EdgeStrip}, 1},
		{companion.Planting{Kind: companion.Strips, SpacingM: num(20), WidthM: num(1)}, 2},
	} {
		l := place(t, c.p, off, g)
		require.Equal(t, c.units, l.Units, c.p.Kind)
		require.Contains(t, l.Notes, note, c.p.Kind)
	}
	require.Contains(t, place(t, companion.Planting{Kind: companion.EdgeStrip, FromBedM: num(10)}, off, g).Notes, "keep it 10 m or more from them yourself")
	require.False(t, l.Proven)
	l = place(t, companion.Planting{Kind: companion.Alley, WidthM: num(1)}, off, g)
	require.Equal(t, "the beds have no places on the map, so its alleys are not known", l.Why)

	l = place(t, companion.Planting{Kind: companion.Scattered, ReachM: num(15)}, append(grid(), off...), g)
	require.Contains(t, l.Notes, "without a place on the map, so by bed length alone: P1, P2")
	l = place(t, companion.Planting{Kind: companion.EdgeStrip}, append(grid(), off...), g)
	require.Equal(t, []string{"without a place on the map, and left out of account: P1, P2"}, l.Notes)
	other := grid()
	for i := range other {
		other[i].Dahlias = false
	}
	require.Equal(t, "there is no bed with dahlias", place(t, companion.Planting{Kind: companion.Scattered, ReachM: num(15)}, other, g).Why)
}

// The least number of places, by trying every smaller set of places in a way of
// its own: each piece of bed of a metre must have one place from which all four
// of its corners are in reach.
func TestPlace_Scattered_BruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var plots []companion.Plot
		for i := range rapid.IntRange(1, 3).Draw(t, "beds") {
			plots = append(plots, plot(fmt.Sprintf("B%d", i), float64(rapid.IntRange(0, 12).Draw(t, "x")), 3*float64(i), float64(rapid.IntRange(2, 9).Draw(t, "length")), 1))
		}
		reach := float64(rapid.IntRange(3, 9).Draw(t, "reach")) / 2
		l, err := companion.Place(companion.Planting{Plant: "x", Kind: companion.Scattered, ReachM: &reach}, plots, companion.DefaultGround())
		require.NoError(t, err)
		require.True(t, l.Proven)

		type point struct{ x, y float64 }
		var places []point
		var pieces [][4]point
		for _, b := range plots {
			for i := 0; i <= int(b.LengthM); i++ {
				places = append(places, point{*b.X + float64(i), *b.Y + 0.5})
				if i < int(b.LengthM) {
					x := *b.X + float64(i)
					pieces = append(pieces, [4]point{{x, *b.Y}, {x + 1, *b.Y}, {x, *b.Y + 1}, {x + 1, *b.Y + 1}})
				}
			}
		}
		served := func(set []int) bool {
			for _, c := range pieces {
				ok := false
				for _, s := range set {
					all := true
					for _, q := range c {
						all = all && math.Hypot(q.x-places[s].x, q.y-places[s].y) <= reach+1e-9
					}
					ok = ok || all
				}
				if !ok {
					return false
				}
			}
			return true
		}
		var any func(from, left int, set []int) bool
		any = func(from, left int, set []int) bool {
			if left == 0 {
				return served(set)
			}
			for i := from; i < len(places); i++ {
				if any(i+1, left-1, append(set, i)) {
					return true
				}
			}
			return false
		}
		if n := len(l.Spots); n > 1 && n <= 4 {
			require.False(t, any(0, n-1, nil), "%d places are enough, not %d", n-1, n)
		}
	})
}

// Every dahlia, drawn at random, lies within reach of a place.
func TestPlace_Scattered_Sampled(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	for _, reach := range []float64{2, 5, 7.5, 15, 40} {
		l := place(t, companion.Planting{Kind: companion.Scattered, ReachM: &reach}, grid(), companion.DefaultGround())
		for range 20_000 {
			b := grid()[rng.IntN(20)]
			x, y := *b.X+rng.Float64()*b.LengthM, *b.Y+rng.Float64()*b.WidthM
			near := math.Inf(1)
			for _, s := range l.Spots {
				near = min(near, math.Hypot(*s.X-x, *s.Y-y))
			}
			require.LessOrEqual(t, near, reach+1e-9)
		}
	}
	// A place lies on the bed that it names.
	l := place(t, companion.Planting{Kind: companion.Scattered, ReachM: num(15)}, grid(), companion.DefaultGround())
	require.Len(t, l.Spots, 3)
	require.True(t, l.Proven)
	for _, s := range l.Spots {
		for _, b := range grid() {
			if b.Code == s.Bed {
				require.InDelta(t, *b.X+s.AtM, *s.X, 1e-9)
				require.InDelta(t, *b.Y+0.6, *s.Y, 1e-9)
			}
		}
	}
}

// No end of a bed is further than half the spacing from a clump.
func TestPlace_BedEnds(t *testing.T) {
	l := place(t, companion.Planting{Kind: companion.BedEnds, SpacingM: num(15)}, grid(), companion.DefaultGround())
	require.True(t, l.Proven)
	require.Equal(t, 6, l.Units) // two at the outer ends, two in the alley, which serves both columns
	for _, b := range grid() {
		for _, x := range []float64{*b.X, *b.X + b.LengthM} {
			near := math.Inf(1)
			for _, s := range l.Spots {
				near = min(near, math.Hypot(*s.X-x, *s.Y-*b.Y-0.6))
			}
			require.LessOrEqual(t, near, 7.5)
		}
	}
}

// Ground keeps its distance from all beds and is given once, whatever the
// field and the plants; with more room a plant never loses its place.
func TestPlace_Properties(t *testing.T) {
	kinds := []companion.Kind{companion.Strips, companion.EdgeClumps, companion.EdgeStrip, companion.Alley}
	rapid.Check(t, func(t *rapid.T) {
		var plots []companion.Plot
		for i := range rapid.IntRange(1, 6).Draw(t, "beds") {
			plots = append(plots, plot(fmt.Sprintf("B%d", i), float64(rapid.IntRange(0, 3).Draw(t, "x"))*14, float64(i)*float64(rapid.IntRange(2, 5).Draw(t, "gap")), 10, 1))
		}
		g := companion.DefaultGround()
		g.MarginM = float64(rapid.IntRange(0, 12).Draw(t, "margin"))
		for range 3 {
			p := companion.Planting{Plant: fmt.Sprint(len(g.Taken)), Kind: rapid.SampledFrom(kinds).Draw(t, "kind"), SpacingM: num(15), WidthM: num(float64(rapid.IntRange(1, 3).Draw(t, "width")) / 2)}
			keep := g.PathM
			if rapid.Bool().Draw(t, "own") {
				keep = float64(rapid.IntRange(0, 8).Draw(t, "keep")) / 2
				p.FromBedM = &keep
			}
			l, err := companion.Place(p, plots, g)
			require.NoError(t, err)
			require.Equal(t, l.Why == "", len(l.Spots) > 0)
			for _, a := range l.Takes {
				for _, b := range plots {
					dx := max(0, a.X0-*b.X-b.LengthM, *b.X-a.X1)
					dy := max(0, a.Y0-*b.Y-b.WidthM, *b.Y-a.Y1)
					require.GreaterOrEqual(t, math.Hypot(dx, dy), keep-1e-9)
				}
				for _, o := range g.Taken {
					require.False(t, min(a.X1, o.X1)-max(a.X0, o.X0) > 1e-6 && min(a.Y1, o.Y1)-max(a.Y0, o.Y0) > 1e-6, "ground given twice")
				}
			}
			if l.Why == "" && (p.Kind == companion.EdgeStrip || p.Kind == companion.EdgeClumps) {
				wide := g
				wide.MarginM += 5
				more, err := companion.Place(p, plots, wide)
				require.NoError(t, err)
				require.Empty(t, more.Why)
			}
			g.Taken = append(g.Taken, l.Takes...)
		}
	})
}

func TestPlace_WideBed(t *testing.T) {
	l := place(t, companion.Planting{Kind: companion.Scattered, ReachM: num(15)}, []companion.Plot{plot("W", 0, 0, 10, 31)}, companion.DefaultGround())
	require.Equal(t, "bed W is 31 m wide, and from its middle line 15 m does not reach all of it", l.Why)
	require.Empty(t, l.Spots)
}

func TestPlace_Taken(t *testing.T) {
	g := companion.DefaultGround()
	first := place(t, companion.Planting{Kind: companion.Alley, WidthM: num(1)}, grid(), g)
	g.Taken = first.Takes
	second := place(t, companion.Planting{Kind: companion.Alley, WidthM: num(1)}, grid(), g)
	require.Equal(t, "its place is taken by x: leave that out to plant this (--without)", second.Why)
}

func TestPlace_Refuses(t *testing.T) {
	ok := grid()
	for name, c := range map[string]struct {
		p     companion.Planting
		plots []companion.Plot
		g     companion.Ground
	}{
		"kind":       {companion.Planting{Kind: "hedge"}, ok, companion.DefaultGround()},
		"no reach":   {companion.Planting{Kind: companion.Scattered}, ok, companion.DefaultGround()},
		"no spacing": {companion.Planting{Kind: companion.BedEnds}, ok, companion.DefaultGround()},
		"no width":   {companion.Planting{Kind: companion.Strips, SpacingM: num(20)}, ok, companion.DefaultGround()},
		"no ground":  {companion.Planting{Kind: companion.Pots}, ok, companion.DefaultGround()},
		"bed size":   {companion.Planting{Kind: companion.InBedRow}, []companion.Plot{plot("W", 0, 0, math.NaN(), 5)}, companion.DefaultGround()},
		"bed place":  {companion.Planting{Kind: companion.InBedRow}, []companion.Plot{plot("W", math.Inf(1), 0, 5, 5)}, companion.DefaultGround()},
		"margin":     {companion.Planting{Kind: companion.InBedRow}, ok, companion.Ground{MarginM: -1}},
	} {
		_, err := companion.Place(c.p, c.plots, c.g)
		require.Error(t, err, name)
	}
}
