package app

import (
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/monthplan"
)

// MonthPlanData is the work of the coming weeks.
type MonthPlanData struct {
	From     civil.Date         `json:"from"`
	Through  civil.Date         `json:"through"`
	Slots    []MonthSlotData    `json:"slots"`
	Standing []MonthStandData   `json:"standing"`
	Events   []MonthEventData   `json:"events"`
	Unplaced []MonthNoPlaceData `json:"unplaced"`
	Totals   []MonthTotalData   `json:"totals"`
}

// MonthSlotData is one placed job.
type MonthSlotData struct {
	ID         string      `json:"id"`
	Kind       string      `json:"kind"`
	Bed        string      `json:"bed"`
	Pest       string      `json:"pest"`
	Text       string      `json:"text"`
	Start      string      `json:"start"`
	End        string      `json:"end"`
	Late       bool        `json:"late"`
	If         string      `json:"if"`
	Label      string      `json:"label"`
	AmountMin  *float64    `json:"amount_min"`
	AmountMax  *float64    `json:"amount_max"`
	AmountUnit string      `json:"amount_unit"`
	Left       *int        `json:"applications_left"`
	OpenFrom   *civil.Date `json:"open_from"`
	OpensAt    string      `json:"bed_opens_at"`
	NextFrom   *civil.Date `json:"next_from"`
	UsefulTo   *civil.Date `json:"useful_until"`
	Count      *int        `json:"count"`
	Conditions []string    `json:"conditions"`
	Others     []string    `json:"others"`
	With       []string    `json:"with"`
	Beds       []string    `json:"beds"`
	Why        []string    `json:"why"`
}

// MonthNoPlaceData is a job without a place.
type MonthNoPlaceData struct {
	ID     string      `json:"id"`
	Bed    string      `json:"bed"`
	Pest   string      `json:"pest"`
	Text   string      `json:"text"`
	Why    string      `json:"why"`
	Next   *civil.Date `json:"next"`
	LookUp []string    `json:"look_up"`
}

// MonthStandData is a step that holds all the time.
type MonthStandData struct {
	Bed  string `json:"bed"`
	Pest string `json:"pest"`
	Text string `json:"text"`
}

// MonthEventData is an application that waits for what its label names.
type MonthEventData struct {
	Bed   string      `json:"bed"`
	Pest  string      `json:"pest"`
	Label string      `json:"label"`
	When  string      `json:"when"`
	From  *civil.Date `json:"from"`
	Until *civil.Date `json:"until"`
}

// MonthTotalData is the most of a product that the plan needs.
type MonthTotalData struct {
	Label  string  `json:"label"`
	Amount float64 `json:"amount"`
	Unit   string  `json:"unit"`
}

func dayOrNil(d civil.Date) *civil.Date {
	if d.IsZero() {
		return nil
	}
	return &d
}

func monthPlanData(p monthplan.Plan) MonthPlanData {
	out := MonthPlanData{From: p.From, Through: p.Through, Slots: []MonthSlotData{}, Standing: []MonthStandData{}, Events: []MonthEventData{}, Unplaced: []MonthNoPlaceData{}, Totals: []MonthTotalData{}}
	for _, s := range p.Slots {
		d := MonthSlotData{ID: s.ID, Kind: string(s.Kind), Bed: s.Bed, Pest: s.Pest, Text: s.Text, Start: s.Start.Format(time.RFC3339), End: s.End.Format(time.RFC3339), Late: s.Late, If: s.If,
			Label: s.Label, OpenFrom: dayOrNil(s.OpenFrom), NextFrom: dayOrNil(s.NextFrom), UsefulTo: dayOrNil(s.UsefulTo),
			Conditions: orEmpty(s.Conditions), Others: orEmpty(s.Others), With: orEmpty(s.With), Beds: orEmpty(s.Beds), Why: orEmpty(s.Why)}
		if !s.AmountMin.IsZero() {
			d.AmountMin, d.AmountUnit = &s.AmountMin.Value, s.AmountMin.Unit.Name
		}
		if !s.AmountMax.IsZero() {
			d.AmountMax, d.AmountUnit = &s.AmountMax.Value, s.AmountMax.Unit.Name
		}
		if s.LeftKnown {
			d.Left = &s.Left
		}
		if !s.OpensAt.IsZero() {
			d.OpensAt = s.OpensAt.Format(time.RFC3339)
		}
		if s.Count > 0 {
			d.Count = &s.Count
		}
		out.Slots = append(out.Slots, d)
	}
	for _, t := range p.Standing {
		out.Standing = append(out.Standing, MonthStandData{t.Bed, t.Pest, t.Text})
	}
	for _, e := range p.Events {
		out.Events = append(out.Events, MonthEventData{e.Bed, e.Pest, e.Label, e.When, dayOrNil(e.From), dayOrNil(e.Until)})
	}
	for _, u := range p.Unplaced {
		out.Unplaced = append(out.Unplaced, MonthNoPlaceData{ID: u.ID, Bed: u.Bed, Pest: u.Pest, Text: u.Text, Why: u.Why, Next: dayOrNil(u.Next), LookUp: orEmpty(u.LookUp)})
	}
	for _, t := range p.Totals {
		out.Totals = append(out.Totals, MonthTotalData{Label: t.Label, Amount: t.Amount.Value, Unit: t.Amount.Unit.Name})
	}
	return out
}
