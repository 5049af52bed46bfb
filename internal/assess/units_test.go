package assess_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/assess"
	"leafturn/internal/farm"
	"leafturn/internal/units"
	"leafturn/internal/verdict"
)

// 5 °C is 41 °F, 25 is 77, 8 is 46.4; 10 cm are 3.9 in, told to the half inch.
func TestValidWhen_InTheFarmsUnits(t *testing.T) {
	f := func(v float64) *float64 { return &v }
	for s, want := range map[units.System][]string{
		units.Metric: {"the air is 5 to 25 °C", "the air is above 5 °C", "the soil at 10 cm is above 8 °C", "the soil was too cold: 7.9 °C, under 8 °C"},
		units.US:     {"the air is 41 to 77 °F", "the air is above 41 °F", "the soil at 4 in is above 46.4 °F", "the soil was too cold: 46.3 °F, under 46.4 °F"},
	} {
		require.Equal(t, want[0], assess.Unit{Needs: verdict.Needs{AirMinC: f(5), AirMaxC: f(25), Units: s}}.ValidWhen())
		require.Equal(t, want[1], assess.Unit{Needs: verdict.Needs{AirMinC: f(5), Units: s}}.ValidWhen())
		require.Equal(t, want[2], assess.Unit{Needs: verdict.Needs{SoilMinC: f(8), Units: s}}.ValidWhen())
		bad, _ := verdict.Conditions(farm.Visit{Conditions: farm.Conditions{SoilC: f(7.98)}}, verdict.Needs{SoilMinC: f(8), Units: s})
		require.Equal(t, []string{want[3]}, bad)
	}
}
