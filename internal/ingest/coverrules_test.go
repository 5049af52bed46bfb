package ingest_test

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/ingest"
)

// coverNames is an invented catalogue of covers for the beds of names.
var coverNames = ingest.CoverNames{
	Beds: names{},
	Covers: map[string]string{"cereal_rye": "cereal_rye", "rye": "cereal_rye", "oats": "oats", "field_pea": "field_pea", "winter_pea": "field_pea",
		"buckwheat": "buckwheat", "hairy_vetch": "hairy_vetch", "crimson_clover": "crimson_clover", "féverole": "fava", "fava": "fava"},
	Problems: map[string]string{"slug": "slug", "slugs": "slug", "spider_mites": "spider_mite", "spider_mite": "spider_mite", "nematode_lesion": "nematode_lesion", "lesion_nematode": "nematode_lesion", "wireworm": "wireworm"},
	Families: map[string]string{"fabaceae": "Fabaceae", "poaceae": "Poaceae", "brassicaceae": "Brassicaceae"},
	Viruses:  map[string]string{"tswv": "TSWV", "insv": "INSV"},
}

func rule(t testing.TB, line string) ingest.CoverRule {
	t.Helper()
	rules, err := ingest.ReadCoverRules(nil, "", []string{line}, coverNames, today)
	require.NoError(t, err, line)
	require.Len(t, rules, 1)
	r := rules[0]
	require.Equal(t, 1, r.Line)
	require.Empty(t, r.File)
	return r
}

