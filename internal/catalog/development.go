package catalog

import (
	"fmt"
	"slices"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/units"
)

// Development is what a stage of a pest or of a natural enemy needs: so many
// degree-days over a base. The figures are in the unit that was printed.
type Development struct {
	Key      string
	Pest     string // key, "" for a natural enemy
	Agent    string // key, "" for a pest
	Stage    string // in words
	After    string // key of the stage that comes before; "" begins at the start
	Repeat   int    // generations, one after the other
	TempUnit string // C or F: of Base and Upper, and of the degree-days
	Base     *float64
	Upper    *float64 // nil: none
	DD       *float64 // nil: not known
	Method   string   // how the days were, or are to be, counted
	Cutoff   string   // "" without an upper threshold
	Start    string   // date, first_find, stage_seen or release
	StartOn  civil.MonthDay
	Low      float64 // the range in which it was seen to take, times DD
	High     float64
	Default  bool // used; others stand beside it for comparison
	Animal   string
	Provenance
}

// Known reports whether base and total are both known.
func (d Development) Known() bool { return d.Base != nil && d.DD != nil }

// InC returns the figures in °C and degree-days C; those that are not known
// stay nil.
func (d Development) InC() (base, upper, dd *float64) {
	temp := func(p *float64) *float64 {
		if p == nil || d.TempUnit == "C" {
			return p
		}
		v := units.Of(*p, d.TempUnit).Base()
		return &v
	}
	dd = d.DD
	if dd != nil && d.TempUnit == "F" {
		v, _ := units.Difference(*dd, "F", "C") // two known units
		dd = &v
	}
	return temp(d.Base), temp(d.Upper), dd
}

// ClockAction is what to do around the date on which a stage is reached.
type ClockAction struct {
	Key         string
	Development string
	Kind        string // traps, young, bait or look
	At          string // earliest, expected or latest
	OffsetDays  int
	Text        string
	Provenance
}

// Limit is a figure of a rule that says yes or no of a night or a day.
type Limit struct {
	Key   string
	Pest  string
	Value float64
	Unit  string // as printed
	Words string
	Provenance
}

// Base is the figure in °C, m/s, mm, hours, days or percent.
func (l Limit) Base() float64 {
	switch l.Unit {
	case "F", "C", "mph", "m/s":
		return units.Of(l.Value, l.Unit).Base()
	}
	return l.Value
}

// limitUnits are the units of limits.
var limitUnits = []string{"C", "F", "mph", "m/s", "mm", "hours", "days", "percent"}

// limitKeys are the limits that the program goes by.
var limitKeys = []string{"slug_liked_low", "slug_liked_high", "slug_active_low", "slug_active_high", "slug_wind", "slug_freeze_days", "slug_freeze",
	"slug_wet_rain", "slug_wet_humidity", "slug_dry_days", "slug_dry_humidity", "slug_light_rain",
	"bait_soil_low", "bait_moist_rain", "bait_note_days", "mite_rest_hours", "mite_rest_night"}

// Developments returns every row on stages, in table order.
func (c *Catalog) Developments() []Development { return slices.Clone(c.developments) }

// DevelopmentOf returns the rows on a pest or an agent, in table order.
func (c *Catalog) DevelopmentOf(key string) []Development {
	return filter(c.developments, func(d Development) bool { return key != "" && (d.Pest == key || d.Agent == key) })
}

// ClockActions returns what to do around a stage.
func (c *Catalog) ClockActions(development string) []ClockAction {
	return filter(c.clockActions, func(a ClockAction) bool { return a.Development == development })
}

// Limit returns a limit by its key; every key of the program has its row.
func (c *Catalog) Limit(key string) Limit {
	l, _ := find(c.limits, func(l Limit) bool { return l.Key == key })
	return l
}

// Limits returns the limits of a pest's rules, in table order.
func (c *Catalog) Limits(pest string) []Limit {
	return filter(c.limits, func(l Limit) bool { return l.Pest == pest })
}

// methodWords are the ways to count that a row may name: those of package
// degreeday, which lies above this one.
var methodWords = []string{"single sine", "double sine", "single triangle", "double triangle", "average", "average of clipped ends"}

