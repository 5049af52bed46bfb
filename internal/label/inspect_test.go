package label_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/units"
)

// dayOnly is an application of which only the day was written down: its end is
// the end of the day.
func dayOnly(l farm.Label, date string) farm.Treatment {
	t := put(l, date)
	t.Start, t.End, t.EndKnown = day(date).AddDays(1).In(ny), day(date).AddDays(1).In(ny), false
	return t
}

func judged(t farm.Treatment, r label.Request) (broke, unjudged string) {
	b, u := label.Breaches(t, r)
	return strings.Join(b, "\n"), strings.Join(u, "\n")
}

// Where the hour was not written down, a rule on the hour is neither broken nor
// kept: it cannot be judged (LR-037, LR-061).
func TestFindings_HourNotWrittenDown(t *testing.T) {
	l := spray("oil", "mineral oil")
	l.Hours = farm.Value([]farm.ClockSpan{{From: 6 * 60, To: 10 * 60}})
	broke, unjudged := judged(dayOnly(l, "2026-07-20"), ask(l, "2026-07-20"))
	require.Empty(t, broke, "the end of the day is not the hour of the application")
	require.Contains(t, unjudged, "the label allows the hours 06:00-10:00; the hour of the application was not written down")
	l.Printed = []farm.Printed{{Field: "time_of_day", Text: "should", Advises: true}}
	_, unjudged = judged(dayOnly(l, "2026-07-20"), ask(l, "2026-07-20"))
	require.Empty(t, unjudged)

	for _, rule := range []string{farm.BeesNotForaging, farm.BeesAfterSunset} {
		l := bees(rule)
		r := ask(l, "2026-07-20")
		r.Bloom, r.Ground = label.BloomOpen, label.BloomNone
		r.Sunrise, r.Sunset = at("2026-07-20T05:45:00-04:00"), at("2026-07-20T20:20:00-04:00")
		broke, unjudged := judged(dayOnly(l, "2026-07-20"), r)
		require.Empty(t, broke)
		require.Contains(t, unjudged, "the hour of the application was not written down", rule)
	}
}

// A bed that was closed for part of the day: whether the application came
// before or after cannot be told from its day alone.
func TestFindings_ClosedForPartOfTheDay(t *testing.T) {
	l, other := rei(12), spray("oil", "mineral oil")
	first := ended("ironbait", at("2026-07-19T20:00:00-04:00"))
	first.ID = 1
	second := dayOnly(other, "2026-07-20")
	second.ID = 2
	r := ask(other, "2026-07-20")
	r.Labels = one(l)
	r.History = []farm.Treatment{first, second}
	broke, unjudged := judged(second, r)
	require.Empty(t, broke)
	require.Contains(t, unjudged, "B3 was closed until Mon 20 Jul 2026 08:00 EDT")

	long := rei(72)
	r.Labels = one(long) // closed the whole day: broken at any hour
	broke, _ = judged(second, r)
	require.Contains(t, broke, "bed closed: B3 is closed until Wed 22 Jul 2026 20:00 EDT")

	// Two products of one day without hours are taken for one mix.
	mate := dayOnly(l, "2026-07-20")
	mate.ID = 1
	r.History = []farm.Treatment{mate, second}
	broke, unjudged = judged(second, r)
	require.Empty(t, broke+unjudged)

	// Planned by the day alone, the hour at which the bed opens is a condition.
	r.Labels, r.History = one(l), []farm.Treatment{first}
	d := label.Plan(r)
	allowed(t, d)
	require.Contains(t, strings.Join(d.Conditions, "\n"), "not before Mon 20 Jul 2026 08:00 EDT")
}

