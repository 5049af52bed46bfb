package catalog_test

import (
	"errors"
	"io/fs"
	"os"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"leafturn/internal/catalog"
	"leafturn/internal/diag"
	"leafturn/internal/units"
)

// copyFS returns the data files as a file system that a test may change.
func copyFS(tb testing.TB) fstest.MapFS {
	tb.Helper()
	out := fstest.MapFS{}
	entries, err := os.ReadDir("data")
	require.NoError(tb, err)
	for _, e := range entries {
		data, err := os.ReadFile("data/" + e.Name())
		require.NoError(tb, err)
		out[e.Name()] = &fstest.MapFile{Data: data}
	}
	return out
}

func problems(tb testing.TB, err error) []*diag.Problem {
	tb.Helper()
	var l *diag.List
	require.True(tb, errors.As(err, &l), "%v", err)
	return l.Problems
}

func TestLoad_EmbeddedIsClean(t *testing.T) {
	c, err := catalog.Load(units.Metric)
	require.NoError(t, err)
	require.Regexp(t, regexp.MustCompile(`^\d{4}-\d\d-\d\d\+[0-9a-f]{8}$`), c.Version)
	again, err := catalog.LoadFS(copyFS(t), units.Metric)
	require.NoError(t, err)
	require.Equal(t, c.Version, again.Version, "embedded and on disk are the same files")

	changed := copyFS(t)
	changed["safety.csv"].Data = []byte(strings.Replace(string(changed["safety.csv"].Data), "10 minutes", "11 minutes", 1))
	other, err := catalog.LoadFS(changed, units.Metric)
	require.NoError(t, err)
	require.NotEqual(t, c.Version, other.Version, "any change of a fact changes the version")
}

