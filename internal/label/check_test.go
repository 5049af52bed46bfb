package label_test

import (
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/units"
)

func TestCheck_CompleteLabelHasNoGap(t *testing.T) {
	require.Empty(t, label.Check(bait()))
	require.Empty(t, label.Contradictions(bait()))
	require.Empty(t, label.Check(spray("oil", "mineral oil")))
}

// Every three-state field that a label must have is asked for when it is
// blank, under a heading of a label; optional ones are not.
func TestCheck_EachBlankFieldIsNamed(t *testing.T) {
	optional := map[string]bool{"RateMin": true, "ReapplyByDays": true, "ReapplyWhen": true, "Organic": true,
		// asked for only where the condition of the second table holds
		"SprayMin": true, "SprayMax": true, "EarlyPPE": true, "DoubleNotice": true, "Opened": true, "PlantBack": true,
		"Hours": true, "Soil": true, "Sensitive": true, "TestFirst": true, "Season": true}
	var names []string
	for i := range reflect.TypeFor[farm.Label]().NumField() {
		names = append(names, reflect.TypeFor[farm.Label]().Field(i).Name)
	}
	for i := range reflect.TypeFor[farm.LabelMore]().NumField() {
		names = append(names, reflect.TypeFor[farm.LabelMore]().Field(i).Name)
	}
	blanked := 0
	for _, name := range names {
		l := spray("oil", "mineral oil")
		f := reflect.ValueOf(&l).Elem().FieldByName(name)
		if f.Kind() != reflect.Struct || !strings.HasPrefix(f.Type().Name(), "Stated[") {
			continue
		}
		blanked++
		f.SetZero()
		if optional[name] {
			require.Empty(t, label.Check(l), name)
			continue
		}
		oneGap(t, l, name)
	}
	require.Equal(t, 55, blanked)
}

// panels are the parts of a label, and the one field that the grower knows.
var panels = []string{"front of the label", "Directions for Use", "Agricultural Use Requirements box", "Environmental Hazards", "Precautionary Statements",
	"container", "end of the label", "First Aid box", "Storage and Disposal", "your own note"}

// oneGap requires that one field is missing, that it is named with its place,
// and that the schedule is refused for it.
func oneGap(t *testing.T, l farm.Label, what string) {
	t.Helper()
	gaps := label.Check(l)
	require.Len(t, gaps, 1, what)
	require.NotEmpty(t, gaps[0].Why)
	require.True(t, slices.ContainsFunc(panels, func(p string) bool { return strings.Contains(gaps[0].Where, p) }), gaps[0].Where)
	got := label.Plan(ask(l, "2026-06-01"))
	require.True(t, got.Has(label.CodeUnknown), what)
	require.True(t, got.Earliest.IsZero(), what)
	require.Equal(t, gaps[0].Field, got.Refusals[0].Field)
	require.Equal(t, gaps[0].Where, got.Refusals[0].Where)
}

