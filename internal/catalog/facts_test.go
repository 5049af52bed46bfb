package catalog_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/catalog"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

func load(tb testing.TB) *catalog.Catalog {
	tb.Helper()
	c, err := catalog.Load(units.Metric)
	require.NoError(tb, err)
	return c
}

// The numbers of rows of the tables that the facts were gathered in.
func TestRowCounts(t *testing.T) {
	c := load(t)
	require.Len(t, c.Pests(), 20)
	require.Equal(t, 42, slices.IndexFunc(c.AllProtocols(), func(p catalog.Protocol) bool { return strings.HasPrefix(p.Note, "ours: ") }), "sourced protocols come first")
	require.Len(t, c.AllThresholds(), 119)
	require.Len(t, c.AllReleaseRates(), 44)
	require.Len(t, c.Covers(), 26)
	require.Len(t, c.CoverEffects(""), 377)
	require.Len(t, c.Companions(""), 39)
	n := 0
	for _, a := range c.Actives() {
		n += len(c.SideEffects(a.Key))
	}
	require.Equal(t, 103, n, "every side effect is reached by its active")
}

func TestEveryPestIsComplete(t *testing.T) {
	c := load(t)
	produced := map[string]bool{}
	for _, p := range c.AllProtocols() {
		produced[p.Measure], produced[p.DamageMeasure] = true, true
	}
	for _, p := range c.Pests() {
		d, ok := c.Protocol(p.Key, "")
		require.True(t, ok && d.Default, "%s has a usual protocol", p.Key)
		require.Equal(t, d.Key, c.Protocols(p.Key)[0].Key, "the usual one comes first")
		require.NotEmpty(t, c.Thresholds(p.Key), p.Key)
		actions := c.Actions(p.Key)
		require.GreaterOrEqual(t, len(actions), 3, p.Key)
		require.LessOrEqual(t, len(actions), 8, p.Key)
		levels := map[string]int{}
		for _, a := range actions {
			levels[a.Level]++
		}
		require.Positive(t, levels["prevent"], "%s: a preventive step", p.Key)
		require.Positive(t, levels["act"], "%s: a step for act", p.Key)
		if d.Measure != "symphylans_per_bait" && d.Measure != "pct_stations_chewed" {
			any := false
			for _, s := range append([]farm.Stage{}, farm.Stages...) {
				dahlia, _ := c.ThresholdsFor(p.Key, d.Measure, s, false)
				any = any || len(dahlia) > 0
			}
			require.True(t, any, "%s: the usual protocol meets a row for dahlias", p.Key)
		}
		tay, ok := c.Taylor(p.Key, d.Unit)
		require.True(t, ok, p.Key)
		require.True(t, tay.K != nil || tay.A != nil)
		w, ok := c.PestByWord(p.Key)
		require.True(t, ok)
		require.Equal(t, p.Key, w.Key)
	}
	for _, th := range c.AllThresholds() {
		if !th.Transferred() && th.Operator != "none" {
			require.True(t, produced[th.Measure], "%s in %q: no protocol gives %s", th.Pest, th.Unit, th.Measure)
		}
	}
}

