package growth_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/degreeday"
	"leafturn/internal/growth"
)

// stepped follows a patch by the classical Runge-Kutta method, a second way.
func stepped(p growth.Patch, days float64) (n, q float64) {
	const steps = 20000
	h := days / steps
	n, q = p.Prey, p.Predators
	dn := func(n, q float64) float64 { return p.Alpha*n - p.Beta*q }
	for range steps {
		a1, b1 := dn(n, q), p.Gamma*q
		a2, b2 := dn(n+h/2*a1, q+h/2*b1), p.Gamma*(q+h/2*b1)
		a3, b3 := dn(n+h/2*a2, q+h/2*b2), p.Gamma*(q+h/2*b2)
		a4, b4 := dn(n+h*a3, q+h*b3), p.Gamma*(q+h*b3)
		n, q = n+h/6*(a1+2*a2+2*a3+a4), q+h/6*(b1+2*b2+2*b3+b4)
		if n <= 0 {
			return 0, q
		}
	}
	return n, q
}

func TestPatch_RungeKutta(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	seen := map[growth.Outcome]int{}
	for i := range 300 {
		p := growth.Patch{Prey: 1 + 80*r.Float64(), Predators: 0.2 + 3*r.Float64(), Alpha: 0.4*r.Float64() - 0.05, Beta: 1 + 4*r.Float64(), Gamma: 0.4*r.Float64() - 0.05}
		switch i % 10 {
		case 0:
			p.Gamma = p.Alpha
		case 1:
			p.Gamma = 0
		case 2:
			p.Alpha = 0
		}
		c, err := p.Course()
		require.NoError(t, err)
		seen[c.Outcome]++
		for _, days := range []float64{0.5, 3, 9} {
			n, q := p.At(days)
			wantN, wantQ := stepped(p, days)
			require.InDelta(t, wantN, n, 1e-5*(1+wantN), "%+v after %v", p, days)
			if wantN > 0 {
				require.InEpsilon(t, wantQ, q, 1e-6)
			}
		}
		switch c.Outcome {
		case growth.FallsAtOnce:
			n, _ := p.At(0.001)
			require.LessOrEqual(t, n, p.Prey)
		case growth.RisesThenFalls:
			before, _ := p.At(c.Peak * 0.99)
			after, _ := p.At(c.Peak * 1.01)
			require.True(t, c.Most >= before && c.Most >= after && c.Most > p.Prey, "%+v %+v", p, c)
			at, _ := p.At(c.Gone * (1 - 1e-9))
			require.Less(t, at, 1e-4*(1+c.Most))
			past, _ := p.At(c.Gone)
			require.Zero(t, past)
		case growth.NeverControlled:
			n, _ := p.At(20)
			more, _ := p.At(40)
			require.Greater(t, more, n)
		}
	}
	for _, o := range []growth.Outcome{growth.FallsAtOnce, growth.RisesThenFalls, growth.NeverControlled} {
		require.Greater(t, seen[o], 10, o)
	}
}

func TestPatch_Edges(t *testing.T) {
	for name, x := range map[string]struct {
		p    growth.Patch
		want growth.Outcome
		gone float64
	}{
		"no prey":                              {growth.Patch{Predators: 1, Alpha: 0.3, Beta: 3}, growth.FallsAtOnce, 0},
		"no predators":                         {growth.Patch{Prey: 5, Alpha: 0.3, Beta: 3, Gamma: 0.2}, growth.NeverControlled, math.Inf(1)},
		"no predators, prey dwindles":          {growth.Patch{Prey: 5, Alpha: -0.1, Beta: 3}, growth.FallsAtOnce, math.Inf(1)},
		"alike rates":                          {growth.Patch{Prey: 20, Predators: 1, Alpha: 0.25, Beta: 4, Gamma: 0.25}, growth.RisesThenFalls, 5}, // R/beta
		"predators do not breed: at the limit": {growth.Patch{Prey: 10, Predators: 1, Alpha: 0.3, Beta: 3}, growth.FallsAtOnce, math.Inf(1)},
	} {
		c, err := x.p.Course()
		require.NoError(t, err, name)
		require.Equal(t, x.want, c.Outcome, name)
		if math.IsInf(x.gone, 1) {
			require.True(t, math.IsInf(c.Gone, 1), name)
		} else {
			require.InDelta(t, x.gone, c.Gone, 1e-9, name)
		}
	}
	for _, p := range []growth.Patch{{Prey: -1}, {Predators: math.NaN()}, {Prey: math.Inf(1)}, {Alpha: math.NaN()}, {Beta: -1}} {
		_, err := p.Course()
		require.ErrorIs(t, err, growth.ErrDomain)
	}
}

