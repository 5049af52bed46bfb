package label_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/units"
)

func more(change func(*farm.Label)) label.Request { return ask(with(change), "2026-06-10") }

// Rules of the further fields. The readings are common practice; what a label
// may limit is EPA Label Review Manual, chapter 11.
func TestPlan_FurtherFields(t *testing.T) {
	for what, c := range map[string]struct {
		r        label.Request
		code     string // "" is allowed
		earliest string
	}{
		"retired from that day":  {more(func(l *farm.Label) { l.Retired = day("2026-06-10") }), label.CodeRetired, ""},
		"retired later":          {more(func(l *farm.Label) { l.Retired = day("2026-06-11") }), "", "2026-06-10"},
		"excluded crop":          {more(func(l *farm.Label) { l.ExcludedCrops = farm.Value([]string{"Dahlia"}) }), label.CodeSite, ""},
		"another excluded crop":  {more(func(l *farm.Label) { l.ExcludedCrops = farm.Value([]string{"roses"}) }), "", "2026-06-10"},
		"last day after opening": {more(func(l *farm.Label) { l.OpenedDays, l.Opened = farm.Value(30), farm.Value(day("2026-05-11")) }), "", "2026-06-10"},
		"a day too long open":    {more(func(l *farm.Label) { l.OpenedDays, l.Opened = farm.Value(30), farm.Value(day("2026-05-10")) }), label.CodeExpired, ""},
		"not opened yet":         {more(func(l *farm.Label) { l.OpenedDays, l.Opened = farm.Value(30), farm.None[civil.Date]() }), "", "2026-06-10"},
		"before the label's season": {more(func(l *farm.Label) {
			l.MaxApplications, l.Season = farm.Value(3), farm.Value(farm.YearSpan{From: civil.MonthDay{Month: 7, Day: 1}, To: civil.MonthDay{Month: 9, Day: 30}})
		}), label.CodeSeason, "2026-07-01"},
		"in a season over the new year": {more(func(l *farm.Label) {
			l.MaxApplications, l.Season = farm.Value(3), farm.Value(farm.YearSpan{From: civil.MonthDay{Month: 10, Day: 1}, To: civil.MonthDay{Month: 6, Day: 10}})
		}), "", "2026-06-10"},
		"per generation, unknown": {more(func(l *farm.Label) { l.MoreMaxima = farm.Value([]farm.Maximum{{Count: 1, Per: farm.PerGeneration}}) }), label.CodeSeason, ""},
	} {
		d := label.Plan(c.r)
		if c.code == "" {
			require.True(t, d.Allowed, "%s: %+v", what, d.Refusals)
		} else {
			require.Len(t, d.Refusals, 1, what)
			require.Equal(t, c.code, d.Refusals[0].Code, what)
		}
		require.Equal(t, c.earliest, d.Earliest.String(), what)
	}
}

// A label holds in the country that registered it; of an unknown country
// nothing is said.
func TestPlan_Jurisdiction(t *testing.T) {
	for _, c := range []struct {
		label, farm string
		ok          bool
	}{{"US", "US", true}, {"US-OR", "US", true}, {"US", "", true}, {"GB", "US", false}, {"US-OR", "CA", false}, {"EU", "DE", true}} {
		r := more(func(l *farm.Label) { l.Jurisdiction = farm.Value(c.label) })
		r.Country = c.farm
		require.Equal(t, c.ok, label.Plan(r).Allowed, "%+v", c)
		require.Equal(t, !c.ok, label.Plan(r).Has(label.CodeJurisdiction), "%+v", c)
	}
}

// Several maxima at once: the fullest decides, and each is said.
func TestPlan_SeveralMaxima(t *testing.T) {
	l := with(func(l *farm.Label) {
		l.MaxApplications, l.MaxPer = farm.Value(6), farm.PerCalendarYear
		l.MoreMaxima = farm.Value([]farm.Maximum{{Count: 2, Days: 30}, {Count: 3, Per: farm.PerTwelveMonths}})
	})
	r := ask(l, "2026-06-10")
	r.History = puts(l, "2025-08-01", "2026-05-20", "2026-06-01")
	d := label.Plan(r)
	require.True(t, d.Has(label.CodeWindow) && d.Has(label.CodeMaxYear), "%+v", d.Refusals)
	require.Equal(t, "2026-08-01", d.Earliest.String()) // a year after the first of the three
	require.Equal(t, 0, d.Remaining)
}

