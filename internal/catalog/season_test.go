package catalog_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/catalog"
	"leafturn/internal/civil"
)

// By hand: days of the year move six months on, what hangs on the first frost
// stays with it.
func TestSeason_South(t *testing.T) {
	frost := civil.MonthDay{Month: 4, Day: 25}
	day := func(m time.Month, d int) catalog.SeasonDay {
		return catalog.SeasonDay{Day: civil.MonthDay{Month: m, Day: d}}
	}
	s := catalog.Season{{To: day(6, 30)}, {From: day(9, 1)}, {From: day(7, 1), To: catalog.SeasonDay{Frost: true, After: -21}}}
	require.True(t, s.HasDays())
	require.False(t, catalog.Season{{To: catalog.SeasonDay{Frost: true}}}.HasDays())
	require.Equal(t, "to 31 December and from 1 March and from 1 January to 21 days before the first frost (4 April)", s.South().Words(frost))
	require.Equal(t, "to 30 June and from 1 September and from 1 July to 21 days before the first frost", s.Words(civil.MonthDay{}), "the facts themselves are not changed")
}
