package week_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/schedule"
	"leafturn/internal/testkit"
	"leafturn/internal/units"
	"leafturn/internal/verdict"
	"leafturn/internal/week"
)

// The farm, labels, agents and counts of these tests are invented; the levels
// stand for no source. What is tested is the list, not its facts.

var (
	today = day("2026-07-13") // a Monday
	ny    = mustZone("America/New_York")
)

func day(s string) civil.Date { return civil.MustParse(s) }

func mustZone(name string) *time.Location {
	loc, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return loc
}

func at(s string) time.Time {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		panic(err)
	}
	return t
}

func pest(key, name, unit, words string) assess.Pest {
	return assess.Pest{
		Key: key, Name: name, EveryDays: 7, StaleDays: 14, InSeason: true,
		Units: []assess.Unit{{Key: unit, Label: unit, Measure: key, Words: words, Tally: 1, Wanted: 10, Min: 5, How: "Look at 10.", Dispersed: estimate.Dispersion{K: 5}, Ref: common}},
		Levels: []assess.Level{
			{Measure: key, Kind: "watch", Value: 2, Operator: ">=", Ref: common},
			{Measure: key, Kind: "act", Value: 5, Operator: ">=", Ref: common},
		},
	}
}

var common = assess.Ref{Basis: "common practice"}

func slugs() assess.Pest { return pest("slug", "slugs", "trap", "slugs per trap") }

func mites() assess.Pest {
	p := pest("mite", "mites", "leaf", "mites per leaf")
	p.Enemies = []assess.EnemyRule{{Enemy: "predmite", Name: "predatory mites", Kind: "prey_per_enemy", Value: 10}}
	return p
}

func bed(code string) farm.Bed {
	return farm.Bed{Code: code, Block: code[:1], LengthM: 10, WidthM: 1, Plants: 40, Site: farm.Outdoor}
}

func visit(b string, p assess.Pest, date civil.Date, each int) farm.Visit {
	v := farm.Visit{ID: int64(date.YearDay()), Bed: b, Pest: p.Key, Unit: p.Units[0].Key, Date: date, Stratum: farm.Random}
	for i := range 10 {
		n := each
		if each > 0 {
			n += i%3 - 1 // each on average, or nearly
		}
		v.Counts = append(v.Counts, farm.UnitCount{Count: n, Seen: true})
	}
	return v
}

// judged is the assessment of a bed in bud from its visits.
func judged(b farm.Bed, p assess.Pest, visits ...farm.Visit) assess.Assessment {
	a, err := assess.Assess(assess.Input{Today: today, Bed: b, Stage: farm.Budding, Pest: p, Visits: visits})
	if err != nil {
		panic(err)
	}
	return a
}

// found is a bed with so many animals per unit, counted on a day.
func found(code string, p assess.Pest, date civil.Date, each int) assess.Assessment {
	return judged(bed(code), p, visit(code, p, date, each))
}

func actions() map[string][]week.Action {
	step := func(pest, key string, rung week.Rung, level string, within int) week.Action {
		return week.Action{Key: pest + "_" + key, Pest: pest, Rung: rung, Level: level, WithinDays: within, Text: "Step " + key + ".", Why: "it helps", Ref: common}
	}
	// Deliberately not in the order of the ladder.
	slug := []week.Action{
		step("slug", "bait", week.Product, "act", 2), step("slug", "worms", week.Biological, "act", 2), step("slug", "pick", week.Cultural, "act", 0),
		step("slug", "boards", week.Cultural, "watch", 2), step("slug", "litter", week.Prevention, "prevent", -1), step("slug", "sticks", week.Cultural, "act", -1),
	}
	slug[1].Agent, slug[2].Safety = "worms", "torch"
	mite := []week.Action{
		step("mite", "water", week.Prevention, "prevent", -1), step("mite", "jet", week.Cultural, "act", 3),
		step("mite", "early", week.Biological, "watch", 7), step("mite", "release", week.Biological, "act", 3), step("mite", "soap", week.Product, "act", 3),
	}
	mite[2].Agent, mite[3].Agent = "cool", "hot"
	return map[string][]week.Action{"slug": slug, "mite": mite}
}

func agents() map[string][]week.AgentOffer {
	rate := func(key, name string, releases int) []week.AgentOffer {
		return []week.AgentOffer{{Use: "curative", Rate: schedule.AgentRate{Agent: key, Name: name, Kind: schedule.PerM2, Rate: 5, RateMax: 10, Releases: releases,
			IntervalDays: 7, LeadDays: 5, CheckDays: []int{7, 14}, CheckFor: "look for eggs", Basis: "common practice"}}}
	}
	return map[string][]week.AgentOffer{"worms": rate("worms", "slug worms", 1), "cool": rate("cool", "cool mites", 1), "hot": rate("hot", "hot mites", 2)}
}

// wait is the side-effect table: soap harms mites for 7 days and worms not at
// all, iron harms nothing, oil harms all for 30 days, and nothing is known of mystery.
func wait(active, agent string) (int, bool) {
	switch active {
	case "soap":
		return map[string]int{"cool": 7, "hot": 7, "worms": 0}[agent], true
	case "oil":
		return 30, true
	case "iron":
		return 0, true
	}
	return 0, false
}

