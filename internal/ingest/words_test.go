package ingest_test

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/ingest"
)

func TestParseDate(t *testing.T) {
	for s, want := range map[string]string{
		"2026-07-13": "2026-07-13", " Today ": "2026-07-20", "YESTERDAY": "2026-07-19", "2028-02-29": "2028-02-29",
	} {
		d, err := ingest.ParseDate(s, today)
		require.NoError(t, err, s)
		require.Equal(t, want, d.String(), s)
	}
}

// Nothing is guessed; where the text has readings, the advice names them.
func TestParseDate_Refuses(t *testing.T) {
	for s, want := range map[string]string{
		"3/4/2026":   "write 2026-04-03 or 2026-03-04",
		"13/7/2026":  "write 2026-07-13",
		"7/13/2026":  "write 2026-07-13",
		"3.3.2026":   "write 2026-03-03",
		"2026-7-3":   "write 2026-07-03",
		"2026/07/13": "write 2026-07-13",
		"20260713":   "write 2026-07-13",
		"2026-02-30": "check the month and the day",
		"2026-02-29": "check the month and the day",
		"0026-07-13": "check the year",
		"13 Jul":     "write it as 2026-07-13 (year-month-day)",
		"":           "write it as 2026-07-13 (year-month-day)",
		"tomorrow":   "write it as 2026-07-13 (year-month-day)",
	} {
		_, err := ingest.ParseDate(s, today)
		require.ErrorIs(t, err, civil.ErrSyntax, s)
		var p *diag.Problem
		require.True(t, errors.As(err, &p))
		require.Equal(t, want, p.Do, s)
	}
	_, err := ingest.ParseDate("today", civil.Date{})
	require.ErrorContains(t, err, "its meaning changes")
}

func TestParseCount(t *testing.T) {
	for s, want := range map[string]int{"0": 0, "7": 7, "010": 10, " 100000 ": 100_000} {
		n, err := ingest.ParseCount(s)
		require.NoError(t, err, s)
		require.Equal(t, want, n, s)
	}
	for s, want := range map[string]string{
		"-1": "is negative", "2.5": "not a whole number", "-2.5": "not a whole number", "4,5": "one number or as several counts",
		"100001": "taken for a slip", "99999999999999999999999": "taken for a slip",
		"o": "is a letter", "": "not a count", "0x10": "not a count", "1e3": "not a count", "NaN": "not a count", "٣": "not a count", "1_0": "not a count",
	} {
		_, err := ingest.ParseCount(s)
		require.ErrorContains(t, err, want, s)
	}
}

// The clock changes of New York in 2026 (8 March 02:00 to 03:00, 1 November
// 02:00 to 01:00) by the US rule of 15 U.S.C. 260a: second Sunday of March,
// first Sunday of November. The expected instants were worked out by hand.
func TestParseClock(t *testing.T) {
	ny, err := time.LoadLocation("America/New_York")
	require.NoError(t, err)
	for _, c := range []struct{ s, utc, warning string }{
		{"2026-07-13 18:30", "2026-07-13T22:30:00Z", ""},
		{"2026-07-13T18:30", "2026-07-13T22:30:00Z", ""},
		{"2026-01-13  8:05", "2026-01-13T13:05:00Z", ""},
		{"yesterday 21:00", "2026-07-20T01:00:00Z", ""},
		{"2026-03-08 01:59", "2026-03-08T06:59:00Z", ""},
		{"2026-03-08 03:00", "2026-03-08T07:00:00Z", ""},
		// the later of the two half past ones: 01:30 at -05:00
		{"2026-11-01 01:30", "2026-11-01T06:30:00Z", "2026-11-01 01:30 occurs twice in America/New_York (clocks were put back); read as the later one, 01:30 -05:00"},
		{"2026-11-01 00:59", "2026-11-01T04:59:00Z", ""},
		{"2026-11-01 02:00", "2026-11-01T07:00:00Z", ""},
		// an offset settles it
		{"2026-11-01T01:30-04:00", "2026-11-01T05:30:00Z", ""},
		{"2026-11-01T01:30z", "2026-11-01T01:30:00Z", ""},
	} {
		got, warning, err := ingest.ParseClock(c.s, today, ny)
		require.NoError(t, err, c.s)
		require.Equal(t, c.utc, got.UTC().Format(time.RFC3339), c.s)
		require.Equal(t, c.warning, warning, c.s)
		require.Equal(t, ny, got.Location())
	}
}

