package sampling

import (
	"math"
)

// Precise is what the stop line for a fixed precision says to the units so far.
type Precise struct {
	Stop     bool
	N, Total int
	Line     int     // stop at this total or more after N units; Never: no total is enough
	Reached  float64 // SE/mean at the mean so far; +Inf while nothing was found
	// More is how many further units to expect: half of the belief asks for no
	// more, Low and High hold the middle eight tenths of it. 0 when stopped,
	// Never where no number is known or it is beyond all counting.
	More, Low, High int
}

// mostMore is the number of further units beyond which none is given.
const mostMore = 100_000

// Precise returns what Green's or Kuno's line (see PrecisionTable) says to a
// total on n units, for a mean known to d = SE/mean. It never stops on fewer
// than least units. b is what is believed of the density per unit with these
// units in it; empty stands for the mean so far alone.
//
// How many more to expect is the sample size (Size) at each density of the
// belief less the n units that there are. Where Taylor's b is 2 or more there
// is no line, and the size at the mean so far decides.
// Errors: estimate.ErrDomain.
// Sources: as for Size and PrecisionTable.
func (c Clump) Precise(d float64, n, total, least int, b Belief) (Precise, error) {
	if w := c.check(); w != "" {
		return Precise{}, problem("give k, or a and b of Taylor's law, or alpha and beta of Iwao's", "%s", w)
	}
	if n < 1 || total < 0 || !pos(d) {
		return Precise{}, problem("give a precision above 0 and the units looked at with their total", "precision %v, a total of %d on %d units", d, total, n)
	}
	p := Precise{N: n, Total: total, Line: Never}
	size := func(mean float64) (float64, error) { return c.Size(mean, d, 1) }
	if c.TaylorA > 0 && c.TaylorB >= 2 {
		if total > 0 {
			need, err := size(float64(total) / float64(n))
			if err != nil {
				return p, err
			}
			p.Stop = float64(n) >= need
		}
	} else {
		rows, err := c.PrecisionTable(d, []int{n})
		if err != nil {
			return p, err
		}
		p.Line = rows[0].Total
		p.Stop = total >= p.Line
	}
	return p, p.fill(d, least, b, size)
}

// PreciseShare is Precise for the number of infested units, with the line of
// ShareTable; b is then of the share infested.
// Errors: estimate.ErrDomain.
func PreciseShare(d float64, n, infested, least int, b Belief) (Precise, error) {
	if infested < 0 || infested > n {
		return Precise{}, problem("give the units looked at and how many of them were infested", "%d infested of %d", infested, n)
	}
	rows, err := ShareTable(d, []int{n})
	if err != nil {
		return Precise{}, err
	}
	p := Precise{N: n, Total: infested, Line: rows[0].Total, Stop: infested >= rows[0].Total}
	return p, p.fill(d, least, b, func(share float64) (float64, error) { return ShareRelative(share, d, 1) })
}

// fill adds what is reached and what to expect. size is the sample size at a
// density, which goes with 1/d².
func (p *Precise) fill(d float64, least int, b Belief, size func(float64) (float64, error)) error {
	p.Reached = math.Inf(1)
	soFar := float64(p.Total) / float64(p.N)
	if p.Total > 0 {
		need, err := size(soFar)
		if err != nil {
			return err
		}
		p.Reached = d * math.Sqrt(need/float64(p.N))
	}
	if p.Stop = p.Stop && p.N >= least; p.Stop {
		return nil
	}
	more := func(level float64) int {
		need, err := size(level)
		if err != nil || need-float64(p.N) > mostMore {
			return Never
		}
		return max(1, least-p.N, RoundUp(need)-p.N)
	}
	if len(b.Levels) == 0 {
		b = Belief{[]float64{soFar}, []float64{1}}
	}
	p.More, p.Low, p.High = more(b.Median()), more(b.quantile(0.9)), more(b.quantile(0.1))
	if p.Low > p.High { // Taylor's b above 2: the more animals, the more units
		p.Low, p.High = p.High, p.Low
	}
	return nil
}
