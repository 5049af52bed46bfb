package cli_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/cli"
)

// The tests of this file enter published counts of real animals as a grower
// would, through the program's own commands, and hold every statistic that it
// gives back against values computed outside the project (R 4.2.2 and scipy;
// golden.json says how, quantity by quantity).

const reference = "../../testdata/reference"

// field is a farm's file that commands are run on, at a fixed instant.
type field struct {
	t   *testing.T
	dir string
	db  string
	now string
}

func newField(t *testing.T, now string) *field {
	t.Helper()
	dir := t.TempDir()
	return &field{t: t, dir: dir, db: filepath.Join(dir, "farm.leafturn"), now: now}
}

// try runs one command line and returns the exit code and both outputs.
func (f *field) try(args ...string) (code int, out, errs string) {
	f.t.Helper()
	var o, e bytes.Buffer
	s := cli.Streams{
		In: strings.NewReader(""), Out: &o, Err: &e, Getenv: func(string) string { return "" },
		Now: func() time.Time { panic("the clock was asked although --now was given") },
	}
	code = cli.Main(context.Background(), append([]string{"leafturn", "--db", f.db, "--now", f.now}, args...), s)
	return code, o.String(), e.String()
}

// run runs a command line that must succeed and returns what it printed.
func (f *field) run(args ...string) string {
	f.t.Helper()
	code, out, errs := f.try(args...)
	require.Equal(f.t, 0, code, "leafturn %s\n%s", strings.Join(args, " "), errs)
	return out
}

// data runs a command with --json and decodes its payload into to.
func (f *field) data(to any, args ...string) {
	f.t.Helper()
	var doc struct {
		Schema int             `json:"schema"`
		Data   json.RawMessage `json:"data"`
	}
	out := f.run(append(args, "--json")...)
	require.NoError(f.t, json.Unmarshal([]byte(out), &doc))
	require.Equal(f.t, 1, doc.Schema)
	require.NoError(f.t, json.Unmarshal(doc.Data, to))
}

// file writes a file beside the farm's and returns its path.
func (f *field) file(name, text string) string {
	f.t.Helper()
	path := filepath.Join(f.dir, name)
	require.NoError(f.t, os.WriteFile(path, []byte(text), 0o644))
	return path
}

// quantity is one expected number: it passes when |x - v| <= abs + rel|v|; a
// null value means that no such number exists.
type quantity struct {
	Value *float64 `json:"value"`
	Rel   float64  `json:"tol_rel"`
	Abs   float64  `json:"tol_abs"`
}

func goldenCase(t *testing.T, file, name string) map[string]quantity {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(reference, "golden.json"))
	require.NoError(t, err)
	var g struct {
		Datasets map[string][]struct {
			Case       string          `json:"case"`
			Quantities json.RawMessage `json:"quantities"`
		} `json:"datasets"`
	}
	require.NoError(t, json.Unmarshal(raw, &g))
	for _, c := range g.Datasets[file] {
		if c.Case == name {
			var q map[string]quantity
			require.NoError(t, json.Unmarshal(c.Quantities, &q))
			return q
		}
	}
	t.Fatalf("golden.json has no case %q of %s", name, file)
	return nil
}

// column reads whole numbers from a column of a reference file, of the rows in
// which another column has a value (where "" for all rows); rows without a
// count are left out.
func column(t *testing.T, file, want, where, value string) []int {
	t.Helper()
	f, err := os.Open(filepath.Join(reference, file))
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	at := map[string]int{}
	for i, h := range rows[0] {
		at[h] = i
	}
	var out []int
	for _, r := range rows[1:] {
		if where != "" && r[at[where]] != value {
			continue
		}
		if r[at[want]] == "" || r[at[want]] == "NA" {
			continue // not counted
		}
		n, err := strconv.Atoi(r[at[want]])
		require.NoError(t, err)
		out = append(out, n)
	}
	require.NotEmpty(t, out)
	return out
}

// asTyped writes counts as single words, in the order of the file.
func asTyped(counts []int) []string {
	var out []string
	for _, c := range counts {
		out = append(out, strconv.Itoa(c))
	}
	return out
}