// Each case damages one field of a sound table. mark is the text at which the
// damaged field then begins; its place is worked out here from the text and
// must be the place that the problem names.
func TestLoad_BrokenRows(t *testing.T) {
	for name, c := range map[string]struct {
		file, old, new, mark, want string
	}{
		"pest: trailing space":           {"pests.csv", "slug,slugs,", "slug,slugs ,", "slugs ,", `name: space at the end or start of "slugs "`},
		"pest: unknown stage":            {"pests.csv", ",0,,preplant,bloom,", ",0,,preplant,blom,", "blom,", `unknown stage "blom"; did you mean "bloom"?`},
		"pest: stages upside down":       {"pests.csv", ",0,,preplant,bloom,", ",0,,dug,bloom,", "bloom,", "scout_to: bloom comes before dug: the range is upside down"},
		"pest: duplicate key":            {"pests.csv", "earwig,earwigs", "slug,earwigs", "slug,earwigs", `key: "slug" stands twice`},
		"pest: alias of two pests":       {"pests.csv", "tssm;", "slugs;", "mite;mites", `"slugs" already names another row`},
		"pest: unknown vector":           {"pests.csv", ",0,tospovirus,", ",0,tospo,", "tospo,budding", `vector: unknown word "tospo"`},
		"pest: missing basis":            {"pests.csv", `,common practice,,,"looked`, `,,,,"looked`, `,,,"looked`, "basis: is empty"},
		"pest: stale before due":         {"pests.csv", ",6,7,planted,emerged,4,10,", ",6,7,planted,emerged,4,5,", `5,"Shoots`, "5 is below the interval of 7 days"},
		"enemy: half a rule":             {"enemies.csv", "spider_mite,10,hold", "spider_mite,,hold", ",hold,Hold while", "a hold rule needs kind, pest, value and effect"},
		"enemy: unknown prey":            {"enemies.csv", "stethorus;spider_mite_destroyer,spider_mite,", "stethorus;spider_mite_destroyer,spider_mit,", "spider_mit,", `preys_on: unknown word "spider_mit"`},
		"protocol: unknown measure":      {"protocols.csv", "refuge trap,slugs_per_trap_night", "refuge trap,slugs_per_trap_nite", "slugs_per_trap_nite", `unknown word "slugs_per_trap_nite"; did you mean "slugs_per_trap_night"?`},
		"protocol: presence with mean":   {"protocols.csv", ",pct_leaves_5plus_mites,", ",mites_per_leaf,", "mites_per_leaf,,presence", "does not go with this kind of sample"},
		"protocol: unit twice":           {"protocols.csv", "slug_slate,slug,,slate,", "slug_slate,slug,,trap,", "slates;tile", `"trap" already names a unit`},
		"protocol: second default":       {"protocols.csv", "13,5,0,1,1,moist,,air,soil,0,", "13,5,0,1,1,moist,,air,soil,1,", `1,"As the refuge`, "a second usual protocol for slug"},
		"protocol: note of nothing":      {"protocols.csv", "13,5,0,1,1,moist,,air,soil,0,", "13,5,0,1,1,moist,,air,foliage,0,", "foliage,0", `"foliage" is no condition of this protocol`},
		"protocol: temperature flip":     {"protocols.csv", "1,9,14,5,25,", "1,9,14,26,25,", "25,soil", "the range is upside down"},
		"protocol: NaN":                  {"protocols.csv", "1,9,14,5,25,", "1,9,14,NaN,25,", "NaN,25", `"NaN" is not a number`},
		"measure: published bare":        {"measures.csv", "slugs_per_board,slugs per board,mean,slug per board,common practice,,", "slugs_per_board,slugs per board,mean,slug per board,published,,https://example.org", ",https://example.org", "a published row without a source"},
		"measure: nothing behind 1":      {"measures.csv", "slugs per board,mean,slug per board,", "slugs per board,mean,,", ",common practice,,,\"a definition, not a finding\"\nslugs_per_metre", "one: a mean says here what stands behind 1"},
		"measure: 1 of a percentage":     {"measures.csv", "% of shoots with fresh feeding,pct,,", "% of shoots with fresh feeding,pct,shoot,", "shoot,common", "one: a mean says here what stands behind 1"},
		"look: unknown active":           {"looks.csv", "bacillus thuringiensis aizawai,caterpillar,", "bacillus thuringiensis aizawa,caterpillar,", "bacillus thuringiensis aizawa,", `active_key: unknown word "bacillus thuringiensis aizawa"`},
		"look: unknown pest":             {"looks.csv", "aizawai,caterpillar,", "aizawai,caterpilar,", "caterpilar,", `pest_key: unknown word "caterpilar"; did you mean "caterpillar"?`},
		"look: no answer that fails":     {"looks.csv", "large_larvae;sawfly_larvae,", ",", ",the larvae are of moths", "fails: needs answers, none of them the one that fits"},
		"look: fits and fails":           {"looks.csv", "large_larvae;sawfly_larvae,", "small_larvae,", "small_larvae,the larvae", "fails: needs answers, none of them the one that fits"},
		"look: no key":                   {"looks.csv", "large_larvae;sawfly_larvae,", "Large larvae,", "Large larvae,", `fails: "Large larvae" is not in the form of a key`},
		"look: a step's name":            {"looks.csv", "large_larvae;sawfly_larvae,", "bt,", "bt,the larvae", `fails: "bt" is not in the form of a key, or is a step against the pest`},
		"look: no question":              {"looks.csv", "the larvae are of moths and under {1 cm},", ",", ",it works", "question: is empty"},
		"look: no days":                  {"looks.csv", "by hand at dusk,3,", "by hand at dusk,,", ",common practice", "days: is empty"},
		"look: days of no end":           {"looks.csv", "by hand at dusk,3,", "by hand at dusk,90,", "90,common", `days: "90" is not a whole number from 1 to 60`},
		"look: twice":                    {"looks.csv", "bacillus thuringiensis kurstaki,caterpillar,small_larvae,", "bacillus thuringiensis aizawai,caterpillar,tiny_larvae,", "bacillus thuringiensis aizawai,caterpillar,tiny_larvae,", `active_key: "bacillus thuringiensis aizawai|caterpillar" stands twice`},
		"threshold: hoppers per nothing": {"thresholds.csv", "grasshopper,hoppers_per_sqft,1/9,,", "grasshopper,hoppers_per_sqft,1/0,,", "1/0", `"1/0" is not a factor`},
		"threshold: hoppers, no number":  {"thresholds.csv", "square-foot counts or 4 sweeps,act,30,>=", "square-foot counts or 4 sweeps,act,thirty,>=", "thirty", `value: "thirty" is not a number`},
		"threshold: hoppers, transfer":   {"thresholds.csv", "grasshopper,hoppers_per_sqft,1/9,,,", "grasshopper,hoppers_per_sqft,1/9,planted,bloom,", "planted,bloom,,,,,act,,,,,,grasshoppers,,any", "stages of a bed on a row for another crop"},
		"threshold: hoppers by mass":     {"thresholds.csv", "grasshopper,hoppers_per_sqft,1/9,,", "grasshopper,hoppers_per_acre,1/9,,", "hoppers_per_acre", `unknown word "hoppers_per_acre"`},
		"threshold: unknown pest":        {"thresholds.csv", "earwig,earwigs_per_trap_night,1,preplant", "erwig,earwigs_per_trap_night,1,preplant", "erwig,", `unknown word "erwig"; did you mean "earwig"?`},
		"threshold: NaN":                 {"thresholds.csv", "act,1,>=,trap laid", "act,NaN,>=,trap laid", "NaN,>=", `value: "NaN" is not a number`},
		"threshold: negative":            {"thresholds.csv", "act,1,>=,trap laid", "act,-1,>=,trap laid", "-1,>=", "-1 is below 0"},
		"threshold: none with value":     {"thresholds.csv", "act,1,>=,trap laid", "act,1,none,trap laid", "1,none", "value and operator do not agree"},
		"threshold: bad factor":          {"thresholds.csv", "aphid,aphids_per_leaf,1/100", "aphid,aphids_per_leaf,1/0", "1/0", `"1/0" is not a factor`},
		"threshold: over 100 %":          {"thresholds.csv", "act,30,>=,and fewer than 1 predator", "act,130,>=,and fewer than 1 predator", "130,>=", "130 % is above 100 %"},
		"threshold: stage elsewhere":     {"thresholds.csv", "slug,slugs_per_trap_night,1,,,", "slug,slugs_per_trap_night,1,planted,bloom,", "planted,bloom,,,,,act,,,,,,slugs,,oilseed", "stages of a bed on a row for another crop"},
		"threshold: season word":         {"thresholds.csv", "07-01..frost-21", "07-01..forst-21", "07-01..forst", `"07-01..forst-21" is not a part of the year`},
		"threshold: season of no length": {"thresholds.csv", "07-01..frost-21", "07-01..frost-0", "07-01..frost-0", "is not a part of the year"},
		"threshold: season backwards":    {"thresholds.csv", "07-01..frost-21", "07-01..;05-01..", "07-01..;05-01", "goes back in the year"},
		"threshold: season of no kind":   {"thresholds.csv", "07-01..frost-21,level", "07-01..frost-21,", ",,,act,,,,,,powdery mildew,ERYSCI,dahlia,July to 3", "season and season_kind do not agree"},
		"threshold: kind of no season":   {"thresholds.csv", "07-01..frost-21,level", ",signs", "signs,,,act", "season and season_kind do not agree"},
		"threshold: confirm by nothing":  {"thresholds.csv", ",pct_plants_with_larvae,always", ",pct_plants_with_grubs,always", "pct_plants_with_grubs", `unknown word "pct_plants_with_grubs"`},
		"threshold: confirm never":       {"thresholds.csv", ",pct_plants_with_larvae,always", ",pct_plants_with_larvae,", "a cutworm larva", "confirm, confirm_how and confirm_if do not agree"},
		"threshold: elsewhere of all":    {"thresholds.csv", ",pct_plants_with_larvae,always", ",pct_plants_with_larvae,elsewhere", "elsewhere,caterpillars", "a row for every area has no elsewhere"},
		"threshold: nothing to confirm":  {"thresholds.csv", "slug,slugs_per_trap_night,1,,,,,,,act,,,,,,", "slug,slugs_per_trap_night,1,,,,,,,act,,a slug,look,,always,", "a slug,look", "a row that never acts has nothing to confirm"},
		"threshold: season elsewhere":    {"thresholds.csv", "slug,slugs_per_trap_night,1,,,,", "slug,slugs_per_trap_night,1,,,07-01..,", "07-01..,,,,act,,,,,,slugs,,oilseed", "dates on a row for another crop"},
		"threshold: memory, no note":     {"thresholds.csv", "orchard apple-index guideline,,\"transferred; index method itself is published (Penn State), the 20 % cut-off is not from a page read\"", "orchard apple-index guideline,,", "orchard apple-index", `a source on a row marked "from memory"`},
		"threshold: unknown basis":       {"thresholds.csv", "{5-25 °C},published,", "{5-25 °C},publishd,", "publishd,", `unknown word "publishd"; did you mean "published"?`},
		"safety: long line":              {"safety.csv", "Clean and dip", strings.Repeat("Clean ", 12) + "and dip", "Clean Clean", "is not one or two short lines"},
		"agent: unknown target":          {"agents.csv", "predatory_mites,spider_mite;thrips,\"early", "predatory_mites,spider_mite;thrip,\"early", "spider_mite;thrip,", `targets: unknown word "thrip"`},
		"agent: success over 100 %":      {"agents.csv", "else knock down and restart,25,1,", "else knock down and restart,125,1,", "125,1,", "is no share of what is looked at"},
		"day length: of nobody":          {"daylength.csv", "orius_majusculus,,16", ",,16", ",,16", "a row is of an agent or of a pest"},
		"day length: twice":              {"daylength.csv", "orius_majusculus,,16", "orius_insidiosus,,16", "orius_insidiosus,,16", "stands twice"},
		"day length: no hours":           {"daylength.csv", "orius_majusculus,,16", "orius_majusculus,,24", "24,,it rests", "is no length of a day"},
		"action: too long":               {"actions.csv", "Lift boards every morning", strings.Repeat("Lift boards every morning ", 4), "Lift boards", "at most 90 fit"},
		"action: product without label":  {"actions.csv", "Scatter iron phosphate bait thinly, only where and as its label allows", "Scatter iron phosphate bait thinly", `"Scatter iron`, "does not defer to its label"},
		"action: unknown safety":         {"actions.csv", ",pets,,published", ",pet,,published", "pet,,published", `unknown word "pet"; did you mean "pets"?`},
		"action: unknown agent":          {"actions.csv", ",phasmarhabditis,", ",phasmarabditis,", "phasmarabditis,", `did you mean "phasmarhabditis"?`},
		"release: failure offered":       {"releases.csv", "phytoseiulus_persimilis,spider_mite,ratio,0,failed,", "phytoseiulus_persimilis,spider_mite,ratio,1,failed,", "1,failed", "a row that failed"},
		"release: rate upside down":      {"releases.csv", "preventive,0.5,1,predators", "preventive,5,1,predators", "1,predators", "the range is upside down"},
		"side effect: class 5":           {"side_effects.csv", "adult,4,source,14", "adult,5,source,14", "5,source,14", `"5" is not a whole number from 1 to 4`},
		"side effect: unknown active":    {"side_effects.csv", "acephate,predatory_mites", "acephat,predatory_mites", "acephat,", `did you mean "acephate"?`},
		"wait: pair twice":               {"default_waits.csv", "ferric phosphate,parasitoids,", "ferric phosphate,predatory_mites,", "ferric phosphate,predatory_mites,0,A soil bait: wasps", "the same pair stands twice"},
		"cover: window":                  {"covers.csv", "FF-45..FF+21", "FF+21..FF-45", "FF+21..FF-45", "upside down"},
		"cover: no window":               {"covers.csv", "FF-45..FF+21", "early autumn", "early autumn", "is not a sowing window"},
		"cover: basis":                   {"covers.csv", "published,published,from memory,from memory,published", "published,publish,from memory,from memory,published", "publish,from", `basis_soiltemp: unknown word "publish"`},
		"effect: score sign":             {"cover_effects.csv", "cereal_rye,symphylan,reduces,-1", "cereal_rye,symphylan,reduces,1", "1,Group inference", "does not go with reduces"},
		"host: twice":                    {"cover_hosts.csv", "fava,CMV", "fava,tospovirus", "tospovirus,yes,from memory,,,\nfield", "fava/tospovirus stands twice"},
		"host: unknown virus":            {"cover_hosts.csv", "fava,CMV", "fava,CVM", "CVM", `did you mean "CMV"?`},
		"effect: unknown cover":          {"cover_effects.csv", "cereal_rye,symphylan", "cereal_ry,symphylan", "cereal_ry,", `did you mean "cereal_rye"?`},
		"companion: twice":               {"companions.csv", "thrips,sweet alyssum,", "aphid,sweet alyssum,", "sweet alyssum,thrips", "sweet alyssum/aphid stands twice"},
		"taylor: half a law":             {"taylor.csv", "2.586,1.511", "2.586,", "2.586,", "needs a and b, or k"},
		"development: base without unit": {"development.csv", ",F,47,", ",C,47,", "47,,725", "47 °C cannot be a threshold"},
		"development: total alone":       {"development.csv", "C,8.63,,150.69", "C,,,150.69", ",,150.69", "a total without its base"},
		"development: cutoff":            {"development.csv", "single sine,horizontal,release", "single sine,,release", ",release,,0.7,1.5,1,Amblyseius swirskii", "goes with an upper threshold"},
		"development: date":              {"development.csv", "date,01-01", "date,13-01", "13-01", "is not a day of the year"},
		"development: no date":           {"development.csv", "date,01-01", "date,", ",0.7,1.5,1,Forficula auricularia,published,\"Inter", "goes with a start on a date"},
		"development: range":             {"development.csv", "first_find,,1,1.5", "first_find,,1.1,1.5", "1.1,1.5", "is no range"},
		"development: agent's start":     {"development.csv", "release,,0.7,1.5,1,Aphidius", "first_find,,0.7,1.5,1,Aphidius", "first_find,,0.7,1.5,1,Aphidius", "starts with its release"},
		"development: comes after":       {"development.csv", "larva,aphidoletes_egg", "larva,mite_egg", "mite_egg,1,C,4.3", "cannot come before it"},
		"clock action: for comparison":   {"clock_actions.csv", "mite_lens,mite_generation,", "mite_lens,mite_egg,", "mite_egg,", "for comparison only"},
		"limit: unknown":                 {"gates.csv", "slug_wind,", "slug_winds,", "slug_winds", `did you mean "slug_wind"?`},
		"growth: of two":                 {"growth_rates.csv", "thrips_30,thrips,,growth", "thrips_30,thrips,neoseiulus_fallacis,growth", "neoseiulus_fallacis,growth,30,0.198", "a row is on a pest or on an agent"},
		"growth: a pest that eats":       {"growth_rates.csv", "thrips_30,thrips,,growth", "thrips_30,thrips,,appetite", "appetite,30,0.198", "only an agent eats prey"},
		"growth: Fahrenheit":             {"growth_rates.csv", "growth,18,0.156", "growth,64,0.156", "64,0.156", "is no temperature of a rate"},
		"growth: percent":                {"growth_rates.csv", "growth,18,0.156", "growth,18,15.6", "15.6,0,Tet", "is no rate"},
		"growth: twice in the line":      {"growth_rates.csv", "growth,30,0.297348", "growth,9.06,0.297348", "9.06,0.297", "9.06 °C stands twice in the line"},
		"growth limit: too cool":         {"growth_limits.csv", "spider_mite,,growth,35", "spider_mite,,growth,25", "25,0.5", "does not go with the line"},
		"growth limit: band":             {"growth_limits.csv", "35,0.5,1.25", "35,1.5,1.25", "1.5,1.25", "is no band"},
		"growth limit: cap":              {"growth_limits.csv", "0.5,1.25,50", "0.5,1.25,-1", "-1,common", "is no density"},
		"growth limit: no line":          {"growth_limits.csv", "spider_mite,,growth,35", "aphid,,growth,35", "growth,35,0.5,1.25", "has no line"},
		"limit: none":                    {"gates.csv", "slug_wind,slug,5", "slug_wind,slug,", ",mph", "is no limit"},
		"taylor: unknown unit":           {"taylor.csv", "spider_mite,leaf,", "spider_mite,leafs,", "leafs,", `unknown word "leafs"; did you mean "leaf"?`},
	} {
		t.Run(name, func(t *testing.T) {
			fsys := copyFS(t)
			before := string(fsys[c.file].Data)
			require.True(t, strings.Contains(before, c.old), "the text to damage is in the table")
			after := strings.Replace(before, c.old, c.new, 1)
			fsys[c.file].Data = []byte(after)
			_, err := catalog.LoadFS(fsys, units.Metric)
			require.Error(t, err)
			var all []string
			for _, p := range problems(t, err) {
				all = append(all, p.Error())
				if p.File != c.file || !strings.Contains(p.What, c.want) {
					continue
				}
				require.NotEmpty(t, p.Do)
				i := strings.Index(after, c.mark)
				require.GreaterOrEqual(t, i, 0, "the mark is in the text")
				lineStart := strings.LastIndex(after[:i], "\n") + 1
				require.Equal(t, strings.Count(after[:i], "\n")+1, p.Row, p.Error())
				require.Equal(t, utf8.RuneCountInString(after[lineStart:i])+1, p.Col, p.Error())
				return
			}
			t.Fatalf("no problem says %q; got\n%s", c.want, strings.Join(all, "\n"))
		})
	}
}