// An active is counted by weight: by percent where the product is weighed, by
// grams per litre where it is measured. 2 L/ha of 120 g/L is 0.24 kg/ha.
func TestPlan_ActiveOfAVolume(t *testing.T) {
	l := spray("drench", "soap")
	l.RateMax = farm.Value(units.Of(2, "L/ha"))
	l.Actives[0].GPerL, l.Actives[0].Max = farm.Value(120.0), farm.Value(units.Of(0.5, "kg/ha"))
	r := ask(l, "2026-06-10")
	r.AreaM2, r.Amount = 10, units.Of(2, "mL")
	use := put(l, "2026-06-01")
	use.AreaM2, use.Amount = 10, units.Of(2, "mL")
	r.History = []farm.Treatment{use}
	allowed(t, label.Plan(r)) // 0.24 and 0.24 of 0.5 kg/ha
	second := use
	second.Date = day("2026-06-05")
	r.History = append(r.History, second)
	d := label.Plan(r)
	require.True(t, d.Has(label.CodeMaxActive), "%+v", d.Refusals)
	r.Label.Actives[0].GPerL = farm.None[float64]()
	d = label.Plan(r)
	require.True(t, d.Has(label.CodeMaxActive))
	require.True(t, d.Refusals[0].Unknown)
}

// Rates in water, along the row and for a plant give an amount for the ground
// by exact arithmetic; what is missing is asked for.
func TestPlan_RateKinds(t *testing.T) {
	b := farm.Bed{Code: "B3", LengthM: 30 * 0.3048, WidthM: 4 * 0.3048, Site: farm.Outdoor, Plants: 60, BedMore: farm.BedMore{Rows: 2}}
	for _, c := range []struct {
		rate  string
		part  string
		area  float64
		spray string
		want  float64 // g or mL, before it is rounded down
	}{
		{"1 oz wt/100 ft row", "", 0, "", 28.349523125 * 60 / 100},         // 2 rows of 30 ft
		{"1 oz wt/100 ft row", "row 2", 5.57, "", 28.349523125 * 30 / 100}, // one of them
		{"5 g/plant", "", 0, "", 300},
		{"5 g/plant", "east half", 5.57, "", 150},
		{"2 US fl oz/US gal", "", 0, "1 US gal/1000 sq ft", 2 * 29.5735295625 * 0.12},
		{"2 imp fl oz/imp gal", "", 0, "2 imp gal/1000 sq ft", 2 * 28.4130625 * 2 * 0.12},
		{"1 lb/100 US gal", "", 0, "100 US gal/acre", 453.59237 * 120 / 43560},
		{"3 mL/m row", "", 0, "", 3 * 2 * 30 * 0.3048},
	} {
		q, err := units.Parse(c.rate)
		require.NoError(t, err, c.rate)
		r := more(func(l *farm.Label) { l.RateMax = farm.Value(q) })
		r.Bed, r.Part, r.AreaM2 = b, c.part, c.area
		if c.spray != "" {
			if r.SprayVolume, err = units.Parse(c.spray); err != nil {
				t.Fatal(err)
			}
		}
		d := label.Plan(r)
		require.True(t, d.Allowed, "%s: %+v", c.rate, d.Refusals)
		require.LessOrEqual(t, d.AmountMax.Value, c.want*(1+1e-12), c.rate)
		require.InDelta(t, c.want, d.AmountMax.Value, 0.1, c.rate)
	}
	bare := more(func(l *farm.Label) { l.RateMax = farm.Value(units.Of(5, "g/plant")) })
	require.Contains(t, label.Plan(bare).Refusals[0].Words, "how many plants")
	bare.Label.RateMax = farm.Value(units.Of(5, "g/m row"))
	require.Contains(t, label.Plan(bare).Refusals[0].Words, "how many rows")
}

