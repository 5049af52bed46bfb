package app

import (
	"slices"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/companion"
)

// CompanionEffect is what a plant does to one pest.
type CompanionEffect struct {
	Pest      string   `json:"pest"`
	Role      string   `json:"role"`
	Enemies   string   `json:"enemies"`
	Score     int      `json:"score"`
	Cited     string   `json:"evidence_cited"`
	Evidence  string   `json:"evidence"`
	CapReason string   `json:"cap_reason"`
	Pressure  *float64 `json:"pressure"`
	Points    float64  `json:"points"`
	Contested bool     `json:"contested"`
	Finding   string   `json:"finding"`
	Against   string   `json:"against"`
	AgainstBy string   `json:"against_source"`
	Risk      string   `json:"risk"`
	Basis
}

// CompanionPlant is one suggestion.
type CompanionPlant struct {
	Plant       string            `json:"plant"`
	Latin       string            `json:"latin"`
	Family      string            `json:"family"`
	Verdict     string            `json:"verdict"`
	Points      float64           `json:"points"`
	Help        float64           `json:"help_points"`
	Harm        float64           `json:"harm_points"`
	Virus       float64           `json:"virus_points"`
	Evidence    string            `json:"best_evidence"`
	Viruses     []string          `json:"viruses"`
	Contested   bool              `json:"contested"`
	Warnings    []string          `json:"warnings"`
	Roles       []string          `json:"roles"`
	Placement   string            `json:"placement"`
	SowWindow   string            `json:"sow_window"`
	BloomWindow string            `json:"bloom_window"`
	Key         string            `json:"key"`
	Chosen      bool              `json:"chosen"`
	Layout      *CompanionLayout  `json:"layout"`
	Timing      *CompanionTiming  `json:"timing"`
	Care        CompanionCare     `json:"care"`
	Effects     []CompanionEffect `json:"effects"`
}

// CompanionCare is what to mind with a plant; "" is not known.
type CompanionCare struct {
	Dogs      string   `json:"poisonous_to_dogs"`
	Cats      string   `json:"poisonous_to_cats"`
	PetsBasis string   `json:"pets_basis"`
	Weed      string   `json:"weed"`
	Life      string   `json:"life"`
	Hosts     []string `json:"hosts"`
}

// CompanionLayout is where a plant goes and how much of it that takes.
type CompanionLayout struct {
	Placed      bool            `json:"placed"`
	Why         string          `json:"why_not"`
	Kind        string          `json:"kind"`
	Words       []string        `json:"where"`
	Spots       []CompanionSpot `json:"spots"`
	Places      int             `json:"places"`
	LengthM     float64         `json:"length_m"`
	AreaM2      float64         `json:"area_m2"`
	Plants      *int            `json:"plants"`
	Raise       *int            `json:"raise"`
	Pieces      *int            `json:"pieces"`
	SeedG       *float64        `json:"seed_g"`
	Least       bool            `json:"least_proven"`
	Notes       []string        `json:"notes"`
	AmountBasis string          `json:"amount_basis"`
	PlaceBasis  string          `json:"place_basis"`
}

// CompanionSpot is one place, or a run of them.
type CompanionSpot struct {
	Kind    string   `json:"kind"`
	Bed     string   `json:"bed"`
	Other   string   `json:"other_bed"`
	Side    string   `json:"side"`
	AtM     float64  `json:"at_m"`
	LengthM float64  `json:"length_m"`
	WidthM  float64  `json:"width_m"`
	Units   int      `json:"places"`
	EastM   *float64 `json:"east_m"`
	NorthM  *float64 `json:"north_m"`
}

// CompanionTiming is when a plant is sown and blooms.
type CompanionTiming struct {
	Windows []CompanionDays   `json:"windows"`
	Sowings []CompanionSowing `json:"sowings"`
	Bloom   []CompanionDays   `json:"bloom"`
	Serves  []string          `json:"serves"`
	Needed  []int             `json:"needed_weeks"`
	Covered []int             `json:"covered_weeks"`
	Missed  []int             `json:"missed_weeks"`
	Parts   int               `json:"parts"`
	Unknown string            `json:"unknown"`
	Notes   []string          `json:"notes"`
}

// CompanionDays is a run of days.
type CompanionDays struct {
	From civil.Date `json:"from"`
	To   civil.Date `json:"to"`
}

