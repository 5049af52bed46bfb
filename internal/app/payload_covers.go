package app

import (
	"leafturn/internal/civil"
	"leafturn/internal/cover"
)

// PressureTerm is one pest's part of the points of a cover in a bed.
type PressureTerm struct {
	Pest      string   `json:"pest"`
	State     string   `json:"state"`
	Pressure  *float64 `json:"pressure"`
	Direction string   `json:"direction"`
	Score     *int     `json:"score"`
	Evidence  string   `json:"evidence"`
	Weight    float64  `json:"weight"`
	Points    float64  `json:"points"`
	Contested bool     `json:"contested"`
	Basis
}

func termData(t cover.Term) PressureTerm {
	e := t.Effect
	d := PressureTerm{
		Pest: t.Pest, State: string(t.State), Direction: e.Direction, Evidence: e.Grade, Weight: t.Weight, Points: t.Points,
		Contested: e.Disputed(), Basis: Basis{Basis: e.Basis, Source: e.Source, Note: e.Note},
	}
	if t.State == cover.IsCounted || t.Pressure > 0 {
		d.Pressure = &t.Pressure
	}
	if t.State != cover.EffectUnknown {
		d.Score = &e.Score
	}
	return d
}

func termsData(ts []cover.Term) []PressureTerm {
	out := []PressureTerm{}
	for _, t := range ts {
		out = append(out, termData(t))
	}
	return out
}

// CoverReason is a rule that refused a cover, or what to know of it.
type CoverReason struct {
	Rule string `json:"rule"`
	Kind string `json:"kind"`
	Text string `json:"text"`
}

func reasonsData(rs []cover.Reason) []CoverReason {
	out := []CoverReason{}
	for _, r := range rs {
		out = append(out, CoverReason{r.Rule, string(r.Kind), r.Text})
	}
	return out
}

// CoverChoice is the cover chosen for a bed.
type CoverChoice struct {
	Cover        string         `json:"cover"`
	Name         string         `json:"name"`
	Latin        string         `json:"latin"`
	Family       string         `json:"family"`
	Rested       bool           `json:"rested"`
	Sow          civil.Date     `json:"sow"`
	Ready        civil.Date     `json:"ready"`
	Kill         civil.Date     `json:"kill"`
	Plant        civil.Date     `json:"plant"`
	SeedKg       *float64       `json:"seed_kg"`
	RateKgHa     *float64       `json:"rate_kg_per_ha"`
	Points       float64        `json:"points"`
	Benefit      float64        `json:"benefit_points"`
	CostUSD      *float64       `json:"seed_cost_usd"`
	CostPoints   float64        `json:"cost_points"`
	FamilyPoints float64        `json:"family_points"`
	RestPoints   float64        `json:"rest_points"`
	Terms        []PressureTerm `json:"terms"`
	Reasons      []CoverReason  `json:"reasons"`
}

func choiceData(c cover.Cell) CoverChoice {
	d := CoverChoice{
		Cover: c.Key, Points: c.Value, Benefit: c.Score.Benefit, CostPoints: c.Score.CostPts, FamilyPoints: c.Score.FamilyPts,
		RestPoints: c.Score.RestPts, Terms: termsData(c.Score.Terms), Reasons: reasonsData(c.Fit.Reasons),
	}
	if c.Key == cover.None {
		return d
	}
	x, f := c.Option, c.Fit.Choice
	d.Cover, d.Name, d.Latin, d.Family, d.Rested = x.Crop.ID, x.Crop.Name, x.Crop.Latin, x.Crop.Family, x.Rest
	d.Sow, d.Ready, d.Kill, d.Plant = f.Sow, f.Ready, f.Kill, f.Plant
	if c.SeedOK {
		d.SeedKg, d.RateKgHa = &c.Seed.Kg, &c.Seed.KgHa
	}
	if c.Score.CostKnown {
		d.CostUSD = &c.Score.CostUSD
	}
	return d
}

// CoverAlternative is the next best choice for a bed.
type CoverAlternative struct {
	Cover     string   `json:"cover"`
	Name      string   `json:"name"`
	Rested    bool     `json:"rested"`
	Points    float64  `json:"points"`
	GivesUp   float64  `json:"gives_up_points"`
	Displaces []string `json:"displaces"`
}

