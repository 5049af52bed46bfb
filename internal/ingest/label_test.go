package ingest_test

import (
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/units"
)

// An invented label.
const invented = `key = "IronBait"
product = "Invented Slug Bait"
registration = "00000-0"
use_class = "General"
signal_word = "caution"
formulation = "none stated"
sites = ["outdoor ornamentals", "House cut flowers (REI 1 day)", "outdoor roses (rei none stated)"]
keep_apart = ["Sulfur 2 weeks", "oil of thyme 30 days"]
max_per = "Crop cycle"
pests = ["slugs", "earwig", "slug"]
rate_min = "0.5 lb/1000 sq ft"
rate_max = "1 lb/1000 sq ft"
min_interval = "1 week"
reapply_by = "14 days"
reapply_when = "eaten"
max_applications = 6
max_in_window = "3 in any 30 days"
max_amount = "None Stated"
rei = "2 days"
phi = "0 days"
rainfast = "90 minutes"
max_temp = "90 F"
max_wind = "10 mph"
bees = "Not in bloom"
water_buffer = "10 ft"
expiry = 2028-05-31
note = """
Photograph in the shed folder.
rei = "not a key"
"""

[[actives]]
name = "invented phosphate"
percent = 1
group = "none stated"

[[actives]]
name = "Second"
percent = "0.5 %"
max = "0.5 lb/acre"
`

func TestParseLabel(t *testing.T) {
	for _, text := range []string{invented, "\uFEFF" + strings.ReplaceAll(invented, "\n", "\r\n")} {
		l, err := ingest.ParseLabel(strings.NewReader(text), "l", names{}, civil.Date{})
		require.NoError(t, err)
		wind, _ := l.MaxWindMS.Get()
		require.InDelta(t, 4.4704, wind, 1e-12) // 10 mph, NIST SP 811
		temp, _ := l.MaxTempC.Get()
		require.InDelta(t, 32.0+2.0/9, temp, 1e-12) // (90 - 32)/1.8
		buffer, _ := l.WaterBuffer.Get()
		require.InDelta(t, 3.048, buffer, 1e-12)
		l.MaxWindMS, l.MaxTempC, l.WaterBuffer = farm.Stated[float64]{}, farm.Stated[float64]{}, farm.Stated[float64]{}
		require.Equal(t, farm.Label{
			Key: "ironbait", Product: "Invented Slug Bait", Registration: farm.Value("00000-0"), UseClass: farm.Value("general"), SignalWord: farm.Value("caution"),
			Actives:     []farm.Active{{Name: "invented phosphate", Percent: 1, Group: farm.None[string]()}, {Name: "Second", Percent: 0.5, Max: farm.Value(units.Of(0.5, "lb/acre"))}},
			Formulation: farm.None[string](),
			Sites:       []farm.LabelSite{{Where: farm.Outdoor, Crop: "ornamentals"}, {Where: farm.House, Crop: "cut flowers", REIHours: farm.Value(24.0)}, {Where: farm.Outdoor, Crop: "roses", REIHours: farm.None[float64]()}},
			KeepApart:   []farm.Apart{{Active: "Sulfur", Days: 14}, {Active: "oil of thyme", Days: 30}}, MaxPer: farm.PerCropCycle,
			Pests: []string{"slug", "earwig"}, Expiry: farm.Value(civil.MustParse("2028-05-31")),
			RateMin: farm.Value(units.Of(0.5, "lb/1000 ft2")), RateMax: farm.Value(units.Of(1, "lb/1000 ft2")),
			MinIntervalDays: farm.Value(7), ReapplyByDays: farm.Value(14), ReapplyWhen: farm.Value("eaten"), MaxApplications: farm.Value(6),
			MaxInWindow: farm.Value(farm.Window{Count: 3, Days: 30}), MaxAmount: farm.None[units.Quantity](),
			REIHours: farm.Value(48.0), PHIDays: farm.Value(0), RainfastH: farm.Value(1.5), Bees: farm.Value(farm.BeesNoBloom),
			Note: "Photograph in the shed folder.\nrei = \"not a key\"",
		}, l)
	}
}

