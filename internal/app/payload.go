package app

import (
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

// The types below, with those beside the use cases, are what `data` holds in
// the JSON of each command. SCHEMA.md says what every field means; a test
// holds the two together. They are apart from the types that the program works
// with, so that a change inside does not change what machines read.

// FarmData is the farm as it is set up.
type FarmData struct {
	Name          string         `json:"name"`
	Place         string         `json:"place"`
	Country       string         `json:"country"`
	TimeZone      string         `json:"time_zone"`
	HardinessZone string         `json:"hardiness_zone"`
	LastFrost     civil.MonthDay `json:"last_frost"`
	FirstFrost    civil.MonthDay `json:"first_frost"`
	Units         string         `json:"units"`
	Organic       bool           `json:"organic"`
	Pests         []string       `json:"pests"`
	Area          []string       `json:"area"`
	WaitingCost   *float64       `json:"waiting_cost"`
	Latitude      *float64       `json:"latitude"`
	Longitude     *float64       `json:"longitude"`
	WorkDays      string         `json:"work_days"`
	WorkHours     string         `json:"work_hours"`
	HarvestDays   string         `json:"harvest_days"`
	RoundMinutes  int            `json:"round_minutes"`
	ProductDays   int            `json:"product_days"`
	Address       string         `json:"applicator_address"`
	Normals       []NormalData   `json:"normals"`
	Beds          int            `json:"beds"`
	Plants        int            `json:"plants"`
	File          string         `json:"file"`
}

func farmData(f farm.Farm, beds, plants int, file string) FarmData {
	return FarmData{
		Name: f.Name, Place: f.Place, Country: f.Country, TimeZone: f.TimeZone, HardinessZone: f.HardinessZone,
		LastFrost: f.LastFrost, FirstFrost: f.FirstFrost, Units: string(f.Units), Organic: f.Organic, Pests: orEmpty(f.Pests),
		Area: orEmpty(f.Area), WaitingCost: waitingCost(f), Latitude: f.Latitude, Longitude: f.Longitude, WorkDays: farm.WeekdayWords(f.WorkDays), WorkHours: f.WorkHours,
		HarvestDays: farm.WeekdayWords(f.HarvestDays), RoundMinutes: f.RoundMinutes, ProductDays: f.ProductDays, Address: f.ApplicatorAddress, Normals: normalsData(f.Normals),
		Beds: beds, Plants: plants, File: file,
	}
}

// NormalData is the usual minimum and maximum of a month.
type NormalData struct {
	Month int     `json:"month"`
	MinC  float64 `json:"min_c"`
	MaxC  float64 `json:"max_c"`
}

func normalsData(normals []farm.MonthNormal) []NormalData {
	out := []NormalData{}
	for i, n := range normals {
		out = append(out, NormalData{i + 1, n.MinC, n.MaxC})
	}
	return out
}

// waitingCost is what the farm said of it; nil when it did not.
func waitingCost(f farm.Farm) *float64 {
	if f.WaitingCost == 0 {
		return nil
	}
	return &f.WaitingCost
}

// BedData is a bed with its stage on a day.
type BedData struct {
	Code       string     `json:"code"`
	Block      string     `json:"block"`
	LengthM    float64    `json:"length_m"`
	WidthM     float64    `json:"width_m"`
	AreaM2     float64    `json:"area_m2"`
	EastM      *float64   `json:"east_m"`
	NorthM     *float64   `json:"north_m"`
	Plants     int        `json:"plants"`
	Cultivar   string     `json:"cultivar"`
	Irrigation string     `json:"irrigation"`
	Site       string     `json:"site"`
	WaterM     *float64   `json:"water_m"`
	Animals    string     `json:"animals"`
	Leaves     int        `json:"leaves_per_plant"`
	Crop       string     `json:"crop"`
	Rows       int        `json:"rows"`
	Stage      string     `json:"stage"`
	Since      civil.Date `json:"stage_since"`
}

func bedData(b farm.Bed, stage farm.Stage, since civil.Date) BedData {
	return BedData{
		Code: b.Code, Block: b.Block, LengthM: b.LengthM, WidthM: b.WidthM, AreaM2: b.AreaM2(), EastM: b.X, NorthM: b.Y,
		Plants: b.Plants, Cultivar: b.Cultivar, Irrigation: string(b.Irrigation), Site: string(b.Site),
		WaterM: b.WaterM, Animals: b.Animals, Leaves: b.LeavesPerPlant, Crop: b.CropWord(), Rows: b.Rows, Stage: string(stage), Since: since,
	}
}

// VisitData is one visit as it was entered.
type VisitData struct {
	ID         int64        `json:"id"`
	Bed        string       `json:"bed"`
	Date       civil.Date   `json:"date"`
	Pest       string       `json:"pest"`
	Unit       string       `json:"unit"`
	Stratum    string       `json:"stratum"`
	Counts     []*int       `json:"counts"`
	Infested   *int         `json:"infested"`
	Looked     *int         `json:"looked"`
	Enemies    []EnemyCount `json:"enemies"`
	Damaged    *int         `json:"damaged"`
	DamageOf   *int         `json:"damage_looked"`
	Soil       string       `json:"soil"`
	Foliage    string       `json:"foliage"`
	AirC       *float64     `json:"air_c"`
	SoilC      *float64     `json:"soil_c"`
	Nights     *int         `json:"nights"`
	Disturbed  bool         `json:"disturbed"`
	Observer   string       `json:"observer"`
	Note       string       `json:"note"`
	Voided     bool         `json:"voided"`
	VoidReason string       `json:"void_reason"`
}

// EnemyCount is the natural enemies of one kind on the units of a visit.
type EnemyCount struct {
	Enemy string `json:"enemy"`
	Count int    `json:"count"`
}

func visitData(v farm.Visit, voided bool, reason string) VisitData {
	d := VisitData{
		ID: v.ID, Bed: v.Bed, Date: v.Date, Pest: v.Pest, Unit: v.Unit, Stratum: string(v.Stratum), Counts: []*int{}, Enemies: []EnemyCount{},
		Soil: string(v.Conditions.Soil), Foliage: string(v.Conditions.Foliage), AirC: v.Conditions.AirC, SoilC: v.Conditions.SoilC,
		Disturbed: v.Conditions.Disturbed, Observer: v.Observer, Note: v.Note, Voided: voided, VoidReason: reason,
	}
	for _, u := range v.Counts {
		if !u.Seen {
			d.Counts = append(d.Counts, nil)
			continue
		}
		d.Counts = append(d.Counts, &u.Count)
	}
	if p := v.Presence; p != nil {
		d.Infested, d.Looked = &p.Infested, &p.Looked
	}
	for _, e := range v.Enemies {
		d.Enemies = append(d.Enemies, EnemyCount(e))
	}
	if x := v.Damage; x != nil {
		d.Damaged, d.DamageOf = &x.Hurt, &x.Looked
	}
	if n := v.Conditions.Nights; n > 0 {
		d.Nights = &n
	}
	return d
}

// Basis is what a number or a sentence rests on.
type Basis struct {
	Basis  string `json:"basis"`
	Source string `json:"source"`
	URL    string `json:"url"`
	Note   string `json:"note"`
}

func basisOf(p catalog.Provenance) Basis { return Basis(p) }

// StageSpan is a range of growth stages, both ends included.
type StageSpan struct {
	From string `json:"from"`
	To   string `json:"to"`
}

func spanOf(s catalog.Span) StageSpan { return StageSpan{string(s.From), string(s.To)} }

func spanOrNil(s *catalog.Span) *StageSpan {
	if s == nil {
		return nil
	}
	x := spanOf(*s)
	return &x
}

// PestFacts is a pest of the catalogue.
type PestFacts struct {
	Key           string     `json:"key"`
	Name          string     `json:"name"`
	Latin         string     `json:"latin"`
	EPPO          string     `json:"eppo"`
	Kind          string     `json:"kind"`
	Aliases       []string   `json:"aliases"`
	Soil          bool       `json:"lives_in_soil"`
	Vector        string     `json:"spreads"`
	Scout         StageSpan  `json:"scouted"`
	Scout2        *StageSpan `json:"scouted_again"`
	PrePlantWeeks int        `json:"weeks_before_planting"`
	EveryDays     int        `json:"every_days"`
	Critical      *StageSpan `json:"critical"`
	CriticalDays  *int       `json:"critical_every_days"`
	StaleDays     int        `json:"stale_after_days"`
	Damage        string     `json:"damage"`
	LookAlikes    string     `json:"look_alikes"`
	FavouredBy    string     `json:"favoured_by"`
	EnemyRule     string     `json:"enemy_rule"`
	Growth        string     `json:"growth"`
	Counted       string     `json:"counted_by"`
	TextSource    string     `json:"text_source"`
	TextURL       string     `json:"text_url"`
	Basis
}

func pestFactsData(cat *catalog.Catalog, p catalog.Pest) PestFacts {
	u, _ := cat.Protocol(p.Key, "")
	out := PestFacts{
		Key: p.Key, Name: p.Name, Latin: p.Latin, EPPO: p.EPPO, Kind: p.Kind, Aliases: orEmpty(p.Aliases), Soil: p.Soil, Vector: p.Vector,
		Scout: spanOf(p.Scout), Scout2: spanOrNil(p.Scout2), PrePlantWeeks: p.PrePlantWeeks, EveryDays: p.EveryDays,
		Critical: spanOrNil(p.Critical), StaleDays: p.StaleDays, Damage: p.Damage, LookAlikes: p.LookAlikes, FavouredBy: p.FavouredBy,
		EnemyRule: p.EnemyRule, Growth: p.Growth, Counted: u.Unit, TextSource: p.TextSource, TextURL: p.TextURL, Basis: basisOf(p.Provenance),
	}
	if p.Critical != nil {
		out.CriticalDays = &p.CriticalDays
	}
	return out
}

// Protocol is a way to count a pest.
type Protocol struct {
	Unit          string   `json:"unit"`
	UnitAliases   []string `json:"unit_aliases"`
	UnitLabel     string   `json:"unit_label"`
	Measure       string   `json:"measure"`
	Words         string   `json:"measure_words"`
	DamageMeasure string   `json:"damage_measure"`
	Presence      bool     `json:"presence"`
	Tally         int      `json:"tally"`
	Units         *int     `json:"units"`
	MinUnits      int      `json:"min_units"`
	WholeBed      bool     `json:"whole_bed"`
	PerNights     *int     `json:"per_nights"`
	Nights        *int     `json:"nights"`
	NeedsSoil     string   `json:"needs_soil"`
	NeedsFoliage  string   `json:"needs_foliage"`
	TempOf        string   `json:"temperature_of"`
	MinC          *float64 `json:"min_c"`
	MaxC          *float64 `json:"max_c"`
	Usual         bool     `json:"usual"`
	How           string   `json:"how"`
	Method        string   `json:"method"`
	Conditions    string   `json:"conditions"`
	BestTime      string   `json:"best_time"`
	Basis
}

func protocolData(p catalog.Protocol) Protocol {
	return Protocol{
		Unit: p.Unit, UnitAliases: orEmpty(p.UnitAliases), UnitLabel: p.UnitLabel, Measure: p.Measure, Words: p.Words, DamageMeasure: p.DamageMeasure,
		Presence: p.Presence, Tally: p.Tally, Units: orNil(p.UnitsTotal), MinUnits: p.MinUnits, WholeBed: p.WholeBed,
		PerNights: orNil(p.PerNights), Nights: orNil(p.Nights), NeedsSoil: string(p.NeedsSoil), NeedsFoliage: string(p.NeedsFoliage),
		TempOf: p.TempOf, MinC: p.MinC, MaxC: p.MaxC, Usual: p.Default, How: p.How, Method: p.Method, Conditions: p.Conditions,
		BestTime: p.BestTime, Basis: basisOf(p.Provenance),
	}
}

// orNil returns nil for 0, which stands for "none" or "not stated" in counts
// that are never zero.
func orNil(n int) *int {
	if n == 0 {
		return nil
	}
	return &n
}

// CatalogueLevel is a row of the table of action levels, as its source gives it.
type CatalogueLevel struct {
	Measure        string    `json:"measure"`
	Kind           string    `json:"kind"`
	Level          string    `json:"level"`
	Crop           string    `json:"crop"`
	Transferred    bool      `json:"transferred"`
	StageWords     string    `json:"stage_words"`
	Season         string    `json:"season"` // when in the year it is in force, "" all year
	Stages         StageSpan `json:"stages"`
	Value          *float64  `json:"value"`
	Operator       string    `json:"operator"`
	Unit           string    `json:"unit"`
	InMeasure      *float64  `json:"value_in_measure"`
	NeedsDamagePct *float64  `json:"needs_damage_pct"`
	OrDamagePct    *float64  `json:"or_damage_pct"`
	Requires       string    `json:"requires"`
	Method         string    `json:"method"`
	Conditions     string    `json:"conditions"`
	Basis
}

func levelData(t catalog.Threshold) CatalogueLevel {
	out := CatalogueLevel{
		Measure: t.Measure, Kind: t.Kind, Level: t.Level, Crop: t.Crop, Transferred: t.Transferred(), StageWords: t.StageWords, Season: t.Season.Words(civil.MonthDay{}), Stages: spanOf(t.Span),
		Value: t.Value, Operator: t.Operator, Unit: t.Unit, Requires: t.Requires, Method: t.Method, Conditions: t.Conditions, Basis: basisOf(t.Provenance),
	}
	if v, _, ok := t.At(); ok {
		out.InMeasure = &v
	}
	if t.NeedsDamagePct > 0 {
		out.NeedsDamagePct = &t.NeedsDamagePct
	}
	if t.OrDamagePct > 0 {
		out.OrDamagePct = &t.OrDamagePct
	}
	return out
}

// Step is a step against a pest.
type Step struct {
	Key        string    `json:"key"`
	Word       string    `json:"word"`
	Rung       int       `json:"rung"`
	RungWords  string    `json:"rung_words"`
	Text       string    `json:"text"`
	Amount     string    `json:"amount"`
	When       string    `json:"when"`
	WithinDays *int      `json:"within_days"`
	Stages     StageSpan `json:"stages"`
	Level      string    `json:"level"`
	Why        string    `json:"why"`
	Safety     string    `json:"safety"`
	Agent      string    `json:"agent"`
	Basis
}

// Enemy is a natural enemy that is counted on a visit.
type Enemy struct {
	Key     string   `json:"key"`
	Name    string   `json:"name"`
	Aliases []string `json:"aliases"`
	PreysOn []string `json:"preys_on"`
	Rule    string   `json:"rule"`
	Pest    string   `json:"rule_pest"`
	Value   *float64 `json:"rule_value"`
	Effect  string   `json:"rule_effect"`
	Text    string   `json:"text"`
	Basis
}

// Agent is a natural enemy that can be let out.
type Agent struct {
	Key         string   `json:"key"`
	Name        string   `json:"name"`
	Latin       string   `json:"latin"`
	Group       string   `json:"group"`
	Targets     []string `json:"targets"`
	FirstChoice string   `json:"first_choice"`
	Permit      string   `json:"permit"`
	CheckDays   []int    `json:"check_days"`
	CheckHow    string   `json:"check_how"`
	Success     string   `json:"success"`
	IfNot       string   `json:"if_not"`
	Basis
}

// PestData is one pest with all that the catalogue knows of it.
type PestData struct {
	Pest      PestFacts        `json:"pest"`
	Protocols []Protocol       `json:"protocols"`
	Levels    []CatalogueLevel `json:"levels"`
	Steps     []Step           `json:"steps"`
	Enemies   []Enemy          `json:"enemies"`
	Agents    []Agent          `json:"agents"`
	Growth    []GrowthRate     `json:"growth_rates"`
}

func pestData(cat *catalog.Catalog, p catalog.Pest) PestData {
	d := PestData{Pest: pestFactsData(cat, p), Protocols: []Protocol{}, Levels: []CatalogueLevel{}, Steps: []Step{}, Enemies: []Enemy{}, Agents: []Agent{}, Growth: growthData(cat, p)}
	for _, x := range cat.Protocols(p.Key) {
		d.Protocols = append(d.Protocols, protocolData(x))
	}
	for _, x := range cat.Thresholds(p.Key) {
		d.Levels = append(d.Levels, levelData(x))
	}
	for _, x := range actionFacts(cat.Actions(p.Key)) {
		s := Step{
			Key: x.Key, Word: shortStep(x.Key), Rung: int(x.Rung), RungWords: x.Rung.String(), Text: x.Text, Amount: x.Amount, When: x.When,
			Stages: StageSpan{string(x.From), string(x.To)}, Level: x.Level, Why: x.Why, Safety: x.Safety, Agent: x.Agent, Basis: Basis(x.Ref),
		}
		if x.WithinDays >= 0 {
			s.WithinDays = &x.WithinDays
		}
		d.Steps = append(d.Steps, s)
	}
	for _, x := range cat.EnemiesOf(p.Key) {
		e := Enemy{
			Key: x.Key, Name: x.Name, Aliases: orEmpty(x.Aliases), PreysOn: orEmpty(x.PreysOn), Rule: x.HoldKind, Pest: x.HoldPest,
			Effect: x.HoldEffect, Text: x.Text, Basis: basisOf(x.Provenance),
		}
		if x.HoldKind != "" {
			e.Value = &x.HoldValue
		}
		d.Enemies = append(d.Enemies, e)
	}
	for _, x := range cat.Agents(p.Key) {
		a := Agent{
			Key: x.Key, Name: x.Name, Latin: x.Latin, Group: x.Group, Targets: orEmpty(x.Targets), FirstChoice: x.FirstChoice, Permit: x.Permit,
			CheckDays: x.CheckDays, CheckHow: x.CheckHow, Success: x.Success, IfNot: x.IfNot, Basis: basisOf(x.Provenance),
		}
		if a.CheckDays == nil {
			a.CheckDays = []int{}
		}
		d.Agents = append(d.Agents, a)
	}
	return d
}
