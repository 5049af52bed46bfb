package schedule_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/schedule"
	"leafturn/internal/units"
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
		got := schedule.ParcelDay(farm.WeatherDay{Date: day(c.date), MaxC: c.max}, units.Metric)
		if c.why == "" {
			require.Empty(t, got, c.date)
			continue
		}
		require.Contains(t, got, c.why)
	}
}

// Where each release comes by parcel, none falls on a day that suits no parcel,
// repeats too, and none comes sooner than without.
func TestRelease_Parcel(t *testing.T) {
	hot := num(33)
	for from := range 14 {
		for interval := 1; interval < 12; interval++ {
			q := schedule.ReleaseRequest{Today: day("2026-07-13").AddDays(from), Bed: farm.Bed{Code: "B1", LengthM: 10, WidthM: 1},
				Agent:    schedule.AgentRate{Name: "mites", Kind: schedule.PerM2, Rate: 5, Releases: 3, IntervalDays: interval, LeadDays: 3},
				Residues: []schedule.Residue{{Date: day("2026-08-01"), Active: "soap", WaitDays: 3, Known: true}},
				Forecast: []farm.WeatherDay{{Date: day("2026-07-23"), MaxC: hot}, {Date: day("2026-07-24"), MaxC: hot}}}
			free := schedule.Release(q)
			q.Parcel = true
			p := schedule.Release(q)
			require.Empty(t, p.Refusals)
			require.False(t, p.Release.Before(free.Release))
			require.Equal(t, p.Release.AddDays(-3), p.Order)
			last := p.Release.AddDays(-interval)
			for _, d := range append([]civil.Date{p.Release}, p.Repeats...) {
				require.Less(t, (d.Sub(day("2026-07-13"))%7+7)%7, 5, "%s is no weekend", d)
				require.NotContains(t, []string{"2026-07-23", "2026-07-24", "2026-08-01", "2026-08-02", "2026-08-03"}, d.String())
				require.GreaterOrEqual(t, d.Sub(last), interval)
				last = d
			}
			require.Len(t, p.Repeats, 2)
		}
	}
}
