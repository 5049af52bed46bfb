package app

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"
)

func southern(at string) *App {
	lat, lon := -42.9, 147.3
	now, err := time.Parse(time.RFC3339, at)
	if err != nil {
		panic(err)
	}
	return &App{now: now, loc: time.UTC, farm: farm.Farm{FarmMore: farm.FarmMore{Latitude: &lat, Longitude: &lon}}}
}

// A place and frosts of two halves of the earth are refused where one of them
// is set, and told by the doctor where an old file has them.
func TestContradicts(t *testing.T) {
	ctx, path := context.Background(), filepath.Join(t.TempDir(), "farm.leafturn")
	word := func(s string) *string { return &s }
	now := time.Date(2026, 7, 20, 18, 0, 0, 0, time.UTC)
	_, err := NewFarm(ctx, path, FarmOptions{Name: word("F"), Zone: word("UTC"), At: word("42.9, 147.3"), LastFrost: word("10-15"), FirstFrost: word("04-25")}, "farm new", "", now)
	require.ErrorContains(t, err, "lies in the north, and its frosts, last 10-15 and first 04-25, are those of the south")
	require.NoFileExists(t, path)
	_, err = NewFarm(ctx, path, FarmOptions{Name: word("F"), Zone: word("UTC"), At: word("-42.9, 147.3")}, "farm new", "", now)
	require.NoError(t, err)
	a, err := Open(ctx, path, now)
	require.NoError(t, err)
	defer a.Close()
	_, err = a.SetFarm(ctx, FarmOptions{LastFrost: word("04-25"), FirstFrost: word("10-20")})
	require.ErrorContains(t, err, "lies in the south, and its frosts, last 04-25 and first 10-20, are those of the north")
	_, err = a.SetFarm(ctx, FarmOptions{LastFrost: word("10-15"), FirstFrost: word("04-25")})
	require.NoError(t, err)
	doc, err := a.Doctor(ctx)
	require.NoError(t, err)
	require.Empty(t, doc.Data.(DoctorData).Findings)

	f := a.farm
	f.LastFrost, f.FirstFrost = civil.MonthDay{Month: 4, Day: 25}, civil.MonthDay{Month: 10, Day: 20}
	require.NoError(t, a.st.Update(ctx, func(tx *store.Tx) error { return tx.SetFarm(f) }))
	doc, err = a.Doctor(ctx)
	require.NoError(t, err)
	require.Len(t, doc.Data.(DoctorData).Findings, 1)
	_, err = a.SetFarm(ctx, FarmOptions{Place: word("a valley")})
	require.NoError(t, err, "what is not asked is not refused")
}

func TestRecordYear(t *testing.T) {
	for _, c := range []struct {
		word        string
		south       bool
		first, last string // "" is refused
	}{
		{"2026", false, "2026-01-01", "2026-12-31"}, {"2026", true, "2026-01-01", "2026-12-31"},
		{"2026/27", true, "2026-07-01", "2027-06-30"}, {"2026-27", true, "2026-07-01", "2027-06-30"},
		{"2026/27", false, "", ""}, {"2026/28", true, "", ""}, {"soon", true, "", ""}, {"1850", false, "", ""},
	} {
		a := &App{}
		if c.south {
			a = southern("2027-01-05T00:00:00Z")
		}
		first, last, err := a.recordYear(c.word)
		require.Equal(t, c.first == "", err != nil, c.word)
		require.Equal(t, [2]string{c.first, c.last}, [2]string{first.String(), last.String()}, c.word)
	}
}

func TestMonths(t *testing.T) {
	south := southern("2027-01-05T00:00:00Z")
	for text, want := range map[string]string{
		"July on":                   "July on (months of the north)",
		"Mar-Apr or Sept":           "Mar-Apr or Sept (months of the north)",
		"by February":               "by February (months of the north)",
		"early season and autumn":   "early season and autumn",
		"they may be marked; march": "they may be marked; march",
		"":                          "",
	} {
		require.Equal(t, want, south.months(text))
		require.Equal(t, text, (&App{}).months(text))
	}
}

// A clock that starts on 1 January in the facts starts on 1 July of the season
// that holds the last day.
func TestBiofix_South(t *testing.T) {
	cat, err := loadCatalog()
	require.NoError(t, err)
	x := animal{"earwig", "earwigs", false, cat.DevelopmentOf("earwig")}
	for _, d := range x.rows {
		if d.Start != "date" {
			continue
		}
		require.Equal(t, civil.MonthDay{Month: 1, Day: 1}, d.StartOn)
		for to, want := range map[string][2]string{"2027-01-10": {"2027-01-01", "2026-07-01"}, "2026-12-31": {"2026-01-01", "2026-07-01"}, "2027-07-01": {"2027-01-01", "2027-07-01"}} {
			day := civil.MustParse(to)
			north, _ := snapshot{year: farm.SeasonOf(day, false)}.biofix(x, d, day)
			south, why := snapshot{year: farm.SeasonOf(day, true)}.biofix(x, d, day)
			require.Equal(t, want, [2]string{north.String(), south.String()}, to)
			require.Equal(t, "1 July, six months after the 1 January of the north, common practice", why)
		}
		return
	}
	require.Fail(t, "no clock starts on a date")
}

// By hand: planting is 4 November (15 October and 20 days), six weeks before it
// 23 September; a bed that lies bare in January was to be planted long ago.
func TestNearPlanting_South(t *testing.T) {
	a := southern("2027-01-05T00:00:00Z")
	a.farm.LastFrost = civil.MonthDay{Month: 10, Day: 15}
	for day, want := range map[string]bool{"2026-07-01": false, "2026-09-22": false, "2026-09-23": true, "2026-12-31": true, "2027-01-05": true, "2027-06-30": true, "2027-07-01": false} {
		require.Equal(t, want, a.nearPlanting(catalog.Pest{PrePlantWeeks: 6}, farm.PrePlant, civil.MustParse(day)), day)
	}
}
