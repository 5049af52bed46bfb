package label_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/label"
	"leafturn/internal/schedule"
	"leafturn/internal/units"
)

func rei(h float64) farm.Label {
	return with(func(l *farm.Label) { l.REIHours = farm.Value(h) })
}

// open returns the opening of bed B3 after treatments of labels, at now.
func open(now time.Time, labels map[string]farm.Label, ts ...farm.Treatment) label.Opening {
	return label.Reentry(ts, labels, map[string]farm.Bed{"B3": {Code: "B3", Site: farm.Outdoor}}, ny, now)[0]
}

// ended is a treatment with the label that ended at an instant.
func ended(key string, end time.Time) farm.Treatment {
	return farm.Treatment{Bed: "B3", Label: key, Date: civil.DateIn(end, ny), End: end, EndKnown: true}
}

func one(l farm.Label) map[string]farm.Label { return map[string]farm.Label{l.Key: l} }

func sameTime(t *testing.T, want string, got time.Time) {
	t.Helper()
	require.True(t, at(want).Equal(got), "want %s, got %s", want, got.In(ny))
}

var entryRules = map[string]func(*testing.T){
	"LR-032": func(t *testing.T) {
		l := rei(12)
		end := at("2026-06-01T18:30:00-04:00")
		o := open(end.Add(time.Hour), one(l), ended("ironbait", end))
		sameTime(t, "2026-06-02T06:30:00-04:00", o.At)
		ok, words := label.Enter(o, "harvest", at("2026-06-02T06:00:00-04:00"), ny)
		require.False(t, ok)
		require.Contains(t, words, "06:30 EDT")
		ok, _ = label.Enter(o, "harvest", at("2026-06-02T06:30:00-04:00"), ny)
		require.True(t, ok)
	},
	"LR-033": func(t *testing.T) {
		end := at("2026-03-07T20:00:00-05:00")
		sameTime(t, "2026-03-08T09:00:00-04:00", open(end, one(rei(12)), ended("ironbait", end)).At)
	},
	"LR-034": func(t *testing.T) {
		end := at("2026-10-31T20:00:00-04:00")
		sameTime(t, "2026-11-01T07:00:00-05:00", open(end, one(rei(12)), ended("ironbait", end)).At)
	},
	"LR-035": func(t *testing.T) {
		end, warning, err := ingest.ParseClock("2026-11-01 01:30", day("2026-11-02"), ny)
		require.NoError(t, err)
		require.Contains(t, warning, "twice")
		sameTime(t, "2026-11-01T05:30:00-05:00", open(end, one(rei(4)), ended("ironbait", end)).At)
	},
	"LR-036": func(t *testing.T) {
		_, _, err := ingest.ParseClock("2026-03-08 02:30", day("2026-03-09"), ny)
		require.ErrorContains(t, err, "enter 01:30 or 03:30")
	},
	"LR-037": func(t *testing.T) {
		end := day("2026-06-02").In(ny) // an application whose time is not given is stored so
		tr := ended("ironbait", end)
		tr.Date, tr.EndKnown = day("2026-06-01"), false
		o := open(end, one(rei(12)), tr)
		sameTime(t, "2026-06-02T12:00:00-04:00", o.At)
		require.Contains(t, o.Words, "was not given")
	},
	"LR-038": func(t *testing.T) {
		long := rei(24)
		long.Key = "long"
		end := at("2026-06-01T18:00:00-04:00")
		o := open(end, map[string]farm.Label{"ironbait": rei(4), "long": long}, ended("ironbait", end), ended("long", end))
		sameTime(t, "2026-06-02T18:00:00-04:00", o.At)
		require.Equal(t, "long", o.Label)
	},
	"LR-039": func(t *testing.T) {
		long := rei(24)
		long.Key = "A"
		o := open(at("2026-06-01T20:00:00-04:00"), map[string]farm.Label{"ironbait": rei(4), "A": long},
			ended("A", at("2026-06-01T06:00:00-04:00")), ended("ironbait", at("2026-06-01T14:00:00-04:00")))
		sameTime(t, "2026-06-02T06:00:00-04:00", o.At)
		require.Equal(t, "A", o.Label)
	},
	"LR-040": func(t *testing.T) {
		l := with(func(l *farm.Label) {
			l.Sites = []farm.LabelSite{{Where: farm.Outdoor, Crop: "snapdragon", REIHours: farm.Value(12.0)},
				{Where: farm.Outdoor, Crop: "dahlias", REIHours: farm.Value(24.0)}}
			l.REIHours = farm.Stated[float64]{}
		})
		for want, crops := range map[float64][]string{12: {"snapdragon"}, 24: {"snapdragon", "dahlias"}} {
			h, state := label.REI(l, farm.Outdoor, crops...)
			require.Equal(t, farm.IsStated, state)
			require.Equal(t, want, h)
		}
		require.Empty(t, label.Check(l))
	},
	"LR-041": func(t *testing.T) {
		end := at("2026-06-01T07:00:00-04:00")
		sameTime(t, "2026-06-03T07:00:00-04:00", open(end, one(rei(2*24)), ended("ironbait", end)).At)
	},
	"LR-042": func(t *testing.T) {
		blank := with(func(l *farm.Label) { l.REIHours = farm.Stated[float64]{} })
		r := ask(blank, "2026-06-01")
		r.Work = []label.Work{{What: "harvest", Date: day("2026-06-02"), Harvest: true}}
		got := refused(t, label.Plan(r), label.CodeUnknown, "")
		require.Contains(t, got.Field, "REI")
		require.Equal(t, "Agricultural Use Requirements box", got.Where)
		end := at("2026-06-01T07:00:00-04:00")
		o := open(end.Add(1000*time.Hour), one(blank), ended("ironbait", end))
		require.False(t, o.Known || o.Open)
		require.Contains(t, o.Words, "closed until the label is read")

		none, zero := label.Plan(ask(bait(), "2026-06-01")), label.Plan(ask(rei(0), "2026-06-01"))
		require.Equal(t, farm.NoneStated, none.REI)
		require.Equal(t, farm.IsStated, zero.REI)
		require.True(t, none.Allowed && zero.Allowed)
	},
	"LR-043": func(t *testing.T) {
		end := at("2026-06-01T07:00:00-04:00")
		ok, words := label.Enter(open(end, one(rei(12)), ended("ironbait", end)), "harvest for 30 min", end.Add(5*time.Hour), ny)
		require.False(t, ok)
		require.Contains(t, words, "hand labour")
		require.NotContains(t, words, "first 4 hours")
	},
	"LR-044": func(t *testing.T) {
		end := at("2026-06-01T07:00:00-04:00")
		ok, words := label.Enter(open(end, one(rei(12)), ended("ironbait", end)), "move the sprinkler", end.Add(5*time.Hour), ny)
		require.False(t, ok)
		for _, part := range []string{"first 4 hours", "1 hour in 24", "no hand labour", "protective equipment", "licensed person"} {
			require.Contains(t, words, part)
		}
	},
	"LR-045": func(t *testing.T) {
		r := ask(rei(24), "2026-06-04")
		r.End = at("2026-06-04T19:00:00-04:00")
		r.Work = []label.Work{{What: "harvest", Date: day("2026-06-05"), At: at("2026-06-05T07:00:00-04:00"), Harvest: true}}
		words := refused(t, label.Plan(r), label.CodeWork, "2026-06-04").Words
		require.Contains(t, words, "apply earlier, move the work, or choose another method")
		r.Work[0].At = at("2026-06-05T19:00:00-04:00")
		allowed(t, label.Plan(r))
	},
	"LR-046": func(t *testing.T) {
		l := with(func(l *farm.Label) { l.PHIDays = farm.Value(3) })
		end := at("2026-06-10T08:00:00-04:00")
		o := open(at("2026-06-12T08:00:00-04:00"), one(l), ended("ironbait", end))
		require.Equal(t, "2026-06-13", o.HarvestFrom.String())
		ok, _ := label.Enter(o, "harvest", at("2026-06-12T08:00:00-04:00"), ny)
		require.False(t, ok)
		ok, _ = label.Enter(o, "harvest", at("2026-06-13T08:00:00-04:00"), ny)
		require.True(t, ok)
		r := ask(l, "2026-06-10")
		r.Work = []label.Work{{What: "harvest", Date: day("2026-06-12"), Harvest: true}}
		refused(t, label.Plan(r), label.CodePHI, "2026-06-10")
		r.Work[0].Date = day("2026-06-13")
		allowed(t, label.Plan(r))
	},
	"LR-073": func(t *testing.T) {
		p := schedule.Release(schedule.ReleaseRequest{Today: day("2026-05-20"), From: day("2026-06-05"), Bed: bed, Leaves: 600,
			Density:  schedule.Density{Known: true, Mean: 10},
			Agent:    schedule.AgentRate{Agent: "predatory mites", Name: "predatory mites", Kind: schedule.Ratio, Rate: 0.1, Releases: 1},
			Residues: []schedule.Residue{{Date: day("2026-06-01"), Active: "invented active, class 4", WaitDays: 7, Known: true}}})
		require.Equal(t, "2026-06-08", p.Release.String())
		require.Contains(t, p.Warnings[0], "2026-06-08")
	},
	"LR-076": func(t *testing.T) {
		require.False(t, label.SignsNeeded(farm.Outdoor, 48))
		require.True(t, label.SignsNeeded(farm.Outdoor, 48.5))
		require.False(t, label.SignsNeeded(farm.House, 4))
		require.True(t, label.SignsNeeded(farm.House, 12))
	},
	"LR-077": func(t *testing.T) {
		start := at("2026-06-04T06:00:00-04:00")
		up, down := label.Signs(start, at("2026-06-05T07:00:00-04:00"))
		sameTime(t, "2026-06-03T06:00:00-04:00", up)
		sameTime(t, "2026-06-08T07:00:00-04:00", down)
	},
	"LR-078": func(t *testing.T) {
		require.Equal(t, "2026-06-03", label.DisplayThrough(day("2026-05-04")).String())
	},
	"LR-081": func(t *testing.T) {
		require.Equal(t, "2031-06-01", label.KeepThrough(day("2026-06-01"), 5).String())
	},
	"LR-082": func(t *testing.T) {
		last := label.KeepThrough(day("2028-02-29"), 2)
		require.Equal(t, "2030-02-28", last.String())
		require.Equal(t, "2030-03-01", last.AddDays(1).String())
	},
}