// Days with the same rates come to the closed form at once.
func TestRun_IsTheClosedForm(t *testing.T) {
	p := growth.Patch{Prey: 20, Predators: 1, Alpha: 0.3, Beta: 3, Gamma: 0.25}
	days := make([]growth.Rates, 12)
	for i := range days {
		days[i] = growth.Rates{Alpha: 0.3, Beta: 3, Gamma: 0.25}
	}
	n, q, err := growth.Run(20, 1, days)
	require.NoError(t, err)
	for i := range days {
		wantN, wantQ := p.At(float64(i + 1))
		require.InDelta(t, wantN, n[i], 1e-9)
		if wantN > 0 {
			require.InDelta(t, wantQ, q[i], 1e-9)
		}
	}
	require.Zero(t, n[9], "gone on day 8.1")
	_, _, err = growth.Run(20, 1, []growth.Rates{{Alpha: math.NaN()}})
	require.ErrorIs(t, err, growth.ErrDomain)
}

// Euler-Lotka against its own sum, and an exact case: every female bears all
// her daughters at one age, so r = ln R0 / age.
func TestIncrease(t *testing.T) {
	x, err := growth.LifeTable{Age: []float64{12}, Alive: []float64{0.5}, Daughters: []float64{20}}.Increase()
	require.NoError(t, err)
	require.InDelta(t, math.Log(10)/12, x.R, 1e-12)
	require.InDelta(t, 12, x.T, 1e-9)
	shrinking, err := growth.LifeTable{Age: []float64{4, 8}, Alive: []float64{0.5, 0.1}, Daughters: []float64{0.5, 2}}.Increase()
	require.NoError(t, err)
	require.Negative(t, shrinking.R)
	require.Negative(t, shrinking.Doubling, "a time to halve")
	r := rand.New(rand.NewPCG(3, 4))
	for range 500 {
		var l growth.LifeTable
		age, alive := 0.0, 1.0
		for range 2 + r.IntN(12) {
			age += 0.5 + 3*r.Float64()
			alive *= r.Float64()
			l.Age, l.Alive, l.Daughters = append(l.Age, age), append(l.Alive, alive), append(l.Daughters, 30*r.Float64())
		}
		x, err := l.Increase()
		require.NoError(t, err)
		sum := 0.0
		for i, a := range l.Age {
			sum += math.Exp(-x.R*a) * l.Alive[i] * l.Daughters[i]
		}
		require.InDelta(t, 1, sum, 1e-9)
		require.Equal(t, x.R0 > 1, x.R > 0)
	}
	for name, l := range map[string]growth.LifeTable{
		"lengths":       {Age: []float64{1, 2}, Alive: []float64{1}, Daughters: []float64{1, 1}},
		"falling ages":  {Age: []float64{2, 1}, Alive: []float64{1, 1}, Daughters: []float64{1, 1}},
		"more than all": {Age: []float64{1}, Alive: []float64{1.2}, Daughters: []float64{1}},
		"no daughters":  {Age: []float64{1}, Alive: []float64{1}, Daughters: []float64{0}},
		"not a number":  {Age: []float64{1}, Alive: []float64{math.NaN()}, Daughters: []float64{3}},
	} {
		_, err := l.Increase()
		require.ErrorIs(t, err, growth.ErrDomain, name)
	}
	_, err = growth.LifeTable{}.Increase()
	require.ErrorIs(t, err, growth.ErrFew)
}

