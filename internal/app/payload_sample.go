package app

// SampleData is a sampling plan for machines.
type SampleData struct {
	Pest         string        `json:"pest"`
	Bed          string        `json:"bed"`
	Stage        string        `json:"stage"`
	Unit         string        `json:"unit"`
	Measure      string        `json:"measure"`
	Threshold    float64       `json:"threshold"` // in measure
	Safe         float64       `json:"safe"`
	Action       float64       `json:"action"`
	Least        int           `json:"least_units"`
	Most         int           `json:"most_units"`
	Lines        []SampleLine  `json:"lines"`
	ActNeedless  float64       `json:"chance_to_act_at_safe"`
	HoldWrongly  float64       `json:"chance_to_hold_at_action"`
	UnitsSafe    float64       `json:"units_at_safe"`
	UnitsAt      float64       `json:"units_at_threshold"`
	UnitsAction  float64       `json:"units_at_action"`
	Protocol     int           `json:"protocol_units"`
	ProtocolAct  *float64      `json:"protocol_chance_to_act_at_safe"`
	ProtocolHold *float64      `json:"protocol_chance_to_hold_at_action"`
	Shortfall    string        `json:"shortfall"`
	Advice       *SampleAdvice `json:"advice"`
	Method       string        `json:"method"` // tuned, wald or iwao
	K            *float64      `json:"k"`      // at the threshold; nil: not used, or as at random
	IwaoT        *float64      `json:"iwao_multiplier"`
	Curve        []SampleCurve `json:"curve"`
}

// SampleLine is one row of the stop lines; null is "not yet".
type SampleLine struct {
	Units  int  `json:"units"`
	HoldAt *int `json:"hold_at_or_below"`
	ActAt  *int `json:"act_at_or_above"`
}

// SampleAdvice is what the plan says to counts in the field so far.
type SampleAdvice struct {
	Units       int     `json:"units"`
	Total       int     `json:"total"`
	Stop        string  `json:"stop"` // act, hold or go on
	More        float64 `json:"more_units_expected"`
	ChanceToAct float64 `json:"chance_it_ends_in_act"`
	Verdict     string  `json:"verdict_if_entered"` // "" without a bed
}

// SampleCurve is what a plan does at one true density.
type SampleCurve struct {
	Level     float64  `json:"level"` // in measure
	Act       float64  `json:"chance_to_act"`
	Units     float64  `json:"units"`
	WaldAct   *float64 `json:"wald_chance_to_act"`
	WaldUnits *float64 `json:"wald_units"`
}

// PrecisionData is how many units a mean (or a share) takes, for machines.
type PrecisionData struct {
	Pest      string          `json:"pest"`
	Bed       string          `json:"bed"`
	Unit      string          `json:"unit"`
	Measure   string          `json:"measure"`
	Precision float64         `json:"precision"`
	Protocol  int             `json:"protocol_units"`
	Clumping  string          `json:"clumping"`
	Sizes     []PrecisionSize `json:"sizes"`
	Lines     []PrecisionLine `json:"lines"`
	Likely    *PrecisionSize  `json:"likely"`

	Advice *PrecisionAdvice `json:"advice"`
}

// PrecisionAdvice is what the line says to the counts so far.
type PrecisionAdvice struct {
	Units   int      `json:"units"`
	Total   int      `json:"total"`
	Stop    string   `json:"stop"`
	StopAt  *int     `json:"stop_at_or_above"`
	Mean    float64  `json:"mean"` // in measure
	Reached *float64 `json:"precision_reached"`
	Own     *float64 `json:"precision_by_these_counts"`
	More    *int     `json:"more_units_expected"`
	Low     *int     `json:"more_units_low"`
	High    *int     `json:"more_units_high"`
}

// PrecisionSize is how many units one density takes.
type PrecisionSize struct {
	Level     float64 `json:"level"` // in measure
	Standard  int     `json:"units_for_standard_error"`
	HalfWidth int     `json:"units_for_half_width"`
}

// PrecisionLine is one row of the line at which a mean is known well enough.
type PrecisionLine struct {
	Units  int  `json:"units"`
	StopAt *int `json:"stop_at_or_above"`
}
