package ingest_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/units"
)

func drawStated[T any](t *rapid.T, g *rapid.Generator[T], label string) farm.Stated[T] {
	switch rapid.IntRange(0, 2).Draw(t, label+" state") {
	case 0:
		return farm.Stated[T]{}
	case 1:
		return farm.None[T]()
	}
	return farm.Value(g.Draw(t, label))
}

// A label that is written and read again is the same label, for thousands of
// labels with every field in each of its states.
func TestFormatLabel_RoundTrip(t *testing.T) {
	again := func(t require.TestingT, l farm.Label) {
		file := ingest.FormatLabel(l)
		got, err := ingest.ParseLabel(strings.NewReader(file), "l", names{}, civil.Date{})
		require.NoError(t, err, file)
		require.Equal(t, l, got, file)
	}
	g := labels()
	for seed := range 3000 {
		again(t, g.Example(seed))
	}
	rapid.Check(t, func(t *rapid.T) { again(t, g.Draw(t, "label")) })
}

// A figure comes out as it was copied, whatever unit it is kept in.
func TestFormatLabel_KeepsTheLabelsUnit(t *testing.T) {
	for _, line := range []string{
		`min_interval = "48 hours"`, `min_interval = "2 days"`, `min_interval = "36.5 hours"`, `min_temp = "60 F"`, `max_temp = "90 F"`, `min_temp = "15.5 C"`, `min_temp = "50.5 F"`, `max_wind = "10 mph"`, `max_wind = "16 km/h"`,
		`max_wind = "4.5 m/s"`, `water_buffer = "25 ft"`, `water_buffer = "3 m"`, `water_buffer = "100 ft"`, `boom_height = "24 in"`, `boom_height = "60 cm"`,
	} {
		key, _, _ := strings.Cut(line, " ")
		file := strings.Replace(ingest.LabelTemplate(), "\n"+key+` = ""`, "\n"+line, 1)
		file = strings.NewReplacer("\nkey = \"\"", "\nkey = \"x\"", "\nproduct = \"\"", "\nproduct = \"X\"").Replace(file)
		l, err := ingest.ParseLabel(strings.NewReader(file), "l", names{}, civil.Date{})
		require.NoError(t, err, line)
		out := ingest.FormatLabel(l)
		require.True(t, strings.Contains(out, "\n"+line+"\n"), line)
	}
}

// What the questions say stands there now, given field by field by name, is
// the same label too.
func TestSetLabelField_RoundTrip(t *testing.T) {
	g := labels()
	for seed := range 500 {
		want := g.Example(seed)
		if slices.ContainsFunc(slices.Concat(want.Pests, want.OtherPests), func(s string) bool { return strings.Contains(s, ",") }) {
			continue
		}
		got := farm.Label{Version: want.Version, Entered: want.Entered}
		require.Nil(t, ingest.SetLabelKey(&got, want.Key))
		for _, q := range ingest.LabelQuestions(want) {
			require.Nil(t, ingest.SetLabelField(&got, q.Key, q.Now, names{}), "%s = %s", q.Key, q.Now)
		}
		require.Equal(t, want, got)
	}
}

