package monthplan_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/monthplan"
	"leafturn/internal/schedule"
)

var bed = farm.Bed{Code: "B1", LengthM: 10, WidthM: 1.2, Site: farm.Outdoor}

// base is Monday 20 July 2026, with one hand step and one bait.
func base(change func(*farm.Label)) monthplan.Input {
	l := read("bait")
	if change != nil {
		change(&l)
	}
	labels := map[string]farm.Label{"bait": l}
	return monthplan.Input{
		Today: civil.MustParse("2026-07-20"), Zone: zone("Europe/London"), Beds: []farm.Bed{bed}, Hours: everyDay(), Labels: labels,
		Tasks: []monthplan.Task{{ID: "pick", Kind: monthplan.Step, Bed: "B1", Pest: "slug", Text: "Pick by night", Rung: monthplan.Hand, Minutes: 30}},
		Offers: []monthplan.Offer{{Bed: "B1", Pest: "slug", RecountDays: 3, Minutes: 45, Products: []label.Request{
			{Label: l, Labels: labels, Bed: bed, Pest: "slug", Bloom: label.BloomNone, Ground: label.BloomNone}}}},
	}
}

func slot(t *testing.T, p monthplan.Plan, id string) monthplan.Slot {
	t.Helper()
	i := slices.IndexFunc(p.Slots, func(s monthplan.Slot) bool { return s.ID == id })
	require.GreaterOrEqual(t, i, 0, "%s has no place: %+v", id, p.Unplaced)
	return p.Slots[i]
}

// The window of a product opens after the planned sowing that its label keeps
// plants away from, and not before.
func TestMake_OpensAfterASowing(t *testing.T) {
	in := base(func(l *farm.Label) { l.PlantBack = farm.Value(30) })
	in.Offers[0].Products[0].Work = []label.Work{{What: "sowing rye", Date: civil.MustParse("2026-07-31"), Plants: true}}
	require.Equal(t, "2026-07-31", slot(t, monthplan.Make(in), "product:B1:slug").OpenFrom.String())
}

func TestMake_Product(t *testing.T) {
	const id = "product:B1:slug"
	for _, c := range []struct {
		name   string
		change func(*farm.Label)
		farm   func(*monthplan.Input)
		start  string // on the farm's clock; "" is no place
		why    string
	}{
		{name: "after the step and a recount three days later", start: "2026-07-23 06:30"},
		{name: "a blank has no place and says what to read", change: func(l *farm.Label) { l.REIHours = farm.Stated[float64]{} }, why: "re-entry interval"},
		{name: "not within 12 hours before cutting", change: func(l *farm.Label) { l.REIHours = farm.Value(12.0) },
			farm: func(in *monthplan.Input) {
				in.Hours = monthplan.Hours{time.Monday: {{From: 360, To: 480}}, time.Thursday: {{From: 360, To: 1320}}, time.Friday: {{From: 360, To: 480}}}
				in.Cut = map[string][]time.Weekday{"B1": {time.Friday}}
			}, start: "2026-07-23 06:30"},
		{name: "five days to cutting find no place between cutting days, nor behind the last one of the plan", change: func(l *farm.Label) { l.PHIDays = farm.Value(5) },
			farm: func(in *monthplan.Input) { in.Cut = map[string][]time.Weekday{"B1": {time.Monday, time.Thursday}} }, why: "the first day to cut is 2026-07-28"},
		{name: "bees after sunset and no sunset known", change: func(l *farm.Label) { l.Bees = farm.Value(farm.BeesAfterSunset) }, why: "sunset"},
		{name: "the lower step has no place", farm: func(in *monthplan.Input) { in.Tasks[0].From = civil.MustParse("2026-09-01") }, why: "Pick by night"},
		{name: "natural enemies whose harm is not known", farm: func(in *monthplan.Input) {
			in.Released = []farm.Release{{Bed: "B1", Agent: "mite_eater", Date: civil.MustParse("2026-07-18")}}
		}, why: "is not known"},
		{name: "thirty days before a cover is sown", change: func(l *farm.Label) { l.PlantBack = farm.Value(30) },
			farm: func(in *monthplan.Input) {
				in.Offers[0].Products[0].Work = []label.Work{{What: "sowing rye", Date: civil.MustParse("2026-07-31"), Plants: true}}
			}, start: "2026-07-31 06:00"}, // the day itself: after the sowing, as it says
		{name: "a planting-back interval that nobody read, and a cover to be sown", change: func(l *farm.Label) { l.PlantBack = farm.Stated[int]{} },
			farm: func(in *monthplan.Input) {
				in.Offers[0].Products[0].Work = []label.Work{{What: "sowing rye", Date: civil.MustParse("2026-08-31"), Plants: true}}
			}, why: "planting-back interval"},
		{name: "no label at all", farm: func(in *monthplan.Input) { in.Offers[0].Products = nil }, why: "no label"},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := base(c.change)
			if c.farm != nil {
				c.farm(&in)
			}
			p := monthplan.Make(in)
			require.Empty(t, judged(in, p))
			if c.start != "" {
				s := slot(t, p, id)
				require.Equal(t, c.start, s.Start.In(in.Zone).Format("2006-01-02 15:04"))
				require.Contains(t, s.If, "still says act")
				return
			}
			i := slices.IndexFunc(p.Unplaced, func(u monthplan.Unplaced) bool { return u.ID == id })
			require.GreaterOrEqual(t, i, 0)
			require.Contains(t, p.Unplaced[i].Why, c.why)
		})
	}
}