// The day's highest and lowest temperature are not those of the hour, unless
// the whole day lay beyond the limit (LR-064).
func TestFindings_TemperatureOfTheDay(t *testing.T) {
	for _, c := range []struct {
		lo, hi, min, max float64
		broke, unjudged  bool
	}{
		{0, 30, 14, 33, false, true},
		{0, 30, 31, 38, true, false},
		{0, 30, 14, 30, false, false},
		{10, 30, 4, 25, false, true},
		{10, 30, 1, 9, true, false},
		{10, 30, 10, 30, false, false},
	} {
		l := spray("soap", "soap")
		l.MinTempC, l.MaxTempC = farm.Value(c.lo), farm.Value(c.hi)
		r := ask(l, "2026-07-20")
		r.Weather = &farm.WeatherDay{Date: day("2026-07-20"), MinC: num(c.min), MaxC: num(c.max)}
		broke, unjudged := judged(put(l, "2026-07-20"), r)
		require.Equal(t, c.broke, broke != "", "%+v: %s", c, broke)
		require.Equal(t, c.unjudged, unjudged != "", "%+v: %s", c, unjudged)
		if c.unjudged {
			require.Contains(t, unjudged, "was not written down")
		}
	}
}

// What nobody has said of water and animals is not judged, and said (LR-071,
// LR-072).
func TestFindings_PlaceNotKnown(t *testing.T) {
	l := with(func(l *farm.Label) {
		l.WaterBuffer, l.Animals = farm.Value(10.0), farm.Value("Keep pets out until dry")
	})
	broke, unjudged := judged(put(l, "2026-07-20"), ask(l, "2026-07-20"))
	require.Empty(t, broke)
	require.Contains(t, unjudged, "how far the nearest water is from the bed is not known")
	require.Contains(t, unjudged, "whether animals can reach the bed is not known")
}

// A way of applying that the label forbids is a breach; words that deny it are
// none.
func TestFindings_ForbiddenMethod(t *testing.T) {
	l := with(func(l *farm.Label) { l.ForbiddenMethods = farm.Value([]string{"fogging", "air blast"}) })
	for used, want := range map[string]bool{
		"cold fogger": true, "fogging": true, "Air-blast sprayer": true, "scattered by hand": false, "by hand, no fogging": false, "": false,
	} {
		x := put(l, "2026-07-20")
		x.Method = used
		broke, _ := judged(x, ask(l, "2026-07-20"))
		require.Equal(t, want, strings.HasPrefix(broke, "forbidden method: "), "%q: %s", used, broke)
	}
	require.Equal(t, label.CodeMethod, label.BreachCode("forbidden method: words"))
	require.Contains(t, label.Next(label.CodeMethod, label.After{Bed: "B3"}), "not put it on in that way again")
}

// The farm's own longer interval never hides that the label's was broken too
// (LR-054, LR-083).
func TestFindings_FarmIntervalHidesNothing(t *testing.T) {
	l := every(7)
	r := ask(l, "2026-06-05")
	r.FarmMinDays = 10
	r.History = puts(l, "2026-06-01", "2026-06-05")
	broke, _ := judged(r.History[1], r)
	require.Contains(t, broke, "shortest interval: the label asks for 7 days")
	require.NotContains(t, broke, "farm")
}

// Below the lowest rate is said of a record, and is no breach (LR-027).
func TestLow(t *testing.T) {
	l := with(func(l *farm.Label) { l.RateMin = farm.Value(units.Of(0.5, "lb/1000 sq ft")) })
	x := put(l, "2026-06-01")
	x.Amount = units.Of(10, "g")
	require.Contains(t, label.Low(x, ask(l, "2026-06-01")), "below minimum: 10 g is less than the label's lowest rate")
	broke, unjudged := judged(x, ask(l, "2026-06-01"))
	require.Empty(t, broke+unjudged)
	x.Amount = units.Of(40, "g")
	require.Empty(t, label.Low(x, ask(l, "2026-06-01")))
}

