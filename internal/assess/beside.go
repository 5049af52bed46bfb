package assess

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/verdict"
)

// What weighs in a verdict beside the numbers of the pest: damage, suspects of a
// virus, the farm's area, natural enemies, and hot spots.

// orDamage turns a verdict into act where the damage alone calls for it: by
// the level itself, or by a level for the damage that is noted on the same
// visit. Where no animal was found it asks to look for what did it.
func orDamage(in Input, res verdict.Result, r *Reading) verdict.Result {
	d, pct := r.Visit.Damage, 0.0
	if r.Act != nil {
		pct = r.Act.OrDamagePct
	}
	if l, _ := levels(in.Pest.Levels, r.Unit.Damage, in.Stage, in.Holds, in.Today); r.Unit.Damage != "" && l != nil && l.Operator == ">=" && (pct <= 0 || l.Value < pct) {
		pct = l.Value
	}
	if pct <= 0 || d == nil || res.Verdict == verdict.Act || res.Verdict == verdict.Stale {
		return res
	}
	s, err := estimate.Proportion(d.Hurt, d.Looked)
	if err != nil || s.Exceeds(pct/100) < in.actAt() {
		return res
	}
	why := fmt.Sprintf("damage on %d of %d: the level also acts from %g %% damaged", d.Hurt, d.Looked, pct)
	if r.Value == 0 {
		why += fmt.Sprintf(", but no %s were found: look for what did it", in.Pest.Name)
		if res.Verdict == verdict.Hold {
			res.Verdict, res.Rule, res.RecheckInDays = verdict.LookAgain, verdict.RuleDamage, 0
		}
	} else {
		res.Verdict, res.Rule, res.RecheckInDays, res.MoreUnits = verdict.Act, verdict.RuleDamage, in.Pest.EveryDays, 0
	}
	res.Reasons = append(res.Reasons, why)
	return res
}

func nightWords(n int) string {
	if n == 1 {
		return "1 night"
	}
	return fmt.Sprintf("%d nights", n)
}

// suspectWords name the open suspects.
func suspectWords(list []Suspect) string {
	var out []string
	for _, s := range list {
		out = append(out, fmt.Sprintf("the suspect in %s of %s", s.Bed, s.On.Short()))
	}
	return strings.Join(out, ", ")
}

// needsVirus reports whether any level of the pest depends on a virus.
func needsVirus(p Pest) bool {
	return slices.ContainsFunc(p.Levels, func(l Level) bool { return l.Requires == "tospovirus_confirmed" })
}

// NoLevelWords says why there is no level in a unit's measure.
func NoLevelWords(in Input, u Unit) string {
	off := ""
	for _, l := range in.Pest.Levels {
		if l.Measure != u.Measure || l.Transfer || !in.Stage.Between(l.From, l.To) || l.Kind != "act" && l.Kind != "watch" {
			continue
		}
		if met(l.Requires, in.Holds) {
			if !l.InForce(in.Today) && (off == "" || l.Kind == "act") {
				off = fmt.Sprintf("the %s level of %s is in force %s, and today, %s, is outside that", l.Kind, u.Say(fmt.Sprintf("%g", l.Value)), l.SeasonWords, in.Today.Short())
			}
			continue
		}
		switch _, said := in.Holds[l.Requires]; {
		case !said && l.Requires == "tospovirus_confirmed":
			continue
		case said:
			return fmt.Sprintf("the level in %s is for %s, and what is known of your farm says otherwise", u.Words, l.StageWords)
		}
		return "it depends on something of your area that has not been said: leafturn farm set --area " + areaWords(l.Requires)
	}
	if off != "" {
		return off
	}
	return fmt.Sprintf("none is known for dahlias in %s at this stage", u.Words)
}

// areaWords are the answers that a farm may give where a level asks for one.
func areaWords(requires string) string {
	if o := farm.Opposite(requires); o != "" {
		return requires + " (or " + o + ")"
	}
	return requires
}

// verdictLevel puts a level in the terms of the verdict. scale turns a mean
// per unit into the measure.
func verdictLevel(l *Level, u Unit, scale float64) *verdict.Level {
	if l == nil {
		return nil
	}
	v := &verdict.Level{Value: l.Value, Per: scale, Operator: l.Operator, Basis: l.Ref.Basis, Source: l.Ref.Source, Conditions: l.Conditions}
	switch {
	case l.Operator == ">" && l.Value == 0:
		v.Words = "any find"
	case u.Percent:
		v.Words = fmt.Sprintf("%.3g %%", l.Value)
	default:
		v.Words = u.Say(fmt.Sprintf("%.3g", l.Value))
	}
	if l.Transferred() {
		v.Crop = l.Crop
	}
	return v
}