// read is an invented label on which every field was read.
func read(key, active string, pests ...string) farm.Label {
	return testkit.Read(farm.Label{
		Key: key, Version: 1, Product: "Invented " + key, Entered: day("2026-01-05"),
		Registration: farm.Value("00000-0"), UseClass: farm.Value("general"), SignalWord: farm.Value("caution"),
		Actives:     []farm.Active{{Name: active, Percent: 1, Group: farm.None[string](), Max: farm.None[units.Quantity]()}},
		Formulation: farm.Value("dry bait"), Organic: farm.Value("listed"),
		Sites: []farm.LabelSite{{Where: farm.Outdoor, Crop: "ornamentals"}}, Pests: pests,
		Method: farm.Value("scatter"), Expiry: farm.None[civil.Date](),
		RateMin: farm.None[units.Quantity](), RateMax: farm.Value(units.Of(5, "g/m2")),
		MinIntervalDays: farm.None[int](), ReapplyByDays: farm.None[int](), ReapplyWhen: farm.None[string](),
		MaxApplications: farm.None[int](), MaxInWindow: farm.None[farm.Window](), MaxAmount: farm.None[units.Quantity](),
		REIHours: farm.Value(4.0), PHIDays: farm.None[int](), RainfastH: farm.None[float64](),
		MaxTempC: farm.None[float64](), MinTempC: farm.None[float64](), MaxWindMS: farm.None[float64](),
		Bees: farm.None[string](), WaterBuffer: farm.None[float64](), Animals: farm.None[string](), PPE: farm.Value("gloves"), NoKeepApart: true,
	})
}

func bait() farm.Label { return read("bait", "iron", "slug") }
func soap() farm.Label { return read("soap", "soap", "mite") }

// put is an application that ended at 18:00 of a date.
func put(id int64, b string, l farm.Label, pest, date string) farm.Treatment {
	end := day(date).In(ny).Add(18 * time.Hour)
	return farm.Treatment{ID: id, Bed: b, Label: l.Key, Pest: pest, Date: day(date), Start: end.Add(-time.Hour), End: end, EndKnown: true, Amount: units.Of(20, "g"), AreaM2: 10}
}

func input(as ...assess.Assessment) week.Input {
	in := week.Input{
		Today: today, Farm: farm.Farm{Name: "Invented farm", Country: "US"}, Zone: ny, Assessments: as, Stages: map[string]farm.Stage{},
		Actions: actions(), Agents: agents(), Wait: wait, Weather: map[civil.Date]farm.WeatherDay{}, Versions: map[int64]farm.Label{},
		ProductSafety: func(farm.Label) []string { return []string{"product"} },
		Safety:        map[string]week.Safety{"torch": {Line: "Mind your step at night."}, "product": {Line: "Read the label."}},
	}
	for _, a := range as {
		if !slices.ContainsFunc(in.Beds, func(b farm.Bed) bool { return b.Code == a.Bed.Code }) {
			in.Beds = append(in.Beds, a.Bed)
		}
		for _, r := range a.Readings {
			in.Visits = append(in.Visits, *r.Visit)
		}
	}
	return in
}

// treated records applications under labels as they stand.
func treated(in *week.Input, ls []farm.Label, ts ...farm.Treatment) {
	in.Treatments, in.Versions = ts, map[int64]farm.Label{}
	for _, t := range ts {
		for _, l := range ls {
			if l.Key == t.Label {
				in.Versions[t.ID] = l
			}
		}
	}
}

// build makes a list and checks what must hold of every list.
func build(t require.TestingT, in week.Input, prev *week.List) week.List {
	l := week.Build(in, prev)
	sane(t, in, l)
	return l
}

