package app

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/store"
	"leafturn/internal/units"
)

// oldRecord is a record and its words, as they are typed to enter it.
type oldRecord struct {
	value any // farm.Visit, farm.Treatment, ... without its number
	words string
}

// recordOf reads a record of any kind, voided or not.
func (a *App) recordOf(tx *store.Tx, kind store.Kind, id int64) (oldRecord, error) {
	f := store.Filter{ID: id, IncludeVoided: true}
	switch kind {
	case store.KindVisit:
		v, err := tx.Visit(id)
		v.ID = 0
		return oldRecord{v, ingest.FormatNoteIn(v, a.farm.Units)}, err
	case store.KindTreatment:
		return oneOf(tx.Treatments, f, func(x *farm.Treatment) string { x.ID = 0; return a.treatmentWords(*x) })
	case store.KindRelease:
		return oneOf(tx.Releases, f, func(x *farm.Release) string { x.ID = 0; return a.releaseText(*x) })
	case store.KindDone:
		return oneOf(tx.Dones, f, func(x *farm.Done) string { x.ID = 0; return doneText(*x) })
	case store.KindStage:
		return oneOf(tx.Stages, f, func(x *farm.StageEvent) string {
			return line(x.Date.String(), string(x.Stage), x.Bed, flag("note", x.Note))
		})
	case store.KindWeather:
		return oneOf(tx.WeatherDays, f, func(x *farm.WeatherDay) string { return weatherText(*x, a.farm.Units) })
	case store.KindCover:
		return oneOf(tx.Covers, f, func(x *farm.PlannedCover) string {
			return line(x.Cover, x.Bed, flag("sow", x.Sow.String()), flag("kill", x.Kill.String()), flag("note", x.Note))
		})
	case store.KindOverride:
		x, err := tx.Override(id)
		return oldRecord{x, line(x.Since.String(), x.Pest, x.Measure, x.Level, strconv.FormatFloat(x.Value, 'f', -1, 64), flag("why", x.Reason))}, err
	}
	return oldRecord{}, fmt.Errorf("no records of kind %q", kind)
}

// oneOf reads the one record that f chooses.
func oneOf[T any](read func(store.Filter) ([]T, error), f store.Filter, words func(*T) string) (oldRecord, error) {
	list, err := read(f)
	if err == nil && len(list) != 1 {
		err = fmt.Errorf("record %d is not there", f.ID)
	}
	if err != nil {
		return oldRecord{}, err
	}
	text := words(&list[0])
	return oldRecord{list[0], text}, nil
}

// line joins what is there.
func line(words ...string) string {
	var out []string
	for _, w := range words {
		if w != "" {
			out = append(out, w)
		}
	}
	return strings.Join(out, " ")
}

// flag is a flag as it is typed, "" for no value.
func flag(name, value string) string {
	if value == "" {
		return ""
	}
	return "--" + name + " " + shellWord(value)
}

// shellWord quotes a word that a shell would take apart.
func shellWord(w string) string {
	if w != "" && !strings.ContainsFunc(w, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("-_./:=+,@%*", r) || r > 127)
	}) {
		return w
	}
	return `"` + strings.NewReplacer(`"`, `\"`, "\n", " ").Replace(w) + `"`
}

// mostTyped is how much of a command line the journal keeps.
const mostTyped = 300

// Typed joins the words of a command as a shell would read them.
func Typed(words []string) string {
	quoted := make([]string, len(words))
	for i, w := range words {
		quoted[i] = shellWord(w)
	}
	text := []rune(strings.Join(quoted, " "))
	if len(text) > mostTyped {
		return string(text[:mostTyped]) + " ..."
	}
	return string(text)
}

// asTyped writes a figure in the farm's units as a person would type it.
func asTyped(v *float64, unit string, s units.System) string {
	if v == nil {
		return ""
	}
	q := units.Of(*v, unit)
	p := s.To(q)
	if p.Unit == q.Unit {
		return withUnit(unitText(v, ""), unit)
	}
	return withUnit(plainNumber(p.Value), p.Unit.Name)
}

// withUnit sets a unit behind a number: "14C", "3 m/s".
func withUnit(number, unit string) string {
	if slices.Contains([]string{"C", "F", "mm", "in"}, unit) {
		return number + unit
	}
	return number + " " + unit
}

