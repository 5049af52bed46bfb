package trend

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"leafturn/internal/estimate"
)

// Ratio is edge over middle, in animals per unit.
type Ratio struct {
	Edge, Middle float64 // means per unit
	Ratio        float64
	Low, High    float64 // 95 % interval
	SELn         float64 // standard error of ln ratio, sampling only
	Scatter      float64 // beds against their side's mean, as a variance ratio, at least 1; the interval is widened for it
	Adjusted     bool    // one side had none: half an animal was added to both
}

// EdgeAgainstMiddle returns how many times as many animals per unit the edge
// holds as the middle, from edge and interior strata or from beds flagged so.
//
//	variance of ln ratio = sum over sides of 1/total + 1/(N K)
//
// for one count a side (and for sides of several beds the same information
// summed over beds). Where a side has several beds, their scatter about the
// side's mean widens the interval as in Growth. With no animal on one side
// half an animal is added to both, as in estimate.AbbottCounts.
//
// Errors: estimate.ErrEmpty for a side without beds; estimate.ErrDomain as in
// HotSpots; ErrNoSlope when nothing was found on either side.
// Source: the negative binomial regression of Venables & Ripley 2002, Modern
// Applied Statistics with S, ch. 7, with one indicator.
func EdgeAgainstMiddle(edge, middle []BedCount) (Ratio, error) {
	r := Ratio{Scatter: 1}
	if len(edge) == 0 || len(middle) == 0 {
		return r, fmt.Errorf("%d edge and %d middle counts: %w", len(edge), len(middle), estimate.ErrEmpty)
	}
	var total, units [2]float64
	for side, beds := range [][]BedCount{middle, edge} {
		for i, b := range beds {
			if b.N < 1 || b.N > estimate.MaxCount || b.Total < 0 || float64(b.Total) > float64(estimate.MaxCount)*float64(b.N) || !(b.K >= leastK) {
				return r, fmt.Errorf("count %d (%s): %d animals on %d units, k %v: %w", i+1, b.Code, b.Total, b.N, b.K, estimate.ErrDomain)
			}
			total[side], units[side] = total[side]+float64(b.Total), units[side]+float64(b.N)
		}
	}
	if total[0]+total[1] == 0 {
		return r, fmt.Errorf("nothing was found at the edge or in the middle: %w", ErrNoSlope)
	}
	r.Adjusted = total[0] == 0 || total[1] == 0
	var ln [2]float64
	variance, chi, df := 0.0, 0.0, 0
	for side, beds := range [][]BedCount{middle, edge} {
		add := 0.0
		if r.Adjusted {
			add = 0.5
		}
		m := solveMean(beds, total[side]+add, units[side], add)
		info := 0.0
		for _, b := range beds {
			n := float64(b.N)
			v := n * m * (1 + m/b.K)
			info += n * m / (1 + m/b.K)
			d := float64(b.Total) - n*m
			chi += d / v * d
		}
		df += len(beds) - 1
		ln[side], variance = math.Log(m), variance+1/info
	}
	r.Middle, r.Edge = total[0]/units[0], total[1]/units[1]
	r.Ratio = math.Exp(ln[1] - ln[0])
	r.SELn = math.Sqrt(variance)
	r.interval(ln[1]-ln[0], chi, df)
	return r, nil
}

// interval fills Scatter and the ends about ln ratio, from Pearson's chi-square
// of the beds on df degrees of freedom.
func (r *Ratio) interval(ln, chi float64, df int) {
	q := z95
	if df > 0 && chi > float64(df) {
		r.Scatter = chi / float64(df)
		extra := (r.Scatter - 1) / r.Scatter
		q = distuv.StudentsT{Sigma: 1, Nu: float64(df) / (extra * extra)}.Quantile(0.975)
	}
	h := q * r.SELn * math.Sqrt(r.Scatter)
	r.Low, r.High = math.Exp(ln-h), math.Exp(ln+h)
}

