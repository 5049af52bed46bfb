package week_test

import (
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/units"
	"leafturn/internal/verdict"
	"leafturn/internal/week"
)

// Over the action level: prevention first, then work by hand, natural enemies,
// and a product last. Directive 2009/128/EC annex III; 7 CFR 205.206.
func TestBuild_Ladder(t *testing.T) {
	in := input(found("B1", slugs(), today, 9))
	in.Labels = []farm.Label{bait()}
	l := build(t, in, nil)
	require.Equal(t, []string{"do:slug:prevention", "do:slug:slug_pick", "do:slug:slug_boards", "do:slug:slug_sticks", "do:slug:label:bait"}, refs(l, week.Do))
	require.Equal(t, []string{"order:slug:slug_worms"}, refs(l, week.Order))

	require.Equal(t, today, line(t, l, "do:slug:slug_pick").By, "0 days after the count is the same day")
	require.Equal(t, today.AddDays(2), line(t, l, "do:slug:slug_boards").By)
	require.True(t, line(t, l, "do:slug:slug_sticks").By.IsZero(), "no limit, no date")
	require.Equal(t, []string{"Mind your step at night."}, line(t, l, "do:slug:slug_pick").Safety)
	require.Equal(t, "leafturn did slug pick B1", line(t, l, "do:slug:slug_pick").Record)
	p := line(t, l, "do:slug:label:bait")
	require.False(t, p.By.Before(line(t, l, "do:slug:slug_boards").By), "the product is not due before the lower steps")
	require.Contains(t, p.Details, "B1 (10 m²): at most 50 g") // 5 g/m² on 10 m²
	require.Contains(t, p.Details, "re-entry: keep out for 4 hours after the end")
	require.Equal(t, []string{"Read the label."}, p.Safety)
	require.Contains(t, p.Traces[0].Facts[0], "label bait, version 1, transcribed 2026-01-05")

	in.Actions["slug"][3].WithinDays = 6
	require.Equal(t, today.AddDays(6), line(t, build(t, in, nil), "do:slug:label:bait").By, "no sooner than the slowest lower step")

	// A count of five days before: the day is past, so it is due today.
	in = input(found("B1", slugs(), today.AddDays(-5), 9))
	require.Equal(t, today, line(t, build(t, in, nil), "do:slug:slug_boards").By)

	// A step that was recorded since the count is gone, one from before is not.
	in.Done = []farm.Done{{Bed: "B1", Pest: "slug", Action: "slug_boards", Date: today.AddDays(-4)}, {Bed: "B1", Pest: "slug", Action: "slug_pick", Date: today.AddDays(-6)}}
	l = build(t, in, nil)
	require.False(t, has(l, "do:slug:slug_boards"))
	require.True(t, has(l, "do:slug:slug_pick"))

	// Prevention that was recorded stays out for four weeks.
	in.Done = []farm.Done{{Bed: "B1", Pest: "slug", Action: "slug_litter", Date: today.AddDays(-28)}}
	require.False(t, has(build(t, in, nil), "do:slug:prevention"))
	in.Done[0].Date = today.AddDays(-29)
	require.True(t, has(build(t, in, nil), "do:slug:prevention"))
}

func TestBuild_WatchLevel(t *testing.T) {
	l := build(t, input(found("B1", slugs(), today, 3)), nil) // between watch 2 and act 5
	require.Equal(t, []string{"do:slug:prevention", "do:slug:slug_boards"}, refs(l, week.Do))
	require.Empty(t, l.In(week.Order))
	require.Empty(t, l.In(week.Avoid))

	few := visit("B1", slugs(), today, 3)
	few.Counts = few.Counts[:3] // 5 are needed
	l = build(t, input(judged(bed("B1"), slugs(), few)), nil)
	require.Empty(t, l.In(week.Do), "too few units say nothing of the watch level either")

	require.Empty(t, build(t, input(found("B1", slugs(), today, 0)), nil).In(week.Do))
}

