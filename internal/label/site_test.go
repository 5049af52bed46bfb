package label_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/units"
)

// Rates and intervals printed beside a site take the place of the label's own
// there; of several sites that match the strictest governs.
func TestPlan_RatesBesideASite(t *testing.T) {
	rate := func(v float64) farm.Stated[units.Quantity] { return farm.Value(units.Of(v, "g/m2")) }
	l := with(func(l *farm.Label) {
		l.RateMax, l.MinIntervalDays = rate(5), farm.Value(7)
		l.Sites = []farm.LabelSite{
			{Where: farm.Outdoor, Crop: "ornamentals", RateMin: rate(1), RateMax: rate(3), MinIntervalDays: farm.Value(14)},
			{Where: farm.House, Crop: "ornamentals", RateMax: rate(2), MinIntervalDays: farm.Value(2), MinIntervalHours: 48},
			{Where: farm.Outdoor, Crop: "asparagus", RateMax: rate(0.1)},
		}
	})
	most := func(l farm.Label, site farm.Site) float64 {
		r := ask(l, "2026-06-01")
		r.Bed.LengthM, r.Bed.WidthM, r.Bed.Site = 10, 1, site
		return label.Plan(r).AmountMax.Value
	}
	require.Equal(t, 30.0, most(l, farm.Outdoor))
	require.Equal(t, 20.0, most(l, farm.House))
	r := ask(l, "2026-06-10")
	r.History = puts(l, "2026-06-01")
	require.Equal(t, "2026-06-15", refused(t, label.Plan(r), label.CodeInterval, "2026-06-15").Words[len("the label asks for 14 days between applications; after the one of 2026-06-01 the first day allowed is "):][:10])
	r.Amount = units.Of(5*r.Bed.AreaM2(), "g")
	require.True(t, label.Plan(r).Has(label.CodeRate), "within the label's own rate, above that of the site")
	// As a fact too.
	x := put(l, "2026-06-20")
	x.Amount = units.Of(4*bed.AreaM2(), "g")
	broke, _ := label.Breaches(x, r)
	require.Len(t, broke, 1)
	require.Contains(t, broke[0], label.CodeRate)

	// Two that match: the lower rate, the longer interval, and its own where none is beside.
	l.Sites[2] = farm.LabelSite{Where: farm.Outdoor, Crop: "cut flowers", RateMax: rate(2.5)}
	got := label.At(l, farm.Outdoor)
	require.Equal(t, 2.5, got.RateMax.Value.Value)
	require.Equal(t, 14, got.MinIntervalDays.Value)
	l.Sites[2] = farm.LabelSite{Where: farm.Outdoor, Crop: "cut flowers"}
	require.Equal(t, 3.0, label.At(l, farm.Outdoor).RateMax.Value.Value)
	l.Sites[0].MinIntervalDays, l.Sites[0].MinIntervalHours = farm.Value(7), 167
	require.Zero(t, label.At(l, farm.Outdoor).MinIntervalHours, "seven days by dates stand before 167 hours")
	l.Sites[0].MinIntervalDays, l.Sites[0].MinIntervalHours = farm.Value(8), 170
	require.Equal(t, 170.0, label.At(l, farm.Outdoor).MinIntervalHours)
	require.Equal(t, label.At(l, farm.Outdoor), label.At(label.At(l, farm.Outdoor), farm.Outdoor))

	// Rates that cannot be held against each other are not known.
	l.Sites[2].RateMax = farm.Value(units.Of(1, "mL/m2"))
	require.False(t, label.At(l, farm.Outdoor).RateMax.Known())
	d := label.Plan(ask(l, "2026-06-01"))
	require.True(t, d.Has(label.CodeUnknown))
	require.Equal(t, "highest rate", d.Refusals[0].Field)
	require.Equal(t, 20.0, most(l, farm.House))

	// A label that gives them beside its sites only lacks nothing.
	l.Sites = l.Sites[:2]
	l.RateMax, l.MinIntervalDays = farm.Stated[units.Quantity]{}, farm.Stated[int]{}
	require.Empty(t, label.Check(l))
	require.Equal(t, 30.0, most(l, farm.Outdoor))
	l.Sites[0].RateMax = farm.Stated[units.Quantity]{}
	l.Sites[0].RateMin = farm.Stated[units.Quantity]{}
	require.Len(t, label.Check(l), 1)

	l.Sites[0].RateMin, l.Sites[0].RateMax = rate(4), rate(3)
	require.Contains(t, label.Contradictions(l)[0], "for ornamentals: the lowest rate (4 g/m2) is above the highest (3 g/m2)")
}