// CompanionSowing is one sowing.
type CompanionSowing struct {
	Sow      civil.Date     `json:"sow"`
	PlantOut *civil.Date    `json:"plant_out"`
	Bloom    *CompanionDays `json:"bloom"`
}

// CompanionJob is one line of the sowing list.
type CompanionJob struct {
	Date   civil.Date `json:"date"`
	Plant  string     `json:"plant"`
	Work   string     `json:"work"`
	Amount string     `json:"amount"`
}

// CompanionNeed is the weeks in which the enemies of a pest are needed.
type CompanionNeed struct {
	Pest    string `json:"pest"`
	Over    []int  `json:"over_weeks"`
	Weeks   []int  `json:"needed_weeks"`
	Seasons int    `json:"seasons"`
}

// CompanionWeek is one week of the bloom calendar.
type CompanionWeek struct {
	Week   int        `json:"week"`
	From   civil.Date `json:"from"`
	Needed []string   `json:"needed"`
	Plants []string   `json:"in_bloom"`
	Gap    []string   `json:"gap"`
	Bare   bool       `json:"nothing_blooms"`
}

// CompanionAvoid is one thing to avoid.
type CompanionAvoid struct {
	Kind   string   `json:"kind"`
	Text   string   `json:"text"`
	Plants []string `json:"plants"`
}

// CompanionPest is the answer for one pest.
type CompanionPest struct {
	Pest     string   `json:"pest"`
	Pressure float64  `json:"pressure"`
	Evidence string   `json:"best_evidence"`
	Plants   []string `json:"plants"`
	Text     string   `json:"text"`
}

// CompanionsData is what companion plants can do for the farm.
type CompanionsData struct {
	Answer   string           `json:"answer"`
	Pests    []CompanionPest  `json:"pests"`
	Plants   []CompanionPlant `json:"plants"`
	Year     int              `json:"year"`
	Needed   []CompanionNeed  `json:"needed"`
	Sowing   []CompanionJob   `json:"sowing_list"`
	Calendar []CompanionWeek  `json:"calendar"`
	Avoid    []CompanionAvoid `json:"avoid"`
	Unknown  []string         `json:"not_known"`
	LeftOut  []string         `json:"left_out"`
}

func (a *App) companionsData(p *companionPlan) CompanionsData {
	d := companionAdvice(p.advice)
	d.Year, d.Unknown, d.LeftOut = p.season.Year, orEmpty(a.companionUnknowns(p)), orEmpty(p.skipped)
	d.Needed, d.Sowing, d.Calendar, d.Avoid = []CompanionNeed{}, []CompanionJob{}, []CompanionWeek{}, []CompanionAvoid{}
	for i := range d.Plants {
		x := &d.Plants[i]
		f, _ := a.cat.CompanionPlant(x.Plant)
		x.Key = f.Key
		for k := range x.Effects {
			if c, ok := a.cat.CompanionDispute(x.Plant, x.Effects[k].Pest); ok {
				x.Effects[k].Finding, x.Effects[k].Against, x.Effects[k].AgainstBy = c.Finding, c.Other, c.OtherSource
			}
		}
		x.Care = CompanionCare{f.Dog, f.Cat, f.PetsBasis, f.Weed, f.Life, orEmpty(f.Viruses)}
		if j := slices.IndexFunc(p.chosen, func(c chosenPlant) bool { return c.Plant == x.Plant }); j >= 0 {
			x.Chosen, x.Layout, x.Timing = true, a.layoutData(p.chosen[j]), timingData(p.chosen[j], p.season)
		}
	}
	for _, n := range p.needs {
		d.Needed = append(d.Needed, CompanionNeed{n.Pest, orEmpty(p.season.ISOWeeks(n.Over)), orEmpty(p.season.ISOWeeks(n.Weeks)), n.Seasons})
	}
	for _, j := range p.jobs() {
		d.Sowing = append(d.Sowing, CompanionJob{j.on, j.plant.Plant, j.work(), a.sowingWords(j.plant)})
	}
	for _, w := range p.weeks {
		_, number := w.From.ISOWeek()
		d.Calendar = append(d.Calendar, CompanionWeek{number, w.From, orEmpty(w.Needed), orEmpty(w.Plants), orEmpty(w.Gap), w.Bare})
	}
	for _, v := range p.avoid {
		d.Avoid = append(d.Avoid, CompanionAvoid{v.Kind, v.Text, orEmpty(v.Plants)})
	}
	return d
}