// Twenty-odd values against the page that each row names.
func TestPublishedValues(t *testing.T) {
	c := load(t)
	for _, x := range []struct {
		pest, crop, unit, stage, level string
		measure                        string
		at                             float64
		operator, source               string
	}{
		{"slug", "oilseed rape", "slugs/trap/night", "sowing to 4 true leaves", "act", "slugs_per_trap_night", 1, ">=", "AHDB"},
		{"slug", "winter cereals", "slugs/trap/night", "sowing to first tillers (GS21)", "act", "slugs_per_trap_night", 4, ">=", "HGCA"},
		{"slug", "winter wheat", "slugs/trap", "autumn sowing", "act", "slugs_per_trap", 5, ">", "SRUC"},
		{"spider_mite", "hop", "adult mites/leaf", "June", "act", "adult_mites_per_leaf", 2, ">", "Michigan State"},
		{"spider_mite", "hop", "mites/leaf", "mid-July on", "act", "mites_per_leaf", 10, ">=", "Michigan State"},
		{"spider_mite", "tomato, eggplant", "mites/leaflet", "fruiting", "act", "mites_per_leaflet", 4, ">=", "University of Delaware"},
		{"spider_mite", "landscape ornamentals", "mites/leaf", "any", "watch", "mites_per_leaf", 0.2, ">=", "Pacific Northwest"},
		{"spider_mite", "gardens and landscapes", "spider mites per predatory mite", "any", "watch", "mites_per_predator", 10, "<=", "UC IPM"},
		{"thrips", "greenhouse floriculture", "thrips/yellow card/week", "tospovirus present", "act", "thrips_per_card_week", 1, ">=", "Kent County"},
		{"thrips", "strawberry", "thrips/flower", "flowering", "act", "thrips_per_bloom", 10, ">=", "University of Maryland"},
		{"aphid", "table potato", "aphids/100 leaves", "any", "act", "aphids_per_leaf", 0.30, ">=", "Minnesota"},
		{"cucumber_beetle", "melon", "beetles/50 plants", "any", "act", "beetles_per_plant", 0.08, ">=", "Utah State"},
		{"lygus", "strawberry", "bugs/50 clusters", "bloom to green fruit", "act", "bugs_per_cluster", 0.4, ">=", "Penn State 1991"},
		{"leafhopper", "potato", "nymphs/100 leaves", "vegetative on", "act", "nymphs_per_leaf", 0.1, ">=", "University of Maine"},
		{"leafhopper", "alfalfa", "hoppers/sweep", "8 cm tall", "act", "hoppers_per_20_sweeps", 4, ">=", "University of Wisconsin"},
		{"caterpillar", "cole crops", "% plants infested", "mature head", "act", "pct_plants_with_larvae", 5, ">=", "Rutgers"},
		{"wireworm", "maize", "larvae/bait station", "pre-sowing", "act", "larvae_per_bait", 1, ">=", "University of Illinois"},
		{"wireworm", "maize", "Agriotes ustulatus larvae/bait trap", "pre-sowing", "act", "agriotes_ustulatus_per_bait", 5, ">=", "Furlan 2014"},
		{"wireworm", "maize", "larvae/5 shovelfuls", "pre-sowing", "act", "larvae_per_shovelful", 0.2, ">=", "University of Delaware"},
		{"symphylan", "mint", "symphylans/cubic ft of soil", "spring", "act", "symphylans_per_cubic_ft", 10, ">=", "Pacific Northwest"},
		{"symphylan", "strawberry", "baits with symphylans", "weeks before transplanting", "act", "baits_with_symphylans", 0, ">", "UC IPM Strawberry"},
		{"grasshopper", "any field crop", "nymphs/sq yd in field", "June", "act", "hoppers_per_sqft", 30.0 / 9, ">=", "North Dakota State"},
		{"tospovirus", "dahlia and other ornamentals", "plants confirmed", "any", "act", "plants_confirmed", 0, ">", "UMass"},
		{"crown_gall", "dahlia", "clumps with galls", "dividing, planting, digging", "act", "clumps_with_galls", 0, ">", "Pacific Northwest"},
	} {
		i := slices.IndexFunc(c.AllThresholds(), func(th catalog.Threshold) bool {
			return th.Pest == x.pest && th.Crop == x.crop && th.Unit == x.unit && th.StageWords == x.stage && th.Level == x.level
		})
		require.GreaterOrEqual(t, i, 0, "%+v", x)
		th := c.AllThresholds()[i]
		v, op, ok := th.At()
		require.True(t, ok)
		require.InDelta(t, x.at, v, 1e-12, "%+v", x)
		require.Equal(t, []string{x.measure, x.operator, catalog.Published}, []string{th.Measure, op, th.Basis})
		require.Contains(t, th.Source, x.source)
	}
	// A dahlia working level: 3 grasshoppers per square yard is 1/3 per square foot.
	dahlia, _ := c.ThresholdsFor("grasshopper", "hoppers_per_sqft", farm.Bloom, false)
	v, _, _ := dahlia[len(dahlia)-1].At()
	require.InDelta(t, 1.0/3, v, 1e-12)
}