// A stage outside a step's span leaves it out.
func TestBuild_StageOfSteps(t *testing.T) {
	in := input(found("B1", slugs(), today, 9))
	for i := range in.Actions["slug"] {
		in.Actions["slug"][i].From = farm.Bloom
	}
	require.Empty(t, refs(build(t, in, nil), week.Do))
	require.False(t, has(build(t, in, nil), "not:slug:no-label"), "where no product is a step at this stage, no label is asked for")
}

// Lines of several beds are one line; pests stand together, the most pressing
// first.
func TestBuild_Merge(t *testing.T) {
	in := input(found("B1", mites(), today, 9), found("B1", slugs(), today, 9), found("B2", slugs(), today, 9), found("A1", slugs(), today.AddDays(-1), 0))
	l := build(t, in, nil)
	pick := line(t, l, "do:slug:slug_pick")
	require.Equal(t, []string{"B1", "B2"}, pick.Beds)
	require.Equal(t, "leafturn did slug pick B1 B2", pick.Record)
	require.Len(t, pick.Traces, 2)
	require.Contains(t, pick.Why, "B1 ")
	require.Contains(t, pick.Why, "B2 ")
	do := l.In(week.Do)
	require.Equal(t, "slug", do[0].Pest, "picking slugs is due today, the first step against mites in three days")
	i := slices.IndexFunc(do, func(x week.Line) bool { return x.Pest == "mite" })
	for _, x := range do[i:] {
		require.Equal(t, "mite", x.Pest, "pests are not mixed")
	}
}

// Natural enemies that hold: no steps, and the bed is listed as quiet.
func TestBuild_EnemiesHold(t *testing.T) {
	v := visit("B1", mites(), today, 9)
	v.Enemies = []farm.EnemyCount{{Enemy: "predmite", Count: 20}}
	a := judged(bed("B1"), mites(), v)
	require.Equal(t, verdict.RuleEnemies, a.Result.Rule)
	in := input(a)
	in.Labels = []farm.Label{soap()}
	l := build(t, in, nil)
	require.Empty(t, l.In(week.Do))
	require.Empty(t, l.In(week.Order))
	require.Len(t, l.Quiet, 1)
	require.Equal(t, today.AddDays(5), line(t, l, "scout:mite:leaf:round").By, "recount in 5 to 7 days")
}

// A hot spot alone: hand work and natural enemies, no product, and no crash
// where the bed itself was never counted.
func TestBuild_HotSpot(t *testing.T) {
	spot := visit("B1", mites(), today.AddDays(-2), 60)
	spot.Stratum, spot.ID = farm.HotSpot, 900
	for name, a := range map[string]assess.Assessment{
		"never counted": judged(bed("B1"), mites(), spot),
		"low elsewhere": judged(bed("B1"), mites(), visit("B1", mites(), today.AddDays(-3), 0), spot),
	} {
		require.True(t, a.HotSpotAct, name)
		in := input(a)
		in.Labels = []farm.Label{soap()}
		l := build(t, in, nil)
		jet := line(t, l, "do:mite:mite_jet")
		require.Equal(t, today.AddDays(1), jet.By, "three days after the look at the spot")
		require.Equal(t, "B1 hot spot with 60 mites per leaf", jet.Why)
		require.True(t, has(l, "order:mite:mite_release"))
		require.False(t, has(l, "do:mite:label"), "no product for the whole bed from one spot")
		in.Done = []farm.Done{{Bed: "B1", Pest: "mite", Action: "mite_jet", Date: today.AddDays(-3)}}
		require.True(t, has(build(t, in, nil), "do:mite:mite_jet"), "done before the spot was seen")
		in.Done[0].Date = today.AddDays(-2)
		require.False(t, has(build(t, in, nil), "do:mite:mite_jet"))
	}
}

