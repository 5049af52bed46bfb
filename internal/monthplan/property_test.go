package monthplan_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/monthplan"
	"leafturn/internal/schedule"
	"leafturn/internal/testkit"
	"leafturn/internal/units"
)

func zone(name string) *time.Location {
	l, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return l
}

// read is an invented label on which every field was read.
func read(key string) farm.Label {
	return testkit.Read(farm.Label{
		Key: key, Version: 1, Product: "Invented " + key,
		Registration: farm.Value("00000-0"), UseClass: farm.Value("general"), SignalWord: farm.Value("caution"),
		Actives:     []farm.Active{{Name: key + " active", Percent: 1, Group: farm.None[string](), Max: farm.None[units.Quantity]()}},
		Formulation: farm.Value("dry bait"), Organic: farm.None[string](),
		Sites: []farm.LabelSite{{Where: farm.Outdoor, Crop: "ornamentals"}}, Pests: []string{"slug", "aphid"},
		Method: farm.Value("scatter"), Expiry: farm.None[civil.Date](),
		RateMin: farm.None[units.Quantity](), RateMax: farm.Value(units.Of(5, "g/m2")),
		MinIntervalDays: farm.None[int](), ReapplyByDays: farm.None[int](), ReapplyWhen: farm.None[string](),
		MaxApplications: farm.None[int](), MaxInWindow: farm.None[farm.Window](), MaxAmount: farm.None[units.Quantity](),
		REIHours: farm.None[float64](), PHIDays: farm.None[int](), RainfastH: farm.None[float64](),
		MaxTempC: farm.None[float64](), MinTempC: farm.None[float64](), MaxWindMS: farm.None[float64](),
		Bees: farm.None[string](), WaterBuffer: farm.None[float64](), Animals: farm.None[string](), PPE: farm.Value("gloves"), NoKeepApart: true,
	})
}

var everyDay = func() monthplan.Hours {
	h := monthplan.Hours{}
	for d := time.Sunday; d <= time.Saturday; d++ {
		h[d] = []monthplan.Span{{From: 6 * 60, To: 21 * 60}}
	}
	return h
}

