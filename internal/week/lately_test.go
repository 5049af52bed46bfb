package week_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/effect"
	"leafturn/internal/farm"
	"leafturn/internal/label"
)

// Animals that were let out before the new year still live, and so do those
// that are not offered for this farm: a product that harms them is no step.
func TestProduct_HarmsAnimalsLetOutLately(t *testing.T) {
	for name, x := range map[string]struct {
		agent, ago string
		want       bool
	}{
		"last season's": {"cool", "2026-06-20", true},
		"not offered":   {"own_mites", "2026-07-01", true},
		"long ago":      {"cool", "2026-05-20", false},
		"another bed":   {"", "", false},
	} {
		l := read("oil", "oil", "slug")
		in := input(found("B1", slugs(), today, 9))
		in.Labels = []farm.Label{l}
		in.Lately = []farm.Release{{Bed: "B9", Agent: "cool", Date: today}}
		if x.agent != "" {
			in.Lately = append(in.Lately, farm.Release{Bed: "B1", Agent: x.agent, Date: day(x.ago)})
		}
		list := build(t, in, nil)
		require.Equal(t, !x.want, has(list, "do:slug:label:oil"), name)
		require.Equal(t, x.want, has(list, "not:slug:oil:agents"), name)
	}
}

// A bed whose re-entry interval nobody has read stays closed, however long ago
// the application was.
func TestReentry_UnreadStaysClosed(t *testing.T) {
	l := bait()
	l.REIHours = farm.Stated[float64]{}
	in := input(found("B1", slugs(), today, 1))
	treated(&in, []farm.Label{l}, put(1, "B1", l, "slug", "2026-03-01"))
	list := build(t, in, nil)
	require.Contains(t, text(list), "B1 is closed until the label is read")
	require.Len(t, list.Closed, 1)
}

// A label of which little was read is refused in a few lines: its fields by the
// place where they stand, and how to write them down.
func TestProduct_ManyUnreadFields(t *testing.T) {
	l := farm.Label{Key: "old", Version: 1, Product: "Invented old", Entered: day("2026-01-05"), Pests: []string{"slug"}, Sites: []farm.LabelSite{{Where: farm.Outdoor, Crop: "ornamentals"}}}
	in := input(found("B1", slugs(), today, 9))
	in.Labels = []farm.Label{l}
	no := line(t, build(t, in, nil), "not:slug")
	require.Regexp(t, `^[0-9]+ fields of the label are not read yet, and unknown is never assumed`, no.Why)
	require.Less(t, len(no.Details), 15)
	require.Contains(t, no.Details, "then write it down: leafturn label ask old")
	all := strings.Join(no.Details, "\n")
	for _, g := range label.Check(l) {
		require.Contains(t, all, g.Field)
		require.Contains(t, all, "look up on the label, "+g.Where+": ")
		require.Contains(t, strings.Join(no.Traces[0].Facts, "\n"), g.Field)
	}
}

// A question of resistance stands with every product of that mode of action,
// whatever its subgroup, and with no other.
func TestProduct_AsksAboutResistance(t *testing.T) {
	for group, asked := range map[string]bool{"4A": true, "4C": true, "40": false, "UN": false} {
		l := bait()
		l.Actives[0].Group = farm.Value(group)
		in := input(found("B1", slugs(), today, 9))
		in.Labels = []farm.Label{l}
		in.Questions = map[string][]effect.Question{"slug": {{Group: "4", Days: []civil.Date{day("2026-06-02"), day("2026-06-09")}}}, "mite": {{Group: "40"}}}
		said := strings.Join(line(t, build(t, in, nil), "do:slug:label:bait").Details, "\n")
		require.Equal(t, asked, strings.Contains(said, "does the pest resist it? group 4 did not bring it down on Tue 2 Jun, Tue 9 Jun"), group)
	}
}