// An invalid last look gives no steps, a count again, and no hold.
func TestBuild_Invalid(t *testing.T) {
	p := slugs()
	p.Units[0].Needs = verdict.Needs{SoilMoist: true}
	dry := visit("B1", p, today, 0)
	dry.Conditions.Soil = farm.Dry
	l := build(t, input(judged(bed("B1"), p, dry)), nil)
	require.Empty(t, l.In(week.Do))
	require.Empty(t, l.Quiet)
	require.Contains(t, line(t, l, "scout:slug").Why, "not valid: the soil surface was dry")
	require.Contains(t, line(t, l, "scout:slug").Details, "valid only when the soil surface is moist")
}

func TestBuild_Nothing(t *testing.T) {
	l := build(t, week.Input{Today: today, Zone: ny}, nil)
	require.Empty(t, l.Lines)
	require.Empty(t, l.Quiet)
	require.Empty(t, week.Upcoming(week.Input{Today: today, Zone: ny}))
}

func TestScouting(t *testing.T) {
	near := found("B1", slugs(), today.AddDays(-1), 5)
	require.Equal(t, verdict.RuleNear, near.Result.Rule)
	by := func(l week.List, ref string) int { return line(t, l, ref).By.Sub(today) }

	l := build(t, input(near), nil)
	x := line(t, l, "scout:slug:trap:recount")
	require.True(t, x.By.Sub(today.AddDays(-1)) >= 2 && x.By.Sub(today.AddDays(-1)) <= 4, "near the level: again in 2 to 4 days")
	require.Equal(t, "too near the action level to judge", x.Why)
	require.Equal(t, "Slugs: 10 traps a bed", x.Head)

	require.Equal(t, 7, found("B1", slugs(), today, 0).Result.RecheckInDays)
	require.Equal(t, 2, by(build(t, input(found("B1", slugs(), today.AddDays(-5), 0)), nil), "scout:slug:trap:round"), "7 days after the last count")
	require.False(t, has(build(t, input(found("B1", slugs(), today, 0)), nil), "scout"), "counted today, not due within this week")
	require.Equal(t, 0, by(build(t, input(found("B1", slugs(), today.AddDays(-30), 0)), nil), "scout:slug:trap:round"), "stale: overdue is today")

	// After a step: 5 to 7 days, counted from the step.
	in := input(found("B1", slugs(), today.AddDays(-4), 9))
	in.Labels = []farm.Label{bait()}
	treated(&in, in.Labels, put(1, "B1", bait(), "slug", "2026-07-10"))
	l = build(t, in, nil)
	after := line(t, l, "scout:slug:trap:after")
	require.True(t, after.By.Sub(day("2026-07-10")) >= 5 && after.By.Sub(day("2026-07-10")) <= 7)
	require.Contains(t, after.Why, "Fri 10 Jul")

	// Hand work moves the recount as well; prevention, an order of natural
	// enemies and a day still to come do not.
	hand := input(found("B1", slugs(), today.AddDays(-4), 9))
	hand.Done = []farm.Done{{Bed: "B1", Pest: "slug", Action: "slug_pick", Date: today.AddDays(-2)}}
	up := week.Upcoming(hand)
	require.Len(t, up, 1)
	require.Equal(t, today.AddDays(5), up[0].By, "7 days after the step, not after the count")
	require.Equal(t, "to see whether the step of "+today.AddDays(-2).Short()+" worked", up[0].Reason)
	for name, d := range map[string]farm.Done{
		"prevention":       {Bed: "B1", Pest: "slug", Action: "slug_litter", Date: today.AddDays(-2)},
		"to come":          {Bed: "B1", Pest: "slug", Action: "slug_pick", Date: today.AddDays(1)},
		"before the count": {Bed: "B1", Pest: "slug", Action: "slug_pick", Date: today.AddDays(-5)},
		"another bed":      {Bed: "B2", Pest: "slug", Action: "slug_pick", Date: today.AddDays(-2)},
		"another pest":     {Bed: "B1", Pest: "mite", Action: "mite_jet", Date: today.AddDays(-2)},
	} {
		hand.Done = []farm.Done{d}
		require.Equal(t, "over the action level at the last count", week.Upcoming(hand)[0].Reason, name)
	}
	ordered := input(found("B1", mites(), today.AddDays(-2), 9))
	before := week.Upcoming(ordered)
	ordered.Done = []farm.Done{{Bed: "B1", Pest: "mite", Action: "mite_early", Date: today.AddDays(-1)}}
	require.Equal(t, before[0].Reason, week.Upcoming(ordered)[0].Reason, "an order is not a step")

	// Rising over the watch level: sooner than the round.
	a := judged(bed("B1"), slugs(), visit("B1", slugs(), today.AddDays(-8), 2), visit("B1", slugs(), today.AddDays(-1), 3))
	require.LessOrEqual(t, by(build(t, input(a), nil), "scout:slug:trap:recount"), 3)

	// Out of season nothing is due.
	p := slugs()
	p.InSeason = false
	require.False(t, has(build(t, input(found("B1", p, today.AddDays(-9), 0)), nil), "scout"))
}

