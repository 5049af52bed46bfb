package forecast

import (
	"fmt"
	"math"
)

// Chance says a chance in plain words: "3 in 10".
func Chance(p float64) string {
	switch tenth := int(math.Round(10 * p)); {
	case math.IsNaN(p):
		return "unknown"
	case p < 0.01:
		return "less than 1 in 100"
	case p > 0.99:
		return "more than 99 in 100"
	case tenth == 0 || p < 0.075:
		return fmt.Sprintf("%d in 100", int(math.Round(100*p)))
	case tenth == 10:
		return fmt.Sprintf("%d in 100", int(math.Round(100*p)))
	default:
		return fmt.Sprintf("%d in 10", tenth)
	}
}
