package forecast

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Count is a reading: animals on so many units, or infested units among them.
type Count struct {
	Found, Units int
	// Scale turns a mean per unit into the measure of the density.
	Scale float64
	// K is how the animals clump on a unit at a mean per unit, +Inf for at random.
	K func(mean float64) float64
	// Share, when given, is the share of infested units at a density; then
	// Found are infested units and Scale and K are not asked.
	Share func(density float64) float64
}

// Ln is ln of (found + 0.5) over units: a reading that can be zero on the scale
// on which readings are compared.
func (c Count) Ln() float64 { return math.Log((float64(c.Found) + 0.5) / float64(c.Units)) }

func (c Count) check() error {
	if c.Units < 1 || c.Units > 1e6 || c.Found < 0 || c.Found > 1e9 || c.Share == nil && (c.K == nil || !(c.Scale > 0)) || c.Share != nil && c.Found > c.Units {
		return fmt.Errorf("%d found on %d units: %w", c.Found, c.Units, ErrDomain)
	}
	return nil
}

// Counted draws, for each path's ln density, the reading that so many units
// would give, with the luck of the count in it, as Ln has it.
func (c Count) Counted(ln []float64, seed uint64) ([]float64, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	rng := rand.New(rand.NewPCG(seed, 1<<62))
	n := float64(c.Units)
	out := make([]float64, len(ln))
	for i, v := range ln {
		found := 0.0
		if c.Share != nil {
			found = distuv.Binomial{N: n, P: math.Min(math.Max(c.Share(math.Exp(v)), 0), 1), Src: rng}.Rand()
		} else {
			mean := math.Exp(v) / c.Scale
			total := n * mean
			if k := c.K(math.Max(mean, 1e-12)); k < 1e6 {
				total *= distuv.Gamma{Alpha: n * k, Beta: n * k, Src: rng}.Rand()
			}
			if total > 0 {
				found = distuv.Poisson{Lambda: math.Min(total, 1e9), Src: rng}.Rand()
			}
		}
		out[i] = math.Log((found + 0.5) / n)
	}
	return out, nil
}

// Judged is a past forecast beside the reading that came and the two simple
// forecasts, all as ln of the reading.
type Judged struct {
	Came, Middle  float64
	Low50, High50 float64
	Low90, High90 float64
	Same          float64 // the last reading again
	Last          float64 // the last growth goes on; NaN without two readings before
	CRPS          float64
	In50, In90    bool
}

// Judge holds drawn readings against the one that came. last is NaN where there
// is none.
func Judge(drawn []float64, came, same, last float64) (Judged, error) {
	if len(drawn) < 20 || !finite(came) || !finite(same) {
		return Judged{}, fmt.Errorf("%d readings drawn, %v came after %v: %w", len(drawn), came, same, ErrDomain)
	}
	x := slices.Clone(drawn)
	slices.Sort(x)
	q := func(p float64) float64 {
		at := p * float64(len(x)-1)
		i := min(int(at), len(x)-2)
		return x[i] + (x[i+1]-x[i])*(at-float64(i))
	}
	j := Judged{Came: came, Middle: q(0.5), Low50: q(0.25), High50: q(0.75), Low90: q(0.05), High90: q(0.95), Same: same, Last: last, CRPS: CRPS(x, came)}
	j.In50, j.In90 = j.Low50 <= came && came <= j.High50, j.Low90 <= came && came <= j.High90
	return j, nil
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// LeastPast is how many past forecasts it takes to judge by. Common practice.
const LeastPast = 10

// Record is what past forecasts were worth. Errors are root mean squares of ln
// readings: 0.1 is about 10 %.
type Record struct {
	Forecasts    int
	In50, In90   int
	Ours, Same   float64
	Both         int // those with two readings before, on which the last growth is scored
	OursOfBoth   float64
	Last         float64
	CRPS         float64
	SameAbsolute float64 // mean absolute error of Same, to be held against CRPS
}

// Few reports whether there are too few forecasts to judge by.
func (r Record) Few() bool { return r.Forecasts < LeastPast }

// Sum adds past forecasts up.
func Sum(all []Judged) Record {
	r := Record{Forecasts: len(all)}
	for _, j := range all {
		if j.In50 {
			r.In50++
		}
		if j.In90 {
			r.In90++
		}
		square := func(v float64) float64 { return (v - j.Came) * (v - j.Came) }
		r.Ours, r.Same = r.Ours+square(j.Middle), r.Same+square(j.Same)
		r.CRPS, r.SameAbsolute = r.CRPS+j.CRPS, r.SameAbsolute+math.Abs(j.Same-j.Came)
		if !math.IsNaN(j.Last) {
			r.Both++
			r.OursOfBoth, r.Last = r.OursOfBoth+square(j.Middle), r.Last+square(j.Last)
		}
	}
	mean := func(sum float64, n int) float64 {
		if n == 0 {
			return math.NaN()
		}
		return sum / float64(n)
	}
	n := len(all)
	r.Ours, r.Same = math.Sqrt(mean(r.Ours, n)), math.Sqrt(mean(r.Same, n))
	r.CRPS, r.SameAbsolute = mean(r.CRPS, n), mean(r.SameAbsolute, n)
	r.OursOfBoth, r.Last = math.Sqrt(mean(r.OursOfBoth, r.Both)), math.Sqrt(mean(r.Last, r.Both))
	return r
}
