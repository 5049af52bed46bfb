package effect_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/effect"
	"leafturn/internal/estimate"
)

func day(s string) civil.Date { return civil.MustParse(s) }

func poisson(string, float64) float64 { return math.Inf(1) }

var today = day("2026-07-31")

func count(bed, on string, total, units int) effect.Count {
	return effect.Count{Bed: bed, Date: day(on), Unit: "trap", Total: total, Units: units}
}

var pick = effect.Step{Name: "night pick", Key: "slug_pick", Beds: []string{"A1"}, Date: day("2026-07-10"), WaitDays: 1}

// The efficacy is that of package estimate, whose tests hold the published
// cases of Abbott 1925 and Henderson & Tilton 1955, on the cells that the
// windows pick.
func TestJudge(t *testing.T) {
	for _, c := range []struct {
		name   string
		counts []effect.Count
		steps  []effect.Step
		want   func(t *testing.T, r effect.Result)
	}{
		{"against untreated beds", []effect.Count{
			count("A1", "2026-07-01", 99, 9), count("A1", "2026-07-09", 30, 9), count("A1", "2026-07-14", 6, 9), count("A1", "2026-07-20", 50, 9),
			count("B1", "2026-07-09", 20, 9), count("B1", "2026-07-14", 25, 9), count("C1", "2026-07-08", 10, 9), count("C1", "2026-07-16", 15, 9),
		}, nil, func(t *testing.T, r effect.Result) {
			require.Equal(t, effect.HendersonTilton, r.Method)
			require.Equal(t, []string{"B1", "C1"}, r.CheckBeds)
			want, err := estimate.HendersonTilton(estimate.Cell{Total: 30, Units: 9}, estimate.Cell{Total: 6, Units: 9}, estimate.Cell{Total: 30, Units: 18}, estimate.Cell{Total: 40, Units: 18}, math.Inf(1), 0.95)
			require.NoError(t, err)
			require.Equal(t, want, r.Efficacy)
			require.InDelta(t, 100*(1-6.0*30/(30*40)), r.Efficacy.Percent, 1e-9)
			require.Empty(t, r.Warnings)
			require.Contains(t, r.Words(), "85 % fewer than untreated beds would lead one to expect; likely between ")
		}},
		{"counted afterwards alone", []effect.Count{count("A1", "2026-07-14", 6, 9), count("B1", "2026-07-14", 24, 9)}, nil, func(t *testing.T, r effect.Result) {
			require.Equal(t, effect.Abbott, r.Method)
			require.InDelta(t, 75, r.Efficacy.Percent, 1e-9)
			require.Contains(t, r.Warnings[0], "taken to have been alike")
		}},
		{"no untreated bed", []effect.Count{count("A1", "2026-07-09", 30, 9), count("A1", "2026-07-14", 15, 9)}, nil, func(t *testing.T, r effect.Result) {
			require.Equal(t, effect.BeforeAndAfter, r.Method)
			require.InDelta(t, 50, r.Efficacy.Percent, 1e-9)
			require.Contains(t, r.Warnings[0], "weather, season or luck may have done it")
			require.Contains(t, r.Words(), "50 % fewer than before")
		}},
		{"more than before", []effect.Count{count("A1", "2026-07-09", 30, 9), count("A1", "2026-07-14", 45, 9)}, nil, func(t *testing.T, r effect.Result) {
			require.InDelta(t, -50, r.Efficacy.Percent, 1e-9)
			require.Contains(t, r.Words(), "50 % more than before")
		}},
		{"not counted yet", []effect.Count{count("A1", "2026-07-09", 30, 9), count("A1", "2026-07-10", 2, 9)}, nil, func(t *testing.T, r effect.Result) {
			require.Equal(t, "no valid count from Sat 11 Jul on: count until Sat 1 Aug", r.Words())
		}},
		{"counted in dry soil", []effect.Count{count("A1", "2026-07-09", 30, 9), {Bed: "A1", Date: day("2026-07-14"), Unit: "trap", Units: 9, Reason: "the soil surface was dry"}}, nil, func(t *testing.T, r effect.Result) {
			require.Contains(t, r.Missing, "that of Tue 14 Jul in A1 does not count: the soil surface was dry")
		}},
		{"another step between", []effect.Count{count("A1", "2026-07-09", 30, 9), count("A1", "2026-07-14", 6, 9), count("B1", "2026-07-14", 24, 9)},
			[]effect.Step{{Name: "bait", Key: "bait", Beds: []string{"A1"}, Date: day("2026-07-12")}}, func(t *testing.T, r effect.Result) {
				require.Equal(t, "it cannot be told apart from bait on Sun 12 Jul, between the same two counts", r.Words())
			}},
		{"a bed treated meanwhile is no check", []effect.Count{count("A1", "2026-07-09", 30, 9), count("A1", "2026-07-14", 15, 9), count("B1", "2026-07-09", 30, 9), count("B1", "2026-07-14", 3, 9)},
			[]effect.Step{{Name: "bait", Key: "bait", Beds: []string{"B1"}, Date: day("2026-07-11")}}, func(t *testing.T, r effect.Result) {
				require.Equal(t, effect.BeforeAndAfter, r.Method)
				require.Empty(t, r.CheckBeds)
			}},
		{"none before", []effect.Count{count("A1", "2026-07-09", 0, 9), count("A1", "2026-07-14", 0, 9)}, nil, func(t *testing.T, r effect.Result) {
			require.Equal(t, effect.None, r.Method)
			require.Contains(t, r.Missing, "none were counted before the step")
		}},
		{"none in the untreated beds either", []effect.Count{count("A1", "2026-07-09", 9, 9), count("A1", "2026-07-14", 0, 9), count("B1", "2026-07-09", 9, 9), count("B1", "2026-07-14", 0, 9)}, nil, func(t *testing.T, r effect.Result) {
			require.Contains(t, r.Missing, "they went without the step as well")
		}},
		{"none left", []effect.Count{count("A1", "2026-07-09", 40, 9), count("A1", "2026-07-14", 0, 9), count("B1", "2026-07-09", 40, 9), count("B1", "2026-07-14", 40, 9)}, nil, func(t *testing.T, r effect.Result) {
			require.InDelta(t, 100, r.Efficacy.Percent, 0)
			require.Less(t, r.Efficacy.Low, 100.0)
			require.Contains(t, r.Words(), "nearly all gone")
		}},
		{"nothing at all", nil, nil, func(t *testing.T, r effect.Result) { require.False(t, r.Known()) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			steps := append([]effect.Step{pick}, c.steps...)
			for _, r := range effect.Judge(steps, c.counts, poisson, today) {
				if r.Key == pick.Key {
					c.want(t, r)
				}
			}
		})
	}
}

