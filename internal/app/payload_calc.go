package app

import "leafturn/internal/civil"

// ClumpingData is the payload of `calc clumping`.
type ClumpingData struct {
	Pest       string            `json:"pest"`
	Unit       string            `json:"unit"`
	Samples    []ClumpingSample  `json:"samples"`
	LeftOut    int               `json:"left_out"`
	Taylor     *TaylorFit        `json:"taylor"`
	Iwao       *IwaoFit          `json:"iwao"`
	CommonK    *CommonKFit       `json:"common_k"`
	Kono       *KonoFit          `json:"kono_sugino"`
	Prediction *KonoPredicted    `json:"prediction"`
	Curve      []ShareAtMean     `json:"share_at_mean"`
	Words      []string          `json:"words"`
	Reasons    map[string]string `json:"null_reasons"`
}

// ClumpingSample is one visit or line of counts.
type ClumpingSample struct {
	Name     string   `json:"name"`
	N        int      `json:"n"`
	Mean     float64  `json:"mean"`
	Variance *float64 `json:"variance"`
	Infested float64  `json:"prop_infested"`
}

// TaylorFit is Taylor's power law.
type TaylorFit struct {
	Points         int      `json:"points"`
	Dropped        int      `json:"dropped"`
	A              float64  `json:"a"`
	B              float64  `json:"b"`
	LnA            float64  `json:"ln_a"`
	SELnA          float64  `json:"se_ln_a"`
	SEB            float64  `json:"se_b"`
	R2             float64  `json:"r2"`
	MSE            float64  `json:"mse"`
	Thin           bool     `json:"thin"`
	PoissonDensity *float64 `json:"poisson_density"`
}

// IwaoFit is Iwao's patchiness regression.
type IwaoFit struct {
	Points  int     `json:"points"`
	Dropped int     `json:"dropped"`
	Alpha   float64 `json:"alpha"`
	Beta    float64 `json:"beta"`
	SEAlpha float64 `json:"se_alpha"`
	SEBeta  float64 `json:"se_beta"`
	R2      float64 `json:"r2"`
}

// CommonKFit is one k over samples that each have their own mean.
type CommonKFit struct {
	K             *float64 `json:"k"`
	SE            *float64 `json:"se"`
	Outcome       string   `json:"outcome"`
	LogLik        float64  `json:"loglik"`
	PoissonLogLik float64  `json:"poisson_loglik"`
}

// KonoFit is the line of ln mean on ln(-ln(1 - share)).
type KonoFit struct {
	Points  int     `json:"points"`
	Dropped int     `json:"dropped"`
	A       float64 `json:"a"`
	B       float64 `json:"b"`
	SEA     float64 `json:"se_a"`
	SEB     float64 `json:"se_b"`
	R2      float64 `json:"r2"`
	MSE     float64 `json:"mse"`
}

// ShareAtMean is the share of units infested at a mean.
type ShareAtMean struct {
	Mean   float64  `json:"mean"`
	Taylor *float64 `json:"share_by_taylor"`
	K      *float64 `json:"share_by_common_k"`
}

// PestDaysData is the payload of `calc pest-days`.
type PestDaysData struct {
	Bed     string         `json:"bed"`
	Pest    string         `json:"pest"`
	Measure string         `json:"measure"`
	Steps   []PestDaysStep `json:"steps"`
	Total   float64        `json:"total"`
	Words   []string       `json:"words"`
}

// PestDaysStep is one reading and the pest-days since the one before.
type PestDaysStep struct {
	Date  civil.Date `json:"date"`
	Mean  float64    `json:"mean"`
	Days  int        `json:"days"`
	Step  float64    `json:"pest_days"`
	Sum   float64    `json:"cumulative"`
	Gap   bool       `json:"bridged_gap"`
	Twice bool       `json:"averaged"`
}

// GrowthData is the payload of `calc growth`.
type GrowthData struct {
	Bed      string            `json:"bed"`
	Pest     string            `json:"pest"`
	Counts   int               `json:"counts"`
	Dates    int               `json:"dates"`
	First    civil.Date        `json:"first"`
	Last     civil.Date        `json:"last"`
	Factor   float64           `json:"factor_per_week"`
	Low      *float64          `json:"low_95"`
	High     *float64          `json:"high_95"`
	Doubling *float64          `json:"doubling_days"`
	Bends    bool              `json:"bends"`
	NB       GrowthFit         `json:"negative_binomial"`
	Poisson  GrowthFit         `json:"poisson"`
	Words    []string          `json:"words"`
	Reasons  map[string]string `json:"null_reasons"`
}

// GrowthFit is one regression of counts on weeks.
type GrowthFit struct {
	Intercept    float64  `json:"intercept"`
	SEIntercept  float64  `json:"se_intercept"`
	Slope        float64  `json:"slope_per_week"`
	SESlope      float64  `json:"se_slope"`
	WaldLow      *float64 `json:"slope_wald95_low"`
	WaldHigh     *float64 `json:"slope_wald95_high"`
	ProfileLow   *float64 `json:"slope_profile95_low"`
	ProfileHigh  *float64 `json:"slope_profile95_high"`
	K            *float64 `json:"k"`
	SEK          *float64 `json:"se_k"`
	LogLik       float64  `json:"loglik"`
	Deviance     float64  `json:"deviance"`
	NullDeviance *float64 `json:"null_deviance"`
	AIC          float64  `json:"aic"`
	Pearson      float64  `json:"pearson_dispersion"`
}

// EfficacyData is the payload of `calc efficacy`.
type EfficacyData struct {
	Method      string      `json:"method"`
	Cells       []CellCount `json:"cells"`
	Percent     float64     `json:"percent"`
	Low         *float64    `json:"low_95"`
	High        *float64    `json:"high_95"`
	ProfileLow  *float64    `json:"profile_low_95"`
	ProfileHigh *float64    `json:"profile_high_95"`
	SE          *float64    `json:"se_ln_ratio"`
	K           *float64    `json:"k"`
	KSource     string      `json:"k_source"`
	Adjusted    bool        `json:"zero_adjusted"`
	Words       []string    `json:"words"`
}

// CellCount is animals on so many units, or dead of so many.
type CellCount struct {
	Name  string `json:"name"`
	Total int    `json:"total"`
	Units int    `json:"units"`
}

// InjuryData is the payload of `calc injury-level`.
type InjuryData struct {
	Cost       float64  `json:"cost"`
	Loss       float64  `json:"loss"`
	Area       string   `json:"area"`
	Value      float64  `json:"value"`
	Injury     float64  `json:"injury"`
	Prevented  float64  `json:"prevented"`
	Level      float64  `json:"injury_level"`
	RatePerDay *float64 `json:"growth_per_day"`
	LeadDays   *float64 `json:"lead_days"`
	ActAt      *float64 `json:"act_level"`
	Words      []string `json:"words"`
}

// LifeTableData is the payload of `calc life-table`.
type LifeTableData struct {
	Classes    []LifeTableClass `json:"classes"`
	R0         float64          `json:"r0"`
	R          float64          `json:"rate"`
	Lambda     float64          `json:"times"`
	Doubling   *float64         `json:"doubling"`
	Generation *float64         `json:"generation"`
	Mothers    float64          `json:"mothers_age"`
	Words      []string         `json:"words"`
}

// LifeTableClass is one age class.
type LifeTableClass struct {
	Age       float64 `json:"age"`
	Alive     float64 `json:"alive"`
	Daughters float64 `json:"daughters"`
}