// A rate in water is judged by the spray that was written down: 2 mL/L on 100 m2.
// The most that the label allows, 1000 L/ha, is 10 L with 20 mL in it.
func TestFindings_SprayVolume(t *testing.T) {
	l := spray("soap", "soap")
	l.RateMax = farm.Value(units.Of(2, "mL/L"))
	l.SprayMin, l.SprayMax = farm.Value(units.Of(400, "L/ha")), farm.Value(units.Of(1000, "L/ha"))
	for _, c := range []struct {
		product float64 // mL
		spray   units.Quantity
		code    string
		unknown bool
	}{
		{20, units.Of(10, "L"), "", false},
		{20, units.Of(0.1, "L/m2"), "", false},
		{10, units.Of(5, "L"), "", false},
		{10.1, units.Of(5, "L"), label.CodeRate, false}, // within 20 mL, and too strong
		{20, units.Of(0.5, "US gal"), label.CodeSpray, false},
		{20, units.Of(2.65, "US gal"), label.CodeSpray, false}, // 10.03 L
		{20, units.Of(2.64, "US gal"), label.CodeRate, false},  // 9.993 L
		{15, units.Quantity{}, label.CodeSpray, true},
		{20.1, units.Quantity{}, label.CodeRate, false}, // above whatever the spray was
	} {
		r := ask(l, "2026-06-01")
		r.Bed.LengthM, r.Bed.WidthM = 100, 1
		x := put(l, "2026-06-01")
		x.Amount, x.AreaM2, x.Spray = units.Of(c.product, "mL"), 100, c.spray
		found := label.Findings(x, r)
		if c.code == "" {
			require.Empty(t, found, c)
			continue
		}
		i := slices.IndexFunc(found, func(f label.Rule) bool { return f.Code == c.code })
		require.GreaterOrEqual(t, i, 0, "%v: %+v", c, found)
		require.Equal(t, c.unknown, found[i].Unknown, c)
	}
	v, ok := label.SprayOf(farm.Treatment{TreatmentMore: farm.TreatmentMore{Spray: units.Of(5, "L")}})
	require.False(t, ok, "without an area: %v", v)
}

// Hours of the day that go over midnight, told by the farm's clock. What the
// label only advises is said and does not refuse.
func TestPlan_TimeOfDay(t *testing.T) {
	night := farm.Value([]farm.ClockSpan{{From: 0, To: 9 * 60}, {From: 18 * 60, To: 24 * 60}})
	for _, c := range []struct {
		start, end string
		ok         bool
	}{
		{"2026-06-10T18:00:00-04:00", "2026-06-10T19:00:00-04:00", true},
		{"2026-06-10T17:59:00-04:00", "2026-06-10T19:00:00-04:00", false},
		{"2026-06-10T23:00:00-04:00", "2026-06-11T01:00:00-04:00", true},
		{"2026-06-10T08:00:00-04:00", "2026-06-10T09:00:00-04:00", true},
		{"2026-06-10T08:00:00-04:00", "2026-06-10T09:01:00-04:00", false},
		{"2026-06-10T22:00:00Z", "2026-06-10T23:00:00Z", true}, // 18:00 on the farm
	} {
		r := more(func(l *farm.Label) { l.Hours = night })
		r.Start, r.End = at(c.start), at(c.end)
		d := label.Plan(r)
		require.Equal(t, c.ok, d.Allowed, "%+v %+v", c, d.Refusals)
		require.Equal(t, !c.ok, d.Has(label.CodeHours), "%+v", c)
		r.Label.Printed = []farm.Printed{{Field: "time_of_day", Text: "Evening is best.", Advises: true}}
		d = label.Plan(r)
		require.True(t, d.Allowed)
		require.Equal(t, !c.ok, strings.Contains(strings.Join(d.Warnings, " "), "advises"), "%+v", c)
	}
}

// Planting waits for the longest planting-back interval; an unread one keeps
// planting out.
func TestReentry_PlantingBack(t *testing.T) {
	long, short := with(func(l *farm.Label) { l.PlantBack = farm.Value(30) }), with(func(l *farm.Label) { l.Key, l.PlantBack = "short", farm.Value(7) })
	labels := map[string]farm.Label{long.Key: long, "short": short}
	end := at("2026-06-01T18:00:00-04:00")
	o := open(end.Add(48*time.Hour), labels, ended(long.Key, end), ended("short", end.Add(24*time.Hour)))
	require.Equal(t, "2026-07-01", o.PlantFrom.String())
	ok, why := label.Enter(o, "sowing rye", at("2026-06-30T12:00:00-04:00"), ny)
	require.False(t, ok)
	require.Contains(t, why, "no planting in B3 before 2026-07-01")
	ok, _ = label.Enter(o, "sowing rye", at("2026-07-01T08:00:00-04:00"), ny)
	require.True(t, ok)
	unread := with(func(l *farm.Label) { l.PlantBack = farm.Stated[int]{} })
	o = open(end.Add(48*time.Hour), map[string]farm.Label{unread.Key: unread}, ended(unread.Key, end))
	ok, why = label.Enter(o, "planting", at("2026-09-01T08:00:00-04:00"), ny)
	require.False(t, ok)
	require.Contains(t, why, "planting-back interval is unknown")
}

