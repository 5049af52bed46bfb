package effect_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/effect"
)

func sprayed(on, group string) effect.Step {
	return effect.Step{Name: "Invented spray", Key: "label:spray", Product: true, Groups: []string{group}, Beds: []string{"A1"}, Date: day(on), WaitDays: 1}
}

// Two applications of one product between the same two counts are one course:
// the last is judged for both. 90 before, 30 after, 90 and 90 untreated: 1 - 30/90
// = 67 % (Henderson & Tilton).
func TestJudge_Course(t *testing.T) {
	steps := []effect.Step{sprayed("2026-06-02", "4"), sprayed("2026-06-09", "4")}
	counts := []effect.Count{count("A1", "2026-06-01", 90, 9), count("A1", "2026-06-12", 30, 9), count("B1", "2026-06-01", 90, 9), count("B1", "2026-06-12", 90, 9)}
	rs := effect.Judge(steps, counts, poisson, today)
	require.False(t, rs[0].Known())
	require.Contains(t, rs[0].Words(), "it cannot be told apart from Invented spray on Tue 9 Jun")
	require.Equal(t, effect.HendersonTilton, rs[1].Method)
	require.InDelta(t, 100*(1-30.0/90), rs[1].Efficacy.Percent, 1e-9)
	require.Len(t, rs[1].Course, 2)
	require.Contains(t, rs[1].Warnings[len(rs[1].Warnings)-1], "the 2 applications of Tue 2 Jun, Tue 9 Jun are judged together")
	require.Empty(t, effect.Resistance(rs), "two thirds are gone")

	// A count between the two parts them.
	parted := append(counts, count("A1", "2026-06-08", 60, 9), count("B1", "2026-06-08", 90, 9))
	rs = effect.Judge(steps, parted, poisson, today)
	require.InDelta(t, 100*(1-60.0/90), rs[0].Efficacy.Percent, 1e-9)
	require.InDelta(t, 100*(1-30.0/60), rs[1].Efficacy.Percent, 1e-9)
	require.Nil(t, rs[1].Course)

	// Something else between the counts still makes them useless.
	other := effect.Step{Name: "picked", Key: "pick", Beds: []string{"A1"}, Date: day("2026-06-05")}
	rs = effect.Judge(append(steps, other), counts, poisson, today)
	require.Contains(t, rs[2].Words(), "it cannot be told apart from")
	require.Contains(t, rs[2].Words(), "picked on Fri 5 Jun")
}

// An escape after a course of one mode of action raises the question, also
// where the counts are few and the interval is wide.
func TestResistance_AfterACourse(t *testing.T) {
	few := func(after int) []effect.Count {
		return []effect.Count{count("A1", "2026-06-01", 20, 9), count("A1", "2026-06-12", after, 9), count("B1", "2026-06-01", 20, 9), count("B1", "2026-06-12", 20, 9)}
	}
	clumped := func(string, float64) float64 { return 0.8 }
	steps := []effect.Step{sprayed("2026-06-02", "5"), sprayed("2026-06-09", "5")}
	rs := effect.Judge(steps, few(22), clumped, today)
	require.Greater(t, rs[1].Efficacy.High, 50.0, "the interval is wide")
	q := effect.Resistance(rs)
	require.Len(t, q, 1)
	require.Contains(t, q[0].Words, "group 5 was used on Tue 2 Jun, Tue 9 Jun (Invented spray)")
	require.Empty(t, effect.Resistance(effect.Judge(steps, few(4), clumped, today)), "it fell")
	require.Empty(t, effect.Resistance(effect.Judge(steps[1:], few(22), clumped, today)), "once is no repetition")
}