// derived are the reference's quantities that `estimate` does not print but
// that follow from what it does by the formulas given in golden.json.
func derived(d map[string]any, name string) (float64, bool) {
	get := func(k string) float64 { v, _ := d[k].(float64); return v }
	n, total, mean, k := get("n"), get("total"), get("mean"), get("k_mle")
	nb := func(x int) float64 { // negative binomial P(x), by its recursion
		p := math.Pow(1+mean/k, -k)
		for i := range x {
			p *= (k + float64(i)) / float64(i+1) * mean / (k + mean)
		}
		return p
	}
	atLeast7 := func() float64 {
		p := 1.0
		for x := range 7 {
			p -= nb(x)
		}
		return n * p
	}
	switch {
	case name == "prop_zero":
		return get("zeros") / n, true
	case name == "nb_prop_zero_expected":
		return nb(0), true
	case name == "lrt_poisson_vs_nb":
		return 2 * (get("nb_loglik") - get("poisson_loglik")), true
	case name == "morisita_chisq":
		return get("morisita")*(total-1) + n - total, true
	case name == "nb_expected_7_or_more":
		return atLeast7(), true
	case strings.HasPrefix(name, "nb_expected_"):
		x, err := strconv.Atoi(strings.TrimPrefix(name, "nb_expected_"))
		return n * nb(x), err == nil
	case name == "nb_chisq_8_classes": // 0 to 6 and 7 or more, of the red mites
		seen := []float64{70, 38, 17, 10, 9, 3, 2, 1}
		chi := 0.0
		for x := range 7 {
			e := n * nb(x)
			chi += (seen[x] - e) * (seen[x] - e) / e
		}
		e := atLeast7()
		return chi + (seen[7]-e)*(seen[7]-e)/e, true
	}
	return 0, false
}

// statistics compares everything that `estimate` gave with the reference and
// returns how many values were compared.
func statistics(t *testing.T, got map[string]any, want map[string]quantity) (direct, formula int) {
	t.Helper()
	for name, q := range want {
		v, there := got[name]
		x, isNumber := v.(float64)
		if !there {
			x, isNumber = derived(got, name)
			require.True(t, isNumber, "%s is neither given nor derived", name)
			formula++
		} else {
			direct++
		}
		if q.Value == nil {
			require.False(t, isNumber, "%s: no such number exists, but %g is given", name, x)
			require.NotEmpty(t, got["null_reasons"].(map[string]any)[name], "%s is null without a reason", name)
			continue
		}
		require.True(t, isNumber, "%s is missing", name)
		// The reference is written with 12 digits.
		if limit := q.Abs + q.Rel*math.Abs(*q.Value); math.Abs(x-*q.Value) > limit+1e-12*math.Abs(*q.Value) {
			t.Errorf("%s is %.12g, the reference has %.12g (tolerance %.3g)", name, x, *q.Value, limit)
		}
	}
	return direct, formula
}

// dataset is one published sample entered as one visit.
type dataset struct {
	source string // where the counts were published
	file   string // of testdata/reference
	golden string // case of golden.json
	bed    string
	pest   string
	unit   string   // "" is the usual one
	words  []string // the counts as typed
	counts []int
}

func datasets(t *testing.T) []dataset {
	slugs := func(where string) []int { return column(t, "slugs_under_tiles.csv", "slugs", "field", where) }
	worms := func(treatment string) []int {
		return column(t, "webworms_beets.csv", "webworms", "treatment", treatment)
	}
	wire := column(t, "wireworms_latin_square.csv", "wireworms", "", "")
	var mites []int
	leaves := column(t, "mites_apple_leaves.csv", "leaves", "", "")
	var table []string
	for n, times := range leaves {
		table = append(table, fmt.Sprintf("%d*%d", times, n))
		for range times {
			mites = append(mites, n)
		}
	}
	const (
		bliss   = "Garman's counts in Bliss & Fisher 1953, Biometrics 9:176-200"
		crawley = "Crawley 2012, The R Book, slugs under 40 tiles in each of two grasslands"
		cochran = "Cochran 1938, Emp. J. Exp. Agric. 6:157-175, via agridat"
		beall   = "Beall 1940, Ecology 21:460-474, tables 1 and 6, via agridat"
	)
	out := []dataset{
		{bliss, "mites_apple_leaves.csv", "all leaves", "M1", "mite", "leaf", table, mites},
		{crawley, "slugs_under_tiles.csv", "Nursery", "S1", "slug", "board", nil, slugs("Nursery")},
		{crawley, "slugs_under_tiles.csv", "Rookery", "S2", "slug", "board", nil, slugs("Rookery")},
		{crawley, "slugs_under_tiles.csv", "both fields", "S3", "slug", "trap", nil, append(slugs("Nursery"), slugs("Rookery")...)},
		{cochran, "wireworms_latin_square.csv", "all plots", "W1", "wireworm", "bait", nil, wire},
	}
	for i, treatment := range []string{"T1", "T2", "T3", "T4"} {
		out = append(out, dataset{beall, "webworms_beets.csv", treatment, fmt.Sprintf("C%d", i+1), "caterpillar", "plant", nil, worms(treatment)})
	}
	for i := range out {
		if out[i].words == nil {
			out[i].words = asTyped(out[i].counts)
		}
	}
	return out
}