func sane(t require.TestingT, in week.Input, l week.List) {
	require.Equal(t, in.Today, l.Today)
	refs, section, rung, pest := map[string]bool{}, 0, week.Rung(0), ""
	for i, x := range l.Lines {
		require.Equal(t, i+1, x.Number, "numbers run on in print order")
		got, ok := l.Line(x.Number)
		require.True(t, ok)
		require.Equal(t, x.Ref, got.Ref)
		require.False(t, refs[x.Ref], "%s comes twice", x.Ref)
		refs[x.Ref] = true
		s := slices.Index(week.Sections, x.Section)
		require.GreaterOrEqual(t, s, section, "sections in print order")
		section = s
		if x.Section == week.Do {
			if x.Pest == pest {
				require.GreaterOrEqual(t, x.Rung, rung, "the ladder of %s is climbed from its foot", x.Pest)
			}
			pest, rung = x.Pest, x.Rung
		}
		require.True(t, x.By.IsZero() || !x.By.Before(in.Today), "%s is due on %s, before today", x.Ref, x.By)
		require.False(t, !x.By.IsZero() && x.From.After(x.By), "%s begins on %s and ends on %s", x.Ref, x.From, x.By)
		require.NotEmpty(t, x.Beds, x.Ref)
		require.Len(t, slices.Compact(slices.Sorted(slices.Values(x.Beds))), len(x.Beds), "a bed comes twice in %s", x.Ref)
		require.NotEmpty(t, x.Head)
		if x.Section == week.Do || x.Section == week.Avoid {
			for _, b := range x.Beds {
				require.True(t, slices.ContainsFunc(x.Traces, func(tr week.Trace) bool { return tr.Bed == b && tr.Rule != "" }), "%s has no trace for %s", x.Ref, b)
			}
			require.NotEmpty(t, x.Why, x.Ref)
		}
		if x.Section == week.Do {
			require.NotEmpty(t, x.Record, "%s cannot be recorded", x.Ref)
		}
		words := slices.Concat([]string{x.Head, x.Why, x.Record}, x.Details, x.Safety)
		for _, tr := range x.Traces {
			words = append(append(words, tr.Rule), tr.Facts...)
		}
		for _, w := range words {
			require.NotContains(t, w, "%!", x.Ref)
			require.NotContains(t, w, "  ", x.Ref)
			require.NotContains(t, w, "{", x.Ref)
			require.NotContains(t, w, "NaN", x.Ref)
			require.Equal(t, strings.TrimSpace(w), w, x.Ref)
		}
	}
	_, ok := l.Line(0)
	require.False(t, ok)
	_, ok = l.Line(len(l.Lines) + 1)
	require.False(t, ok)
	for _, q := range l.Quiet {
		require.Equal(t, verdict.Hold, q.Result.Verdict)
	}
}

// text is the list as plain words, for golden files and comparisons.
func text(l week.List) string {
	var b strings.Builder
	for _, s := range week.Sections {
		for _, x := range l.In(s) {
			fmt.Fprintf(&b, "%2d %s | %s | %s | %s..%s", x.Number, s, x.Ref, strings.Join(x.Beds, " "), x.From, x.By)
			if x.Again {
				b.WriteString(" | again")
			}
			fmt.Fprintf(&b, "\n   %s\n", x.Head)
			for _, d := range x.Details {
				fmt.Fprintf(&b, "   - %s\n", d)
			}
			for _, d := range x.Safety {
				fmt.Fprintf(&b, "   ! %s\n", d)
			}
			fmt.Fprintf(&b, "   why: %s\n", x.Why)
			if x.Record != "" {
				fmt.Fprintf(&b, "   record: %s\n", x.Record)
			}
			for _, tr := range x.Traces {
				fmt.Fprintf(&b, "   trace %s: %s [%s]\n", tr.Bed, tr.Rule, strings.Join(tr.Facts, " / "))
			}
		}
	}
	for _, c := range l.Closed {
		fmt.Fprintf(&b, "closed %s %s %s..%s\n", c.Bed, c.Product, c.From.In(ny).Format(time.RFC3339), c.Until.In(ny).Format(time.RFC3339))
	}
	for _, q := range l.Quiet {
		fmt.Fprintf(&b, "quiet %s %s %s\n", q.Bed.Code, q.Pest.Key, q.Result.Rule)
	}
	return b.String()
}

// refs lists the lines of a section by their stable names.
func refs(l week.List, s week.Section) []string {
	out := []string{}
	for _, x := range l.In(s) {
		out = append(out, x.Ref)
	}
	return out
}

func line(t testing.TB, l week.List, ref string) week.Line {
	t.Helper()
	i := slices.IndexFunc(l.Lines, func(x week.Line) bool { return x.Ref == ref || strings.HasPrefix(x.Ref, ref+":") })
	require.GreaterOrEqual(t, i, 0, "no line %s in\n%s", ref, text(l))
	return l.Lines[i]
}

func has(l week.List, ref string) bool {
	return slices.ContainsFunc(l.Lines, func(x week.Line) bool { return strings.HasPrefix(x.Ref, ref) })
}

// asks puts the question of a product line to the label rules, written anew.
func asks(in week.Input, a assess.Assessment, l farm.Label) label.Decision {
	labels := map[string]farm.Label{}
	for _, x := range in.Labels {
		labels[x.Key] = x
	}
	r := label.Request{Label: label.SeasonAsYear(l), Labels: labels, Bed: a.Bed, Pest: a.Pest.Key, Date: in.Today, Loc: in.Zone, History: in.Treatments, Organic: in.Farm.Organic,
		Versions: in.Versions, CycleStart: in.Planted[a.Bed.Code], ActiveKey: in.ActiveKey, Apart: in.Apart}
	r = week.ReadLadder(week.LadderInput{Bed: a.Bed.Code, Pest: a.Pest.Key, Stage: a.Stage, Today: in.Today, Actions: in.Actions[a.Pest.Key], Done: in.Done, Releases: in.Releases,
		Possible: func(agent string) bool { return week.Possible(in.Agents[agent], in.Farm.Country) }}).Ask(r)
	r.Bloom, r.Ground = label.Flowering(a.Stage, farm.FlowersOn(in.Done, a.Bed.Code, in.Today))
	if w, ok := in.Weather[in.Today]; ok {
		r.Weather = &w
	}
	return label.Plan(r)
}
