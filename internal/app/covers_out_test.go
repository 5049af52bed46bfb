package app

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/cover"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/report"
	"leafturn/internal/units"
)

// Each calendar tells of its own entries, and every entry is told by one.
func TestLedgerOf(t *testing.T) {
	var all []farm.CalendarEntry
	for _, uid := range []string{"order-mite-a1@x", "plan-do-mite-a1@x", "covers-sow-winter-oats-a1@x", "planting-a1@x", "coversion@x", "rei-12-b3@x"} {
		all = append(all, farm.CalendarEntry{UID: uid})
	}
	n := 0
	for part, want := range map[string][]string{weekPart: {"order-mite-a1@x", "planting-a1@x", "coversion@x", "rei-12-b3@x"}, planPart: {"plan-do-mite-a1@x"}, coversPart: {"covers-sow-winter-oats-a1@x"}} {
		var got []string
		for _, e := range ledgerOf(all, part) {
			got = append(got, e.UID)
		}
		require.Equal(t, want, got, part)
		n += len(got)
	}
	require.Equal(t, len(all), n)
}

func TestFew(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 0.0334: "0.033", 0.32: "0.32", 0.9996: "1", 1.234: "1.23", 2.5: "2.5", 9.996: "10", 10: "10", 12.34: "12.3", 99.96: "100", 120: "120", 4521.3: "4521"} {
		require.Equal(t, want, few(v))
	}
}

// A farm reads its own units: 1 lb = 0.45359237 kg and 1 ft = 0.3048 m (NIST SP 811).
func TestOwnUnits(t *testing.T) {
	metric, us := &App{farm: farm.Farm{Units: units.Metric}}, &App{farm: farm.Farm{Units: units.US}}
	require.Equal(t, "2.27 kg", metric.weight(5*0.45359237))
	require.Equal(t, "5 lb", us.weight(5*0.45359237))
	require.Equal(t, "100 kg/ha", metric.rate(100))
	require.Equal(t, "2.05 lb per 1000 sq ft", us.rate(100)) // 100 kg/ha is 0.92903 kg on 92.903 m²
	require.Equal(t, "2.09 USD/kg", metric.price(0.95/0.45359237))
	require.Equal(t, "0.95 USD/lb", us.price(0.95/0.45359237))
}

// Every rate and price of the catalogue is led home: to where it was read, or to
// its basis in words.
func TestReadAt_Catalogue(t *testing.T) {
	cat, err := loadCatalog()
	require.NoError(t, err)
	found := 0
	for _, c := range cat.Covers() {
		ref := readAt(c, c.Bases.Rate, "rate", "broadcast rate", "drill rate", "garden rate")
		require.NotEmpty(t, ref.Basis, c.Key)
		if ref.Source != "" {
			found++
			require.NotContains(t, ref.Source, "http", c.Key)
			require.True(t, strings.HasPrefix(ref.URL, "http"), c.Key)
			require.Contains(t, c.Source, ref.Source+" "+ref.URL, c.Key)
		}
		if price := readAt(c, c.Bases.Price, "price"); c.PriceUSDLbLow != nil {
			require.NotEmpty(t, price.Source, c.Key)
		}
	}
	require.Greater(t, found, 15)
	require.Equal(t, "x (partly published, partly from memory)", lineText(citeCover("x", readAt(cat.Covers()[0], "mixed", "nothing"), &sources{})))
	require.Equal(t, "x (from memory)", lineText(citeCover("x", readAt(cat.Covers()[0], "from memory", ""), &sources{})))
}

func lineText(l report.Line) string {
	var out []string
	for _, p := range l.Parts() {
		out = append(out, p.Words())
	}
	return strings.Join(out, "")
}

func TestShortNames(t *testing.T) {
	cell := func(id string) cover.Cell {
		return cover.Cell{Key: id, Option: cover.Option{Crop: cover.Crop{ID: id}}}
	}
	none := cover.Cell{Key: cover.None}
	var p cover.Plan
	for _, id := range []string{"cereal_rye", "cereal_rye", "red_clover", "white_clover", "cereal_rye+field_pea"} {
		p.Beds = append(p.Beds, cover.BedPlan{Winter: cell(id), Rest: none})
	}
	p.Beds = append(p.Beds, cover.BedPlan{Winter: none, Rest: cell("sunn_hemp")})
	require.Equal(t, map[string]string{"cereal_rye": "rye", "red_clover": "", "white_clover": "", "cereal_rye+field_pea": "rye+pea"}, shortNames(p, cover.BeforePlanting))
	require.Equal(t, map[string]string{"sunn_hemp": "hemp"}, shortNames(p, cover.RestYear))
}

