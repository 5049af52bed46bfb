package week_test

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/verdict"
	"leafturn/internal/week"
)

// counts holds the assessments that the random farms are made from, so that
// each is computed once.
var counts = map[string]assess.Assessment{}

func counted(code string, p assess.Pest, ago, each, enemies int) assess.Assessment {
	key := strings.Join([]string{code, p.Key, strconv.Itoa(ago), strconv.Itoa(each), strconv.Itoa(enemies)}, " ")
	a, ok := counts[key]
	if !ok {
		v := visit(code, p, today.AddDays(-ago), each)
		if enemies > 0 {
			v.Enemies = []farm.EnemyCount{{Enemy: "predmite", Count: enemies}}
		}
		a = judged(bed(code), p, v)
		counts[key] = a
	}
	return a
}

// anyFarm draws a farm of up to three beds with its labels and records.
func anyFarm(t *rapid.T) week.Input {
	codes := []string{"B1", "B2", "C1"}[:rapid.IntRange(1, 3).Draw(t, "beds")]
	var as []assess.Assessment
	for _, code := range codes {
		for _, p := range []assess.Pest{slugs(), mites()} {
			switch rapid.IntRange(0, 9).Draw(t, "counted") {
			case 8:
				as = append(as, judged(bed(code), p))
			case 9:
				spot := visit(code, p, today.AddDays(-1), 60)
				spot.Stratum = farm.HotSpot
				as = append(as, judged(bed(code), p, spot))
			default:
				as = append(as, counted(code, p, rapid.SampledFrom([]int{0, 1, 3, 6, 20}).Draw(t, "ago"), rapid.SampledFrom([]int{0, 3, 5, 9, 9, 9}).Draw(t, "each"),
					rapid.SampledFrom([]int{0, 0, 2, 20}).Draw(t, "enemies")))
			}
		}
	}
	in := input(as...)
	in.Farm.Organic = rapid.IntRange(0, 5).Draw(t, "organic") == 5
	for _, key := range []string{"bait", "soap", "paste"} {
		l := read(key, map[string]string{"bait": "iron", "soap": "soap", "paste": "mystery"}[key], rapid.SampledFrom([][]string{{"slug"}, {"mite"}, {"slug", "mite"}}).Draw(t, "pests")...)
		for range rapid.SampledFrom([]int{0, 0, 0, 1, 2}).Draw(t, "fields that matter") {
			changes := []func(){
				func() {
					l.REIHours = stated(t, farm.Value(rapid.SampledFrom([]float64{0, 4, 24, 48, 72}).Draw(t, "REI")))
				},
				func() { l.PHIDays = stated(t, farm.Value(rapid.IntRange(0, 10).Draw(t, "PHI"))) },
				func() { l.MinIntervalDays = stated(t, farm.Value(rapid.IntRange(0, 15).Draw(t, "interval"))) },
				func() { l.MaxApplications = stated(t, farm.Value(rapid.IntRange(1, 3).Draw(t, "applications"))) },
				func() { l.Bees = stated(t, farm.Value(rapid.SampledFrom(farm.BeeRules).Draw(t, "bees"))) },
				func() { l.Organic = stated(t, farm.Value("listed")) },
				func() { l.Expiry = stated(t, farm.Value(today.AddDays(rapid.IntRange(-5, 20).Draw(t, "expiry")))) },
			}
			changes[rapid.IntRange(0, len(changes)-1).Draw(t, "field")]()
		}
		if rapid.IntRange(0, 9).Draw(t, "house") == 9 {
			l.Sites[0].Where = farm.House
		}
		in.Labels = append(in.Labels, l)
		if rapid.IntRange(0, 5).Draw(t, "missing") == 5 {
			in.Labels = in.Labels[:len(in.Labels)-1]
		}
	}
	for i := range rapid.SampledFrom([]int{0, 0, 1, 2, 5}).Draw(t, "treatments") {
		l := read("gone", "iron", "slug")
		if len(in.Labels) > 0 {
			l = rapid.SampledFrom(in.Labels).Draw(t, "label")
		}
		tr := put(int64(i+1), rapid.SampledFrom(codes).Draw(t, "bed"), l, rapid.SampledFrom([]string{"slug", "mite", "earwig"}).Draw(t, "against"), today.AddDays(-rapid.SampledFrom([]int{0, 1, 1, 2, 4, 9, 30, 200, 380}).Draw(t, "treated")).String())
		if rapid.IntRange(0, 5).Draw(t, "older version") == 0 {
			l.Version, l.REIHours = 9, farm.Value(96.0)
		}
		in.Treatments, in.Versions[tr.ID] = append(in.Treatments, tr), l
	}
	for range rapid.IntRange(0, 5).Draw(t, "done") {
		d := farm.Done{Bed: rapid.SampledFrom(codes).Draw(t, "bed"), Date: today.AddDays(-rapid.IntRange(0, 12).Draw(t, "done ago"))}
		x := rapid.SampledFrom([][2]string{{"slug", "slug_pick"}, {"slug", "slug_worms"}, {"mite", "mite_release"}, {"mite", "mite_early"}, {"mite", "mite_jet"}, {farm.Flowers, farm.FlowersNone}, {farm.Flowers, farm.FlowersOpen}}).Draw(t, "step")
		d.Pest, d.Action = x[0], x[1]
		in.Done = append(in.Done, d)
	}
	for i := range rapid.IntRange(0, 2).Draw(t, "releases") {
		x := rapid.SampledFrom([][2]string{{"slug", "worms"}, {"mite", "hot"}, {"mite", "cool"}}).Draw(t, "agent")
		in.Releases = append(in.Releases, farm.Release{ID: int64(i + 1), Bed: rapid.SampledFrom(codes).Draw(t, "bed"), Pest: x[0], Agent: x[1], Date: today.AddDays(-rapid.IntRange(0, 40).Draw(t, "released"))})
	}
	return in
}