// The interval beside a crop counts for the bed in which it grows (40 CFR
// 156.208).
func TestReentryOf_Crop(t *testing.T) {
	l := with(func(l *farm.Label) {
		l.Sites = []farm.LabelSite{{Where: farm.Outdoor, Crop: "dahlias", REIHours: farm.Value(12.0)}, {Where: farm.Outdoor, Crop: "tulips", REIHours: farm.Value(48.0)}}
	})
	end := at("2026-06-01T18:00:00-04:00")
	for crop, hours := range map[string]int{"": 12, "dahlias": 12, "tulips": 48, "roses": 48} { // one that is not listed: the longest
		beds := map[string]farm.Bed{"B3": {Code: "B3", Site: farm.Outdoor, BedMore: farm.BedMore{Crop: crop}}}
		o := label.Reentry([]farm.Treatment{ended(l.Key, end)}, map[string]farm.Label{l.Key: l}, beds, ny, end)
		require.Equal(t, end.Add(time.Duration(hours)*time.Hour).UTC(), o[0].At.UTC(), crop)
	}
}

// A generation ends the day before the next begins.
func TestPlan_GenerationEnds(t *testing.T) {
	l := with(func(l *farm.Label) { l.MoreMaxima = farm.Value([]farm.Maximum{{Count: 1, Per: farm.PerGeneration}}) })
	r := ask(l, "2026-06-10")
	r.Generations = []civil.Date{day("2026-06-01"), day("2026-07-01")}
	r.History = puts(l, "2026-07-01") // planned, in the next one
	allowed(t, label.Plan(r))
	r.History = puts(l, "2026-06-30")
	require.True(t, label.Plan(r).Has(label.CodeMaxCount))
	require.Equal(t, "2026-07-01", label.Plan(r).Earliest.String())
}

// Nobody knows when generations begin: a limit of 2 per generation holds in
// every 20 days, and for as long as nobody knows that one has ended.
func TestPlan_LastsOfAGeneration(t *testing.T) {
	l := with(func(l *farm.Label) { l.MoreMaxima = farm.Value([]farm.Maximum{{Count: 2, Per: farm.PerGeneration}}) })
	l.Actives[0].Group = farm.Value("5")
	lasts := func(from civil.Date) label.Lasting {
		return label.Lasting{Known: true, Sure: true, Last: from.AddDays(19), Words: "20 days"}
	}
	for _, c := range []struct {
		done []string
		on   string
		ok   bool
		next string
	}{
		{[]string{"2026-06-01"}, "2026-06-10", true, "2026-06-10"},
		{[]string{"2026-06-01", "2026-06-10"}, "2026-06-20", false, "2026-06-21"},
		{[]string{"2026-06-01", "2026-06-10"}, "2026-06-21", true, "2026-06-21"},
		{[]string{"2026-06-01", "2026-06-10", "2026-06-21"}, "2026-06-22", false, "2026-06-30"},
		{[]string{"2026-06-15", "2026-06-20"}, "2026-06-10", false, "2026-07-05"}, // those to come count too
	} {
		r := ask(l, c.on)
		r.Lasts, r.History = lasts, puts(l, c.done...)
		d := label.Plan(r)
		require.Equal(t, c.ok, d.Allowed, c)
		require.Equal(t, c.next, d.Earliest.String(), c)
	}
	r := ask(l, "2026-06-20")
	r.History = puts(l, "2026-06-01", "2026-06-10")
	r.Lasts = func(civil.Date) label.Lasting { return label.Lasting{Known: true, Words: "10 of 146 are reached"} }
	d := label.Plan(r)
	require.True(t, d.Has(label.CodeMaxCount))
	require.Contains(t, d.Refusals[0].Words, "2 of 2 applications are used in the generation from 2026-06-01 (10 of 146 are reached)")
	require.True(t, d.Earliest.IsZero())
	r.Lasts = func(civil.Date) label.Lasting { return label.Lasting{Words: "look up how long one takes"} }
	d = label.Plan(r)
	require.True(t, d.Refusals[0].Unknown)
	require.Contains(t, d.Refusals[0].Words, "look up how long one takes")

	// Rotation: the same generation, the next, the one after that, and not known.
	l.MoreMaxima = farm.None[[]farm.Maximum]()
	for on, want := range map[string]string{"2026-06-20": "", "2026-06-21": "generation before this one", "2026-07-10": "generation before this one", "2026-07-11": ""} {
		r := ask(l, on)
		r.Lasts, r.History = lasts, puts(l, "2026-06-01")
		said := strings.Join(label.Plan(r).Warnings, "|")
		require.Equal(t, want != "", strings.Contains(said, "rotate the mode"), on)
		require.Contains(t, said, want, on)
	}
	r = ask(l, "2026-06-21")
	r.History = puts(l, "2026-06-01")
	r.Lasts = func(civil.Date) label.Lasting { return label.Lasting{Known: true} }
	require.Contains(t, strings.Join(label.Plan(r).Warnings, "|"), "a 30-day window is used")
}