func TestThresholdsFor(t *testing.T) {
	c := load(t)
	values := func(ts []catalog.Threshold) (out []float64) {
		for _, th := range ts {
			v, _, ok := th.At()
			if !ok {
				v = math.Inf(1)
			}
			out = append(out, v)
		}
		return out
	}
	none := math.Inf(1)
	for _, x := range []struct {
		pest, measure string
		stage         farm.Stage
		virus         bool
		dahlia, near  []float64
	}{
		{"slug", "slugs_per_trap_night", farm.Emerged, false, []float64{0.5, 1}, []float64{1, 4}},
		{"slug", "slugs_per_trap_night", farm.Bloom, false, []float64{2, 4}, []float64{1, 4}},
		{"slug", "slugs_per_trap_night", farm.PrePlant, false, nil, []float64{1, 4}},
		{"slug", "slugs_per_board", farm.Emerged, false, nil, nil}, // never compared with a trap
		{"spider_mite", "mites_per_leaf", farm.Pinched, false, []float64{1, 5}, []float64{5, 20, 5, 10, 20}},
		{"spider_mite", "mites_per_leaf", farm.Bloom, false, []float64{5, 10}, []float64{5, 20, 5, 10, 20}},
		{"earwig", "earwigs_per_trap_night", farm.Emerged, false, []float64{none}, nil},
		{"earwig", "earwigs_per_trap_night", farm.Bloom, false, []float64{2, 5}, nil},
		{"earwig", "earwigs_per_roll", farm.Bloom, false, nil, nil},
		{"thrips", "thrips_per_bloom", farm.Bloom, false, []float64{5, 10}, []float64{10}},
		{"thrips", "thrips_per_bloom", farm.Bloom, true, []float64{1}, nil},
		{"thrips", "thrips_per_card_week", farm.Bloom, true, nil, []float64{1}},
		{"thrips", "thrips_per_card_week", farm.Bloom, false, nil, []float64{15, 10, 18}},
		{"slug", "slugs_per_trap_night", farm.Emerged, true, []float64{0.5, 1}, []float64{1, 4}}, // no vector
		{"wireworm", "larvae_per_bait", farm.PrePlant, false, []float64{0.1, 1}, []float64{1}},
		{"wireworm", "larvae_per_bait", farm.Bloom, false, nil, []float64{1}},
		{"symphylan", "symphylans_per_bait", farm.PrePlant, false, nil, []float64{none}},
		{"symphylan", "symphylans_per_shovelful", farm.Emerged, false, []float64{1, 5}, []float64{5}},
		{"nobody", "slugs_per_board", farm.Emerged, false, nil, nil},
	} {
		dahlia, near := c.ThresholdsFor(x.pest, x.measure, x.stage, x.virus)
		require.Equal(t, x.dahlia, values(dahlia), "%+v", x)
		require.Equal(t, x.near, values(near), "%+v", x)
	}
	dahlia, _ := c.ThresholdsFor("earwig", "earwigs_per_trap_night", farm.Budding, false)
	require.InDelta(t, 10, dahlia[1].NeedsDamagePct, 0, "earwigs: numbers and chewed blooms")
	require.False(t, dahlia[1].Transferred())
	require.Equal(t, catalog.CommonPractice, dahlia[1].Basis)
}

func TestWords(t *testing.T) {
	c := load(t)
	for word, want := range map[string]string{"Slugs": "slug", "TSSM": "spider_mite", "spider mites": "spider_mite", "spider-mite": "spider_mite", "mite": "spider_mite", "earwigs": "earwig", "dmv": "dahlia_mosaic", "mosaic": "dahlia_mosaic", "gall": "crown_gall", "tswv": "tospovirus", " pm ": "powdery_mildew"} {
		p, ok := c.PestByWord(word)
		require.True(t, ok, word)
		require.Equal(t, want, p.Key, word)
	}
	for _, word := range []string{"", "wombat", "virus", "worm", "s lug"} {
		_, ok := c.PestByWord(word)
		require.False(t, ok, "%q names nothing, or more than one thing", word)
	}
	for _, x := range [][3]string{
		{"earwig", "board", "earwig_shelter"}, {"earwig", "shelter", "earwig_shelter"}, {"earwig", "", "earwig_shelter"},
		{"slug", "board", "slug_board"}, {"slug", "TRAP", "slug_trap"}, {"slug", "", "slug_trap"},
		{"spider_mite", "", "mite_leaf"}, {"spider_mite", "leaf5", "mite_leaf5"}, {"thrips", "", "thrips_bloom"},
		{"wireworm", "baits", "wireworm_bait"}, {"symphylan", "", "symphylan_bait"}, {"symphylan", "shovel", "symphylan_shovel"},
		{"powdery_mildew", "", "mildew_plant"}, {"cucumber_beetle", "plant", "cucumber_beetle_plant"},
	} {
		p, ok := c.Protocol(x[0], x[1])
		require.True(t, ok, x)
		require.Equal(t, x[2], p.Key)
	}
	for _, x := range [][2]string{{"slug", "leaf"}, {"slug", "!"}, {"", "plant"}, {"", ""}, {"nobody", ""}} {
		_, ok := c.Protocol(x[0], x[1])
		require.False(t, ok, x)
	}
	e, ok := c.EnemyByWord("Predatory Mites")
	require.True(t, ok)
	require.InDelta(t, 10, e.HoldValue, 0) // 1 predator per 10 mites: UC IPM Pest Notes: Spider Mites
	require.Equal(t, []string{"prey_per_enemy", "spider_mite", "hold", catalog.Published}, []string{e.HoldKind, e.HoldPest, e.HoldEffect, e.Basis})
	for _, w := range c.EnemyWords() {
		require.NotContains(t, c.PestWords(), w, "a word of a note cannot be pest and enemy")
	}
	require.True(t, slices.IsSorted(c.PestWords()) && slices.IsSorted(c.UnitWords("slug")))
}

