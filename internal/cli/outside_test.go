package cli_test

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The tests of this file hold what the program prints against open standards
// and published protocols.

// level is a row of `pest PEST --json`.
type level struct {
	Measure     string   `json:"measure"`
	Kind        string   `json:"kind"`
	Crop        string   `json:"crop"`
	Transferred bool     `json:"transferred"`
	Value       *float64 `json:"value"`
	Operator    string   `json:"operator"`
	Unit        string   `json:"unit"`
	Conditions  string   `json:"conditions"`
	Basis       string   `json:"basis"`
	Source      string   `json:"source"`
	URL         string   `json:"url"`
}

type pestPayload struct {
	Pest struct {
		Key string `json:"key"`
	} `json:"pest"`
	Protocols []struct {
		Unit      string   `json:"unit"`
		Usual     bool     `json:"usual"`
		Units     *int     `json:"units"`
		Measure   string   `json:"measure"`
		NeedsSoil string   `json:"needs_soil"`
		TempOf    string   `json:"temperature_of"`
		MinC      *float64 `json:"min_c"`
		MaxC      *float64 `json:"max_c"`
		How       string   `json:"how"`
		Basis     string   `json:"basis"`
		Source    string   `json:"source"`
		URL       string   `json:"url"`
	} `json:"protocols"`
	Levels []level `json:"levels"`
}

// AHDB, "How to monitor slug populations in field crops": nine refuge traps in
// a W (13 in fields larger than 20 ha), when the soil surface is visibly moist
// and the air is at 5 to 25 C, read early in the morning; one slug or more per
// trap in oilseed rape is the level from which damage is likely.
func TestSlugProtocol_AHDB(t *testing.T) {
	const page = "https://ahdb.org.uk/knowledge-library/how-to-monitor-slug-populations-in-field-crops"
	f := newField(t, "2026-05-20T08:00:00Z")
	var p pestPayload
	f.data(&p, "pest", "slug")
	require.Equal(t, "slug", p.Pest.Key)

	usual := 0
	for _, x := range p.Protocols {
		if x.Unit == "trap13" {
			require.Equal(t, 13, *x.Units, "larger fields")
			require.Contains(t, x.How, "20 ha")
		}
		if !x.Usual {
			continue
		}
		usual++
		require.Equal(t, "trap", x.Unit)
		require.Equal(t, 9, *x.Units)
		require.Contains(t, x.How, "in a W")
		require.Equal(t, "moist", x.NeedsSoil)
		require.Equal(t, "air", x.TempOf)
		require.EqualValues(t, 5, *x.MinC)
		require.EqualValues(t, 25, *x.MaxC)
		require.Equal(t, "published", x.Basis)
		require.Contains(t, x.Source, "AHDB")
		require.Equal(t, page, x.URL)
	}
	require.Equal(t, 1, usual, "a pest has one usual way to count")

	found := false
	for _, l := range p.Levels {
		if l.Crop != "oilseed rape" {
			continue
		}
		found = true
		require.EqualValues(t, 1, *l.Value)
		require.Equal(t, ">=", l.Operator)
		require.Equal(t, "slugs/trap/night", l.Unit)
		require.True(t, l.Transferred, "it was not published for dahlia, and that is said")
		require.Equal(t, "published", l.Basis)
		require.Contains(t, l.Source, "AHDB")
		require.Equal(t, page, l.URL)
	}
	require.True(t, found)

	// The same protocol stands in the printed page and in what is due.
	require.Contains(t, f.run("pest", "slug"), "Set 9 baited covers in a W on moist soil")
}

func slugField(t *testing.T) *field {
	f := newField(t, "2026-05-20T08:00:00Z")
	f.run("farm", "new", "--name", "Slug field", "--zone", "UTC", "--pests", "slug")
	return f
}

