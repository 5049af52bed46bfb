package app

import "leafturn/internal/civil"

// ForecastData is what could come of a pest, bed by bed.
type ForecastData struct {
	Pest      string          `json:"pest"`
	From      civil.Date      `json:"from"`
	To        civil.Date      `json:"to"`
	Density   bool            `json:"density_supported"`
	Why       string          `json:"why_no_density"`
	Seed      uint64          `json:"seed"`
	Paths     int             `json:"paths"`
	Low       *float64        `json:"rate_times_low"`
	High      *float64        `json:"rate_times_high"`
	Rates     []ForecastRate  `json:"rates"`
	UsualFrom string          `json:"usual_from"`
	Beds      []ForecastBed   `json:"beds"`
	Actions   []ForecastGroup `json:"actions"`
	Nights    []NightData     `json:"nights"`
	Clocks    []ClockData     `json:"clocks"`
	Words     []string        `json:"words"`
}

// ForecastRate is a point of the line by which the pest grows.
type ForecastRate struct {
	TempC float64 `json:"temp_c"`
	Rate  float64 `json:"rate_per_day"`
	Basis
}

// ForecastBed is the forecast of one bed, or of a hot spot in it.
type ForecastBed struct {
	Bed       string        `json:"bed"`
	HotSpot   bool          `json:"hot_spot"`
	Counted   *civil.Date   `json:"counted"`
	Value     *float64      `json:"value"`
	Measure   string        `json:"measure"`
	ActFrom   *float64      `json:"act_level"`
	Overrun   *float64      `json:"overrun_from"`
	Why       string        `json:"why_no_forecast"`
	Upper     *float64      `json:"upper_95"`
	OwnRate   *float64      `json:"own_rate_per_day"`
	OwnSD     *float64      `json:"own_rate_sd"`
	TableRate *float64      `json:"table_rate_then"`
	Predators *float64      `json:"predators_per_unit"`
	Ways      []ForecastWay `json:"ways"`
	Words     []string      `json:"words"`
}

// ForecastWay is what one thing that could be done, or nothing, leads to.
type ForecastWay struct {
	Key      string        `json:"key"`
	Name     string        `json:"name"`
	Open     bool          `json:"open"`
	On       *civil.Date   `json:"on"`
	Why      []string      `json:"why_not"`
	LookUp   []string      `json:"look_up"`
	Notes    []string      `json:"notes"`
	Reckoned bool          `json:"reckoned"`
	How      string        `json:"how_reckoned"`
	Outcome  string        `json:"outcome"`
	Expected *civil.Date   `json:"expected_crossing"`
	EvenBy   *civil.Date   `json:"even_chance_by"`
	Never    *float64      `json:"chance_not_to_cross"`
	Days     []ForecastDay `json:"days"`
}

// ForecastDay is one day of a forecast, in the measure of the count.
type ForecastDay struct {
	Date    civil.Date `json:"date"`
	Weather string     `json:"weather"`
	Median  float64    `json:"median"`
	Low50   float64    `json:"low_50"`
	High50  float64    `json:"high_50"`
	Low90   float64    `json:"low_90"`
	High90  float64    `json:"high_90"`
	Over    *float64   `json:"chance_over"`
	Within  *float64   `json:"chance_over_by_then"`
	Overrun *float64   `json:"chance_overrun"`
}

// ForecastGroup is a step and the beds in which it is, or is not, open.
type ForecastGroup struct {
	Key    string   `json:"key"`
	Name   string   `json:"name"`
	Open   bool     `json:"open"`
	Beds   []string `json:"beds"`
	Why    []string `json:"why_not"`
	LookUp []string `json:"look_up"`
}

// PastData is what the farm's own past forecasts were worth.
type PastData struct {
	From    civil.Date   `json:"from"`
	To      civil.Date   `json:"to"`
	Pests   []PastPest   `json:"pests"`
	Past    []PastRow    `json:"forecasts"`
	LeftOut []PastReason `json:"left_out"`
}

// PastPest sums a pest's past forecasts up.
type PastPest struct {
	Pest        string   `json:"pest"`
	Forecasts   int      `json:"forecasts"`
	Few         bool     `json:"too_few"`
	In50        int      `json:"in_50_band"`
	In90        int      `json:"in_90_band"`
	Error       *float64 `json:"error"`
	SameError   *float64 `json:"error_no_change"`
	Both        int      `json:"forecasts_with_two_before"`
	ErrorOfBoth *float64 `json:"error_with_two_before"`
	LastError   *float64 `json:"error_last_growth"`
	CRPS        *float64 `json:"crps"`
	SameAbs     *float64 `json:"absolute_error_no_change"`
	Words       []string `json:"words"`
}

// PastRow is one past forecast and what came.
type PastRow struct {
	Pest    string     `json:"pest"`
	Bed     string     `json:"bed"`
	Measure string     `json:"measure"`
	On      civil.Date `json:"counted"`
	Came    civil.Date `json:"counted_again"`
	Value   float64    `json:"value"`
	Middle  float64    `json:"forecast"`
	Low90   float64    `json:"low_90"`
	High90  float64    `json:"high_90"`
	Was     float64    `json:"came"`
	In50    bool       `json:"in_50_band"`
	In90    bool       `json:"in_90_band"`
}

// PastReason is why counts could not be held against a forecast.
type PastReason struct {
	Why    string `json:"why"`
	Counts int    `json:"counts"`
}
