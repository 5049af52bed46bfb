// Package cover plans cover crops bed by bed: which fit between digging and
// planting, what each is expected to do to the farm's pests, and the best
// choice for every bed under a limit on rested beds.
//
// Scores are ordinal judgements (-3 strong fall of the pest to +3 strong rise)
// weighted by evidence grade; points are not percentages. A cell without
// evidence is "not known": it adds nothing and is listed, never taken for "no
// effect". All facts (windows, days, scores, prices) are arguments.
//
// Rules used, with the ids of the planning table they came from: R1 bed free,
// R2 sowing window, R3 time to a usable stand, R4 wait before planting, R5 soil
// temperature at sowing, R6 change of family, R7 dahlia's own family, R8
// brassica gap, R9 potato and soil disease, R10 virus bridges, R11 number of
// rested beds, R12 mixes, R14 water, R15 slugs and residue, R16 leys; besides
// them winter hardiness and hosts of a soil pest found in the bed. All are
// common practice unless the row that carries the number says otherwise.
//
// A bed has two windows: before planting (autumn, winter and spring), and the
// summer of a bed that rests. What beds share (money, seed lots, rested beds,
// areas, legumes, beds kept without a cover, neighbours sown alike) is solved
// by package allot.
//
// Not done: whole bags of seed do not weigh (R13; the seed list rounds them
// up), and a plan looks one year ahead.
package cover

import (
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/units"
)

// Slot is a place in the bed's year.
type Slot string

// The slots.
const (
	Winter      Slot = "W" // after digging to planting
	EarlyAutumn Slot = "A" // sown in a bed cleared by September
	Spring      Slot = "S" // sown in early spring
	Rest        Slot = "F" // the bed carries no dahlia this summer
	Alley       Slot = "P" // permanent alley, never a bed
)

// Family names that rules speak of.
const (
	Asteraceae   = "Asteraceae"
	Brassicaceae = "Brassicaceae"
)

// Crop is a cover crop as the facts give it. nil is "not known".
type Crop struct {
	ID           string
	Name         string // for people
	Latin        string
	Family       string
	Slots        []Slot
	SowRel       string // see SowWindows
	DaysToUsable *int   // sowing to a stand that does its work
	LeadDays     *int   // wait between killing it and planting
	MinSoilC     *float64
	HardyZone    string // USDA zone text such as "7-8 (winter types)"; others are "frost-killed", ...
	KillC        *float64
	RateKgHa     *float64 // seed, broadcast
	USDPerKg     *float64 // seed price
	USDPerHa     *float64 // seed cost of one sowing; goes before rate x price
	CropMore
}

// CropMore is what the value, the mixes and the rules on water and hosts need
// of a crop besides its dates. The zero value is a crop of which nothing of
// this is known.
type CropMore struct {
	Legume     bool
	Perennial  bool        // lives on; a year of it is a ley (R16)
	Nitrogen   *[2]float64 // plant-available nitrogen it leaves, low and high, kg/ha
	Biomass    *[2]float64 // dry matter, low and high, t/ha
	Irrigation string      // what water it needs, in the table's words: "low", "medium", ...
	Alone      bool        // never in a mix (R12)
	MixWith    []string    // ids of crops that it is sown with
	// Hosts says of a virus of dahlia whether the crop hosts it; one that is not
	// in it is not known.
	Hosts map[string]bool
}

// has reports whether the crop has a slot.
func (c Crop) has(s Slot) bool {
	for _, x := range c.Slots {
		if x == s {
			return true
		}
	}
	return false
}

// label is the crop's name for people.
func (c Crop) label() string {
	if c.Name != "" {
		return c.Name
	}
	return c.ID
}

// Option is one way to use a bed: a crop or a mix, before planting or as a
// rest-year crop. The Crop of a mix has its key and name alone; see Mixes.
type Option struct {
	Crop    Crop
	Effects []Effect
	Rest    bool   // the bed carries no dahlia that summer
	Sowings int    // successive sowings; 0 means 1
	Mix     []Part // the crops of a mix, two or more; empty for one crop
}

// Part is a crop of a mix. Share is the part of its own full rate at which it
// is sown; the shares of a mix add up to 1.
type Part struct {
	Crop    Crop
	Effects []Effect
	Share   float64
}