// random makes a farm. Blanks, shared actives, older versions, parts of beds,
// releases and a clock change in the window all come up.
func random(r *rand.Rand) monthplan.Input {
	zones := []string{"Europe/London", "America/New_York", "Pacific/Auckland", "Australia/Lord_Howe", "UTC"}
	in := monthplan.Input{Zone: zone(zones[r.IntN(len(zones))]), Hours: monthplan.Hours{}, Cut: map[string][]time.Weekday{},
		Labels: map[string]farm.Label{}, Versions: map[int64]farm.Label{}, Weather: map[civil.Date]farm.WeatherDay{}}
	// A month that often holds a clock change.
	months := []time.Month{time.March, time.April, time.October, time.September, time.July}
	in.Today = civil.New(2026, months[r.IntN(len(months))], 1+r.IntN(28))
	for d := time.Sunday; d <= time.Saturday; d++ {
		if r.IntN(7) == 0 {
			continue
		}
		switch r.IntN(4) {
		case 0:
			in.Hours[d] = []monthplan.Span{{From: 0, To: 24 * 60}}
		case 1:
			in.Hours[d] = []monthplan.Span{{From: 18 * 60, To: 21 * 60}, {From: 7 * 60, To: 12 * 60}}
		default:
			from := r.IntN(20) * 60
			in.Hours[d] = []monthplan.Span{{From: from, To: min(24*60, from+30+r.IntN(600))}}
		}
	}
	waits := map[string]int{}
	in.Wait = func(active, agent string) (int, bool) { d, ok := waits[active+"/"+agent]; return d, ok }
	actives := []string{"alpha", "beta", "gamma"}
	for _, a := range actives {
		if r.IntN(5) > 0 {
			waits[a+"/mite_eater"] = []int{0, 3, 14}[r.IntN(3)]
		}
	}
	var labels []farm.Label
	for i := range 1 + r.IntN(4) {
		l := read(fmt.Sprintf("l%d", i))
		l.Actives = []farm.Active{{Name: actives[r.IntN(3)], Percent: 10, Group: farm.None[string](), Max: farm.None[units.Quantity]()}}
		if r.IntN(2) == 0 {
			l.Actives[0].Max = farm.Value(units.Of(float64(1+r.IntN(3))/2, "g/m2"))
		}
		if r.IntN(2) == 0 {
			l.MinIntervalDays = farm.Value(1 + r.IntN(21))
		}
		if r.IntN(3) > 0 {
			l.MaxApplications, l.MaxPer = farm.Value(1+r.IntN(4)), farm.PerYear
		}
		if r.IntN(3) == 0 {
			l.MaxAmount, l.MaxPer = farm.Value(units.Of(float64(5+r.IntN(20)), "g/m2")), farm.PerYear
		}
		if r.IntN(2) == 0 {
			l.REIHours = farm.Value([]float64{0.5, 4, 12, 24, 48, 72}[r.IntN(6)])
		}
		if r.IntN(2) == 0 {
			l.PHIDays = farm.Value(r.IntN(8))
		}
		if r.IntN(3) == 0 {
			l.KeepApart = []farm.Apart{{Active: actives[r.IntN(3)], Days: 1 + r.IntN(20)}}
		}
		if r.IntN(4) == 0 {
			l.Bees = farm.Value(farm.BeeRules[r.IntN(3)])
		}
		if r.IntN(8) == 0 {
			l.Expiry = farm.Value(in.Today.AddDays(r.IntN(30)))
		}
		switch r.IntN(12) { // a blank
		case 0:
			l.REIHours = farm.Stated[float64]{}
		case 1:
			l.MinIntervalDays = farm.Stated[int]{}
		case 2:
			l.PHIDays = farm.Stated[int]{}
		}
		labels = append(labels, l)
		in.Labels[l.Key] = l
	}
	id := int64(0)
	for i := range 1 + r.IntN(6) {
		b := farm.Bed{Code: fmt.Sprintf("B%d", i), LengthM: 10, WidthM: 1.2, Plants: 40, Site: farm.Outdoor}
		in.Beds = append(in.Beds, b)
		if r.IntN(2) == 0 {
			in.Cut[b.Code] = []time.Weekday{time.Monday, time.Thursday}[:1+r.IntN(2)]
		}
		for range r.IntN(3) {
			id++
			l := labels[r.IntN(len(labels))]
			end := in.Today.AddDays(-1 - r.IntN(25)).In(in.Zone).Add(time.Duration(6+r.IntN(16)) * time.Hour)
			t := farm.Treatment{ID: id, Bed: b.Code, Label: l.Key, Pest: "slug", Date: civil.DateIn(end, in.Zone), Start: end.Add(-time.Hour), End: end,
				EndKnown: true, Amount: units.Of(float64(5+r.IntN(40)), "g"), AreaM2: 12}
			if r.IntN(4) == 0 {
				t.Part, t.AreaM2 = "east half", 6
			}
			in.History = append(in.History, t)
			old := l
			if r.IntN(3) == 0 {
				old.REIHours = farm.Value(float64(r.IntN(400)))
			}
			in.Versions[id] = old
		}
		if r.IntN(4) == 0 {
			in.Released = append(in.Released, farm.Release{Bed: b.Code, Agent: "mite_eater", Pest: "aphid", Date: in.Today.AddDays(-r.IntN(40))})
		}
		for _, pest := range []string{"slug", "aphid"} {
			for k := range r.IntN(3) {
				t := monthplan.Task{ID: fmt.Sprintf("%s:%s:%d", b.Code, pest, k), Kind: monthplan.Step, Bed: b.Code, Pest: pest, Text: fmt.Sprintf("step %d", k),
					Rung: monthplan.Rung(r.IntN(3)), Minutes: 15 + r.IntN(90), From: in.Today.AddDays(r.IntN(4))}
				if r.IntN(2) == 0 {
					t.By = in.Today.AddDays(r.IntN(10))
				}
				in.Tasks = append(in.Tasks, t)
			}
			if r.IntN(2) == 0 {
				o := monthplan.Offer{Bed: b.Code, Pest: pest, RecountDays: r.IntN(5), Minutes: 45}
				for _, l := range labels {
					q := label.Request{Label: l, Labels: in.Labels, Bed: b, Pest: pest}
					q.Bloom, q.Ground = label.BloomNone, label.BloomNone
					switch r.IntN(4) {
					case 0:
						q.Bloom = label.BloomOpen
					case 1:
						q.Ground = label.BloomUnknown
					}
					if r.IntN(4) == 0 {
						q.Part, q.AreaM2 = "west half", 6
					}
					o.Products = append(o.Products, q)
				}
				in.Offers = append(in.Offers, o)
			}
		}
		if r.IntN(3) == 0 {
			q := schedule.ReleaseRequest{Bed: b, Agent: schedule.AgentRate{Agent: "mite_eater", Name: "mite eaters", Pest: "aphid", Kind: schedule.PerM2, Rate: 5,
				Releases: 1 + r.IntN(2), IntervalDays: 7, LeadDays: r.IntN(8), CheckDays: []int{7}}}
			for _, t := range in.History {
				if t.Bed == b.Code {
					a := in.Versions[t.ID].Actives[0].Name
					w, ok := in.Wait(a, "mite_eater")
					q.Residues = append(q.Residues, schedule.Residue{Date: t.Date, Label: t.Label, Active: a, WaitDays: w, Known: ok})
				}
			}
			c := monthplan.Course{ID: "rel:" + b.Code, Pest: "aphid", Agent: "mite_eater", Request: q}
			if r.IntN(3) == 0 {
				c.Ordered = in.Today.AddDays(-r.IntN(6))
			}
			in.Courses = append(in.Courses, c)
		}
	}
	for i := range 30 {
		if r.IntN(6) == 0 {
			hot := 36.0
			in.Weather[in.Today.AddDays(i)] = farm.WeatherDay{Date: in.Today.AddDays(i), MaxC: &hot}
		}
	}
	return in
}