// A field that is needed under a condition is asked for when it holds, and
// only then. The conditions are those of the field table: C in the notes.
func TestCheck_ConditionalFields(t *testing.T) {
	for what, c := range map[string]struct {
		base  func() farm.Label
		holds func(l *farm.Label)
		blank func(l *farm.Label)
	}{
		"least spray volume of a rate in water": {bait, func(l *farm.Label) { l.RateMax = farm.Value(units.Of(10, "mL/L")) }, func(l *farm.Label) { l.SprayMin = farm.Stated[units.Quantity]{} }},
		"most spray volume of a rate in water":  {bait, func(l *farm.Label) { l.RateMax = farm.Value(units.Of(10, "g/L")) }, func(l *farm.Label) { l.SprayMax = farm.Stated[units.Quantity]{} }},
		"early-entry PPE with an interval":      {bait, func(l *farm.Label) { l.REIHours = farm.Value(4.0) }, func(l *farm.Label) { l.EarlyPPE = farm.Stated[string]{} }},
		"early-entry PPE with one of a site":    {bait, func(l *farm.Label) { l.Sites[0].REIHours = farm.Value(12.0) }, func(l *farm.Label) { l.EarlyPPE = farm.Stated[string]{} }},
		"double notification":                   {bait, func(l *farm.Label) { l.REIHours = farm.Value(48.0) }, func(l *farm.Label) { l.DoubleNotice = farm.Stated[bool]{} }},
		"day of opening":                        {bait, func(l *farm.Label) { l.OpenedDays = farm.Value(365) }, func(l *farm.Label) { l.Opened = farm.Stated[civil.Date]{} }},
		"period of a maximum":                   {bait, func(l *farm.Label) { l.MaxApplications = farm.Value(3) }, func(l *farm.Label) { l.MaxPer = "" }},
		"period of an active's maximum":         {bait, func(l *farm.Label) { l.Actives[0].Max = farm.Value(units.Of(1, "lb/acre")) }, func(l *farm.Label) { l.MaxPer = "" }},
		"grams per litre of a liquid":           {bait, func(l *farm.Label) { l.Formulation = farm.Value("liquid") }, func(l *farm.Label) { l.Actives[0].GPerL = farm.Stated[float64]{} }},
		"life of a mix":                         {bait, func(l *farm.Label) { l.Formulation = farm.Value("liquid") }, func(l *farm.Label) { l.MixedHours = farm.Stated[float64]{} }},
		"least wind of a spray":                 {bait, func(l *farm.Label) { l.Formulation = farm.Value("dust") }, func(l *farm.Label) { l.MinWindMS = farm.Stated[float64]{} }},
	} {
		l := c.base()
		c.blank(&l)
		require.Empty(t, label.Check(l), "%s, without its condition", what)
		c.holds(&l)
		oneGap(t, l, what)
	}

	// The planting-back interval is asked for where planting is planned.
	l := bait()
	l.PlantBack = farm.Stated[int]{}
	r := ask(l, "2026-06-01")
	allowed(t, label.Plan(r))
	r.Work = []label.Work{{What: "sowing rye", Date: day("2026-06-20"), Plants: true}}
	require.Equal(t, "planting-back interval", refused(t, label.Plan(r), label.CodeUnknown, "2026-06-01").Field)
}

// A list that was read and names nothing is an answer, and not a blank; what
// it does not name is refused.
func TestCheck_EmptyListsAreAnswers(t *testing.T) {
	l := bait()
	l.Sites, l.NoSites = nil, true
	require.Empty(t, label.Check(l))
	require.True(t, label.Plan(ask(l, "2026-06-01")).Has(label.CodeSite))
	l = bait()
	l.Pests, l.NoPests = nil, true
	require.Empty(t, label.Check(l))
	require.True(t, label.Plan(ask(l, "2026-06-01")).Has(label.CodePest))
	l = bait()
	l.Actives, l.NoActives = nil, true
	allowed(t, label.Plan(ask(l, "2026-06-01")))
	l.NoActives = false
	oneGap(t, l, "actives")
}

// The questions about spraying are not asked of a dry bait, and are asked
// when nobody has read what the product is.
func TestCheck_Formulation(t *testing.T) {
	l := bait()
	l.RainfastH, l.MaxWindMS, l.MaxTempC, l.MinTempC = farm.Stated[float64]{}, farm.Stated[float64]{}, farm.Stated[float64]{}, farm.Stated[float64]{}
	require.Len(t, label.Check(l), 4, "rain, heat, cold and wind are asked of a dry bait too: a blank is no answer")
	l.Formulation = farm.Stated[string]{}
	require.Len(t, label.Check(l), 5)
	l = bait()
	l.Nozzle, l.BoomM, l.MinWindMS = farm.Stated[string]{}, farm.Stated[float64]{}, farm.Stated[float64]{}
	require.Empty(t, label.Check(l), "what only a sprayer has")
	l.Formulation = farm.Value("liquid")
	require.Len(t, label.Check(l), 3)
}

