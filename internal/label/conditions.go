package label

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

// bees holds the label's bee statement against the flowers that are open.
func (r Request) bees(d *Decision) {
	rule, ok := r.Label.Bees.Get()
	if !ok {
		return
	}
	const field, where = "bee statement", envHazard + " or bee box"
	if rule == farm.BeesAfterSunset {
		r.night(d, CodeSunset, "the label allows this product only after sunset")
		return
	}
	open, what := false, ""
	switch {
	case r.Bloom == BloomOpen:
		open, what = true, "the crop is in bloom"
	case r.Ground == BloomOpen:
		open, what = true, "flowering ground cover (weeds, cover crop or companions) is in or beside the bed"
	case r.Bloom == BloomUnknown || r.Ground == BloomUnknown:
		d.refuse(Rule{Code: CodeBloom, Field: field, Where: where, Unknown: true,
			Words: "nobody has noted whether flowers are open in or beside the bed; look at the bed today"})
		return
	}
	if !open {
		return
	}
	if rule == farm.BeesNoBloom {
		d.refuse(Rule{Code: CodeBloom, Field: field, Where: where,
			Words: what + ", and the label forbids this product until the petals have fallen, at any hour"})
		return
	}
	r.night(d, CodeForaging, what+", and the label forbids this product while bees forage")
	d.when("look first: no bees on the flowers in and beside the bed")
}

// night refuses from sunrise to sunset, or makes it a condition when the hour
// is not planned yet. Where only the end is known, the application may have
// begun by day, so that a late end does not clear it.
func (r Request) night(d *Decision, code, words string) {
	refuse := func(unknown bool, format string, args ...any) {
		d.refuse(Rule{Code: code, Field: "bee statement", Where: envHazard + " or bee box", Unknown: unknown, Words: words + fmt.Sprintf(format, args...)})
	}
	start, instant := r.startOn(r.Date)
	day := fmt.Sprintf("from sunrise (%s) to sunset (%s)", clock(r.Sunrise, r.loc()), clock(r.Sunset, r.loc()))
	switch {
	case !instant && r.noHour:
		refuse(true, "; the hour of the application was not written down")
	case !instant:
		d.when("%s: apply between sunset and sunrise", words)
	case r.Sunrise.IsZero() || r.Sunset.IsZero():
		refuse(true, "; the times of sunrise and sunset are not known")
	case r.Start.IsZero() && (!r.End.After(r.Sunrise) || !r.End.Before(r.Sunset)):
		refuse(true, ": not %s; it ended at %s, and when it began is not known, so it may have begun by day", day, clock(r.End, r.loc()))
	case !start.Before(r.Sunset), r.End.Before(r.Sunrise) && start.After(r.Sunset.Add(5*time.Minute-24*time.Hour)):
		// The sunset of the day before lies within minutes of 24 hours earlier.
	default:
		refuse(false, ": not %s", day)
	}
}

func (r Request) weather(d *Decision) {
	r.temperature(d)
	r.wind(d)
	r.hours(d)
	r.rain(d)
}

