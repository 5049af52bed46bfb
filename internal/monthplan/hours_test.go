package monthplan_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/monthplan"
	"leafturn/internal/schedule"
)

// The words are those of the catalogue's steps (common practice).
func TestReadManner(t *testing.T) {
	for _, c := range []struct {
		text, when string
		want       monthplan.Manner
	}{
		{"Pick slugs by torch on the next damp night", "2 to 3 hours after dark", monthplan.Manner{Part: monthplan.Dark}},
		{"Lift boards every morning and remove the slugs under them", "before 10:00", monthplan.Manner{Part: monthplan.Morning, Every: 1}},
		{"Water in the morning, not in the evening", "each watering", monthplan.Manner{With: monthplan.Watering}},
		{"Scatter iron phosphate bait thinly", "evening before a damp night", monthplan.Manner{Part: monthplan.Evening}},
		{"Use a spinosad bait away from open blooms", "after bees stop flying", monthplan.Manner{Part: monthplan.AfterSunset}},
		{"Spot-spray soap on the colonies", "evening, bees gone", monthplan.Manner{Part: monthplan.AfterSunset}},
		{"Wash the leaf undersides with a strong water jet; repeat every 3 to 4 days", "morning", monthplan.Manner{Part: monthplan.Morning, Every: 3, Washes: true}},
		{"Set shelter traps at bloom height and empty them each morning", "evening and early morning", monthplan.Manner{Part: monthplan.Evening, Every: 1, Again: monthplan.Morning}},
		{"Cut off and bag the worst lower leaves", "dry morning", monthplan.Manner{Part: monthplan.Morning, Dry: true}},
		{"Pick beetles at dawn into soapy water", "dawn, while it is cool", monthplan.Manner{Part: monthplan.Dawn}},
		{"Cut at a tighter stage", "each dawn", monthplan.Manner{Part: monthplan.Dawn}},
		{"Deadhead twice a week and bag the old blooms", "twice a week", monthplan.Manner{Every: 3}},
		{"Walk the neighbours again every week for 3 weeks", "weekly, 3 weeks", monthplan.Manner{Every: 7, Times: 3}},
		{"Clean the cutters with soap and water or bleach between plants", "each cut", monthplan.Manner{With: monthplan.Cutting}},
		{"Bag and remove the plant the same day, roots and tubers too", "the same day", monthplan.Manner{Chore: monthplan.Rogue}},
		{"Bag and destroy the whole clump at sight; do not compost it", "at sight", monthplan.Manner{Chore: monthplan.Rogue}},
		{"Clear weeds, boards and plant litter from a metre around the bed", "before planting", monthplan.Manner{Chore: monthplan.Clear}},
		{"Mow and keep a bare strip round the bed", "all season", monthplan.Manner{Standing: true, Chore: monthplan.Clear}},
		{"Do not mow flowering edges in bloom week", "bloom", monthplan.Manner{Standing: true}},
		{"Keep nitrogen moderate", "all season", monthplan.Manner{Standing: true}},
		{"Keep ants off the infested plants", "on sight", monthplan.Manner{}},
		{"Set traps in the main tunnel beside the fresh mound", "on sight", monthplan.Manner{}},
	} {
		require.Equal(t, c.want, monthplan.ReadManner(c.text, c.when), c.text)
	}
}

// sunny gives every day a sunrise at 05:00 and a sunset at 21:00 (invented).
func sunny(in *monthplan.Input) {
	in.Sun = map[civil.Date][2]time.Time{}
	for d := -1; d < 31; d++ {
		day := in.Today.AddDays(d)
		in.Sun[day] = [2]time.Time{day.In(in.Zone).Add(5 * time.Hour), day.In(in.Zone).Add(21 * time.Hour)}
	}
}

// One step in each part of the day, with and without the sun.
func TestMake_PartOfTheDay(t *testing.T) {
	for _, c := range []struct {
		part  monthplan.Part
		sun   bool
		start string
		why   string
	}{
		{part: monthplan.AnyHour, start: "2026-07-20 00:00"},
		{part: monthplan.Dawn, sun: true, start: "2026-07-20 04:30"},
		{part: monthplan.Dawn, start: "2026-07-20 05:00"},
		{part: monthplan.Morning, sun: true, start: "2026-07-20 05:00"},
		{part: monthplan.Evening, sun: true, start: "2026-07-20 19:00"},
		{part: monthplan.Evening, start: "2026-07-20 18:00"},
		{part: monthplan.AfterSunset, sun: true, start: "2026-07-20 00:00"}, // the night of the 19th
		{part: monthplan.AfterSunset, why: "sunset is not known"},
		{part: monthplan.Dark, sun: true, start: "2026-07-20 23:00"},
	} {
		in := base(nil)
		in.Offers = nil
		for d := range in.Hours {
			in.Hours[d] = []monthplan.Span{{From: 0, To: 24 * 60}}
		}
		if c.sun {
			sunny(&in)
		}
		in.Tasks[0].Part = c.part
		p := monthplan.Make(in)
		require.Empty(t, judged(in, p))
		if c.why != "" {
			require.Contains(t, p.Unplaced[0].Why, c.why)
			continue
		}
		require.Equal(t, c.start, slot(t, p, "pick").Start.In(in.Zone).Format("2006-01-02 15:04"), "%s, sun %v", c.part, c.sun)
	}
}

