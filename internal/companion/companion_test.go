package companion_test

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/companion"
	"leafturn/internal/cover"
	"leafturn/internal/diag"
)

// table reads testdata/companions.csv: columns cut from a table compiled from
// the trials and extension notes that its rows cite.
func table(t testing.TB) []companion.Row {
	t.Helper()
	f, err := os.Open("testdata/companions.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var out []companion.Row
	for _, r := range rows[1:] {
		score, err := strconv.Atoi(r[11])
		require.NoError(t, err)
		out = append(out, companion.Row{
			Plant: r[0], Pest: r[1], Role: r[2], Placement: r[3], SowWindow: r[4], BloomWindow: r[5], Risk: r[6],
			Grade: r[7], Basis: r[8], Latin: r[9], Family: r[10], Score: score, Note: r[12],
		})
	}
	require.Len(t, out, 39)
	return out
}

func suggest(t testing.TB, rows []companion.Row, p ...cover.Pressure) companion.Advice {
	t.Helper()
	a, err := companion.Suggest(p, rows, companion.DefaultOptions())
	require.NoError(t, err)
	return a
}

func find(t testing.TB, a companion.Advice, plant string) (companion.Suggestion, int) {
	t.Helper()
	for i, s := range a.Suggestions {
		if s.Plant == plant {
			return s, i
		}
	}
	require.Fail(t, "no "+plant)
	return companion.Suggestion{}, 0
}

// The cap touches five rows: coriander, fennel, yarrow, licorice mint (grade A)
// and phacelia (B) on aphids. Phacelia drawing cucumber beetles stays at A, and the hop
// mixture that holds yarrow was measured on mites.
func TestCapVisits(t *testing.T) {
	rows := table(t)
	var capped []string
	for i, r := range companion.CapVisits(rows) {
		require.Empty(t, rows[i].Cap)
		if r.Cap != "" {
			require.Equal(t, "C", r.Cap)
			require.NotEmpty(t, r.CapReason)
			capped = append(capped, r.Plant+"/"+r.Pest)
		}
	}
	require.ElementsMatch(t, []string{"coriander (let flower)/aphid", "fennel/aphid", "yarrow/aphid", "Korean licorice mint/aphid", "phacelia strip/aphid"}, capped)
	// Harm is never made light of, and a stricter cap of the facts stays.
	rows = companion.CapVisits([]companion.Row{
		{Latin: "Foeniculum vulgare", Role: "insectary", Score: 1, Grade: "A"},
		{Latin: "Foeniculum vulgare", Role: "insectary", Score: -1, Grade: "A", Cap: "D"},
	})
	require.Equal(t, []string{"", "D"}, []string{rows[0].Cap, rows[1].Cap})
}

// Hand computed, aphid 3, thrips 2, cucumber beetle 1:
// alyssum 3x2x1 + 2x1x0.4 = 6.8; buckwheat 3x1x1 = 3; coriander (capped) 3x1x0.4 = 1.2;
// phacelia 1.2 - 1x2x1 = -0.8; sunflower 2x1x0.7 = 1.4; pepper 1.4 - 1.5 (virus host) = -0.1.
func TestSuggest_ByHand(t *testing.T) {
	a := suggest(t, companion.CapVisits(table(t)), cover.Counted("aphid", 3), cover.Counted("thrips", 2), cover.Counted("cucumber_beetle", 1))
	for _, c := range []struct {
		plant   string
		value   float64
		grade   string
		verdict companion.Verdict
	}{
		{"sweet alyssum", 6.8, "A", companion.Try},
		{"buckwheat strip", 3, "A", companion.Try},
		{"coriander (let flower)", 1.2, "C", companion.Try},
		{"phacelia strip", -0.8, "C", companion.Outweighed},
		{"sunflower, branching pollen type", 1.4, "B", companion.Try},
		{"ornamental pepper banker", -0.1, "B", companion.Outweighed},
		{"basil", 0, "none", companion.NoEvidence},
		{"cosmos", -1.5, "none", companion.NoEvidence},
		{"chickweed, henbit, wild mustard (weeds)", -2*2*0.7 - 1.5, "none", companion.Avoid},
	} {
		s, _ := find(t, a, c.plant)
		require.InDelta(t, c.value, s.Value, 1e-12, c.plant)
		require.Equal(t, c.grade, s.BestGrade, c.plant)
		require.Equal(t, c.verdict, s.Verdict, c.plant)
	}
	require.Equal(t, "sweet alyssum", a.Suggestions[0].Plant)
	require.Equal(t, "buckwheat strip", a.Suggestions[1].Plant)

	s, _ := find(t, a, "phacelia strip")
	require.Contains(t, s.Warnings, "makes worse: cucumber_beetle (score +2, evidence A, pressure 1)")
	require.Contains(t, s.Warnings, "aphid: evidence B counted as C (measured: insect visits to the flower, not fewer pests on the crop)")
	s, _ = find(t, a, "sunflower, branching pollen type")
	require.True(t, s.Contested)
	require.Contains(t, s.Warnings, "Asteraceae, the dahlia's own family")
	s, _ = find(t, a, "ornamental pepper banker")
	require.Equal(t, []string{"CMV", "tospovirus"}, s.Viruses)
	s, _ = find(t, a, "sweet alyssum")
	require.Equal(t, "6-8 weeks from sowing, Apr to frost", s.Effects[1].Row.BloomWindow) // "as above"
	require.Equal(t, s.Effects[0].Row.Placement, s.Placement)

	// Not counted: the harm is told and not in the points.
	a = suggest(t, companion.CapVisits(table(t)), cover.Counted("aphid", 3), cover.Pressure{Pest: "cucumber_beetle"})
	s, _ = find(t, a, "phacelia strip")
	require.InDelta(t, 1.2, s.Value, 1e-12)
	require.Contains(t, s.Warnings, "would make cucumber_beetle worse (score +2, evidence A); how hard that pest presses is not in the points")
}

// "No good evidence" is an answer.
func TestSuggest_Answers(t *testing.T) {
	rows := companion.CapVisits(table(t))
	a := suggest(t, rows, cover.Counted("earwig", 3), cover.Counted("symphylan", 2))
	require.Equal(t, "no good evidence that any companion plant helps against earwig, symphylan", a.Answer)
	require.Equal(t, "earwig: no good evidence that any plant here helps", a.Pests[0].Text)
	require.Len(t, a.Suggestions, 1) // the potato bait, to count symphylans
	require.Equal(t, companion.NoEvidence, a.Suggestions[0].Verdict)

	a = suggest(t, rows, cover.Counted("slug", 0), cover.Pressure{Pest: "aphid", Score: 3})
	require.Equal(t, "no pest with a known pressure above 0, so no plant is suggested", a.Answer)
	require.Empty(t, a.Suggestions)

	a = suggest(t, rows, cover.Counted("wireworm", 1), cover.Counted("earwig", 1))
	require.Equal(t, "some trial evidence for plants against wireworm; no good evidence against earwig", a.Answer)
	require.Equal(t, []string{"pea / lentil trap row"}, a.Pests[1].Plants)

	// A plant whose harm outweighs its help is no answer.
	a = suggest(t, []companion.Row{
		{Plant: "x", Pest: "slug", Score: -1, Grade: "B"}, {Plant: "x", Pest: "wireworm", Score: 3, Grade: "A"},
	}, cover.Counted("slug", 1), cover.Counted("wireworm", 3))
	require.Equal(t, companion.Outweighed, a.Suggestions[0].Verdict)
	require.Equal(t, "slug: no good evidence that any plant here helps", a.Pests[0].Text)

	only := func(grade string) companion.Advice {
		return suggest(t, []companion.Row{{Plant: "x", Pest: "slug", Score: -1, Grade: grade}}, cover.Counted("slug", 2))
	}
	require.Equal(t, "slug: no good evidence that any plant here helps; anecdote only (D): x", only("D").Pests[0].Text)
	require.Equal(t, "slug: no good evidence that any plant here helps; advice or common practice only (C): x", only("C").Pests[0].Text)
	require.Equal(t, "slug: trial evidence (B; hardly any of it on dahlia): x", only("B").Pests[0].Text)
	require.Equal(t, "slug: no good evidence that any plant here helps", only("none").Pests[0].Text)
}

// Lettuce and chervil as slug traps rest on a garden list (D): 3 x 0.1 = 0.3.
func TestSuggest_AnecdoteAfterTrial(t *testing.T) {
	a := suggest(t, table(t), cover.Counted("slug", 3), cover.Counted("wireworm", 3))
	chervil, d := find(t, a, "chervil trap")
	require.InDelta(t, 0.3, chervil.Value, 1e-12)
	require.Equal(t, companion.Anecdote, chervil.Verdict)
	require.Empty(t, chervil.Warnings) // its risk, "as above", points at another plant
	// Beetle bank: 3 x 1 x 1 - 3 x 1 x 0.4 (wireworm) = 1.8.
	bank, i := find(t, a, "beetle bank (bunchgrasses)")
	require.InDelta(t, 1.8, bank.Value, 1e-12)
	require.Less(t, i, d)
}

var (
	pests  = []string{"aphid", "slug", "thrips", "earwig"}
	grades = []string{"A", "B", "C", "D", "none"}
)

func randomRows(t *rapid.T) []companion.Row {
	n := rapid.IntRange(1, 12).Draw(t, "rows")
	var rows []companion.Row
	for range n {
		rows = append(rows, companion.Row{
			Plant: rapid.SampledFrom([]string{"p", "q", "r", "s", "t"}).Draw(t, "plant"),
			Pest:  rapid.SampledFrom(pests).Draw(t, "pest"),
			Score: rapid.IntRange(-3, 3).Draw(t, "score"),
			Grade: rapid.SampledFrom(grades).Draw(t, "grade"),
			Risk:  rapid.SampledFrom([]string{"", "INSV host", "self-sows"}).Draw(t, "risk"),
		})
	}
	return rows
}

func randomPressures(t *rapid.T) []cover.Pressure {
	var out []cover.Pressure
	for _, p := range pests {
		out = append(out, cover.Pressure{Pest: p, Score: float64(rapid.IntRange(0, 3).Draw(t, p)), Known: rapid.Bool().Draw(t, "known")})
	}
	return out
}

// No plant with nothing but anecdotes behind its help stands before one that a
// trial says helps; a higher pressure never lowers a plant that only helps;
// parts add up; the order of rows and pressures does not matter.
func TestSuggest_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows, ps := randomRows(t), randomPressures(t)
		a, err := companion.Suggest(ps, rows, companion.DefaultOptions())
		require.NoError(t, err)
		anecdote := false
		for _, s := range a.Suggestions {
			trial, help := false, false
			sum := 0.0
			for _, e := range s.Effects {
				sum += e.Points
				trial = trial || e.Points > 0 && (e.Grade == "A" || e.Grade == "B")
				help = help || e.Points > 0
			}
			require.InDelta(t, s.Value, sum-s.Virus, 1e-9)
			require.False(t, anecdote && trial, "an anecdote stands before a trial")
			anecdote = anecdote || help && s.BestGrade == "D"
		}

		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		rows2, ps2 := append([]companion.Row(nil), rows...), append([]cover.Pressure(nil), ps...)
		rng.Shuffle(len(rows2), func(i, j int) { rows2[i], rows2[j] = rows2[j], rows2[i] })
		rng.Shuffle(len(ps2), func(i, j int) { ps2[i], ps2[j] = ps2[j], ps2[i] })
		b, err := companion.Suggest(ps2, rows2, companion.DefaultOptions())
		require.NoError(t, err)
		require.Equal(t, len(a.Suggestions), len(b.Suggestions))
		for i := range a.Suggestions {
			require.Equal(t, a.Suggestions[i].Plant, b.Suggestions[i].Plant)
			require.InDelta(t, a.Suggestions[i].Value, b.Suggestions[i].Value, 1e-12)
		}
		require.Equal(t, a.Pests, b.Pests)

		more := append([]cover.Pressure(nil), ps...)
		i := rapid.IntRange(0, len(more)-1).Draw(t, "raised")
		more[i] = cover.Counted(more[i].Pest, 3)
		c, err := companion.Suggest(more, rows, companion.DefaultOptions())
		require.NoError(t, err)
		for _, s := range a.Suggestions {
			lowers, raises := false, false
			for _, e := range s.Effects {
				if e.Row.Pest == more[i].Pest {
					lowers, raises = lowers || e.Row.Score < 0, raises || e.Row.Score > 0
				}
			}
			for _, x := range c.Suggestions {
				if x.Plant == s.Plant && lowers && !raises {
					require.GreaterOrEqual(t, x.Value, s.Value-1e-12)
				}
			}
		}
	})
}

