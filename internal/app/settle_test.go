package app_test

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
)

// The list and `why` name one number of further units, and one chance that
// they settle it.
func TestWeek_SettlesAsWhyDoes(t *testing.T) {
	a := newFarm(t, testPath(t), summer, app.FarmOptions{LastFrost: p("04-25")})
	counts := map[string]string{"A1": "14 4 6 5 0 4 14 5 17 5 9 11 10 7 1 33 0 4 1 7", "A2": "9 2 12 3 0 8 4 15 6 7 5 3 11 2 9 4 8 1 6 10", "A3": "10*9 10*6", "A4": "20*0"}
	for bed, c := range counts {
		_, err := a.AddBed(ctx, app.BedOptions{Code: bed, Size: "25 m x 1.2 m", Plants: "100", Site: "outdoor"})
		require.NoError(t, err)
		_, err = a.Stage(ctx, a.Today(), "budding", []string{bed}, "")
		require.NoError(t, err)
		_, err = a.CountWords(ctx, append([]string{bed, "mite"}, strings.Fields(c)...), app.CountOptions{Date: a.Today()})
		require.NoError(t, err)
	}
	doc, err := a.Week(ctx, a.Today())
	require.NoError(t, err)
	list := flat(t, doc)
	said := 0
	for bed := range counts {
		why, err := a.WhyBed(ctx, a.Today(), bed, "mite")
		require.NoError(t, err)
		m := regexp.MustCompile(`judge: (\d+) more leaves would settle it with a chance of (\d+)(\.\d)? %`).FindStringSubmatch(flat(t, why))
		if m == nil {
			require.NotContains(t, list, bed+": about")
			continue
		}
		said++
		require.Contains(t, list, fmt.Sprintf("%s: about %s more leaves would settle it with a chance of %s", bed, m[1], m[2][:1]))
	}
	require.Positive(t, said)
}
