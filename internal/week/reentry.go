package week

import (
	"fmt"
	"time"

	"leafturn/internal/farm"
	"leafturn/internal/label"
)

// Closure is a bed that must not be entered for a time.
type Closure struct {
	Bed       string
	Treatment int64
	Product   string
	From      time.Time // end of the application
	Until     time.Time // end of the re-entry interval; zero when it is unknown
}

// reentry says which beds are closed on the day: re-entry intervals are
// elapsed hours from the end of the application, the latest end governs, and
// one that nobody has read off the label keeps the bed closed.
func (b *builder) reentry() {
	labels := map[string]farm.Label{}
	var ts []farm.Treatment
	for _, t := range b.in.Treatments {
		// Each treatment is judged by the version of the label it was made under.
		l, ok := b.in.Versions[t.ID]
		key := fmt.Sprintf("%s version %d", t.Label, l.Version)
		if ok {
			labels[key] = l
			t.Label = key
		}
		ts = append(ts, t)
	}
	beds := map[string]farm.Bed{}
	for _, bed := range b.in.Beds {
		beds[bed.Code] = bed
	}
	morning := b.in.Today.In(b.in.Zone)
	for _, o := range label.Reentry(ts, labels, beds, b.in.Zone, morning) {
		product := o.Label
		if l, ok := labels[o.Label]; ok {
			product = l.Product
		}
		closed := !o.Known || o.At.After(morning)
		if closed {
			if b.shut == nil {
				b.shut = map[string]time.Time{}
			}
			b.shut[o.Bed] = o.At
			if !o.Known {
				b.shut[o.Bed] = time.Time{}
			}
			b.add(Line{
				Section: Avoid, Ref: "not:enter:" + o.Label, PestName: "re-entry", Beds: []string{o.Bed},
				Head: "Do not work in", Details: []string{o.Words},
				Why:    "re-entry interval of " + product,
				Traces: []Trace{{Bed: o.Bed, Rule: "re-entry is counted in elapsed hours from the end of the application; the latest end governs", Facts: []string{o.Words}}},
			})
			c := Closure{Bed: o.Bed, Product: product, Until: o.At}
			for _, t := range ts {
				if t.Bed == o.Bed && t.Label == o.Label && (c.From.IsZero() || t.End.After(c.From)) {
					c.From, c.Treatment = t.End, t.ID
				}
			}
			if !o.Known {
				c.Until = time.Time{}
			}
			b.closed = append(b.closed, c)
		}
		if o.HarvestFrom.After(b.in.Today) || !o.HarvestKnown {
			words := fmt.Sprintf("%s: cut from %s on", o.Bed, o.HarvestFrom.Short())
			if !o.HarvestKnown {
				words = o.Bed + ": nobody has read the pre-harvest interval off the label (Directions for Use)"
			}
			b.add(Line{
				Section: Avoid, Ref: "not:harvest:" + product, PestName: "harvest", Beds: []string{o.Bed},
				Head: "Do not cut flowers in", Details: []string{words}, Why: "pre-harvest interval of " + product,
				Traces: []Trace{{Bed: o.Bed, Rule: "days to harvest are counted from the day of the application, which is day 0", Facts: []string{o.Words}}},
			})
		}
	}
}

// keepOut says with each step and count when its closed beds open again.
func (b *builder) keepOut(l *Line) {
	if l.Section != Do && l.Section != Scout {
		return
	}
	for _, bed := range l.Beds {
		switch until, ok := b.shut[bed]; {
		case ok && until.IsZero():
			l.Details = append(l.Details, bed+": keep out until the re-entry interval has been read off the label")
		case ok:
			l.Details = append(l.Details, fmt.Sprintf("%s: keep out until %s (re-entry)", bed, until.In(b.in.Zone).Format("Mon 2 Jan 15:04")))
		}
	}
}