// The empty template asks for key and product only, and then leaves every
// other field unknown.
func TestLabelTemplate(t *testing.T) {
	text := ingest.LabelTemplate()
	_, err := ingest.ParseLabel(strings.NewReader(text), "l", names{}, civil.Date{})
	got := list(t, err)
	require.Len(t, got, 2)
	require.Contains(t, got[0], "key is blank")
	require.Contains(t, got[1], "product is blank")
	lines := strings.Split(text, "\n")
	require.Contains(t, got[0], "l:"+rowOf(lines, "key = ")+":1:")
	require.Contains(t, got[1], "l:"+rowOf(lines, "product = ")+":1:")

	text = strings.Replace(strings.Replace(text, `key = ""`, `key = "bait"`, 1), `product = ""`, `product = "Bait"`, 1)
	l, err := ingest.ParseLabel(strings.NewReader(text), "l", names{}, civil.Date{})
	require.NoError(t, err)
	require.Equal(t, farm.Label{Key: "bait", Product: "Bait"}, l)
	// Every key carries what it is, and an invented example that can be read,
	// where the tool does not fill it in itself.
	keys := map[string]bool{}
	for i, line := range lines {
		require.LessOrEqual(t, len(line), 90, line)
		key, _, ok := strings.Cut(line, " = ")
		if !ok || strings.HasPrefix(line, "#") {
			continue
		}
		require.False(t, keys[key], "%s stands twice", key)
		keys[key] = true
		switch key {
		case "version", "entered", "name", "percent", "g_per_l", "group", "max":
			continue
		}
		require.True(t, strings.HasPrefix(lines[i-1], "# Invented example: "+key+" = "), line)
		require.True(t, strings.HasPrefix(lines[i-2], "# "), line)
		example := strings.TrimPrefix(lines[i-1], "# Invented example: ")
		head := "key = \"b\"\nproduct = \"P\"\n"
		if key == "key" || key == "product" {
			head = map[string]string{"key": "product = \"P\"\n", "product": "key = \"b\"\n"}[key]
		}
		l, err := ingest.ParseLabel(strings.NewReader(head+example+"\n"), "l", names{}, civil.Date{})
		require.NoError(t, err, example)
		require.NotEqual(t, farm.Label{Key: "b", Product: "P"}, l, example)
	}
	// And the questions are the same fields.
	for _, q := range ingest.LabelQuestions(farm.Label{}) {
		require.True(t, keys[strings.TrimPrefix(q.Key, "active.")], q.Key)
	}
	require.Len(t, keys, len(ingest.LabelQuestions(farm.Label{}))+3) // key, version and entered are the tool's
}

func rowOf(lines []string, prefix string) string {
	for i, l := range lines {
		if strings.HasPrefix(l, prefix) {
			return strconv.Itoa(i + 1)
		}
	}
	return "none"
}

