package app

import (
	"leafturn/internal/civil"
	"leafturn/internal/effect"
	"leafturn/internal/estimate"
)

// WorkedData is the payload of `worked`.
type WorkedData struct {
	Steps     []WorkedStep     `json:"steps"`
	Own       []WorkedOwn      `json:"own"`
	Questions []WorkedQuestion `json:"questions"`
}

// WorkedStep is whether one step worked.
type WorkedStep struct {
	Pest        string       `json:"pest"`
	Step        string       `json:"step"`
	Name        string       `json:"name"`
	Date        civil.Date   `json:"date"`
	Beds        []string     `json:"beds"`
	Counted     []string     `json:"counted"`
	CheckBeds   []string     `json:"check_beds"`
	Unit        string       `json:"unit"`
	Before      *WorkedCells `json:"before"`
	After       *WorkedCells `json:"after"`
	CheckBefore *WorkedCells `json:"check_before"`
	CheckAfter  *WorkedCells `json:"check_after"`
	Method      string       `json:"method"`
	Percent     *float64     `json:"percent"`
	Low         *float64     `json:"low"`
	High        *float64     `json:"high"`
	Missing     string       `json:"missing"`
	CountFrom   civil.Date   `json:"count_from"`
	CountBy     civil.Date   `json:"count_by"`
	Warnings    []string     `json:"warnings"`
	Words       string       `json:"words"`
}

// WorkedCells is animals counted on so many units.
type WorkedCells struct {
	Total float64 `json:"total"`
	Units int     `json:"units"`
}

// WorkedOwn is what the farm's own results say of a step.
type WorkedOwn struct {
	Pest       string  `json:"pest"`
	Step       string  `json:"step"`
	Name       string  `json:"name"`
	Tries      int     `json:"tries"`
	Percent    float64 `json:"percent"`
	Low        float64 `json:"low"`
	High       float64 `json:"high"`
	Compared   bool    `json:"compared"`
	PassedOver bool    `json:"passed_over"`
}

// WorkedQuestion asks whether a pest resists a mode of action.
type WorkedQuestion struct {
	Pest  string       `json:"pest"`
	Group string       `json:"group"`
	Days  []civil.Date `json:"days"`
	Words string       `json:"words"`
}

func workedStep(pest string, r effect.Result) WorkedStep {
	cells := func(c estimate.Cell) *WorkedCells {
		if c.Units == 0 {
			return nil
		}
		return &WorkedCells{c.Total, c.Units}
	}
	w := WorkedStep{
		Pest: pest, Step: r.Key, Name: r.Name, Date: r.Date, Beds: r.Beds, Counted: orEmpty(r.Counted), CheckBeds: orEmpty(r.CheckBeds), Unit: r.Unit,
		Before: cells(r.Before), After: cells(r.After), CheckBefore: cells(r.CheckBefore), CheckAfter: cells(r.CheckAfter),
		Method: string(r.Method), Missing: r.Missing, CountFrom: r.CountFrom, CountBy: r.CountBy, Warnings: orEmpty(r.Warnings), Words: r.Words(),
	}
	if r.Known() {
		w.Percent, w.Low, w.High = finite(r.Efficacy.Percent), finite(r.Efficacy.Low), finite(r.Efficacy.High)
	}
	return w
}