// temperature holds the label's least and most temperature against that of the
// hour, else against the day's.
func (r Request) temperature(d *Decision) {
	hi, hasHi := r.Label.MaxTempC.Get()
	lo, hasLo := r.Label.MinTempC.Get()
	top, bottom := r.TempC, r.TempC
	if r.Weather != nil && r.TempC == nil {
		top, bottom = r.Weather.MaxC, r.Weather.MinC
	}
	hot := func(words string, unknown bool) {
		d.refuse(Rule{Code: CodeTemperature, Field: "temperature limit", Where: directions, Words: words, Unknown: unknown})
	}
	missing := (hasHi || hasLo) && top == nil && (hasHi || bottom == nil)
	switch {
	case missing && r.Applying:
		hot("the label limits the temperature and none is known; read a thermometer first", true)
	case missing:
		d.when("temperature %s; no forecast is known for %s: check on the day", r.tempLimits(lo, hasLo, hi, hasHi), r.Date)
	}
	// The day's highest and lowest are not those of the hour.
	maybe := r.Applying && r.TempC == nil && top != nil
	switch {
	case maybe && (hasHi && above(*top, hi) && !(bottom != nil && above(*bottom, hi)) || hasLo && !above(lo, *top) && (bottom == nil || above(lo, *bottom))):
		hot("the label limits the temperature; read a thermometer, for the day's own figures do not tell that of the hour", true)
		return
	case hasHi && top != nil && above(*top, hi):
		hot(fmt.Sprintf("%s is above the label's highest temperature of %s", r.warm(*top), r.warmth(hi)), false)
	}
	switch {
	case !hasLo || missing:
	case top != nil && above(lo, *top):
		hot(fmt.Sprintf("%s is below the label's lowest temperature of %s", r.warm(*top), r.warmth(lo)), false)
	case bottom == nil || above(lo, *bottom):
		d.when("only while it is at least %s: check on the day", r.warmth(lo))
	}
}

// wind holds the label's least and most wind against the wind.
func (r Request) wind(d *Decision) {
	hi, hasHi := r.Label.MaxWindMS.Get()
	lo, hasLo := r.Label.MinWindMS.Get()
	if hasHi || hasLo {
		wind := func(words string, unknown bool) {
			d.refuse(Rule{Code: CodeWind, Field: "wind", Where: directions + " (spray drift)", Words: words, Unknown: unknown})
		}
		switch {
		case r.WindMS != nil && hasHi && above(*r.WindMS, hi):
			wind(fmt.Sprintf("wind of %s is above the label's highest of %s", r.windy(*r.WindMS), r.speed(hi)), false)
		case r.WindMS != nil && hasLo && above(lo, *r.WindMS):
			wind(fmt.Sprintf("wind of %s is below the label's lowest of %s; in still air fine drops travel far", r.windy(*r.WindMS), r.speed(lo)), false)
		case r.WindMS == nil && r.Applying:
			wind("the wind is not known, and not known is not calm; measure it", true)
		case r.WindMS != nil:
		case hasHi && hasLo:
			d.when("do not apply if the wind is under %s or over %s: check on the day", r.speed(lo), r.speed(hi))
		case hasHi:
			d.when("do not apply if the wind is over %s: check on the day", r.speed(hi))
		default:
			d.when("do not apply if the wind is under %s: check on the day", r.speed(lo))
		}
	}
}

// hours keeps the application within the label's hours of the day. Where the
// label only advises them, other hours are allowed with a warning.
func (r Request) hours(d *Decision) {
	spans, ok := r.Label.Hours.Get()
	if !ok {
		return
	}
	words := farm.HoursWords(spans)
	start, instant := r.startOn(r.Date)
	unknown := func(why string) {
		if r.Label.Advises("time_of_day") {
			d.warn("the label advises the hours %s; %s", words, why)
			return
		}
		d.refuse(Rule{Code: CodeHours, Field: "time of day", Where: directions, Unknown: true, Words: fmt.Sprintf("the label allows the hours %s; %s", words, why)})
	}
	switch {
	case !instant && r.noHour:
		unknown("the hour of the application was not written down")
		return
	case !instant:
		d.when("only in the hours %s", words)
		return
	case r.Start.IsZero():
		start = r.End.Add(-time.Minute) // the last minute of it is known
	}
	for at := start; at.Equal(start) || at.Before(r.End); at = at.Add(time.Minute) {
		local := at.In(r.loc())
		m := 60*local.Hour() + local.Minute()
		if slices.ContainsFunc(spans, func(s farm.ClockSpan) bool { return s.From <= m && m < s.To }) {
			continue
		}
		if r.Label.Advises("time_of_day") {
			d.warn("%s is outside the hours that the label advises, %s", local.Format("15:04"), words)
			return
		}
		d.refuse(Rule{Code: CodeHours, Field: "time of day", Where: directions,
			Words: fmt.Sprintf("%s is outside the hours that the label allows, %s", local.Format("15:04"), words)})
		return
	}
	if r.Start.IsZero() {
		unknown(fmt.Sprintf("it ended at %s, and when it began is not known", r.End.In(r.loc()).Format("15:04")))
	}
}