// One slip in an otherwise right file: place, words, advice.
func TestParseLabel_Refuses(t *testing.T) {
	const head = "key = \"bait\"\nproduct = \"Bait\"\n"
	for _, c := range []struct{ line, what, do string }{
		{`rate_max = "4 oz/1000 sq ft"`, `3:12: "4 oz/1000 sq ft" is not a rate: ambiguous unit "oz/1000 sq ft": write "oz wt" for a weight or "US fl oz" for a volume`, ""},
		{`rate_max = "1 gal/acre"`, `3:12: "1 gal/acre" is not a rate: ambiguous unit "gal/acre": write "US gal" or "imp gal"`, ""},
		{`max_amount = "2.5 US fl oz/US gal"`, `3:14: "2.5 US fl oz/US gal" is a volume/volume, not an amount per area`, ""},
		{`rate_max = "1 oz wt/100 ft"`, `3:12: "1 oz wt/100 ft" is not a rate: unknown unit`, ""},
		{"rate_max = \"10 mL/L\"\nmax_amount = \"4 kg/ha\"", `4:14: rate_max is a volume/volume and max_amount a mass/area (see row 3)`, ""},
		{"spray_max = \"1 US gal/acre\"\nspray_min = \"2 US gal/acre\"", `4:13: spray_min "2 US gal/acre" is above spray_max "1 US gal/acre" (see row 3)`, ""},
		{`spray_min = "2 US gal"`, `3:13: "2 US gal" is a volume, not a volume per area`, ""},
		{`spray_min = "2 gal/acre"`, `3:13: "2 gal/acre" is no volume of spray: ambiguous unit`, ""},
		{"min_wind = \"10 mph\"\nmax_wind = \"10 mph\"", `4:12: min_wind 10 mph is not below max_wind 10 mph (see row 3)`, ""},
		{"opened = 2027-01-01\nexpiry = 2026-12-31", `4:10: opened on 2027-01-01, after the expiry of 2026-12-31 (see row 3)`, ""},
		{"method = \"Mist\"\nforbidden_methods = [\"mist\"]", `4:21: "mist" is both the method and forbidden (see row 3)`, ""},
		{"sites = [\"outdoor roses\"]\nexcluded_crops = [\"Roses\"]", `4:18: "Roses" is both listed and excluded (see row 3)`, ""},
		{"max_per = \"year\"\nseason = \"04-01 to 10-31\"", `4:10: season is 04-01 to 10-31 and nothing is counted per season (see row 3)`, ""},
		{`more_maxima = ["2 per moon"]`, `3:17: unknown period "moon"`, ""},
		{`more_maxima = ["2 per generation", "3 per generation"]`, `3:15: "2 per generation" and "3 per generation" limit the same`, ""},
		{`more_maxima = ["2 per generation", "2 per generation"]`, `3:17: "2 per generation" stands twice`, "keep one of the two"},
		{`more_maxima = ["1 lb/acre of iron per season"]`, `3:15: more_maxima limits "iron", which is no active ingredient of it`, ""},
		{`more_maxima = ["2"]`, `3:17: "2" does not say over what time it counts`, ""},
		{`more_maxima = ["4 oz/acre per season"]`, `3:17: "4 oz/acre" is not an amount per area: ambiguous unit`, ""},
		{`season = "13-01 to 10-31"`, `3:10: "13-01 to 10-31" is not a time of the year`, ""},
		{`season = "03-01 to 02-29"`, `3:10: "03-01 to 02-29" names a day that does not come every year`, "write 02-28; 29 February is then outside of the season"},
		{`season = "spring"`, `3:10: "spring" is not a time of the year`, ""},
		{`time_of_day = "evening"`, `3:15: these are no hours of the day`, ""},
		{`only_pests = "perhaps"`, `3:14: unknown answer "perhaps"`, ""},
		{`jurisdiction = "somewhere"`, `3:16: "SOMEWHERE" is no country`, ""},
		{`excluded_crops = ["roses, ferns"]`, `3:20: "roses, ferns" holds a comma`, "write two items"},
		{`excluded_crops = ["ferns", "none stated"]`, `3:29: an item of excluded_crops cannot be "none stated"`, ""},
		{`excluded_crops = [1, 2]`, `3:19: an item of excluded_crops is not a text: 1`, `write it in quotation marks, as words: "sweet peas"`},
		{`excluded_crops = 1`, `3:18: an item of excluded_crops is not a text: 1`, ""},
		{`pests = [2026-05-01]`, `3:10: an item of pests is not a text: 2026-05-01`, ""},
		{`boom_height = "30 m"`, `3:15: "30 m" is no height of a nozzle`, ""},
		{`printed = ["rei: keep out"]`, `3:13: "rei: keep out" does not say field, binds or advises, panel and words`, ""},
		{`printed = ["rai | binds | Front | keep out"]`, `3:13: unknown field "rai"; did you mean "rei"?`, ""},
		{`printed = ["rei | perhaps | Front | keep out"]`, `3:13: unknown force of a sentence "perhaps"`, ""},
		{`printed = ["rei | binds | Front | a", "rei | binds | Front | b"]`, `3:40: the words on rei stand twice`, ""},
		{"[[actives]]\nname = \"a\"\ng_per_l = \"4 lb\"", `5:11: "4 lb" is no weight in a volume`, ""},
		{`rate_max = "10 ft"`, `3:12: "10 ft" is a length, not a rate`, ""},
		{`rate_max = "-1 kg/ha"`, `3:12: the rate "-1 kg/ha" is not above 0`, ""},
		{`rate_max = 1`, `3:12: "1" is not a rate: unknown unit ""`, ""},
		{"rate_max = \"0.5 lb/acre\"\nrate_min = \"1 lb/acre\"", `4:12: rate_min "1 lb/acre" is above rate_max "0.5 lb/acre" (see row 3)`, "look at the label again and correct one of them"},
		{"rate_max = \"5 L/ha\"\nrate_min = \"1 kg/ha\"", `4:12: rate_min is a mass/area and rate_max a volume/area (see row 3)`, ""},
		{"rate_max = \"5 kg/ha\"\nmax_amount = \"4 kg/ha\"", `4:14: rate_max "5 kg/ha" is above max_amount "4 kg/ha": one treatment would pass the season's limit (see row 3)`, ""},
		{"min_interval = \"21 days\"\nreapply_by = \"2 weeks\"", `4:14: min_interval 21 days is longer than reapply_by 14 days (see row 3)`, ""},
		{"min_temp = \"30 C\"\nmax_temp = \"20 C\"", `4:12: min_temp 30 C is not below max_temp 20 C (see row 3)`, ""},
		{`min_interval = 7`, `3:16: "7" has no unit`, `write "7 hours" or "7 days"`},
		{`sites = ["outdoor dahlias (rate 2 to 1 kg/ha)"]`, `3:11: "2 to 1 kg/ha" is no rate from low to high`, "write the lower rate first, both in one kind of unit"},
		{`sites = ["outdoor dahlias (rate 5)"]`, `3:11: "5" is not a rate: unknown unit ""`, "write product per area (\"0.5 lb/1000 sq ft\", \"25 kg/ha\"), in water (\"2 US fl oz/US gal\"), along the row (\"1 oz wt/100 ft row\") or for a plant (\"5 g/plant\")"},
		{`sites = ["outdoor dahlias (rei 4 hours; phi 1 day)"]`, `3:11: "phi 1 day" is neither rei, rate nor interval`, "write what the label prints beside the site in brackets: \"outdoor ornamentals (rei 12 hours; rate 0.5 to 1 lb/1000 sq ft; interval 14 days)\""},
		{`sites = ["outdoor dahlias (rei 4 hours; rei 5 hours)"]`, `3:11: "rei" stands twice`, "keep one of the two"},
		{`min_interval = "0 hours"`, `3:16: "0 hours" is no time`, "write none stated where the label gives none"},
		{`phi = "24 hours"`, `3:7: "24 hours" is a time in hours`, `write "2 days": days are counted by dates, and fewer may be too short`},
		{`reapply_by = "36 hours"`, `3:14: "36 hours" is a time in hours`, `write "3 days": days are counted by dates, and fewer may be too short`},
		{`phi = "1.5 days"`, `3:7: "1.5 days" is not a whole number of days`, "write whole days, rounded up"},
		{`rei = "-4 hours"`, `3:7: "-4 hours" is below 0`, ""},
		{`rei = "4 fortnights"`, `3:7: "4 fortnights" has an unknown unit of time`, ""},
		{`rei = "400 days"`, `3:7: "400 days" is longer than 30 days and is taken for a slip`, ""},
		{`rei = "until dry"`, `3:7: "until dry" is not a length of time`, ""},
		{`max_temp = "90"`, `3:12: "90" has no unit`, "write 90C or 90F"},
		{`max_temp = "90 C"`, `3:12: "90 C" is not a temperature of air or soil`, ""},
		{`max_wind = "10"`, `3:12: "10" cannot be read: unknown unit: "10" has no unit`, `write "10 mph", "16 km/h" or "4.5 m/s"`},
		{`water_buffer = "10 lb"`, `3:16: "10 lb" cannot be read: units measure different things: "10 lb" is a mass, want a length`, ""},
		{`expiry = "3/4/2028"`, `3:10: "3/4/2028" can be read as two different dates`, "write 2028-04-03 or 2028-03-04"},
		{`expiry = "2028-05"`, `3:10: "2028-05" has no day`, ""},
		{`expiry = 2028-05-31T10:00:00`, `3:10: "2028-05-31T10:00:00" is not a date`, ""},
		{`max_applications = 0`, `3:20: "0" is not a number of applications`, ""},
		{`max_applications = 2.5`, `3:20: "2.5" is not a number of applications`, ""},
		{`max_in_window = "3 per month"`, `3:17: "3 per month" is not a number of applications in a number of days`, `write it as "3 in 30 days"`},
		{`bees = "toxic"`, `3:8: unknown bee statement "toxic"`, "write one of: not in bloom, not while bees forage, only after sunset"},
		{`signal_word = "cautoin"`, `3:15: unknown signal word "cautoin"; did you mean "caution"?`, ""},
		{`sites = ["outdoor ornamentls"]`, `3:11: unknown crop "ornamentls"; did you mean "ornamentals"?`, ""},
		{`sites = ["ornamentals"]`, `3:11: the site "ornamentals" does not say outdoor or house`, ""},
		{`sites = ["outdoor"]`, `3:11: the site "outdoor" names no crop`, ""},
		{`sites = ["outdoor dahlias", "Outdoor  Dahlias (rei 1 day)"]`, `3:30: the site "Outdoor Dahlias" stands twice`, ""},
		{`sites = ["outdoor dahlias (rei 12)"]`, `3:11: "12" has no unit`, ""},
		{`keep_apart = ["sulfur"]`, `3:16: "sulfur" does not name a material and a time`, ""},
		{`keep_apart = ["sulfur 9 days", "Sulfur 1 week"]`, `3:33: "Sulfur" stands twice`, "keep the longer time"},
		{`max_per = "yaer"`, `3:11: unknown period "yaer"; did you mean "year"?`, ""},
		{`max_per = "decade"`, `3:11: unknown period "decade"`, "write one of: 12 months, calendar year, crop cycle, generation, season, year"},
		{"[[actives]]\nname = \"a\"\nmax = \"4 oz/acre\"", `5:7: "4 oz/acre" is not an amount per area: ambiguous unit`, ""},
		{`sites = ["none stated"]`, `3:11: an item of sites cannot be "none stated"`, ""},
		{"pests = [\n  \"slug\",\n  \"earwgi\", # typed badly\n]", `5:4: unknown pest "earwgi"; did you mean "earwig"?`, ""},
		{`formulation = "bait concentrate, sprayed"`, `3:15: unknown formulation "bait concentrate, sprayed"`, ""},
		{`organic = "no, not approved"`, `3:11: "no, not approved" is no organic approval`, `write "listed by NAME", or "certifier NAME: yes, 2026-05-01", or leave it blank`},
		{`organic = "certifier: not yes before 2026-05-01"`, `3:11: "certifier: not yes before 2026-05-01" is no organic approval`, ""},
		{"max_applications = 2\nmax_in_window = \"3 in 30 days\"", "4:17: max_in_window allows 3 in 30 days, above max_applications 2 (see row 3)", ""},
		{"[[actives]]\nname = \"x\"\ngroup = \"banana\"", `5:9: "banana" is not a mode-of-action group`, ""},
		{"min_interval = \"20 days\"\nmax_in_window = \"3 in 14 days\"", "4:17: min_interval 20 days is longer than the days of max_in_window, 3 in 14 days (see row 3)", ""},
		{`pests = [1, true]`, `3:9: the value of pests is not a text`, ""},
		{`rei = true`, `3:7: the value of rei is not a text`, ""},
		{`rai = "4 hours"`, `3:1: unknown key "rai"; did you mean "rei"?`, "correct it or delete the line"},
		{`rate = "1 kg/ha"`, `3:1: unknown key "rate"`, "write rate_min and rate_max"},
		{`[store]`, `3:1: unknown key "store"`, ""},
		{"rei = \"1 day\"\nrei = \"2 days\"", `4:1: "rei" is already on row 3`, "keep one of the two lines"},
		{`rei = 4 hours`, `3:7: the value of rei is not in quotation marks`, `write rei = "4 hours"`},
		{`rei = “4 hours” # typed on a phone`, `3:7: the value of rei is not in quotation marks`, `write rei = "4 hours"`},
		{`rei =`, `3:1: rei has no value`, `write rei = ""`},
		{`rei = "4 hours`, `3:15: cannot be read as TOML: strings cannot contain newlines`, ""},
		{`phi`, `3:4: cannot be read as TOML: `, ""},
		{"note = \"a\\u0007b\"", `3:8: the value of note holds a control character`, ""},
		{"note = \"é\" # \xff", `3:14: byte 0xFF is not UTF-8 text`, ""},
		{"[[actives]]\nname = \"a\"\npercent = 0", `5:11: "0" is not a percentage`, ""},
		{"[[actives]]\nname = \"a\"\npercent = nan", `5:11: "NaN" is not a percentage`, ""},
		{"[[actives]]\nname = \"a\"\npercent = 60\n[[actives]]\nname = \"b\"\npercent = 41", `5:11: the active ingredients add up to 101 %`, ""},
		{"[[actives]]\nname = \"a\"\n[[actives]]\nname = \"A\"", `6:8: the active ingredient "A" stands twice`, ""},
		{"[[actives]]\npercent = 1", `3:1: an active ingredient without a name`, ""},
		{"[[actives]]\nname = \"a\"\npersent = 1", `5:1: unknown key "persent"; did you mean "percent"?`, ""},
		{"[[actives]]\nname = \"a\"\nnote = \"x\"", `5:1: "note" stands inside an [[actives]] block`, "move the line above the first [[actives]]"},
		{`actives = "iron"`, `3:1: the actives are not blocks`, ""},
		{`actives = [{name = "a", percent = 200}]`, `3:11: "200" is not a percentage`, ""},
	} {
		_, err := ingest.ParseLabel(strings.NewReader(head+c.line+"\n"), "l", names{}, civil.Date{})
		got := list(t, err)
		require.NotEmpty(t, got, c.line)
		require.True(t, strings.HasPrefix(got[0], "l:"+c.what), "%s\n got %s\nwant %s", c.line, got[0], c.what)
		if c.do != "" {
			require.Equal(t, c.do, does(t, err)[0], c.line)
		}
	}
}

