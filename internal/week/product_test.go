package week_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/units"
	"leafturn/internal/week"
)

// A product is offered only under a label that lists the site and the pest and
// allows it; all else says what stands in the way, and where on a label.
func TestProduct_OnlyAsTheLabelAllows(t *testing.T) {
	for _, x := range []struct {
		name   string
		change func(*farm.Label, *week.Input)
		says   []string // in the line that says what must not be done; nil: it is offered
	}{
		{"every field read", func(*farm.Label, *week.Input) {}, nil},
		{"other pest", func(l *farm.Label, _ *week.Input) { l.Pests = []string{"earwig"} }, []string{"no label that lists slugs has been entered, and unknown is never assumed", "leafturn label template"}},
		{"no label", func(_ *farm.Label, in *week.Input) { in.Labels = in.Labels[:0] }, []string{"no label that lists slugs has been entered"}},
		{"site not listed", func(l *farm.Label, _ *week.Input) { l.Sites[0].Where = farm.House }, []string{"does not list dahlias, outdoors", "sites and crops", "Directions for Use"}},
		{"crop not listed", func(l *farm.Label, _ *week.Input) { l.Sites[0].Crop = "lettuce" }, []string{"does not list dahlias, outdoors"}},
		{"no sites read", func(l *farm.Label, _ *week.Input) { l.Sites = nil }, []string{"look up: sites and crops (on the label: Directions for Use)"}},
		{"re-entry not read", func(l *farm.Label, _ *week.Input) { l.REIHours = farm.Stated[float64]{} }, []string{"look up: re-entry interval (REI) (on the label: Agricultural Use Requirements box)"}},
		{"harvest interval not read", func(l *farm.Label, _ *week.Input) { l.PHIDays = farm.Stated[int]{} }, []string{"look up: pre-harvest interval (PHI) (on the label: Directions for Use)"}},
		{"expired", func(l *farm.Label, _ *week.Input) { l.Expiry = farm.Value(day("2026-07-12")) }, []string{"expired on 2026-07-12", "container"}},
		{"restricted", func(l *farm.Label, _ *week.Input) { l.UseClass = farm.Value("restricted") }, []string{"restricted-use product"}},
		{"organic farm, not listed", func(l *farm.Label, in *week.Input) {
			l.Organic, in.Farm.Organic = farm.None[string](), true
			in.Done = []farm.Done{{Bed: "B1", Pest: "slug", Action: "slug_pick", Date: today.AddDays(-9)}}
		}, []string{"ask the certifier"}},
		{"organic farm, nothing tried", func(_ *farm.Label, in *week.Input) { in.Farm.Organic = true }, []string{"after prevention and mechanical steps"}},
		{"too soon", func(l *farm.Label, in *week.Input) {
			l.MinIntervalDays = farm.Value(14)
			treated(in, []farm.Label{*l}, put(1, "B1", *l, "earwig", "2026-07-05"))
		}, []string{"asks for 14 days between applications", "B1: not before Sun 19 Jul", "minimum retreatment interval"}},
		{"used up", func(l *farm.Label, in *week.Input) {
			l.MaxApplications = farm.Value(1)
			treated(in, []farm.Label{*l}, put(1, "B1", *l, "earwig", "2026-05-05"))
		}, []string{"1 of 1 applications are used", "1 of 1 applications used"}},
		{"used up last autumn: the year has not passed", func(l *farm.Label, in *week.Input) {
			l.MaxApplications = farm.Value(1)
			treated(in, []farm.Label{*l}, put(1, "B1", *l, "earwig", "2025-10-05"))
		}, []string{"1 of 1 applications are used", "not before Mon 5 Oct"}},
		{"closed the whole day", func(l *farm.Label, in *week.Input) {
			l.REIHours = farm.Value(48.0)
			treated(in, []farm.Label{*l}, put(1, "B1", *l, "earwig", "2026-07-12"))
		}, []string{"B1 is closed until", "re-entry interval (REI)"}},
		{"closed the whole day by an older version of the label", func(l *farm.Label, in *week.Input) {
			old := *l
			old.REIHours = farm.Value(48.0)
			in.Treatments, in.Versions = []farm.Treatment{put(1, "B1", old, "earwig", "2026-07-12")}, map[int64]farm.Label{1: old}
		}, []string{"B1 is closed until Tue 14 Jul 2026 18:00 EDT after Invented bait"}},
		{"open again before the day is over", func(l *farm.Label, in *week.Input) {
			l.REIHours = farm.Value(20.0)
			treated(in, []farm.Label{*l}, put(1, "B1", *l, "earwig", "2026-07-12"))
		}, nil},
		{"bees, and nobody looked for flowers", func(l *farm.Label, _ *week.Input) { l.Bees = farm.Value(farm.BeesNotForaging) },
			[]string{"nobody has noted whether flowers are open", "look today, then: leafturn flowers none|open B1", "bee statement"}},
		{"bees, flowers beside the bed", func(l *farm.Label, in *week.Input) {
			l.Bees = farm.Value(farm.BeesNoBloom)
			in.Done = []farm.Done{{Bed: "B1", Pest: farm.Flowers, Action: farm.FlowersOpen, Date: today}}
		}, []string{"until the petals have fallen"}},
		{"bees, no flowers", func(l *farm.Label, in *week.Input) {
			l.Bees = farm.Value(farm.BeesNoBloom)
			in.Done = []farm.Done{{Bed: "B1", Pest: farm.Flowers, Action: farm.FlowersNone, Date: today}}
		}, nil},
		{"too hot", func(l *farm.Label, in *week.Input) {
			hot, low := 33.0, 15.0
			l.Formulation, l.MaxTempC = farm.Value("liquid"), farm.Value(30.0)
			in.Weather[today] = farm.WeatherDay{Date: today, MaxC: &hot, MinC: &low}
		}, []string{"33 °C is above the label's highest temperature of 30 °C"}},
		{"counted per crop cycle, and the planting is not known", func(l *farm.Label, _ *week.Input) {
			l.MaxApplications, l.MaxPer = farm.Value(3), farm.PerCropCycle
		}, []string{"write when B1 was planted"}},
		{"counted per crop cycle from planting on", func(l *farm.Label, in *week.Input) {
			l.MaxApplications, l.MaxPer = farm.Value(1), farm.PerCropCycle
			in.Planted = map[string]civil.Date{"B1": day("2026-05-12")}
			treated(in, []farm.Label{*l}, put(1, "B1", *l, "earwig", "2026-05-05"))
		}, nil},
		{"used up in this crop cycle", func(l *farm.Label, in *week.Input) {
			l.MaxApplications, l.MaxPer = farm.Value(1), farm.PerCropCycle
			in.Planted = map[string]civil.Date{"B1": day("2026-05-01")}
			treated(in, []farm.Label{*l}, put(1, "B1", *l, "earwig", "2026-05-05"))
		}, []string{"1 of 1 applications are used in the crop cycle from 2026-05-01"}},
		{"kept apart by the published figure where no label gives one", func(l *farm.Label, in *week.Input) {
			oil := *l
			oil.Key, oil.Product, oil.Actives = "oil", "Invented oil", []farm.Active{{Name: "oil", Percent: 80, Group: farm.None[string](), Max: farm.None[units.Quantity]()}}
			treated(in, []farm.Label{*l, oil}, put(1, "B1", oil, "earwig", "2026-07-01"))
			in.Labels = in.Labels[:1]
			in.Apart = []label.Apart{{A: "oil", B: l.Actives[0].Name, Days: 30, Source: "a table"}}
		}, []string{"kept 30 days apart", "B1: not before Fri 31 Jul", "30 days is the published figure (a table), the label governs"}},
		{"a cover is to be sown within the planting-back interval", func(l *farm.Label, in *week.Input) {
			l.PlantBack = farm.Value(30)
			in.Work = map[string][]label.Work{"B1": {{What: "sowing rye", Date: today.AddDays(29), Plants: true}}}
		}, []string{"sowing rye is planned on"}},
		{"a cover is to be sown after it", func(l *farm.Label, in *week.Input) {
			l.PlantBack = farm.Value(30)
			in.Work = map[string][]label.Work{"B1": {{What: "sowing rye", Date: today.AddDays(30), Plants: true}}, "B2": {{What: "sowing rye", Date: today, Plants: true}}}
		}, nil},
		{"organic farm, and only an application was noted", func(l *farm.Label, in *week.Input) {
			in.Farm.Organic = true
			in.Done = []farm.Done{{Bed: "B1", Pest: "slug", Action: "slug_bait", Date: today.AddDays(-9)}}
		}, []string{"after prevention and mechanical steps"}},
	} {
		t.Run(x.name, func(t *testing.T) {
			a := found("B1", slugs(), today, 9)
			in := input(a)
			l := bait()
			in.Labels = []farm.Label{l}
			x.change(&l, &in)
			if len(in.Labels) > 0 {
				in.Labels[0] = l
			}
			list := build(t, in, nil)
			require.Equal(t, x.says == nil, has(list, "do:slug:label:bait"), text(list))
			if x.says == nil {
				require.True(t, asks(in, a, l).Allowed)
				require.False(t, has(list, "not:slug"))
				return
			}
			no := line(t, list, "not:slug")
			words := strings.Join(slices.Concat([]string{no.Head, no.Why, no.Traces[0].Rule}, no.Details, no.Traces[0].Facts), "\n")
			for _, s := range x.says {
				require.Contains(t, words, s)
			}
			require.NotContains(t, words, "look up: \n")
			// Each refusal names its field and the place on the label.
			if len(in.Labels) == 0 || !slices.Contains(l.Pests, "slug") {
				return
			}
			for _, r := range asks(in, a, l).Refusals {
				require.Contains(t, no.Why, strings.TrimSuffix(r.Words, "."))
				if r.Field != "" {
					require.Contains(t, words, r.Field)
					require.Contains(t, words, r.Where)
				}
				if r.Unknown && r.Field != "" && r.Code != label.CodeBloom {
					require.Contains(t, no.Details, "look up: "+r.Field+" (on the label: "+r.Where+")")
				}
			}
		})
	}
}

