package week

import (
	"fmt"
	"slices"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/schedule"
)

// Option is something that could be done against a pest in a bed, whether its
// counts ask for it or not.
type Option struct {
	Key    string // as package effect has it: "label:LABEL", "agent:AGENT", or the step's
	Name   string
	Rung   Rung
	Day    civil.Date // the first day on which it can be done; zero where it is not open
	Why    []string   // what keeps it from being open
	LookUp []string   // what to look up or do then
	Notes  []string   // what must hold on the day
	// Of a release: the animals let out at a time, and for each animal of the
	// pest that was counted. 0 is not known.
	Count, PerPest float64
}

// Open reports whether it may be done, as far as is known.
func (o Option) Open() bool { return !o.Day.IsZero() }

// Options lists the hand work, the natural enemies and the products that could
// be put against a pest in a bed from today on: what the calendar and the
// labels leave open, and of the rest what forbids it. A label fact that is not
// known forbids.
func Options(in Input, a *assess.Assessment) []Option {
	b := &builder{in: in}
	b.reentry()
	var out []Option
	for _, act := range b.byResults(a.Pest.Key) {
		if act.Rung == Cultural && a.Stage.Between(act.From, act.To) {
			o := Option{Key: act.Key, Name: act.Text, Rung: Cultural, Day: b.in.Today}
			if own, ok := b.own(a.Pest.Key, act.Key); ok && own.PassedOver() {
				o.Day, o.Why = civil.Date{}, []string{own.Words()}
			}
			b.whenOpen(a.Bed.Code, &o)
			out = append(out, o)
		}
	}
	for _, o := range Releases(in, a) {
		b.whenOpen(a.Bed.Code, &o)
		out = append(out, o)
	}
	if b.hasProductRung(*a) {
		out = append(out, b.productOptions(a)...)
	}
	return out
}

// whenOpen lets a step wait until its bed is open for re-entry; where nobody
// has read for how long it is closed, the step is not open.
func (b *builder) whenOpen(bed string, o *Option) {
	until, shut := b.shut[bed]
	switch {
	case !shut || !o.Open():
	case until.IsZero():
		o.Day, o.Why = civil.Date{}, []string{"keep out until the re-entry interval has been read off the label"}
	case !civil.DateIn(until, b.in.Zone).Before(o.Day):
		o.Day = civil.DateIn(until, b.in.Zone)
		o.Notes = append(o.Notes, fmt.Sprintf("keep out until %s (re-entry)", until.In(b.in.Zone).Format("Mon 2 Jan 15:04")))
	}
}

// Releases is the natural enemies among the Options.
func Releases(in Input, a *assess.Assessment) []Option {
	b := &builder{in: in}
	var out []Option
	for _, act := range in.Actions[a.Pest.Key] {
		if act.Rung == Biological && act.Agent != "" && a.Stage.Between(act.From, act.To) &&
			!slices.ContainsFunc(out, func(o Option) bool { return o.Key == "agent:"+act.Agent }) {
			out = append(out, b.releaseOption(a, act))
		}
	}
	return out
}

