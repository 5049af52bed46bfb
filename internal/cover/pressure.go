package cover

import (
	"fmt"
	"math"
)

// MaxPressure is the highest pressure score.
const MaxPressure = 3

// Pressure is how hard a pest presses on a bed, 0 (none to speak of) to 3.
// Known false means that it was never counted: then Score means nothing.
type Pressure struct {
	Pest  string
	Score float64
	Known bool
}

// Counted makes a known pressure.
func Counted(pest string, score float64) Pressure { return Pressure{pest, score, true} }

// PressureScore turns a season's scouting of a pest into a pressure from 0 to 3:
//
//	peak chance over the threshold   weeks over   pressure
//	below 10 %                       0            0
//	10 % to below 50 %               0            1
//	50 % or more                     1 or 2       2
//	50 % or more                     3 or more    3
//
// peakChance is the season's highest weekly chance (0 to 1) that the pest was
// over its action threshold; weeksOver is the number of weeks in which that
// chance was 50 % or more. A pest that was never counted has no pressure; do
// not call this for it, leave Pressure.Known false.
//
// Errors: a chance outside 0 to 1, negative weeks, and weeks that do not agree
// with the peak. Source: common practice (the cut-offs are this tool's own).
func PressureScore(peakChance float64, weeksOver int) (int, error) {
	switch {
	case math.IsNaN(peakChance) || peakChance < 0 || peakChance > 1:
		return 0, fmt.Errorf("cover: chance of being over the threshold is %v, not from 0 to 1", peakChance)
	case weeksOver < 0:
		return 0, fmt.Errorf("cover: %d weeks over the threshold", weeksOver)
	case (weeksOver > 0) != (peakChance >= 0.5):
		return 0, fmt.Errorf("cover: a peak chance of %v does not agree with %d weeks at 50 %% or more", peakChance, weeksOver)
	case peakChance < 0.1:
		return 0, nil
	case peakChance < 0.5:
		return 1, nil
	case weeksOver < 3:
		return 2, nil
	}
	return MaxPressure, nil
}