func TestReadCoverRules_Forms(t *testing.T) {
	const lb = 0.45359237 // kg; NIST SP 811
	for line, want := range map[string]ingest.CoverRule{
		"budget 120":                      {Kind: "budget", Number: 120, Unit: "USD"},
		"BUDGET: $120":                    {Kind: "budget", Number: 120, Unit: "USD"},
		"budget $ 120":                    {Kind: "budget", Number: 120, Unit: "USD"},
		"budget at most 120.50 usd":       {Kind: "budget", Number: 120.5, Unit: "USD"},
		"budget 0":                        {Kind: "budget", Unit: "USD"},
		"lots 5":                          {Kind: "lots", Number: 5},
		"rest 1 # a comment":              {Kind: "rest", Number: 1},
		"rest <= 2 beds":                  {Kind: "rest", Number: 2},
		"untreated 1 in 6":                {Kind: "untreated", Number: 1, Of: 6},
		"untreated 1 in 1":                {Kind: "untreated", Number: 1, Of: 1},
		"legumes at least 25 %":           {Kind: "legumes", Least: true, Number: 0.25, Unit: "share"},
		"legumes >= 25%":                  {Kind: "legumes", Least: true, Number: 0.25, Unit: "share"},
		"area Legumes at most 0.1 ha":     {Kind: "legumes", Number: 1000, Unit: "m2"},
		"area rye at least 200 m2":        {Kind: "area", Cover: "cereal_rye", Least: true, Number: 200, Unit: "m2"},
		"area Cereal Rye ≤ 200m²":         {Kind: "area", Cover: "cereal_rye", Number: 200, Unit: "m2"},
		"area oats at most 2000 sq ft":    {Kind: "area", Cover: "oats", Number: 2000 * 0.09290304, Unit: "m2"}, // 0.3048² m²
		"area fabaceae at most 30 %":      {Kind: "area", Name: "Fabaceae", Number: 0.3, Unit: "share"},
		"area oats at most 100 %":         {Kind: "area", Cover: "oats", Number: 1, Unit: "share"},
		"pin b1 cereal_rye":               {Kind: "pin", Bed: "B1", Cover: "cereal_rye"},
		"pin B1 winter none":              {Kind: "pin", Bed: "B1", Window: "winter", Cover: "none"},
		"pin north-1 rest buckwheat":      {Kind: "pin", Bed: "North-1", Window: "rest", Cover: "buckwheat"},
		"pin B1 winter field pea+rye":     {Kind: "pin", Bed: "B1", Window: "winter", Cover: "cereal_rye+field_pea"},
		"pin B1 rye + field_pea":          {Kind: "pin", Bed: "B1", Cover: "cereal_rye+field_pea"},
		"pin B1 rye +oats+ field_pea":     {Kind: "pin", Bed: "B1", Cover: "cereal_rye+field_pea+oats"},
		"pin B1 Féverole":                 {Kind: "pin", Bed: "B1", Cover: "fava"},
		"forbid B1 oats":                  {Kind: "forbid", Bed: "B1", Cover: "oats"},
		"forbid hairy vetch":              {Kind: "forbid", Cover: "hairy_vetch"},
		"forbid winter pea":               {Kind: "forbid", Cover: "field_pea"},
		"forbid winter oats":              {Kind: "forbid", Window: "winter", Cover: "oats"},
		"forbid b2 rest buckwheat":        {Kind: "forbid", Bed: "B2", Window: "rest", Cover: "buckwheat"},
		"forbid B1 rye+oats":              {Kind: "forbid", Bed: "B1", Cover: "cereal_rye+oats"},
		"forbid B1 rest":                  {Kind: "forbid", Bed: "B1", Window: "rest"},
		"forbid mixes":                    {Kind: "mixes", Number: 1},
		"mixes 2":                         {Kind: "mixes", Number: 2},
		"together 0.2":                    {Kind: "together", Number: 0.2, Unit: "points"},
		"weight Nitrogen .005":            {Kind: "weight", Name: "nitrogen", Number: 0.005},
		"weight bare -0":                  {Kind: "weight", Name: "bare"},
		"grade a 1":                       {Kind: "grade", Name: "A", Number: 1},
		"price rye 2.10 per kg":           {Kind: "price", Cover: "cereal_rye", Number: 2.1, Unit: "USD/kg"},
		"price rye $0.95/lb":              {Kind: "price", Cover: "cereal_rye", Number: 0.95 / lb, Unit: "USD/kg"},
		"price rye 0.95 USD per LB":       {Kind: "price", Cover: "cereal_rye", Number: 0.95 / lb, Unit: "USD/kg"},
		"price rye 0 per kg":              {Kind: "price", Cover: "cereal_rye", Unit: "USD/kg"},
		"bag cereal rye 5lb":              {Kind: "bag", Cover: "cereal_rye", Number: 5 * lb, Unit: "kg"},
		"bag oats 500 g":                  {Kind: "bag", Cover: "oats", Number: 0.5, Unit: "kg"},
		"pressure B4 lesion nematode 3":   {Kind: "pressure", Bed: "B4", Pest: "nematode_lesion", Number: 3},
		"pressure B4 slug 2 +- 1":         {Kind: "pressure", Bed: "B4", Pest: "slug", Number: 2, Spread: 1},
		"pressure B4 slug 2±0.5":          {Kind: "pressure", Bed: "B4", Pest: "slug", Number: 2, Spread: 0.5},
		"pressure spider mites 1":         {Kind: "pressure", Pest: "spider_mite", Number: 1},
		"grew B1 oats 2025":               {Kind: "grew", Bed: "B1", Cover: "oats", Year: 2025},
		"grew B1 Brassicaceae 2026":       {Kind: "grew", Bed: "B1", Name: "Brassicaceae", Year: 2026},
		"dig 2026-10-20":                  {Kind: "dig", Date: civil.MustParse("2026-10-20")},
		"dig b1 2026-10-20":               {Kind: "dig", Bed: "B1", Date: civil.MustParse("2026-10-20")},
		"plant B2 2027-05-15":             {Kind: "plant", Bed: "B2", Date: civil.MustParse("2027-05-15")},
		"soil march 6 C":                  {Kind: "soil", Month: time.March, Number: 6, Unit: "C"},
		"soil 10 50F":                     {Kind: "soil", Month: time.October, Number: 10, Unit: "C"},
		"soil Dec −2 C":                   {Kind: "soil", Month: time.December, Number: -2, Unit: "C"},
		"No Water":                        {Kind: "no water"},
		"no water B2":                     {Kind: "no water", Bed: "B2"},
		"virus B1 tswv":                   {Kind: "virus", Bed: "B1", Name: "TSWV"},
		"virus INSV":                      {Kind: "virus", Name: "INSV"},
		"sod B1 2025":                     {Kind: "sod", Bed: "B1", Year: 2025},
		"sod 2025":                        {Kind: "sod", Year: 2025},
		"brassica near B1":                {Kind: "brassica", Bed: "B1"},
		"clubroot B1":                     {Kind: "clubroot", Bed: "B1"},
		"own family soft":                 {Kind: "own family", Name: "soft"},
		"own family HARD":                 {Kind: "own family", Name: "hard"},
		"own family soft except Marigold": {Kind: "own family", Name: "soft except marigold"},
		"hosts allowed":                   {Kind: "hosts", Name: "allowed"},
		"hosts barred":                    {Kind: "hosts", Name: "barred"},
	} {
		got := rule(t, line)
		require.InDelta(t, want.Number, got.Number, 1e-12*max(1, want.Number), line)
		require.False(t, math.Signbit(got.Number) && got.Number == 0, line)
		want.Number, want.Line, want.Col, want.Text = got.Number, 1, 1, got.Text
		require.Equal(t, want, got, line)
		text, _, _ := strings.Cut(line, " #")
		require.Equal(t, text, got.Text)
		require.NotContains(t, got.String(), "Kind", line)
		again := rule(t, got.String())
		again.Text = got.Text
		require.Equal(t, got, again, "%s was written %s", line, got)
	}
}