// labels makes labels that contradict themselves in nothing.
func labels() *rapid.Generator[farm.Label] {
	text := rapid.Custom(func(t *rapid.T) string {
		s := strings.TrimSpace(rapid.StringMatching(`[A-Za-z0-9é"#=\\'%,;.\n\t\[\] -]{1,40}`).Draw(t, "text"))
		if s == "" {
			return "x"
		}
		return s
	})
	rate := rapid.Custom(func(t *rapid.T) float64 { return rapid.Float64Range(1e-6, 1e4).Draw(t, "rate") })
	massUnits := []string{"kg/ha", "lb/acre", "lb/1000 ft2", "oz wt/1000 ft2", "g/m2", "oz wt/yd2"}
	volUnits := []string{"L/ha", "mL/m2", "US fl oz/1000 ft2", "US gal/acre", "US pt/acre"}
	return rapid.Custom(func(t *rapid.T) farm.Label {
		names3 := rapid.SampledFrom([][]string{nil, {"invented oil"}, {"A", "b \"c\""}}).Draw(t, "actives")
		l := farm.Label{
			Key: rapid.StringMatching(`[a-z][a-z0-9-]{0,23}`).Draw(t, "key"), Version: rapid.IntRange(0, 9).Draw(t, "version"), Product: "P" + strings.Join(strings.Fields(drawText(t, "product")), " "),
			Registration: drawStated(t, text, "reg"), UseClass: drawStated(t, rapid.SampledFrom([]string{"general", "restricted", "professional"}), "class"),
			SignalWord: drawStated(t, rapid.SampledFrom([]string{"danger", "warning", "caution"}), "signal"), Formulation: drawStated(t, rapid.SampledFrom(farm.Formulations), "formulation"),
			Organic: drawStated(t, rapid.SampledFrom([]string{"listed by a body", "certifier \"X\": yes, 2026-05-01"}), "organic"), Method: drawStated(t, text, "method"), ReapplyWhen: drawStated(t, text, "when"), Animals: drawStated(t, text, "animals"), PPE: drawStated(t, text, "ppe"),
			Sites: rapid.SampledFrom([][]farm.LabelSite{nil, {{Where: farm.Outdoor, Crop: "dahlias"}}, {{Where: farm.House, Crop: "any crop", REIHours: farm.Value(4.5)}, {Where: farm.House, Crop: "dahlias", REIHours: farm.None[float64]()}, {Where: farm.Outdoor, Crop: "asparagus"}},
				{{Where: farm.Outdoor, Crop: "dahlias", REIHours: farm.Value(12.0), RateMin: farm.Value(units.Of(0.5, "lb/1000 ft2")), RateMax: farm.Value(units.Of(20, "oz wt/1000 ft2")), MinIntervalDays: farm.Value(14)},
					{Where: farm.House, Crop: "cut flowers", RateMin: farm.None[units.Quantity](), RateMax: farm.Value(units.Of(2.5, "g/m2")), MinIntervalDays: farm.Value(2), MinIntervalHours: 36},
					{Where: farm.House, Crop: "x (rows)", MinIntervalDays: farm.None[int]()}}}).Draw(t, "sites"),
			Pests:           rapid.SampledFrom([][]string{nil, {"slug"}, {"mite", "earwig"}}).Draw(t, "pests"),
			OtherPests:      rapid.SampledFrom([][]string{nil, {"garden snails"}, {"pill \"bugs\"", "millipedes"}}).Draw(t, "other pests"),
			KeepApart:       rapid.SampledFrom([][]farm.Apart{nil, {{Active: "sulfur", Days: 14}, {Active: "x 3 days", Days: 0}}}).Draw(t, "apart"),
			MaxPer:          rapid.SampledFrom(append([]string{"", farm.PerNone}, farm.MaxPers...)).Draw(t, "per"),
			MinIntervalDays: drawStated(t, rapid.IntRange(0, 14), "mri"), ReapplyByDays: drawStated(t, rapid.IntRange(14, 730), "by"),
			MaxApplications: drawStated(t, rapid.IntRange(1, 1000), "max"), PHIDays: drawStated(t, rapid.IntRange(0, 730), "phi"),
			MaxInWindow: drawStated(t, rapid.Custom(func(t *rapid.T) farm.Window {
				return farm.Window{Count: rapid.IntRange(1, 1000).Draw(t, "n"), Days: rapid.IntRange(1, 730).Draw(t, "days")}
			}), "window"),
			REIHours: drawStated(t, rapid.Float64Range(0, 720), "rei"), RainfastH: drawStated(t, rapid.Float64Range(0, 168), "rain"),
			MinTempC: drawStated(t, rapid.Float64Range(-60, 5), "min"), MaxTempC: drawStated(t, rapid.Float64Range(6, 60), "maxt"), MaxWindMS: drawStated(t, rapid.Float64Range(0.001, 45), "wind"),
			Bees: drawStated(t, rapid.SampledFrom(farm.BeeRules), "bees"), WaterBuffer: drawStated(t, rapid.Float64Range(0, 2000), "water"),
			Expiry: drawStated(t, rapid.Custom(func(t *rapid.T) civil.Date { return today.AddDays(rapid.IntRange(-9000, 9000).Draw(t, "exp")) }), "expiry"),
		}
		if rapid.Bool().Draw(t, "entered") {
			l.Entered = today
		}
		if rapid.Bool().Draw(t, "note") {
			l.Note = text.Draw(t, "note text")
		}
		unit := rapid.SampledFrom(rapid.SampledFrom([][]string{massUnits, volUnits}).Draw(t, "dim")).Draw(t, "unit")
		low := rate.Draw(t, "low")
		quantity := func(f float64, label string) farm.Stated[units.Quantity] {
			return drawStated(t, rapid.Just(units.Of(low*f, unit)), label)
		}
		l.RateMin, l.RateMax, l.MaxAmount = quantity(1, "rate min"), quantity(2, "rate max"), quantity(7, "amount")
		for _, n := range names3 {
			l.Actives = append(l.Actives, farm.Active{Name: n, Percent: rapid.SampledFrom([]float64{0, 1, 0.3, 49.5}).Draw(t, "percent"), Group: drawStated(t, rapid.SampledFrom([]string{"4A", "UN", "M02", "NC", "BM02", "9"}), "group"),
				Max: drawStated(t, rapid.Just(units.Of(low, unit)), "active max"), GPerL: drawStated(t, rapid.Float64Range(0.001, 4999), "g/L")})
			if a := &l.Actives[len(l.Actives)-1]; a.Percent == 0 && rapid.Bool().Draw(t, "no percent") {
				a.NoPercent = true
			}
		}
		for _, f := range []*farm.Stated[string]{&l.Registration, &l.Formulation, &l.Organic, &l.Method, &l.ReapplyWhen, &l.Animals, &l.PPE} {
			if strings.EqualFold(f.Value, "none stated") {
				*f = farm.None[string]()
			}
		}
		l.NoKeepApart = l.KeepApart == nil && rapid.Bool().Draw(t, "nothing to keep apart")
		if w, n := l.MaxInWindow, l.MinIntervalDays; w.Has() && n.Has() && w.Value.Count > 1 {
			l.MaxInWindow.Value.Days = max(w.Value.Days, n.Value)
		}
		if l.MaxInWindow.Has() && l.MaxApplications.Has() { // more in a few days than in all would be refused
			l.MaxInWindow.Value.Count = min(l.MaxInWindow.Value.Count, l.MaxApplications.Value)
		}
		l.LabelMore = drawMore(t, l, text, unit, low)
		if n := l.MinIntervalDays; n.Has() && n.Value > 0 && rapid.IntRange(0, 2).Draw(t, "in hours") == 0 {
			l.MinIntervalHours = 24*float64(n.Value) - rapid.Float64Range(0, 23.5).Draw(t, "hours")
		}
		return l
	})
}