// unitText writes a number with its unit so that it is read back as it is.
func unitText(v *float64, unit string) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', -1, 64) + unit
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// treatmentOptions are the words that a treatment would be entered with.
func treatmentOptions(t farm.Treatment, loc *time.Location, s units.System) TreatOptions {
	clock := func(at time.Time) string {
		if at.IsZero() {
			return ""
		}
		return at.In(loc).Format("2006-01-02T15:04Z07:00")
	}
	o := TreatOptions{
		Label: t.Label, Beds: []string{t.Bed}, Date: t.Date, Pest: t.Pest, Amount: t.Amount.String(), Start: clock(t.Start),
		Part: t.Part, Who: t.Who, Reason: t.Reason, Note: t.Note,
		TreatMore: TreatMore{Method: t.Method, Spray: t.Spray.String(), Wind: asTyped(t.WindMS, "m/s", s), Temp: asTyped(t.AirC, "C", s), Sky: t.Sky, Lot: t.Lot, Licence: t.Licence},
	}
	if t.EndKnown {
		o.End = clock(t.End)
	}
	if t.AreaM2 > 0 {
		o.Area = asTyped(&t.AreaM2, "m2", s)
	}
	return o
}

func (a *App) treatmentWords(t farm.Treatment) string {
	o := treatmentOptions(t, a.loc, a.farm.Units)
	date := ""
	if !t.EndKnown {
		date = t.Date.String()
	}
	end := strings.Replace(o.End, "T", " ", 1)
	if len(end) > 16 {
		end = end[:16]
	}
	start := strings.Replace(o.Start, "T", " ", 1)
	if len(start) > 16 {
		start = start[:16]
	}
	return line(o.Label, t.Bed, flag("date", date), flag("pest", o.Pest), flag("amount", o.Amount), flag("start", start), flag("end", end), flag("part", o.Part), flag("area", o.Area),
		flag("who", o.Who), flag("licence", o.Licence), flag("lot", o.Lot), flag("method", o.Method), flag("spray", o.Spray), flag("wind", o.Wind), flag("temp", o.Temp), flag("sky", o.Sky),
		flag("because", idText(t.Visit)), flag("why", o.Reason), flag("note", o.Note))
}

func (a *App) releaseText(r farm.Release) string {
	at := ""
	if !r.At.IsZero() {
		at = r.At.In(a.loc).Format("15:04")
	}
	return line(r.Date.String(), r.Agent, r.Bed, flag("pest", r.Pest), flag("amount", strconv.FormatFloat(r.Amount, 'f', -1, 64)), flag("at", at), flag("part", r.Part), flag("by", r.Who), flag("because", idText(r.Visit)), flag("note", r.Note))
}

func idText(id int64) string {
	if id == 0 {
		return ""
	}
	return strconv.FormatInt(id, 10)
}

func doneText(d farm.Done) string {
	more := line(flag("by", d.Who), flag("note", d.Note))
	if d.Pest == farm.Flowers {
		return line(d.Date.String(), "flowers", d.Action, d.Bed, more)
	}
	if agent, ok := strings.CutPrefix(d.Action, farm.Settled); ok {
		seen := "--" + strings.ReplaceAll(string(d.Outcome), " ", "-")
		if d.Seen != nil {
			seen = fmt.Sprintf("--count %d/%d", d.Seen.With, d.Seen.Looked)
		}
		return line(d.Date.String(), "settled", agent, d.Bed, flag("pest", d.Pest), seen, more)
	}
	outcome := ""
	if d.Outcome != "" {
		outcome = "--" + strings.ReplaceAll(string(d.Outcome), " ", "-")
	}
	word := strings.TrimPrefix(d.Action, farm.Answer)
	if d.IsStep() {
		word = shortStep(word)
	}
	return line(d.Date.String(), d.Pest, word, d.Bed, outcome, more)
}

func weatherText(w farm.WeatherDay, s units.System) string {
	out := line(w.Date.String(), flag("min", asTyped(w.MinC, "C", s)), flag("max", asTyped(w.MaxC, "C", s)), flag("rain", asTyped(w.RainMM, "mm", s)), flag("soil", asTyped(w.SoilC, "C", s)), flag("humidity", unitText(w.Humidity, "")))
	if w.Forecast {
		out += " --forecast"
	}
	return out
}