func num(v float64) *float64 { return &v }

func bees(rule string) farm.Label {
	l := spray("oil", "mineral oil")
	l.Bees = farm.Value(rule)
	return l
}

func hot(limitF float64) farm.Label {
	l := spray("oil", "mineral oil")
	l.MaxTempC = farm.Value(units.Of(limitF, "F").MustIn("C"))
	return l
}

var placeRules = map[string]func(*testing.T){
	"LR-047": func(t *testing.T) {
		r := ask(bait(), "2026-06-01")
		r.Bed.Site = farm.House
		require.Equal(t, "Directions for Use", refused(t, label.Plan(r), label.CodeSite, "").Where)
	},
	"LR-048": func(t *testing.T) {
		r := ask(bait(), "2026-06-01")
		r.Pest = "earwig"
		require.Contains(t, refused(t, label.Plan(r), label.CodePest, "").Words, "ask a licensed adviser")
	},
	"LR-049": func(t *testing.T) {
		l := with(func(l *farm.Label) { l.MaxApplications = farm.Stated[int]{} })
		got := refused(t, label.Plan(ask(l, "2026-06-01")), label.CodeUnknown, "")
		require.Equal(t, "maximum applications", got.Field)
		require.Equal(t, "Directions for Use", got.Where)
	},
	"LR-050": func(t *testing.T) {
		l := with(func(l *farm.Label) { l.Expiry = farm.Value(day("2026-06-30")) })
		allowed(t, label.Plan(ask(l, "2026-06-30")))
		refused(t, label.Plan(ask(l, "2026-07-01")), label.CodeExpired, "")
	},
	"LR-051": func(t *testing.T) {
		_, err := ingest.ParseDate("03/04/27", civil.Date{})
		require.ErrorContains(t, err, "write 2027-04-03 or 2027-03-04")
		d, err := ingest.ParseDate("2027-03-04", civil.Date{})
		require.NoError(t, err)
		require.Equal(t, day("2027-03-04"), d)
	},
	"LR-052": func(t *testing.T) {
		l := with(func(l *farm.Label) { l.UseClass = farm.Value("restricted") })
		require.Contains(t, refused(t, label.Plan(ask(l, "2026-06-01")), label.CodeRestricted, "").Words, "certified applicator")
	},
	"LR-060": func(t *testing.T) {
		r := ask(bees(farm.BeesNoBloom), "2026-07-20")
		r.Bloom, r.Ground = label.BloomOpen, label.BloomNone
		r.End = at("2026-07-20T21:30:00-04:00")
		r.Sunrise, r.Sunset = at("2026-07-20T05:45:00-04:00"), at("2026-07-20T20:20:00-04:00")
		refused(t, label.Plan(r), label.CodeBloom, "2026-07-20")
	},
	"LR-061": func(t *testing.T) {
		r := ask(bees(farm.BeesNotForaging), "2026-07-20")
		r.Bloom, r.Ground = label.BloomOpen, label.BloomNone
		r.End = at("2026-07-20T10:00:00-04:00")
		r.Sunrise, r.Sunset = at("2026-07-20T05:45:00-04:00"), at("2026-07-20T20:20:00-04:00")
		refused(t, label.Plan(r), label.CodeForaging, "2026-07-20")
		r.End = at("2026-07-20T21:30:00-04:00")
		require.True(t, refused(t, label.Plan(r), label.CodeForaging, "2026-07-20").Unknown, "when it begins is not known")
		r.Start = at("2026-07-20T21:00:00-04:00")
		d := label.Plan(r)
		allowed(t, d)
		require.Contains(t, d.Conditions, "look first: no bees on the flowers in and beside the bed")
	},
	"LR-062": func(t *testing.T) {
		r := ask(bees(farm.BeesNoBloom), "2026-07-20")
		r.Bloom, r.Ground = label.BloomNone, label.BloomOpen
		require.Contains(t, refused(t, label.Plan(r), label.CodeBloom, "2026-07-20").Words, "flowering ground cover")
	},
	"LR-063": func(t *testing.T) {
		for _, rule := range []string{farm.BeesNoBloom, farm.BeesNotForaging} {
			got := refused(t, label.Plan(ask(bees(rule), "2026-07-20")), label.CodeBloom, "2026-07-20")
			require.True(t, got.Unknown)
			require.Contains(t, got.Words, "look at the bed today")
		}
	},
	"LR-064": func(t *testing.T) {
		r := ask(hot(90), "2026-07-20")
		r.Weather = &farm.WeatherDay{MaxC: num(33)}
		require.Contains(t, refused(t, label.Plan(r), label.CodeTemperature, "2026-07-20").Words, "33 °C is above the label's highest temperature of 90 °F (32.22 °C)")
		r.Units = units.US // 33 °C is 91.4 °F
		require.Contains(t, refused(t, label.Plan(r), label.CodeTemperature, "2026-07-20").Words, "91.4 °F is above the label's highest temperature of 90 °F")
	},
	"LR-065": func(t *testing.T) {
		r := ask(hot(90), "2026-07-20")
		r.Weather = &farm.WeatherDay{MaxC: num(32.2)} // 89.96 °F
		allowed(t, label.Plan(r))
	},
	"LR-066": func(t *testing.T) {
		r := ask(windy(), "2026-07-20")
		d := label.Plan(r)
		allowed(t, d) // a plan carries the wind as a condition
		require.Contains(t, d.Conditions, "do not apply if the wind is over 10 mph (4.4704 m/s): check on the day")
		r.Units = units.US
		require.Contains(t, label.Plan(r).Conditions, "do not apply if the wind is over 10 mph: check on the day")
		r.Applying = true
		got := refused(t, label.Plan(r), label.CodeWind, "2026-07-20")
		require.Equal(t, "wind", got.Field)
		require.True(t, got.Unknown)
	},
	"LR-067": func(t *testing.T) {
		r := ask(windy(), "2026-07-20")
		r.WindMS = num(4.5)
		require.Contains(t, refused(t, label.Plan(r), label.CodeWind, "2026-07-20").Words, "wind of 4.5 m/s is above the label's highest of 10 mph (4.4704 m/s)")
		r.Units = units.US // 4.5 m/s are 10.066 mph
		require.Contains(t, refused(t, label.Plan(r), label.CodeWind, "2026-07-20").Words, "wind of 10.07 mph is above the label's highest of 10 mph")
		r.WindMS = num(4.4704)
		allowed(t, label.Plan(r))
	},
	"LR-068": func(t *testing.T) {
		l := spray("oil", "mineral oil")
		l.RainfastH = farm.Value(6.0)
		r := ask(l, "2026-06-01")
		r.End = at("2026-06-01T18:00:00-04:00")
		r.Wet = []time.Time{at("2026-06-01T21:00:00-04:00")}
		refused(t, label.Plan(r), label.CodeRainfast, "2026-06-01")
		r.Wet = []time.Time{at("2026-06-02T00:00:00-04:00")} // the boundary is dry long enough
		allowed(t, label.Plan(r))
	},
	"LR-071": func(t *testing.T) {
		r := ask(with(func(l *farm.Label) { l.WaterBuffer = farm.Value(units.Of(25, "ft").Base()) }), "2026-06-01")
		r.WaterM = num(units.Of(20, "ft").Base())
		refused(t, label.Plan(r), label.CodeWater, "2026-06-01")
		r.WaterM = num(units.Of(25, "ft").Base())
		allowed(t, label.Plan(r))
	},
	"LR-072": func(t *testing.T) {
		r := ask(with(func(l *farm.Label) { l.Animals = farm.Value("Keep out") }), "2026-06-01")
		r.AnimalsChecked, r.Animals = true, []string{"dog", "hens"}
		require.Contains(t, refused(t, label.Plan(r), label.CodeAnimals, "2026-06-01").Words, "dog, hens")
		r.Animals = nil
		allowed(t, label.Plan(r))
	},
	"LR-074": func(t *testing.T) {
		inch := units.Of(1, "in").Base()
		for _, c := range []struct {
			s  label.Spray
			ft float64
		}{
			{label.Spray{}, 0},
			{label.Spray{Liquid: true, HeightM: 12 * inch}, 0},
			{label.Spray{Liquid: true, HeightM: 13 * inch}, 25},
			{label.Spray{Liquid: true, Fine: true}, 100},
		} {
			require.InDelta(t, c.ft*0.3048, label.ExclusionZoneM(c.s), 1e-12)
		}
	},
	"LR-075": func(t *testing.T) {
		s := label.Spray{Liquid: true, HeightM: 13 * 0.0254}
		words, conflict := label.ZoneConflict(s, "the harvest crew", 20*0.3048)
		require.True(t, conflict)
		require.Contains(t, words, "exclusion zone")
		_, conflict = label.ZoneConflict(s, "the harvest crew", 25*0.3048+1e-9)
		require.False(t, conflict)
	},
	"LR-079": func(t *testing.T) {
		l := with(func(l *farm.Label) { l.Organic = farm.Value("certifier: yes, 2026-02-01") })
		r := ask(l, "2026-06-01")
		r.Organic = true
		require.Contains(t, refused(t, label.Plan(r), label.CodePractice, "2026-06-01").Words, "7 CFR 205.206(e)")
		r.Practice = true
		allowed(t, label.Plan(r))
	},
	"LR-080": func(t *testing.T) {
		for _, s := range []farm.Stated[string]{{}, farm.None[string](), farm.Value("")} {
			r := ask(with(func(l *farm.Label) { l.Organic = s }), "2026-06-01")
			r.Organic, r.Practice = true, true
			require.Contains(t, refused(t, label.Plan(r), label.CodeApproval, "").Words, "ask the certifier")
		}
	},
}

func windy() farm.Label {
	l := spray("oil", "mineral oil")
	l.MaxWindMS = farm.Value(units.Of(10, "mph").MustIn("m/s"))
	return l
}