func TestParseClock_Refuses(t *testing.T) {
	ny, _ := time.LoadLocation("America/New_York")
	apia, err := time.LoadLocation("Pacific/Apia")
	require.NoError(t, err)
	for _, c := range []struct {
		s        string
		loc      *time.Location
		what, do string
	}{
		{"2026-03-08 02:30", ny, "2026-03-08 02:30 does not exist in America/New_York: clocks were put forward over it", "enter 01:30 or 03:30"},
		// Samoa left out 30 December 2011 (tz database, file australasia).
		{"2011-12-30 12:00", apia, "2011-12-30 12:00 does not exist in Pacific/Apia: clocks were put forward over it", "enter 2011-12-29 12:00 or 2011-12-31 12:00"},
		{"2026-07-13 24:00", ny, "24:00 is not a time of day", "write a time from 00:00 to 23:59"},
		{"2026-07-13", ny, `"2026-07-13" is not a date and time`, `write date and 24-hour time, such as "2026-07-13 18:30"`},
		{"2026-07-13 6:30 pm", ny, `"2026-07-13 6:30 pm" is not a date and time`, `write date and 24-hour time, such as "2026-07-13 18:30"`},
		{"03/04/27 18:30", ny, `"03/04/27" can be read as two different dates`, "write 2027-04-03 or 2027-03-04"},
		{"3/4/2026 18:30", ny, `"3/4/2026" can be read as two different dates`, "write 2026-04-03 or 2026-03-04"},
		{"2026-07-13 18:30+99:00", ny, `"+99:00" is not an offset from UTC`, "write an offset such as -04:00"},
	} {
		_, _, err := ingest.ParseClock(c.s, today, c.loc)
		var p *diag.Problem
		require.True(t, errors.As(err, &p), c.s)
		require.Equal(t, c.what, p.What)
		require.Equal(t, c.do, p.Do)
	}
}

// Every accepted clock text shows itself again in its zone, for each quarter
// of an hour over a year of clock changes of whole and half hours.
func TestParseClock_ShowsItself(t *testing.T) {
	for _, zone := range []string{"America/New_York", "Australia/Lord_Howe", "Europe/London", "Pacific/Auckland", "UTC"} {
		loc, err := time.LoadLocation(zone)
		require.NoError(t, err)
		accepted, refused, doubled := 0, 0, 0
		for w := civil.MustParse("2026-01-01").Time(); w.Year() == 2026; w = w.Add(15 * time.Minute) {
			s := w.Format("2006-01-02 15:04")
			got, warning, err := ingest.ParseClock(s, today, loc)
			if err != nil {
				refused++
				continue
			}
			accepted++
			require.Equal(t, s, got.Format("2006-01-02 15:04"), zone)
			if warning != "" {
				doubled++
			}
		}
		want := map[string]int{"Australia/Lord_Howe": 2, "UTC": 0} // half an hour, none; else an hour
		n, special := want[zone]
		if !special {
			n = 4
		}
		require.Equal(t, n, refused, zone)
		require.Equal(t, n, doubled, zone)
		require.Equal(t, 365*96-n, accepted, zone)
	}
}

// Clock changes of other zones, from the IANA time zone database: Lord Howe
// moves by half an hour; Havana skips midnight.
func TestParseClock_OtherZones(t *testing.T) {
	zone := func(name string) *time.Location {
		loc, err := time.LoadLocation(name)
		require.NoError(t, err)
		return loc
	}
	lord, ny := zone("Australia/Lord_Howe"), zone("America/New_York")
	_, warning, err := ingest.ParseClock("2026-04-05 01:45", today, lord)
	require.NoError(t, err)
	require.Contains(t, warning, "twice")
	_, _, err = ingest.ParseClock("2026-10-04 02:15", today, lord)
	require.ErrorContains(t, err, "enter 01:45 or 02:45")
	_, _, err = ingest.ParseClock("2026-03-08 00:30", today, zone("America/Havana"))
	require.ErrorContains(t, err, "does not exist")
	// 13 June 2026 in each minute of the day reads back as itself.
	for m := range 24 * 60 {
		want := time.Date(2026, 6, 13, 0, m, 0, 0, ny).Format("2006-01-02 15:04")
		got, warning, err := ingest.ParseClock(want, today, ny)
		require.NoError(t, err)
		require.Empty(t, warning)
		require.Equal(t, want, got.In(ny).Format("2006-01-02 15:04"))
	}
}

func TestParseDate_ShortYears(t *testing.T) {
	for in, say := range map[string]string{"13/04/27": "write 2027-04-13", "04/13/27": "write 2027-04-13", "04/04/27": "write 2027-04-04", "soon": "2026-07-13"} {
		_, err := ingest.ParseDate(in, civil.Date{})
		require.ErrorContains(t, err, say)
		require.ErrorIs(t, err, civil.ErrSyntax)
	}
}