// One bed for each block that was never counted; none where one was.
func TestScouting_NeverCounted(t *testing.T) {
	big := bed("A2")
	big.Plants = 90
	in := input(judged(bed("A1"), slugs()), judged(big, slugs()), judged(bed("A3"), slugs()), judged(bed("B2"), slugs()), judged(bed("B1"), slugs()),
		judged(bed("C1"), slugs()), found("C2", slugs(), today.AddDays(-2), 0))
	l := build(t, in, nil)
	x := line(t, l, "scout:slug:trap:never")
	require.Equal(t, []string{"A2", "B1"}, x.Beds, "the largest, else the first by code; block C was counted")
	require.Equal(t, today.AddDays(6), x.By)
	require.Contains(t, x.Details[0], "any one bed of the block")

	up := week.Upcoming(in)
	require.True(t, slices.IsSortedFunc(up, func(x, y week.Due) int { return x.By.Compare(y.By) }))
	require.Len(t, up, 3, "C2, A2 and B1")
}

// full is a farm with something of everything.
func full() week.Input {
	v := visit("B3", mites(), today.AddDays(-1), 9)
	v.Enemies = []farm.EnemyCount{{Enemy: "predmite", Count: 20}}
	in := input(found("B1", slugs(), today.AddDays(-1), 9), found("B2", slugs(), today, 9), found("B3", slugs(), today.AddDays(-2), 4), judged(bed("C1"), slugs()),
		found("B1", mites(), today.AddDays(-3), 9), found("B2", mites(), today.AddDays(-1), 3), judged(bed("B3"), mites(), v), found("C1", mites(), today.AddDays(-1), 9))
	flowering := soap()
	flowering.Bees = farm.Value(farm.BeesNoBloom)
	gap := read("paste", "mystery", "mite")
	gap.PHIDays = farm.Stated[int]{}
	in.Labels = []farm.Label{bait(), flowering, gap}
	wide := bait()
	wide.REIHours, wide.PHIDays = farm.Value(48.0), farm.Value(7)
	late := put(5, "B2", wide, "earwig", "2026-07-12")
	in.Treatments = []farm.Treatment{late}
	in.Versions = map[int64]farm.Label{5: wide}
	in.Releases = []farm.Release{{ID: 1, Bed: "C1", Agent: "hot", Pest: "mite", Date: today.AddDays(-6), Amount: 50}}
	in.Done = []farm.Done{{Bed: "B2", Pest: "mite", Action: "mite_early", Date: today.AddDays(-4)}, {Bed: "B1", Pest: farm.Flowers, Action: farm.FlowersOpen, Date: today}}
	return in
}

