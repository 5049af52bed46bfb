package label

import (
	"fmt"

	"leafturn/internal/units"
)

// A copy keeps limits in °C, m/s and metres. They are told in the unit in
// which they are a plain number, most likely the label's own, and behind it in
// the farm's unit where that is another.

func (r Request) warmth(c float64) string { return quoted(units.Of(c, "C"), r.Units, 4, "F") }
func (r Request) speed(ms float64) string {
	return quoted(units.Of(ms, "m/s"), r.Units, 5, "mph", "km/h")
}
func (r Request) distance(m float64) string { return quoted(units.Of(m, "m"), r.Units, 4, "ft", "yd") }
func (r Request) height(m float64) string   { return quoted(units.Of(m, "m"), r.Units, 4, "in", "cm") }

// warm and windy are what was measured here, in the farm's unit.
func (r Request) warm(c float64) string   { return figure(r.Units.To(units.Of(c, "C")), 4) }
func (r Request) windy(ms float64) string { return figure(r.Units.To(units.Of(ms, "m/s")), 4) }
func (r Request) far(m float64) string    { return figure(r.Units.To(units.Of(m, "m")), 4) }

func quoted(q units.Quantity, s units.System, figures int, others ...string) string {
	own := s.To(q)
	label := own.Natural(append([]string{q.Unit.Name}, others...)...)
	if in := s.To(label); in.Unit != label.Unit {
		return figure(label, figures) + " (" + figure(own, figures) + ")"
	}
	return figure(label, figures)
}

// asLabel tells a limit in the unit in which it is a plain number alone.
func asLabel(v float64, unit string, others ...string) string {
	return figure(units.Of(v, unit).Natural(others...), 5)
}

func figure(q units.Quantity, figures int) string {
	unit := q.Unit.Name
	if q.Unit.Dimension == units.Temperature {
		unit = "°" + unit
	}
	return fmt.Sprintf("%.*g %s", figures, q.Value, unit)
}
