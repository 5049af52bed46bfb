package label

import (
	"fmt"

	"leafturn/internal/units"
)

// A copy keeps limits in °C, m/s and metres. They are told in the unit in
// which they are a plain number, most likely the label's own, with another
// unit behind.

func warmth(c float64) string   { return inBoth(units.Of(c, "C"), 4, "F") }
func speed(ms float64) string   { return inBoth(units.Of(ms, "m/s"), 5, "mph", "km/h") }
func distance(m float64) string { return inBoth(units.Of(m, "m"), 4, "ft", "yd") }
func height(m float64) string   { return inBoth(units.Of(m, "m"), 4, "in", "cm") }

func inBoth(q units.Quantity, figures int, others ...string) string {
	p := q.Natural(others...)
	if p.Unit == q.Unit {
		return figure(p, figures) + " (" + figure(units.Of(q.MustIn(others[0]), others[0]), 3) + ")"
	}
	return figure(p, figures) + " (" + figure(q, figures) + ")"
}

func figure(q units.Quantity, figures int) string {
	unit := q.Unit.Name
	if q.Unit.Dimension == units.Temperature {
		unit = "°" + unit
	}
	return fmt.Sprintf("%.*g %s", figures, q.Value, unit)
}