func TestContradictions(t *testing.T) {
	for want, change := range map[string]func(*farm.Label){
		"shortest interval (15 days) is above the reapply-by time (14 days)": func(l *farm.Label) { l.MinIntervalDays, l.ReapplyByDays = farm.Value(15), farm.Value(14) },
		"the shortest interval is -1":                                        func(l *farm.Label) { l.MinIntervalDays = farm.Value(-1) },
		"lowest rate (2 lb/1000 ft2) is above the highest (1 lb/1000 ft2)":   func(l *farm.Label) { l.RateMin = farm.Value(units.Of(2, "lb/1000 ft2")) },
		"measure different things":                                           func(l *farm.Label) { l.RateMin = farm.Value(units.Of(1, "L/ha")) },
		"per area, per volume":                                               func(l *farm.Label) { l.RateMax = farm.Value(units.Of(1, "lb")) },
		"it must be above zero":                                              func(l *farm.Label) { l.RateMax = farm.Value(units.Of(0, "kg/ha")) },
		"re-entry interval is NaN":                                           func(l *farm.Label) { l.REIHours = farm.Value(math.NaN()) },
		"re-entry interval for ornamentals":                                  func(l *farm.Label) { l.Sites[0].REIHours = farm.Value(-4.0) },
		"neither outdoor nor house":                                          func(l *farm.Label) { l.Sites[0].Where = "attic" },
		"rolling maximum is 0 in any 30":                                     func(l *farm.Label) { l.MaxInWindow = farm.Value(farm.Window{Count: 0, Days: 30}) },
		"maximum number of applications":                                     func(l *farm.Label) { l.MaxApplications = farm.Value(0) },
		"already goes above": func(l *farm.Label) {
			l.RateMin, l.MaxAmount = farm.Value(units.Of(1, "lb/1000 ft2")), farm.Value(units.Of(0.9, "lb/1000 ft2"))
		},
		"maximum amount (1 L/ha) and the highest rate":            func(l *farm.Label) { l.MaxAmount = farm.Value(units.Of(1, "L/ha")) },
		"lowest temperature (30 °C) is above the highest (20 °C)": func(l *farm.Label) { l.MinTempC, l.MaxTempC = farm.Value(30.0), farm.Value(20.0) },
		"between 0 and 100":       func(l *farm.Label) { l.Actives[0].Percent = 101 },
		"add up to":               func(l *farm.Label) { l.Actives = append(l.Actives, farm.Active{Name: "x", Percent: 99.5}) },
		"bee statement \"maybe\"": func(l *farm.Label) { l.Bees = farm.Value("maybe") },
		"counted per \"moon\"":    func(l *farm.Label) { l.MaxPer = "moon" },
		"give a weight per area":  func(l *farm.Label) { l.Actives[0].Max = farm.Value(units.Of(1, "L/ha")) },
	} {
		l := with(change)
		require.NotEmpty(t, label.Contradictions(l), want)
		require.Contains(t, strings.Join(label.Contradictions(l), "\n"), want)
		d := label.Plan(ask(l, "2026-06-01"))
		require.True(t, d.Has(label.CodeContradiction), want)
		require.True(t, d.Earliest.IsZero(), want)
	}
}

// 1 gallon (US) in 1000 sq ft of water with 2.5 fl oz/gal is 2.5 fl oz per
// 1000 sq ft: 73.9338 mL (NIST SP 811: 1 US fl oz = 29.5735295625 mL).
func TestAmount(t *testing.T) {
	for _, c := range []struct {
		area  float64
		rate  units.Quantity
		spray units.Quantity
		want  units.Quantity
	}{
		{92.90304, units.Of(1, "lb/1000 ft2"), units.Quantity{}, units.Of(453.59237, "g")},
		{92.90304, units.Of(2.5, "US fl oz/US gal"), units.Of(1, "US gal/1000 ft2"), units.Of(2.5*29.5735295625, "mL")},
		{4046.8564224, units.Of(1, "lb/100 US gal"), units.Of(50, "US gal/acre"), units.Of(453.59237/2, "g")},
		{10000, units.Of(24, "kg/ha"), units.Quantity{}, units.Of(24000, "g")},
		{20, units.Of(0.5, "/m2"), units.Quantity{}, units.Of(10, "each")},
	} {
		got, err := label.Amount(c.area, c.rate, c.spray)
		require.NoError(t, err)
		require.Equal(t, c.want.Unit, got.Unit)
		require.InEpsilon(t, c.want.Value, got.Value, 1e-12, "%v", c.rate)
	}
	_, err := label.Amount(0, units.Of(1, "kg/ha"), units.Quantity{})
	require.ErrorIs(t, err, label.ErrArea)
	_, err = label.Amount(math.NaN(), units.Of(1, "kg/ha"), units.Quantity{})
	require.ErrorIs(t, err, label.ErrArea)
	_, err = label.Amount(1, units.Of(1, "m/s"), units.Quantity{})
	require.ErrorIs(t, err, label.ErrBasis)
	_, err = label.Amount(1, units.Of(1, "g/L"), units.Of(1, "kg/ha"))
	require.ErrorIs(t, err, label.ErrSprayVolume)
}