// A step whose hour the grower does not work has no place, and neither has
// what comes after it; the plan says which hours are wanted.
func TestMake_HourNotWorked(t *testing.T) {
	in := base(nil)
	sunny(&in)
	for d := range in.Hours {
		in.Hours[d] = []monthplan.Span{{From: 7 * 60, To: 12 * 60}}
	}
	in.Tasks[0].Part = monthplan.Dark
	p := monthplan.Make(in)
	require.Empty(t, p.Slots)
	require.Contains(t, p.Unplaced[0].Why, "23:00 to 00:00 on Mon 20 Jul")
	require.Contains(t, p.Unplaced[1].Why, "Pick by night")
}

// Hours that nobody gave: the usual ones, but for a step that names others.
func TestMake_UsualHours(t *testing.T) {
	in := base(nil)
	in.Offers = nil
	sunny(&in)
	for d := range in.Hours {
		in.Hours[d] = []monthplan.Span{{From: 0, To: 24 * 60}}
	}
	in.Usual = monthplan.Span{From: 6 * 60, To: 21 * 60}
	in.Tasks = append(in.Tasks, in.Tasks[0])
	in.Tasks[1].ID, in.Tasks[1].Part = "dark", monthplan.Dark
	p := monthplan.Make(in)
	require.Equal(t, "06:00", slot(t, p, "pick").Start.In(in.Zone).Format("15:04"))
	require.Equal(t, "23:00", slot(t, p, "dark").Start.In(in.Zone).Format("15:04"))
}

// Where nobody gave hours a count waits for daylight, on a day of December with
// a sunrise at 08:10 and a sunset at 15:50 (invented); a call to the seller does
// not. An hour of daylight is the least; without it the usual hours stand.
func TestMake_UsualHoursByDaylight(t *testing.T) {
	in := base(nil)
	in.Offers = nil
	in.Today = civil.MustParse("2026-12-21")
	in.Hours = monthplan.Hours{}
	for d := time.Sunday; d <= time.Saturday; d++ {
		in.Hours[d] = []monthplan.Span{{From: 0, To: 24 * 60}}
	}
	in.Usual = monthplan.Span{From: 6 * 60, To: 21 * 60}
	in.Sun = map[civil.Date][2]time.Time{}
	for d := -1; d < 31; d++ {
		day := in.Today.AddDays(d).In(in.Zone)
		in.Sun[in.Today.AddDays(d)] = [2]time.Time{day.Add(8*time.Hour + 10*time.Minute), day.Add(15*time.Hour + 50*time.Minute)}
	}
	in.Cut = map[string][]time.Weekday{"B1": {time.Tuesday}}
	in.Courses = []monthplan.Course{{ID: "rel", Pest: "aphid", Agent: "mite_eater", Request: schedule.ReleaseRequest{Bed: bed,
		Agent: schedule.AgentRate{Agent: "mite_eater", Name: "mite eaters", Kind: schedule.PerM2, Rate: 5, LeadDays: 4}}}}
	p := monthplan.Make(in)
	at := func(id string) string { return slot(t, p, id).Start.In(in.Zone).Format("15:04") }
	require.Equal(t, "08:15", at("pick"))
	require.Equal(t, "08:15", at("cut:B1:2026-12-22"))
	require.Equal(t, "15:30", at("rel:1"))
	require.Equal(t, "06:00", at("rel:1:order"))
	for d, s := range in.Sun {
		in.Sun[d] = [2]time.Time{s[0], s[0].Add(30 * time.Minute)}
	}
	p = monthplan.Make(in)
	require.Equal(t, "06:00", at("pick"))
}

// A bait that spares foraging bees goes on after sunset on every day but the
// one on which somebody looked: what flowers later is not known.
func TestMake_ForagingHours(t *testing.T) {
	in := base(func(l *farmLabel) { l.Bees = bees })
	for d := range in.Hours {
		in.Hours[d] = []monthplan.Span{{From: 6 * 60, To: 24 * 60}}
	}
	sunny(&in)
	p := monthplan.Make(in)
	require.Empty(t, judged(in, p))
	require.Equal(t, "2026-07-23 21:00", slot(t, p, "product:B1:slug").Start.In(in.Zone).Format("2006-01-02 15:04"))
}
