package monthplan_test

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/monthplan"
)

func TestMake_NoPlanBreaksARule(t *testing.T) {
	const cases = 2000
	kinds := map[monthplan.Kind]int{}
	unplaced, late, events := 0, 0, 0
	sorts := map[string]int{}
	for seed := range uint64(cases) {
		in := random(rand.New(rand.NewPCG(seed, 4)))
		p := monthplan.Make(in)
		require.Empty(t, judged(in, p), "seed %d", seed)
		if seed%10 == 0 {
			require.Equal(t, p, monthplan.Make(random(rand.New(rand.NewPCG(seed, 4)))), "seed %d: the same farm, another plan", seed)
		}
		if seed%10 == 5 {
			require.Equal(t, p, monthplan.Make(shuffled(in, rand.New(rand.NewPCG(seed, 5)))), "seed %d: the lists in another order, another plan", seed)
		}
		events += len(p.Events)
		for _, s := range p.Slots {
			kinds[s.Kind]++
			for _, x := range sortsOf(in, s) {
				sorts[x]++
			}
			require.NotEmpty(t, append(s.Why, s.Text))
			if s.Late {
				late++
			}
		}
		for _, u := range p.Unplaced {
			unplaced++
			require.NotEmpty(t, u.Why, "seed %d: %+v", seed, u)
		}
		// Every job is somewhere.
		said := map[string]bool{}
		for _, s := range p.Slots {
			said[s.ID] = true
		}
		for _, u := range p.Unplaced {
			said[u.ID] = true
		}
		for _, x := range in.Tasks {
			require.True(t, said[x.ID] || x.Standing || x.With != "", "seed %d: %s is nowhere", seed, x.ID)
		}
		for _, o := range in.Offers {
			require.True(t, said["product:"+o.Bed+":"+o.Pest] || o.Renews.Label != "", "seed %d", seed)
		}
	}
	t.Logf("%v, %v, %d unplaced, %d late, %d events", kinds, sorts, unplaced, late, events)
	for _, k := range []monthplan.Kind{monthplan.Cutting, monthplan.Step, monthplan.Look, monthplan.Ordering, monthplan.LetOut, monthplan.Applying} {
		require.Greater(t, kinds[k], 200, "%s is hardly tried", k)
	}
	for _, x := range []string{"again", "after rain", "organic", "shared active", "rainfast", "wind", "temperature", "rolling", "season", "year", "crop cycle", "spares bees", "part of the day", "repeat"} {
		require.Greater(t, sorts[x], 20, "%s is hardly tried", x)
	}
	require.Greater(t, unplaced, 500)
	require.Greater(t, events, 100)
}

// sortsOf names what a slot tries of the rules.
func sortsOf(in monthplan.Input, s monthplan.Slot) (out []string) {
	add := func(ok bool, name string) {
		if ok {
			out = append(out, name)
		}
	}
	if s.Kind != monthplan.Applying {
		add(s.Rung == monthplan.Free && s.Kind == monthplan.Step && strings.Count(s.ID, ":") == 3, "repeat")
		for _, t := range in.Tasks {
			add(t.ID == s.ID && t.Part != "", "part of the day")
		}
		return out
	}
	l := in.Labels[s.Label]
	add(strings.Count(s.ID, ":") == 3, "again")
	add(strings.Contains(s.If, "the rain of"), "after rain")
	add(l.RainfastH.Value > 0, "rainfast")
	add(l.MaxWindMS.Has(), "wind")
	add(l.MaxTempC.Has() || l.MinTempC.Has(), "temperature")
	add(l.MaxInWindow.Has(), "rolling")
	add(l.MaxApplications.Has(), l.MaxPer)
	add(l.Bees.Has(), "spares bees")
	for _, o := range in.Offers {
		add(o.Bed == s.Bed && o.Pest == s.Pest && len(o.Products) > 0 && o.Products[0].Organic, "organic")
	}
	for _, t := range in.History {
		if t.Bed != s.Bed || t.Label == s.Label {
			continue
		}
		for _, a := range in.Versions[t.ID].Actives {
			for _, b := range l.Actives {
				add(a.Name == b.Name, "shared active")
			}
		}
	}
	return out
}

// shuffled is the same farm with its lists in another order.
func shuffled(in monthplan.Input, r *rand.Rand) monthplan.Input {
	mix(r, &in.Beds)
	mix(r, &in.Tasks)
	mix(r, &in.Courses)
	mix(r, &in.Offers)
	for i := range in.Offers {
		mix(r, &in.Offers[i].Products)
	}
	mix(r, &in.History)
	mix(r, &in.Released)
	return in
}

func mix[T any](r *rand.Rand, list *[]T) {
	*list = slices.Clone(*list)
	r.Shuffle(len(*list), func(i, j int) { (*list)[i], (*list)[j] = (*list)[j], (*list)[i] })
}