// The amounts shown never leave the label's range.
func TestPlan_AmountsWithinRates(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lo := rapid.Float64Range(0.01, 5).Draw(t, "lo")
		hi := rapid.Float64Range(lo, 10).Draw(t, "hi")
		r := ask(with(func(l *farm.Label) {
			l.RateMin, l.RateMax = farm.Value(units.Of(lo, "lb/1000 ft2")), farm.Value(units.Of(hi, "lb/1000 ft2"))
		}), "2026-06-01")
		r.Bed.LengthM = rapid.Float64Range(1, 100).Draw(t, "length")
		d := label.Plan(r)
		const gPerM2 = 453.59237 / 92.90304
		area := r.Bed.LengthM * r.Bed.WidthM
		require.LessOrEqual(t, d.AmountMax.Value, hi*gPerM2*area*(1+1e-9))
		require.Greater(t, d.AmountMax.Value, hi*gPerM2*area-0.1001)
		require.LessOrEqual(t, d.AmountMin.Value, d.AmountMax.Value)
		if d.AmountMin.Value < d.AmountMax.Value {
			require.GreaterOrEqual(t, d.AmountMin.Value, lo*gPerM2*area*(1-1e-9))
		}
		r.Amount = d.AmountMax
		require.True(t, label.Plan(r).Allowed)
	})
}

func TestOverlap(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want bool
	}{
		{"", "", true}, {"", "east half", true}, {"east half", "East  Half", true}, {"east half", "west half", false},
		{"north half", "south half", false}, {"north half", "east half", true}, {"half", "west half", true},
		{"rows 1-4", "rows 5-8", false}, {"rows 1-4", "row 4", true}, {"row 3", "row 4", false}, {"rows 1 to 4", "rows 4 - 6", true},
		{"rows 4-1", "row 9", true}, {"rows 1-4", "east half", true}, {"the wet corner", "row 1", true},
	} {
		require.Equal(t, c.want, label.Overlap(c.a, c.b), "%q %q", c.a, c.b)
		require.Equal(t, c.want, label.Overlap(c.b, c.a), "%q %q", c.b, c.a)
	}
}

func TestBreaches(t *testing.T) {
	l := with(func(l *farm.Label) {
		l.MaxApplications, l.RateMax, l.REIHours = farm.Value(1), farm.Value(units.Of(3, "g/m2")), farm.Value(24.0)
	})
	r := ask(l, "2026-01-01")
	r.History = puts(l, "2026-06-01", "2026-06-01", "2026-08-01")
	r.History[0].End = r.History[1].End.Add(-3 * time.Hour) // 15:00, so the bed was closed at 17:00
	broke, unjudged := label.Breaches(r.History[0], r)
	require.Len(t, broke, 1, "%v", broke) // 40 g on 11.1 m2 is above 3 g/m2; nothing came before it
	require.Contains(t, broke[0], label.CodeRate)
	require.Empty(t, unjudged)

	broke, _ = label.Breaches(r.History[1], r)
	joined := strings.Join(broke, "\n")
	for _, code := range []string{label.CodeRate, label.CodeMaxCount, label.CodeClosed} {
		require.Contains(t, joined, code)
	}
	require.Len(t, broke, 3)

	blank := l
	blank.MinIntervalDays = farm.Stated[int]{}
	r.Label = blank
	_, unjudged = label.Breaches(r.History[2], r)
	require.Len(t, unjudged, 1)
	require.Contains(t, unjudged[0], "minimum retreatment interval")
	require.Len(t, r.History, 3)
}

// Two products in one tank end together and do not close the bed to each other.
func TestClosed_TankMix(t *testing.T) {
	a, b := rei(24), spray("oil", "mineral oil")
	r := ask(b, "2026-06-01")
	r.Labels = one(a)
	r.History = puts(a, "2026-06-01")
	r.Start, r.End = r.History[0].Start, r.History[0].End
	allowed(t, label.Plan(r))
	r.Start, r.End = r.Start.Add(2*time.Hour), r.End.Add(2*time.Hour)
	refused(t, label.Plan(r), label.CodeClosed, "2026-06-02")
	r.Labels = nil // a label that is not transcribed keeps the bed closed
	require.True(t, label.Plan(r).Has(label.CodeClosed))
	require.True(t, label.Plan(r).Earliest.IsZero())
}

