package cli_test

import (
	"encoding/json"
	"html"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leafturn/internal/testkit"
)

const (
	quantityIn  = `(?:^|[^\w.,*/+-])-?\d(?:[\d.,]*\d)?(?:(?:-| to | x | or )\d(?:[\d.,]*\d)?)*(?: |-|"?)`
	metricNames = `(?:°C|C|km/h|mm|cm|kg|ml|mL|m²|m2|g/m2|g/m²|ha|kg/ha|t/ha|m/s|L|l|g|m|metres?|hectares?|litres?|C-days)`
	usNames     = `(?:°F|F|mph|in|inch|inches|ft|feet|acres?|lb|lbs|pounds?|oz|gal|gallons?|fl oz|sq ft|ft²|yd|yards?|F-days)`
)

var (
	// Of a quantity the unit is told; a word of a unit is one wherever it stands.
	metricUnits = regexp.MustCompile(quantityIn + metricNames + `(?:[^\w/²*.:]|\.[^\w]|$)|°C|m²|\bmetres?\b|\bkm/h\b|\bkg\b|USD/kg|degree-days C\b`)
	usUnits     = regexp.MustCompile(quantityIn + usNames + `(?:[^\w/²*.:]|\.[^\w]|$)|°F|\bmph\b|\bsq ft\b|\bacres?\b|\binch(?:es)?\b|USD/lb|\blb\b|degree-days F\b`)

	// Not quantities: "1 in 10", "lie in", "evidence C 0.5", a bed's name.
	noQuantity = regexp.MustCompile(`\d[\d.]* in (?:\d|[A-D]\d|all|each|every|a )|\d+ in (?:lie|chances)|evidence [A-D]`)
	// What a label, the entry of a record or a published level says stays as it
	// is written: an amount used, a label's limit with the farm's unit behind
	// it, the unit of a level that was published for another crop.
	quoted = []*regexp.Regexp{
		regexp.MustCompile(`--amount "[^"]*"|Amount: \d+ g in all`),
		regexp.MustCompile(`\d[\d.]* (?:mph|°F|in|ft) \(\d[\d.]* (?:m/s|°C|m)\)`),
		regexp.MustCompile(`(?:symphylans|larvae|nymphs|grasshoppers?)(?: nymphs)?(?:/| per )\s*(?:sq ft|sq yd|m2|cubic ft of soil|cubic|square \w+)[^;]*`),
		regexp.MustCompile(`square (?:foot|feet|yards?)|cubic f(?:oo|ee)?t(?: of soil)?|\s+ft of soil`),
	}
)

// strange finds the units of the other system in a text, with what stands
// around them.
func strange(text string, units *regexp.Regexp) []string {
	text = strings.Join(strings.Fields(text), " ")
	for _, q := range append(quoted, noQuantity) {
		text = q.ReplaceAllString(text, " ~ ")
	}
	var out []string
	for _, at := range units.FindAllStringIndex(text, -1) {
		out = append(out, text[max(0, at[0]-60):min(len(text), at[1]+30)])
	}
	return out
}

// wordsOf gathers the texts of a JSON document; numbers keep the units that
// their names and SCHEMA.md tell, and so do the units beside them.
func wordsOf(v any, key string) []string {
	var out []string
	switch v := v.(type) {
	case string:
		if !strings.HasSuffix(key, "unit") && !strings.HasSuffix(key, "Unit") {
			out = append(out, v)
		}
	case []any:
		for _, x := range v {
			out = append(out, wordsOf(x, key)...)
		}
	case map[string]any:
		for k, x := range v {
			out = append(out, wordsOf(x, k)...)
		}
	}
	return out
}

// TestStrange proves that the walk below can fail, and at what it does not.
func TestStrange(t *testing.T) {
	for _, text := range []string{"above 18 °C, no", "mean above 18 C", "5 mm of rain", "bed B1 is 25 m long.", "12 m²", "3 m/s", "under 10-12 C;", "1.2 kg", "a metre round the bed", "7.5 x 12.5 cm card"} {
		require.NotEmpty(t, strange(text, metricUnits), text)
	}
	for _, text := range []string{"above 64.4 °F, no", "wind 2 mph", "2 in of rain", "the top 6 in of a shoot", "80 ft by 4 ft", "1,000 sq ft", "0.5 lb of seed", "2.6 oz wt"} {
		require.NotEmpty(t, strange(text, usUnits), text)
		require.Empty(t, strange(text, metricUnits), text)
	}
	for _, text := range []string{"a chance of 1 in 10", "over 10 mph (4.4704 m/s): check", `--amount "120 g"`, "2 symphylans/sq ft", "A1 at 5"} {
		require.Empty(t, strange(text, metricUnits), text)
		require.Empty(t, strange(text, usUnits), text)
	}
}