// stated makes a field unread once in fifteen, none stated in a third.
func stated[T any](t *rapid.T, v farm.Stated[T]) farm.Stated[T] {
	switch n := rapid.IntRange(0, 14).Draw(t, "stated"); {
	case n == 14:
		return farm.Stated[T]{}
	case n > 8:
		return farm.None[T]()
	}
	return v
}

// No list breaks a label or harms what was let out. Each product line is
// judged anew, by the rules written out in words here and by label.Plan.
func TestBuild_NeverBreaksALabel(t *testing.T) {
	offered, refused, released := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		in := anyFarm(t)
		prevIn := anyFarm(t)
		prevIn.Today = today.AddDays(-7)
		prev := week.Build(prevIn, nil)
		l := build(t, in, &prev)
		for _, x := range l.Lines {
			refused += boolInt(x.Section == week.Avoid && strings.HasPrefix(x.Ref, "not:slug"))
			for _, code := range x.Beds {
				switch {
				case x.Section == week.Do && x.Rung == week.Product:
					offered++
					mayUse(t, in, x, code)
				case x.Section == week.Order, x.Section == week.Do && x.Rung == week.Biological:
					released++
					mayRelease(t, in, x, code)
				}
			}
		}
	})
	require.Greater(t, offered, 20, "products are hardly offered")
	require.Greater(t, refused, 20, "products are hardly refused")
	require.Greater(t, released, 20, "releases are hardly planned")
}

func boolInt(v bool) int {
	if v {
		return 1
	}
	return 0
}

func assessment(in week.Input, code, pest string) assess.Assessment {
	for _, a := range in.Assessments {
		if a.Bed.Code == code && a.Pest.Key == pest {
			return a
		}
	}
	panic("no assessment")
}

