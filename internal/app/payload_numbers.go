package app

// NumbersData is the statistics of one sample, for machines. Some quantities
// do not exist for some samples; Reasons says of each null field why.
type NumbersData struct {
	Counted        string   `json:"counted"`
	N              int      `json:"n"`
	Total          int      `json:"total"`
	Mean           *float64 `json:"mean"`
	Variance       *float64 `json:"variance"`
	Max            int      `json:"max"`
	Zeros          int      `json:"zeros"`
	Infested       *float64 `json:"prop_infested"`
	WilsonLow      *float64 `json:"infested_wilson95_low"`
	WilsonHigh     *float64 `json:"infested_wilson95_high"`
	ExactLow       *float64 `json:"infested_exact95_low"`
	ExactHigh      *float64 `json:"infested_exact95_high"`
	StudentLow     *float64 `json:"mean_t95_low"`
	StudentHigh    *float64 `json:"mean_t95_high"`
	PoissonLow     *float64 `json:"mean_poisson_exact95_low"`
	PoissonHigh    *float64 `json:"mean_poisson_exact95_high"`
	ProfileLow     *float64 `json:"mean_nb_profile95_low"`
	ProfileHigh    *float64 `json:"mean_nb_profile95_high"`
	WaldLow        *float64 `json:"mean_nb_wald95_low"`
	WaldHigh       *float64 `json:"mean_nb_wald95_high"`
	BCaLow         *float64 `json:"mean_bca95_low"`
	BCaHigh        *float64 `json:"mean_bca95_high"`
	OutsideLow     *float64 `json:"mean_outside_k95_low"`
	OutsideHigh    *float64 `json:"mean_outside_k95_high"`
	OutsideK       *float64 `json:"outside_k"`
	OutsideSource  string   `json:"outside_k_source"`
	UseInterval    string   `json:"use_interval"`
	KMoments       *float64 `json:"k_moments"`
	K              *float64 `json:"k_mle"`
	KSE            *float64 `json:"k_mle_se"`
	KReason        string   `json:"k_outcome"` // converged, Poisson limit, no animals, one unit
	NBLogLik       *float64 `json:"nb_loglik"`
	PoissonLogLik  *float64 `json:"poisson_loglik"`
	DispersionChi2 *float64 `json:"dispersion_chisq"`
	DispersionP    *float64 `json:"dispersion_p"`
	Crowding       *float64 `json:"lloyd_mean_crowding"`
	Patchiness     *float64 `json:"lloyd_patchiness"`
	Morisita       *float64 `json:"morisita"`
	Green          *float64 `json:"green_index"`

	ZeroPoisson *float64 `json:"none_found_upper95_poisson"`
	ZeroClumped *float64 `json:"none_found_upper95_clumped"`
	ZeroK       *float64 `json:"none_found_k"`

	OutlierUnit    int      `json:"outlier_unit"`
	OutlierCount   *int     `json:"outlier_count"`
	WithoutOutlier *float64 `json:"mean_without_outlier"`

	Nights   int      `json:"nights"`
	PerNight *float64 `json:"mean_per_night"`

	Presence *PresenceNumbers `json:"presence"`
	Both     *BothNumbers     `json:"counts_and_presence"`

	Words   []string          `json:"words"`
	Reasons map[string]string `json:"null_reasons"`
}

// PresenceNumbers is what a presence sample says.
type PresenceNumbers struct {
	Infested   int            `json:"infested"`
	Looked     int            `json:"looked"`
	From       int            `json:"infested_from"`
	Share      float64        `json:"share"`
	WilsonLow  float64        `json:"wilson95_low"`
	WilsonHigh float64        `json:"wilson95_high"`
	ExactLow   float64        `json:"exact95_low"`
	ExactHigh  float64        `json:"exact95_high"`
	Mean       *float64       `json:"mean_zero_term"`
	Low        *float64       `json:"mean_zero_term95_low"`
	High       *float64       `json:"mean_zero_term95_high"`
	K          *float64       `json:"k"`
	KSource    string         `json:"k_source"`
	Random     *float64       `json:"mean_if_at_random"`
	Clumped    *float64       `json:"mean_if_k_0_3"`
	Line       *KonoPredicted `json:"kono_sugino"`
}

// KonoPredicted is a mean predicted from a share by the farm's own line.
type KonoPredicted struct {
	Visits    int     `json:"visits"`
	A         float64 `json:"a"`
	B         float64 `json:"b"`
	Median    float64 `json:"median"`
	Mean      float64 `json:"mean"`
	Low       float64 `json:"low_95"`
	High      float64 `json:"high_95"`
	VarLn     float64 `json:"var_ln_mean"`
	Sampling  float64 `json:"var_sampling"`
	Residual  float64 `json:"var_residual"`
	Parameter float64 `json:"var_parameter"`
}

// BothNumbers is the mean that counts and a presence sample support together.
type BothNumbers struct {
	Mean float64  `json:"mean"`
	Low  float64  `json:"low_95"`
	High *float64 `json:"high_95"`
}