func TestProtocol_Scale(t *testing.T) {
	c := load(t)
	trap, _ := c.Protocol("slug", "trap")
	require.InDelta(t, 1.0/3, trap.Scale(3), 1e-15, "6 slugs over 3 nights are 2 a night")
	require.InDelta(t, 1, trap.Scale(0), 0)
	card, _ := c.Protocol("thrips", "card")
	require.InDelta(t, 1, card.Scale(0), 0)
	require.InDelta(t, 0.5, card.Scale(14), 0)
	roll, _ := c.Protocol("earwig", "roll")
	require.InDelta(t, 1, roll.Scale(21), 0, "a long-stay roll is never divided")
}

func TestPestStages(t *testing.T) {
	c := load(t)
	gall, _ := c.Pest("crown_gall")
	for s, want := range map[farm.Stage]bool{farm.PrePlant: true, farm.Planted: true, farm.Bloom: false, farm.Dug: true} {
		require.Equal(t, want, gall.Scouted(s), s)
	}
	lygus, _ := c.Pest("lygus")
	require.Equal(t, []int{7, 4}, []int{lygus.Interval(farm.Pinched), lygus.Interval(farm.Bloom)}) // twice a week from bud: OMAFRA
	thrips, _ := c.Pest("thrips")
	require.Equal(t, "tospovirus", thrips.Vector)
}

func TestReleaseRates(t *testing.T) {
	c := load(t)
	rates := c.ReleaseRates("phytoseiulus_persimilis")
	require.Len(t, rates, 9)
	var offered []float64
	for _, r := range rates {
		if r.Offer {
			offered = append(offered, *r.Rate)
		}
	}
	// Opit et al. 1:4; Amoah et al. 2016 1:10; Benha 1:5; working default 4 per m2.
	require.Equal(t, []float64{0.25, 0.1, 0.2, 4}, offered)
	for _, r := range c.AllReleaseRates() {
		if strings.Contains(r.Outcome, "FAILED") || strings.Contains(r.Outcome, "did NOT") || r.Rate == nil {
			require.False(t, r.Offer, "%s %s", r.Agent, r.Outcome)
		}
	}
	phas := c.ReleaseRates("phasmarhabditis")[0]
	low, high, ok := phas.PerM2() // 3 x 10^9 per ha: CABI abstract 19971100479
	require.True(t, ok)
	require.Equal(t, []float64{300000, 300000}, []float64{low, high})
	sachet := c.ReleaseRates("amblyseius_andersoni")[0]
	low, _, ok = sachet.PerM2()
	require.True(t, ok)
	require.InDelta(t, 0.5, low, 0, "one sachet per 2 m2")
	_, _, ok = rates[0].PerM2()
	require.False(t, ok, "a ratio is not per area")
	for _, a := range c.Agents("") {
		require.NotEmpty(t, c.ReleaseRates(a.Key), a.Key)
	}
	require.Len(t, c.Agents("slug"), 2)
}