// enemies puts what was counted of natural enemies into the verdict's terms.
func (a *Assessment) enemies(in Input, r *Reading, vin *verdict.Input) {
	for _, e := range in.Pest.Enemies {
		n, counted := r.Visit.EnemyTotal(e.Enemy)
		switch e.Kind {
		case "prey_per_enemy":
			limit := e.Value
			vin.Enemies.HoldAtOrBelow = &limit
			vin.Enemies.Words = e.Name
			vin.Enemies.How = fmt.Sprintf("+%s=NUMBER on the line of the count", e.Enemy)
			if !counted {
				continue
			}
			vin.Enemies.Counted = true
			if n > 0 && r.Density == nil {
				// Scored units give no number of the pest, so no ratio.
				vin.Enemies.HoldAtOrBelow = nil
				vin.Cautions = append(slices.Clone(vin.Cautions), fmt.Sprintf("%d %s were found, but on scored units there is no ratio to judge them by: count the %s as well", n, e.Name, in.Pest.Name))
			}
			if n > 0 && r.Density != nil {
				ratio := r.Density.Mean * float64(r.N) / float64(n)
				if r.Density.Total > 0 && r.Visit.Presence == nil {
					ratio = float64(r.Density.Total) / float64(n)
				}
				vin.Enemies.PreyPerPredator = &ratio
				a.Prey, a.EnemyName, a.EnemyRef = &ratio, e.Name, e.Ref
			}
		case "share_of_infested":
			limit := 100 * e.Value
			vin.Enemies.HoldAtShare = &limit
			vin.Enemies.Words = "natural enemies"
			vin.Enemies.How = fmt.Sprintf("%s: +%s=NUMBER on the line of the count", e.Name, e.Enemy)
			if !counted {
				continue
			}
			vin.Enemies.Counted = true
			if r.Share == nil || r.Share.Infested == 0 {
				continue
			}
			s := 100 * float64(n) / float64(r.Share.Infested)
			if vin.Enemies.SharePct != nil {
				s += *vin.Enemies.SharePct
			}
			s = math.Min(s, 100)
			vin.Enemies.SharePct = &s
			a.EnemyName, a.EnemyRef = "natural enemies", e.Ref
		}
	}
}

// judgeHotSpot lets the latest hot spot of the last round call for spot action,
// by the level of today's stage. What the level asks for besides numbers must
// be there: damage where it asks for damage, and too few natural enemies.
func (a *Assessment) judgeHotSpot(in Input) {
	if len(a.HotSpots) == 0 {
		return
	}
	h := &a.HotSpots[len(a.HotSpots)-1]
	h.Act, h.Watch = levels(in.Pest.Levels, h.Unit.Measure, in.Stage, in.Holds, in.Today)
	if h.Belief != nil {
		h.readOff()
	}
	if !h.Valid() || in.Today.Sub(h.Visit.Date) > in.Pest.StaleDays || h.Act == nil || h.Act.Operator == "none" {
		return
	}
	if a.Decider != nil && a.Decider.Visit.Date.Sub(h.Visit.Date) > SameRound {
		return
	}
	over := h.Value > h.Act.Value || h.Act.Operator == ">=" && h.Value == h.Act.Value
	if need := h.Act.NeedsDamagePct; need > 0 {
		d := h.Visit.Damage
		over = over && d != nil && 100*float64(d.Hurt) >= need*float64(d.Looked)
	}
	if !over || enemiesHold(in, h) {
		return
	}
	a.HotSpotAct = true
	a.Result.SpotAction = true
	a.Result.Reasons = append(a.Result.Reasons, fmt.Sprintf(
		"a hot spot with %s on %d %s is kept out of the mean and treated by itself", h.Unit.Say(fmt.Sprintf("%.3g", h.Value)), h.N, Plural(h.Unit.Label, h.N)))
}

// enemiesHold reports whether the natural enemies in a hot spot are enough
// for it.
func enemiesHold(in Input, h *Reading) bool {
	if in.Holds["tospovirus_confirmed"] && needsVirus(in.Pest) {
		return false
	}
	var vin verdict.Input
	new(Assessment).enemies(in, h, &vin)
	e := vin.Enemies
	return e.PreyPerPredator != nil && e.HoldAtOrBelow != nil && *e.PreyPerPredator <= *e.HoldAtOrBelow ||
		e.SharePct != nil && e.HoldAtShare != nil && *e.SharePct >= *e.HoldAtShare
}