// The rate of a day is the mean over its hours: on a cool day with a warm noon
// the daily mean alone would say that mites do not grow.
func TestCurve_HoursNotTheMean(t *testing.T) {
	line := growth.LineCurve(0.0142, 9.06, 30, 35)
	day := degreeday.Day{Min: 2, Max: 15, NextMin: 2}
	r, err := line.Day(day)
	require.NoError(t, err)
	mean, err := line.At(8.5)
	require.NoError(t, err)
	require.Zero(t, mean)
	// A line above its base is a degree-day sum: single sine over 9.06.
	sum, err := degreeday.Model{Method: degreeday.SingleSine, Lower: 9.06, Upper: math.Inf(1)}.Day(day)
	require.NoError(t, err)
	require.InDelta(t, 0.0142*sum, r, 0.0142*0.02)
	require.Greater(t, r, 0.02)
	// Held above 30, refused above 35.
	at31, err := line.At(31)
	require.NoError(t, err)
	require.InDelta(t, 0.0142*(30-9.06), at31, 1e-12)
	_, err = line.At(35.1)
	require.ErrorIs(t, err, growth.ErrHot)
	_, err = line.Day(degreeday.Day{Min: 18, Max: 37, NextMin: 18})
	require.ErrorIs(t, err, growth.ErrHot)
	held, hot, err := line.DayHeld(degreeday.Day{Min: 18, Max: 37, NextMin: 18})
	require.NoError(t, err)
	require.Positive(t, hot)
	require.Positive(t, held)
}

// The published points of N. fallacis by the table: printed temperatures give
// printed rates, and between them the line.
func TestCurve_Table(t *testing.T) {
	c := growth.Curve{Temp: []float64{17, 20, 25, 30}, Rate: []float64{0.075, 0.114, 0.224, 0.309}, End: 30} // Korean study of N. fallacis
	for i, x := range c.Temp {
		r, err := c.At(x)
		require.NoError(t, err)
		require.InDelta(t, c.Rate[i], r, 1e-12)
	}
	r, err := c.At(22.5)
	require.NoError(t, err)
	require.InDelta(t, 0.169, r, 1e-12)
	r, err = c.At(16.9)
	require.NoError(t, err)
	require.Zero(t, r, "below the data it is not said to grow")
	require.NoError(t, c.Check())
	for _, bad := range []growth.Curve{{}, {Temp: []float64{2, 1}, Rate: []float64{0, 1}, End: 9}, {Temp: []float64{1}, Rate: []float64{math.NaN()}, End: 9}, {Temp: []float64{1, 5}, Rate: []float64{0, 1}, End: 4}} {
		require.ErrorIs(t, bad.Check(), growth.ErrDomain)
	}
}

func TestObserved(t *testing.T) {
	r, ok := growth.Observed(2, 8, 7)
	require.True(t, ok)
	require.InDelta(t, math.Log(4)/7, r, 1e-12)
	for _, x := range []struct {
		a, b float64
		days int
	}{{0, 3, 7}, {3, 0, 7}, {1, 2, 3}, {1, 2, 15}, {math.NaN(), 1, 7}, {1, math.Inf(1), 7}} {
		_, ok := growth.Observed(x.a, x.b, x.days)
		require.False(t, ok, "%+v", x)
	}
}

// A reading that is missing leaves the night unknown, unless one that is known
// rules it out.
func TestSlugNight_Unknown(t *testing.T) {
	yes, no := true, false
	full := growth.Night{TempC: 14, WindMS: 1, Wet: &yes, DrivingRain: &no, SinceFreeze: math.Inf(1)}
	require.Equal(t, growth.Favourable, slugLimits.Gate(full))
	for name, change := range map[string]func(*growth.Night){
		"temperature": func(n *growth.Night) { n.TempC = math.NaN() }, "wind": func(n *growth.Night) { n.WindMS = math.NaN() },
		"wet": func(n *growth.Night) { n.Wet = nil }, "rain": func(n *growth.Night) { n.DrivingRain = nil }, "freeze": func(n *growth.Night) { n.SinceFreeze = math.NaN() },
	} {
		n := full
		change(&n)
		require.Equal(t, growth.NotKnown, slugLimits.Gate(n), name)
		n.Wet = &no
		require.Equal(t, growth.Unfavourable, slugLimits.Gate(n), name)
		n.TempC = 0
		require.Equal(t, growth.Inactive, slugLimits.Gate(n), name)
	}
	require.Equal(t, growth.Unknown, growth.Diapause(math.NaN(), 14))
	require.Equal(t, growth.No, growth.Diapause(14, 14))
}

