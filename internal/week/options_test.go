package week_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/effect"
	"leafturn/internal/farm"
	"leafturn/internal/schedule"
	"leafturn/internal/week"
)

func option(t *testing.T, all []week.Option, key string) week.Option {
	t.Helper()
	i := slices.IndexFunc(all, func(o week.Option) bool { return o.Key == key })
	require.GreaterOrEqual(t, i, 0, "%s among %+v", key, all)
	return all[i]
}

// What is open does not hang on the counts: hand work today, natural enemies
// when they have come, a product as its label allows. The rest says why not.
func TestOptions(t *testing.T) {
	a := found("A1", mites(), day("2026-07-13"), 1)
	in := input(a)
	all := week.Options(in, &a)
	jet := option(t, all, "mite_jet")
	require.Equal(t, today, jet.Day)
	require.Equal(t, week.Cultural, jet.Rung)
	hot := option(t, all, "agent:hot")
	require.Equal(t, today.AddDays(7), hot.Day, "five days from the order on, and the Monday after, as no parcel comes on a Saturday")
	require.Equal(t, 50.0, hot.Count, "5 for each of 10 m²")
	require.Zero(t, hot.PerPest)
	none := option(t, all, "label")
	require.False(t, none.Open())
	require.Contains(t, none.Why[0], "no label that lists mites")
	require.NotEmpty(t, none.LookUp)
	require.False(t, slices.ContainsFunc(all, func(o week.Option) bool { return o.Rung == week.Prevention }), "prevention is no step")

	// Ordered: they come so many days after the order, today at the soonest.
	in.Done = []farm.Done{{Bed: "A1", Pest: "mite", Action: "mite_release", Date: day("2026-07-10")}}
	hot = option(t, week.Options(in, &a), "agent:hot")
	require.Equal(t, day("2026-07-15"), hot.Day)
	require.Contains(t, hot.Notes, "ordered on Fri 10 Jul")

	// A rate per mite needs no leaves to be told from when on it is open.
	in.Done = nil
	in.Agents["hot"] = []week.AgentOffer{{Use: "curative", Rate: schedule.AgentRate{Agent: "hot", Name: "hot mites", Kind: schedule.Ratio, Rate: 0.25, Releases: 1, LeadDays: 5, Basis: "common practice"}}}
	hot = option(t, week.Options(in, &a), "agent:hot")
	require.True(t, hot.Open())
	require.Zero(t, hot.Count)
	require.Equal(t, 0.25, hot.PerPest)

	// Not allowed in the country, and where the country is not known.
	in.Agents["hot"][0].NotIn, in.Agents["hot"][0].Permit = []string{"GB"}, "not sold here"
	in.Farm.Country = "GB"
	hot = option(t, week.Options(in, &a), "agent:hot")
	require.False(t, hot.Open())
	require.Equal(t, []string{"not sold here"}, hot.Why)
	in.Farm.Country = ""
	hot = option(t, week.Options(in, &a), "agent:hot")
	require.Contains(t, hot.LookUp[0], "farm set --country")

	// A step that has failed here is not open.
	in.Own = map[string][]effect.Own{"mite": {{Key: "mite_jet", Name: "jet", Tries: 2, Percent: 5, Low: -10, High: 20, Compared: true}}}
	require.False(t, option(t, week.Options(in, &a), "mite_jet").Open())
}

// Hand work waits until a closed bed opens; where nobody has read for how long
// it is closed, it is not open.
func TestOptions_ClosedBed(t *testing.T) {
	a := found("A1", mites(), day("2026-07-13"), 1)
	in := input(a)
	l := bait()
	l.REIHours = farm.Value(48.0)
	in.Treatments = []farm.Treatment{{ID: 1, Bed: "A1", Label: l.Key, Date: today, End: today.In(in.Zone).Add(8 * time.Hour), EndKnown: true}}
	in.Versions = map[int64]farm.Label{1: l}
	jet := option(t, week.Options(in, &a), "mite_jet")
	require.Equal(t, today.AddDays(2), jet.Day)
	require.Contains(t, jet.Notes[0], "keep out until")
	require.Contains(t, jet.Notes[0], "08:00 (re-entry)")
	require.Equal(t, today.AddDays(7), option(t, week.Options(in, &a), "agent:hot").Day, "they come when it is open again")

	l.REIHours = farm.Stated[float64]{}
	in.Versions[1] = l
	jet = option(t, week.Options(in, &a), "mite_jet")
	require.False(t, jet.Open())
	require.Contains(t, jet.Why[0], "read off the label")
	require.False(t, option(t, week.Options(in, &a), "agent:hot").Open())
}

// A label whose facts are known is open; a blank one refuses with what to look
// up, and a residue that harms what was let out refuses too.
func TestOptions_Labels(t *testing.T) {
	a := found("A1", slugs(), day("2026-07-13"), 1)
	in := input(a)
	in.Labels = []farm.Label{bait()}
	got := option(t, week.Options(in, &a), "label:bait")
	require.True(t, got.Open(), "%+v", got)
	require.Equal(t, today, got.Day)
	require.Empty(t, got.LookUp)

	blank := bait()
	blank.MinIntervalDays = farm.Stated[int]{}
	in.Labels = []farm.Label{blank}
	got = option(t, week.Options(in, &a), "label:bait")
	require.False(t, got.Open())
	require.NotEmpty(t, got.Why)
	require.NotEmpty(t, got.LookUp)
}

