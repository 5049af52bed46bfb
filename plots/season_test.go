package plots

import (
	"fmt"
	"math"
	"strings"
	"time"

	"leafturn/internal/civil"
)

func num(v float64) *float64 { return &v }

// sampleWeather is invented: days from first on, some without a record.
func sampleWeather(first civil.Date, days int) []WeatherDay {
	var out []WeatherDay
	for i := range days {
		w := WeatherDay{Date: first.AddDays(i)}
		swing := math.Sin(float64(i)*0.7) * 3
		if i%31 < 27 {
			w.Min, w.Max = num(8+swing), num(19+2*swing)
		}
		if i%23 != 5 {
			w.Rain = num(max(0, 4*math.Sin(float64(i)*1.9)*math.Sin(float64(i)*0.23)))
		}
		out = append(out, w)
	}
	return out
}

// band is a belief that is drawn together at each visit and widens after it.
func band(visits []Visit, until civil.Date) []Likely {
	var out []Likely
	for i, v := range visits {
		end := until
		if i+1 < len(visits) {
			end = visits[i+1].Date
		}
		for d := v.Date; !d.After(end); d = d.AddDays(1) {
			wide := 1 + 0.12*float64(d.Sub(v.Date))
			out = append(out, Likely{d, v.Mean * 0.7 / wide, (v.Mean*1.3 + 0.2) * wide})
		}
	}
	return out
}

func sampleSeason() Season {
	b := samplePanel("B3", 1, 9)
	b.Visits = b.Visits[:12]
	at := time.Date(2026, 7, 21, 20, 30, 0, 0, time.UTC)
	s := Season{
		Pest: "slugs", Bed: "B3", Measure: "slugs per trap", Scale: Sqrt, AsOf: day("2026-07-22"), Source: "board traps read at dawn, 10 per bed (invented data)",
		Visits: b.Visits, Act: b.Act, Watch: b.Watch, Stages: b.Stages,
		Treatments: []Event{{day("2026-06-03"), "iron phosphate bait"}, {day("2026-07-21"), "iron phosphate bait"}},
		Releases:   []Event{{day("2026-06-12"), "nematodes"}},
		Steps:      []Event{{day("2026-05-20"), "board check"}, {day("2026-06-17"), "board check"}, {day("2026-07-08"), "morning water"}},
		Closed:     []Closure{{at, at.Add(36 * time.Hour)}},
		Weather:    sampleWeather(day("2026-04-28"), 88),
		Verdict:    LookAgain, Due: day("2026-07-27"),
		Next: "Look again by Mon 27 Jul: 12 more traps would probably settle it. Keep out until Thu 23 Jul 08:30 (re-entry).",
	}
	for i := range 5 {
		w := sampleWeather(day("2026-07-23"), 5)[i]
		w.Forecast = true
		s.Weather = append(s.Weather, w)
	}
	s.Likely = band(s.Visits, s.AsOf)
	return s
}

// seasonEdges are seasons at the limits of what can be drawn.
func seasonEdges() map[string]Figure {
	with := func(change func(s *Season)) Season {
		s := sampleSeason()
		change(&s)
		return s
	}
	return map[string]Figure{
		"season without weather": with(func(s *Season) { s.Weather = nil }),
		"season of one visit": with(func(s *Season) {
			*s = Season{Pest: "slugs", Bed: "A1", Visits: []Visit{{Date: day("2026-07-13"), Mean: 2, Counts: []int{1, 3}}}}
		}),
		"season of zeros": with(func(s *Season) {
			s.Visits = season(3, day("2026-05-04"), 8, 6, 1, func(int) float64 { return 0 })
			s.Likely, s.Act, s.Watch = []Likely{{day("2026-05-04"), 0, 0.4}, {day("2026-05-11"), 0, 1.2}, {day("2026-05-11"), 0, 0.2}}, nil, nil
		}),
		"season beyond the axis": with(func(s *Season) {
			for i := range s.Likely {
				s.Likely[i].High *= 900
			}
			s.Visits[3].Interval.High = 1e6
		}),
		"season of 200 units a visit": with(func(s *Season) {
			s.Visits = season(5, day("2026-05-04"), 11, 200, 0.5, wave(6, 6, 3))
			s.Likely = band(s.Visits, s.AsOf)
		}),
		"season in US units": with(func(s *Season) {
			s.TempUnit, s.RainUnit = "°F", "in"
			for i := range s.Weather {
				w := &s.Weather[i]
				if w.Min != nil {
					w.Min, w.Max = num(*w.Min*1.8+32), num(*w.Max*1.8+32)
				}
				if w.Rain != nil {
					w.Rain = num(*w.Rain / 25.4)
				}
			}
		}),
		"season in frost": with(func(s *Season) {
			for i := range s.Weather {
				if w := &s.Weather[i]; w.Min != nil {
					w.Min, w.Max, w.Rain = num(*w.Min-20), num(*w.Max-20), num(0)
				}
			}
		}),
		"season over new year": with(func(s *Season) {
			s.Visits = season(4, day("2026-11-02"), 16, 5, 1, wave(4, 6, 5))
			s.Likely = band(s.Visits, day("2027-02-20"))
			s.AsOf, s.Due, s.Stages, s.Treatments, s.Releases, s.Steps, s.Closed = day("2027-02-20"), day("2027-02-27"), nil, nil, nil, nil, nil
			s.Weather = sampleWeather(day("2026-11-20"), 60)
		}),
		"season of long names": with(func(s *Season) {
			s.Pest, s.Bed, s.Measure, s.Source, s.Next, s.Verdict = long+long, long, long+long, strings.Repeat(long, 9), strings.Repeat(long, 9), Verdict(long)
			for i := range 14 {
				s.Steps = append(s.Steps, Event{day("2026-05-04").AddDays(5 * i), fmt.Sprint(i, long)})
				s.Treatments = append(s.Treatments, Event{day("2026-05-05").AddDays(5 * i), fmt.Sprint(i, long)})
			}
		}),
		"season of a bed closed until read": with(func(s *Season) { s.Closed = []Closure{{From: time.Date(2026, 7, 21, 9, 0, 0, 0, time.UTC)}} }),
		"season due today":                  with(func(s *Season) { s.Due = s.AsOf }),
		"season of percent": with(func(s *Season) {
			s.Percent, s.Scale, s.Measure, s.Act, s.Watch = true, Linear, "leaves with mites", []Segment{{Value: 30}}, nil
			for i := range s.Visits {
				s.Visits[i].Counts, s.Visits[i].Mean, s.Visits[i].Interval = nil, float64(7*i), &Range{float64(5 * i), float64(9 * i)}
			}
			s.Likely = band(s.Visits, s.AsOf)
		}),
	}
}
