package label_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/units"
)

// iron is a bait whose label limits its active over all products, and one
// that names the same active otherwise and states no limit. Both invented.
func iron() (limited, other farm.Label) {
	limited, other = bait(), bait()
	limited.Actives[0].Max = farm.Value(units.Of(0.5, "kg/ha"))
	other.Key, other.Product = "otherbait", "Invented other bait"
	other.Actives = []farm.Active{{Name: "Iron  Phosphate", Percent: 3, Group: farm.None[string](), Max: farm.None[units.Quantity]()}}
	return limited, other
}

func canon(name string) (string, bool) {
	switch strings.Join(strings.Fields(strings.ToLower(name)), " ") {
	case "ferric phosphate", "iron phosphate":
		return "ferric phosphate", true
	}
	return "", false
}

// An allowance counts every product that holds the active, by whatever name
// its label gives it; and the limit on the label of a product that was used
// before binds the next product too. 40 g of 3 % on 11.15 m² are 1.076 kg/ha.
func TestShared_ActiveByAnyName(t *testing.T) {
	limited, other := iron()
	r := ask(limited, "2026-07-20")
	r.Labels = map[string]farm.Label{other.Key: other}
	r.History = []farm.Treatment{put(other, "2026-06-01")}
	require.True(t, label.Plan(r).Allowed, "without the catalogue the names are not known to mean one active")
	r.ActiveKey = canon
	require.Contains(t, refused(t, label.Plan(r), label.CodeMaxActive, "").Words, "ferric phosphate: 1.076 used")

	// The other way round: the limit stands on the label used before.
	r = ask(other, "2026-07-20")
	r.Labels, r.ActiveKey = map[string]farm.Label{limited.Key: limited}, canon
	r.Amount = units.Of(40, "g")
	require.True(t, label.Plan(r).Allowed, "nothing was used before")
	r.History = []farm.Treatment{put(limited, "2026-06-01")}
	words := refused(t, label.Plan(r), label.CodeMaxActive, "").Words
	require.Contains(t, words, "of at most 0.5 kg/ha")
	require.Contains(t, words, "the limit of Invented iron bait, which was used here")
	r.Amount = units.Of(1, "g")
	require.True(t, label.Plan(r).Allowed, "0.359 + 0.027 kg/ha stay below")

	// How the other label counts is not known: then nothing is allowed on it.
	limited.MaxPer = farm.PerCropCycle
	r.Labels = map[string]farm.Label{limited.Key: limited}
	d := label.Plan(r)
	require.True(t, d.Has(label.CodeMaxActive))
	require.Contains(t, d.Refusals[0].Words, "over which time Invented iron bait counts it is not known")
	r.CycleStart = day("2026-05-01")
	require.True(t, label.Plan(r).Allowed)
}

// A treatment is read by the version it was made under: a later copy of the label
// neither closes a bed in the past nor opens it.
func TestVersions_JudgeThePast(t *testing.T) {
	old := with(func(l *farm.Label) { l.REIHours = farm.Value(4.0) })
	now := with(func(l *farm.Label) { l.Version, l.REIHours = 2, farm.Value(72.0) })
	used := put(old, "2026-07-19")
	used.ID = 7
	_, other := iron()
	for _, x := range []struct {
		name      string
		then, now farm.Label
		open      bool
	}{{"made longer since", old, now, true}, {"made shorter since", now, old, false}} {
		r := ask(other, "2026-07-20")
		r.Start, r.End = at("2026-07-20T12:00:00Z"), at("2026-07-20T13:00:00Z")
		r.Labels = map[string]farm.Label{x.now.Key: x.now}
		r.History = []farm.Treatment{used}
		require.Equal(t, !x.open, label.Plan(r).Allowed, "%s: without versions the label of today is read", x.name)
		r.Versions = map[int64]farm.Label{7: x.then}
		require.Equal(t, x.open, label.Plan(r).Allowed, x.name)
	}
}

func TestPartArea(t *testing.T) {
	b := farm.Bed{LengthM: 12, WidthM: 1}
	for part, want := range map[string]float64{"": 12, "east half": 6, " North  HALF ": 6, "rows 1-4": 0, "the wet corner": 0, "left half": 0} {
		require.InDelta(t, want, label.PartArea(part, b), 0, part)
		require.False(t, label.BeyondRows(part, b))
	}
	b.Rows = 8
	for part, want := range map[string]float64{"rows 1-4": 6, "row 8": 1.5, "rows 2 to 3": 3, "rows 7-12": 0, "rows 0-2": 0, "east half": 6} {
		require.InDelta(t, want, label.PartArea(part, b), 1e-12, part)
		require.Equal(t, want == 0, label.BeyondRows(part, b), part)
	}
}