func TestLoad_BrokenFiles(t *testing.T) {
	for name, c := range map[string]struct {
		file string
		edit func(string) string
		want string
	}{
		"missing column": {"safety.csv", func(s string) string { return strings.Replace(s, "word,line,detail", "word,line,detai", 1) }, `safety.csv:1:15: unknown column "detai"; did you mean "detail"?`},
		"empty":          {"safety.csv", func(string) string { return "" }, "safety.csv:1:1: has no header"},
		"short row":      {"taylor.csv", func(s string) string { return s + "slug,x\n" }, "row has 2 fields, the header 11"},
		"open quote":     {"taylor.csv", func(s string) string { return s + "slug,\"x\n" }, "is not well-formed CSV"},
		"quote inside":   {"taylor.csv", func(s string) string { return s + "slug,x\"y,\n" }, "taylor.csv:26:7: is not well-formed CSV"},
	} {
		fsys := copyFS(t)
		fsys[c.file].Data = []byte(c.edit(string(fsys[c.file].Data)))
		_, err := catalog.LoadFS(fsys, units.Metric)
		require.ErrorContains(t, err, c.want, name)
	}
	fsys := copyFS(t)
	delete(fsys, "covers.csv")
	_, err := catalog.LoadFS(fsys, units.Metric)
	require.ErrorIs(t, err, fs.ErrNotExist)
	require.ErrorContains(t, err, "covers.csv: cannot be read")
}

