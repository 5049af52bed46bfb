package growth

import "math"

// MiteRest says whether mites stop breeding for the winter: when the day is
// shorter than criticalHours and the night colder than criticalC. Either one
// that is known not to hold says no. NaN is not known.
//
// That the two go together is common practice; strains from higher latitudes
// go earlier.
func MiteRest(dayHours, nightC, criticalHours, criticalC float64) Answer {
	short, cold := Diapause(dayHours, criticalHours), Unknown
	switch {
	case math.IsNaN(nightC) || math.IsNaN(criticalC):
	case nightC < criticalC:
		cold = Yes
	default:
		cold = No
	}
	return both(short, cold)
}

// SoilBait says whether a bait in the soil tells what is there: the soil at
// least lowC warm, and moist. NaN and nil are not known. Common practice.
func SoilBait(soilC float64, moist *bool, lowC float64) Answer {
	warm, wet := Unknown, Unknown
	switch {
	case math.IsNaN(soilC) || math.IsNaN(lowC):
	case soilC >= lowC:
		warm = Yes
	default:
		warm = No
	}
	if moist != nil {
		wet = No
		if *moist {
			wet = Yes
		}
	}
	return both(warm, wet)
}

// both is yes where both are, no where one is.
func both(a, b Answer) Answer {
	switch {
	case a == No || b == No:
		return No
	case a == Yes && b == Yes:
		return Yes
	}
	return Unknown
}
