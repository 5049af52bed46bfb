package phenology

import (
	"fmt"
	"math"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/climate"
	"leafturn/internal/degreeday"
	"leafturn/internal/growth"
)

// Weather is what else is known of a day; NaN is not known.
type Weather struct{ RainMM, SoilC, Humidity float64 }

// Limits are the figures of the gates; they are rows of the catalogue.
type Limits struct {
	Slug        growth.SlugLimits
	FreezeC     float64
	WetRainMM   float64 // on the day or the day before: the ground is wet
	WetHumidity float64 // percent
	DryDays     int     // without rain, the day included,
	DryHumidity float64 // and air as dry as that: the ground is dry
	LightRainMM float64 // less in a day is no driving rain; more is unknown
	SoilC       float64
	MoistRainMM float64 // over three days
	NoteDays    int     // that a note or a reading of the soil holds
	RestHours   float64
	RestC       float64
}

// Gate is what a night, and the day before it, is good for.
type Gate struct {
	Date     civil.Date // the evening
	NightC   float64    // mean temperature of the night; NaN is not known
	Kind     climate.Kind
	DayHours float64
	Slug     growth.SlugNight
	// SlugIf is set where all that is known of the night is favourable: what
	// would still have to hold. Then Slug is "unknown".
	SlugIf string
	Bait   growth.Answer // whether a bait in the soil tells what is there
	Rest   growth.Answer // whether mites go to their winter rest
	Why    []string
}

// Place is what is known of the farm's days.
type Place struct {
	Series   climate.Series
	Weather  map[civil.Date]Weather
	Moist    map[civil.Date]bool // notes of the soil: moist or dry
	DayHours func(civil.Date) float64
	WindMS   float64 // of the first night, in metres per second; NaN is not known
}

// NightC is the mean temperature of the night that begins on a day: of the last
// eight hours of the curve from the day's maximum to the next minimum. Common
// practice. NaN where one of the two days is missing.
func NightC(s climate.Series, d civil.Date) float64 {
	today, ok := s.At(d)
	next, ok2 := s.At(d.AddDays(1))
	if !ok || !ok2 || !today.Known() || !next.Known() {
		return math.NaN()
	}
	hours, err := degreeday.Hours(degreeday.Day{Min: today.Min, Max: today.Max, NextMin: next.Min})
	if err != nil {
		return math.NaN()
	}
	sum := 0.0
	for _, t := range hours[16:] {
		sum += t
	}
	return sum / 8
}

// Nights judges n nights from a day on. A usual day tells the temperature of a
// night, but neither rain nor wind: its slug night stays unknown.
func Nights(p Place, l Limits, from civil.Date, n int) []Gate {
	out := make([]Gate, n)
	for i := range out {
		d := from.AddDays(i)
		g := Gate{Date: d, NightC: NightC(p.Series, d), DayHours: p.DayHours(d), Kind: climate.Missing}
		if day, ok := p.Series.At(d); ok {
			g.Kind = day.Kind
		}
		wind := math.NaN()
		if i == 0 {
			wind = p.WindMS
		}
		p.slug(&g, l, wind)
		p.bait(&g, l)
		g.Rest = growth.MiteRest(g.DayHours, g.NightC, l.RestHours, l.RestC)
		out[i] = g
	}
	return out
}