// Every form of the help reads, and every kind is in the help.
func TestCoverRulesHelp(t *testing.T) {
	help := ingest.CoverRulesHelp()
	farm := coverNames
	farm.Beds = anyBed{}
	kinds := map[ingest.CoverRuleKind]bool{}
	n := 0
	for _, line := range strings.Split(help, "\n") {
		require.LessOrEqual(t, len([]rune(line)), 80, line)
		example, ok := strings.CutPrefix(line, "      ")
		if !ok {
			continue
		}
		rules, err := ingest.ReadCoverRules(nil, "", []string{example}, farm, today)
		require.NoError(t, err, example)
		kinds[rules[0].Kind] = true
		n++
	}
	require.Greater(t, n, 25)
	require.Len(t, kinds, 26)
	for _, w := range ingest.CoverWeights {
		rule(t, "weight "+w+" 1")
		require.Contains(t, help, w)
	}
}

// anyBed knows every bed of the examples.
type anyBed struct{}

func (anyBed) Bed(w string) (string, bool) { w = strings.ToUpper(w); return w, w == "A1" || w == "B4" }
func (anyBed) BedCodes() []string          { return []string{"A1", "B4"} }

// golden compares text with a file of testdata.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if os.Getenv("UPDATE_GOLDEN") != "" {
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), got)
}

func TestReadCoverRules_HelpGolden(t *testing.T) {
	golden(t, "coverrules-help.golden", ingest.CoverRulesHelp())
}

// Every message, with its place and what to do.
func TestReadCoverRules_Messages(t *testing.T) {
	in, err := os.ReadFile(filepath.Join("testdata", "coverrules-wrong.txt"))
	require.NoError(t, err)
	rules, err := ingest.ReadCoverRules(strings.NewReader(string(in)), "rules.txt", []string{"buget 1", "budget 90", "#", "\x01"}, coverNames, today)
	inside(t, string(in)+strings.Repeat("\n", 9), err)
	require.Equal(t, 2, diag.Code(err))
	var b strings.Builder
	b.WriteString(err.Error() + "\n\nread well:\n")
	for _, r := range rules {
		b.WriteString(r.Place() + ": " + r.String() + "\n")
	}
	golden(t, "coverrules-wrong.golden", b.String())

	// One problem for each wrong line: the last word of its comment says "ok" or how many.
	lines := strings.Split(string(in), "\n")
	count := map[int]int{}
	var l *diag.List
	require.ErrorAs(t, err, &l)
	for _, p := range l.Problems {
		require.NotEmpty(t, p.What)
		if p.File == "rules.txt" {
			count[p.Row]++
		}
		if !strings.Contains(p.What, "did you mean") {
			require.NotEmpty(t, p.Do, p.What)
		}
	}
	for i, text := range lines {
		switch {
		case text == "" || strings.HasPrefix(text, "#"):
			require.Zero(t, count[i+1], text)
		case strings.HasSuffix(text, "# ok"):
			require.Zero(t, count[i+1], text)
		default:
			require.Equal(t, 1, count[i+1], "%d: %s", i+1, text)
		}
	}
}