// All problems in one run.
func TestParseLabel_AllProblems(t *testing.T) {
	const text = "key = \"12\"\nproduct = \"none stated\"\nrei = \"4\"\nphi = \"x\"\nfoo = 1\nrate_max = \"4 oz/acre\"\n[[actives]]\nname = \"none stated\"\n"
	_, err := ingest.ParseLabel(strings.NewReader(text), "l", names{}, civil.Date{})
	require.Equal(t, []string{
		`l:1:7: "12" cannot be the key of a label`,
		`l:2:11: product cannot be "none stated"`,
		`l:3:7: "4" has no unit`,
		`l:4:7: "x" is not a length of time`,
		`l:5:1: unknown key "foo"`,
		`l:6:12: "4 oz/acre" is not a rate: ambiguous unit "oz/acre": write "oz wt" for a weight or "US fl oz" for a volume`,
		`l:8:8: name of an active ingredient cannot be "none stated"`,
	}, list(t, err))
	_, err = ingest.ParseLabel(strings.NewReader("rei = 4 hours\nphi = 1 day\nphi = \"2 days\"\n"), "l", names{}, civil.Date{})
	require.Equal(t, []string{
		`l:1:7: the value of rei is not in quotation marks`,
		`l:2:7: the value of phi is not in quotation marks`,
		`l:3:1: "phi" is already on row 2`,
	}, list(t, err))
	_, err = ingest.ParseLabel(failing{}, "l", names{}, civil.Date{})
	require.Equal(t, []string{"l: could not be read: disk gone"}, list(t, err))
}