// After a treatment against the pest since the count nothing more is offered
// until the recount; one from before the count does not hold it back.
func TestProduct_NotTwiceOnOneCount(t *testing.T) {
	in := input(found("B1", slugs(), today.AddDays(-3), 9))
	other := read("other", "iron", "slug")
	in.Labels = []farm.Label{bait(), other}
	labels := []farm.Label{bait(), other}
	treated(&in, labels, put(1, "B1", bait(), "slug", "2026-07-11"))
	l := build(t, in, nil)
	require.False(t, has(l, "do:slug:label"), "neither the same product nor another")
	require.False(t, has(l, "not:slug"))
	require.True(t, has(l, "scout:slug:trap:after"))

	in.Treatments[0] = put(1, "B1", bait(), "slug", "2026-07-09")
	require.True(t, has(build(t, in, nil), "do:slug:label:bait"))
	in.Treatments[0] = put(1, "B2", bait(), "slug", "2026-07-11")
	require.True(t, has(build(t, in, nil), "do:slug:label:bait"), "another bed")
	in.Treatments[0] = put(1, "B1", bait(), "earwig", "2026-07-11")
	require.True(t, has(build(t, in, nil), "do:slug:label:bait"), "against another pest")
}

// Two beds refused for the same reasons share a line; other reasons have
// their own.
func TestProduct_RefusalsMerge(t *testing.T) {
	in := input(found("B1", slugs(), today, 9), found("B2", slugs(), today, 9), found("B3", slugs(), today, 9))
	l := bait()
	l.MinIntervalDays = farm.Value(10)
	in.Labels = []farm.Label{l}
	treated(&in, in.Labels, put(1, "B1", l, "earwig", "2026-07-10"), put(2, "B2", l, "earwig", "2026-07-09"))
	list := build(t, in, nil)
	no := line(t, list, "not:slug:bait")
	require.Equal(t, []string{"B1", "B2"}, no.Beds)
	require.Contains(t, no.Details, "B1: not before Mon 20 Jul")
	require.Contains(t, no.Details, "B2: not before Sun 19 Jul")
	require.Equal(t, []string{"B3"}, line(t, list, "do:slug:label:bait").Beds)
}

