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
		{"date,bed,slugs,average number of slugs\n2026-07-13,B3,12,3\n", sheet.Map{}, "may be the sum of several units"},
		{"date,bed,slugs,mean count per trap\n2026-07-13,B3,12,3\n", sheet.Map{}, "may be the sum of several units"},
		{"date,bed,slugs,average temp\n2026-07-13,B3,22,14\n", sheet.Map{}, ""},
		{"date,bed,slugs,mean RH\n2026-07-13,B3,99,80\n", sheet.Map{}, ""},
		{"date,bed,slugs,slugs per night,nights\n2026-07-13,B3,4,2,2\n", sheet.Map{}, ""},
		{"bed,27,28\nB3,4,2\n", day, "may be weeks"},
		{"bed,slugs 27,slugs 28\nB3,4,2\n", sheet.Map{Date: day.Date}, "may be weeks"},
		{"bed,1,2,3\nB3,4,2,0\n", day, ""},
		{"bed,trap 27,trap 28\nB3,4,2\n", day, ""},
		{"date,bed,27,28\n2026-07-13,B3,4,2\n", sheet.Map{Pest: "slug"}, ""},
		{"date,bed,trap 1,trap 01\n2026-07-13,B3,4,4\n", sheet.Map{Pest: "slug"}, "are read as count of trap 1"},
		{"date,bed,pest,variable,value\n2026-07-13,B3,slug,count,4\n2026-07-13,B4,slug,damage,3\n", sheet.Map{}, "numbers of two kinds stand in one column"},
		{"date,bed,pest,count,round\n2026-07-13,B3,slug,4,1\n2026-07-13,B3,slug,3,2\n", sheet.Map{}, "would be taken for several units"},
		{"date,bed,plant,leaf,pest,count\n2026-07-13,B3,1,2,mite,4\n", sheet.Map{}, "are read as unit number"},
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

// A unit that the pest is not counted on is told in the column that names it.
func TestTheColumnOfAWrongUnit(t *testing.T) {
	_, res, err := read(put(t, "x.csv", "date,bed,pest,plant,count\n2026-07-13,B3,slug,1,4\n"), sheet.Map{})
	require.NoError(t, err)
	require.Len(t, res.Problems, 1)
	require.Equal(t, []int{2, 4}, []int{res.Problems[0].Row, res.Problems[0].Col})
	require.Contains(t, res.Problems[0].What, `unknown sample unit of slug "plant"`)
}

// Where a bed stands on two farms, none of its visits is stored with --accept-good: which
// farm is ours is not known.
func TestABedOfTwoFarmsIsHeld(t *testing.T) {
	s, err := sheet.Open("testdata/another-farm.csv", nil)
	require.NoError(t, err)
	defer s.Close()
	_, res, err := readSource(s, sheet.Map{}, nil)
	require.NoError(t, err)
	visits, _, err := readSource(s, sheet.Map{}, res)
	require.NoError(t, err)
	require.Equal(t, []string{"2026-07-06 B4 slug 4 unit=trap"}, lines(visits))
}