// Stored rows become the covers that stand: the crops of a mix together, in the
// window that their dates say, and nothing of another day.
func TestSownCovers(t *testing.T) {
	cat, err := loadCatalog()
	require.NoError(t, err)
	a := &App{cat: cat}
	in := coverPlan{options: a.coverChoices(), beds: []cover.Bed{{Code: "A1", PlantBy: civil.MustParse("2027-05-15")}, {Code: "A2", PlantBy: civil.MustParse("2027-05-15")}}}
	row := func(bed, crop, sow, kill string) farm.PlannedCover {
		return farm.PlannedCover{Bed: bed, Cover: crop, Sow: civil.MustParse(sow), Kill: civil.MustParse(kill)}
	}
	stored := []farm.PlannedCover{
		row("A1", "field_pea", "2026-10-28", "2027-04-24"), row("A1", "cereal_rye", "2026-10-28", "2027-04-24"),
		row("A2", "phacelia", "2026-10-28", "2027-05-05"), row("A2", "phacelia", "2026-09-01", "2027-10-05"), row("A2", "buckwheat", "2026-09-01", "2027-10-05"),
		row("A1", "oats", "2027-03-01", "2027-05-01"), row("A1", "oats", "2025-10-28", "2026-04-24"), row("A1", "moonwort", "2026-10-01", "2027-04-24"),
	}
	var got []string
	for _, x := range a.sownCovers(stored, in, civil.MustParse("2026-11-05")) {
		got = append(got, fmt.Sprintf("%s %s %s", x.Bed, x.Option.Key(), x.Sow))
	}
	require.Equal(t, []string{"A1 cereal_rye+field_pea 2026-10-28", "A2 phacelia 2026-10-28", "A2 buckwheat+phacelia (rest) 2026-09-01"}, got)
}

// Rules may use the words that people have for covers and pests; a word that two
// covers share means neither, and no cover takes a word of the rules.
func TestCoverNames(t *testing.T) {
	cat, err := loadCatalog()
	require.NoError(t, err)
	a := &App{cat: cat, names: newNames(cat, []farm.Bed{{Code: "A1"}})}
	read := func(line string) (ingest.CoverRule, error) {
		rules, err := ingest.ReadCoverRules(nil, "", []string{line}, a.coverNames(), civil.MustParse("2026-10-20"))
		if err != nil {
			return ingest.CoverRule{}, err
		}
		return rules[0], nil
	}
	for word, want := range map[string]string{
		"cereal_rye": "cereal_rye", "rye": "cereal_rye", "Cereal rye": "cereal_rye", "cereal (winter) rye": "cereal_rye", "Secale cereale": "cereal_rye",
		"wheat": "winter_wheat", "Winter wheat": "winter_wheat", "pea": "field_pea", "hemp": "sunn_hemp", "brown mustard": "brown_mustard", "turnip": "forage_turnip",
		"rye + pea": "cereal_rye+field_pea", "oats": "oats",
	} {
		r, err := read("pin A1 winter " + word)
		require.NoError(t, err, word)
		require.Equal(t, want, r.Cover, word)
	}
	for _, word := range []string{"mustard", "vetch", "clover", "white", "winter", "rest", "moonwort"} {
		_, err := read("pin A1 winter " + word)
		require.ErrorContains(t, err, "unknown cover", word)
	}
	for word, want := range map[string]string{"slugs": "slug", "mite": "spider_mite", "lesion nematode": "nematode_lesion", "nematode_rootknot": "nematode_rootknot", "Verticillium": "soil_verticillium"} {
		r, err := read("pressure A1 " + word + " 2")
		require.NoError(t, err, word)
		require.Equal(t, want, r.Pest, word)
	}
	for _, c := range cat.Covers() { // a key and a name always mean their own cover
		for _, word := range []string{c.Key, c.Name} {
			r, err := read("forbid " + word)
			require.NoError(t, err, word)
			require.Equal(t, c.Key, r.Cover)
			again, err := read(r.String())
			require.NoError(t, err)
			require.Equal(t, c.Key, again.Cover)
		}
	}
	for word := range a.coverNames().Viruses {
		r, err := read("virus A1 " + word)
		require.NoError(t, err)
		_, err = read(r.String())
		require.NoError(t, err, word)
	}
	_, err = read("pin A1 winter Ceral  ry")
	require.ErrorContains(t, err, `did you mean "cereal_rye"?`)
}
