package monthplan_test

import (
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/catalog"
	"leafturn/internal/monthplan"
	"leafturn/internal/units"
)

// Every step of the catalogue that names a time of day gets a part of the day
// or goes with other work; every step that says how often is repeated.
func TestReadManner_Catalogue(t *testing.T) {
	c, err := catalog.Load(units.Metric)
	require.NoError(t, err)
	day := regexp.MustCompile(`(?i)\b(dawn|dusk|evening|morning|dark|10:00|bees)\b`)
	often := regexp.MustCompile(`(?i)twice a week|weekly|every morning|every \d`)
	parts, repeated := 0, 0
	for _, p := range c.Pests() {
		for _, x := range c.Actions(p.Key) {
			m := monthplan.ReadManner(x.Text, x.When)
			if day.MatchString(x.When) {
				parts++
				require.True(t, m.Part != "" || m.With != "" || m.Standing, "%s: %q", x.Key, x.When)
			}
			if often.MatchString(x.When) || often.MatchString(x.Text) {
				repeated++
				require.True(t, m.Every > 0 || m.Standing, "%s: %q %q", x.Key, x.Text, x.When)
			}
		}
	}
	require.Greater(t, parts, 20)
	require.Greater(t, repeated, 4)
}