// verdict is the payload of `why BED PEST`.
type verdict struct {
	Bed     string   `json:"bed"`
	Pest    string   `json:"pest"`
	Verdict string   `json:"verdict"`
	Units   int      `json:"units"`
	Unit    string   `json:"unit"`
	Measure string   `json:"measure"`
	Value   *float64 `json:"value"`
	Low     *float64 `json:"low_95"`
	High    *float64 `json:"high_95"`
	Act     *float64 `json:"act_level"`
	Chance  *float64 `json:"chance_at_or_over_act_level"`
	Valid   bool     `json:"valid"`
}

func TestPublishedCounts_EnteredLikeAGrower(t *testing.T) {
	f := newField(t, "2026-06-15T18:00:00Z")
	f.run("farm", "new", "--name", "Reference field", "--zone", "UTC", "--pests", "mite,slug,wireworm,caterpillar")
	sets := datasets(t)
	var beds []string
	for _, d := range sets {
		f.run("bed", "add", d.bed, "--size", "25 m x 1.2 m")
		beds = append(beds, d.bed)
	}
	f.run(append([]string{"stage", "planted", "--date", "2026-05-15"}, beds...)...)
	f.run(append([]string{"stage", "emerged", "--date", "2026-06-01"}, beds...)...)

	checked := 0
	for _, d := range sets {
		t.Run(strings.ReplaceAll(d.file+" "+d.golden, " ", "_"), func(t *testing.T) {
			f := &field{t, f.dir, f.db, f.now}
			said := f.run(append([]string{"count", d.bed, d.pest, "unit=" + d.unit}, d.words...)...)
			require.Contains(t, said, fmt.Sprintf("on %d ", len(d.counts)))

			var got map[string]any
			f.data(&got, "estimate", d.bed, d.pest)
			direct, formula := statistics(t, got, goldenCase(t, d.file, d.golden))
			t.Logf("%s: %d statistics as given and %d derived from them agree with the reference", d.source, direct, formula)
			require.GreaterOrEqual(t, direct, 28)
			checked += direct + formula

			// The verdict rests on the same numbers.
			var v verdict
			f.data(&v, "why", d.bed, d.pest)
			require.Equal(t, len(d.counts), v.Units)
			require.NotNil(t, v.Value)
			want := got["mean"].(float64)
			if d.pest == "caterpillar" { // judged by the share of plants with any
				want = 100 * got["prop_infested"].(float64)
				// Its interval is Wilson's score interval.
				require.InEpsilon(t, 100*got["infested_wilson95_low"].(float64), *v.Low, 1e-9)
				require.InEpsilon(t, 100*got["infested_wilson95_high"].(float64), *v.High, 1e-9)
			}
			require.InEpsilon(t, want, *v.Value, 1e-9)
			require.Less(t, *v.Low, *v.Value)
			require.Greater(t, *v.High, *v.Value)
			require.True(t, v.Valid)
		})
	}
	t.Logf("%d published samples, %d values held against the reference", len(sets), checked)

	// The week's list carries the same verdicts: each sample once, none lost.
	var week struct {
		Lines []struct {
			Verdicts []verdict `json:"verdicts"`
		} `json:"lines"`
		Hold []verdict `json:"hold"`
	}
	f.data(&week, "week")
	seen := map[string]verdict{}
	note := func(v verdict) {
		if v.Value == nil {
			return
		}
		if old, ok := seen[v.Bed+" "+v.Pest]; ok {
			require.Equal(t, old, v, "two lines disagree on one sample")
		}
		seen[v.Bed+" "+v.Pest] = v
	}
	for _, l := range week.Lines {
		for _, v := range l.Verdicts {
			note(v)
		}
	}
	for _, v := range week.Hold {
		note(v)
	}
	keys := map[string]string{"mite": "spider_mite"}
	for _, d := range sets {
		pest := d.pest
		if k, ok := keys[pest]; ok {
			pest = k
		}
		v, ok := seen[d.bed+" "+pest]
		require.True(t, ok, "the week's list does not speak of %s in %s", pest, d.bed)
		want := 0.0
		for _, c := range d.counts {
			switch {
			case pest != "caterpillar":
				want += float64(c)
			case c > 0:
				want += 100
			}
		}
		require.InEpsilon(t, want/float64(len(d.counts)), *v.Value, 1e-9, d.source)
	}
}

