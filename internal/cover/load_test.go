package cover_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/cover"
)

// Reference site of the planning table: last frost 25 Apr, first frost 20 Oct.
var (
	lastFrost  = civil.MonthDay{Month: 4, Day: 25}
	firstFrost = civil.MonthDay{Month: 10, Day: 20}
	site       = cover.Site{LastFrost: lastFrost, FirstFrost: firstFrost, Zone: "8a"}
)

func ptr[T any](v T) *T { return &v }

// bed is a bed dug by 28 Oct 2026 and planted 15 May 2027.
func bed(code string) cover.Bed {
	return cover.Bed{Code: code, AreaM2: 100, FreeFrom: civil.MustParse("2026-10-28"), PlantBy: civil.MustParse("2027-05-15")}
}

// readCSV reads a file of testdata as rows of named fields.
func readCSV(t testing.TB, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var out []map[string]string
	for _, r := range rows[1:] {
		m := map[string]string{}
		for i, h := range rows[0] {
			m[h] = r[i]
		}
		out = append(out, m)
	}
	return out
}

func number(t testing.TB, s string) *float64 {
	t.Helper()
	if s == "" {
		return nil
	}
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return &v
}

func whole(t testing.TB, s string) *int {
	t.Helper()
	if v := number(t, s); v != nil {
		return ptr(int(*v))
	}
	return nil
}

// crops reads testdata/crops.csv: columns cut from a table compiled from the
// extension sources that its rows cite.
func crops(t testing.TB) map[string]cover.Crop {
	out := map[string]cover.Crop{}
	for _, r := range readCSV(t, "crops.csv") {
		c := cover.Crop{
			ID: r["id"], Name: r["common_name"], Latin: r["latin_name"], Family: r["family"], SowRel: r["sow_rel"],
			DaysToUsable: whole(t, r["days_to_usable"]), LeadDays: whole(t, r["terminate_lead_days_default"]),
			MinSoilC: number(t, r["min_soil_temp_c"]), HardyZone: r["hardy_usda_zone"], KillC: number(t, r["kill_temp_c"]),
			RateKgHa: number(t, r["broadcast_kg_ha_max"]),
		}
		pair := func(name string) *[2]float64 {
			low, high := number(t, r[name+"_low"]), number(t, r[name+"_high"])
			if low == nil {
				return nil
			}
			return &[2]float64{*low, *high}
		}
		c.CropMore = cover.CropMore{
			Legume: r["legume"] == "1", Perennial: strings.Contains(r["kind"], "perennial"), Irrigation: r["irrigation_need"],
			Nitrogen: pair("n_pan_kg_ha"), Biomass: pair("biomass_t_ha"), Alone: strings.HasPrefix(r["mix_with"], "("),
		}
		if !c.Alone && r["mix_with"] != "" {
			c.MixWith = strings.Split(r["mix_with"], ";")
		}
		for _, s := range strings.Split(r["slots"], ";") {
			c.Slots = append(c.Slots, cover.Slot(s))
		}
		out[c.ID] = c
	}
	require.Len(t, out, 26)
	return out
}

func effects(t testing.TB) map[string][]cover.Effect {
	out := map[string][]cover.Effect{}
	n := 0
	for _, r := range readCSV(t, "effects.csv") {
		out[r["cover"]] = append(out[r["cover"]], cover.Effect{
			Pest: r["pest"], Direction: r["direction"], Score: *whole(t, r["score"]),
			Grade: r["evidence"], Basis: r["basis"], Note: r["note"],
		})
		n++
	}
	require.Equal(t, 377, n)
	return out
}
