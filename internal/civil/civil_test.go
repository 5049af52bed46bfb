package civil_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
)

// ISO 8601 weeks. Sources: the rules of ISO 8601 (week 1 holds 4 January and
// the first Thursday); 2024-12-30 is the standard's own kind of example
// (https://kampuspedia.com/en/ISO_week_date); the other days were computed
// from those rules.
func TestISOWeek(t *testing.T) {
	for _, c := range []struct{ date, week string }{
		{"2026-12-31", "2026-W53"},
		{"2027-01-01", "2026-W53"},
		{"2027-01-03", "2026-W53"},
		{"2027-01-04", "2027-W01"},
		{"2024-12-30", "2025-W01"},
		{"2021-01-01", "2020-W53"},
		{"2028-02-29", "2028-W09"},
		{"2028-12-31", "2028-W52"},
	} {
		require.Equal(t, c.week, civil.MustParse(c.date).WeekString(), c.date)
	}
}

// 53-week years 2000-2060 as listed for ISO 8601 (same source).
func TestISOWeek_53WeekYears(t *testing.T) {
	var got []int
	for y := 2000; y <= 2060; y++ {
		if _, w := civil.New(y, time.December, 28).ISOWeek(); w == 53 {
			got = append(got, y)
		}
	}
	require.Equal(t, []int{2004, 2009, 2015, 2020, 2026, 2032, 2037, 2043, 2048, 2054, 2060}, got)
}

func TestParse_Refuses(t *testing.T) {
	for _, s := range []string{"", "2026-2-3", "2026-02-29", "3/4/2026", "2026-07-13T00:00", "20260713"} {
		_, err := civil.Parse(s)
		require.ErrorIs(t, err, civil.ErrSyntax, s)
	}
}

func TestCompareDeadline(t *testing.T) {
	may, june, none := civil.MustParse("2026-05-01"), civil.MustParse("2026-06-01"), civil.Date{}
	for _, x := range []struct {
		a, b civil.Date
		want int
	}{{may, june, -1}, {june, may, 1}, {may, may, 0}, {none, none, 0}, {none, june, 1}, {june, none, -1}} {
		require.Equal(t, x.want, civil.CompareDeadline(x.a, x.b), "%v %v", x.a, x.b)
	}
}

func TestMonthDay(t *testing.T) {
	m, err := civil.ParseMonthDay("04-25")
	require.NoError(t, err)
	require.Equal(t, "2028-04-25", m.In(2028).String())
	for _, s := range []string{"02-29", "13-01", "4-25", "", "04-25x"} {
		_, err := civil.ParseMonthDay(s)
		require.Error(t, err, s)
	}
}

// By hand; the last day of a month becomes the last day of a month.
func TestMonthDay_HalfYearOn(t *testing.T) {
	for day, want := range map[string]string{
		"01-01": "07-01", "07-01": "01-01", "06-30": "12-31", "12-31": "06-30", "09-01": "03-01", "04-15": "10-15",
		"02-28": "08-31", "08-31": "02-28", "08-29": "02-28", "08-30": "02-28", "12-30": "06-30", "06-29": "12-29",
	} {
		m, err := civil.ParseMonthDay(day)
		require.NoError(t, err)
		require.Equal(t, want, m.HalfYearOn().String(), day)
	}
	require.True(t, civil.MonthDay{}.HalfYearOn().IsZero(), "not known stays not known")
}

// A clock change does not move a date: 8 March 2026 has 23 hours in New York.
func TestDateIn_ClockChange(t *testing.T) {
	ny, err := time.LoadLocation("America/New_York")
	require.NoError(t, err)
	require.Equal(t, "2026-06-30", civil.DateIn(time.Date(2026, 7, 1, 2, 0, 0, 0, time.UTC), ny).String())
	require.Equal(t, 7, civil.MustParse("2026-03-12").Sub(civil.MustParse("2026-03-05")))
}

func TestDate_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := civil.New(rapid.IntRange(1800, 2200).Draw(t, "y"), time.January, rapid.IntRange(1, 366).Draw(t, "d"))
		n := rapid.IntRange(-5000, 5000).Draw(t, "n")
		e := d.AddDays(n)
		require.Equal(t, n, e.Sub(d))
		require.Equal(t, n < 0, e.Before(d))
		back, err := civil.Parse(e.String())
		require.NoError(t, err)
		require.Equal(t, e, back)
	})
}

// FuzzParse holds dates against package time, and days of the year too.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"2026-07-13", "2024-02-29", "2025-02-29", "07-13", "02-29", "2020-W53-7", "0000-00-00", "9999-12-31", " 2026-07-13", "2026-7-3"} {
		f.Add(s, 1)
	}
	f.Fuzz(func(t *testing.T, s string, n int) {
		if m, err := civil.ParseMonthDay(s); err == nil {
			require.Equal(t, s, m.String())
			require.Equal(t, m.Day, m.In(2025).Day)
			require.Equal(t, m.Month, m.In(2025).Month)
		}
		d, err := civil.Parse(s)
		if err != nil {
			require.ErrorIs(t, err, civil.ErrSyntax)
			require.True(t, d.IsZero())
			return
		}
		require.Equal(t, s, d.String())
		n %= 100_000
		then := d.Time().AddDate(0, 0, n)
		e := d.AddDays(n)
		require.Equal(t, then, e.Time())
		require.Equal(t, n, e.Sub(d))
		require.Equal(t, n > 0, e.After(d))
		require.Equal(t, d, e.AddDays(-n))
	})
}