// The list is the same for the same input, and for its records, beds and
// labels in any order.
func TestBuild_Deterministic(t *testing.T) {
	prevIn := full()
	prevIn.Today = today.AddDays(-7)
	prev := week.Build(prevIn, nil)
	want := text(build(t, full(), &prev))
	rng := rand.New(rand.NewPCG(1, 2))
	for range 20 {
		in := full()
		shuffle(rng, in.Beds)
		shuffle(rng, in.Visits)
		shuffle(rng, in.Labels)
		shuffle(rng, in.Treatments)
		shuffle(rng, in.Releases)
		shuffle(rng, in.Done)
		require.Equal(t, want, text(build(t, in, &prev)))
	}
}

func shuffle[T any](rng *rand.Rand, s []T) {
	rng.Shuffle(len(s), func(i, j int) { s[i], s[j] = s[j], s[i] })
}

// Build does not touch what it was given.
func TestBuild_InputUntouched(t *testing.T) {
	in, same := full(), full()
	prev := week.Build(in, nil)
	keep := text(prev)
	week.Build(in, &prev)
	require.Equal(t, keep, text(prev))
	require.Equal(t, same.Actions, in.Actions)
	require.Equal(t, same.Labels, in.Labels)
	require.Equal(t, same.Treatments, in.Treatments)
	require.Equal(t, same.Done, in.Done)
	require.Equal(t, same.Visits, in.Visits)
}

func TestBuild_Golden(t *testing.T) {
	prevIn := full()
	prevIn.Today, prevIn.Done, prevIn.Treatments, prevIn.Releases = today.AddDays(-7), nil, nil, nil
	prevIn.Assessments = []assess.Assessment{found("B3", slugs(), today.AddDays(-7), 9), found("B2", slugs(), today.AddDays(-7), 9)}
	prev := week.Build(prevIn, nil)
	got := text(build(t, full(), &prev))
	const file = "testdata/full.txt"
	if os.Getenv("UPDATE_GOLDEN") == "1" {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err, "write it with UPDATE_GOLDEN=1")
	require.Equal(t, strings.ReplaceAll(string(want), "\r\n", "\n"), got)
}

// What stood in last week's list and was not recorded is listed once, or
// marked where this week gives it again; what was recorded is gone.
func TestLeftUndone(t *testing.T) {
	then := today.AddDays(-7)
	before := func(as ...assess.Assessment) *week.List {
		in := input(as...)
		in.Today, in.Labels = then, []farm.Label{bait()}
		l := build(t, in, nil)
		return &l
	}
	prev := before(found("B1", slugs(), then, 9), found("B2", slugs(), then, 9))
	require.True(t, has(*prev, "do:slug:label:bait"))

	// B1 is quiet now and B2 still over the level.
	in := input(found("B1", slugs(), today, 0), found("B2", slugs(), today, 9))
	in.Labels = []farm.Label{bait()}
	l := build(t, in, prev)
	left := l.In(week.Left)
	require.Len(t, left, 1, "one line a pest")
	require.Equal(t, []string{"B1"}, left[0].Beds)
	require.Equal(t, "Slugs, in the list of Mon 6 Jul and not recorded", left[0].Head)
	require.Contains(t, strings.Join(left[0].Details, "\n"), "step pick: B1 (now hold: no longer called for)")
	require.NotContains(t, strings.Join(left[0].Details, "\n"), "Prevention", "habits are not left undone")
	for _, ref := range []string{"do:slug:slug_pick", "do:slug:label:bait", "order:slug:slug_worms"} {
		x := line(t, l, ref)
		require.Equal(t, []string{"B2"}, x.Beds)
		require.True(t, x.Again, ref)
		require.NotContains(t, strings.Join(left[0].Details, "\n"), "B2", "marked there, not said twice")
	}

	// All of it recorded: each kind by its own record.
	in.Done = []farm.Done{{Bed: "B1", Pest: "slug", Action: "slug_pick", Date: then}, {Bed: "B1", Pest: "slug", Action: "slug_boards", Date: today}, {Bed: "B1", Pest: "slug", Action: "slug_sticks", Date: then.AddDays(1)}}
	in.Treatments = []farm.Treatment{put(1, "B1", bait(), "slug", "2026-07-08")}
	in.Releases = []farm.Release{{Bed: "B1", Pest: "slug", Agent: "worms", Date: today}}
	require.Empty(t, build(t, in, prev).In(week.Left))

	// A record from before that list, or dated after today, does not count.
	in.Done[0].Date = then.AddDays(-1)
	require.Contains(t, strings.Join(line(t, build(t, in, prev), "left:slug").Details, "\n"), "step pick: B1")
	in.Done[0].Date = today.AddDays(1)
	require.True(t, has(build(t, in, prev), "left:slug"))

	// A count that was asked for and not made is marked where it is asked again.
	prev = before(found("B1", slugs(), then.AddDays(-7), 0))
	require.True(t, has(*prev, "scout:slug"))
	l = build(t, input(found("B1", slugs(), then.AddDays(-7), 0)), prev)
	require.Empty(t, l.In(week.Left))
	require.True(t, line(t, l, "scout:slug").Again)
	l = build(t, input(found("B1", slugs(), today, 0)), prev)
	require.False(t, has(l, "left"), "counted")
}