// Where nobody knows the season, every maximum per season is read as per
// year, the calendar year and 12 months; a season that the label gives stays.
func TestSeasonAsYear(t *testing.T) {
	l := with(func(l *farm.Label) {
		l.MaxPer = farm.PerSeason
		l.MoreMaxima = farm.Value([]farm.Maximum{{Count: 2, Per: farm.PerSeason}, {Count: 1, Per: farm.PerCropCycle}, {Count: 1, Days: 9}})
	})
	got := label.SeasonAsYear(l)
	require.Equal(t, farm.PerYear, got.MaxPer)
	require.Equal(t, []farm.Maximum{{Count: 2, Per: farm.PerYear}, {Count: 1, Per: farm.PerCropCycle}, {Count: 1, Days: 9}}, got.MoreMaxima.Value)
	require.Equal(t, farm.PerSeason, l.MoreMaxima.Value[0].Per, "the label itself is not changed")
	l.Season = farm.Value(farm.YearSpan{From: civil.MonthDay{Month: 4, Day: 1}, To: civil.MonthDay{Month: 10, Day: 31}})
	require.Equal(t, l, label.SeasonAsYear(l))
	l = with(func(l *farm.Label) { l.MaxPer = "" })
	require.Empty(t, label.SeasonAsYear(l).MaxPer, "unknown stays unknown")
}

// A maximum that is used up to the last pound leaves nothing, whatever the
// rounding of the sum: twice 8 oz on 1000 sq ft is 1 lb.
func TestPlan_NothingIsLeftOfAMaximum(t *testing.T) {
	l := with(func(l *farm.Label) { l.MaxAmount = farm.Value(units.Of(1, "lb/1000 sq ft")) })
	r := ask(l, "2026-06-15")
	r.History = puts(l, "2026-04-01", "2026-05-01")
	for i := range r.History {
		r.History[i].Amount, r.History[i].AreaM2 = units.Of(8, "oz wt"), 1000*0.3048*0.3048
	}
	r.Amount = units.Of(0.5, "lb/1000 sq ft")
	require.Regexp(t, `more would go above it, 0 is left$`, refused(t, label.Plan(r), label.CodeMaxAmount, "").Words)
}

// A label that keeps "oils" away means every oil, by whichever name its own
// label calls it; in both directions, and it never shortens anything.
func TestPlan_KeepsAKindApart(t *testing.T) {
	key := func(s string) (string, bool) {
		if s == "petroleum distillate" {
			return "horticultural oil", true
		}
		return s, s == "sulfur"
	}
	for _, c := range []struct {
		material, active string
		apart            bool
	}{
		{"oil", "mineral oil", true}, {"Oils", "neem oil", true}, {"oil", "petroleum distillate", true}, {"copper", "copper octanoate", true},
		{"neem oil", "mineral oil", false}, {"oil", "foil", false}, {"oil", "soap", false}, {"--", "soap", false},
	} {
		sulfur, other := spray("sulfur", "sulfur"), spray("other", c.active)
		sulfur.KeepApart = []farm.Apart{{Active: c.material, Days: 30}}
		other.KeepApart, other.NoKeepApart = nil, true
		for _, pair := range [][2]farm.Label{{sulfur, other}, {other, sulfur}} {
			r := ask(pair[1], "2026-07-20")
			r.ActiveKey = key
			r.Labels = map[string]farm.Label{pair[0].Key: pair[0]}
			r.History = puts(pair[0], "2026-07-01")
			if d := label.Plan(r); c.apart {
				refused(t, d, label.CodeApart, "2026-07-31") // 1 July and 30 days
			} else {
				for _, x := range d.Refusals {
					require.NotEqual(t, label.CodeApart, x.Code, c.material+" "+c.active)
				}
			}
		}
	}
}