// All problems come in one run, in file order.
func TestLoad_AllProblemsAtOnce(t *testing.T) {
	fsys := copyFS(t)
	for _, f := range []string{"taylor.csv", "pests.csv", "measures.csv"} {
		fsys[f].Data = []byte(strings.ReplaceAll(string(fsys[f].Data), "common practice", "hearsay"))
	}
	_, err := catalog.LoadFS(fsys, units.Metric)
	ps := problems(t, err)
	require.Greater(t, len(ps), 100)
	for i := 1; i < len(ps); i++ {
		a, b := ps[i-1], ps[i]
		require.True(t, a.File < b.File || a.File == b.File && (a.Row < b.Row || a.Row == b.Row && a.Col <= b.Col))
	}
	require.ErrorContains(t, err, "nothing was loaded")
}

// Whatever stands in a file, loading ends, and every problem lies inside the
// file that it names.
func FuzzLoadFS(f *testing.F) {
	base := copyFS(f)
	for _, name := range []string{"pests.csv", "taylor.csv", "safety.csv"} {
		f.Add(name, string(base[name].Data))
	}
	f.Add("taylor.csv", "pest_key,unit\nü,\"x\n\ny\"\n")
	f.Add("safety.csv", "\ufeffkey,word,line,detail,basis,source,url,note\n")
	f.Fuzz(func(t *testing.T, name, text string) {
		if _, ok := base[name]; !ok {
			t.Skip("not one of the files under test")
		}
		fsys := fstest.MapFS{}
		for k, v := range base {
			fsys[k] = v
		}
		fsys[name] = &fstest.MapFile{Data: []byte(text)}
		_, err := catalog.LoadFS(fsys, units.Metric)
		if err == nil {
			return
		}
		for _, p := range problems(t, err) {
			if p.File != name {
				continue
			}
			lines := strings.Split(text, "\n")
			if p.Row < 0 || p.Row > len(lines)+1 || p.Col < 0 {
				t.Fatalf("%s lies outside the file of %d lines", p.Error(), len(lines))
			}
			if p.Row >= 1 && p.Row <= len(lines) && p.Col > len(lines[p.Row-1])+2 {
				t.Fatalf("%s lies outside its line %q", p.Error(), lines[p.Row-1])
			}
		}
	})
}

// The version can be told without reading the facts.
func TestVersion(t *testing.T) {
	c, err := catalog.Load(units.Metric)
	require.NoError(t, err)
	v, err := catalog.Version()
	require.NoError(t, err)
	require.Equal(t, c.Version, v)
}