// Around one slug a trap at sprouting: clearly under holds, clearly over acts,
// in between asks for another look, and more slugs never make a verdict less
// pressing.
func TestSlugVerdict_AroundOnePerTrap(t *testing.T) {
	pressing := map[string]int{"hold": 0, "look again": 1, "act": 2}
	last, lastChance := 0, -1.0
	for i, c := range []struct {
		counts  string // nine traps
		verdict string // "" where the two sides of the level are too close to say
	}{
		{"9*0", "hold"},
		{"8*0 1", "hold"},
		{"5*0 4*1", ""},
		{"3*0 6*1", ""},
		{"9*1", "act"}, // at the level itself: as likely over as under
		{"3*0 6*2", "act"},
		{"9*2", "act"},
		{"9*4", "act"},
	} {
		// A farm for each: on one farm the visits would share what they say of
		// clumping.
		f := slugField(t)
		bed := fmt.Sprintf("S%d", i+1)
		f.run("bed", "add", bed, "--size", "10 m x 1 m")
		f.run("stage", "planted", bed, "--date", "2026-05-12")
		f.run(append([]string{"count", bed, "slug", "soil=moist", "air=12C"}, strings.Fields(c.counts)...)...)
		var v verdict
		f.data(&v, "why", bed, "slug")
		require.EqualValues(t, 1, *v.Act, "the level at sprouting is one a trap")
		if c.verdict != "" {
			require.Equal(t, c.verdict, v.Verdict, c.counts)
		}
		require.GreaterOrEqual(t, pressing[v.Verdict], last, c.counts)
		require.Greater(t, *v.Chance, lastChance, "more slugs, more chance of being over")
		last, lastChance = pressing[v.Verdict], *v.Chance
		require.LessOrEqual(t, *v.Low, *v.Value)
		require.GreaterOrEqual(t, *v.High, *v.Value)
	}

	// Outside the protocol's conditions a catch of nothing is no reason to
	// hold: AHDB asks for moist soil and 5 to 25 C.
	f := slugField(t)
	for i, noted := range []string{"soil=dry", "air=3C", "air=28C"} {
		bed := fmt.Sprintf("D%d", i+1)
		f.run("bed", "add", bed, "--size", "10 m x 1 m")
		f.run("stage", "planted", bed, "--date", "2026-05-12")
		f.run("count", bed, "slug", noted, "9*0")
		var v verdict
		f.data(&v, "why", bed, "slug")
		require.False(t, v.Valid, noted)
		require.NotEqual(t, "hold", v.Verdict, noted)
	}
}