// A material whose label was not read on what to keep apart gets the published
// figure, whatever shorter one stands on the other label (LR-069, LR-070).
func TestPlan_ApartWithOneLabelUnread(t *testing.T) {
	sulfur, oil := spray("sulfur", "sulfur"), spray("oil", "mineral oil")
	sulfur.NoKeepApart, sulfur.KeepApart = false, []farm.Apart{{Active: "mineral oil", Days: 14}}
	for _, c := range []struct {
		none     bool
		earliest string
	}{{false, "2026-07-31"}, {true, "2026-07-15"}} {
		oil.NoKeepApart = c.none
		r := ask(sulfur, "2026-07-05")
		r.Labels = one(oil)
		r.Apart = []label.Apart{{A: "sulfur", B: "mineral oil", Days: 30, Source: "Rutgers Plant & Pest Advisory"}}
		r.History = puts(oil, "2026-07-01")
		refused(t, label.Plan(r), label.CodeApart, c.earliest)
	}
}

// A number is one number with and without the words in front of it.
func TestSameProduct_WordsBeforeTheNumber(t *testing.T) {
	a, b := bait(), bait()
	for _, same := range [][2]string{{"EPA Reg. No. 12345-67", "12345-67"}, {"MAPP 12345", "mapp no. 12345"}, {"Reg.No.: 12345-67", "#12345-67"}, {"PCP Act No. 321", "321"}} {
		a.Registration, b.Registration = farm.Value(same[0]), farm.Value(same[1])
		require.True(t, label.SameProduct(a, b), "%v", same)
	}
	for _, other := range [][2]string{{"EPA Reg. No. 12345-67", "12345-6"}, {"OR-120012", "WA-120012"}} {
		a.Registration, b.Registration = farm.Value(other[0]), farm.Value(other[1])
		require.False(t, label.SameProduct(a, b), "%v", other)
	}
}

// What cannot be told of one active never hides that the maximum of another was
// passed.
func TestFindings_UnknownHidesNoBreach(t *testing.T) {
	l := with(func(l *farm.Label) {
		most := farm.Value(units.Of(0.5, "kg/ha"))
		l.Actives = []farm.Active{
			{Name: "A", NoPercent: true, Group: farm.None[string](), GPerL: farm.None[float64](), Max: most},
			{Name: "B", Percent: 5, Group: farm.None[string](), GPerL: farm.None[float64](), Max: most},
			{Name: "C", Percent: 5, Group: farm.None[string](), GPerL: farm.None[float64](), Max: most},
		}
	})
	broke, unjudged := judged(put(l, "2026-06-01"), ask(l, "2026-06-01"))
	require.Contains(t, unjudged, "of A cannot be told")
	require.Contains(t, broke, "maximum active ingredient: B: ")
	require.Contains(t, broke, "maximum active ingredient: C: ")
}

