package sheet_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/sheet"
)

// Headings as growers write them, and what is read under them. Common practice.
func TestHeadingsOfGoodSheets(t *testing.T) {
	slug := sheet.Map{Pest: "slug"}
	for text, x := range map[string]struct {
		m    sheet.Map
		want string
	}{
		"date,bed,pest,Leaves infested,Leaves looked at\n2026-07-13,B3,aphid,4,50\n":                              {want: "2026-07-13 B3 aphid 4/50 unit=leaf"},
		"date,bed,pest,Infested leaves,No. of leaves\n2026-07-13,B3,mite,4,50\n":                                  {want: "2026-07-13 B3 spider_mite 4/50 unit=leaf"},
		"date,bed,pest,No. of plants infested,Plants checked,% infested\n2026-07-13,B3,earwig,4,50,8%\n":          {want: "2026-07-13 B3 earwig 4/50 unit=plant"},
		"date,bed,pest,Infested,Tips examined\n2026-07-13,B3,aphid,4,50\n":                                        {want: "2026-07-13 B3 aphid 4/50 unit=tip"},
		"date,bed,pest,Infested,Looked at,Infested (%)\n2026-07-13,B3,aphid,4,50,8\n":                             {want: "2026-07-13 B3 aphid 4/50 unit=tip"},
		"Date,Day,Bed,Trap A,Trap B,Trap C\n2026-07-13,Mon,B3,4,0,2\n":                                            {m: slug, want: "2026-07-13 B3 slug 4 0 2 unit=trap"},
		"Date,Parcela,Pest,Count,Scouted by\n2026-07-13,B3,slug,4,MT\n":                                           {want: "2026-07-13 B3 slug 4 unit=trap by=MT"},
		"Date/Time,Bed,Plants in bed,Slugs\n2026-07-13 07:30,B3,100,4\n":                                          {want: "2026-07-13 B3 slug 4 unit=trap"},
		"Date,Bed,Pest,Count,Note\n2026-07-13,B3,slug,'4,Max\n":                                                   {want: "2026-07-13 B3 slug 4 unit=trap # Max"},
		"Date,Bed,Pest,Life stage,Count\n2026-07-13,B3,slug,adult,4\n2026-07-13,B3,slug,adult,1\n":                {want: "2026-07-13 B3 slug 4 1 unit=trap"},
		"Date,Round,Bed,Pest,Count\n2026-07-13,1,B3,slug,4\n2026-07-13,1,B3,slug,0\n":                             {want: "2026-07-13 B3 slug 4 0 unit=trap"},
		"Farm,Block,Date,Bed,Pest,Count\nHome,B,2026-07-13,B3,slug,4\nHome,B,2026-07-13,B3,slug,1\n":              {want: "2026-07-13 B3 slug 4 1 unit=trap"},
		"Printed 2026-07-20,,\nDate,Bed,Trap 1\n2026-07-13,B3,4\n":                                                {m: slug, want: "2026-07-13 B3 slug 4 unit=trap"},
		"Pest: slug,,\nBed: B3,,\nDate,Trap 1,Trap 2\n2026-07-13,4,2\n":                                           {m: sheet.Map{Pest: "slug", Bed: "B3"}, want: "2026-07-13 B3 slug 4 2 unit=trap"},
		"Date,Bed,Pest,Count,Void\n2026-07-13,B3,slug,4,\n2026-07-13,B3,slug,1,no\n":                              {want: "2026-07-13 B3 slug 4 1 unit=trap"},
		"Date,Bed,Time,Pest,Trap,Count\n2026-07-13,B3,07:30,slug,1,4\n2026-07-13,B3,07:35,slug,2,1\n":             {want: "2026-07-13 B3 slug 4 1 unit=trap"},
		"Date,Bed,Pest,Trap,Count\n2026-07-13,B3,slug,North side,4\n2026-07-13,B3,slug,South side,1\n":            {want: "2026-07-13 B3 slug 4 1 unit=trap"},
		"Date,Bed,Pest,Count,Mean\n2026-07-13,B3,slug,4,3\n2026-07-13,B3,slug,2,3\n":                              {want: "2026-07-13 B3 slug 4 2 unit=trap"},
		"Date,Bed,Pest,Count,Sprayed\n2026-07-13,B3,slug,4,no\n2026-07-13,B3,slug,2,yes\n":                        {want: "2026-07-13 B3 slug 4 2 unit=trap"},
		"Date,Bed,Pest,Count,Action\n2026-07-13,B3,slug,4,picked by hand\n2026-07-13,B3,slug,2,4 traps emptied\n": {want: "2026-07-13 B3 slug 4 2 unit=trap"},
	} {
		path := put(t, "x.csv", text)
		got, res, err := read(path, x.m)
		require.NoError(t, err)
		require.Empty(t, res.Problems, text)
		require.Equal(t, []string{x.want}, lines(got), text)
		m, err := sheet.ParseMap(sheet.FormatMap(&res.Layout, x.m), "m.toml")
		require.NoError(t, err)
		got, res, err = read(path, m)
		require.NoError(t, err)
		require.Empty(t, res.Problems, text)
		require.Equal(t, []string{x.want}, lines(got), "by the saved map: %s", text)
	}
}

// One of the two columns of a presence sample alone, or of two kinds of units, is not
// taken for one.
func TestSharesThatAreNotWhole(t *testing.T) {
	for text, want := range map[string]string{
		"date,bed,pest,count,Leaves looked at\n2026-07-13,B3,mite,4,50\n":           "may be of counts",
		"date,bed,pest,Leaves infested,Plants checked\n2026-07-13,B3,mite,4,50\n":   "may be of counts",
		"date,bed,pest,count,Leaves infested\n2026-07-13,B3,mite,4,50\n":            "may be of counts",
		"date,bed,pest,count,checked\n2026-07-13,B3,mite,4,yes\n":                   "is read as looked, and none as infested",
		"date,bed,pest,count,infested %\n2026-07-13,B3,mite,4,50\n":                 "says percent",
		"date,bed,pest,infested,leaves examined,count\n2026-07-13,B3,mite,4,50,9\n": "stands beside infested and looked",
	} {
		got, res, err := read(put(t, "x.csv", text), sheet.Map{})
		require.NoError(t, err)
		require.Empty(t, got, text)
		require.NotEmpty(t, res.Problems, text)
		require.Contains(t, res.Problems[0].What, want, text)
	}
}
