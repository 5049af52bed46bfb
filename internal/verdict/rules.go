package verdict

import (
	"math"

	"leafturn/internal/estimate"
)

// gates judges what an action level asks for beside numbers: Act when all of
// it is there, Hold when some of it is clearly not, LookAgain when nobody
// looked or too few parts were looked at.
func (d *decider) gates() (Verdict, string) {
	in := &d.in
	out, rule := Act, RuleOver
	if need := in.Damage.NeedsPct; need != nil {
		name := in.Damage.Words
		if name == "" {
			name = "damage"
		}
		s, err := estimate.Proportion(in.Damage.Hurt, in.Damage.Looked)
		if !number(*need) {
			d.say("the level asks for %s, and how much of it is not a number: correct it", name)
			out, rule = LookAgain, RuleDamage
		} else if err != nil {
			d.say("the level asks for %s on at least %s %% as well, and nobody looked: look before acting", name, num(*need))
			out, rule = LookAgain, RuleDamage
		} else {
			p := s.Exceeds(*need / 100)
			d.say("%s on %d of %d (%s); the level asks for %s %% (chance %s)", name, s.Infested, s.Looked, pct(s.P), num(*need), in.whole(p))
			switch {
			case p < in.HoldBelow:
				return Hold, RuleDamage
			case p < in.ActAt:
				d.r.MoreUnits = moreShare(s, *need/100, in)
				out, rule = LookAgain, RuleDamage
			}
		}
	}
	if c := in.Confirm; c != nil {
		switch {
		case c.Seen == nil:
			how := c.Words
			if c.How != "" {
				how += ": " + c.How
			}
			d.say("look again to confirm what it is; look first for %s", how)
			return LookAgain, RuleConfirm
		case !*c.Seen:
			d.say("without %s the cause is something else: do not act against %s", c.Words, in.pest())
			return Hold, RuleConfirm
		}
	}
	return out, rule
}

// enemiesHold sets a hold where natural enemies are enough.
func (d *decider) enemiesHold() bool {
	in, e := &d.in, &d.in.Enemies
	ratioRule := e.HoldAtOrBelow != nil && number(*e.HoldAtOrBelow)
	shareRule := e.HoldAtShare != nil && number(*e.HoldAtShare)
	if !ratioRule && !shareRule {
		return false
	}
	name := e.Words
	if name == "" {
		name = "natural enemies"
	}
	if in.VirusConfirmed {
		d.say("a virus that %s carry is confirmed: %s cannot hold them in time", in.pest(), name)
		return false
	}
	if !e.Counted {
		how := ""
		if e.How != "" {
			how = " (" + e.How + ")"
		}
		d.say("%s were not counted, so they cannot hold: count them before anything that could kill them%s", name, how)
		return false
	}
	hold := false
	if ratioRule {
		switch r := e.PreyPerPredator; {
		case r == nil || math.IsNaN(*r) || *r < 0:
			d.say("no %s found", name)
		case *r <= *e.HoldAtOrBelow:
			hold = true
			d.say("%s to each of the %s; %s or fewer holds", in.ratio(*r), name, num(*e.HoldAtOrBelow))
		default:
			d.say("%s to each of the %s; more than %s is too many for them", in.ratio(*r), name, num(*e.HoldAtOrBelow))
		}
	}
	if shareRule && e.SharePct != nil {
		switch {
		case *e.SharePct >= *e.HoldAtShare && !in.Doubling:
			hold = true
			d.say("%s in %s of colonies; %s %% or more holds while numbers do not double", name, pct(*e.SharePct/100), num(*e.HoldAtShare))
		case *e.SharePct >= *e.HoldAtShare:
			d.say("%s in %s of colonies, but the pest has doubled between visits", name, pct(*e.SharePct/100))
		default:
			d.say("%s in %s of colonies; %s %% is needed to hold", name, pct(*e.SharePct/100), num(*e.HoldAtShare))
		}
	}
	if hold {
		d.set(Hold, RuleEnemies, enemyDays)
		d.say("recount in 5 to 7 days")
	}
	return hold
}

// found is the number of animals or of infested units, at least 1 where any was
// seen.
func (d *decider) found() int {
	if s := d.in.Share; s != nil {
		return s.Infested
	}
	if n := d.in.Density.Total; n > 0 || d.in.Density.PropInfested == 0 {
		return n
	}
	return 1
}

// anyFind decides where one find is enough, as for diseases to be rogued.
func (d *decider) anyFind() {
	in := &d.in
	if d.found() > 0 {
		d.r.Chance = 1
		d.say("the action level is %s: any find acts", in.Act.words(in, in.Share != nil))
		gate, rule := d.gates()
		if gate == Act {
			rule = RuleFound
		}
		d.set(gate, rule, in.RecheckDays)
		return
	}
	d.notFound()
}

// notFound decides where one find would matter and there was none.
func (d *decider) notFound() {
	in := &d.in
	looked := in.N
	if in.Share != nil {
		looked = in.Share.Looked
	}
	if in.Whole {
		d.say("none in %s, and that is all there are", in.many(looked))
		d.set(Hold, RuleUnder, d.recheck())
		return
	}
	// The chance of a share above the tolerated one stands for the chance of a miss.
	up, err := estimate.ZeroShareUpper(looked, 0.95)
	if err != nil {
		up = 1
	}
	none := estimate.Share{Looked: looked}
	if !in.Act.none() {
		d.r.Chance = none.Exceeds(in.MissPct / 100)
	}
	d.say("none in %s: up to %s could still be infested (95 %%)", in.many(looked), pct(up))
	if up*100 <= in.MissPct+1e-9 {
		d.set(Hold, RuleUnder, d.recheck())
		return
	}
	d.set(LookAgain, RuleNotFound, in.RecheckDays)
	if n, err := estimate.UnitsToDetect(in.MissPct/100, 0.95, 0); err == nil && n > looked {
		d.r.MoreUnits = n - looked
	}
	d.say("a sample cannot rule it out: walk the whole block")
}

func (d *decider) hotSpot(s Spot) {
	// Where a share is measured the level says nothing of numbers in one spot.
	a := d.in.Act
	d.r.SpotAction = !a.none() && (d.in.Share != nil || s.Mean >= a.perUnit(false))
	words := "treat the spot by itself"
	if !d.r.SpotAction {
		words = "watch the spot"
	}
	d.say("a hot spot of %s per %s (%s) is kept out of the mean: %s", num(s.Mean), d.in.unit(), d.in.many(s.N), words)
}
