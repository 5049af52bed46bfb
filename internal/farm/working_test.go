package farm_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/farm"
)

func TestParseWeekdays(t *testing.T) {
	for text, want := range map[string]string{
		"Mon-Sat": "Mon, Tue, Wed, Thu, Fri, Sat", "sat-mon": "Mon, Sat, Sun", "Thu, mon , Thursday": "Mon, Thu", "daily": "Mon, Tue, Wed, Thu, Fri, Sat, Sun",
		"Sunday": "Sun", "We": "Wed",
	} {
		got, err := farm.ParseWeekdays(text)
		require.NoError(t, err, text)
		require.Equal(t, want, farm.WeekdayWords(got), text)
	}
	for _, text := range []string{"", "T", "Mon-", "Mon;Tue", "Funday", "Mon-Fri-Sat"} {
		_, err := farm.ParseWeekdays(text)
		require.Error(t, err, text)
	}
}

func TestParseHours(t *testing.T) {
	for text, want := range map[string]string{
		"18:00-21:30,7:00-12:00": "07:00-12:00, 18:00-21:30", "00:00-24:00": "00:00-24:00", " 06:15 - 06:16 ": "06:15-06:16",
	} {
		got, err := farm.ParseHours(text)
		require.NoError(t, err, text)
		require.Equal(t, want, farm.HoursWords(got), text)
	}
	for _, text := range []string{"", "7-12", "12:00-07:00", "07:00-07:00", "07:00-12:00,11:00-13:00", "25:00-26:00", "07:00"} {
		_, err := farm.ParseHours(text)
		require.Error(t, err, text)
	}
}

// What is written is read back the same.
func TestWorkingWords_RoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		days := rapid.SliceOfNDistinct(rapid.IntRange(0, 6), 1, 7, rapid.ID).Draw(t, "days")
		in := make([]time.Weekday, len(days))
		for i, d := range days {
			in[i] = time.Weekday(d)
		}
		first, err := farm.ParseWeekdays(farm.WeekdayWords(in))
		if err != nil || len(first) != len(in) {
			t.Fatalf("%v: %v %v", in, first, err)
		}
		again, err := farm.ParseWeekdays(farm.WeekdayWords(first))
		if err != nil || farm.WeekdayWords(again) != farm.WeekdayWords(first) {
			t.Fatalf("%v, %v: %v", first, again, err)
		}
		from := rapid.IntRange(0, 1439).Draw(t, "from")
		spans := []farm.ClockSpan{{From: from, To: rapid.IntRange(from+1, 1440).Draw(t, "to")}}
		got, err := farm.ParseHours(farm.HoursWords(spans))
		if err != nil || got[0] != spans[0] {
			t.Fatalf("%v: %v %v", spans, got, err)
		}
	})
}
