package label_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/testkit"
	"leafturn/internal/units"
)

var ny = mustZone("America/New_York")

func mustZone(name string) *time.Location {
	loc, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return loc
}

func day(s string) civil.Date { return civil.MustParse(s) }

func at(s string) time.Time {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		panic(err)
	}
	return t
}

// bait is an invented label on which every field was read. Where a rule is
// not under test it states none, so that each case shows its own rule only.
func bait() farm.Label {
	return testkit.Read(farm.Label{
		Key: "ironbait", Version: 1, Product: "Invented iron bait",
		Registration: farm.Value("00000-0"), UseClass: farm.Value("general"), SignalWord: farm.Value("caution"),
		Actives:     []farm.Active{{Name: "ferric phosphate", Percent: 1, Group: farm.None[string](), Max: farm.None[units.Quantity]()}},
		Formulation: farm.Value("dry bait"), Organic: farm.None[string](),
		Sites: []farm.LabelSite{{Where: farm.Outdoor, Crop: "ornamentals"}}, Pests: []string{"slug"},
		Method: farm.Value("scatter"), Expiry: farm.None[civil.Date](),
		RateMin: farm.None[units.Quantity](), RateMax: farm.Value(units.Of(1, "lb/1000 sq ft")),
		MinIntervalDays: farm.None[int](), ReapplyByDays: farm.None[int](), ReapplyWhen: farm.None[string](),
		MaxApplications: farm.None[int](), MaxInWindow: farm.None[farm.Window](), MaxAmount: farm.None[units.Quantity](),
		REIHours: farm.None[float64](), PHIDays: farm.None[int](), RainfastH: farm.None[float64](),
		MaxTempC: farm.None[float64](), MinTempC: farm.None[float64](), MaxWindMS: farm.None[float64](),
		Bees: farm.None[string](), WaterBuffer: farm.None[float64](), Animals: farm.None[string](), PPE: farm.Value("gloves"), NoKeepApart: true,
	})
}

// spray is the same for an invented liquid product.
func spray(key, active string) farm.Label {
	l := bait()
	l.Key, l.Product = key, "Invented "+key
	l.Formulation = farm.Value("liquid")
	l.Actives = []farm.Active{{Name: active, Percent: 50, GPerL: farm.None[float64](), Group: farm.None[string](), Max: farm.None[units.Quantity]()}}
	return l
}

// with returns the bait label after a change.
func with(change func(*farm.Label)) farm.Label {
	l := bait()
	change(&l)
	return l
}

var bed = farm.Bed{Code: "B3", LengthM: 30 * 0.3048, WidthM: 4 * 0.3048, Site: farm.Outdoor}

func ask(l farm.Label, date string) label.Request {
	return label.Request{Label: l, Bed: bed, Pest: "slug", Date: day(date), Loc: ny,
		Season: label.Span{From: day("2026-01-01"), To: day("2026-12-31")}}
}

// put is an application of 40 g on the whole bed, ended at 18:00 of a date.
func put(l farm.Label, date string) farm.Treatment {
	end := day(date).In(ny).Add(18 * time.Hour)
	return farm.Treatment{Bed: "B3", Label: l.Key, Pest: "slug", Date: day(date), Start: end.Add(-time.Hour), End: end, EndKnown: true,
		Amount: units.Of(40, "g"), AreaM2: bed.AreaM2()}
}

func puts(l farm.Label, dates ...string) []farm.Treatment {
	var out []farm.Treatment
	for i, d := range dates {
		t := put(l, d)
		t.ID = int64(i + 1)
		out = append(out, t)
	}
	return out
}

func refused(t *testing.T, d label.Decision, code, earliest string) label.Rule {
	t.Helper()
	require.False(t, d.Allowed)
	require.Len(t, d.Refusals, 1, "%+v", d.Refusals)
	require.Equal(t, code, d.Refusals[0].Code, "%+v", d.Refusals)
	require.Equal(t, earliest, d.Earliest.String())
	return d.Refusals[0]
}

func allowed(t *testing.T, d label.Decision) {
	t.Helper()
	require.True(t, d.Allowed, "%+v", d.Refusals)
	require.Empty(t, d.Refusals)
}
