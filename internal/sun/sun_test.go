package sun_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/sun"
)

// Against an ephemeris library; testdata/ephem.csv says the calls.
func TestOn(t *testing.T) {
	f, err := os.Open("testdata/ephem.csv")
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 1+63)
	for _, row := range rows[1:] {
		lat, err := strconv.ParseFloat(row[1], 64)
		require.NoError(t, err)
		lon, err := strconv.ParseFloat(row[2], 64)
		require.NoError(t, err)
		d, ok := sun.On(civil.MustParse(row[0]), lat, lon)
		require.True(t, ok)
		rise, err := time.Parse(time.RFC3339, row[3])
		require.NoError(t, err)
		set, err := time.Parse(time.RFC3339, row[4])
		require.NoError(t, err)
		require.InDelta(t, 0, d.Rise.Sub(rise).Seconds(), 60, "%v: %s", row, d.Rise)
		require.InDelta(t, 0, d.Set.Sub(set).Seconds(), 60, "%v: %s", row, d.Set)
		require.InDelta(t, set.Sub(rise).Hours(), d.Hours, 0.02)
	}
}

func TestOn_WherePolar(t *testing.T) {
	for _, c := range []struct {
		day   string
		lat   float64
		hours float64
	}{{"2026-06-21", 70, 24}, {"2026-12-21", 70, 0}, {"2026-12-21", -80, 24}, {"2026-06-21", 90, 24}} {
		d, ok := sun.On(civil.MustParse(c.day), c.lat, 20)
		require.True(t, ok)
		require.InDelta(t, c.hours, d.Hours, 0, c.day)
		require.True(t, d.Rise.IsZero() && d.Set.IsZero())
	}
	for _, p := range [][2]float64{{91, 0}, {0, 181}, {math.NaN(), 0}, {0, math.Inf(1)}} {
		_, ok := sun.On(civil.MustParse("2026-06-21"), p[0], p[1])
		require.False(t, ok, p)
	}
}

// The sun rises before noon and sets after it, a day has 0 to 24 hours, and
// the two sides of the equator share them.
func TestOn_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		day := civil.MustParse("2020-01-01").AddDays(rapid.IntRange(0, 9000).Draw(t, "day"))
		lat, lon := rapid.Float64Range(-60, 60).Draw(t, "latitude"), rapid.Float64Range(-180, 180).Draw(t, "longitude")
		d, ok := sun.On(day, lat, lon)
		if !ok || !(d.Hours >= 0 && d.Hours <= 24) {
			t.Fatalf("%v", d)
		}
		other, _ := sun.On(day, -lat, lon)
		if sum := d.Hours + other.Hours; sum < 24 || sum > 25 {
			t.Fatalf("%g hours on both sides", sum)
		}
		if d.Rise.IsZero() {
			return
		}
		noon := time.Date(day.Year, day.Month, day.Day, 12, 0, 0, 0, time.UTC).Add(-time.Duration(lon / 15 * float64(time.Hour)))
		if !d.Rise.Before(noon.Add(17*time.Minute)) || !d.Set.After(noon.Add(-17*time.Minute)) || math.Abs(d.Set.Sub(d.Rise).Hours()-d.Hours) > 0.05 {
			t.Fatalf("%s: %v", day, d)
		}
	})
}