func mayUse(t *rapid.T, in week.Input, x week.Line, code string) {
	a := assessment(in, code, x.Pest)
	require.Equal(t, verdict.Act, a.Result.Verdict, "a product only over the action level")
	var l farm.Label
	for _, y := range in.Labels {
		if "label:"+y.Key == x.Action {
			l = y
		}
	}
	require.NotEmpty(t, l.Key)
	require.True(t, asks(in, a, l).Allowed, "label.Plan refuses")

	// The same in words.
	require.Contains(t, l.Pests, x.Pest, "the label lists the pest")
	require.Equal(t, farm.Outdoor, l.Sites[0].Where, "and the site")
	require.True(t, l.REIHours.Known() && l.PHIDays.Known() && l.MinIntervalDays.Known() && l.MaxApplications.Known() && l.Bees.Known() && l.Expiry.Known(), "every field was read")
	if e, ok := l.Expiry.Get(); ok {
		require.False(t, today.After(e), "not expired")
	}
	year := 0
	for _, tr := range in.Treatments {
		if tr.Bed != code {
			continue
		}
		// A bed that is closed through to midnight, by the version that was
		// applied, is not treated.
		v := in.Versions[tr.ID]
		require.True(t, v.REIHours.Known(), "closed until the label is read")
		opens := tr.End.Add(time.Duration(v.REIHours.Value * float64(time.Hour)))
		require.True(t, opens.Before(today.AddDays(1).In(ny)), "the bed is closed until %s", opens)
		require.False(t, tr.Pest == x.Pest && !tr.Date.Before(a.Decider.Visit.Date), "already treated on that count")
		if tr.Label == l.Key {
			if n, ok := l.MinIntervalDays.Get(); ok {
				require.GreaterOrEqual(t, today.Sub(tr.Date), n, "the shortest interval")
			}
			if tr.Date.After(civil.New(today.Year-1, today.Month, today.Day)) {
				year++
			}
		}
	}
	if n, ok := l.MaxApplications.Get(); ok {
		require.Less(t, year, n, "applications of the last twelve months")
	}
	if l.Bees.Has() && l.Bees.Value != farm.BeesAfterSunset {
		note := farm.FlowersOn(in.Done, code, today)
		require.NotEmpty(t, note, "nobody looked for flowers")
		require.False(t, l.Bees.Value == farm.BeesNoBloom && note == farm.FlowersOpen, "flowers are open")
	}
	if in.Farm.Organic {
		require.True(t, l.Organic.Has(), "approved for organic farms")
		tried := false
		for _, d := range in.Done {
			tried = tried || d.Bed == code && d.Pest == x.Pest
		}
		require.True(t, tried, "lower steps were recorded")
	}
	// Natural enemies that were ordered or let out are spared.
	for pest, acts := range in.Actions {
		for _, act := range acts {
			if act.Agent == "" {
				continue
			}
			there := false
			for _, r := range in.Releases {
				there = there || r.Bed == code && r.Agent == act.Agent && today.Sub(r.Date) <= 35
			}
			for _, d := range in.Done {
				there = there || d.Bed == code && d.Pest == pest && d.Action == act.Key
			}
			if !there {
				continue
			}
			for _, active := range l.Actives {
				days, known := wait(active.Name, act.Agent)
				require.True(t, known && days == 0, "%s harms %s", active.Name, act.Agent)
			}
		}
	}
}

// mayRelease reads the day of a release in a bed off the line and holds it
// against every residue in that bed.
func mayRelease(t *rapid.T, in week.Input, x week.Line, code string) {
	agent := strings.TrimPrefix(x.Ref, "do:"+x.Pest+":let-out:")
	for _, act := range in.Actions[x.Pest] {
		if x.Section == week.Order && act.Key == x.Action {
			agent = act.Agent
		}
	}
	var on civil.Date
	for _, d := range x.Details {
		if !strings.HasPrefix(d, code+": ") || !strings.Contains(d, " animals ") {
			continue
		}
		for n := range 120 {
			if day := today.AddDays(n); strings.Contains(d, " to let out on "+day.Short()) || strings.Contains(d, " from "+day.Short()+" on") {
				on = day
				break
			}
		}
	}
	require.False(t, on.IsZero(), "no day for %s in %v", code, x.Details)
	if x.Section == week.Order {
		require.False(t, on.AddDays(-5).Before(x.By), "the order is in time: lead 5 days")
		require.False(t, on.Before(today.AddDays(5)), "ordered in the past")
	}
	for _, tr := range in.Treatments {
		if tr.Bed != code || today.Sub(tr.Date) > 150 {
			continue
		}
		for _, active := range in.Versions[tr.ID].Actives {
			days, known := wait(active.Name, agent)
			require.True(t, known, "the effect of %s on %s is not known", active.Name, agent)
			require.GreaterOrEqual(t, on.Sub(tr.Date), days, "%s of %s still harms %s on %s", active.Name, tr.Date, agent, on)
		}
	}
}

