package cli_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"
	"leafturn/internal/units"
)

// TestUnknownZone does what the error tells to do.
func TestUnknownZone(t *testing.T) {
	f := newField(t, "2026-07-20T18:00:00Z")
	s, err := store.Create(context.Background(), f.db, farm.Farm{Name: "Test field (invented)", TimeZone: "Mars/Base", Units: units.Metric, Pests: []string{"slug"},
		LastFrost: civil.MonthDay{Month: 5, Day: 1}, FirstFrost: civil.MonthDay{Month: 10, Day: 20}, ScoutDay: time.Monday})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	for _, args := range [][]string{{"week"}, {"doctor"}, {"farm", "set", "--organic", "yes"}} {
		code, _, errs := f.try(args...)
		require.Equal(t, 1, code, "%v", args)
		require.Contains(t, errs, "the farm's time zone \"Mars/Base\" is not known here\n  do: set it with `leafturn farm set --zone Area/City`")
	}
	code, _, errs := f.try("farm", "set", "--zone", "Moon/Base")
	require.Equal(t, 2, code)
	require.Contains(t, errs, `--zone "Moon/Base" is not a time zone known here`)
	require.Contains(t, f.run("farm", "set", "--zone", "Europe/Vienna"), "is changed")
	require.Contains(t, f.run("farm", "show"), "made 2026-07-20 20:00 Europe/Vienna")
	f.run("check")
}