func TestReentry(t *testing.T) {
	wide := bait()
	wide.REIHours, wide.PHIDays = farm.Value(12.0), farm.Value(5)
	on := func(date string, end string) week.Input {
		in := input(judged(bed("B1"), slugs()))
		in.Today = day(date)
		tr := put(7, "B1", wide, "slug", "2026-03-07")
		tr.End = at(end)
		tr.Start = tr.End.Add(-time.Hour)
		in.Treatments, in.Versions = []farm.Treatment{tr}, map[int64]farm.Label{7: wide}
		return in
	}
	// 12 hours from 22:00 on the night when New York's clocks skip from 2:00 to
	// 3:00 end at 11:00, not at 10:00.
	in := on("2026-03-08", "2026-03-07T22:00:00-05:00")
	l := build(t, in, nil)
	require.Len(t, l.Closed, 1)
	require.True(t, l.Closed[0].Until.Equal(at("2026-03-08T11:00:00-04:00")), l.Closed[0].Until)
	require.Equal(t, int64(7), l.Closed[0].Treatment)
	x := line(t, l, "not:enter")
	require.Contains(t, x.Details[0], "11:00")
	require.NotContains(t, x.Details[0], "10:00")
	require.Contains(t, x.Why, "re-entry interval of Invented bait")
	require.Contains(t, line(t, l, "scout:slug").Details, "B1: keep out until Sun 8 Mar 11:00 (re-entry)")

	// Closed until the instant: at midnight exactly the bed is open.
	require.Empty(t, build(t, on("2026-03-08", "2026-03-07T12:00:00-05:00"), nil).Closed)
	require.Len(t, build(t, on("2026-03-08", "2026-03-07T12:00:01-05:00"), nil).Closed, 1)

	// Days to harvest: 7 March is day 0, cutting begins on the 12th.
	l = build(t, on("2026-03-11", "2026-03-07T12:00:00-05:00"), nil)
	require.Contains(t, line(t, l, "not:harvest").Details[0], "B1: cut from Thu 12 Mar on")
	require.False(t, has(build(t, on("2026-03-12", "2026-03-07T12:00:00-05:00"), nil), "not:harvest"))

	// The version that the product was applied under counts, not today's.
	in = on("2026-03-08", "2026-03-07T22:00:00-05:00")
	short := wide
	short.Version, short.REIHours = 2, farm.Value(0.0)
	in.Labels = []farm.Label{short}
	require.Len(t, build(t, in, nil).Closed, 1)

	// A label that is gone, or a field that nobody read, keeps the bed closed.
	in = on("2026-03-20", "2026-03-07T22:00:00-05:00")
	in.Versions = nil
	l = build(t, in, nil)
	require.Contains(t, line(t, l, "not:enter").Details[0], "unknown")
	require.Contains(t, line(t, l, "not:harvest").Details[0], "nobody has read the pre-harvest interval")
	require.Contains(t, line(t, l, "scout:slug").Details, "B1: keep out until the re-entry interval has been read off the label")
}