func TestWaitDays(t *testing.T) {
	c := load(t)
	for _, x := range []struct {
		active, agent string
		days          int
		known, clash  bool
	}{
		{"abamectin", "phytoseiulus_persimilis", 30, true, true},         // ESA 2006 paper 25232: 15; Cote et al.: 1; default 30
		{"etoxazole", "neoseiulus_fallacis", 31, true, false},            // ESA 2006 paper 25232: over 30 d
		{"bifenazate", "neoseiulus_californicus", 15, true, false},       // ESA 2006 paper 25232
		{"Spinosad", "orius_insidiosus", 7, true, true},                  // Biondi et al. 2012 class 3, Williams et al. 2003 class 1
		{"azadirachtin", "orius_insidiosus", 5, true, true},              // Tedeschi et al. 2001; classes 1 to 4
		{"neem extract", "aphidius_colemani", 5, true, false},            // by another name
		{"insecticidal soap", "phytoseiulus_persimilis", 1, true, false}, // until dry
		{"btk", "chrysoperla_carnea", 0, true, false},                    // none
		{"iron phosphate", "phytoseiulus_persimilis", 0, true, false},    // soil bait, common practice
		{"ferric phosphate", "phasmarhabditis", 0, false, false},         // no data found
		{"metaldehyde", "phasmarhabditis", 0, false, false},              // nothing known
		{"chlorantraniliprole", "orius_insidiosus", 0, false, false},     // a class, but no time
		{"permethrin", "phytoseiulus_persimilis", 30, true, false},       // a pyrethroid
		{"unobtainium", "phytoseiulus_persimilis", 0, false, false},      // refuse
		{"spinosad", "nobody", 0, false, false},
	} {
		days, known, rows, clash := c.WaitDays(x.active, x.agent)
		require.Equal(t, []any{x.days, x.known, x.clash}, []any{days, known, clash}, "%+v", x)
		for i := 1; i < len(rows); i++ {
			require.GreaterOrEqual(t, rows[i-1].Class, rows[i].Class, "worst class first")
		}
	}
	_, _, rows, _ := c.WaitDays("spinosad", "orius_insidiosus")
	require.Equal(t, 3, rows[0].Class)
	d, ok := c.DefaultWait("ferric phosphate", "nematodes")
	require.True(t, ok)
	require.Nil(t, d.Days)
	require.NotEmpty(t, d.Text)
}

// No row in use is ever longer than the answer.
func TestWaitDays_LongestWins(t *testing.T) {
	c := load(t)
	actives, agents := c.Actives(), c.Agents("")
	rapid.Check(t, func(rt *rapid.T) {
		a := rapid.SampledFrom(actives).Draw(rt, "active")
		g := rapid.SampledFrom(agents).Draw(rt, "agent")
		days, known, rows, _ := c.WaitDays(strings.ToUpper(a.Key), g.Key)
		for _, r := range rows {
			if r.ResidualDays != nil && (!known || *r.ResidualDays > days) {
				rt.Fatalf("%s on %s: %d days, but a row says %d", a.Key, g.Key, days, *r.ResidualDays)
			}
		}
		if !known && days != 0 {
			rt.Fatalf("unknown, yet %d days", days)
		}
	})
}

func TestTaylor(t *testing.T) {
	c := load(t)
	leaflet, _ := c.Taylor("spider_mite", "leaflet")
	require.InDelta(t, math.Exp(1.76), *leaflet.A, 5e-7) // Raworth 1986: ln a 1.76, b 1.64
	require.InDelta(t, 1.64, *leaflet.B, 0)
	require.Equal(t, "strawberry", leaflet.Crop)
	leaf, _ := c.Taylor("spider_mite", "leaves")
	require.Equal(t, []any{3.30, 1.49, catalog.FromMemory}, []any{*leaf.A, *leaf.B, leaf.Basis}) // Jones 1990
	onion, _ := c.Taylor("thrips", "plant")
	require.Equal(t, []float64{2.586, 1.511}, []float64{*onion.A, *onion.B}) // Soto-Rojas et al. 2021
	web, _ := c.Taylor("caterpillar", "plant")
	require.Equal(t, []float64{1.265401, 1.129167}, []float64{*web.A, *web.B}) // recomputed from Beall 1940
	bloom, _ := c.Taylor("thrips", "bloom")
	require.Nil(t, bloom.A)
	require.Equal(t, catalog.CommonPractice, bloom.Basis)
	_, ok := c.Taylor("nobody", "leaf")
	require.False(t, ok)
	for _, x := range c.AllTaylor() {
		if x.K != nil {
			require.True(t, *x.K >= 0.5 && *x.K <= 1, x.Pest)
			require.Contains(t, x.Note, "chosen default")
		}
	}
}