func TestViruses(t *testing.T) {
	require.Equal(t, []string{"CMV", "tospovirus"}, companion.Viruses("Tospovirus, CMV and aphid host; tunnel use only"))
	require.Equal(t, []string{"INSV"}, companion.Viruses("INSV host"))
	require.Empty(t, companion.Viruses("white mould host"))
}

func TestSuggest_Refuses(t *testing.T) {
	ok := companion.Row{Plant: "x", Pest: "slug", Score: -1, Grade: "A"}
	for name, c := range map[string]struct {
		p   []cover.Pressure
		row companion.Row
		opt companion.Options
	}{
		"pressure":      {[]cover.Pressure{cover.Counted("slug", 3.5)}, ok, companion.DefaultOptions()},
		"NaN":           {[]cover.Pressure{cover.Counted("slug", math.NaN())}, ok, companion.DefaultOptions()},
		"twice":         {[]cover.Pressure{{Pest: "slug"}, {Pest: "slug"}}, ok, companion.DefaultOptions()},
		"no plant":      {nil, companion.Row{Pest: "slug", Grade: "A"}, companion.DefaultOptions()},
		"score":         {nil, companion.Row{Plant: "x", Pest: "slug", Score: 4, Grade: "A"}, companion.DefaultOptions()},
		"grade":         {nil, companion.Row{Plant: "x", Pest: "slug", Grade: "E"}, companion.DefaultOptions()},
		"cap":           {nil, companion.Row{Plant: "x", Pest: "slug", Grade: "A", Cap: "x"}, companion.DefaultOptions()},
		"virus penalty": {nil, ok, companion.Options{Weights: cover.DefaultWeights, VirusPenalty: -1}},
		"weights":       {nil, ok, companion.Options{Weights: cover.Weights{D: 1}}},
	} {
		_, err := companion.Suggest(c.p, []companion.Row{c.row}, c.opt)
		var p *diag.Problem
		require.ErrorAs(t, err, &p, name)
		require.NotEmpty(t, p.Do, name)
		require.True(t, strings.HasPrefix(p.What, "companion plants"), name)
	}
}