// Parts are the crops of the option: those of the mix, or the one crop.
func (o Option) Parts() []Part {
	if len(o.Mix) > 0 {
		return o.Mix
	}
	return []Part{{Crop: o.Crop, Effects: o.Effects, Share: 1}}
}

// families are those of all parts.
func (o Option) families() []string {
	var out []string
	for _, p := range o.Parts() {
		if f := family(p.Crop.Family); f != "" && !contains(out, f) {
			out = append(out, f)
		}
	}
	return out
}

// Key names the option: the crop's id, with " (rest)" for a rest-year crop.
func (o Option) Key() string {
	if o.Rest {
		return o.Crop.ID + " (rest)"
	}
	return o.Crop.ID
}

func (o Option) sowings() int { return max(o.Sowings, 1) }

// Options returns the ways in which a crop can be used in a bed: as a cover
// between crops when it has a winter, autumn or spring slot, and as a
// rest-year crop when it has that one. A crop for alleys only gives none.
func Options(c Crop, effects []Effect) []Option {
	var out []Option
	if c.has(Winter) || c.has(EarlyAutumn) || c.has(Spring) {
		out = append(out, Option{Crop: c, Effects: effects})
	}
	if c.has(Rest) {
		out = append(out, Option{Crop: c, Effects: effects, Rest: true})
	}
	return out
}

// Grown is a cover crop that a bed carried.
type Grown struct {
	Family string
	Year   int // year of sowing
}

// Bed is a bed as the plan needs it.
type Bed struct {
	Code      string
	AreaM2    float64
	FreeFrom  civil.Date // first day after digging on which it can be sown
	PlantBy   civil.Date // dahlias go in
	RestUntil civil.Date // dahlias go in after a rest year; zero is PlantBy a year later
	Pressure  []Pressure // one per pest that was counted; a pest not listed was never counted
	// Past covers; HistoryKnown says that the list is complete for four years.
	History       []Grown
	HistoryKnown  bool
	BrassicaNear  bool // stock, cabbage or alyssum strips grow at the bed
	ClubrootKnown bool // clubroot was seen in the bed
	BedMore
}

// BedMore is where the bed lies and what else was found or is missing there.
type BedMore struct {
	Row     string   // beds of one row adjoin in the order of Place; "" has no neighbours
	Place   float64  // along the row
	NoWater bool     // it cannot be watered (R14)
	Viruses []string // found in the bed
	SodYear int      // last year of old grass or a ley; 0: none, or not said (R16)
	// RestFree is the first day on which a rest-year crop can be sown; zero is
	// FreeFrom.
	RestFree civil.Date
	Standing string // a cover that was sown already and still stands, in words; "" for none
}

// lastDay returns the day on which dahlias follow the option.
func (b Bed) lastDay(rest bool) civil.Date {
	switch {
	case !rest:
		return b.PlantBy
	case !b.RestUntil.IsZero():
		return b.RestUntil
	}
	return civil.New(b.PlantBy.Year+1, b.PlantBy.Month, b.PlantBy.Day)
}

// pressure returns the pressure of a pest and whether it is known.
func (b Bed) pressure(pest string) (float64, bool) {
	for _, p := range b.Pressure {
		if p.Pest == pest {
			return p.Score, p.Known
		}
	}
	return 0, false
}

// sd returns how uncertain the pressure of a pest is.
func (b Bed) sd(pest string) float64 {
	for _, p := range b.Pressure {
		if p.Pest == pest && p.Known {
			return p.SD
		}
	}
	return 0
}

// Site is what the plan needs of the farm's climate.
type Site struct {
	LastFrost  civil.MonthDay // average last spring frost
	FirstFrost civil.MonthDay // average first autumn frost
	Zone       string         // USDA hardiness zone such as "8a"; "" not known
	SoilC      [12]*float64   // mean soil temperature by month, January first; nil not known
	Units      units.System   // in which temperatures are told
}

// family returns the family name without any subfamily in brackets.
func family(s string) string {
	f, _, _ := strings.Cut(strings.TrimSpace(s), " ")
	return f
}
