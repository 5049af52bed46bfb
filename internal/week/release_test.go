package week_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/verdict"
	"leafturn/internal/week"
)

// Order date = release date - lead time, never in the past.
func TestRelease_Order(t *testing.T) {
	in := input(found("B1", mites(), today, 9))
	l := build(t, in, nil)
	x := line(t, l, "order:mite:mite_release")
	require.Equal(t, today.AddDays(2), x.By, "in five days, Sat 18 July, no parcel comes: five days before the Monday after")
	require.Contains(t, x.Details[0], "B1: 50 to 100 animals to let out on Mon 20 Jul") // 5 to 10 per m² on 10 m²
	require.Contains(t, x.Details[0], ", again on Mon 27 Jul")
	require.Equal(t, "order by Wed 15 Jul for a parcel on Mon 20 Jul; tell the seller that day", x.Details[1])
	require.Contains(t, x.Details, "a parcel is not to arrive at a weekend (common practice)")
	require.False(t, has(l, "order:mite:mite_early"), "one agent for a bed, that of the action level")
	require.False(t, has(l, "not:mite:early"))

	// A day too hot for the parcel is passed over too, known or forecast.
	hot := 33.0
	in.Weather[day("2026-07-20")] = farm.WeatherDay{Date: day("2026-07-20"), MaxC: &hot, Forecast: true}
	x = line(t, build(t, in, nil), "order:mite:mite_release")
	require.Equal(t, today.AddDays(3), x.By)
	require.Contains(t, x.Details[0], "Tue 21 Jul, again on Tue 28 Jul")
	in.Agents["hot"][0].Rate.LeadDays = 3 // to a Thursday
	x = line(t, build(t, in, nil), "order:mite:mite_release")
	require.Equal(t, today, x.By)
	require.Contains(t, x.Details[0], "Thu 16 Jul, again on Thu 23 Jul")

	// Between the levels the one for few mites.
	l = build(t, input(found("B1", mites(), today, 3)), nil)
	require.True(t, has(l, "order:mite:mite_early"))
	require.False(t, has(l, "order:mite:mite_release"))
}

// A harmful residue moves the release and so the order; the longest governs.
func TestRelease_Residue(t *testing.T) {
	in := input(found("B1", mites(), today, 9))
	in.Agents["hot"][0].Rate.LeadDays = 2 // to a Wednesday
	in.Labels = []farm.Label{soap()}
	treated(&in, in.Labels, put(1, "B1", soap(), "earwig", "2026-07-10"), put(2, "B1", soap(), "earwig", "2026-07-12"))
	l := build(t, in, nil)
	x := line(t, l, "order:mite:mite_release")
	require.Equal(t, day("2026-07-18"), x.By, "let out on Mon 20 July, more than 7 days after the soap of the 12th; two days to arrive")
	require.Contains(t, x.Details[0], "Mon 20 Jul")
	no := line(t, l, "not:mite:early:hot")
	require.Equal(t, "soap of Sun 12 Jul can still harm it until Sun 19 Jul (7 days)", no.Why)
	require.Contains(t, no.Details, "B1: not before Mon 20 Jul")

	oil := read("oil", "oil", "mite")
	treated(&in, []farm.Label{soap(), oil}, put(1, "B1", oil, "earwig", "2026-07-05"), put(2, "B1", soap(), "earwig", "2026-07-12"))
	require.Equal(t, "oil of Sun 5 Jul can still harm it until Tue 4 Aug (30 days)", line(t, build(t, in, nil), "not:mite:early:hot").Why, "the longest, not the last")
	treated(&in, in.Labels, put(1, "B1", soap(), "earwig", "2026-07-10"), put(2, "B1", soap(), "earwig", "2026-07-12"))

	// The version of the label under which it was applied tells the active.
	old := soap()
	old.Actives = []farm.Active{{Name: "mystery", Percent: 1}}
	in.Versions = map[int64]farm.Label{2: old}
	l = build(t, in, nil)
	require.False(t, has(l, "order:mite"))
	no = line(t, l, "not:mite:release:hot")
	require.Contains(t, no.Why, "mystery was used on 2026-07-12 and its effect on hot mites is not known")
	require.Contains(t, no.Details[0], "look up: the side effect of mystery on hot mites")
	require.True(t, has(l, "not:mite:release:cool"), "no agent can be scheduled, so each is explained")

	// A label that is gone refuses too.
	in.Labels, in.Versions = nil, nil
	require.Contains(t, line(t, build(t, in, nil), "not:mite:release:hot").Why, "its effect on hot mites is not known")

	// Another bed's treatment is no residue here.
	in.Treatments[0].Bed, in.Treatments[1].Bed = "B2", "B2"
	require.Equal(t, today, line(t, build(t, in, nil), "order:mite:mite_release").By)
}