func (a *App) layoutData(x chosenPlant) *CompanionLayout {
	l := x.layout
	out := &CompanionLayout{
		Placed: l.Why == "", Why: l.Why, Kind: x.facts.Kind, Words: []string{}, Spots: []CompanionSpot{}, Places: l.Units, LengthM: l.LengthM, AreaM2: l.AreaM2,
		Plants: l.Plants, Pieces: l.Pieces, SeedG: l.SeedG, Least: l.Proven, Notes: []string{}, AmountBasis: x.facts.AmountBasis.Basis, PlaceBasis: x.facts.Basis,
	}
	if out.Placed {
		out.Words = orEmpty(a.spotWords(l))
	}
	if l.Plants != nil && x.raised() {
		n := toRaise(*l.Plants)
		out.Raise = &n
	}
	out.Notes = append(out.Notes, l.Notes...)
	for _, s := range l.Spots {
		out.Spots = append(out.Spots, CompanionSpot{string(s.Kind), s.Bed, s.Other, s.Side, s.AtM, s.LengthM, s.WidthM, s.Units, s.X, s.Y})
	}
	return out
}

func timingData(x chosenPlant, s companion.Season) *CompanionTiming {
	t := x.timing
	out := &CompanionTiming{
		Windows: companionDays(t.Windows), Sowings: []CompanionSowing{}, Bloom: companionDays(t.Bloom), Serves: orEmpty(x.serves),
		Needed: orEmpty(s.ISOWeeks(t.Needed)), Covered: orEmpty(s.ISOWeeks(t.Covered)), Missed: orEmpty(s.ISOWeeks(t.Missed)), Parts: x.parts(), Unknown: t.Unknown, Notes: orEmpty(t.Notes),
	}
	for _, s := range t.Sowings {
		y := CompanionSowing{Sow: s.On}
		if !s.PlantOut.IsZero() {
			y.PlantOut = &s.PlantOut
		}
		if !s.Bloom.From.IsZero() {
			y.Bloom = &CompanionDays{s.Bloom.From, s.Bloom.To}
		}
		out.Sowings = append(out.Sowings, y)
	}
	return out
}

func companionDays(runs []companion.Days) []CompanionDays {
	out := []CompanionDays{}
	for _, r := range runs {
		out = append(out, CompanionDays{r.From, r.To})
	}
	return out
}

func companionAdvice(a companion.Advice) CompanionsData {
	d := CompanionsData{Answer: a.Answer, Pests: []CompanionPest{}, Plants: []CompanionPlant{}}
	for _, p := range a.Pests {
		d.Pests = append(d.Pests, CompanionPest{p.Pest, p.Pressure, p.Best, orEmpty(p.Plants), p.Text})
	}
	for _, g := range a.Suggestions {
		x := CompanionPlant{
			Plant: g.Plant, Latin: g.Latin, Family: g.Family, Verdict: string(g.Verdict), Points: g.Value, Help: g.Help, Harm: g.Harm, Virus: g.Virus,
			Evidence: g.BestGrade, Viruses: orEmpty(g.Viruses), Contested: g.Contested, Warnings: orEmpty(g.Warnings), Roles: orEmpty(g.Roles),
			Placement: g.Placement, SowWindow: g.SowWindow, BloomWindow: g.BloomWindow, Effects: []CompanionEffect{},
		}
		for _, e := range g.Effects {
			r := e.Row
			y := CompanionEffect{
				Pest: r.Pest, Role: r.Role, Enemies: r.Enemies, Score: r.Score, Cited: r.Grade, Evidence: e.Grade, CapReason: r.CapReason,
				Points: e.Points, Contested: r.Contested || strings.Contains(r.Note+r.Risk, "CONTESTED"), Risk: r.Risk, Basis: Basis{r.Basis, r.Source, r.URL, r.Note},
			}
			if e.Counted {
				y.Pressure = &e.Pressure
			}
			x.Effects = append(x.Effects, y)
		}
		d.Plants = append(d.Plants, x)
	}
	return d
}
