package ingest

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// FormatNote writes a visit as its canonical notes line, without a line end.
// ParseNotes reads the same visit back (but for ID, which a line does not
// hold) when its bed, pest, unit and enemies are known, its date does not lie
// in the future, and observer and note are trimmed text on one line.
func FormatNote(v farm.Visit) string { return FormatNoteIn(v, units.Metric) }

// FormatNoteIn is FormatNote for a farm of a system of units: one in US units
// reads °F wherever they read back as the same number.
func FormatNoteIn(v farm.Visit, s units.System) string {
	out := []string{v.Date.String(), v.Bed, v.Pest}
	for i := 0; i < len(v.Counts); {
		n := 1
		for i+n < len(v.Counts) && v.Counts[i+n] == v.Counts[i] {
			n++
		}
		s := "-"
		if v.Counts[i].Seen {
			s = strconv.Itoa(v.Counts[i].Count)
		}
		if each, short := strings.TrimSuffix(strings.Repeat(s+" ", n), " "), fmt.Sprintf("%d*%s", n, s); len(short) < len(each) {
			out = append(out, short)
		} else {
			out = append(out, each)
		}
		i += n
	}
	if p := v.Presence; p != nil {
		out = append(out, fmt.Sprintf("%d/%d", p.Infested, p.Looked))
	}
	for _, e := range v.Enemies {
		out = append(out, fmt.Sprintf("+%s=%d", e.Enemy, e.Count))
	}
	put := func(name, value string) {
		if value != "" {
			out = append(out, name+"="+value)
		}
	}
	if d := v.Damage; d != nil {
		put("damage", fmt.Sprintf("%d/%d", d.Hurt, d.Looked))
	}
	put("unit", v.Unit)
	c := v.Conditions
	if c.Nights > 0 {
		put("nights", strconv.Itoa(c.Nights))
	}
	put("air", tempText(c.AirC, s))
	put("soilc", tempText(c.SoilC, s))
	put("soil", string(c.Soil))
	put("foliage", string(c.Foliage))
	switch v.Stratum {
	case farm.HotSpot:
		out = append(out, "hotspot")
	case farm.Edge:
		out = append(out, "edge")
	}
	if c.Disturbed {
		out = append(out, "disturbed")
	}
	if who := v.Observer; strings.ContainsFunc(who, isSpace) {
		put("by", `"`+tidy(who)+`"`)
	} else {
		put("by", who)
	}
	if v.Note != "" {
		out = append(out, "# "+strings.NewReplacer("\r\n", " ", "\n", " ", "\r", " ").Replace(v.Note))
	}
	return strings.Join(out, " ")
}

// tempText writes a temperature as it was probably entered: in °F where that
// reads back as the same number, and is shorter or the farm's own.
func tempText(c *float64, s units.System) string {
	if c == nil {
		return ""
	}
	text := number(*c) + "C"
	inF := units.Of(*c, "C").MustIn("F")
	for _, parts := range []float64{10, 100} {
		f := number(math.Round(parts*inF)/parts) + "F"
		back, bad := celsius(f, "")
		if bad == nil && (back == *c && len(f) < len(text) || s.IsUS() && math.Abs(back-*c) < 1e-9) {
			return f
		}
	}
	return text
}

// number writes the shortest text that reads back as the same number.
func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