// A blank that a later copy of the same label fills is filled for what was put
// on before; what was read then never changes, and another edition of the label
// says nothing of the container that was used.
func TestReadSince(t *testing.T) {
	blank := with(func(l *farm.Label) {
		l.Version, l.REIHours, l.PHIDays = 1, farm.Stated[float64]{}, farm.Value(3)
		l.Actives[0].Max = farm.Stated[units.Quantity]{}
		l.NoKeepApart = false
	})
	second := with(func(l *farm.Label) { l.Version, l.REIHours, l.PHIDays = 2, farm.Value(24.0), farm.Value(0) })
	third := with(func(l *farm.Label) { l.Version, l.REIHours = 3, farm.Value(4.0) })
	end := at("2026-07-20T07:00:00-04:00")
	o := open(end.Add(2000*24*3600e9), one(blank), ended("ironbait", end))
	require.False(t, o.Known, "unknown stays closed, however long ago")

	got := label.ReadSince(blank, []farm.Label{second, third})
	require.Equal(t, farm.Value(24.0), got.REIHours, "the first copy that has it")
	require.Equal(t, farm.Value(3), got.PHIDays)
	require.Equal(t, farm.None[units.Quantity](), got.Actives[0].Max)
	require.True(t, got.NoKeepApart)
	require.Equal(t, 1, got.Version)
	require.False(t, blank.Actives[0].Max.Known(), "the argument is not changed")
	o = open(end, one(got), ended("ironbait", end))
	sameTime(t, "2026-07-21T07:00:00-04:00", o.At)
	require.Equal(t, second, label.ReadSince(second, []farm.Label{third}), "a full copy stays")

	blank.Edition, second.Edition, third.Edition = farm.Value("LBL 2024"), farm.Value("LBL 2026"), farm.Value("lbl  2024")
	require.Equal(t, farm.Value(4.0), label.ReadSince(blank, []farm.Label{second, third}).REIHours)
	require.Equal(t, blank, label.ReadSince(blank, []farm.Label{second}))
	require.Equal(t, blank, label.ReadSince(blank, nil))

	// Another product under the same key fills nothing.
	blank.Edition = farm.Stated[string]{}
	other := second
	other.Edition, other.Registration = farm.Stated[string]{}, farm.Value("999-1")
	require.Equal(t, blank, label.ReadSince(blank, []farm.Label{other}))
	other.Registration, other.Product = farm.None[string](), "Another bait"
	require.Equal(t, blank, label.ReadSince(blank, []farm.Label{other}))
	other.Product = " invented  IRON bait"
	require.Equal(t, farm.Value(24.0), label.ReadSince(blank, []farm.Label{other}).REIHours)

	// Everything the label says is filled, and nothing that tells of one container.
	bare := farm.Label{Key: "ironbait", Version: 1, Product: "Invented iron bait"}
	full := second
	full.Edition = farm.Stated[string]{}
	full.Lot, full.Expiry, full.Organic = farm.Value("L2"), farm.Value(day("2029-01-01")), farm.Value("listed by Invented")
	full.MinIntervalDays, full.MinIntervalHours, full.MaxPer = farm.Value(2), 36, farm.PerSeason
	since := label.ReadSince(bare, []farm.Label{full})
	var gaps []string
	for _, g := range label.Check(since) {
		gaps = append(gaps, g.Field)
	}
	require.Equal(t, []string{"label date or version", "lot or batch code", "expiry date", "life after opening"}, gaps)
	require.False(t, since.Organic.Known())
	require.Equal(t, 36.0, since.MinIntervalHours)
	require.Equal(t, full.Pests, since.Pests)

	// An interval beside a site, read since.
	blank.Edition = farm.Stated[string]{}
	sites := with(func(l *farm.Label) {
		l.REIHours, l.Sites = farm.Stated[float64]{}, []farm.LabelSite{{Where: farm.Outdoor, Crop: "ornamentals", REIHours: farm.Value(12.0)}}
	})
	h, state := label.REI(label.ReadSince(blank, []farm.Label{sites}), farm.Outdoor)
	require.Equal(t, farm.IsStated, state)
	require.Equal(t, 12.0, h)
}

// An amount in other units than the label's rate cannot be judged: it is no
// proof of too much.
func TestFindings_OtherUnits(t *testing.T) {
	l := with(func(l *farm.Label) { l.RateMax = farm.Value(units.Of(3, "US fl oz/1000 sq ft")) })
	broke, unjudged := judged(put(l, "2026-06-01"), ask(l, "2026-06-01")) // 40 g
	require.Empty(t, broke)
	require.Contains(t, unjudged, "weight and volume are not converted into each other; find out how much was used")
}