// A container cannot have been opened tomorrow; where today is not known nobody
// can say.
func TestParseLabel_OpenedInTheFuture(t *testing.T) {
	text := "key = \"b\"\nproduct = \"P\"\nopened = \"2026-07-21\"\n"
	_, err := ingest.ParseLabel(strings.NewReader(text), "l", names{}, civil.MustParse("2026-07-20"))
	require.Equal(t, []string{"l:3:10: opened: 2026-07-21 lies in the future; today is 2026-07-20"}, list(t, err))
	for _, today := range []civil.Date{civil.MustParse("2026-07-21"), {}} {
		_, err = ingest.ParseLabel(strings.NewReader(text), "l", names{}, today)
		require.NoError(t, err)
	}
}

func FuzzLabel(f *testing.F) {
	f.Add(invented)
	f.Add(strings.Replace(strings.Replace(ingest.LabelTemplate(), `key = ""`, `key = "bait"`, 1), `product = ""`, `product = "Bait"`, 1))
	for _, s := range []string{
		"key = \"b\"\nproduct = 'P'\nrei = 4 hours\n", "key=\"b\"\nproduct=\"P\"\nrate_max=\"4 oz/acre\"\nsites=[\"outdoor dahlias\",\n'house x']\n", "key = \"b\"\nproduct = \"\"\"\nP\\\n q\"\"\"\"\n",
		"actives = [{name=\"a\"}]\nkey=\"k\"\nproduct=\"p\"", "[key]\na=1\n[[actives]]\n[actives.x]\n", "\"key\" = \"b\"\nexpiry = 2028-05-31\na.b.c = [[1]]\nkey=2", "x = [\n\"#\", # c\n",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		l, err := ingest.ParseLabel(strings.NewReader(text), "l", names{}, civil.Date{})
		inside(t, text, err)
		if err != nil {
			require.Equal(t, farm.Label{}, l)
			return
		}
		file := ingest.FormatLabel(l)
		back, err := ingest.ParseLabel(strings.NewReader(file), "l", names{}, civil.Date{})
		if err != nil {
			t.Fatalf("%q was written %q: %v", text, file, err)
		}
		require.Equal(t, l, back)
	})
}