func TestCovers(t *testing.T) {
	c := load(t)
	rye := c.Covers()[0]
	require.Equal(t, "cereal_rye", rye.Key)
	require.Equal(t, []catalog.Window{{FromFrost: "FF", From: -45, ToFrost: "FF", To: 21}}, rye.Windows)
	require.InDelta(t, -56, *rye.NLow, 0) // PNW 636
	require.Equal(t, "mixed", rye.Basis)
	for _, x := range c.Covers() {
		// lb/acre = 43.56 lb/1000 sq ft; kg/ha = 1.12085 lb/acre, both rounded in print.
		require.InDelta(t, *x.DrillKgHaMin, *x.DrillLbMin*48.8242763638305, 0.5+48.83*0.005, x.Key)
		n := 0
		for _, e := range c.CoverEffects(x.Key) {
			if e.Pest != "" {
				n++
			}
		}
		require.Equal(t, 13, n, x.Key)
	}
	require.Len(t, c.CoverEffects("grass_sod"), 13)
	require.Len(t, c.Companions("caterpillar"), 1)
}

// Steps are short, hold no trade name and no word that promises safety.
func TestTexts(t *testing.T) {
	c := load(t)
	// A trade name is written with a capital: only these words may have one
	// inside a sentence.
	names := []string{"Bt", "°C", "Phytoseiulus", "June"}
	check := func(where, text string) {
		require.NotContains(t, strings.ToLower(text), "pet safe", where)
		require.False(t, strings.ContainsAny(text, "®™"), where)
	}
	for _, p := range c.Pests() {
		for _, a := range c.Actions(p.Key) {
			require.LessOrEqual(t, utf8.RuneCountInString(a.Text), 90, a.Key)
			require.LessOrEqual(t, utf8.RuneCountInString(a.Why), 100, a.Key)
			require.NotContains(t, a.Text, ". ", "%s: one sentence", a.Key)
			require.False(t, strings.HasSuffix(a.Text, "."), a.Key)
			for _, w := range strings.Fields(a.Text)[1:] {
				w = strings.Trim(w, ",;:()")
				require.True(t, w == strings.ToLower(w) || slices.Contains(names, w), "%s: %q looks like a trade name", a.Key, w)
			}
			check(a.Key, fmt.Sprint(a.Text, a.Amount, a.When, a.Why))
			if a.Safety != "" {
				_, ok := c.Safety(a.Safety)
				require.True(t, ok)
			}
			if p.Kind == "disease" && a.Level == "act" {
				require.NotEqual(t, 3, a.Rung, "no release against a disease")
			}
		}
		check(p.Key, p.Damage+p.LookAlikes+p.FavouredBy)
	}
	for _, s := range c.AllSafety() {
		check(s.Key, strings.Join(s.Lines, " ")+s.Detail)
	}
	for _, k := range []string{"blades", "bleach", "bees", "pets", "water", "people", "soap_burn", "heat", "product"} {
		_, ok := c.Safety(k)
		require.True(t, ok, k)
	}
	bleach, _ := c.Safety("bleach") // Iowa State University Extension: 1 part in 9, 10 minutes
	require.Contains(t, bleach.Lines[0], "1 part bleach in 9 parts water, 10 minutes")
	require.Contains(t, bleach.Lines[1], "acids or ammonia")
}

// Callers may change the lists that they are given.
func TestListsAreCopies(t *testing.T) {
	c := load(t)
	c.Pests()[0].Key = "x"
	c.AllThresholds()[0].Pest = "x"
	c.Thresholds("slug")[0].Pest = "x"
	c.Actions("slug")[0].Key = "x"
	require.Equal(t, "slug", c.Pests()[0].Key)
	require.Equal(t, "slug", c.AllThresholds()[0].Pest)
	require.Equal(t, "slug", c.Thresholds("slug")[0].Pest)
	require.Equal(t, "slug_clean_edges", c.Actions("slug")[0].Key)
}

// Where a level says act, there is something to do besides prevention.
func TestActions_AnswerEachLevel(t *testing.T) {
	c := load(t)
	for _, p := range c.Pests() {
		for _, l := range c.Thresholds(p.Key) {
			if _, op, _ := l.At(); l.Kind != "act" || l.Transferred() || op == "none" {
				continue
			}
			for _, stage := range farm.Stages {
				if !stage.Between(l.From, l.To) || !p.Scouted(stage) {
					continue
				}
				assert.True(t, slices.ContainsFunc(c.Actions(p.Key), func(a catalog.Action) bool {
					return a.Rung > 1 && stage.Between(a.From, a.To)
				}), "%s over its level at the stage %s", p.Key, stage)
			}
		}
	}
}