// drawMore draws the further fields of a label.
func drawMore(t *rapid.T, l farm.Label, text *rapid.Generator[string], unit string, low float64) farm.LabelMore {
	words := func(label string) farm.Stated[string] {
		s := drawStated(t, text, label)
		if strings.EqualFold(s.Value, "none stated") {
			return farm.None[string]()
		}
		return s
	}
	one := rapid.SampledFrom([]string{"ferns", "sweet peas", "a \"b\" # c", "é'[x]"})
	list := func(label string) farm.Stated[[]string] {
		return drawStated(t, rapid.Custom(func(t *rapid.T) []string { return rapid.SliceOfNDistinct(one, 1, 3, rapid.ID[string]).Draw(t, "items") }), label)
	}
	days := func(label string, least int) farm.Stated[int] {
		return drawStated(t, rapid.IntRange(least, 730), label)
	}
	date := rapid.Custom(func(t *rapid.T) civil.Date { return today.AddDays(-10000 - rapid.IntRange(0, 900).Draw(t, "opened")) })
	spray := rapid.Float64Range(1e-3, 1e3).Draw(t, "spray")
	sprays := func(f float64, label string) farm.Stated[units.Quantity] {
		return drawStated(t, rapid.Just(units.Of(spray*f, rapid.SampledFrom([]string{"L/ha"}).Draw(t, "spray unit"))), label)
	}
	m := farm.LabelMore{
		Registrant: words("registrant"), Jurisdiction: drawStated(t, rapid.SampledFrom([]string{"US", "US-OR", "EU", "GB"}), "jurisdiction"), Edition: words("edition"),
		Lot: words("lot"), Opened: drawStated(t, date, "opened"), OpenedDays: days("opened life", 0), MixedHours: drawStated(t, rapid.Float64Range(0, 720), "mixed"),
		ExcludedCrops: list("excluded"), OnlyPests: drawStated(t, rapid.Bool(), "only"), ForbiddenMethods: list("forbidden"),
		SprayMin: sprays(1, "spray min"), SprayMax: sprays(2, "spray max"), EarlyPPE: words("early"), DoubleNotice: drawStated(t, rapid.Bool(), "double"),
		NoWater: drawStated(t, rapid.Bool(), "no water"), PlantBack: days("plant back", 0), PHIEvent: words("phi event"), MinWindMS: drawStated(t, rapid.Float64Range(1e-6, 0.0009), "min wind"), Nozzle: words("nozzle"),
		BoomM: drawStated(t, rapid.Float64Range(0.001, 20), "boom"), Soil: words("soil"), PlantStress: words("stress"), Sensitive: list("sensitive"), TestFirst: drawStated(t, rapid.Bool(), "test"),
		FirstAid: words("first aid"), Storage: words("storage"), Disposal: words("disposal"),
		Transcriber: rapid.SampledFrom([]string{"", "A. \"B\" C"}).Draw(t, "who"), Photo: rapid.SampledFrom([]string{"", "shed, page 3"}).Draw(t, "photo"),
	}
	m.Hours = drawStated(t, rapid.SampledFrom([][]farm.ClockSpan{{{From: 0, To: 1440}}, {{From: 0, To: 540}, {From: 1080, To: 1440}}, {{From: 301, To: 599}}}), "hours")
	if l.MaxPer == farm.PerSeason || l.MaxPer == "" || l.MaxPer == farm.PerNone {
		m.Season = drawStated(t, rapid.SampledFrom([]farm.YearSpan{{From: civil.MonthDay{Month: 4, Day: 1}, To: civil.MonthDay{Month: 10, Day: 31}}, {From: civil.MonthDay{Month: 10, Day: 1}, To: civil.MonthDay{Month: 9, Day: 30}}}), "season")
	}
	m.MoreMaxima = drawStated(t, rapid.Custom(func(t *rapid.T) (out []farm.Maximum) {
		for i := range rapid.IntRange(1, 4).Draw(t, "maxima") {
			x := farm.Maximum{Count: rapid.IntRange(1, 1000).Draw(t, "count")}
			if rapid.Bool().Draw(t, "amount") {
				x = farm.Maximum{Amount: units.Of(low*9, unit)}
				if len(l.Actives) > 0 && rapid.Bool().Draw(t, "of active") {
					x.Active = l.Actives[0].Name
				}
			}
			if rapid.Bool().Draw(t, "run of days") {
				x.Days = 10 + i
			} else {
				x.Per = farm.MaxPers[i]
			}
			out = append(out, x)
		}
		return out
	}), "more maxima")
	m.NoSites, m.NoPests = l.Sites == nil && rapid.Bool().Draw(t, "no sites"), l.Pests == nil && l.OtherPests == nil && rapid.Bool().Draw(t, "no pests")
	m.NoActives = l.Actives == nil && rapid.Bool().Draw(t, "no actives")
	for i, field := range []string{"rei", "time_of_day", "actives"} {
		if rapid.Bool().Draw(t, "printed "+field) {
			m.Printed = append(m.Printed, farm.Printed{Field: field, Text: "Do not \"x\", y | z.", Panel: []string{"", "Directions for Use"}[i%2], Advises: i%2 == 0})
		}
	}
	return m
}
