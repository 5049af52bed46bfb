package label_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
)

// Bt works on small larvae of moths: the answer of the bed and pest in the
// last three days counts, the latest of them, and of one day the last entered.
func TestLooks_WhichAnswerStands(t *testing.T) {
	all := []label.Look{{Active: "bt", Pest: "caterpillar", Fits: "small", Fails: []string{"large"}, Days: 3}}
	note := func(bed, pest, word, day string) farm.Done {
		return farm.Done{Bed: bed, Pest: pest, Action: word, Date: civil.MustParse(day)}
	}
	for _, x := range []struct {
		name string
		done []farm.Done
		want string
	}{
		{"nothing", nil, ""},
		{"today", []farm.Done{note("A1", "caterpillar", "answer:small", "2026-07-20")}, "small"},
		{"three days ago", []farm.Done{note("A1", "caterpillar", "answer:small", "2026-07-17")}, "small"},
		{"four days ago", []farm.Done{note("A1", "caterpillar", "answer:small", "2026-07-16")}, ""},
		{"tomorrow", []farm.Done{note("A1", "caterpillar", "answer:small", "2026-07-21")}, ""},
		{"another bed", []farm.Done{note("A2", "caterpillar", "answer:small", "2026-07-20")}, ""},
		{"another pest", []farm.Done{note("A1", "slug", "answer:small", "2026-07-20")}, ""},
		{"a step of that name", []farm.Done{note("A1", "caterpillar", "small", "2026-07-20")}, ""},
		{"the later day", []farm.Done{note("A1", "caterpillar", "answer:large", "2026-07-19"), note("A1", "caterpillar", "answer:small", "2026-07-18")}, "large"},
		{"of one day the last entered", []farm.Done{note("A1", "caterpillar", "answer:large", "2026-07-19"), note("A1", "caterpillar", "answer:small", "2026-07-19")}, "small"},
	} {
		got := label.Looks(all, x.done, "A1", "caterpillar", civil.MustParse("2026-07-20"))
		require.Len(t, got, 1, x.name)
		require.Equal(t, x.want, got[0].Answer, x.name)
	}
	require.Empty(t, label.Looks(all, nil, "A1", "slug", civil.MustParse("2026-07-20")))
	require.False(t, farm.Done{Pest: "caterpillar", Action: farm.Answer + "small"}.IsStep())
	for _, code := range []string{label.CodeLook, label.CodeUnfit} {
		require.False(t, label.Rule{Code: code}.OfLabel(), code)
		require.Contains(t, label.Next(code, label.After{Bed: "A1"}), "no breach of the label")
	}
}
