package app_test

import (
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/civil"
)

// Both seasons of the store are compared, each count with the level of its own
// day; what was counted later than the day asked about is not known on it.
func TestPlot_Years(t *testing.T) {
	a := twoSeasons(t)
	draw := func(o app.PlotOptions) string {
		o.Pest, o.Years, o.Out = "aphid", true, filepath.Join(t.TempDir(), "years.svg")
		said, err := a.Plot(ctx, o)
		require.NoError(t, err)
		require.Len(t, said, 2)
		return said[1]
	}
	all := draw(app.PlotOptions{Date: civil.MustParse("2026-07-20")})
	require.Contains(t, all, "Aphids, mean of the beds counted: 2026 against 1 earlier year")
	require.Contains(t, all, "the first bed reached the action level in week 29.", all)
	require.Contains(t, all, "In 1 of 1 earlier year a bed reached the action level in week 26 (from 22 June).")
	require.Contains(t, all, "2025: highest 100 % in week 26.")
	require.Contains(t, all, "2026: highest 50 % in week 29.", "A2 100 %, B1 none")

	require.Contains(t, draw(app.PlotOptions{Date: civil.MustParse("2026-06-30")}), "no bed has reached the action level.")
	one := draw(app.PlotOptions{Date: civil.MustParse("2026-07-20"), Beds: []string{"A2"}})
	require.Contains(t, one, "Aphids, bed A2: 2026 by week")
	require.Contains(t, one, "2026: highest 100 % in week 29.")
	require.True(t, strings.HasPrefix(one, "Now: act. "), one)
	require.Contains(t, draw(app.PlotOptions{Date: civil.MustParse("2026-07-20"), Beds: []string{"A1"}}), "Not counted in 2026 so far.")
}
