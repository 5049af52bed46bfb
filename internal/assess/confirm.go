package assess

import (
	"fmt"
	"slices"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/verdict"
)

// confirm hands the verdict what must be confirmed before acting on a reading,
// and whether it was. A level of an area that the farm has not said to be its
// own, or has said not to be, stands where no other does, but only to be
// confirmed.
//
// A note that it was confirmed stands for the season, a find of the same round
// for that round; a note that it was looked for and not found for the counts
// up to that day and SameRound days after it.
func (a *Assessment) confirm(in Input, r *Reading, vin *verdict.Input) *ToConfirm {
	area := ""
	if r.Act == nil {
		r.Act = elsewhere(in, r.Unit.Measure)
	}
	l := r.Act
	if l == nil {
		return nil
	}
	if l.Operator == ">" && l.Value == 0 && !in.Pest.Disease {
		vin.MissPct = 100 // none in a sample of animals is no more than that
	}
	c := l.Confirm
	if !met(l.Requires, in.Holds) {
		if _, said := in.Holds[l.Requires]; said {
			vin.Which = append(vin.Which, fmt.Sprintf("the level is for %s, and what is known of your farm says otherwise", l.StageWords))
		} else {
			area = areaWords(l.Requires)
			vin.Which = append(vin.Which, fmt.Sprintf("the level is for %s, and whether that is your area has not been said: leafturn farm set --area %s", l.StageWords, area))
			c = Confirm{Words: "an answer on your area", How: "ask a neighbour or the extension service, and say it"}
		}
	} else if c.Elsewhere {
		return nil
	}
	if c.Words == "" {
		return nil
	}
	var seen *bool
	yes := slices.ContainsFunc(a.Readings, func(x Reading) bool {
		days := x.Visit.Date.Sub(r.Visit.Date)
		return slices.Contains(c.By, x.Unit.Measure) && x.Valid() && x.Value > 0 && -SameRound <= days && days <= SameRound
	})
	switch n := in.Confirmed; {
	case yes || n.Is:
		yes = true
		seen = &yes
	case !n.On.IsZero() && r.Visit.Date.Sub(n.On) <= SameRound:
		seen = &yes
	}
	vin.Confirm = &verdict.Confirm{Words: c.Words, How: c.How, Seen: seen}
	if n := in.Confirmed; n.Is {
		vin.Which = append(vin.Which, fmt.Sprintf("confirmed here on %s, which stands for the season", n.On.Short()))
	}
	return &ToConfirm{Words: c.Words, How: c.How, Area: area}
}

// elsewhere is the strictest action level in a measure that hangs on the area,
// where nobody has said what that is; or one for other areas than the farm's
// that asks to confirm a find outside them.
func elsewhere(in Input, measure string) *Level {
	var out *Level
	for i := range in.Pest.Levels {
		l := &in.Pest.Levels[i]
		if l.Kind != "act" || l.Measure != measure || l.Transfer || met(l.Requires, in.Holds) || l.Requires == "tospovirus_confirmed" ||
			l.Requires == "no_tospovirus" || !in.Stage.Between(l.From, l.To) || !l.InForce(in.Today) {
			continue
		}
		if _, said := in.Holds[l.Requires]; said && !l.Confirm.Elsewhere {
			continue
		}
		if out == nil || l.Value < out.Value {
			out = l
		}
	}
	return out
}

// signsFaded lets no walk that found nothing hold while signs do not show well.
func signsFaded(in Input, res verdict.Result, r *Reading) verdict.Result {
	for _, l := range []*Level{r.Act, r.Watch} {
		if l == nil || !l.Signs || l.inSeason(r.Visit.Date) || r.Value > 0 || res.Verdict != verdict.Hold && res.Rule != verdict.RuleNotFound {
			continue
		}
		res.Verdict, res.Rule, res.MoreUnits, res.RecheckInDays = verdict.LookAgain, verdict.RuleSigns, 0, in.Pest.EveryDays
		words := "signs do not show well now, so none found says nothing, and a flag set earlier stays"
		if d := l.showsAgain(r.Visit.Date); !d.IsZero() {
			res.RecheckInDays = d.Sub(r.Visit.Date)
			words += fmt.Sprintf("; walk again from %d %s", d.Day, d.Month)
		}
		res.Reasons = append(res.Reasons, words)
		return res
	}
	return res
}

// showsAgain is the first day of the season's next part, zero where the year
// has none.
func (l *Level) showsAgain(day civil.Date) civil.Date {
	year := farm.SeasonOf(day, l.South)
	for _, s := range l.Season {
		if d := year.Day(s.From); !s.From.IsZero() && d.After(day) {
			return d
		}
	}
	return civil.Date{}
}
