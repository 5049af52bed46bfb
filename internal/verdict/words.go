package verdict

import (
	"cmp"
	"math"
	"strconv"
	"strings"
)

func (in *Input) pest() string {
	if in.Pest == "" {
		return "animals"
	}
	return in.Pest
}

func (in *Input) unit() string {
	if in.Unit == "" {
		return "unit"
	}
	return in.Unit
}

// many is a number of sample units in words.
func (in *Input) many(n int) string { return strconv.Itoa(n) + " " + in.units(n) }

// units are the words for n sample units.
func (in *Input) units(n int) string {
	if n == 1 {
		return in.unit()
	}
	return cmp.Or(in.Units, "units")
}

// ratio is a number of the pest in words.
func (in *Input) ratio(v float64) string {
	if num(v) == "1" {
		return "1 of the " + in.pest()
	}
	return num(v) + " " + in.pest()
}

// words says a level.
func (l *Level) words(in *Input, percent bool) string {
	switch {
	case l.Words != "":
		return l.Words
	case percent:
		return num(l.Value) + " %"
	case l.Per > 1:
		return num(l.Value) + " per " + num(l.Per) + " units (" + in.unit() + ")"
	}
	return num(l.Value) + " per " + in.unit()
}

// origin says where a level comes from, and warns of one made for another crop.
func (l *Level) origin() string {
	var p []string
	if l.Basis != "" {
		p = append(p, l.Basis)
	}
	if l.Source != "" {
		p = append(p, l.Source)
	}
	if l.Crop != "" {
		p = append(p, "made for "+l.Crop+", transferred")
	}
	if len(p) == 0 {
		return ""
	}
	return " (" + strings.Join(p, "; ") + ")"
}

func num(v float64) string {
	switch a := math.Abs(v); {
	case a >= 1e9 || math.IsInf(v, 0):
		return strconv.FormatFloat(v, 'g', 3, 64)
	case a >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case a < 0.005 && a > 0:
		return "under 0.01"
	}
	s := strconv.FormatFloat(v, 'f', 2, 64)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}

// whole says a chance in whole percent, as far as anybody knows one; with a
// decimal where the whole number would lie on the other side of a chance that
// decides.
func (in *Input) whole(p float64) string {
	switch {
	case p > 0 && p < 0.01:
		return "under 1 %"
	case p < 1 && p > 0.99:
		return "over 99 %"
	}
	for _, cut := range []float64{in.ActAt, in.HoldBelow} {
		if (p >= cut) != (math.Round(100*p)/100 >= cut) {
			return pct(p)
		}
	}
	return strconv.FormatFloat(100*p, 'f', 0, 64) + " %"
}

// pct says a share as a percentage.
func pct(v float64) string {
	switch {
	case v > 0 && v < 0.001:
		return "under 0.1 %"
	case v < 1 && v > 0.999:
		return "over 99.9 %"
	}
	s := strconv.FormatFloat(100*v, 'f', 1, 64)
	return strings.TrimSuffix(s, ".0") + " %"
}

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return strconv.Itoa(n) + " " + word + "s"
}