// Numbers for people: no minus zero, no noise, and within half a unit of the
// last digit that a density is written with.
func FuzzNumber(f *testing.F) {
	for _, v := range []float64{0, 1, -1, 0.05, 0.0996, 0.256, 0.4, 0.999, 9.96, 9.949, 10, 12.4, 99.5, 1234.5, 1e15, -0.0001, 0.0004, math.Inf(1), math.NaN()} {
		f.Add(v)
	}
	f.Fuzz(func(t *testing.T, v float64) {
		s := week.Number(v)
		switch {
		case math.IsNaN(v):
			require.Equal(t, "?", s)
			return
		case math.IsInf(v, 0):
			require.Equal(t, "no limit", s)
			return
		}
		back, err := strconv.ParseFloat(s, 64)
		require.NoError(t, err)
		half := 0.5
		switch a := math.Abs(v); {
		case a < 0.1:
			half = 0.0005
		case a < 1:
			half = 0.005
		case a < 10:
			half = 0.05
		}
		require.InDelta(t, v, back, half*(1+1e-9)+math.Abs(v)*1e-15)
		require.NotEqual(t, "-0", s)
		require.NotContains(t, s, "e")
		if strings.Contains(s, ".") {
			require.False(t, strings.HasSuffix(s, "0") || strings.HasSuffix(s, "."), s)
		}
	})
}

// "%" never begins a verb, whatever words the catalogue or a label hold.
func TestBuild_WordsAreNotFormats(t *testing.T) {
	p := slugs()
	p.Name, p.Units[0].Words = "50 %d slugs", "% of traps"
	in := input(found("B1", p, today, 9))
	l := bait()
	l.Product, l.ReapplyWhen = "100 %s bait", farm.Value("50 % eaten")
	in.Labels = []farm.Label{l}
	require.True(t, has(build(t, in, nil), "do:slug:label:bait"))
}

func TestLevelOf(t *testing.T) {
	u := assess.Unit{Words: "slugs per trap", One: "slug per trap"}
	for want, l := range map[string]assess.Level{
		"from 1 slug per trap":              {Operator: ">=", Value: 1},
		"from 10 slugs per trap":            {Operator: ">=", Value: 10},
		"above 1 slug per trap":             {Operator: ">", Value: 1.04},
		"from 1.1 slugs per trap":           {Operator: ">=", Value: 1.1},
		"from 1 slug per trap (farm's own)": {Operator: ">=", Value: 1, Overridden: true},
		"level: none known":                 {Operator: "none"},
	} {
		require.Equal(t, want, week.LevelOf(l, u))
	}
	require.Equal(t, "1 slug per trap", u.Say("1"))
	require.Equal(t, "1 thrips per card", assess.Unit{Words: "thrips per card", One: "thrips per card"}.Say("1"))
	require.Equal(t, "1 % of leaves", assess.Unit{Words: "% of leaves"}.Say("1"))
	require.Equal(t, "0 slugs per trap", u.Say("0"))
}

func TestLevelWords(t *testing.T) {
	for _, x := range []struct {
		l    assess.Level
		want string
	}{
		{assess.Level{Value: 10, Operator: ">="}, "from 10"}, {assess.Level{Value: 0.05, Operator: ">="}, "from 0.05"}, {assess.Level{Value: 5, Operator: ">"}, "above 5"},
		{assess.Level{Value: 10, Operator: "<="}, "up to 10"}, {assess.Level{Operator: "none"}, "level: none known"}, {assess.Level{Value: 3, Operator: ">=", Overridden: true}, "from 3 (farm's own)"},
	} {
		require.Equal(t, x.want, week.LevelWords(x.l))
	}
}