func TestResponse_EatsNoMoreThanThereIs(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	for range 500 {
		x := growth.Response{Attack: 2 * r.Float64(), Handling: 2 * r.Float64()}
		prey, hours := 200*r.Float64(), 48*r.Float64()
		got, err := x.Depleting(prey, hours)
		require.NoError(t, err)
		require.True(t, got >= 0 && got <= prey)
		require.InDelta(t, prey*(1-math.Exp(x.Attack*(x.Handling*got-hours))), got, 1e-6*(1+prey))
		disc, err := x.Disc(prey, hours)
		require.NoError(t, err)
		require.LessOrEqual(t, got, disc+1e-9, "prey that runs out is eaten less")
	}
	_, err := growth.Response{Attack: -1}.Disc(1, 1)
	require.ErrorIs(t, err, growth.ErrDomain)
	_, err = growth.Response{Attack: 1}.Depleting(math.Inf(1), 1)
	require.ErrorIs(t, err, growth.ErrDomain)
}

// FuzzGrowth: any numbers give an error or an answer that is a number.
func FuzzGrowth(f *testing.F) {
	f.Add(20.0, 1.0, 0.3, 3.0, 0.25, 8.0)
	f.Add(1e300, 1e-300, 100.0, 1e6, -100.0, 1e9)
	f.Add(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
	f.Add(math.NaN(), math.Inf(1), -1.0, -1.0, 1e9, -5.0)
	f.Fuzz(func(t *testing.T, a, b, c, d, e, x float64) {
		p := growth.Patch{Prey: a, Predators: b, Alpha: c, Beta: d, Gamma: e}
		if course, err := p.Course(); err == nil {
			n, q := p.At(x)
			if math.IsNaN(course.Gone) || math.IsNaN(course.Peak) || math.IsNaN(course.Most) || math.IsNaN(n) || math.IsNaN(q) || n < 0 || course.Gone < 0 || course.Peak < 0 {
				t.Fatalf("%+v %+v %v %v", p, course, n, q)
			}
		}
		if fit, err := growth.FitRequirement([]float64{a, b, c}, []float64{d, e, x}); err == nil && (math.IsNaN(fit.Base) || !(fit.DD > 0) || math.IsNaN(fit.R2)) {
			t.Fatalf("%+v", fit)
		}
		if days, ok := (growth.Requirement{Base: a, DD: b}).DaysAt([]float64{c, d}); ok && !(days >= 0) {
			t.Fatal(days)
		}
		if inc, err := (growth.LifeTable{Age: []float64{a, b}, Alive: []float64{c, d}, Daughters: []float64{e, x}}).Increase(); err == nil && (math.IsNaN(inc.R) || math.IsNaN(inc.Lambda) || math.IsNaN(inc.Doubling)) {
			t.Fatalf("%+v", inc)
		}
		r := growth.Response{Attack: a, Handling: b}
		if n, err := r.Depleting(c, d); err == nil && !(n >= 0 && n <= c) {
			t.Fatal(n)
		}
		if n, err := r.Disc(c, d); err == nil && math.IsNaN(n) {
			t.Fatal(n)
		}
		curve := growth.Curve{Temp: []float64{a, b}, Rate: []float64{c, d}, Under: e, End: 1e9}
		if curve.Check() == nil {
			if n, err := curve.At(x); err == nil && math.IsNaN(n) {
				t.Fatal(n)
			}
		}
		if n, err := growth.VapourDeficit(a, b); err == nil && !(n >= 0) {
			t.Fatal(n)
		}
	})
}