func TestNight(t *testing.T) {
	r := ask(bees(farm.BeesAfterSunset), "2026-07-20")
	require.Contains(t, strings.Join(label.Plan(r).Conditions, "\n"), "between sunset and sunrise")
	r.End = at("2026-07-20T21:00:00-04:00")
	require.True(t, label.Plan(r).Refusals[0].Unknown) // the times of the sun are not known
	r.Sunrise, r.Sunset = at("2026-07-20T05:45:00-04:00"), at("2026-07-20T20:20:00-04:00")
	for end, ok := range map[string]bool{"2026-07-20T05:44:00-04:00": true, "2026-07-20T05:45:00-04:00": false, "2026-07-20T20:19:00-04:00": false, "2026-07-20T20:20:00-04:00": true} {
		r.Start, r.End = at(end), at(end)
		require.Equal(t, ok, label.Plan(r).Allowed, end)
	}
	// Only the end is known: an end by day is a breach, any other may follow a
	// beginning by day, and nothing is cleared.
	for end, byDay := range map[string]bool{"2026-07-20T00:10:00-04:00": false, "2026-07-20T05:45:00-04:00": false, "2026-07-20T05:46:00-04:00": true,
		"2026-07-20T20:19:00-04:00": true, "2026-07-20T20:20:00-04:00": false, "2026-07-20T23:50:00-04:00": false} {
		r.Start, r.End = time.Time{}, at(end)
		got := refused(t, label.Plan(r), label.CodeSunset, "2026-07-20")
		require.Equal(t, !byDay, got.Unknown, end)
		if !byDay {
			require.Contains(t, got.Words, "when it began is not known", end)
		}
	}
	r.Start, r.End = at("2026-07-20T20:00:00-04:00"), at("2026-07-20T21:00:00-04:00") // begun by day
	refused(t, label.Plan(r), label.CodeSunset, "2026-07-20")
	r.Start, r.End = at("2026-07-19T23:00:00-04:00"), at("2026-07-20T01:00:00-04:00") // past midnight
	allowed(t, label.Plan(r))
}

// What took place without a beginning, or without any hour, is not cleared by
// rules on the hour.
func TestFindings_HourNotKnown(t *testing.T) {
	l := bees(farm.BeesAfterSunset)
	l.Hours = farm.Value([]farm.ClockSpan{{From: 18 * 60, To: 24 * 60}})
	r := ask(l, "2026-07-20")
	r.Sunrise, r.Sunset = at("2026-07-20T05:45:00-04:00"), at("2026-07-20T20:20:00-04:00")
	x := put(l, "2026-07-20")
	x.Start, x.End = at("2026-07-20T20:30:00-04:00"), at("2026-07-20T21:00:00-04:00")
	codes := func(t farm.Treatment) map[string]bool {
		out := map[string]bool{}
		for _, f := range label.Findings(t, r) {
			if f.Code == label.CodeSunset || f.Code == label.CodeHours || f.Code == label.CodeClosed {
				out[f.Code] = f.Unknown
			}
		}
		return out
	}
	require.Empty(t, codes(x))
	x.Start = time.Time{}
	require.Equal(t, map[string]bool{label.CodeSunset: true, label.CodeHours: true}, codes(x))
	x.End = at("2026-07-20T17:00:00-04:00")
	require.Equal(t, map[string]bool{label.CodeSunset: false, label.CodeHours: false}, codes(x))
	x.End, x.EndKnown = at("2026-07-21T00:00:00-04:00"), false
	require.Equal(t, map[string]bool{label.CodeSunset: true, label.CodeHours: true}, codes(x))

	// Another one keeps the bed closed until 18:30: whether this one began before is not known.
	r.Label = rei(4)
	before := put(r.Label, "2026-07-20")
	before.ID, before.Start, before.End = 7, at("2026-07-20T14:00:00-04:00"), at("2026-07-20T14:30:00-04:00")
	r.History = []farm.Treatment{before}
	r.Versions = map[int64]farm.Label{7: rei(4)}
	x = put(r.Label, "2026-07-20")
	x.Start, x.End = time.Time{}, at("2026-07-20T19:00:00-04:00")
	require.Equal(t, map[string]bool{label.CodeClosed: true}, codes(x))
	x.Start = at("2026-07-20T18:30:00-04:00")
	require.Empty(t, codes(x))
	x.Start = at("2026-07-20T18:29:00-04:00")
	require.Equal(t, map[string]bool{label.CodeClosed: false}, codes(x))
}