// CoverOption is one way to use a bed that was looked at.
type CoverOption struct {
	Cover   string        `json:"cover"`
	Rested  bool          `json:"rested"`
	Allowed bool          `json:"allowed"`
	Points  *float64      `json:"points"`
	Reasons []CoverReason `json:"reasons"`
}

// CoverBed is the plan of one bed.
type CoverBed struct {
	Bed          string             `json:"bed"`
	Chosen       CoverChoice        `json:"chosen"`
	Alternatives []CoverAlternative `json:"alternatives"`
	Options      []CoverOption      `json:"options"`
	Unknown      []string           `json:"unknown"`
	Notes        []string           `json:"notes"`
}

// CoverPlanData is the plan of all beds.
type CoverPlanData struct {
	Dig          civil.Date `json:"dig"`
	Plant        civil.Date `json:"plant"`
	Stored       bool       `json:"stored"`
	Total        float64    `json:"total_points"`
	Bound        float64    `json:"bound_points"`
	Gap          float64    `json:"gap_points"`
	NextRest     float64    `json:"one_more_rested_points"`
	Combinations *int       `json:"combinations"`
	Proof        string     `json:"proof"`
	Rested       []string   `json:"rested"`
	Beds         []CoverBed `json:"beds"`
}

// coverID is the cover's key without the mark of a rest year, which stands in
// a field of its own.
func coverID(c cover.Cell) string {
	if c.Key == cover.None {
		return cover.None
	}
	return c.Option.Crop.ID
}

func coverPlanData(p cover.Plan, dig, plant civil.Date, stored bool) CoverPlanData {
	d := CoverPlanData{
		Dig: dig, Plant: plant, Stored: stored, Total: p.Total, Bound: p.Bound, Gap: p.Gap, NextRest: p.NextRest,
		Combinations: orNil(p.Combinations), Proof: p.Proof, Rested: orEmpty(p.Rested), Beds: []CoverBed{},
	}
	for _, b := range p.Beds {
		x := CoverBed{
			Bed: b.Bed, Chosen: choiceData(b.Chosen), Alternatives: []CoverAlternative{}, Options: []CoverOption{},
			Unknown: orEmpty(b.Unknown), Notes: orEmpty(b.Notes),
		}
		for _, a := range b.Alternatives {
			x.Alternatives = append(x.Alternatives, CoverAlternative{
				Cover: coverID(a.Cell), Name: a.Cell.Option.Crop.Name, Rested: a.Cell.Option.Rest, Points: a.Cell.Value, GivesUp: a.GivesUp, Displaces: orEmpty(a.Displace),
			})
		}
		for _, c := range b.Cells {
			o := CoverOption{Cover: coverID(c), Rested: c.Option.Rest, Allowed: c.Allowed, Reasons: reasonsData(c.Fit.Reasons)}
			if c.Allowed {
				o.Points = &c.Value
			}
			x.Options = append(x.Options, o)
		}
		d.Beds = append(d.Beds, x)
	}
	return d
}

// CoverRank is one cover's standing against one pest.
type CoverRank struct {
	Cover     string         `json:"cover"`
	Name      string         `json:"name"`
	Latin     string         `json:"latin"`
	Rested    bool           `json:"rested"`
	Known     bool           `json:"known"`
	Direction string         `json:"direction"`
	Score     *int           `json:"score"`
	Evidence  string         `json:"evidence"`
	Points    *float64       `json:"points"`
	Risk      float64        `json:"risk_points"`
	Contested bool           `json:"contested"`
	Worse     []PressureTerm `json:"worse"`
	Basis
}

func ranksData(rs []cover.Ranked) []CoverRank {
	out := []CoverRank{}
	for _, r := range rs {
		c, e := r.Option.Crop, r.Effect
		d := CoverRank{
			Cover: c.ID, Name: c.Name, Latin: c.Latin, Rested: r.Option.Rest, Known: r.Known, Direction: e.Direction, Evidence: e.Grade,
			Risk: r.Risk, Contested: r.Contested, Worse: termsData(r.Worse), Basis: Basis{Basis: e.Basis, Source: e.Source, Note: e.Note},
		}
		if r.Known {
			d.Score, d.Points = &e.Score, &r.Value
		}
		out = append(out, d)
	}
	return out
}
