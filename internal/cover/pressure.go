package cover

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// MaxPressure is the highest pressure score.
const MaxPressure = 3

// Pressure is how hard a pest presses on a bed, 0 (none to speak of) to 3.
// Known false means that it was never counted: then Score means nothing.
type Pressure struct {
	Pest  string
	Score float64
	Known bool
	SD    float64 // of the score, from what the counts leave open
	Field bool    // the field's, not this bed's own
	Why   string  // where it comes from, in words
}

// Counted makes a known pressure.
func Counted(pest string, score float64) Pressure {
	return Pressure{Pest: pest, Score: score, Known: true}
}

// Season is what a season's scouting of one pest says of one bed: the chance, 0
// to 1, that it was over its action level, of each week in which it was counted.
type Season struct {
	Bed     string
	AreaM2  float64
	Chances []float64 // NaN, where there is no level, is left out
}

// BedBound reports whether a pest stays in its bed from year to year. Soil
// pests, soil diseases, slugs and earwigs do; what flies or drifts on the wind
// does not. Source: common practice.
func BedBound(pest string) bool {
	return pest == "wireworm" || pest == "symphylan" || pest == "slug" || pest == "earwig" ||
		strings.HasPrefix(pest, "nematode_") || strings.HasPrefix(pest, "soil_")
}

// Carry turns a season's scouting of a pest into each bed's pressure for the
// coming season, in the order of the beds:
//
//	over its action level    pressure
//	never                    0
//	in 1 or 2 weeks          2
//	in 3 weeks or more       3
//
// Whether a week was over is not certain, so the pressure is what is expected:
// 2 x the highest chance of any week + 1 x the third highest. The chances of a
// season go up and down together, so the k-th highest is taken as the chance of
// k weeks. SD is that of the three outcomes.
//
// A pest that stays in its bed (BedBound) presses on the bed where it was
// counted, and is not known elsewhere. Any other presses alike on all beds: the
// mean of the counted beds by area. Its SD is that of a bed drawn from them, as
// nobody knows where it will settle.
//
// Errors: a chance outside 0 to 1; a bed without an area. Source: common
// practice (the cut-offs are this tool's own).
func Carry(pest string, beds []Season) ([]Pressure, error) {
	out := make([]Pressure, len(beds))
	mean, square, area := 0.0, 0.0, 0.0
	counted := 0
	for i, b := range beds {
		out[i].Pest = pest
		if !(b.AreaM2 > 0) || math.IsInf(b.AreaM2, 1) {
			return nil, fmt.Errorf("cover: bed %s has an area of %v m2", b.Bed, b.AreaM2)
		}
		var p []float64
		for _, c := range b.Chances {
			switch {
			case math.IsNaN(c):
			case c < 0 || c > 1:
				return nil, fmt.Errorf("cover: bed %s: chance of being over the level is %v, not from 0 to 1", b.Bed, c)
			default:
				p = append(p, c)
			}
		}
		if len(p) == 0 {
			continue
		}
		slices.SortFunc(p, func(a, b float64) int { return cmp.Compare(b, a) })
		once, often := p[0], 0.0
		if len(p) >= 3 {
			often = p[2]
		}
		m, sq := 2*once+often, 4*(once-often)+9*often
		out[i] = Pressure{Pest: pest, Score: m, Known: true, SD: spread(m, sq),
			Why: fmt.Sprintf("counted in %s: chance %.0f %% over its level, %.0f %% for 3 weeks", count(len(p), "week"), 100*once, 100*often)}
		counted++
		area += b.AreaM2
		mean += b.AreaM2 * m
		square += b.AreaM2 * sq
	}
	if BedBound(pest) || counted == 0 {
		return out, nil
	}
	mean, square = mean/area, square/area
	for i := range out {
		out[i] = Pressure{Pest: pest, Score: min(mean, MaxPressure), Known: true, SD: spread(mean, square), Field: true,
			Why: fmt.Sprintf("it comes from anywhere: mean of %s counted", count(counted, "bed"))}
	}
	return out, nil
}

func spread(mean, square float64) float64 { return math.Sqrt(max(square-mean*mean, 0)) }

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
