package farm_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

func TestStageOn(t *testing.T) {
	ev := []farm.StageEvent{
		{Bed: "B1", Date: civil.MustParse("2026-07-01"), Stage: farm.Budding},
		{Bed: "B1", Date: civil.MustParse("2026-05-15"), Stage: farm.Planted},
		{Bed: "B1", Date: civil.MustParse("2025-10-28"), Stage: farm.Dug},
		{Bed: "B1", Date: civil.MustParse("2026-06-05"), Stage: farm.Emerged},
	}
	for _, c := range []struct {
		on    string
		stage farm.Stage
		since string
	}{
		{"2026-01-10", farm.PrePlant, ""}, // last year's digging does not count
		{"2026-05-15", farm.Planted, "2026-05-15"},
		{"2026-06-30", farm.Emerged, "2026-06-05"},
		{"2026-12-31", farm.Budding, "2026-07-01"},
		{"2025-12-31", farm.Dug, "2025-10-28"},
	} {
		s, since := farm.SeasonOf(civil.MustParse(c.on), false).StageOn(ev, civil.MustParse(c.on))
		require.Equal(t, c.stage, s, c.on)
		require.Equal(t, c.since, since.String(), c.on)
	}
}

// Principal stages of the general BBCH scale (BBCH Monograph): 0 sprouting,
// 5 inflorescence emergence, 6 flowering, 9 senescence, dormancy.
func TestBBCH(t *testing.T) {
	for s, want := range map[farm.Stage]int{farm.Planted: 0, farm.Emerged: 1, farm.Pinched: 2, farm.Budding: 5, farm.Bloom: 6, farm.Dug: 9} {
		got, ok := s.BBCH()
		require.True(t, ok)
		require.Equal(t, want, got, s)
	}
	_, ok := farm.PrePlant.BBCH()
	require.False(t, ok)
	require.True(t, farm.Budding.Between(farm.Budding, farm.Bloom))
	require.False(t, farm.Dug.Between(farm.Budding, farm.Bloom))
	require.True(t, farm.Dug.Between("", ""))
}

func TestVisit_ZeroIsACount(t *testing.T) {
	v := farm.Visit{Counts: []farm.UnitCount{{Count: 4, Seen: true}, {}, {Count: 0, Seen: true}}}
	require.Equal(t, []int{4, 0}, v.Seen())
	require.Equal(t, 2, v.UnitsLooked())
	require.NoError(t, farm.ValidateVisit(v))
	require.ErrorContains(t, farm.ValidateVisit(farm.Visit{Counts: []farm.UnitCount{{}}}), "no unit that was looked at")
	require.ErrorContains(t, farm.ValidateVisit(farm.Visit{}), "no counts")
}

func TestValidateVisit_Refuses(t *testing.T) {
	for name, c := range map[string]struct {
		v    farm.Visit
		want string
	}{
		"negative":     {farm.Visit{Counts: []farm.UnitCount{{Count: -1, Seen: true}}}, "whole number of 0 or more"},
		"absurd":       {farm.Visit{Counts: []farm.UnitCount{{Count: 100_001, Seen: true}}}, "taken for a slip"},
		"60 of 50":     {farm.Visit{Presence: &farm.Presence{Infested: 60, Looked: 50}}, "60 infested of 50"},
		"0 of 0":       {farm.Visit{Presence: &farm.Presence{}}, "looked at 0 units"},
		"damage":       {farm.Visit{Presence: &farm.Presence{Looked: 5}, Damage: &farm.Damage{Hurt: 6, Looked: 5}}, "damage 6 of 5"},
		"enemies":      {farm.Visit{Presence: &farm.Presence{Looked: 5}, Enemies: []farm.EnemyCount{{Enemy: "x", Count: -2}}}, "-2 of x"},
		"trap nights":  {farm.Visit{Presence: &farm.Presence{Looked: 5}, Conditions: farm.Conditions{Nights: -1}}, "trap nights"},
		"no unit seen": {farm.Visit{Counts: make([]farm.UnitCount, 3)}, "no unit that was looked at"},
	} {
		require.ErrorContains(t, farm.ValidateVisit(c.v), c.want, name)
	}
}

func TestEnemyTotal(t *testing.T) {
	v := farm.Visit{Enemies: []farm.EnemyCount{{"predatory_mite", 3}, {"ladybird", 2}, {"predatory_mite", 1}}}
	n, ok := v.EnemyTotal("predatory_mite")
	require.True(t, ok)
	require.Equal(t, 4, n)
	_, ok = v.EnemyTotal("hoverfly")
	require.False(t, ok, "not counted is not zero")
	n, _ = v.EnemyTotal("")
	require.Equal(t, 6, n)
}

func TestCodeOK(t *testing.T) {
	for s, want := range map[string]bool{"B3": true, "A-12": true, "n.2": true, "": false, "12": false, "B 3": false, "-B": false, "abcdefghijklm": false, "B/3": false} {
		require.Equal(t, want, farm.CodeOK(s), s)
	}
}

func TestStated(t *testing.T) {
	var blank farm.Stated[int]
	require.False(t, blank.Known())
	require.True(t, farm.None[int]().Known())
	require.False(t, farm.None[int]().Has())
	v, ok := farm.Value(7).Get()
	require.True(t, ok)
	require.Equal(t, 7, v)
}
