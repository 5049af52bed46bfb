package schedule_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/schedule"
	"leafturn/internal/testkit"
	"leafturn/internal/units"
)

func day(s string) civil.Date { return civil.MustParse(s) }

func num(v float64) *float64 { return &v }

// demo is an invented label: 0.5 to 1 lb per 1000 sq ft, at least 7 days
// apart, renewed by 14 days, at most 6 in a season and 3 in any 30 days, 4
// hours re-entry.
func demo() farm.Label {
	return testkit.Read(farm.Label{
		Key: "ironbait", Version: 1, Product: "Invented iron bait",
		Registration: farm.Value("00000-0"), UseClass: farm.Value("general"), SignalWord: farm.Value("caution"),
		Actives:     []farm.Active{{Name: "ferric phosphate", Percent: 1, Group: farm.None[string](), Max: farm.None[units.Quantity]()}},
		Formulation: farm.Value("dry bait"),
		Sites:       []farm.LabelSite{{Where: farm.Outdoor, Crop: "ornamentals"}}, Pests: []string{"slug"},
		Method: farm.Value("scatter"), Expiry: farm.None[civil.Date](),
		RateMin: farm.Value(units.Of(0.5, "lb/1000 sq ft")), RateMax: farm.Value(units.Of(1, "lb/1000 sq ft")),
		MinIntervalDays: farm.Value(7), ReapplyByDays: farm.Value(14), ReapplyWhen: farm.Value("eaten"),
		MaxApplications: farm.Value(6), MaxInWindow: farm.Value(farm.Window{Count: 3, Days: 30}), MaxAmount: farm.None[units.Quantity](),
		REIHours: farm.Value(4.0), PHIDays: farm.Value(0), Bees: farm.None[string](), WaterBuffer: farm.Value(3.048),
		Animals: farm.None[string](), PPE: farm.Value("gloves"), NoKeepApart: true,
	})
}

func request(l farm.Label, dates ...string) label.Request {
	r := label.Request{Label: l, Bed: farm.Bed{Code: "B3", LengthM: 30 * 0.3048, WidthM: 4 * 0.3048, Site: farm.Outdoor}, Pest: "slug",
		Season: label.Span{From: day("2026-04-01"), To: day("2026-10-31")}}
	for _, d := range dates {
		end := day(d).In(time.UTC).Add(18 * time.Hour)
		r.History = append(r.History, farm.Treatment{Bed: "B3", Label: l.Key, Pest: "slug", Date: day(d), Start: end, End: end, EndKnown: true,
			Amount: units.Of(30, "g"), AreaM2: r.Bed.AreaM2()})
	}
	return r
}

func bait(r label.Request, today string) schedule.BaitPlan {
	return schedule.Bait(schedule.BaitRequest{Today: day(today), Beds: []label.Request{r}})
}

func TestBait_Demo(t *testing.T) {
	p := bait(request(demo()), "2026-05-01")
	require.Equal(t, "2026-05-28", p.Through.String())
	b := p.Beds[0]
	require.Empty(t, b.Refusals)
	var got []string
	for _, s := range b.Slots {
		got = append(got, fmt.Sprintf("%s %s..%s no %d, %d left, %g-%g g", s.Planned, s.From, s.By, s.Number, s.Left, s.AmountMin.Value, s.AmountMax.Value))
	}
	// 120 sq ft at 0.5 and 1 lb per 1000 sq ft: 27.2155 g and 54.4310844 g.
	require.Equal(t, []string{
		"2026-05-01 2026-05-01.. no 1, 5 left, 27.3-54.4 g",
		"2026-05-15 2026-05-08..2026-05-15 no 2, 4 left, 27.3-54.4 g",
	}, got)
	require.Equal(t, []int{0, 6, 4}, []int{b.Used, b.Max, b.Left})
	require.InDelta(t, 108.8, p.Total.MustIn("g"), 1e-9)
	require.Contains(t, b.Words, "first on 2026-05-01, 2 applications through 2026-05-28; 0 of 6 used before, 4 left after")
	require.Contains(t, b.Slots[0].Conditions, "at least 3.048 m from any water")
}

// What was applied before decides the first window: after 1 May the label
// allows 8 May, and 15 May is due.
func TestBait_AfterAnEarlierOne(t *testing.T) {
	b := bait(request(demo(), "2026-05-01"), "2026-05-03").Beds[0]
	require.Equal(t, []string{"2026-05-08", "2026-05-15", "2026-05-15"}, []string{b.Slots[0].From.String(), b.Slots[0].Planned.String(), b.Slots[0].By.String()})
	require.Equal(t, 2, b.Slots[0].Number)
	late := bait(request(demo(), "2026-05-01"), "2026-06-03").Beds[0].Slots[0]
	require.True(t, late.Late)
	require.Equal(t, "2026-06-03", late.Planned.String())
}

// Three in any 30 days: after 4, 11 and 18 May the next is 3 June, though 1
// June was due.
func TestBait_RollingWindow(t *testing.T) {
	s := bait(request(demo(), "2026-05-04", "2026-05-11", "2026-05-18"), "2026-05-20").Beds[0].Slots
	require.Equal(t, "2026-06-03", s[0].Planned.String())
	require.Equal(t, "2026-06-01", s[0].By.String())
	require.True(t, s[0].Late)
}

