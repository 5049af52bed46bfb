package sheet_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/sheet"
)

// A time with its zone is a moment: the day of the count is the farm's day at that
// moment, whatever day is written. Worked out by hand; California is 7 hours behind
// UTC in July, and 8 in January.
func TestTimesWithZones(t *testing.T) {
	zone, err := time.LoadLocation("America/Los_Angeles")
	require.NoError(t, err)
	for _, x := range []struct {
		text, day string
		moved     int
	}{
		{"2026-07-14T02:00:00Z", "2026-07-13", 1},
		{"2026-07-14T07:00:00.000Z", "2026-07-14", 0},
		{"2026-07-14T06:59:59Z", "2026-07-13", 1},
		{"2026-01-14T07:30Z", "2026-01-13", 1},
		{"2026-07-13T20:12:00-07:00", "2026-07-13", 0},
		{"2026-07-13 20:12 -0700", "2026-07-13", 0},
		{"2026-07-14T05:12:00.000+02:00", "2026-07-13", 1},
		{"2026/07/14 3:12:00 AM GMT+2", "2026-07-13", 1},
		{"7/13/2026 8:12:33 PM GMT-7", "2026-07-13", 0},
		{"2026-07-13 12:00 UTC", "2026-07-13", 0},
		{"2026-07-13T00:30:00+09:30", "2026-07-12", 1},
		{"2026-07-13 20:12", "2026-07-13", 0}, // no zone: the day that is written
	} {
		path := write(t, t.TempDir(), "x.csv", [][]string{{"date", "bed", "pest", "count"}, {x.text, "B3", "slug", "4"}})
		s, err := sheet.Open(path, nil)
		require.NoError(t, err)
		var got []string
		res, err := sheet.Read(s, sheet.Options{Today: today, Names: farmNames{}, Zone: zone}, func(v sheet.Visit) error {
			got = append(got, v.Date.String())
			return nil
		})
		require.NoError(t, err)
		require.Empty(t, res.Problems, x.text)
		require.Equal(t, []string{x.day}, got, x.text)
		require.Equal(t, x.moved, res.Moved, x.text)
	}
	// A day alone is often written out as its midnight in UTC: then it is not said
	// which of the two days is meant.
	for text, says := range map[string]string{
		"2026-07-14T00:00:00Z":     "can be a day alone, or an hour that is 2026-07-13 on the farm",
		"2026-07-14T00:00:00.000Z": "can be a day alone",
		"3/4/2026 8:12 PM GMT-7":   "two different dates",
		"2026-07-13T25:00Z":        "is no time of day",
		"2026-07-13T20:00+99":      "is no time of day",
	} {
		path := write(t, t.TempDir(), "x.csv", [][]string{{"date", "bed", "pest", "count"}, {text, "B3", "slug", "4"}})
		s, err := sheet.Open(path, nil)
		require.NoError(t, err)
		res, err := sheet.Read(s, sheet.Options{Today: today, Names: farmNames{}, Zone: zone}, func(v sheet.Visit) error { return nil })
		require.NoError(t, err)
		require.Len(t, res.Problems, 1, text)
		require.Contains(t, res.Problems[0].What, says, text)
	}
}
