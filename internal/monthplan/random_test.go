package monthplan_test

import (
	"fmt"
	"math/rand/v2"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/monthplan"
	"leafturn/internal/schedule"
	"leafturn/internal/testkit"
	"leafturn/internal/units"
)

func ptr(v float64) *float64 { return &v }

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
	if r.IntN(2) == 0 { // a place where the sun rises at 05:31 and sets at 20:07
		in.Sun = map[civil.Date][2]time.Time{}
		for d := -1; d < 31; d++ {
			day := in.Today.AddDays(d)
			in.Sun[day] = [2]time.Time{day.In(in.Zone).Add(5*time.Hour + 31*time.Minute), day.In(in.Zone).Add(20*time.Hour + 7*time.Minute)}
		}
	}
	if r.IntN(5) == 0 {
		in.Usual = monthplan.Span{From: 7 * 60, To: 19 * 60}
	}
	if r.IntN(2) == 0 {
		in.Water = []time.Weekday{time.Tuesday, time.Saturday}[:1+r.IntN(2)]
	}
	waits := map[string]int{}
	in.Wait = func(active, agent string) (int, bool) { d, ok := waits[active+"/"+agent]; return d, ok }
	actives := []string{"alpha", "beta", "gamma"}
	for _, a := range append(actives, "delta") {
		if r.IntN(5) > 0 {
			waits[a+"/mite_eater"] = []int{0, 3, 14}[r.IntN(3)]
		}
	}
	var labels []farm.Label
	for i := range 1 + r.IntN(4) {
		l := read(fmt.Sprintf("l%d", i))
		l.Actives = []farm.Active{{Name: actives[r.IntN(3)], Percent: 10, Group: farm.None[string](), Max: farm.None[units.Quantity]()}}
		if r.IntN(4) == 0 { // two actives in one product
			l.Actives = append(l.Actives, farm.Active{Name: "delta", Percent: 5, Group: farm.Value("5A"), Max: farm.None[units.Quantity]()})
		}
		for k := range l.Actives {
			if r.IntN(2) == 0 {
				l.Actives[k].Max = farm.Value(units.Of(float64(1+r.IntN(3))/2, "g/m2"))
			}
		}
		l.MaxPer = []string{farm.PerSeason, farm.PerYear, farm.PerCropCycle, farm.PerCalendarYear, farm.PerTwelveMonths}[r.IntN(5)]
		if r.IntN(3) == 0 {
			l.MaxInWindow = farm.Value(farm.Window{Count: 1 + r.IntN(3), Days: 1 + r.IntN(40)})
		}
		if r.IntN(2) == 0 {
			l.ReapplyByDays = farm.Value(4 + r.IntN(14))
		}
		l.ReapplyWhen = []farm.Stated[string]{farm.None[string](), farm.Value("eaten"), farm.Value("after rain of more than 5 mm"), farm.Value("washed off by rain")}[r.IntN(4)]
		if r.IntN(3) == 0 {
			l.RainfastH = farm.Value([]float64{0, 2, 12, 30}[r.IntN(4)])
		}
		if r.IntN(4) == 0 {
			l.MaxTempC = farm.Value(30.0)
		}
		if r.IntN(4) == 0 {
			l.MinTempC = farm.Value(8.0)
		}
		if r.IntN(3) == 0 {
			l.PlantBack = []farm.Stated[int]{{}, farm.Value(10), farm.Value(30)}[r.IntN(3)]
		}
		if r.IntN(4) == 0 {
			l.MaxWindMS = farm.Value(4.0)
		}
		if r.IntN(5) == 0 {
			l.WaterBuffer = farm.Value(5.0)
		}
		if r.IntN(6) == 0 {
			l.Animals = farm.Value("keep dogs out")
		}
		if r.IntN(2) == 0 {
			l.Organic = farm.Value("listed by an invented body")
		}
		if r.IntN(12) == 0 {
			l.UseClass = farm.Value("restricted")
		}
		if r.IntN(12) == 0 {
			l.Pests = []string{"aphid"}
		}
		if r.IntN(12) == 0 {
			l.Sites[0].Where = farm.House
		}
		if r.IntN(4) == 0 {
			l.SignalWord = farm.Value("warning")
		}
		if r.IntN(2) == 0 {
			l.MinIntervalDays = farm.Value(1 + r.IntN(21))
			if r.IntN(3) == 0 {
				l.MinIntervalHours = float64(24*l.MinIntervalDays.Value) - float64(r.IntN(24))
			}
		}
		if r.IntN(3) > 0 {
			l.MaxApplications = farm.Value(1 + r.IntN(4))
		}
		if r.IntN(3) == 0 {
			l.MaxAmount = farm.Value(units.Of(float64(5+r.IntN(20)), "g/m2"))
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
		switch r.IntN(14) { // a blank
		case 0:
			l.REIHours = farm.Stated[float64]{}
		case 1:
			l.MinIntervalDays = farm.Stated[int]{}
		case 2:
			l.PHIDays = farm.Stated[int]{}
		case 3:
			l.RainfastH, l.Formulation = farm.Stated[float64]{}, farm.Value("liquid")
		}
		labels = append(labels, l)
		in.Labels[l.Key] = l
	}
	season := label.Span{From: in.Today.AddDays(-120), To: in.Today.AddDays(r.IntN(60))}
	cycle := in.Today.AddDays(-60)
	organic, practice := r.IntN(4) == 0, r.IntN(2) == 0
	apart := []label.Apart{{A: "alpha", B: "gamma", Days: 10, Source: "invented"}}
	id := int64(0)
	for i := range 1 + r.IntN(6) {
		b := farm.Bed{Code: fmt.Sprintf("B%d", i), LengthM: 10, WidthM: 1.2, Plants: 40, Site: farm.Outdoor}
		in.Beds = append(in.Beds, b)
		if r.IntN(2) == 0 {
			in.Cut[b.Code] = []time.Weekday{time.Monday, time.Thursday}[:1+r.IntN(2)]
		}
		if r.IntN(4) == 0 {
			if in.Sick == nil {
				in.Sick = map[string]bool{}
			}
			in.Sick[b.Code] = true
		}
		if r.IntN(4) == 0 {
			in.Beds[i].Irrigation = farm.Rainfed
		}
		for range r.IntN(4) {
			id++
			l := labels[r.IntN(len(labels))]
			end := in.Today.AddDays(-1 - r.IntN([]int{25, 25, 420}[r.IntN(3)])).In(in.Zone).Add(time.Duration(6+r.IntN(16)) * time.Hour)
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
				switch r.IntN(12) {
				case 0:
					t.Chore = monthplan.Rogue
				case 1:
					t.Chore = monthplan.Clear
				case 2:
					t.Every, t.Washes = 1+r.IntN(4), r.IntN(2) == 0
					if t.Every == 1 {
						t.Again = monthplan.Morning
					}
				case 3:
					t.Every, t.Times = 7, 3
				case 4:
					t.Standing = true
				case 5:
					t.With = monthplan.Cutting
				case 6:
					t.Part = []monthplan.Part{monthplan.Dawn, monthplan.Morning, monthplan.Evening, monthplan.Dark, monthplan.AfterSunset}[r.IntN(5)]
				case 7:
					t.Part, t.Dry = monthplan.Morning, true
				}
				if t.Manner == (monthplan.Manner{}) && r.IntN(3) == 0 {
					t.Kind, t.Rung, t.Traps = monthplan.Look, monthplan.Free, monthplan.Traps{Words: "9 traps", Nights: r.IntN(3)}
				}
				in.Tasks = append(in.Tasks, t)
			}
			if r.IntN(2) == 0 {
				o := monthplan.Offer{Bed: b.Code, Pest: pest, RecountDays: r.IntN(5), Minutes: 45, GenerationDays: []int{0, 0, 12}[r.IntN(3)]}
				if r.IntN(3) == 0 {
					o.Traps = monthplan.Traps{Words: "9 traps", Nights: 1 + r.IntN(2)}
				}
				if r.IntN(4) == 0 {
					o.Part, o.Dry = monthplan.Evening, r.IntN(2) == 0
				}
				for _, t := range in.History {
					if t.Bed == b.Code && t.Pest == pest && in.Today.Sub(t.Date) < 20 && r.IntN(4) == 0 {
						o.Renews = t
					}
				}
				for _, l := range labels {
					q := label.Request{Label: l, Labels: in.Labels, Versions: in.Versions, Bed: b, Pest: pest, Season: season, CycleStart: cycle, Organic: organic, Practice: practice, Apart: apart}
					if r.IntN(3) == 0 {
						q.WaterM = []*float64{new(float64), ptr(20)}[r.IntN(2)]
					}
					if q.AnimalsChecked = r.IntN(3) == 0; q.AnimalsChecked && r.IntN(2) == 0 {
						q.Animals = []string{"dog"}
					}
					if r.IntN(6) == 0 {
						q.FarmMinDays = 9
					}
					if r.IntN(4) == 0 {
						q.Work = []label.Work{{What: "sowing rye", Date: in.Today.AddDays(r.IntN(45)), Plants: true}}
					}
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
					for _, a := range in.Versions[t.ID].Actives {
						w, ok := in.Wait(a.Name, "mite_eater")
						q.Residues = append(q.Residues, schedule.Residue{Date: t.Date, Label: t.Label, Active: a.Name, WaitDays: w, Known: ok})
					}
				}
			}
			c := monthplan.Course{ID: "rel:" + b.Code, Pest: "aphid", Agent: "mite_eater", Request: q}
			if r.IntN(3) == 0 {
				c.Ordered = in.Today.AddDays(-r.IntN(6))
			}
			in.Courses = append(in.Courses, c)
		}
	}
	for i := range 32 {
		day := in.Today.AddDays(i)
		if w := (farm.WeatherDay{Date: day}); r.IntN(3) > 0 {
			switch r.IntN(4) {
			case 0:
				w.MaxC = ptr(36)
			case 1:
				w.MaxC, w.MinC = ptr(6), ptr(2)
			}
			if r.IntN(4) == 0 {
				w.RainMM = ptr(float64(r.IntN(12)))
			}
			in.Weather[day] = w
		}
	}
	return in
}
