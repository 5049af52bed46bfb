package week_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/week"
)

// Each rung of the ladder asks for a record of its own; one that has no step
// here asks for nothing. 7 CFR 205.206.
func TestReadLadder(t *testing.T) {
	actions := []week.Action{
		{Key: "slug_tidy", Rung: week.Prevention, From: farm.PrePlant, To: farm.Bloom},
		{Key: "slug_pick", Rung: week.Cultural, From: farm.Planted, To: farm.Bloom},
		{Key: "slug_worms", Rung: week.Biological, Agent: "worms", From: farm.Planted, To: farm.Bloom},
		{Key: "slug_bait", Rung: week.Product, From: farm.Planted, To: farm.Bloom},
	}
	did := func(action, on string, outcome farm.Outcome) farm.Done {
		return farm.Done{Bed: "B1", Pest: "slug", Action: action, Date: day(on), DoneMore: farm.DoneMore{Outcome: outcome}}
	}
	all := []farm.Done{did("slug_tidy", "2026-04-01", ""), did("slug_pick", "2026-07-01", farm.NotEnough), did("slug_worms", "2026-07-02", "")}
	for _, c := range []struct {
		name    string
		change  func(*week.LadderInput)
		missing []string
		tried   int
	}{
		{"nothing recorded", func(in *week.LadderInput) { in.Done = nil }, []string{"prevention", "cultural or mechanical", "biological"}, 0},
		{"all recorded", func(*week.LadderInput) {}, nil, 3},
		{"an application is no lower step", func(in *week.LadderInput) { in.Done = []farm.Done{did("slug_bait", "2026-07-01", "")} }, []string{"prevention", "cultural or mechanical", "biological"}, 0},
		{"one rung is not three", func(in *week.LadderInput) { in.Done = all[:1] }, []string{"cultural or mechanical", "biological"}, 1},
		{"last year's do not count", func(in *week.LadderInput) { in.Done = []farm.Done{did("slug_tidy", "2025-07-01", ""), all[1], all[2]} }, []string{"prevention"}, 2},
		{"nor do those to come", func(in *week.LadderInput) { in.Done = []farm.Done{did("slug_tidy", "2026-08-01", ""), all[1], all[2]} }, []string{"prevention"}, 2},
		{"another bed", func(in *week.LadderInput) { in.Bed = "B2" }, []string{"prevention", "cultural or mechanical", "biological"}, 0},
		{"let out without an order", func(in *week.LadderInput) {
			in.Done, in.Releases = all[:2], []farm.Release{{Bed: "B1", Pest: "slug", Agent: "worms", Date: day("2026-07-03")}}
		}, nil, 3},
		{"not allowed here", func(in *week.LadderInput) { in.Done, in.Possible = all[:2], func(string) bool { return false } }, nil, 2},
		{"no step at the stage", func(in *week.LadderInput) { in.Done, in.Stage = all[:1], farm.PrePlant }, nil, 1},
	} {
		in := week.LadderInput{Bed: "B1", Pest: "slug", Stage: farm.Emerged, Today: day("2026-07-20"), Actions: actions, Done: all, Possible: func(string) bool { return true }}
		c.change(&in)
		l := week.ReadLadder(in)
		require.Equal(t, c.missing, l.Missing, c.name)
		require.Len(t, l.Tried, c.tried, c.name)
		r := l.Ask(label.Request{})
		require.Equal(t, c.missing == nil, r.Practice, c.name)
	}
	l := week.ReadLadder(week.LadderInput{Bed: "B1", Pest: "slug", Stage: farm.Emerged, Today: day("2026-07-20"), Actions: actions, Done: all})
	require.Contains(t, l.Tried, "cultural or mechanical: slug_pick on Wed 1 Jul (not enough)")
}

// In the south a step of November counts in January, and one of March is of the
// season before in August.
func TestReadLadder_South(t *testing.T) {
	for _, c := range []struct {
		done, today string
		south       bool
		tried       int
	}{
		{"2026-11-20", "2027-01-10", true, 1}, {"2026-11-20", "2027-01-10", false, 0},
		{"2027-03-20", "2027-08-10", true, 0}, {"2027-03-20", "2027-08-10", false, 1},
	} {
		l := week.ReadLadder(week.LadderInput{Bed: "B1", Pest: "slug", Stage: farm.Emerged, Today: day(c.today), South: c.south,
			Actions: []week.Action{{Key: "slug_pick", Rung: week.Cultural}}, Done: []farm.Done{{Bed: "B1", Pest: "slug", Date: day(c.done), Action: "slug_pick"}},
			Releases: []farm.Release{{Bed: "B1", Pest: "slug", Agent: "worms", Date: day(c.done)}}})
		require.Len(t, l.Tried, 2*c.tried, "%v", c)
		when := ""
		if c.south {
			when = "this season"
		}
		require.Equal(t, when, l.Ask(label.Request{}).PracticeWhen)
	}
}

func TestPossible(t *testing.T) {
	require.False(t, week.Possible(nil, "US"))
	require.True(t, week.Possible([]week.AgentOffer{{}}, ""))
	only := []week.AgentOffer{{NotIn: []string{"US"}}}
	require.False(t, week.Possible(only, "US"))
	require.False(t, week.Possible(only, ""), "the country is not known")
	require.True(t, week.Possible(only, "GB"))
}