func (p Place) slug(g *Gate, l Limits, wind float64) {
	night := growth.Night{TempC: g.NightC, WindMS: wind, SinceFreeze: p.sinceFreeze(g.Date, l)}
	if g.Kind == climate.Normal {
		night.SinceFreeze = math.NaN()
	}
	night.Wet = p.wet(g.Date, l)
	if rain := p.at(g.Date).RainMM; rain < l.LightRainMM {
		no := false
		night.DrivingRain = &no
	}
	g.Slug = l.Slug.Gate(night)
	why := func(format string, args ...any) { g.Why = append(g.Why, fmt.Sprintf(format, args...)) }
	switch g.Slug {
	case growth.Inactive:
		switch {
		case night.TempC < l.Slug.ActiveLow:
			why("slugs: too cold")
		case night.TempC > l.Slug.ActiveHigh:
			why("slugs: too hot")
		default:
			why("slugs: still after a freeze")
		}
	case growth.Unfavourable:
		switch {
		case night.TempC < l.Slug.LikedLow:
			why("slugs: cold")
		case night.TempC > l.Slug.LikedHigh:
			why("slugs: hot")
		case night.WindMS >= l.Slug.WindMS:
			why("slugs: windy")
		default:
			why("slugs: the ground is dry")
		}
	case growth.NotKnown:
		if g.Kind == climate.Normal || g.Kind == climate.Missing {
			why("slugs: no forecast")
			return
		}
		lacks := func(missing bool, word string) []string {
			if missing {
				return []string{word}
			}
			return nil
		}
		known := []string{}
		known = append(known, lacks(math.IsNaN(night.TempC), "the night's temperature")...)
		known = append(known, lacks(math.IsNaN(night.SinceFreeze), "the last freeze")...)
		hard := len(known)
		known = append(known, lacks(night.Wet == nil, "whether the ground is wet")...)
		known = append(known, lacks(night.DrivingRain == nil, "the rain")...)
		known = append(known, lacks(math.IsNaN(night.WindMS), "the wind")...)
		why("slugs: not known: %s", strings.Join(known, ", "))
		if hard > 0 {
			return
		}
		var ifs []string
		if night.Wet == nil {
			ifs = append(ifs, "wet")
		}
		if night.DrivingRain == nil {
			ifs = append(ifs, "without driving rain")
		}
		if math.IsNaN(night.WindMS) {
			ifs = append(ifs, "calm")
		}
		g.SlugIf = strings.Join(ifs, ", ")
	}
}

// wet is whether the ground is wet in the evening of a day; nil is not known.
func (p Place) wet(d civil.Date, l Limits) *bool {
	yes, no := true, false
	today := p.at(d)
	if today.RainMM >= l.WetRainMM || p.at(d.AddDays(-1)).RainMM >= l.WetRainMM || today.Humidity >= l.WetHumidity {
		return &yes
	}
	for i := range l.DryDays {
		if r := p.at(d.AddDays(-i)).RainMM; !(r == 0) {
			return nil
		}
	}
	if today.Humidity <= l.DryHumidity {
		return &no
	}
	return nil
}

// sinceFreeze is the days since the last freeze, +Inf for none in the days that
// count, NaN where one of them is missing.
func (p Place) sinceFreeze(d civil.Date, l Limits) float64 {
	hidden := false
	for i := 0; i <= int(l.Slug.FreezeDays); i++ {
		day, ok := p.Series.At(d.AddDays(-i))
		switch {
		case !ok || !day.Known():
			hidden = true
		case day.Min <= l.FreezeC:
			return float64(i)
		}
	}
	if hidden {
		return math.NaN()
	}
	return math.Inf(1)
}

// bait judges a bait in the soil: by a reading of the soil's temperature and a
// note of its wetness of the last days, or by rain.
func (p Place) bait(g *Gate, l Limits) {
	soil := math.NaN()
	for i := 0; i <= l.NoteDays && math.IsNaN(soil); i++ {
		soil = p.at(g.Date.AddDays(-i)).SoilC
	}
	var moist *bool
	for i := 0; i <= l.NoteDays; i++ {
		if m, ok := p.Moist[g.Date.AddDays(-i)]; ok {
			if m || p.rainKnown(g.Date, i) {
				moist = &m
			}
			break
		}
	}
	rain := 0.0
	for i := range 3 {
		if r := p.at(g.Date.AddDays(-i)).RainMM; r > 0 {
			rain += r
		}
	}
	if rain >= l.MoistRainMM {
		yes := true
		moist = &yes
	}
	g.Bait = growth.SoilBait(soil, moist, l.SoilC)
	switch {
	case g.Bait == growth.No && soil < l.SoilC:
		g.Why = append(g.Why, "baits: the soil is too cold")
	case g.Bait == growth.No:
		g.Why = append(g.Why, "baits: the soil is too dry")
	case g.Bait == growth.Unknown && math.IsNaN(soil):
		g.Why = append(g.Why, "baits: the soil's temperature is not known")
	case g.Bait == growth.Unknown:
		g.Why = append(g.Why, "baits: whether the soil is moist is not known")
	}
}

// rainKnown reports whether the rain of the last days is known: unknown rain may
// have wetted a dry soil since.
func (p Place) rainKnown(d civil.Date, days int) bool {
	for i := range days {
		if math.IsNaN(p.at(d.AddDays(-i)).RainMM) {
			return false
		}
	}
	return true
}

func (p Place) at(d civil.Date) Weather {
	if w, ok := p.Weather[d]; ok {
		return w
	}
	return Weather{math.NaN(), math.NaN(), math.NaN()}
}