// NIST Special Publication 811 (2008), appendix B.8: 1 lb = 453.592 37 g and
// 1 ft = 0.3048 m, both exact. A bed of 30 ft by 4 ft at 1 lb per 1000 square
// feet takes 0.12 lb = 54.431 084 4 g: shown as 54.4 g, never as 54.5. At half
// that rate, 27.215 542 2 g, the lowest amount is shown as 27.3 g, never as 27.2.
func TestAmounts_NIST(t *testing.T) {
	const gramsPerPound = 453.59237
	highest := 30 * 4 * gramsPerPound / 1000
	require.InDelta(t, 54.4310844, highest, 1e-9)

	f := newField(t, "2026-05-20T08:00:00Z")
	f.run("farm", "new", "--name", "Bait field", "--zone", "UTC", "--pests", "slug")
	f.run("bed", "add", "N1", "--size", "30 ft x 4 ft")
	f.run("stage", "planted", "N1", "--date", "2026-05-12")
	f.run("count", "N1", "slug", "soil=moist", "air=12C", "9*4")
	raw, err := os.ReadFile(filepath.Join("..", "demo", "data", "labels", "ironbait.toml"))
	require.NoError(t, err)
	require.Contains(t, string(raw), `rate_max = "1 lb/1000 sq ft"`)
	require.Contains(t, string(raw), `rate_min = "0.5 lb/1000 sq ft"`)
	f.run("label", "add", f.file("ironbait.toml", string(raw)), "--date", "2026-05-01")

	amounts := regexp.MustCompile(`N1 \(([\d.]+) (m²|ft²)\): ([\d.]+) to ([\d.]+) (g|oz wt)\b`)
	read := func() (area, low, high float64, areaUnit, unit string) {
		m := amounts.FindStringSubmatch(f.run("week"))
		require.NotNil(t, m, "the list gives no amount")
		num := func(s string) float64 { v, err := strconv.ParseFloat(s, 64); require.NoError(t, err); return v }
		return num(m[1]), num(m[3]), num(m[4]), m[2], m[5]
	}
	area, low, high, areaUnit, unit := read()
	require.Equal(t, "m² g", areaUnit+" "+unit)
	require.InDelta(t, 30*4*0.3048*0.3048, area, 0.05)
	require.Equal(t, 54.4, high)
	require.Equal(t, 27.3, low)

	f.run("farm", "set", "--units", "us")
	area, low, high, areaUnit, unit = read()
	require.Equal(t, "ft² oz wt", areaUnit+" "+unit)
	require.EqualValues(t, 120, area)
	require.LessOrEqual(t, high, 0.12*16, "0.12 lb is 1.92 oz")
	require.Greater(t, high, 0.12*16-0.1)
	require.GreaterOrEqual(t, low, 0.06*16)
	require.Less(t, low, 0.06*16+0.1)

	// Rounding is to the safe side at any size of bed.
	f.run("farm", "set", "--units", "metric")
	for i, size := range []string{"7 ft x 3 ft", "31.3 ft x 4.1 ft", "25 m x 1.2 m", "100 ft x 5 ft", "8.3 m x 0.75 m"} {
		bed := fmt.Sprintf("R%d", i+1)
		f.run("bed", "add", bed, "--size", size)
		f.run("stage", "planted", bed, "--date", "2026-05-12")
		f.run("count", bed, "slug", "soil=moist", "air=12C", "9*4")
	}
	var beds []struct {
		Code string  `json:"code"`
		Area float64 `json:"area_m2"`
	}
	f.data(&beds, "bed", "list")
	list := strings.Join(strings.Fields(f.run("week")), " ")
	for _, b := range beds {
		top := b.Area / (0.3048 * 0.3048) / 1000 * gramsPerPound
		m := regexp.MustCompile(b.Code + ` \([\d.]+ m²\): ([\d.]+) to ([\d.]+) g\b`).FindStringSubmatch(list)
		require.NotNil(t, m, b.Code)
		low, _ := strconv.ParseFloat(m[1], 64)
		high, _ := strconv.ParseFloat(m[2], 64)
		require.LessOrEqual(t, high, top+1e-9, b.Code)
		require.InDelta(t, top, high, 0.1, b.Code)
		require.GreaterOrEqual(t, low, top/2-1e-9, b.Code)
		require.InDelta(t, top/2, low, 0.1, b.Code)
		require.False(t, math.IsNaN(low))
	}
}

// ISO 8601: week 1 is the one with the year's first Thursday. 2026 begins on a
// Thursday, so it has 53 weeks, and the last of them reaches into January.
func TestWeeks_ISO8601(t *testing.T) {
	f := newField(t, "2027-01-10T12:00:00Z")
	f.run("farm", "new", "--name", "Week field", "--zone", "UTC", "--pests", "slug")
	f.run("bed", "add", "A1", "--size", "10 m x 1 m")
	for day, want := range map[string]string{
		"2026-01-01": "2026-W01",
		"2026-12-27": "2026-W52",
		"2026-12-28": "2026-W53",
		"2026-12-31": "2026-W53",
		"2027-01-03": "2026-W53",
		"2027-01-04": "2027-W01",
		"2024-12-30": "2025-W01",
		"2023-01-01": "2022-W52",
		"2021-01-03": "2020-W53",
	} {
		var w struct {
			Date string `json:"date"`
			Week string `json:"iso_week"`
		}
		f.data(&w, "week", "--date", day)
		require.Equal(t, day, w.Date)
		require.Equal(t, want, w.Week, day)
		text := f.run("week", "--date", day)
		require.Contains(t, text, "ISO week "+want, day)
		js := f.run("week", "--date", day, "--json")
		require.Contains(t, js, fmt.Sprintf("%q: %q", "week", want), day)
	}
}