// use is an application as the slow judge sees it: grams and hours.
type use struct {
	bed, part, active string
	l                 farm.Label
	day               civil.Date
	start, end        time.Time
	grams, m2         float64
	planned           bool
	bloom, ground     label.Bloom
}

// judge walks the plan and lists what it breaks. It shares no code with the
// plan: it goes by days and hours and sums grams.
func judge(in monthplan.Input, p monthplan.Plan) (out []string) {
	bad := func(format string, a ...any) { out = append(out, fmt.Sprintf(format, a...)) }
	var uses []use
	for _, t := range in.History {
		l := in.Versions[t.ID]
		uses = append(uses, use{bed: t.Bed, part: t.Part, active: l.Actives[0].Name, l: l, day: t.Date, start: t.Start, end: t.End, grams: t.Amount.Value, m2: t.AreaM2})
	}
	byID := map[string]monthplan.Slot{}
	for _, s := range p.Slots {
		if _, twice := byID[s.ID]; twice {
			bad("%s stands twice", s.ID)
		}
		byID[s.ID] = s
		if s.Kind != monthplan.Applying {
			continue
		}
		for _, o := range in.Offers {
			if o.Bed != s.Bed || o.Pest != s.Pest {
				continue
			}
			for _, q := range o.Products {
				if q.Label.Key == s.Label {
					m2 := 12.0
					if q.Part != "" {
						m2 = 6
					}
					uses = append(uses, use{bed: s.Bed, part: q.Part, active: q.Label.Actives[0].Name, l: q.Label, day: s.Date, start: s.Start, end: s.End,
						grams: s.AmountMax.Value, m2: m2, planned: true, bloom: q.Bloom, ground: q.Ground})
				}
			}
		}
	}
	// Working hours, minute by minute; one person; the window.
	for i, s := range p.Slots {
		if civil.DateIn(s.Start, in.Zone).Before(in.Today) || civil.DateIn(s.Start, in.Zone).After(in.Today.AddDays(27)) {
			bad("%s lies outside the plan", s.ID)
		}
		for t := s.Start; t.Before(s.End); t = t.Add(time.Minute) {
			c := t.In(in.Zone)
			ok := false
			for _, w := range in.Hours[c.Weekday()] {
				if m := c.Hour()*60 + c.Minute(); m >= w.From && m < w.To {
					ok = true
				}
			}
			if !ok {
				bad("%s at %s is outside the working hours", s.ID, c)
				break
			}
		}
		if i > 0 && s.Start.Before(p.Slots[i-1].End) {
			bad("%s overlaps %s", s.ID, p.Slots[i-1].ID)
		}
	}
	// Closed beds and cutting.
	for _, s := range p.Slots {
		if s.Kind == monthplan.Ordering {
			continue
		}
		for _, u := range uses {
			if u.bed != s.Bed || (u.planned && s.Kind == monthplan.Applying && u.start.Equal(s.Start)) || !s.Start.After(u.start) {
				continue
			}
			if u.l.REIHours.State == farm.NotRead || s.Start.Sub(u.end).Hours() < u.l.REIHours.Value {
				bad("%s at %s in a bed closed by %s that ended %s", s.ID, s.Start, u.l.Key, u.end)
			}
			if s.Kind == monthplan.Cutting && (u.l.PHIDays.State == farm.NotRead || daysBetween(u.day, s.Date) < u.l.PHIDays.Value) {
				bad("%s too soon after %s of %s", s.ID, u.l.Key, u.day)
			}
		}
	}
	// The ladder.
	for _, s := range p.Slots {
		for _, x := range p.Slots {
			if x.Bed == s.Bed && x.Pest == s.Pest && x.Rung != 0 && s.Rung > x.Rung && s.Rung > monthplan.Prevention && s.Start.Before(x.End) {
				bad("%s comes before %s", s.ID, x.ID)
			}
		}
		if s.Kind == monthplan.Applying {
			c, ok := byID["recount:"+s.Bed+":"+s.Pest]
			if !ok || s.Start.Before(c.End) {
				bad("%s without a recount before it", s.ID)
			}
			for _, t := range in.Tasks {
				if x, ok := byID[t.ID]; t.Bed == s.Bed && t.Pest == s.Pest && t.Rung != 0 && (!ok || s.Start.Before(x.End)) {
					bad("%s before the lower step %s", s.ID, t.ID)
				}
			}
		}
		if s.Kind == monthplan.LetOut {
			if o, ok := byID[s.ID+":order"]; ok {
				for _, c := range in.Courses {
					if c.Request.Bed.Code == s.Bed && daysBetween(o.Date, s.Date) < c.Request.Agent.LeadDays {
						bad("%s arrives before it can", s.ID)
					}
				}
				if w := s.Date.Weekday(); w == time.Saturday || w == time.Sunday {
					bad("%s arrives at a weekend", s.ID)
				}
				if in.Weather[s.Date].MaxC != nil {
					bad("%s arrives in the heat", s.ID)
				}
			}
		}
	}
	// Labels.
	for i, u := range uses {
		if !u.planned {
			continue
		}
		l := u.l
		for _, unread := range []bool{l.REIHours.State == farm.NotRead, l.MinIntervalDays.State == farm.NotRead, l.PHIDays.State == farm.NotRead} {
			if unread {
				bad("%s has a blank and is planned", l.Key)
			}
		}
		if l.Expiry.Has() && u.day.After(l.Expiry.Value) {
			bad("%s is past its expiry", l.Key)
		}
		if l.Bees.Has() {
			open := u.bloom == label.BloomOpen || u.ground == label.BloomOpen
			if l.Bees.Value == farm.BeesAfterSunset || open || u.bloom == label.BloomUnknown || u.ground == label.BloomUnknown {
				bad("%s with bees about, and no sunset known", l.Key)
			}
		}
		if u.grams > 5*u.m2+0.001 {
			bad("%s: %g g is more than the rate", l.Key, u.grams)
		}
		n, product, active := 0, 0.0, 0.0
		for j, v := range uses {
			if v.bed != u.bed || v.part != "" && u.part != "" && v.part != u.part {
				continue
			}
			gap := daysBetween(u.day, v.day)
			if gap < 0 {
				gap = -gap
			}
			if gap < 365 && v.day.Year == u.day.Year {
				if v.l.Key == l.Key {
					n++
					product += v.grams / v.m2
				}
				if v.active == u.active {
					active += v.grams / v.m2 * 0.1
				}
			}
			if i == j {
				continue
			}
			if v.l.Key == l.Key && l.MinIntervalDays.Has() && gap < l.MinIntervalDays.Value {
				bad("%s again after %d days in %s", l.Key, gap, u.bed)
			}
			if v.l.Key != l.Key {
				for _, side := range [][2]use{{u, v}, {v, u}} {
					for _, k := range side[0].l.KeepApart {
						if k.Active == side[1].active && gap < k.Days {
							bad("%s and %s are %d days apart", l.Key, v.l.Key, gap)
						}
					}
				}
			}
		}
		if l.MaxApplications.Has() && n > l.MaxApplications.Value {
			bad("%s: %d of %d applications in %s", l.Key, n, l.MaxApplications.Value, u.bed)
		}
		if l.MaxAmount.Has() && product > l.MaxAmount.Value.Value+1e-6 {
			bad("%s: %g g/m2 of product", l.Key, product)
		}
		if l.Actives[0].Max.Has() && active > l.Actives[0].Max.Value.Value+1e-6 {
			bad("%s: %g g/m2 of %s, at most %g", l.Key, active, u.active, l.Actives[0].Max.Value.Value)
		}
	}
	// Natural enemies, both ways.
	type let struct {
		bed string
		day civil.Date
	}
	var lets []let
	for _, r := range in.Released {
		lets = append(lets, let{r.Bed, r.Date})
	}
	for _, s := range p.Slots {
		if s.Kind == monthplan.LetOut {
			lets = append(lets, let{s.Bed, s.Date})
			for _, u := range uses {
				w, known := in.Wait(u.active, "mite_eater")
				if !u.planned && u.bed == s.Bed && (!known || daysBetween(u.day, s.Date) < w) {
					bad("%s on a residue of %s", s.ID, u.active)
				}
			}
		}
	}
	for _, u := range uses {
		for _, x := range lets {
			w, known := in.Wait(u.active, "mite_eater")
			after := daysBetween(x.day, u.day)
			if u.planned && u.bed == x.bed && after <= 35 && (!known || w > 0 && -after < w) {
				bad("%s of %s harms what was let out on %s", u.l.Key, u.day, x.day)
			}
		}
	}
	return out
}

