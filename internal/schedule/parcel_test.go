package schedule_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/schedule"
)

func day(s string) civil.Date { return civil.MustParse(s) }

func num(v float64) *float64 { return &v }

// 24 July 2026 is a Friday. Source of the limits: common practice.
func TestParcelDay(t *testing.T) {
	for _, c := range []struct {
		date string
		max  *float64
		why  string
	}{
		{"2026-07-24", nil, ""},
		{"2026-07-24", num(32), ""},
		{"2026-07-24", num(32.1), "32.1 °C is forecast"},
		{"2026-07-25", num(20), "weekend"},
		{"2026-07-26", nil, "weekend"},
		{"2026-07-27", num(20), ""},
	} {
		got := schedule.ParcelDay(farm.WeatherDay{Date: day(c.date), MaxC: c.max})
		if c.why == "" {
			require.Empty(t, got, c.date)
			continue
		}
		require.Contains(t, got, c.why)
	}
}
