package app

import "leafturn/internal/civil"

// RecordsData is what `records` shows: of the kinds that were asked for.
type RecordsData struct {
	Applications []ApplicationData `json:"applications"`
	Releases     []ReleaseData     `json:"releases"`
	Steps        []StepData        `json:"steps"`
	Allowances   []AllowanceData   `json:"allowances"`
}

// ApplicationData is the record of one application.
type ApplicationData struct {
	ID           int64           `json:"id"`
	Product      string          `json:"product"`
	Registration string          `json:"registration"`
	Actives      []string        `json:"actives"`
	Label        string          `json:"label"`
	LabelVersion int             `json:"label_version"`
	Organic      string          `json:"organic_listing"`
	Lot          string          `json:"lot"`
	Farm         string          `json:"farm"`
	Place        string          `json:"place"`
	Bed          string          `json:"bed"`
	Part         string          `json:"part"`
	Site         string          `json:"site"`
	Crop         string          `json:"crop"`
	AreaM2       *float64        `json:"area_m2"`
	Pest         string          `json:"pest"`
	Date         civil.Date      `json:"date"`
	Start        string          `json:"start"`
	End          string          `json:"end"`
	EndKnown     bool            `json:"end_known"`
	Zone         string          `json:"zone"`
	Amount       *float64        `json:"amount"`
	AmountUnit   string          `json:"amount_unit"`
	Rate         *float64        `json:"rate"`
	RateUnit     string          `json:"rate_unit"`
	Spray        *float64        `json:"spray"`
	SprayUnit    string          `json:"spray_unit"`
	Method       string          `json:"method"`
	REIState     string          `json:"rei_state"`
	REIHours     *float64        `json:"rei_hours"`
	REIEnd       string          `json:"rei_end"`
	PHIState     string          `json:"phi_state"`
	PHIDays      *int            `json:"phi_days"`
	CutFrom      civil.Date      `json:"cut_from"`
	Applicator   string          `json:"applicator"`
	Licence      string          `json:"licence"`
	Address      string          `json:"applicator_address"`
	WindMS       *float64        `json:"wind_ms"`
	AirC         *float64        `json:"air_c"`
	Conditions   string          `json:"conditions"`
	Reason       string          `json:"reason"`
	Visit        *int64          `json:"visit"`
	VisitCounts  string          `json:"visit_counts"`
	Tried        []string        `json:"tried_before"`
	Deviations   []DeviationData `json:"deviations"`
	Unjudged     []string        `json:"cannot_be_judged"`
	NotNoted     []string        `json:"no_breach_but"`
	KeepThrough  civil.Date      `json:"keep_through"`
	KeepRules    []string        `json:"keep_rules"`
	Note         string          `json:"note"`
	Entered      string          `json:"entered"`
	VoidedOn     string          `json:"voided_on"`
	VoidReason   string          `json:"void_reason"`
}

// DeviationData is one rule of a label that an application broke.
type DeviationData struct {
	Treatment int64      `json:"treatment"`
	Bed       string     `json:"bed"`
	Product   string     `json:"product"`
	Date      civil.Date `json:"date"`
	Code      string     `json:"code"`
	Text      string     `json:"text"`
	Seen      string     `json:"seen"`
	Next      string     `json:"next"`
}

// ReleaseData is the record of one release of natural enemies.
type ReleaseData struct {
	ID          int64      `json:"id"`
	Date        civil.Date `json:"date"`
	At          string     `json:"at"`
	Bed         string     `json:"bed"`
	Part        string     `json:"part"`
	Agent       string     `json:"agent"`
	Pest        string     `json:"pest"`
	Amount      float64    `json:"amount"`
	Who         string     `json:"who"`
	Visit       *int64     `json:"visit"`
	VisitCounts string     `json:"visit_counts"`
	Note        string     `json:"note"`
	Entered     string     `json:"entered"`
	VoidedOn    string     `json:"voided_on"`
	VoidReason  string     `json:"void_reason"`
}

// StepData is the record of one step that was carried out.
type StepData struct {
	ID         int64      `json:"id"`
	Date       civil.Date `json:"date"`
	Bed        string     `json:"bed"`
	Pest       string     `json:"pest"`
	Step       string     `json:"step"`
	Who        string     `json:"who"`
	Outcome    string     `json:"outcome"`
	Note       string     `json:"note"`
	Entered    string     `json:"entered"`
	VoidedOn   string     `json:"voided_on"`
	VoidReason string     `json:"void_reason"`
}

// AllowanceData is how much of a label's maximum a bed has used.
type AllowanceData struct {
	Bed     string     `json:"bed"`
	Label   string     `json:"label"`
	Product string     `json:"product"`
	Used    int        `json:"used"`
	Max     int        `json:"maximum"`
	Period  string     `json:"period"`
	Again   civil.Date `json:"allowed_again"`
}

// BoardData is the re-entry board at one instant.
type BoardData struct {
	At   string         `json:"at"`
	Beds []BoardBedData `json:"beds"`
}

// BoardBedData is one bed on the re-entry board.
type BoardBedData struct {
	Bed          string             `json:"bed"`
	Closed       bool               `json:"closed"`
	Known        bool               `json:"known"`
	Until        string             `json:"until"`
	CutKnown     bool               `json:"cut_known"`
	CutFrom      civil.Date         `json:"cut_from"`
	Signs        string             `json:"signs"`
	Applications []BoardApplication `json:"applications"`
}

// BoardApplication is one application that is on display.
type BoardApplication struct {
	ID             int64      `json:"id"`
	Product        string     `json:"product"`
	Registration   string     `json:"registration"`
	Actives        []string   `json:"actives"`
	Part           string     `json:"part"`
	CropAndSite    string     `json:"crop_and_site"`
	Start          string     `json:"start"`
	End            string     `json:"end"`
	EndKnown       bool       `json:"end_known"`
	REIState       string     `json:"rei_state"`
	REIHours       *float64   `json:"rei_hours"`
	REIEnd         string     `json:"rei_end"`
	SignsUp        string     `json:"signs_up_from"`
	SignsDown      string     `json:"signs_down_by"`
	DisplayThrough civil.Date `json:"display_through"`
}
