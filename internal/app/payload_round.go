package app

import "leafturn/internal/civil"

// RoundData is the payload of `round`.
type RoundData struct {
	Budget  int         `json:"budget_min"`
	Minutes float64     `json:"minutes"`
	Start   string      `json:"starts"`
	WalkM   float64     `json:"walk_m"`
	Stops   []RoundStop `json:"stops"`
	// MustOut is what must be looked at and does not fit, ShortBy the minutes
	// that it would take more.
	MustOut []RoundLook `json:"must_left_out"`
	ShortBy int         `json:"short_by_min"`
	Dropped []RoundLook `json:"dropped"`
	// Lost is the risk of all that is dropped, Least the least that any choice
	// for the time leaves; Proven says that they are the same.
	Lost     float64       `json:"risk_lost"`
	Least    float64       `json:"risk_least"`
	Proven   bool          `json:"proven_best"`
	FirstOut []RoundLook   `json:"first_out"`
	Closed   []RoundClosed `json:"closed"`
}

// RoundStop is a bed on the walk.
type RoundStop struct {
	Bed     string      `json:"bed"`
	Minutes float64     `json:"done_after_min"`
	Last    bool        `json:"last_for_disease"`
	Looks   []RoundLook `json:"looks"`
}

// RoundLook is one pest to look at in one bed.
type RoundLook struct {
	Bed     string     `json:"bed"`
	Pest    string     `json:"pest"`
	What    string     `json:"what"`
	Minutes float64    `json:"minutes"`
	Nights  int        `json:"nights"`
	By      civil.Date `json:"by"`
	Reason  string     `json:"reason"`
	Chance  *float64   `json:"chance_unseen"`
}

// RoundClosed is a bed that is left out because it is closed for re-entry.
type RoundClosed struct {
	Bed   string `json:"bed"`
	Opens string `json:"opens"`
	Words string `json:"words"`
}
