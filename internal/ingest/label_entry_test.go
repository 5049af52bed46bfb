package ingest_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
)

// What LabelQuestions says stands there now is what SetLabelField takes, for
// every field of a full label: copied field by field it is the same label.
func TestSetLabelField_CopiesALabel(t *testing.T) {
	want, err := ingest.ParseLabel(strings.NewReader(invented), "l", names{}, civil.Date{})
	require.NoError(t, err)
	got := farm.Label{}
	require.Nil(t, ingest.SetLabelKey(&got, want.Key))
	for _, q := range ingest.LabelQuestions(want) {
		require.NotEmpty(t, q.Help, q.Key)
		require.Nil(t, ingest.SetLabelField(&got, q.Key, q.Now, names{}), q.Key)
	}
	require.Equal(t, ingest.FormatLabel(want), ingest.FormatLabel(got))

	// And blank makes each of them unknown again.
	questions := ingest.LabelQuestions(want)
	for i := len(questions) - 1; i >= 0; i-- {
		require.Nil(t, ingest.SetLabelField(&got, questions[i].Key, " ", names{}), questions[i].Key)
	}
	require.Equal(t, farm.Label{Key: want.Key}, got)
}

// A refused value leaves the label as it was.
func TestSetLabelField_Refuses(t *testing.T) {
	l, err := ingest.ParseLabel(strings.NewReader(invented), "l", names{}, civil.Date{})
	require.NoError(t, err)
	before := ingest.FormatLabel(l)
	for _, c := range [][2]string{
		{"rei", "soon"}, {"pests", "slug, earwgi"}, {"sites", "attic dahlias"}, {"keep_apart", "sulfur"}, {"bees", "maybe"}, {"max_per", "moon"},
		{"active.group", "banana"}, {"active.percent", "101"}, {"active.max", "1 lb"}, {"active2.name", "none stated"}, {"active9.name", "x"}, {"active0.name", "x"},
		{"key", "other"}, {"version", "3"}, {"entered", "2026-01-01"}, {"nothing", "x"}, {"", "x"}, {"formulation", "bait, sprayed"}, {"organic", "no"},
	} {
		bad := ingest.SetLabelField(&l, c[0], c[1], names{})
		require.NotNil(t, bad, "%s = %s", c[0], c[1])
		require.NotEmpty(t, bad.What)
		require.Equal(t, before, ingest.FormatLabel(l), "%s = %s", c[0], c[1])
	}
}

func FuzzSetLabelField(f *testing.F) {
	for _, q := range ingest.LabelQuestions(farm.Label{}) {
		f.Add(q.Key, "none stated")
		f.Add(q.Key, "4 hours, 1 lb/acre")
	}
	f.Fuzz(func(t *testing.T, key, text string) {
		l, err := ingest.ParseLabel(strings.NewReader(invented), "l", names{}, civil.Date{})
		require.NoError(t, err)
		before := ingest.FormatLabel(l)
		if ingest.SetLabelField(&l, key, text, names{}) != nil {
			require.Equal(t, before, ingest.FormatLabel(l))
		}
		ingest.FormatLabel(l)
	})
}
