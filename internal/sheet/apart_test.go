package sheet_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/sheet"
)

// Sheets whose numbers are no counts of units, though the headings look so. "" is one
// that is read. Common practice.
func TestNumbersThatAreNoCountsOfUnits(t *testing.T) {
	day := sheet.Map{Date: civil.MustParse("2026-07-13"), Pest: "slug"}
	for _, x := range []struct {
		text string
		m    sheet.Map
		want string
	}{
		{"date,bed,slugs?\n2026-07-13,B3,1\n", sheet.Map{}, "1 may stand for yes"},
		{"date,bed,pest,count,basis\n2026-07-13,B3,slug,12,4 traps\n", sheet.Map{}, "says of how many units a count is, such as \"4 traps\""},
		{"date,bed,pest,count,per\n2026-07-13,B3,spider mite,12,10 leaves\n", sheet.Map{}, "says of how many units"},
		{"date,bed,pest,count,amount of beer\n2026-07-13,B3,slug,12,4 spoons\n", sheet.Map{}, ""},
		{"date,bed,pest,count,count per trap\n2026-07-13,B3,slug,12,3\n", sheet.Map{}, "may be the sum of several units"},
		{"date,bed,slugs,slugs/trap\n2026-07-13,B3,0,0\n2026-07-13,B4,10,\"2,5\"\n", sheet.Map{}, "may be the sum of several units"},
		{"date,bed,slugs,mean\n2026-07-13,B3,12,3\n", sheet.Map{Columns: map[string]string{"slugs": "count of slug"}}, ""},
		{"date,bed,slugs,mean of the bed\n2026-07-13,B3,4,3\n2026-07-13,B3,2,3\n", sheet.Map{}, ""},
		{"date,bed,pest,count,mean\n2026-07-13,B3,slug,4 2,3\n", sheet.Map{}, ""},
		{"date,bed,pest,trap,count,mean\n2026-07-13,B3,slug,1,4,3\n", sheet.Map{}, ""},
		{"date,bed,trap 1,trap 2,mean\n2026-07-13,B3,4,2,3\n", sheet.Map{Pest: "slug"}, ""},
		{"bed,27,28\nB3,4,2\n", day, "may be weeks"},
		{"bed,slugs 27,slugs 28\nB3,4,2\n", sheet.Map{Date: day.Date}, "may be weeks"},
		{"bed,1,2,3\nB3,4,2,0\n", day, ""},
		{"bed,trap 27,trap 28\nB3,4,2\n", day, ""},
		{"date,bed,27,28\n2026-07-13,B3,4,2\n", sheet.Map{Pest: "slug"}, ""},
		{"date,bed,trap 1,trap 01\n2026-07-13,B3,4,4\n", sheet.Map{Pest: "slug"}, "are read as count of trap 1"},
	} {
		_, res, err := read(put(t, "x.csv", x.text), x.m)
		require.NoError(t, err)
		if x.want == "" {
			require.Empty(t, res.Problems, x.text)
			require.NotZero(t, res.Visits, x.text)
			continue
		}
		require.Len(t, res.Problems, 1, x.text)
		require.Contains(t, res.Problems[0].What, x.want, x.text)
		require.NotEmpty(t, res.Problems[0].Do, x.text)
	}
}