// A product carries the cautions of every product and those of what is in it;
// a statement that nobody has read counts as one.
func TestProductSafety(t *testing.T) {
	c := load(t)
	for _, s := range c.AllSafety() {
		for _, a := range s.Actives {
			key, ok := c.ActiveKey(a)
			require.True(t, ok && key == a, "%s: %s is a canonical name", s.Key, a)
		}
	}
	keys := func(l farm.Label) (out []string) {
		for _, s := range c.ProductSafety(l) {
			out = append(out, s.Key)
		}
		return out
	}
	active := func(names ...string) (out []farm.Active) {
		for _, n := range names {
			out = append(out, farm.Active{Name: n})
		}
		return out
	}
	none := farm.Label{Bees: farm.None[string](), WaterBuffer: farm.None[float64](), Formulation: farm.Value("granule"), LabelMore: farm.LabelMore{NoWater: farm.None[bool]()}}
	require.Equal(t, []string{"pets_unknown", "product"}, keys(none))
	none.Formulation = farm.Value("liquid")
	require.Equal(t, []string{"pets_unknown", "people", "product"}, keys(none), "40 CFR 170.405")
	none.Formulation = farm.Value("granule")
	require.Equal(t, []string{"bees", "pets_unknown", "water", "people", "product"}, keys(farm.Label{}))
	none.NoActives = true
	require.Equal(t, []string{"product"}, keys(none), "it was read that there is none")
	none.NoActives = false
	for state, want := range map[farm.Stated[bool]][]string{farm.Value(true): {"pets_unknown", "water", "product"}, farm.Value(false): {"pets_unknown", "product"}, {}: {"pets_unknown", "water", "product"}} {
		x := none
		x.NoWater = state
		require.Equal(t, want, keys(x), state)
	}
	none.WaterBuffer = farm.Value(0.0)
	require.Equal(t, []string{"pets_unknown", "product"}, keys(none))
	none.Actives = active("Iron Phosphate")
	require.Equal(t, []string{"pets", "product"}, keys(none))
	none.Actives = active("metaldehyde")
	require.Equal(t, []string{"pets", "product"}, keys(none))
	none.Actives = active("insecticidal soap")
	require.Equal(t, []string{"pets_unknown", "soap_burn", "product"}, keys(none))
	none.Actives = active("sulphur", "mineral oil")
	require.Equal(t, []string{"pets_unknown", "soap_burn", "heat", "product"}, keys(none))
	none.Actives = active("ferric phosphate", "spinosad")
	require.Equal(t, []string{"pets", "pets_unknown", "product"}, keys(none), "of one of the two nothing is known")
	none.Actives = active("Iron(III) phosphate (1.0%)")
	require.Equal(t, []string{"pets", "product"}, keys(none), "what stands behind the name does not hide it")
	none.Actives = active("an invented active")
	require.Equal(t, []string{"pets_unknown", "product"}, keys(none))
}

// The times of a generation, as the sources give them.
func TestGeneration(t *testing.T) {
	c := load(t)
	slug, ok := c.Generation("slug") // 27 to 30 weeks
	require.True(t, ok)
	require.Equal(t, 27*7, slug.Days)
	require.Equal(t, 30*7, slug.DaysMax)
	mite, _ := c.Generation("spider_mite") // 146.48 °C-days above 12.5 °C
	require.Equal(t, []float64{146.48, 12.5}, []float64{mite.DegreeDays, mite.BaseC})
	aphid, _ := c.Generation("aphid") // 135.7 °C-days above 4.0 °C
	require.Equal(t, []float64{135.7, 4}, []float64{aphid.DegreeDays, aphid.BaseC})
	_, ok = c.Generation("earwig")
	require.False(t, ok)
}

// A scouting round can be timed: every unit of every protocol has its minutes.
func TestMinutes(t *testing.T) {
	c := load(t)
	for _, p := range c.AllProtocols() {
		m, ok := c.MinutesFor(p.Unit)
		require.True(t, ok, "no minutes for %s", p.Unit)
		require.Positive(t, m.Each)
	}
	_, ok := c.MinutesFor("nothing")
	require.False(t, ok)
}