func (l *loader) development() {
	var keys []string
	byKey := map[string]Development{}
	l.table("development.csv", columns("key,pest_key,agent_key,stage,after,repeat,temp_unit,base,upper,dd,method,cutoff,start,start_on,low,high,default,animal"), func(w row) {
		d := Development{Key: w.key("key"), Pest: w.oneOfOrNone("pest_key", l.pestKeys...), Agent: w.oneOfOrNone("agent_key", l.agentKeys...),
			Stage: w.must("stage"), After: w.oneOfOrNone("after", keys...), Repeat: w.whole("repeat", 1, 20, 1), TempUnit: w.oneOf("temp_unit", "C", "F"),
			Base: w.num("base"), Upper: w.num("upper"), DD: w.num("dd"), Method: w.oneOf("method", methodWords...),
			Cutoff: w.oneOf("cutoff", "", "horizontal", "intermediate", "vertical"), Start: w.oneOf("start", "date", "first_find", "stage_seen", "release"),
			Default: w.flag("default"), Animal: w.must("animal"), Provenance: w.provenance()}
		if d.StartOn, _ = civil.ParseMonthDay(w.str("start_on")); d.StartOn.IsZero() != (w.str("start_on") == "") {
			w.bad("start_on", fmt.Sprintf("%q is not a day of the year", w.str("start_on")), "write it as MM-DD")
		}
		low, high := w.num("low"), w.num("high")
		switch {
		case low == nil || high == nil || !(*low > 0 && *low <= 1) || !(*high >= 1 && *high <= 5):
			w.bad("low", "is no range", "give what it was seen to take: low above 0 and at most 1, high from 1 to 5")
		default:
			d.Low, d.High = *low, *high
		}
		base, upper, dd := d.InC()
		switch {
		case (d.Pest == "") == (d.Agent == ""):
			w.bad("agent_key", "a row is on a pest or on an agent", "fill in one of the two")
		case dd != nil && base == nil:
			w.bad("base", "a total without its base", "give both, or leave both empty")
		case base != nil && (*base < -5 || *base > 20):
			w.bad("base", fmt.Sprintf("%.3g °C cannot be a threshold", *base), "check the number and its unit")
		case upper != nil && (base == nil || *upper <= *base || *upper > 45):
			w.bad("upper", fmt.Sprintf("%.3g °C does not go with the base", *upper), "check the number and its unit")
		case dd != nil && (*dd <= 0 || *dd > 3000):
			w.bad("dd", fmt.Sprintf("%.4g degree-days cannot be", *dd), "check the number and its unit")
		case (d.Upper == nil) != (d.Cutoff == ""):
			w.bad("cutoff", "goes with an upper threshold, and only with one", "fill in both or neither")
		case (d.Start == "date") != !d.StartOn.IsZero():
			w.bad("start_on", "goes with a start on a date, and only with one", "fill it in or leave it empty")
		case d.Agent != "" && d.Start != "release":
			w.bad("start", "the clock of an agent starts with its release", "write release")
		case !d.Known() && d.Note == "":
			w.bad("note", "is empty on a row that lacks figures", "say why they are not known")
		case d.After != "" && (byKey[d.After].Pest != d.Pest || byKey[d.After].Agent != d.Agent || byKey[d.After].Repeat > 1):
			w.bad("after", fmt.Sprintf("%q cannot come before it", d.After), "name a stage of the same animal that comes once")
		}
		keys = unique(w, "key", d.Key, keys)
		byKey[d.Key] = d
		l.c.developments = append(l.c.developments, d)
	})
	var actions []string
	l.table("clock_actions.csv", columns("key,development_key,kind,at,offset_days,text"), func(w row) {
		a := ClockAction{Key: w.key("key"), Development: w.oneOf("development_key", keys...), Kind: w.oneOf("kind", "traps", "young", "bait", "look"),
			At: w.oneOf("at", "earliest", "expected", "latest"), OffsetDays: w.whole("offset_days", -60, 60, 0), Text: w.must("text"), Provenance: w.provenance()}
		if !byKey[a.Development].Default {
			w.bad("development_key", fmt.Sprintf("%q is there for comparison only", a.Development), "hang steps on rows that are used")
		}
		actions = unique(w, "key", a.Key, actions)
		l.c.clockActions = append(l.c.clockActions, a)
	})
	var limits []string
	l.table("gates.csv", columns("key,pest_key,value,unit,words"), func(w row) {
		x := Limit{Key: w.oneOf("key", limitKeys...), Pest: w.oneOf("pest_key", l.pestKeys...), Unit: w.oneOf("unit", limitUnits...), Words: w.must("words"), Provenance: w.provenance()}
		v := w.num("value")
		if v == nil || *v < -50 || *v > 1000 {
			w.bad("value", "is no limit", "give the number")
			return
		}
		x.Value = *v
		limits = unique(w, "key", x.Key, limits)
		l.c.limits = append(l.c.limits, x)
	})
	for _, k := range limitKeys {
		if !slices.Contains(limits, k) && len(limits) > 0 {
			l.list.Add(&diag.Problem{File: "gates.csv", What: fmt.Sprintf("the limit %q is missing", k), Do: "give it a row"})
		}
	}
}