// A list typed on the command line goes the same way as a visit. The last two
// samples are no more variable than chance: they have no k, and the program
// must say so rather than print one.
func TestPublishedCounts_PlainList(t *testing.T) {
	f := newField(t, "2026-06-15T18:00:00Z")
	sets := append(datasets(t),
		dataset{source: "Beall 1942, Biometrika 29:243-262, spray E; R datasets::InsectSprays", file: "insect_sprays.csv", golden: "E",
			words: asTyped(column(t, "insect_sprays.csv", "insects", "spray", "E"))},
		dataset{source: "Burks & Higbee 2024, Insects 15:884, traps without a lure", file: "moth_traps_site_1.csv", golden: "blank",
			words: asTyped(column(t, "moth_traps_site_1.csv", "moths", "lure", "blank"))},
	)
	for _, d := range sets {
		var got map[string]any
		f.data(&got, append([]string{"estimate", "--counts"}, d.words...)...)
		want := goldenCase(t, d.file, d.golden)
		direct, _ := statistics(t, got, want)
		require.GreaterOrEqual(t, direct, 14, d.source)
		if k, there := want["k_mle"]; there && k.Value == nil {
			require.Equal(t, "Poisson limit", got["k_outcome"], d.source)
		}
	}
}

// The numbers printed in the papers themselves, to half a unit of their last
// digit.
func TestPublishedCounts_AsPrinted(t *testing.T) {
	f := newField(t, "2026-06-15T18:00:00Z")
	var mites map[string]any
	f.data(&mites, "estimate", "--counts", "70*0", "38*1", "17*2", "10*3", "9*4", "3*5", "2*6", "1*7")
	// Bliss & Fisher 1953, Biometrics 9:176-200: 150 leaves, 172 mites, mean
	// 1.14667, variance 2.27365, k = 1.02459 by maximum likelihood (from memory,
	// and recomputed in R: methods-cases.json).
	require.EqualValues(t, 150, mites["n"])
	require.EqualValues(t, 172, mites["total"])
	require.InDelta(t, 1.14667, mites["mean"], 5e-6)
	require.InDelta(t, 2.27365, mites["variance"], 5e-6)
	require.InDelta(t, 1.02459, mites["k_mle"], 5e-6)
}

// A quantity that does not exist is null and says why.
func TestEstimate_NullsHaveReasons(t *testing.T) {
	f := newField(t, "2026-06-15T18:00:00Z")
	for _, c := range []struct {
		counts string
		nulls  string // some of the fields that cannot exist
	}{
		{"3", "variance k_moments k_mle k_mle_se mean_t95_low mean_t95_high dispersion_chisq dispersion_p lloyd_patchiness"},
		{"0 0 0 0", "k_moments k_mle k_mle_se mean_nb_profile95_high mean_nb_wald95_low dispersion_chisq morisita green_index"},
		{"2 2 2 2", "k_moments k_mle k_mle_se mean_nb_wald95_low mean_nb_wald95_high"},
		{"1 0 0", "k_mle morisita green_index"},
		{"4 0 2 7 1", ""},
	} {
		var got map[string]any
		f.data(&got, append([]string{"estimate", "--counts"}, strings.Fields(c.counts)...)...)
		reasons := got["null_reasons"].(map[string]any)
		for name, v := range got {
			if v == nil {
				require.NotEmpty(t, reasons[name], "%s of %q is null without a reason", name, c.counts)
			} else {
				require.Nil(t, reasons[name], "%s of %q has a value and a reason for having none", name, c.counts)
			}
		}
		for _, name := range strings.Fields(c.nulls) {
			require.Nil(t, got[name], "%s of %q", name, c.counts)
		}
		if c.nulls == "" { // only what is asked of other samples is missing
			require.ElementsMatch(t, strings.Fields("none_found_upper95_poisson none_found_upper95_clumped none_found_k outlier_count mean_without_outlier mean_per_night presence counts_and_presence"),
				slices.Collect(maps.Keys(reasons)))
		}
	}
}