func TestJudge_TooLate(t *testing.T) {
	r := effect.Judge([]effect.Step{pick}, []effect.Count{count("A1", "2026-07-09", 30, 9)}, poisson, day("2026-08-02"))[0]
	require.Contains(t, r.Missing, "and now it is too late")
}

// Two tries that agree are surer than one; a step that fails twice and clearly
// is passed over; one try never is.
func TestPool(t *testing.T) {
	try := func(on string, before, after int) []effect.Count {
		d := day(on)
		return []effect.Count{{Bed: "A1", Date: d, Unit: "trap", Total: before, Units: 9}, {Bed: "A1", Date: d.AddDays(3), Unit: "trap", Total: after, Units: 9},
			{Bed: "B1", Date: d, Unit: "trap", Total: 100, Units: 9}, {Bed: "B1", Date: d.AddDays(3), Unit: "trap", Total: 100, Units: 9}}
	}
	step := func(on string) effect.Step { s := pick; s.Date = day(on); return s }
	one := effect.Pool(effect.Judge([]effect.Step{step("2026-06-01")}, try("2026-06-01", 200, 100), poisson, today))
	require.Len(t, one, 1)
	require.InDelta(t, 50, one[0].Percent, 1e-9)
	two := effect.Pool(effect.Judge([]effect.Step{step("2026-06-01"), step("2026-07-01")}, append(try("2026-06-01", 200, 100), try("2026-07-01", 200, 100)...), poisson, today))
	require.Equal(t, 2, two[0].Tries)
	require.True(t, two[0].Compared)
	require.InDelta(t, 50, two[0].Percent, 1e-9)
	require.Greater(t, two[0].Low, one[0].Low)
	require.Less(t, two[0].High, one[0].High)
	require.False(t, two[0].PassedOver())
	require.Contains(t, two[0].Words(), "tried here 2 times this season: 50 % fewer")

	failed := effect.Pool(effect.Judge([]effect.Step{step("2026-06-01"), step("2026-07-01")}, append(try("2026-06-01", 200, 200), try("2026-07-01", 200, 210)...), poisson, today))
	require.True(t, failed[0].PassedOver(), "%+v", failed)
	require.False(t, effect.Pool(effect.Judge([]effect.Step{step("2026-06-01")}, try("2026-06-01", 200, 210), poisson, today))[0].PassedOver())

	// Tries that differ by more than chance widen the interval.
	torn := effect.Pool(effect.Judge([]effect.Step{step("2026-06-01"), step("2026-07-01")}, append(try("2026-06-01", 400, 400), try("2026-07-01", 400, 40)...), poisson, today))
	require.Less(t, torn[0].Low, 0.0)
	require.Greater(t, torn[0].High, 90.0)
	require.Empty(t, effect.Pool(nil))
}