func TestREIEnd(t *testing.T) {
	d := label.Plan(ask(rei(12), "2026-06-01"))
	end, ok := d.REIEnd(at("2026-03-07T20:00:00-05:00"))
	require.True(t, ok)
	sameTime(t, "2026-03-08T09:00:00-04:00", end)
	_, ok = label.Plan(ask(with(func(l *farm.Label) { l.REIHours = farm.Stated[float64]{} }), "2026-06-01")).REIEnd(end)
	require.False(t, ok)
}

// A label may print 4 h outdoors and 12 h under cover; an unknown site takes
// the longest, and an unread one closes the bed.
func TestREI_Site(t *testing.T) {
	l := with(func(l *farm.Label) {
		l.REIHours = farm.Value(4.0)
		l.Sites = append(l.Sites, farm.LabelSite{Where: farm.House, Crop: "ornamentals", REIHours: farm.Value(12.0)})
	})
	for site, want := range map[farm.Site]float64{farm.Outdoor: 4, farm.House: 12, "": 12} {
		h, state := label.REI(l, site)
		require.Equal(t, farm.IsStated, state)
		require.Equal(t, want, h, site)
	}
	l.REIHours = farm.Stated[float64]{}
	_, state := label.REI(l, farm.Outdoor)
	require.Equal(t, farm.NotRead, state)
	_, state = label.REI(l, "")
	require.Equal(t, farm.NotRead, state)
	l.Sites[0].REIHours = farm.None[float64]()
	h, state := label.REI(l, farm.Outdoor)
	require.Equal(t, farm.NoneStated, state)
	require.Zero(t, h)
}

// A blank limit per active refuses like any other blank, and a bait that is
// sprayed is asked what a spray is asked.
func TestCheck_NeverLoosens(t *testing.T) {
	l := bait()
	l.Actives[0].Max = farm.Stated[units.Quantity]{}
	require.Len(t, label.Check(l), 1)
	require.Equal(t, "limit shared by active", label.Check(l)[0].Field)
	require.True(t, label.Plan(ask(l, "2026-06-01")).Has(label.CodeUnknown))

	l = bait()
	l.NoKeepApart = false
	require.Len(t, label.Check(l), 1, "an empty list of materials to keep apart is no answer")
	l.KeepApart = []farm.Apart{{Active: "sulfur", Days: 14}}
	require.Empty(t, label.Check(l))

	l = bait()
	l.RainfastH, l.MaxWindMS, l.MaxTempC, l.MinTempC = farm.Stated[float64]{}, farm.Stated[float64]{}, farm.Stated[float64]{}, farm.Stated[float64]{}
	l.Nozzle = farm.Stated[string]{}
	for _, f := range []string{"liquid bait concentrate, sprayed", "liquid", "dust", "wettable powder", "ready to use", "pelleted spray"} {
		l.Formulation = farm.Value(f)
		require.Len(t, label.Check(l), 5, f)
	}
	for _, f := range []string{"dry bait", "Granule", "pellet"} {
		l.Formulation = farm.Value(f)
		require.Len(t, label.Check(l), 4, f)
	}
}

func TestApprovesOrganic(t *testing.T) {
	for text, want := range map[string]bool{
		"listed by a body": true, "certifier X: yes, 2026-05-01": true, "Certifier said YES on 2026-05-01 by letter": true,
		"no, not approved": false, "organic": false, "yes": false, "certifier: yes": false, "certifier: not yes before 2026-05-01": false,
		"listed by nobody: pending": false, "": false, "no longer listed by a body": false,
	} {
		require.Equal(t, want, farm.ApprovesOrganic(text), text)
	}
	l := with(func(l *farm.Label) { l.Organic = farm.Value("no, not approved") })
	r := ask(l, "2026-06-01")
	r.Organic, r.Practice = true, true
	require.Contains(t, refused(t, label.Plan(r), label.CodeApproval, "").Words, `"no, not approved" is no approval`)
}
