package assess_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/assess"
	"leafturn/internal/farm"
)

// The signs of a season against its action level, worked out by hand.
func TestCourse(t *testing.T) {
	level := func(op string) []assess.Level {
		return []assess.Level{{Measure: "m", Kind: "act", Value: 10, Operator: op, From: farm.Planted, To: farm.Bloom}}
	}
	pest := func(levels []assess.Level) assess.Pest {
		return assess.Pest{Key: "p", Name: "p", EveryDays: 7, StaleDays: 10, InSeason: true, Levels: levels, Units: []assess.Unit{{Key: "u", Label: "u", Measure: "m", Words: "m", Wanted: 10, Min: 5}}}
	}
	for _, x := range []struct {
		name   string
		means  []int // of one visit a week, ten units alike
		levels []assess.Level
		want   string
	}{
		{"one visit is no course", []int{4}, level(">="), ""},
		{"none, a tenth, half, just under, at, over", []int{0, 1, 5, 9, 10, 25}, level(">="), ".159##"},
		{"at the level where it must be passed", []int{9, 10, 11}, level(">"), "99#"},
		{"the last eight of ten", []int{0, 0, 1, 2, 3, 4, 5, 6, 7, 8}, level(">="), "12345678"},
		{"no level", []int{1, 2}, nil, ""},
		{"no level to act on", []int{1, 2}, level("none"), ""},
	} {
		t.Run(x.name, func(t *testing.T) {
			in := assess.Input{Today: day("2026-07-30"), Bed: farm.Bed{Code: "B3"}, Stage: farm.Bloom, Pest: pest(x.levels)}
			for i, m := range x.means {
				v := farm.Visit{ID: int64(i + 1), Bed: "B3", Pest: "p", Unit: "u", Stratum: farm.Random, Date: in.Today.AddDays(7 * (i - len(x.means) + 1))}
				for range 10 {
					v.Counts = append(v.Counts, farm.UnitCount{Count: m, Seen: true})
				}
				in.Visits = append(in.Visits, v)
			}
			for _, brief := range []bool{false, true} {
				in.Brief = brief
				a, err := assess.Assess(in)
				require.NoError(t, err)
				require.Equal(t, x.want, a.Course)
				short, ok := a.Short().Restore(in)
				require.True(t, ok)
				require.Equal(t, x.want, short.Course)
			}
		})
	}
}

// What is not valid has a sign of its own, and each sign stands in the key.
func TestCourse_Invalid(t *testing.T) {
	in := assess.Input{Today: day("2026-07-30"), Bed: farm.Bed{Code: "B3"}, Stage: farm.Bloom, Pest: assess.Pest{Key: "p", Name: "p", EveryDays: 7, StaleDays: 10, InSeason: true,
		Levels: []assess.Level{{Measure: "m", Kind: "act", Value: 10, Operator: ">=", From: farm.Planted, To: farm.Bloom}}, Units: []assess.Unit{{Key: "u", Label: "u", Measure: "m", Words: "m", Wanted: 10, Min: 2}}}}
	in.Pest.Units[0].Needs.SoilMoist = true
	for i, soil := range []farm.Wetness{farm.Moist, farm.Dry, farm.Moist} {
		in.Visits = append(in.Visits, farm.Visit{ID: int64(i + 1), Bed: "B3", Pest: "p", Unit: "u", Stratum: farm.Random, Date: in.Today.AddDays(7 * (i - 2)),
			Counts: []farm.UnitCount{{Count: 2, Seen: true}, {Count: 2, Seen: true}}, Conditions: farm.Conditions{Soil: soil}})
	}
	a, err := assess.Assess(in)
	require.NoError(t, err)
	require.Equal(t, "2x2", a.Course)
	for _, sign := range []string{".", "0", "9", "#", "x"} {
		require.True(t, strings.Contains(assess.CourseKey, fmt.Sprintf(" %s ", sign)), sign)
	}
}
