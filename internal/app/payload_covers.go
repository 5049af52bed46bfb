package app

import (
	"leafturn/internal/civil"
	"leafturn/internal/cover"
)

// PressureTerm is one pest's part of the points of a cover in a bed.
type PressureTerm struct {
	Pest      string   `json:"pest"`
	Crop      string   `json:"crop"`
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
		Pest: t.Pest, Crop: t.Crop, State: string(t.State), Direction: e.Direction, Evidence: e.Grade, Weight: t.Weight, Points: t.Points,
		Contested: e.Disputed(), Basis: Basis{Basis: e.Basis, Source: e.Source, URL: e.URL, Note: e.Note},
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

// CoverSeed is the seed of one crop of a choice.
type CoverSeed struct {
	Cover    string   `json:"cover"`
	SeedKg   *float64 `json:"seed_kg"`
	RateKgHa *float64 `json:"rate_kg_per_ha"`
	Share    float64  `json:"share"`
}

// CoverChoice is a cover chosen for a window of a bed.
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
	Sowings      int            `json:"sowings"`
	Seeds        []CoverSeed    `json:"seeds"`
	Points       float64        `json:"points"`
	Spread       float64        `json:"points_sd"`
	Benefit      float64        `json:"benefit_points"`
	SoilPoints   float64        `json:"soil_points"`
	CostUSD      *float64       `json:"seed_cost_usd"`
	CostPoints   float64        `json:"cost_points"`
	WorkPoints   float64        `json:"work_points"`
	FamilyPoints float64        `json:"family_points"`
	RestPoints   float64        `json:"rest_points"`
	BarePoints   float64        `json:"bare_points"`
	Anecdote     float64        `json:"anecdote_points"`
	Terms        []PressureTerm `json:"terms"`
	Reasons      []CoverReason  `json:"reasons"`
}

func coverChoiceData(c cover.Cell) CoverChoice {
	s := c.Score
	d := CoverChoice{
		Cover: coverID(c), Points: c.Value, Spread: s.SD, Benefit: s.Benefit, SoilPoints: s.SoilPts, CostPoints: s.CostPts, WorkPoints: s.WorkPts, FamilyPoints: s.FamilyPts,
		RestPoints: s.RestPts, BarePoints: s.BarePts, Anecdote: s.AnecdotePts, Terms: termsData(s.Terms), Reasons: reasonsData(c.Fit.Reasons), Seeds: []CoverSeed{},
	}
	if c.Key == cover.None {
		return d
	}
	x, f := c.Option, c.Fit.Choice
	d.Name, d.Latin, d.Family, d.Rested = x.Crop.Name, x.Crop.Latin, x.Crop.Family, x.Rest
	d.Sow, d.Ready, d.Kill, d.Plant, d.Sowings = f.Sow, f.Ready, f.Kill, f.Plant, len(f.Sowings)
	for _, p := range c.Seeds {
		seed := CoverSeed{Cover: p.Crop.ID, Share: p.Share}
		if p.OK {
			seed.SeedKg, seed.RateKgHa = &p.Seed.Kg, &p.Seed.KgHa
		}
		d.Seeds = append(d.Seeds, seed)
	}
	if s.CostKnown {
		d.CostUSD = &s.CostUSD
	}
	return d
}

