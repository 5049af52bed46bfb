package app

import (
	"strings"

	"leafturn/internal/companion"
)

// CompanionEffect is what a plant does to one pest.
type CompanionEffect struct {
	Pest      string   `json:"pest"`
	Role      string   `json:"role"`
	Enemies   string   `json:"enemies"`
	Score     int      `json:"score"`
	Cited     string   `json:"evidence_cited"`
	Evidence  string   `json:"evidence"`
	CapReason string   `json:"cap_reason"`
	Pressure  *float64 `json:"pressure"`
	Points    float64  `json:"points"`
	Contested bool     `json:"contested"`
	Risk      string   `json:"risk"`
	Basis
}

// CompanionPlant is one suggestion.
type CompanionPlant struct {
	Plant       string            `json:"plant"`
	Latin       string            `json:"latin"`
	Family      string            `json:"family"`
	Verdict     string            `json:"verdict"`
	Points      float64           `json:"points"`
	Help        float64           `json:"help_points"`
	Harm        float64           `json:"harm_points"`
	Virus       float64           `json:"virus_points"`
	Evidence    string            `json:"best_evidence"`
	Viruses     []string          `json:"viruses"`
	Contested   bool              `json:"contested"`
	Warnings    []string          `json:"warnings"`
	Roles       []string          `json:"roles"`
	Placement   string            `json:"placement"`
	SowWindow   string            `json:"sow_window"`
	BloomWindow string            `json:"bloom_window"`
	Effects     []CompanionEffect `json:"effects"`
}

// CompanionPest is the answer for one pest.
type CompanionPest struct {
	Pest     string   `json:"pest"`
	Pressure float64  `json:"pressure"`
	Evidence string   `json:"best_evidence"`
	Plants   []string `json:"plants"`
	Text     string   `json:"text"`
}

// CompanionsData is what companion plants can do for the farm.
type CompanionsData struct {
	Answer string           `json:"answer"`
	Pests  []CompanionPest  `json:"pests"`
	Plants []CompanionPlant `json:"plants"`
}

func companionsData(a companion.Advice) CompanionsData {
	d := CompanionsData{Answer: a.Answer, Pests: []CompanionPest{}, Plants: []CompanionPlant{}}
	for _, p := range a.Pests {
		d.Pests = append(d.Pests, CompanionPest{p.Pest, p.Pressure, p.Best, orEmpty(p.Plants), p.Text})
	}
	for _, g := range a.Suggestions {
		x := CompanionPlant{
			Plant: g.Plant, Latin: g.Latin, Family: g.Family, Verdict: string(g.Verdict), Points: g.Value, Help: g.Help, Harm: g.Harm, Virus: g.Virus,
			Evidence: g.BestGrade, Viruses: orEmpty(g.Viruses), Contested: g.Contested, Warnings: orEmpty(g.Warnings), Roles: orEmpty(g.Roles),
			Placement: g.Placement, SowWindow: g.SowWindow, BloomWindow: g.BloomWindow, Effects: []CompanionEffect{},
		}
		for _, e := range g.Effects {
			r := e.Row
			y := CompanionEffect{
				Pest: r.Pest, Role: r.Role, Enemies: r.Enemies, Score: r.Score, Cited: r.Grade, Evidence: e.Grade, CapReason: r.CapReason,
				Points: e.Points, Contested: r.Contested || strings.Contains(r.Note+r.Risk, "CONTESTED"), Risk: r.Risk, Basis: Basis{r.Basis, r.Source, r.URL, r.Note},
			}
			if e.Counted {
				y.Pressure = &e.Pressure
			}
			x.Effects = append(x.Effects, y)
		}
		d.Plants = append(d.Plants, x)
	}
	return d
}