// Of two products that could go on, the one with the other mode of action.
func TestMake_OneOfSeveral(t *testing.T) {
	in := base(func(l *farm.Label) { l.Actives[0].Group = farm.Value("5") })
	other := read("zother")
	other.Actives[0].Group = farm.Value("11A")
	q := in.Offers[0].Products[0]
	q.Label = other
	in.Labels["zother"] = other
	in.Offers[0].Products = append(in.Offers[0].Products, q)
	require.Equal(t, "bait", slot(t, monthplan.Make(in), "product:B1:slug").Label)
	end := civil.MustParse("2026-07-01").In(in.Zone).Add(10 * time.Hour)
	in.History = []farm.Treatment{{ID: 1, Bed: "B1", Label: "bait", Pest: "slug", Date: civil.MustParse("2026-07-01"), Start: end, End: end, EndKnown: true, AreaM2: 12}}
	in.Versions = map[int64]farm.Label{1: in.Labels["bait"]}
	s := slot(t, monthplan.Make(in), "product:B1:slug")
	require.Equal(t, "zother", s.Label)
	require.Contains(t, s.Others[0], "same mode of action")
}

// Lead time 3 days from Monday is Thursday; four make Friday, too hot; the
// weekend brings no parcel; so Monday, ordered the Thursday before.
func TestMake_Delivery(t *testing.T) {
	in := base(nil)
	in.Offers = nil
	hot := 34.0
	in.Weather = map[civil.Date]farm.WeatherDay{civil.MustParse("2026-07-24"): {Date: civil.MustParse("2026-07-24"), MaxC: &hot}}
	in.Courses = []monthplan.Course{{ID: "rel", Pest: "aphid", Agent: "mite_eater", Request: schedule.ReleaseRequest{Bed: bed,
		Agent: schedule.AgentRate{Agent: "mite_eater", Name: "mite eaters", Kind: schedule.PerM2, Rate: 5, LeadDays: 4, CheckDays: []int{7}}}}}
	p := monthplan.Make(in)
	require.Equal(t, "2026-07-27", slot(t, p, "rel:1").Date.String())
	require.Equal(t, 60, slot(t, p, "rel:1").Count)
	require.Equal(t, "2026-07-23", slot(t, p, "rel:1:order").Date.String())
	require.Equal(t, "2026-08-03", slot(t, p, "rel:1:look:7").Date.String())
}