// coming is a forecast with the chance rising evenly from one day to 14.
func coming(from civil.Date, by7, by14 float64) week.Coming {
	c := week.Coming{From: from}
	for d := range 15 {
		p := by7 * float64(d) / 7
		if d > 7 {
			p = by7 + (by14-by7)*float64(d-7)/7
		}
		c.Within = append(c.Within, p)
	}
	return c
}

// scouted is the scouting line of a pest on the list.
func scouted(t *testing.T, in week.Input) week.Line {
	t.Helper()
	lines := week.Build(in, nil).In(week.Scout)
	require.Len(t, lines, 1)
	return lines[0]
}

// A forecast crossing before the next round brings the round forward to the
// first day with 3 chances in 10, no sooner than two days after the count; one
// that is unlikely leaves it.
func TestComing_BringsTheRoundForward(t *testing.T) {
	last := day("2026-07-13")
	a := found("A1", mites(), last, 1)
	for _, x := range []struct {
		by7  float64
		want string
		says string
	}{
		{0, "2026-07-20", ""},
		{0.49, "2026-07-20", ""},
		{0.5, "2026-07-18", "5 in 10 by Mon 20 Jul"}, // 0.5/7 a day: 0.36 on the fifth day
		{0.84, "2026-07-16", "8 in 10 by Mon 20 Jul"},
		{1, "2026-07-16", "more than 99 in 100"},
	} {
		in := input(a)
		in.Coming = map[[2]string]week.Coming{{"A1", "mite"}: coming(last, x.by7, 1)}
		due := week.Upcoming(in)
		require.Len(t, due, 1)
		require.Equal(t, day(x.want), due[0].By, "%v", x.by7)
		require.Contains(t, due[0].Reason, x.says)
		if x.says != "" {
			l := scouted(t, in)
			require.Equal(t, day(x.want), l.By)
			require.Contains(t, l.Why, "before the next round")
		}
	}
	// All at once: not on the day after the count.
	in := input(a)
	sure := coming(last, 1, 1)
	for d := 1; d < len(sure.Within); d++ {
		sure.Within[d] = 1
	}
	in.Coming = map[[2]string]week.Coming{{"A1", "mite"}: sure}
	require.Equal(t, last.AddDays(2), week.Upcoming(in)[0].By)
	// Where it is likely over already nothing is still to come.
	sure.Within[0] = 0.6
	require.Equal(t, last.AddDays(7), week.Upcoming(in)[0].By)
	// A forecast from an older count says nothing.
	in.Coming = map[[2]string]week.Coming{{"A1", "mite"}: coming(last.AddDays(-7), 1, 1)}
	require.Equal(t, last.AddDays(7), week.Upcoming(in)[0].By)
}

// A recount of a rising pest waits for the round where it is unlikely to be
// over the level by then, and only there.
func TestComing_LetsARecountWait(t *testing.T) {
	last := day("2026-07-12")
	a := judged(bed("A1"), mites(), visit("A1", mites(), last.AddDays(-7), 1), visit("A1", mites(), last, 3))
	require.True(t, a.Rising())
	require.Equal(t, last.AddDays(4), week.Upcoming(input(a))[0].By)
	for p, want := range map[float64]int{0.05: 7, 0.09: 7, 0.11: 4, 0.3: 4} {
		in := input(a)
		in.Coming = map[[2]string]week.Coming{{"A1", "mite"}: coming(last, p, 1)}
		due := week.Upcoming(in)[0]
		require.Equal(t, last.AddDays(want), due.By, "%v", p)
		require.Equal(t, want == 7, due.Reason != "rising and at the watch level")
	}
}

// A release is ordered before the counts ask for it where the pest is likely to
// pass the level and the natural enemies would take much off that; where they
// would not, nothing is ordered.
func TestComing_BringsAReleaseForward(t *testing.T) {
	last := day("2026-07-13")
	a := found("A1", mites(), last, 1)
	require.Empty(t, week.Build(input(a), nil).In(week.Order))
	for _, x := range []struct {
		without, with float64
		agent         string
		ordered       bool
	}{
		{0.7, 0.2, "cool", true},
		{0.7, 0.6, "cool", false},  // too late to win
		{0.4, 0.1, "cool", false},  // not likely without
		{0.7, 0.2, "hot", false},   // kept for the action level
		{0.7, 0.2, "worms", false}, // of another pest
	} {
		in := input(a)
		c := coming(last, x.without/2, x.without)
		c.Over, c.With, c.Agent, c.Name, c.Let = c.Within, coming(last, x.with/2, x.with).Within, x.agent, "cool mites", last.AddDays(5)
		in.Coming = map[[2]string]week.Coming{{"A1", "mite"}: c}
		orders := week.Build(in, nil).In(week.Order)
		require.Equal(t, x.ordered, len(orders) == 1, "%+v", x)
		if x.ordered {
			require.Equal(t, "order:mite:mite_early", orders[0].Ref)
			require.Contains(t, orders[0].Details, "A1: with cool mites out on Sat 18 Jul it could be over the action level on Mon 27 Jul with a chance of 2 in 10, without them of 7 in 10")
		}
	}
	// Over the watch level it is ordered anyway, and the chances stand with it.
	high := found("A1", mites(), last, 3)
	in := input(high)
	c := coming(last, 0.2, 0.4)
	c.Over, c.With, c.Agent, c.Name, c.Let = c.Within, coming(last, 0.1, 0.3).Within, "cool", "cool mites", last.AddDays(5)
	in.Coming = map[[2]string]week.Coming{{"A1", "mite"}: c}
	orders := week.Build(in, nil).In(week.Order)
	require.Len(t, orders, 1)
	require.Contains(t, strings.Join(orders[0].Details, " "), "3 in 10, without them of 4 in 10")
}