// A product that harms natural enemies which were ordered or let out must not
// be used; one whose effect is not known neither.
func TestProduct_SparesAgents(t *testing.T) {
	in := input(found("B1", mites(), today, 9))
	in.Labels = []farm.Label{soap(), read("paste", "mystery", "mite"), read("dust", "iron", "mite")}
	l := build(t, in, nil)
	for _, key := range []string{"soap", "paste", "dust"} {
		require.True(t, has(l, "do:mite:label:"+key))
	}
	require.Contains(t, line(t, l, "do:mite:label:soap").Details, "not where you order natural enemies: soap can harm hot mites for 7 days", "the same list offers the order")
	require.Contains(t, line(t, l, "do:mite:label:paste").Details, "not where you order natural enemies: what mystery does to hot mites is not known")
	require.NotContains(t, strings.Join(line(t, l, "do:mite:label:dust").Details, "\n"), "natural enemies")

	for name, x := range map[string]struct {
		done     []farm.Done
		releases []farm.Release
		says     string
	}{
		"ordered": {done: []farm.Done{{Bed: "B1", Pest: "mite", Action: "mite_release", Date: today.AddDays(-3)}}, says: "hot mites (ordered on Fri 10 Jul)"},
		"let out": {releases: []farm.Release{{Bed: "B1", Pest: "mite", Agent: "hot", Date: today.AddDays(-3)}}, says: "hot mites (let out on Fri 10 Jul)"},
	} {
		in.Done, in.Releases = x.done, x.releases
		l := build(t, in, nil)
		require.False(t, has(l, "do:mite:label:soap"), name)
		require.Contains(t, line(t, l, "not:mite:soap:agents").Why, "soap can harm "+x.says+" for 7 days")
		require.Contains(t, line(t, l, "not:mite:paste:agents").Why, "what mystery does to "+x.says+" is not known")
		require.True(t, has(l, "do:mite:label:dust"), "known to be harmless")
	}
	in.Done, in.Releases = nil, []farm.Release{{Bed: "B1", Pest: "mite", Agent: "hot", Date: today.AddDays(-36)}}
	require.True(t, has(build(t, in, nil), "do:mite:label:soap"), "after five weeks they are not counted on")
	in.Releases[0].Date, in.Releases[0].Bed = today.AddDays(-3), "B2"
	require.True(t, has(build(t, in, nil), "do:mite:label:soap"), "in another bed")
}