func TestResistance(t *testing.T) {
	spray := func(on, group string) effect.Step {
		return effect.Step{Name: "Invented spray", Key: "label:spray", Product: true, Groups: []string{group}, Beds: []string{"A1"}, Date: day(on), WaitDays: 1}
	}
	counts := func(after int) []effect.Count {
		return []effect.Count{count("A1", "2026-06-01", 90, 9), count("A1", "2026-06-10", after, 9), count("A1", "2026-06-20", after, 9),
			count("B1", "2026-06-01", 90, 9), count("B1", "2026-06-10", 90, 9), count("B1", "2026-06-20", 90, 9)}
	}
	twice := []effect.Step{spray("2026-06-02", "4"), spray("2026-06-12", "4")}
	q := effect.Resistance(effect.Judge(twice, counts(88), poisson, today))
	require.Len(t, q, 1)
	require.Contains(t, q[0].Words, "group 4 was used on Tue 2 Jun, Fri 12 Jun (Invented spray)")
	require.Contains(t, q[0].Words, "Is it resistance? First look at the usual causes")
	require.Empty(t, effect.Resistance(effect.Judge(twice[:1], counts(88), poisson, today)), "once is no repetition")
	require.Empty(t, effect.Resistance(effect.Judge([]effect.Step{spray("2026-06-02", "4"), spray("2026-06-12", "5")}, counts(88), poisson, today)), "two groups")
	require.Empty(t, effect.Resistance(effect.Judge(twice, counts(20), poisson, today)), "it fell, at least the first time")
	hand := pick
	hand.Date, hand.Groups = day("2026-06-02"), []string{"4"}
	require.Empty(t, effect.Resistance(effect.Judge([]effect.Step{hand, {Key: "x", Name: "x", Beds: []string{"A1"}, Date: day("2026-06-12"), WaitDays: 1, Groups: []string{"4"}}}, counts(88), poisson, today)), "no product")
}

func draw(t *rapid.T) ([]effect.Step, []effect.Count) {
	bed := rapid.SampledFrom([]string{"A1", "A2", "B1", "B2"})
	date := rapid.Custom(func(t *rapid.T) civil.Date { return day("2026-06-01").AddDays(rapid.IntRange(0, 50).Draw(t, "day")) })
	steps := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) effect.Step {
		key := rapid.SampledFrom([]string{"a", "b"}).Draw(t, "key")
		return effect.Step{Name: key, Key: key, Product: key == "a", Groups: []string{"4"}, Beds: rapid.SliceOfNDistinct(bed, 1, 2, rapid.ID).Draw(t, "beds"), Date: date.Draw(t, "on"), WaitDays: rapid.IntRange(0, 10).Draw(t, "wait")}
	}), 0, 4).Draw(t, "steps")
	counts := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) effect.Count {
		return effect.Count{Bed: bed.Draw(t, "bed"), Date: date.Draw(t, "counted"), Unit: rapid.SampledFrom([]string{"trap", "leaf"}).Draw(t, "unit"), Total: rapid.IntRange(0, 200).Draw(t, "total"),
			Units: rapid.IntRange(0, 40).Draw(t, "units"), Visit: rapid.Int64Range(1, 1_000_000).Draw(t, "visit"), Reason: rapid.SampledFrom([]string{"", "", "", "dry"}).Draw(t, "reason")}
	}), 0, 20).Draw(t, "counts")
	return steps, counts
}

// Every result is a number within its interval or a reason why not, whatever
// the order of counts; a step is never compared with a bed of its own.
func TestJudge_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		steps, counts := draw(t)
		k := func(string, float64) float64 { return 0.8 }
		got := effect.Judge(steps, counts, k, today)
		if len(got) != len(steps) {
			t.Fatalf("%d results for %d steps", len(got), len(steps))
		}
		for _, r := range got {
			e := r.Efficacy
			if r.Known() == (r.Missing != "") || r.Words() == "" {
				t.Fatalf("%+v", r)
			}
			if r.Known() && !(e.Low <= e.Percent && e.Percent <= e.High && !math.IsInf(e.Low, 0) && e.High <= 100) && !e.Adjusted {
				t.Fatalf("%+v", e)
			}
			if math.IsNaN(e.Percent + e.Low + e.High) {
				t.Fatalf("%+v", e)
			}
			for _, b := range r.CheckBeds {
				if slices.Contains(r.Beds, b) {
					t.Fatalf("%s is its own check", b)
				}
			}
		}
		for _, o := range effect.Pool(got) {
			if !(o.Low <= o.Percent && o.Percent <= o.High) || o.Words() == "" {
				t.Fatalf("%+v", o)
			}
		}
		effect.Resistance(got)
		turned := slices.Clone(counts)
		slices.Reverse(turned)
		ids := map[int64]bool{}
		for _, c := range counts {
			ids[c.Visit] = true
		}
		if again := effect.Judge(steps, turned, k, today); len(ids) == len(counts) {
			for i := range got {
				if got[i].Words() != again[i].Words() {
					t.Fatalf("the order of counts matters: %q, %q", got[i].Words(), again[i].Words())
				}
			}
		}
	})
}
