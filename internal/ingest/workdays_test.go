package ingest_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/ingest"
	"leafturn/internal/monthplan"
)

func TestWorkHours(t *testing.T) {
	h, err := ingest.WorkHours("Sat-Mon 07:00-12:00,18:00-24:00; wed 06:30-07:00")
	require.NoError(t, err)
	long := []monthplan.Span{{From: 420, To: 720}, {From: 1080, To: 1440}}
	require.Equal(t, monthplan.Hours{time.Saturday: long, time.Sunday: long, time.Monday: long, time.Wednesday: {{From: 390, To: 420}}}, h)
	for _, bad := range []string{"", "Mon", "Mon 7-12", "Moon 07:00-12:00", "Mon 12:00-07:00", "Mon 22:00-02:00", "Mon 07:00-12:00,11:00-13:00", "Mon 07:00-12:00; Mon-Tue 08:00-09:00", "Mon 25:00-26:00"} {
		_, err := ingest.WorkHours(bad)
		require.Error(t, err, bad)
	}
}

func TestWeekdays(t *testing.T) {
	d, err := ingest.Weekdays("Mon, thu")
	require.NoError(t, err)
	require.Equal(t, []time.Weekday{time.Monday, time.Thursday}, d)
	d, err = ingest.Weekdays("Sat-Mon,Sun")
	require.NoError(t, err)
	require.Equal(t, []time.Weekday{time.Monday, time.Saturday, time.Sunday}, d)
	_, err = ingest.Weekdays("Mon,")
	require.Error(t, err)
}