// An interval in hours is elapsed, from the end of one to the start of the next,
// also over a change of the clocks (labels.md, rules 1); days compare dates.
func TestPlan_ElapsedInterval(t *testing.T) {
	l := every(2)
	l.MinIntervalHours = 36
	last := ended("ironbait", at("2026-06-01T20:00:00-04:00"))
	last.ID, last.Start = 1, at("2026-06-01T19:00:00-04:00")
	r := ask(l, "2026-06-03")
	r.History = []farm.Treatment{last}
	for start, ok := range map[string]bool{"2026-06-03T07:59:00-04:00": false, "2026-06-03T08:00:00-04:00": true, "2026-05-31T06:00:00-04:00": true, "2026-05-31T07:00:00-04:00": false} {
		r.Start = at(start)
		r.End = r.Start.Add(30 * time.Minute)
		d := label.Plan(r)
		require.Equal(t, ok, d.Allowed, start)
		require.Equal(t, !ok, d.Has(label.CodeInterval), start)
	}
	r.Start, r.End, r.Date = time.Time{}, time.Time{}, day("2026-06-02") // no hour of it is far enough
	refused(t, label.Plan(r), label.CodeInterval, "2026-06-03")
	r.Date = day("2026-06-03")
	d := label.Plan(r)
	allowed(t, d)
	require.Contains(t, strings.Join(d.Conditions, "\n"), "begin no sooner than Wed 3 Jun 2026 08:00 EDT: the label asks for 36 hours")

	// 12 hours over the night in which the clocks go back: 20:00 to 07:00.
	l.MinIntervalHours, l.MinIntervalDays = 12, farm.Value(1)
	r.Label, r.History[0].Start, r.History[0].End = l, at("2026-10-31T19:00:00-04:00"), at("2026-10-31T20:00:00-04:00")
	r.History[0].Date = day("2026-10-31")
	for start, ok := range map[string]bool{"2026-11-01T06:59:00-05:00": false, "2026-11-01T07:00:00-05:00": true} {
		r.Start = at(start)
		r.End = r.Start.Add(30 * time.Minute)
		d := label.Plan(r)
		require.Equal(t, ok, d.Allowed, "%s: %v", start, d.Refusals)
	}

	// A record without its hour is not judged, unless no hour of the day will do.
	x := dayOnly(l, "2026-11-01")
	x.ID = 2
	broke, unjudged := judged(x, r)
	require.Empty(t, broke)
	require.Contains(t, unjudged, "the label asks for 12 hours between applications")
	l.MinIntervalHours, l.MinIntervalDays = 48, farm.Value(2)
	r.Label = l
	broke, _ = judged(x, r)
	require.Contains(t, broke, "shortest interval: the label asks for 48 hours")
}

// Rain of the day, of which the hour is not known, leaves the dry hours after an
// application unjudged (LR-068).
func TestFindings_RainOfTheDay(t *testing.T) {
	l := spray("oil", "mineral oil")
	l.RainfastH = farm.Value(6.0)
	for rain, want := range map[float64]bool{0: false, 4: true} {
		r := ask(l, "2026-06-01")
		r.Weather = &farm.WeatherDay{Date: day("2026-06-01"), RainMM: num(rain)}
		broke, unjudged := judged(put(l, "2026-06-01"), r)
		require.Empty(t, broke)
		require.Equal(t, want, strings.Contains(unjudged, "4 mm of rain are noted of 2026-06-01"), unjudged)
		r.Units = units.US
		_, unjudged = judged(put(l, "2026-06-01"), r)
		require.Equal(t, want, strings.Contains(unjudged, "0.16 in of rain are noted of 2026-06-01"), unjudged) // 4/25.4 in
	}
}

// By night no bee forages: whether anything was in flower then decides nothing,
// under a label that forbids only the hours of foraging (LR-061, LR-063).
func TestFindings_UnknownBloomByNight(t *testing.T) {
	for _, c := range []struct {
		rule, start string
		unjudged    bool
	}{
		{farm.BeesNotForaging, "2026-07-20T21:00:00-04:00", false},
		{farm.BeesNotForaging, "2026-07-20T10:00:00-04:00", true},
		{farm.BeesNoBloom, "2026-07-20T21:00:00-04:00", true},
	} {
		l := bees(c.rule)
		r := ask(l, "2026-07-20")
		r.Sunrise, r.Sunset = at("2026-07-20T05:45:00-04:00"), at("2026-07-20T20:20:00-04:00")
		x := put(l, "2026-07-20")
		x.Start = at(c.start)
		x.End = x.Start.Add(30 * time.Minute)
		broke, unjudged := judged(x, r)
		require.Empty(t, broke)
		require.Equal(t, c.unjudged, strings.Contains(unjudged, "nobody noted whether flowers were open"), c)
		require.Equal(t, c.unjudged, unjudged != "", c)
	}
}