// The longest interval that is known governs, of products applied together.
func TestReentry_LatestEnd(t *testing.T) {
	a, b := bait(), soap()
	a.REIHours, b.REIHours = farm.Value(48.0), farm.Value(4.0)
	in := input(judged(bed("B1"), slugs()))
	in.Labels = []farm.Label{a, b}
	treated(&in, in.Labels, put(1, "B1", a, "slug", "2026-07-12"), put(2, "B1", b, "mite", "2026-07-13"))
	l := build(t, in, nil)
	require.Len(t, l.Closed, 1)
	require.True(t, l.Closed[0].Until.Equal(at("2026-07-14T18:00:00-04:00")))
	require.Equal(t, "Invented bait", l.Closed[0].Product)
	require.Equal(t, int64(1), l.Closed[0].Treatment, "the one that governs, not the last")
	require.True(t, l.Closed[0].From.Equal(at("2026-07-12T18:00:00-04:00")))
}

func BenchmarkBuild(b *testing.B) {
	// 200 beds and 12 pests: a third over the action level, a label and two
	// treatments for each pest and tenth bed.
	in := week.Input{Today: today, Zone: ny, Agents: agents(), Wait: wait, Actions: map[string][]week.Action{}, Weather: map[civil.Date]farm.WeatherDay{}, Versions: map[int64]farm.Label{}, Farm: farm.Farm{Country: "US"}}
	for p := range 12 {
		facts := slugs()
		facts.Key, facts.Name = "pest"+string(rune('a'+p)), "pests "+string(rune('a'+p))
		facts.Levels = slices.Clone(facts.Levels)
		for i := range facts.Levels {
			facts.Levels[i].Measure = facts.Key
		}
		facts.Units = slices.Clone(facts.Units)
		facts.Units[0].Measure = facts.Key
		for _, x := range actions()["slug"] {
			x.Pest = facts.Key
			in.Actions[facts.Key] = append(in.Actions[facts.Key], x)
		}
		l := bait()
		l.Key, l.Pests = "bait"+facts.Key, []string{facts.Key}
		in.Labels = append(in.Labels, l)
		for i := range 200 {
			code := "B" + string(rune('A'+i/26)) + string(rune('A'+i%26))
			a := found(code, facts, today.AddDays(-i%7), []int{0, 4, 9}[(i+p)%3])
			in.Assessments = append(in.Assessments, a)
			in.Visits = append(in.Visits, *a.Decider.Visit)
			if p == 0 {
				in.Beds = append(in.Beds, a.Bed)
			}
			if i%10 == 0 {
				for k := range 2 {
					in.Treatments = append(in.Treatments, put(int64(len(in.Treatments)+1), code, l, facts.Key, today.AddDays(-20-20*k).String()))
				}
			}
		}
	}
	var n int
	for b.Loop() {
		n = len(week.Build(in, nil).Lines)
	}
	b.ReportMetric(float64(n), "lines")
}

func TestQuantitiesRoundTheSafeWay(t *testing.T) {
	in := input(found("B1", slugs(), today, 9))
	l := bait()
	l.RateMax, l.RateMin = farm.Value(units.Of(5.019, "g/m2")), farm.Value(units.Of(3.011, "g/m2"))
	in.Labels = []farm.Label{l}
	require.Contains(t, line(t, build(t, in, nil), "do:slug:label:bait").Details, "B1 (10 m²): 30.2 to 50.1 g", "a minimum up, a maximum down")
}