func (r Request) tempLimits(lo float64, hasLo bool, hi float64, hasHi bool) string {
	switch {
	case hasLo && hasHi:
		return fmt.Sprintf("from %s to %s", r.warmth(lo), r.warmth(hi))
	case hasLo:
		return "at least " + r.warmth(lo)
	}
	return "at most " + r.warmth(hi)
}

func (r Request) rain(d *Decision) {
	h, ok := r.Label.RainfastH.Get()
	if !ok || h == 0 {
		return
	}
	start, instant := r.startOn(r.Date)
	for _, w := range r.Wet {
		if instant && !w.Before(start) && w.Before(r.End.Add(hours(h))) {
			d.refuse(Rule{Code: CodeRainfast, Field: "rainfast time", Where: directions,
				Words: fmt.Sprintf("rain or irrigation at %s comes within the %.4g hours the spray needs; move one of them", clock(w, r.loc()), h)})
			return
		}
	}
	if r.Applying && r.Weather != nil && r.Weather.RainMM != nil && *r.Weather.RainMM > 0 {
		d.refuse(Rule{Code: CodeRainfast, Field: "rainfast time", Where: directions, Unknown: true,
			Words: fmt.Sprintf("%s of rain are noted of %s, and whether they came within the %.4g hours that it must stay dry is not known", r.Units.Rain(*r.Weather.RainMM), r.Date, h)})
		return
	}
	d.when("do not apply if rain is on the way or falls: no rain and no irrigation for %.4g hours after; check on the day", h)
	if r.Weather != nil && r.Weather.RainMM != nil && *r.Weather.RainMM > 0 {
		d.warn("%s of rain on %s: choose hours that leave %.4g dry", r.Units.Rain(*r.Weather.RainMM), r.Date, h)
	}
}

// place holds the rules on water and animals.
func (r Request) place(d *Decision) {
	if m, ok := r.Label.WaterBuffer.Get(); ok && m > 0 {
		refuse := func(words string, unknown bool) {
			d.refuse(Rule{Code: CodeWater, Field: "distance to water", Where: envHazard, Words: words, Unknown: unknown})
		}
		switch {
		case r.WaterM != nil && above(m, *r.WaterM):
			refuse(fmt.Sprintf("the nearest water is %s from the bed; the label keeps %s", r.far(*r.WaterM), r.distance(m)), false)
		case r.WaterM == nil && r.Applying:
			refuse(fmt.Sprintf("how far the nearest water is from the bed is not known; the label keeps %s", r.distance(m)), true)
		case r.WaterM == nil:
			d.when("at least %s from any water", r.distance(m))
		}
	}
	if r.Label.NoWater.Value {
		refuse := func(words string, unknown bool) {
			d.refuse(Rule{Code: CodeWater, Field: "no application to water", Where: envHazard, Words: words, Unknown: unknown})
		}
		switch {
		case r.WaterM != nil && *r.WaterM <= 0:
			refuse("the bed reaches to water, and the label forbids application to water", false)
		case r.WaterM == nil && r.Applying:
			refuse("how far the nearest water is from the bed is not known, and the label forbids application to water", true)
		}
		d.when("not to water: none of it into a ditch, pond, stream or standing water; look first")
	}
	text, ok := r.Label.Animals.Get()
	if !ok {
		return
	}
	d.when("animals: %s", text)
	if !keepsOut(text) {
		return
	}
	refuse := func(words string, unknown bool) {
		d.refuse(Rule{Code: CodeAnimals, Field: "animals", Where: caution, Words: words, Unknown: unknown})
	}
	switch {
	case len(r.Animals) > 0:
		refuse(fmt.Sprintf("the label says %q and %s can reach the bed; shut them out first", text, strings.Join(r.Animals, ", ")), false)
	case !r.AnimalsChecked && r.Applying:
		refuse(fmt.Sprintf("the label says %q; whether animals can reach the bed is not known", text), true)
	}
}

