package app

import "leafturn/internal/civil"

// DegreeDaysData is a sum of degree-days. Everything is in °C.
type DegreeDaysData struct {
	Pest        string           `json:"pest"`
	Base        float64          `json:"base_c"`
	Upper       *float64         `json:"upper_c"`
	Method      string           `json:"method"`
	Cutoff      string           `json:"cutoff"`
	Start       civil.Date       `json:"start"`
	StartWhy    string           `json:"start_why"`
	To          civil.Date       `json:"to"`
	Total       *float64         `json:"total"`
	MissingFrom *civil.Date      `json:"missing_from"`
	Filled      int              `json:"filled_days"`
	Forecast    int              `json:"forecast_days"`
	Usual       int              `json:"usual_days"`
	UsualFrom   string           `json:"usual_from"`
	UsualYears  int              `json:"usual_years"`
	Days        []DegreeDay      `json:"days"`
	Reached     []SumReached     `json:"reached"`
	Needs       []DevelopmentRow `json:"requirements"`
	Words       []string         `json:"words"`
}

// DegreeDay is one day of a sum.
type DegreeDay struct {
	Date civil.Date `json:"date"`
	Min  float64    `json:"min_c"`
	Max  float64    `json:"max_c"`
	Kind string     `json:"kind"`
	DD   float64    `json:"degree_days"`
	Sum  float64    `json:"sum"`
}

// SumReached is when a sum was or will be reached.
type SumReached struct {
	Sum  float64     `json:"sum"`
	Date *civil.Date `json:"date"`
	Kind string      `json:"kind"`
}

// DevelopmentRow is what a stage needs.
type DevelopmentRow struct {
	Key    string   `json:"key"`
	Stage  string   `json:"stage"`
	Animal string   `json:"animal"`
	Base   *float64 `json:"base_c"`
	Upper  *float64 `json:"upper_c"`
	DD     *float64 `json:"degree_days"`
	Method string   `json:"method"`
	Used   bool     `json:"used"`
	Basis
}

// AheadData is when stages come, what to do around them, and the nights and
// days of the coming week.
type AheadData struct {
	From   civil.Date   `json:"from"`
	To     civil.Date   `json:"to"`
	Clocks []ClockData  `json:"clocks"`
	Steps  []ClockStep  `json:"steps"`
	Nights []NightData  `json:"nights"`
	Limits []GateLimit  `json:"limits"`
	Usual  UsualWeather `json:"usual_weather"`
	Words  []string     `json:"words"`
}

// UsualWeather is what the days to come rest on.
type UsualWeather struct {
	From    string `json:"from"`
	Years   int    `json:"years"`
	Members int    `json:"past_years_in_range"`
}

// ClockData is the stages of one animal from one start.
type ClockData struct {
	Of       string      `json:"of"`
	Name     string      `json:"name"`
	Start    *civil.Date `json:"start"`
	StartWhy string      `json:"start_why"`
	Stages   []StageData `json:"stages"`
	Unknown  string      `json:"unknown"`
}

// StageData is when a stage is reached.
type StageData struct {
	Row        DevelopmentRow `json:"requirement"`
	Generation int            `json:"generation"`
	Earliest   *civil.Date    `json:"earliest"`
	Expected   *civil.Date    `json:"expected"`
	Latest     *civil.Date    `json:"latest"`
	Kind       string         `json:"kind"`
	Sum        *float64       `json:"degree_days_so_far"`
	Progress   *float64       `json:"share_done"`
	Low        float64        `json:"range_low"`
	High       float64        `json:"range_high"`
	Missing    *civil.Date    `json:"missing_from"`
}

// ClockStep is what to do around a stage.
type ClockStep struct {
	Of   string     `json:"of"`
	Kind string     `json:"kind"`
	Date civil.Date `json:"date"`
	Text string     `json:"text"`
	Basis
}

// NightData is what a night, and the day before it, is good for.
type NightData struct {
	Date     civil.Date `json:"date"`
	NightC   *float64   `json:"night_c"`
	Kind     string     `json:"kind"`
	DayHours *float64   `json:"day_hours"`
	Slug     string     `json:"slug_night"`
	SlugIf   string     `json:"slug_night_favourable_if"`
	Bait     string     `json:"soil_bait"`
	Rest     string     `json:"mites_rest"`
	Why      []string   `json:"why"`
}

// GateLimit is a figure that the nights are judged by.
type GateLimit struct {
	Key   string  `json:"key"`
	Pest  string  `json:"pest"`
	Words string  `json:"words"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
	Basis
}