func TestProduct_AmountUnknown(t *testing.T) {
	in := input(found("B1", slugs(), today, 9))
	l := bait()
	l.RateMax = farm.Value(units.Of(10, "mL/L"))
	l.Formulation = farm.Value("liquid")
	in.Labels = []farm.Label{l}
	list := build(t, in, nil)
	if has(list, "do:slug:label:bait") {
		require.Contains(t, line(t, list, "do:slug:label:bait").Details[0], "no amount per area")
	} else {
		require.NotEmpty(t, line(t, list, "not:slug:bait").Details)
	}
}

// A product is not offered past the last day on which its label allows it.
func TestProduct_UntilTheLabelEnds(t *testing.T) {
	a := found("B1", slugs(), today, 9)
	in := input(a)
	l := bait()
	in.Labels = []farm.Label{l}
	free := line(t, build(t, in, nil), "do:slug:label:bait").By
	require.True(t, free.After(today.AddDays(1)), "there is something to cut short")
	l.Expiry = farm.Value(today.AddDays(1))
	in.Labels = []farm.Label{l}
	require.Equal(t, today.AddDays(1), line(t, build(t, in, nil), "do:slug:label:bait").By)
	l.Expiry = farm.Value(today)
	in.Labels = []farm.Label{l}
	require.Equal(t, today, line(t, build(t, in, nil), "do:slug:label:bait").By)
}