func TestBait_SeasonUsedUp(t *testing.T) {
	b := bait(request(demo(), "2026-04-01", "2026-04-20", "2026-05-10", "2026-06-01", "2026-06-20"), "2026-07-10").Beds[0]
	require.Len(t, b.Slots, 1)
	require.Zero(t, b.Left)
	b = bait(request(demo(), "2026-04-01", "2026-04-20", "2026-05-10", "2026-06-01", "2026-06-20", "2026-07-10"), "2026-07-20").Beds[0]
	require.Empty(t, b.Slots)
	require.Equal(t, label.CodeMaxCount, b.Refusals[0].Code)
	require.True(t, b.Next.IsZero())
	require.Contains(t, b.Words, "6 of 6 applications are used")
}

// A blank field refuses and is named, with its place on the label.
func TestBait_MissingField(t *testing.T) {
	l := demo()
	l.REIHours = farm.Stated[float64]{}
	b := bait(request(l), "2026-05-01").Beds[0]
	require.Empty(t, b.Slots)
	require.Equal(t, "re-entry interval (REI)", b.Refusals[0].Field)
	require.Equal(t, "Agricultural Use Requirements box", b.Refusals[0].Where)
}

// Without a reapply-by time one application is planned and the next is left
// to what is found.
func TestBait_NoReapplyBy(t *testing.T) {
	l := demo()
	l.ReapplyByDays = farm.None[int]()
	b := bait(request(l), "2026-05-01").Beds[0]
	require.Len(t, b.Slots, 1)
	require.Contains(t, b.Words, "look at the bed before the next one")
}

// A season maximum of 2 lb per 1000 sq ft holds two applications at 1 lb, or
// four at 0.5 lb when that amount is chosen.
func TestBait_ReservesTheAmount(t *testing.T) {
	l := demo()
	l.MaxAmount, l.MaxInWindow = farm.Value(units.Of(2, "lb/1000 sq ft")), farm.None[farm.Window]()
	q := schedule.BaitRequest{Today: day("2026-05-01"), Days: 70, Beds: []label.Request{request(l)}}
	slots := schedule.Bait(q).Beds[0].Slots
	require.Equal(t, units.Of(54.4, "g"), slots[0].AmountMax)
	require.Len(t, slots, 2)
	q.Beds[0].Amount = units.Of(0.5, "lb/1000 sq ft")
	p := schedule.Bait(q)
	require.Len(t, p.Beds[0].Slots, 4)
	require.InDelta(t, 4*27.2155422, p.Total.MustIn("g"), 1e-6)
	require.InDelta(t, 2, p.Beds[0].Amount.Value, 1e-12)
}

// Hot days are passed over where the forecast knows them.
func TestBait_Forecast(t *testing.T) {
	l := demo()
	l.MaxTempC = farm.Value(30.0)
	q := schedule.BaitRequest{Today: day("2026-07-01"), Beds: []label.Request{request(l)}}
	for i := range 3 {
		q.Forecast = append(q.Forecast, farm.WeatherDay{Date: day("2026-07-01").AddDays(i), MaxC: num(33)})
	}
	require.Equal(t, "2026-07-04", schedule.Bait(q).Beds[0].Slots[0].Planned.String())
}

// No schedule breaks its label: every slot is judged by adding up days and
// applications without the package under test.
func TestBait_NoSlotBreaksTheLabel(t *testing.T) {
	rng := rand.New(rand.NewPCG(42, 1))
	slots := 0
	for i := range 1500 {
		l := demo()
		l.MinIntervalDays = farm.Value(1 + rng.IntN(14))
		l.ReapplyByDays = farm.Value(l.MinIntervalDays.Value + rng.IntN(10))
		l.MaxApplications = farm.Value(1 + rng.IntN(6))
		w := farm.Window{Count: 1 + rng.IntN(3), Days: 1 + rng.IntN(40)}
		l.MaxInWindow = farm.Value(w)
		today := day("2026-04-01").AddDays(rng.IntN(200))
		var dates []string
		for range rng.IntN(4) {
			dates = append(dates, today.AddDays(-1-rng.IntN(60)).String())
		}
		r := request(l, dates...)
		b := bait(r, today.String()).Beds[0]
		all := []civil.Date{}
		season := 0
		for _, d := range dates {
			all = append(all, day(d))
			if r.Season.Holds(day(d)) {
				season++
			}
		}
		for _, s := range b.Slots {
			slots++
			require.False(t, s.Planned.Before(today) || s.Planned.Before(s.From))
			for _, d := range all {
				require.GreaterOrEqual(t, s.Planned.Sub(d), l.MinIntervalDays.Value, "case %d", i)
			}
			all = append(all, s.Planned)
			season++
			require.LessOrEqual(t, season, l.MaxApplications.Value, "case %d", i)
			require.True(t, r.Season.Holds(s.Planned))
			in := 0
			for _, d := range all {
				if n := s.Planned.Sub(d); n >= 0 && n < w.Days {
					in++
				}
			}
			require.LessOrEqual(t, in, w.Count, "case %d", i)
			if !s.By.IsZero() && !s.Late {
				require.False(t, s.Planned.After(s.By))
			}
		}
	}
	require.Greater(t, slots, 1000)
}

// The caller's history is not touched and the plan is the same each time.
func TestBait_Pure(t *testing.T) {
	r := request(demo(), "2026-05-01")
	r.History = append(make([]farm.Treatment, 0, 10), r.History...)
	first := bait(r, "2026-05-03")
	require.Equal(t, first, bait(r, "2026-05-03"))
	require.Len(t, r.History, 1)
	require.Empty(t, r.History[:2][1].Label)
}