func TestReadCoverRules_Files(t *testing.T) {
	rules, err := ingest.ReadCoverRules(strings.NewReader("\uFEFF# mine\r\n\r\n  budget 120\r\npin B1 rye\r\n"), "r.txt", []string{"rest 1"}, coverNames, today)
	require.NoError(t, err)
	require.Len(t, rules, 3)
	require.Equal(t, []string{"r.txt:3", "r.txt:4", "--rule 1"}, []string{rules[0].Place(), rules[1].Place(), rules[2].Place()})
	require.Equal(t, 3, rules[0].Col)

	for text, want := range map[string]string{
		"":                   "r.txt: no rules in it",
		"# nothing\n\n":      "r.txt: no rules in it",
		"budget 1\x00":       "r.txt:1:9: holds a NUL byte; this is not a text file",
		"\xff\xfeb\x00":      "r.txt:1:1: is saved as UTF-16 text",
		"lots 1\nrest \xe9":  "r.txt:2:6: byte 0xE9 is not UTF-8 text",
		"budget 1\nbudget 2": `r.txt:2:1: "budget 2", but "budget 1" is said at r.txt:1`,
	} {
		_, err := ingest.ReadCoverRules(strings.NewReader(text), "r.txt", nil, coverNames, today)
		require.Equal(t, []string{want}, list(t, err), text)
		require.Equal(t, 1, diag.Code(err))
	}
	_, err = ingest.ReadCoverRules(failing{}, "r.txt", nil, coverNames, today)
	require.ErrorContains(t, err, "disk gone")
	rules, err = ingest.ReadCoverRules(nil, "", nil, coverNames, today)
	require.NoError(t, err)
	require.Empty(t, rules)
	// Without a day of today, no year is too late.
	rules, err = ingest.ReadCoverRules(nil, "", []string{"grew B1 oats 2200", "dig 2300-01-01"}, coverNames, civil.Date{})
	require.NoError(t, err)
	require.Len(t, rules, 2)
}

// Columns count characters, not bytes, and blanks of every kind.
func TestReadCoverRules_Columns(t *testing.T) {
	for line, want := range map[string]string{
		"pin B1 Féverole + oat":        `--rule:1:19: unknown cover "oat"; did you mean "oats"?`,
		"pin B1 Féverole+oat":          `--rule:1:17: unknown cover "oat"; did you mean "oats"?`,
		"\u3000ärea oats at most 3 m2": `--rule:1:2: unknown rule "ärea"; did you mean "area"?`,
		"price féverole 2 per £":       `--rule:1:22: unknown unit "£"`,
		"price féverole £2 per kg":     `--rule:1:16: unknown cover "féverole £2 per kg"`,
		"bag  féverole  2stones":       `--rule:1:17: unknown unit "stones"`,
		"bag  féverole  2   stones":    `--rule:1:20: unknown unit "stones"`,
		"pressure B1 slug ±1":          `--rule:1:18: "±1" is no number; the pressure is wanted`,
		"pressure B1 slug 1 ±é":        `--rule:1:21: "é" is no number; the spread is wanted after ±`,
		"area oats at least 3 m2 é":    `--rule:1:22: unknown unit "m2 é"`,
		"budget":                       `--rule:1:7: the budget is missing`,
		"area féverole":                `--rule:1:14: "at least" or "at most" is missing`,
	} {
		_, err := ingest.ReadCoverRules(nil, "", []string{line}, coverNames, today)
		if strings.HasPrefix(line, "price féverole £") {
			want = `--rule:1:7: unknown cover "féverole £2 per kg"`
		}
		require.Equal(t, []string{want}, list(t, err), line)
		require.Equal(t, 2, diag.Code(err))
	}
}