// CoverAlternative is a next best use of a bed.
type CoverAlternative struct {
	Winter    string   `json:"winter"`
	Rest      string   `json:"rest"`
	Name      string   `json:"name"`
	Points    float64  `json:"points"`
	GivesUp   float64  `json:"gives_up_points"`
	AtLeast   bool     `json:"at_least"`
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

// CoverPressure is how hard a pest is taken to press on a bed.
type CoverPressure struct {
	Pest     string   `json:"pest"`
	Pressure *float64 `json:"pressure"`
	SD       *float64 `json:"sd"`
	Field    bool     `json:"field"`
	Why      string   `json:"why"`
}

// CoverBed is the plan of one bed.
type CoverBed struct {
	Bed          string             `json:"bed"`
	Free         civil.Date         `json:"free"`
	Plant        civil.Date         `json:"plant"`
	Winter       CoverChoice        `json:"winter"`
	Rest         CoverChoice        `json:"rest"`
	Untreated    bool               `json:"untreated"`
	Alternatives []CoverAlternative `json:"alternatives"`
	Options      []CoverOption      `json:"options"`
	Pressures    []CoverPressure    `json:"pressures"`
	Unknown      []string           `json:"unknown"`
	Notes        []string           `json:"notes"`
}

// CoverBinding is a rule and what it costs.
type CoverBinding struct {
	Rule   string  `json:"rule"`
	From   string  `json:"from"`
	Points float64 `json:"points"`
	AtMost bool    `json:"at_most"`
	Pin    bool    `json:"pin"`
}

// CoverPlanData is the plan of all beds.
type CoverPlanData struct {
	Stored       bool           `json:"stored"`
	Total        float64        `json:"total_points"`
	Alike        float64        `json:"alike_points"`
	Bound        float64        `json:"bound_points"`
	Gap          float64        `json:"gap_points"`
	Proved       bool           `json:"proved"`
	NextRest     float64        `json:"one_more_rested_points"`
	Combinations *int           `json:"combinations"`
	Proof        string         `json:"proof"`
	Rested       []string       `json:"rested"`
	Bare         []string       `json:"bare"`
	Spent        float64        `json:"seed_cost_usd"`
	Lots         []string       `json:"lots"`
	Rules        []CoverBinding `json:"rules"`
	Beds         []CoverBed     `json:"beds"`
	Works        []CoverWork    `json:"works"`
	SeedList     CoverSeedList  `json:"seed_list"`
}

// coverID is the cover's key without the mark of a rest year, which stands in
// a field of its own.
func coverID(c cover.Cell) string {
	if c.Key == cover.None {
		return cover.None
	}
	return c.Option.Crop.ID
}

func coverPlanData(in coverPlan, p cover.Plan, stored bool) CoverPlanData {
	d := CoverPlanData{
		Stored: stored, Total: p.Total, Alike: p.Alike, Bound: p.Bound, Gap: p.Gap, Proved: p.Proved, NextRest: p.NextRest,
		Combinations: orNil(p.Combinations), Proof: p.Proof, Rested: orEmpty(p.Rested), Bare: orEmpty(p.Bare), Spent: p.Spent, Lots: orEmpty(p.Lots),
		Rules: []CoverBinding{}, Beds: []CoverBed{},
	}
	for _, b := range p.Binding {
		d.Rules = append(d.Rules, CoverBinding{b.Rule, b.From, b.Gain, b.AtMost, b.Pin})
	}
	for _, b := range p.Beds {
		x := CoverBed{
			Bed: b.Bed, Winter: coverChoiceData(b.Winter), Rest: coverChoiceData(b.Rest), Untreated: b.Untreated, Alternatives: []CoverAlternative{}, Options: []CoverOption{},
			Pressures: []CoverPressure{}, Unknown: orEmpty(b.Unknown), Notes: orEmpty(b.Notes),
		}
		for _, bed := range in.beds {
			if bed.Code == b.Bed {
				x.Free, x.Plant = bed.FreeFrom, bed.PlantBy
				for _, q := range bed.Pressure {
					y := CoverPressure{Pest: q.Pest, Field: q.Field, Why: q.Why}
					if q.Known {
						y.Pressure, y.SD = &q.Score, &q.SD
					}
					x.Pressures = append(x.Pressures, y)
				}
			}
		}
		for _, a := range b.Alternatives {
			x.Alternatives = append(x.Alternatives, CoverAlternative{
				Winter: coverID(a.Winter), Rest: coverID(a.Rest), Name: useName(a.Winter, a.Rest), Points: a.Winter.Value + a.Rest.Value,
				GivesUp: a.GivesUp, AtLeast: a.AtLeast, Displaces: orEmpty(a.Displace),
			})
		}
		for k, c := range b.Cells {
			if c.Key == cover.None && k > 0 {
				continue // once is enough: it stands in both windows
			}
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
			Risk: r.Risk, Contested: r.Contested, Worse: termsData(r.Worse), Basis: Basis{Basis: e.Basis, Source: e.Source, URL: e.URL, Note: e.Note},
		}
		if r.Known {
			d.Score, d.Points = &e.Score, &r.Value
		}
		out = append(out, d)
	}
	return out
}