// Ordered, let out, checked.
func TestRelease_Course(t *testing.T) {
	in := input(found("B1", mites(), today.AddDays(-3), 9))
	ordered := farm.Done{Bed: "B1", Pest: "mite", Action: "mite_release", Date: today.AddDays(-2)}
	in.Done = []farm.Done{ordered}
	l := build(t, in, nil)
	require.False(t, has(l, "order:mite"))
	out := line(t, l, "do:mite:let-out:hot")
	require.Equal(t, today.AddDays(3), out.From, "five days after the order")
	require.Equal(t, today.AddDays(4), out.By)
	require.Contains(t, out.Why, "ordered on Sat 11 Jul")
	require.Equal(t, "leafturn release hot B1 --amount N", out.Record)

	// What is on its way comes when it comes; that it may be a bad day is said.
	in.Done[0].Date = today
	out = line(t, build(t, in, nil), "do:mite:let-out:hot")
	require.Equal(t, today.AddDays(5), out.From)
	require.Contains(t, out.Details, "it may come on Sat 18 Jul: a parcel is not to arrive at a weekend (common practice); ask the seller to send it for Mon 20 Jul")

	// Late: due some days ago, so today; and no sooner than a residue allows.
	in.Done[0].Date = today.AddDays(-10)
	out = line(t, build(t, in, nil), "do:mite:let-out:hot")
	require.Equal(t, today, out.From)
	in.Labels, in.Treatments = []farm.Label{soap()}, []farm.Treatment{put(1, "B1", soap(), "earwig", "2026-07-11")}
	out = line(t, build(t, in, nil), "do:mite:let-out:hot")
	require.Equal(t, day("2026-07-18"), out.From, "soap of the 11th harms them for 7 days")

	// Treated meanwhile with something of which nothing is known: said, not passed over.
	paste := read("paste", "mystery", "mite")
	in.Labels, in.Treatments = []farm.Label{paste}, []farm.Treatment{put(1, "B1", paste, "earwig", "2026-07-11")}
	l = build(t, in, nil)
	require.False(t, has(l, "do:mite:let-out"))
	require.Contains(t, line(t, l, "not:mite:release:hot").Why, "mystery was used on 2026-07-11")

	// An order that never came is forgotten after three weeks.
	in.Labels, in.Treatments = nil, nil
	in.Done[0].Date = today.AddDays(-21)
	require.True(t, has(build(t, in, nil), "do:mite:let-out:hot"))
	in.Done[0].Date = today.AddDays(-22)
	require.True(t, has(build(t, in, nil), "order:mite:mite_release"))

	// Let out once of twice: the next is ordered in time, and let out when ordered.
	in.Releases = []farm.Release{{Bed: "B1", Pest: "mite", Agent: "hot", Date: today.AddDays(-1), Amount: 60}}
	in.Done = []farm.Done{ordered}
	l = build(t, in, nil)
	next := line(t, l, "order:mite:mite_release")
	require.Equal(t, today.AddDays(2), next.By, "8 days after the last, for no parcel comes on a Sunday, less 5 to arrive")
	for _, d := range next.Details {
		require.NotContains(t, d, "again on", "two releases in all: this is the last")
	}
	in.Done = append(in.Done, farm.Done{Bed: "B1", Pest: "mite", Action: "mite_release", Date: today})
	l = build(t, in, nil)
	require.False(t, has(l, "order:mite"))
	require.Equal(t, today.AddDays(6), line(t, l, "do:mite:let-out:hot").From)

	in.Releases = append(in.Releases, farm.Release{Bed: "B1", Pest: "mite", Agent: "hot", Date: today, Amount: 60})
	l = build(t, in, nil)
	require.False(t, has(l, "order:mite"), "the course is complete")
	require.False(t, has(l, "do:mite:let-out"))
}