func (b *builder) releaseOption(a *assess.Assessment, act Action) Option {
	o := Option{Key: "agent:" + act.Agent, Name: act.Agent, Rung: Biological}
	offer, ok := b.offer(a.Bed, act.Agent, level(*a))
	if !ok {
		o.Why = []string{"no rate for letting it out outdoors is known"}
		return o
	}
	o.Name = offer.Rate.Name
	if i := slices.IndexFunc(b.in.Agents[act.Agent], func(x AgentOffer) bool { return x.Rate.Kind == schedule.Ratio }); i >= 0 {
		o.PerPest = b.in.Agents[act.Agent][i].Rate.Rate
	}
	if words, lookUp := b.permit(offer); words != "" {
		o.Why, o.LookUp = []string{words}, nonEmpty(lookUp)
		return o
	}
	req := b.releaseRequest(a, offer)
	req.Until, req.Parcel = b.lastUseful(offer.Rate), true
	if a.Decider != nil { // what was counted, whether it asks for a step or not
		r := a.Decider
		req.Density = schedule.Density{Known: r.Valid(), Mean: r.Value, Low: r.Low, High: r.High}
	}
	if ordered, ok := b.lastDone(a.Bed.Code, a.Pest.Key, act.Key); ok && b.in.Today.Sub(ordered) <= orderedDays {
		if _, last := b.released(a.Bed.Code, act.Agent); ordered.After(last) {
			req.Parcel = false
			req.Today, req.From = ordered, latest(ordered.AddDays(offer.Rate.LeadDays), b.in.Today)
			o.Notes = append(o.Notes, "ordered on "+ordered.Short())
		}
	}
	plan := schedule.Release(req)
	for _, r := range plan.Refusals {
		// How many leaves there are decides how many animals to buy, not
		// whether they may be let out.
		if r.Code == "leaves" && len(plan.Refusals) == 1 && o.PerPest > 0 {
			req.Leaves = 1
			again := schedule.Release(req)
			if len(again.Refusals) == 0 {
				o.Day = again.Release
				o.Notes = append(o.Notes, releaseNotes(again)...)
				return o
			}
		}
		o.Why = appendNew(o.Why, r.Words)
		o.LookUp = append(o.LookUp, nonEmpty(r.LookUp)...)
	}
	if len(o.Why) > 0 {
		return o
	}
	o.Day, o.Count = plan.Release, float64(plan.Count)
	o.Notes = append(o.Notes, releaseNotes(plan)...)
	return o
}

// releaseNotes are the gates that nothing is known of.
func releaseNotes(p schedule.ReleasePlan) []string {
	weather, daylight := p.Unknown()
	var out []string
	if weather {
		out = append(out, "the weather then is not known: look at the forecast before you order")
	}
	return append(out, nonEmpty(daylight)...)
}

func (b *builder) productOptions(a *assess.Assessment) []Option {
	labels := map[string]farm.Label{}
	for _, l := range b.in.Labels {
		labels[l.Key] = l
	}
	var out []Option
	for _, l := range b.in.Labels {
		if !slices.Contains(l.Pests, a.Pest.Key) {
			continue
		}
		o := Option{Key: "label:" + l.Key, Name: l.Product, Rung: Product}
		if harm := b.harmsAgents(a, l); harm != "" {
			o.Why = append(o.Why, harm)
		}
		d := label.Plan(b.request(a, l, labels, b.in.Today))
		if until, ok := b.shut[a.Bed.Code]; ok && (until.IsZero() || !until.Before(b.in.Today.AddDays(1).In(b.in.Zone))) {
			d.Allowed = false
			d.Refusals = append(d.Refusals, label.Rule{Code: label.CodeClosed, Words: a.Bed.Code + " is closed for re-entry the whole day"})
		}
		for _, r := range d.Refusals {
			o.Why = appendNew(o.Why, r.Words)
			switch {
			case r.Note != "":
				o.LookUp = appendNew(o.LookUp, r.Note)
			case r.Unknown && r.Field != "":
				o.LookUp = appendNew(o.LookUp, lookUp(r))
			}
		}
		if e := d.Earliest; e.After(b.in.Today) {
			o.LookUp = appendNew(o.LookUp, "not before "+e.Short())
		}
		if own, ok := b.own(a.Pest.Key, o.Key); ok && own.PassedOver() {
			o.Why = append(o.Why, own.Words())
		}
		if len(o.Why) == 0 {
			o.Day, o.Notes, o.LookUp = b.in.Today, d.Conditions, nil
		}
		out = append(out, o)
	}
	if len(out) == 0 {
		out = append(out, Option{Key: "label", Name: "a product", Rung: Product,
			Why:    []string{"no label that lists " + a.Pest.Name + " has been entered, and unknown is never assumed"},
			LookUp: []string{"if you own one: `leafturn label template > mine.toml`, fill it from the label, `leafturn label add mine.toml`"}})
	}
	return out
}