func daysBetween(a, b civil.Date) int {
	n := 0
	for ; a.Before(b); a = a.AddDays(1) {
		n++
	}
	for ; b.Before(a); b = b.AddDays(1) {
		n--
	}
	return n
}

func TestMake_NoPlanBreaksARule(t *testing.T) {
	const cases = 1200
	kinds := map[monthplan.Kind]int{}
	unplaced, late := 0, 0
	for seed := range uint64(cases) {
		in := random(rand.New(rand.NewPCG(seed, 4)))
		p := monthplan.Make(in)
		require.Empty(t, judge(in, p), "seed %d", seed)
		if seed%10 == 0 {
			require.Equal(t, p, monthplan.Make(random(rand.New(rand.NewPCG(seed, 4)))), "seed %d: the same farm, another plan", seed)
		}
		for _, s := range p.Slots {
			kinds[s.Kind]++
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
			require.True(t, said[x.ID], "seed %d: %s is nowhere", seed, x.ID)
		}
		for _, o := range in.Offers {
			require.True(t, said["product:"+o.Bed+":"+o.Pest], "seed %d", seed)
		}
	}
	t.Logf("%v, %d unplaced, %d late", kinds, unplaced, late)
	for _, k := range []monthplan.Kind{monthplan.Cutting, monthplan.Step, monthplan.Look, monthplan.Ordering, monthplan.LetOut, monthplan.Applying} {
		require.Greater(t, kinds[k], 200, "%s is hardly tried", k)
	}
	require.Greater(t, unplaced, 500)
}
