package growth

import (
	"fmt"
	"math"

	"leafturn/internal/estimate"
)

// LifeTable is a cohort's: at each age, in days or any unit of time, the share
// still alive and the daughters that a living female bears in that age class.
type LifeTable struct {
	Age       []float64 // middle of each class, rising, above 0
	Alive     []float64 // 0 to 1
	Daughters []float64 // 0 or more
}

// Increase is what a life table comes to, per the unit of time of its ages.
type Increase struct {
	R0       float64 // daughters in a lifetime
	R        float64 // intrinsic rate of increase
	Lambda   float64 // e^R
	T        float64 // generation time, ln R0 / R; NaN for R0 of 1
	CohortT  float64 // mean age of the mothers
	Doubling float64 // ln 2 / R: negative is a time to halve, +Inf is no change
}

// Increase solves Euler and Lotka's sum of e^(-r age) alive daughters = 1 for
// r. It is not ln R0 over the mothers' mean age, which can be 25 % too low.
//
// Errors: ErrFew for no classes, ErrDomain for lengths that differ, numbers out
// of range, or a table without a daughter.
// Source: Birch 1948, J. Anim. Ecol. 17:15-26.
func (l LifeTable) Increase() (Increase, error) {
	n := len(l.Age)
	if n == 0 {
		return Increase{}, fmt.Errorf("no age classes: %w", ErrFew)
	}
	if n != len(l.Alive) || n != len(l.Daughters) {
		return Increase{}, fmt.Errorf("%d ages, %d shares alive, %d numbers of daughters: %w", n, len(l.Alive), len(l.Daughters), ErrDomain)
	}
	var out Increase
	first := 0.0
	for i, x := range l.Age {
		a, m := l.Alive[i], l.Daughters[i]
		if !(x > 0) || x > 1e6 || i > 0 && x <= l.Age[i-1] || !(a >= 0 && a <= 1) || !(m >= 0) || m > 1e9 {
			return Increase{}, fmt.Errorf("class %d: age %v, alive %v, daughters %v: %w", i+1, x, a, m, ErrDomain)
		}
		if first == 0 && a*m > 0 {
			first = x
		}
		out.R0 += a * m
		out.CohortT += x * a * m
	}
	if !(out.R0 > 1e-300) {
		return Increase{}, fmt.Errorf("no female bears a daughter: %w", ErrDomain)
	}
	out.CohortT /= out.R0
	// r lies between ln R0 over the last age and over the first one with
	// daughters, whichever way it points.
	last := l.Age[n-1]
	lo, hi := math.Log(out.R0)/last, math.Log(out.R0)/first
	if lo > hi {
		lo, hi = hi, lo
	}
	for range 200 {
		mid := (lo + hi) / 2
		sum := 0.0
		for i, x := range l.Age {
			sum += math.Exp(-mid*x) * l.Alive[i] * l.Daughters[i]
		}
		if sum > 1 {
			lo = mid
		} else {
			hi = mid
		}
	}
	out.R = (lo + hi) / 2
	out.Lambda = math.Exp(out.R)
	out.T = math.Log(out.R0) / out.R
	if out.R == 0 {
		out.T = math.NaN()
	}
	out.Doubling = estimate.DoublingTime(out.R)
	return out, nil
}

// RoughR returns ln R0 / T, the rate that older papers print. With T the mean
// age of the mothers it is too low: label it as approximate.
func RoughR(r0, t float64) (float64, error) {
	if !(r0 > 0) || !(t > 0) || math.IsInf(r0, 1) || math.IsInf(t, 1) {
		return 0, fmt.Errorf("R0 %v in %v days: %w", r0, t, ErrDomain)
	}
	return math.Log(r0) / t, nil
}

// Contradicts reports whether a printed generation time at a temperature is
// shorter than the stage's own development there: such a row is not used. The
// days of development come with it.
func (r Requirement) Contradicts(generationDays, temp float64) (bool, float64) {
	days, ok := r.Days(temp)
	return ok && generationDays < days, days
}