// keepsOut reports whether the label's words on animals tell to shut them out.
func keepsOut(text string) bool {
	t := strings.ToLower(text)
	for _, w := range []string{"keep", "do not allow", "do not let", "exclude", "prevent"} {
		if strings.Contains(t, w) {
			return true
		}
	}
	return false
}

// work holds re-entry and harvest after this application against the work
// that is planned in the bed.
func (r Request) work(d *Decision) {
	if d.REI != farm.IsStated && d.REI != farm.NoneStated {
		return // unknown, already refused
	}
	end := r.Date.AddDays(1).In(r.loc())
	if !r.End.IsZero() {
		end = r.End
	}
	open, _ := d.REIEnd(end)
	plans := append([]Work(nil), r.Work...)
	for _, t := range r.History {
		if t.Bed == r.Bed.Code && t.Date.After(r.Date) {
			w := Work{What: "the application of " + t.Label, Date: t.Date}
			if t.EndKnown {
				w.At = firstOf(t.Start, t.End)
			}
			plans = append(plans, w)
		}
	}
	const options = "apply earlier, move the work, or choose another method"
	for _, w := range plans {
		switch {
		case w.Date.Before(r.Date) && (r.Start.IsZero() || w.Date.Before(civil.DateIn(r.Start, r.loc()))):
			continue
		case !w.Date.After(r.Date) && (r.End.IsZero() || w.At.IsZero()):
			d.when("%s is planned on the same day: apply after it, the bed is closed then", w.What)
			continue
		case !w.Date.After(r.Date) && !w.At.After(firstOf(r.Start, r.End)):
			continue // the work comes first
		}
		if at := firstOf(w.At, w.Date.In(r.loc())); at.Before(open) {
			d.refuse(Rule{Code: CodeWork, Field: "re-entry interval (REI)", Where: agBox,
				Words: fmt.Sprintf("%s is planned in %s on %s, and the bed would be closed until %s; %s", w.What, r.Bed.Code, w.Date, clock(open, r.loc()), options)})
		}
		if w.Plants {
			r.planting(d, w)
		}
		if v, ok := r.Label.PHIEvent.Get(); ok && w.Harvest {
			d.when("%s on %s: cut only when %s", w.What, w.Date, v)
		}
		if n, ok := r.Label.PHIDays.Get(); ok && w.Harvest && w.Date.Sub(r.Date) < n {
			d.refuse(Rule{Code: CodePHI, Field: "pre-harvest interval (PHI)", Where: directions,
				Words: fmt.Sprintf("%s is planned on %s; after an application on %s the first day to cut is %s; %s", w.What, w.Date, r.Date, r.Date.AddDays(n), options)})
		}
	}
}

// planting holds the planting-back interval against planned planting.
func (r Request) planting(d *Decision, w Work) {
	n, ok := r.Label.PlantBack.Get()
	switch {
	case !r.Label.PlantBack.Known():
		d.unknown("planting-back interval", directions, w.What+" is planned on "+w.Date.String()+", and the label may keep plants away for longer")
	case ok && w.Date.Sub(r.Date) < n:
		d.refuse(Rule{Code: CodePlantBack, Field: "planting-back interval", Where: directions,
			Words: fmt.Sprintf("%s is planned on %s; after an application on %s the first day to plant is %s", w.What, w.Date, r.Date, r.Date.AddDays(n))})
	}
}