// What was let out is looked at on the days of the catalogue, 7 and 14 here.
func TestRelease_Checks(t *testing.T) {
	in := input(found("B1", mites(), today.AddDays(-1), 0))
	for ago, want := range map[int]civil.Date{1: today.AddDays(6), 7: today, 8: today.AddDays(6), 14: today} {
		in.Releases = []farm.Release{{Bed: "B1", Pest: "mite", Agent: "hot", Date: today.AddDays(-ago)}}
		x := line(t, build(t, in, nil), "scout:mite:settled:hot")
		require.Equal(t, want, x.By, ago)
		require.Equal(t, "Look whether hot mites has settled", x.Head)
		require.Equal(t, []string{"look for eggs"}, x.Details)
	}
	// An answer is asked for two weeks longer, and then it is too late to tell.
	for ago, asked := range map[int]bool{0: false, 15: true, 28: true, 29: false, 40: false} {
		in.Releases[0].Date = today.AddDays(-ago)
		require.Equal(t, asked, has(build(t, in, nil), "scout:mite:settled"), ago)
	}
}

func TestRelease_Permit(t *testing.T) {
	in := input(found("B1", mites(), today, 9))
	for _, k := range []string{"hot", "cool"} {
		in.Agents[k][0].Permit, in.Agents[k][0].NotIn = "not allowed outdoors there", []string{"GB"}
	}
	for country, want := range map[string]bool{"US": true, "GB": false, "": false} {
		in.Farm.Country = country
		l := build(t, in, nil)
		require.Equal(t, want, has(l, "order:mite"), country)
		require.Equal(t, !want, has(l, "not:mite:permit"), country)
	}
}

// A pest that is only held or was never counted asks for no release.
func TestRelease_OnlyWhereCalledFor(t *testing.T) {
	for _, a := range []int{0, 1} {
		l := build(t, input(found("B1", mites(), today, a)), nil)
		require.Empty(t, l.In(week.Order))
	}
	stale := found("B1", mites(), today.AddDays(-30), 9)
	require.Equal(t, verdict.Stale, stale.Result.Verdict)
	require.Empty(t, build(t, input(stale), nil).In(week.Order))
}

// What was ordered is let out when it has come, also where the count has
// fallen below the level meanwhile, and nothing else is ordered in its place.
func TestRelease_GoesOn(t *testing.T) {
	in := input(found("B1", mites(), today.AddDays(-3), 0))
	require.False(t, has(build(t, in, nil), "do:mite:let-out"))
	in.Done = []farm.Done{{Bed: "B1", Pest: "mite", Action: "mite_release", Date: today.AddDays(-4)}}
	l := build(t, in, nil)
	require.Equal(t, today.AddDays(1), line(t, l, "do:mite:let-out:hot").From)
	require.False(t, has(l, "order:mite"))
}

// A course of releases ends with the season of the pest in the bed: nothing is
// ordered for a bed that was dug. What was ordered before comes all the same.
func TestRelease_EndsWithTheSeason(t *testing.T) {
	a := found("B1", mites(), today.AddDays(-3), 0)
	in := input(a)
	in.Releases = []farm.Release{{Bed: "B1", Pest: "mite", Agent: "hot", Date: today.AddDays(-40), Amount: 60}}
	require.NotEmpty(t, build(t, in, nil).In(week.Order), "the course goes on though the count has fallen")

	// With no count that tells how many there are now, a course that was broken
	// off is not taken up again.
	for ago, want := range map[int]bool{7: true, 28: true, 29: false, 40: false} {
		old := input(found("B1", mites(), today.AddDays(-30), 9))
		old.Releases = []farm.Release{{Bed: "B1", Pest: "mite", Agent: "hot", Date: today.AddDays(-ago), Amount: 60}}
		require.Equal(t, want, len(build(t, old, nil).In(week.Order)) > 0, ago)
	}

	a.Stage, a.InSeason = farm.Dug, false
	over := input(a)
	over.Releases = in.Releases
	require.Empty(t, build(t, over, nil).In(week.Order))
	over.Done = []farm.Done{{Bed: "B1", Pest: "mite", Action: "mite_release", Date: today.AddDays(-4)}}
	require.True(t, has(build(t, over, nil), "do:mite:let-out"))
}