// Rules on different things, or for different beds and windows, hold together.
func TestReadCoverRules_HoldTogether(t *testing.T) {
	for _, text := range []string{
		"pin B1 winter oats\npin B1 rest buckwheat\npin B2 winter oats",
		"pin B1 oats\nforbid B2 oats\nforbid B1 rye",
		"pin B1 winter oats\nforbid rest oats",
		"pin B1 winter oats + rye\nforbid B1 oats + buckwheat\nmixes 2",
		"pin B1 winter none\nforbid oats",
		"pin B1 winter oats\nforbid B1 rest",
		"pin B1 rest none\nrest 0",
		"pin B1 rest oats\nrest 1",
		"area oats at least 10 m2\narea oats at most 10 m2\narea rye at most 1 m2\narea oats at least 90 %",
		"area Fabaceae at least 10 m2\nlegumes at most 5 m2",
		"grade A 1\ngrade B 1\ngrade D 0.1",
		"dig 2026-10-20\ndig B1 2026-11-01\nplant B1 2027-05-01\nplant 2026-10-21",
		"grew B1 oats 2024\ngrew B1 oats 2025\ngrew B2 oats 2024\ngrew B1 Poaceae 2024",
		"pressure slug 1\npressure B1 slug 2\npressure B1 wireworm 2",
		"soil 3 6 C\nsoil 4 9 C\nno water B1\nno water B2\nvirus B1 TSWV\nvirus B1 INSV",
	} {
		rules, err := ingest.ReadCoverRules(strings.NewReader(text), "r", nil, coverNames, today)
		require.NoError(t, err, text)
		require.Len(t, rules, strings.Count(text, "\n")+1)
	}
}

// Which of two clashing rules comes first changes nothing but the place.
func TestReadCoverRules_ClashEitherWay(t *testing.T) {
	for _, pair := range [][2]string{
		{"pin B1 winter oats", "pin B1 winter rye"}, {"pin B1 oats", "pin B1 rest oats"}, {"pin B1 winter oats", "forbid oats"},
		{"pin B1 oats + rye", "mixes 1"}, {"pin B1 oats + rye", "forbid B1 winter rye"}, {"pin B1 oats + rye", "forbid rye + oats"},
		{"pin B1 rest oats", "forbid B1 rest"}, {"legumes at least 30 %", "area legumes at most 20 %"},
		{"area oats at least 1 ha", "area oats at most 9999 m2"}, {"grade A 0.2", "grade D 0.3"}, {"dig 2027-06-01", "plant 2027-05-15"},
		{"forbid mixes", "mixes 2"}, {"sod B1 2020", "sod B1 2021"}, {"pressure B1 slug 1", "pressure B1 slug 1 +- 1"}, {"hosts barred", "hosts allowed"},
		{"bag oats 1 kg", "bag oats 2 kg"}, {"untreated 1 in 6", "untreated 1 in 5"}, {"dig B1 2026-10-01", "dig B1 2026-10-02"},
	} {
		_, one := ingest.ReadCoverRules(strings.NewReader(pair[0]), "r", []string{pair[1]}, coverNames, today)
		require.Len(t, list(t, one), 1, pair)
		_, two := ingest.ReadCoverRules(strings.NewReader(pair[1]), "r", []string{pair[0]}, coverNames, today)
		require.Len(t, list(t, two), 1, pair)
		require.Equal(t, 2, strings.Count(one.Error()+two.Error(), "--rule"), "%v\n%v", one, two)
	}
}

func FuzzCoverRules(f *testing.F) {
	wrong, err := os.ReadFile(filepath.Join("testdata", "coverrules-wrong.txt"))
	require.NoError(f, err)
	for _, line := range strings.Split(string(wrong), "\n") {
		f.Add(line)
	}
	for _, line := range []string{"budget $ 120.5\nrest 1 # x", "area Cereal Rye ≤ 33.3333333 %", "pin B1 winter rye + féverole+oats", "price rye $0.95/lb\rbag rye 5lb", "soil Dec −2.5 F", "pressure B4 slug 2±0.5"} {
		f.Add(line)
	}
	f.Fuzz(func(t *testing.T, text string) {
		rules, err := ingest.ReadCoverRules(strings.NewReader(text), "r", nil, coverNames, today)
		inside(t, text, err)
		if err == nil && len(rules) == 0 {
			t.Fatal("no rules and no problem")
		}
		for _, r := range rules {
			if math.IsNaN(r.Number) || math.Abs(r.Number) > 1e6 || r.Spread < 0 || r.Spread > 3 {
				t.Fatalf("%q: %+v", text, r.Number)
			}
			again, err := ingest.ReadCoverRules(nil, "", []string{r.String()}, coverNames, today)
			if err != nil {
				t.Fatalf("%q was written %q: %v", r.Text, r.String(), err)
			}
			back := again[0]
			back.File, back.Line, back.Col, back.Text = r.File, r.Line, r.Col, r.Text
			require.Equal(t, r, back)
		}
	})
}