// EdgeWithinBeds is EdgeAgainstMiddle for edge and middle counts of the same
// beds, edge[i] and middle[i] of one bed: each bed's edge is held against its
// own middle, so that beds that differ from each other widen nothing. Only a
// ratio that differs from bed to bed does.
//
//	ln E(count) = bed + ratio of the edge
//
// by maximum likelihood at the given k. Beds with no animal say nothing.
//
// Errors: as EdgeAgainstMiddle; estimate.ErrDomain for sides of unlike length.
// Source: Venables & Ripley 2002, Modern Applied Statistics with S, ch. 7.
func EdgeWithinBeds(edge, middle []BedCount) (Ratio, error) {
	r, err := EdgeAgainstMiddle(edge, middle)
	switch {
	case err != nil:
		return r, err
	case len(edge) != len(middle):
		return Ratio{}, fmt.Errorf("%d edge and %d middle counts: %w", len(edge), len(middle), estimate.ErrDomain)
	}
	var pairs []pair
	var n [2]float64
	for i := range edge {
		n[0], n[1] = n[0]+float64(middle[i].N), n[1]+float64(edge[i].N)
	}
	for i, e := range edge {
		m := middle[i]
		p := pair{total: [2]float64{float64(m.Total), float64(e.Total)}, n: [2]float64{float64(m.N), float64(e.N)}, k: [2]float64{m.K, e.K}}
		if r.Adjusted {
			for side := range 2 {
				p.total[side] += 0.5 * p.n[side] / n[side]
			}
		}
		if p.total[0]+p.total[1] > 0 {
			pairs = append(pairs, p)
		}
	}
	lo, hi := -60.0, 60.0 // of ln ratio, beyond what counts can show
	for range 100 {
		mid := (lo + hi) / 2
		score := 0.0
		for _, p := range pairs {
			mu := p.means(mid)
			score += p.pull(1, mu[1])
		}
		if score > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	ln := (lo + hi) / 2
	info, chi := 0.0, 0.0
	for _, p := range pairs {
		mu := p.means(ln)
		var w [2]float64
		for side, m := range mu {
			w[side] = p.n[side] * m / (1 + m/p.k[side])
			d := p.total[side] - p.n[side]*m
			chi += d / (p.n[side] * m * (1 + m/p.k[side])) * d
		}
		info += w[0] / (w[0] + w[1]) * w[1]
	}
	r.Ratio, r.SELn, r.Scatter = math.Exp(ln), math.Sqrt(1/info), 1
	r.interval(ln, chi, len(pairs)-1)
	return r, nil
}

// pair is the middle [0] and the edge [1] of one bed.
type pair struct{ total, n, k [2]float64 }

// pull is the score of a side's ln mean.
func (p pair) pull(side int, m float64) float64 {
	return (p.total[side] - p.n[side]*m) / (1 + m/p.k[side])
}

// means are the bed's means of greatest likelihood at a ln ratio.
func (p pair) means(ln float64) [2]float64 {
	times := math.Exp(ln)
	a, b := p.total[0]/p.n[0], p.total[1]/p.n[1]/times
	lo, hi := math.Min(a, b), math.Max(a, b)
	for range 200 {
		m := (lo + hi) / 2
		if m == lo || m == hi {
			break
		}
		if p.pull(0, m)+p.pull(1, m*times) > 0 {
			lo = m
		} else {
			hi = m
		}
	}
	m := (lo + hi) / 2
	return [2]float64{m, m * times}
}

// solveMean is the mean of greatest likelihood of a side, total/units when all
// beds have one k: the m where the sum of (total - n m)/(1 + m/k) is 0. add is
// spread over the beds by their units.
func solveMean(beds []BedCount, total, units, add float64) float64 {
	score := func(m float64) float64 {
		s := 0.0
		for _, b := range beds {
			n := float64(b.N)
			s += (float64(b.Total) + add*n/units - n*m) / (1 + m/b.K)
		}
		return s
	}
	same := true
	lo, hi := math.Inf(1), 0.0
	for _, b := range beds {
		m := (float64(b.Total) + add*float64(b.N)/units) / float64(b.N)
		lo, hi, same = math.Min(lo, m), math.Max(hi, m), same && b.K == beds[0].K
	}
	if same {
		return total / units
	}
	for range 200 {
		mid := (lo + hi) / 2
		if mid == lo || mid == hi {
			break
		}
		if score(mid) > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// Words says which side holds more, or that no difference is clear.
func (r Ratio) Words() string {
	switch {
	case r.Low > 1:
		return fmt.Sprintf("the edge holds about %s times as many as the middle (%s to %s)", times(r.Ratio), times(r.Low), times(r.High))
	case r.High < 1:
		return fmt.Sprintf("the middle holds about %s times as many as the edge (%s to %s)", times(1/r.Ratio), times(1/r.High), times(1/r.Low))
	}
	return fmt.Sprintf("no clear difference between edge and middle (the edge holds %s to %s times as many)", times(r.Low), times(r.High))
}