// TestWordsFollowTheUnits walks over the commands of a farm in US units, and
// of the same farm in metric ones: none says anything in the units of the
// other, but for what a label or an entry says. One after the other: the flags of
// the library are shared by all that runs in a process.
func TestWordsFollowTheUnits(t *testing.T) {
	base := newField(t, demoNow)
	base.run("demo", "--keep", filepath.Join(base.dir, "demo"), "--quiet")
	raw, err := os.ReadFile(filepath.Join(base.dir, "demo", "farm.leafturn"))
	require.NoError(t, err)
	for system, foreign := range map[string]*regexp.Regexp{"us": metricUnits, "metric": usUnits} {
		t.Run(system, func(t *testing.T) {
			f := newField(t, demoNow)
			require.NoError(t, os.WriteFile(f.db, raw, 0o600))
			f.run("farm", "set", "--units", system)
			said := 0
			check := func(text string, words []string) {
				said += len(text)
				assert.Empty(t, strange(text, foreign), "leafturn %s", strings.Join(words, " "))
			}
			for _, words := range unitWalk() {
				code, out, errs := f.try(words...)
				assert.NotEqual(t, 2, code, "leafturn %s: %s", strings.Join(words, " "), errs)
				if slices.Contains(words, "--json") {
					var doc any
					require.NoError(t, json.Unmarshal([]byte(out), &doc))
					out = strings.Join(wordsOf(doc, ""), " ; ")
				}
				if slices.Contains(words, "--html") {
					out = html.UnescapeString(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(regexp.MustCompile(`(?s)<style.*?</style>`).ReplaceAllString(out, " "), " "))
				}
				check(out+" ; "+errs, words)
			}
			for _, sheet := range [][]string{{"round", "2026-05-18"}, {"week", "2026-07-20"}, {"notice", "2026-07-20"}, {"season", "2026-11-10"}, {"next-year", "2026-11-10"}} {
				file := filepath.Join(f.dir, sheet[0]+sheet[1]+".pdf")
				f.run("print", sheet[0], "--date", sheet[1], "--out", file)
				pdf, err := os.ReadFile(file)
				require.NoError(t, err)
				check(testkit.PDFText(t, pdf), append([]string{"print"}, sheet...))
			}
			require.Greater(t, said, 300_000, "the walk says something")
		})
	}
}

// unitWalk are the commands that show something, on days of all kinds.
func unitWalk() [][]string {
	var out [][]string
	add := func(line string) { out = append(out, strings.Fields(line)) }
	for _, line := range []string{"week --date 2026-09-14", "plan --date 2026-09-14", "why 8 --date 2026-09-14"} {
		add(line)
	}
	for _, day := range []string{"2026-05-18", "2026-07-20"} {
		for _, c := range []string{"week", "plan", "due", "ahead", "round --minutes 60", "round", "board", "why 1", "why 4", "why 8", "trend slug", "forecast mite", "worked"} {
			add(c + " --date " + day)
		}
		for _, c := range []string{"week", "ahead", "round", "why 4"} {
			add(c + " --json --date " + day)
		}
	}
	for _, c := range []string{"week --html -", "forecast mite D5", "forecast slug A2", "why D5 mite", "why A2 slug", "plan --json", "forecast mite D5 --json", "degree-days mite", "degree-days slug", "degree-days --base 10C", "sample mite", "ahead slug", "ahead phytoseiulus_persimilis", "ahead --start 2026-05-01 slug"} {
		add(c + " --date 2026-07-20")
	}
	for _, pest := range []string{"slug", "mite", "earwig", "thrips", "aphid", "cucumber_beetle", "lygus", "leafhopper", "caterpillar", "wireworm", "symphylan", "vole", "powdery_mildew", "tospovirus"} {
		add("pest " + pest)
		add("threshold list " + pest)
	}
	add("covers --pest wireworm")
	add("covers --pest slug")
	for _, c := range []string{"companions", "companions --json", "covers --rest 1", "covers --json", "records", "review", "review --json", "farm show", "bed list", "visits --all", "history --all", "history bed B3", "history visit 2", "history weather 2", "history treatment 2", "doctor", "forecast --past"} {
		add(c)
	}
	return out
}
