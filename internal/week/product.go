package week

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/units"
	"leafturn/internal/verdict"
)

// productDays is the time within which a product that a label allows is to be
// applied, counted from the count that led to it. Common practice.
const productDays = 3

// products offers a product where a bed is over the action level and a label
// that lists the site and the pest allows it; everything else becomes a line
// that says what forbids it or which label fact is missing.
func (b *builder) products() {
	labels := map[string]farm.Label{}
	for _, l := range b.in.Labels {
		labels[l.Key] = l
	}
	for i := range b.in.Assessments {
		a := &b.in.Assessments[i]
		// A hot spot alone is treated by hand and with natural enemies.
		if a.Result.Verdict != verdict.Act || !b.hasProductRung(*a) {
			continue
		}
		listed := false
		for _, l := range b.in.Labels {
			if !slices.Contains(l.Pests, a.Pest.Key) {
				continue
			}
			listed = true
			if b.treatedSince(a.Bed.Code, a.Pest.Key, a.Decider.Visit.Date) {
				continue // wait for the recount before anything else
			}
			b.product(a, l, labels)
		}
		if !listed {
			b.noLabel(a)
		}
	}
}

// hasProductRung reports whether the catalogue knows a product step against
// the pest at this stage at all.
func (b *builder) hasProductRung(a assess.Assessment) bool {
	return slices.ContainsFunc(b.in.Actions[a.Pest.Key], func(x Action) bool {
		return x.Rung == Product && a.Stage.Between(x.From, x.To)
	})
}

func (b *builder) treatedSince(bed, pest string, since civil.Date) bool {
	return slices.ContainsFunc(b.in.Treatments, func(t farm.Treatment) bool {
		return t.Bed == bed && t.Pest == pest && !t.Date.Before(since)
	})
}

func (b *builder) noLabel(a *assess.Assessment) {
	details := []string{"if you own one: `leafturn label template > mine.toml`, fill it from the label, " +
		"`leafturn label add mine.toml`"}
	for _, l := range b.in.Labels {
		if len(l.Pests)+len(l.OtherPests) == 0 && !l.NoPests {
			details = append(details, fmt.Sprintf("which pests %s is for has not been read off its label yet: `leafturn label ask %s`", l.Product, l.Key))
		}
	}
	b.add(Line{
		Section: Avoid, Ref: "not:" + a.Pest.Key + ":no-label",
		Pest: a.Pest.Key, PestName: a.Pest.Name, Beds: []string{a.Bed.Code},
		Head:    "No product against " + a.Pest.Name,
		Why:     "no label that lists " + a.Pest.Name + " has been entered, and unknown is never assumed",
		Details: details,
		Traces:  []Trace{{Bed: a.Bed.Code, Assessment: a, Rule: "a product is offered only under a label that lists the site and the pest"}},
	})
}

// request puts the question to a label, with limits per season read as limits
// per year.
func (b *builder) request(a *assess.Assessment, l farm.Label, labels map[string]farm.Label, on civil.Date) label.Request {
	r := label.Request{
		Label: label.At(label.SeasonAsYear(l), a.Bed.Site, a.Bed.CropWord()), Labels: labels, Bed: a.Bed, Pest: a.Pest.Key, Date: on, Loc: b.in.Zone,
		History: b.in.Treatments, Organic: b.in.Farm.Organic, Units: b.in.Farm.Units, FarmMinDays: b.in.Farm.ProductDays,
		Versions: b.in.Versions, CycleStart: b.in.Planted[a.Bed.Code], ActiveKey: b.in.ActiveKey, Apart: b.in.Apart,
		Work: b.in.Work[a.Bed.Code],
	}
	if b.in.Lasts != nil {
		r.Lasts = func(from civil.Date) label.Lasting { return b.in.Lasts(a.Pest.Key, from) }
	}
	r.Bloom, r.Ground = label.Flowering(a.Stage, farm.FlowersOn(b.in.Done, a.Bed.Code, on))
	r.Looks = label.Looks(b.in.Looks, b.in.Done, a.Bed.Code, a.Pest.Key, on)
	if w, ok := b.in.Weather[on]; ok {
		r.Weather = &w
	}
	return b.ladder(a.Bed, a.Pest.Key, a.Stage).Ask(r).Where(b.in.Farm)
}

// Ask puts the question to a label as the list does: may it go on the bed of an
// assessment on a day.
func Ask(in Input, a *assess.Assessment, l farm.Label, on civil.Date) label.Request {
	labels := map[string]farm.Label{}
	for _, x := range in.Labels {
		labels[x.Key] = x
	}
	return (&builder{in: in}).request(a, l, labels, on)
}

func (b *builder) product(a *assess.Assessment, l farm.Label, labels map[string]farm.Label) {
	if harm := b.harmsAgents(a, l); harm != "" {
		b.add(Line{
			Section: Avoid, Ref: "not:" + a.Pest.Key + ":" + l.Key + ":agents", Pest: a.Pest.Key, PestName: a.Pest.Name,
			Beds: []string{a.Bed.Code}, Head: fmt.Sprintf("%s against %s", l.Product, a.Pest.Name), Why: harm,
			Traces: []Trace{{Bed: a.Bed.Code, Assessment: a, Rule: "a residue must not harm natural enemies that were ordered or let out", Facts: []string{harm}}},
		})
		return
	}
	l = label.At(l, a.Bed.Site, a.Bed.CropWord())
	d := label.Plan(b.request(a, l, labels, b.in.Today))
	// Plan knows only the labels in force; the bed may be closed by the version
	// that an earlier product was applied under.
	if until, ok := b.shut[a.Bed.Code]; ok && d.Allowed && (until.IsZero() || !until.Before(b.in.Today.AddDays(1).In(b.in.Zone))) {
		d.Allowed = false
		d.Refusals = append(d.Refusals, label.Rule{Code: label.CodeClosed, Words: a.Bed.Code + " is closed for re-entry the whole day"})
	}
	trace := Trace{Bed: a.Bed.Code, Assessment: a, Facts: []string{
		fmt.Sprintf("label %s, version %d, transcribed %s", l.Key, l.Version, l.Entered)}}
	if d.MaxKnown {
		trace.Facts = append(trace.Facts, fmt.Sprintf("%d of %d applications used (%s)", d.Used, d.Max, d.Period))
	}
	for _, w := range b.ladder(a.Bed, a.Pest.Key, a.Stage).Tried {
		trace.Facts = append(trace.Facts, "tried before, "+w)
	}
	if !d.Last.IsZero() {
		trace.Facts = append(trace.Facts, "last applied here on "+d.Last.String())
	}
	if !d.Allowed {
		trace.Rule = "the label refuses: " + joinRules(d.Refusals)
		line := Line{
			Section: Avoid, Ref: "not:" + a.Pest.Key + ":" + l.Key + ":" + refusalKey(d.Refusals),
			Pest: a.Pest.Key, PestName: a.Pest.Name, Beds: []string{a.Bed.Code},
			Head: fmt.Sprintf("%s against %s", l.Product, a.Pest.Name),
			Why:  refusalWords(d.Refusals),
		}
		unread := unreadFields(d.Refusals)
		if len(unread) > fewFields {
			line.Details = byPlace(unread)
		}
		for _, r := range d.Refusals {
			switch {
			case r.Code == label.CodeUnknown && len(unread) > fewFields:
			case r.Code == label.CodeBloom && r.Unknown, r.Unknown && strings.Contains(r.Words, "flowers are open"):
				line.Details = appendNew(line.Details, fmt.Sprintf("look today, then: leafturn flowers none|open %s", bedsHere))
			case r.Note != "":
				line.Details = appendNew(line.Details, "look today, then: "+strings.Replace(r.Note, "BED", bedsHere, 1))
			case r.Unknown && r.Field != "":
				line.Details = appendNew(line.Details, lookUp(r))
			}
			if r.Field != "" {
				trace.Facts = appendNew(trace.Facts, fmt.Sprintf("%s: %s (on the label: %s)", r.Code, r.Field, r.Where))
			}
		}
		if len(unread) > 0 {
			line.Details = append(line.Details, fmt.Sprintf("then write it down: leafturn label ask %s", l.Key))
		}
		line.Traces = []Trace{trace}
		if e := d.Earliest; e.After(b.in.Today) {
			line.Details = append(line.Details, fmt.Sprintf("%s: not before %s", a.Bed.Code, e.Short()))
		}
		b.add(line)
		return
	}
	if b.failedHere(a, "label:"+l.Key, fmt.Sprintf("%s against %s", l.Product, a.Pest.Name)) {
		return
	}
	trace.Rule = fmt.Sprintf("over the action level, and the label lists %s on this site and allows it on %s", a.Pest.Name, b.in.Today)
	details := []string{b.amountWords(a.Bed, d)}
	details = append(details, d.Conditions...)
	for _, w := range d.Warnings {
		// Said of every label whose maximum is per season: see SeasonAsYear.
		if !strings.HasPrefix(w, "the maximum is counted per year") {
			details = append(details, w)
		}
	}
	if w, ok := l.ReapplyWhen.Get(); ok {
		details = append(details, fmt.Sprintf("the label says to reapply when: %s (never before its shortest interval)", w))
	}
	if n, ok := l.MinIntervalDays.Get(); ok && l.MinIntervalHours > 0 {
		details = append(details, fmt.Sprintf("then not again for %s hours after the end", Number(l.MinIntervalHours)))
	} else if ok {
		details = append(details, fmt.Sprintf("then not again before %s", b.in.Today.AddDays(n).Short()))
	}
	if d.MaxKnown {
		details = append(details, fmt.Sprintf("%s: %d of %d applications in twelve months used", a.Bed.Code, d.Used, d.Max))
	}
	if d.REI == farm.IsStated {
		details = append(details, fmt.Sprintf("re-entry: keep out for %s hours after the end", Number(d.REIHours)))
	}
	if ppe, ok := l.PPE.Get(); ok && ppe != "" {
		details = append(details, "wear: "+ppe)
	}
	details = b.ownWords(a.Pest.Key, "label:"+l.Key, append(details, b.harmsOrders(a, l)...))
	details = append(details, b.resisted(a.Pest.Key, l)...)
	by := b.deadline(*a, productDays)
	for _, i := range b.at[a.Bed.Code] {
		if x := &b.lines[i]; x.Section == Do && x.Pest == a.Pest.Key && x.By.After(by) {
			by = x.By // lower steps come first
		}
	}
	by = b.lastAllowed(a, l, labels, by)
	b.add(Line{
		Section: Do, Ref: "do:" + a.Pest.Key + ":label:" + l.Key,
		Pest: a.Pest.Key, PestName: a.Pest.Name, Action: "label:" + l.Key, Rung: Product,
		Beds: []string{a.Bed.Code}, Head: fmt.Sprintf("%s against %s, if the lower steps were not enough", l.Product, a.Pest.Name),
		Details: details, Why: Short(*a), Safety: b.productSafety(l),
		From: b.in.Today, By: by,
		Record: fmt.Sprintf("leafturn treat %s %s --pest %s --amount AMOUNT --end TIME", l.Key, bedsHere, a.Pest.Key),
		Traces: []Trace{trace},
	})
}

// resisted raises the question of resistance where the season's results do, for
// a product of that mode of action.
func (b *builder) resisted(pest string, l farm.Label) []string {
	var out []string
	for _, q := range b.in.Questions[pest] {
		if slices.ContainsFunc(l.Actives, func(x farm.Active) bool {
			g, ok := label.MainGroup(x.Group.Value)
			return ok && g == q.Group
		}) {
			out = append(out, fmt.Sprintf("does the pest resist it? group %s did not bring it down on %s: try another group or the lower steps first (`leafturn worked`)", q.Group, dayList(q.Days)))
		}
	}
	return out
}

// doubt is 1 for a product whose mode of action the pest may resist: another one
// comes before it.
func (b *builder) doubt(x Line) int {
	for _, l := range b.in.Labels {
		if x.Rung == Product && x.Action == "label:"+l.Key && len(b.resisted(x.Pest, l)) > 0 {
			return 1
		}
	}
	return 0
}

func dayList(days []civil.Date) string {
	words := make([]string, len(days))
	for i, d := range days {
		words[i] = d.Short()
	}
	return strings.Join(words, ", ")
}

// lastAllowed is the last day, up to by, until which nothing known forbids the
// product: a label that expires on Tuesday is not offered until Friday. What
// is only unknown of the days ahead is asked again on the day.
func (b *builder) lastAllowed(a *assess.Assessment, l farm.Label, labels map[string]farm.Label, by civil.Date) civil.Date {
	for d := b.in.Today.AddDays(1); !d.After(by); d = d.AddDays(1) {
		for _, r := range label.Plan(b.request(a, l, labels, d)).Refusals {
			if !r.Unknown {
				return d.AddDays(-1)
			}
		}
	}
	return by
}

// agentDays is how long natural enemies that were let out are counted on.
// Common practice.
const agentDays = 35

// harmsAgents says which natural enemies, ordered or let out in the bed, a
// product would harm; an unknown effect counts as harm.
func (b *builder) harmsAgents(a *assess.Assessment, l farm.Label) string {
	var out []string
	name := func(agent string) string {
		if offers := b.in.Agents[agent]; len(offers) > 0 {
			return offers[0].Rate.Name
		}
		return strings.ReplaceAll(agent, "_", " ") // let out, though it is not offered here
	}
	free := map[string]civil.Date{}
	for _, r := range slices.Concat(b.in.Lately, b.in.Releases) {
		if r.Bed == a.Bed.Code && !r.Date.After(b.in.Today) && b.in.Today.Sub(r.Date) <= agentDays && !r.Date.Before(free[r.Agent]) {
			free[r.Agent] = r.Date
		}
	}
	for agent, last := range free {
		out = appendNew(out, b.harm(l, agent, fmt.Sprintf("%s (let out on %s)", name(agent), last.Short()))...)
	}
	for _, acts := range b.in.Actions {
		for _, act := range acts {
			if _, let := free[act.Agent]; let || act.Agent == "" || len(b.in.Agents[act.Agent]) == 0 {
				continue
			}
			if d, ok := b.lastDone(a.Bed.Code, act.Pest, act.Key); ok && b.in.Today.Sub(d) <= orderedDays {
				out = appendNew(out, b.harm(l, act.Agent, fmt.Sprintf("%s (ordered on %s)", name(act.Agent), d.Short()))...)
			}
		}
	}
	slices.Sort(out)
	return strings.Join(out, "; ")
}

// harm says what the actives of a label do to an agent, named so; nothing
// where they are known to leave no harmful residue.
func (b *builder) harm(l farm.Label, agent, name string) []string {
	var out []string
	for _, x := range l.Actives {
		days, known := b.in.Wait(x.Name, agent)
		switch {
		case !known:
			out = append(out, fmt.Sprintf("what %s does to %s is not known", x.Name, name))
		case days > 0:
			out = append(out, fmt.Sprintf("%s can harm %s for %s", x.Name, name, dayWords(days)))
		}
	}
	return out
}

// harmsOrders warns where this list asks to order natural enemies for the bed
// that the product would harm: it is the one or the other.
func (b *builder) harmsOrders(a *assess.Assessment, l farm.Label) []string {
	var out []string
	for _, n := range b.at[a.Bed.Code] {
		x := &b.lines[n]
		if x.Section != Order {
			continue
		}
		i := slices.IndexFunc(b.in.Actions[x.Pest], func(act Action) bool { return act.Key == x.Action })
		agent := b.in.Actions[x.Pest][i].Agent
		for _, w := range b.harm(l, agent, b.in.Agents[agent][0].Rate.Name) {
			out = appendNew(out, "not where you order natural enemies: "+w)
		}
	}
	return out
}

// amountWords says how much product a bed takes, in the farm's units. A
// maximum is rounded down, a minimum up.
func (b *builder) amountWords(bed farm.Bed, d label.Decision) string {
	at := fmt.Sprintf("%s (%s): ", bed.Code, b.area(bed.AreaM2()))
	low, high := b.quantity(d.AmountMin), b.quantity(d.AmountMax)
	switch {
	case high.IsZero():
		return at + "the label gives no amount per area that can be worked out"
	case low.IsZero():
		return at + "at most " + decimals(units.FloorTo(high.Value, 2), high)
	}
	return at + fmt.Sprintf("%s to %s", trimZeros(strconv.FormatFloat(-units.FloorTo(-low.Value, 1), 'f', 1, 64)), decimals(units.FloorTo(high.Value, 1), high))
}

func decimals(v float64, q units.Quantity) string {
	return trimZeros(strconv.FormatFloat(v, 'f', 2, 64)) + " " + q.Unit.Name
}

// quantity turns an amount into the farm's units: ounces by weight or US
// fluid ounces where the farm uses US units.
func (b *builder) quantity(q units.Quantity) units.Quantity {
	if b.in.Farm.Units != units.US || q.IsZero() {
		return q
	}
	to := map[units.Dimension]string{units.Mass: "oz wt", units.Volume: "US fl oz"}[q.Unit.Dimension]
	if to == "" {
		return q
	}
	return units.Of(q.MustIn(to), to)
}

// area says an area in the farm's units.
func (b *builder) area(m2 float64) string {
	if b.in.Farm.Units == units.US {
		return strconv.FormatFloat(units.Of(m2, "m2").MustIn("ft2"), 'f', 0, 64) + " ft²"
	}
	return trimZeros(strconv.FormatFloat(m2, 'f', 1, 64)) + " m²"
}

// againFrom says when a product may be used on a bed again and until when its
// effect is reckoned, "" where the label does not say or nothing was applied.
func (b *builder) againFrom(a *assess.Assessment, l farm.Label, last civil.Date) string {
	var w []string
	if n, ok := l.MinIntervalDays.Get(); ok && l.MinIntervalHours > 0 {
		w = append(w, fmt.Sprintf("its label allows it again %s hours after the end of that of %s", Number(l.MinIntervalHours), last.Short()))
	} else if ok {
		w = append(w, fmt.Sprintf("its label allows it again from %s", last.AddDays(n).Short()))
	}
	if n, ok := l.ReapplyByDays.Get(); ok {
		w = append(w, fmt.Sprintf("reckons its effect until %s", last.AddDays(n).Short()))
	}
	if len(w) == 0 {
		return ""
	}
	return fmt.Sprintf("%s: count before any more of %s; %s", a.Bed.Code, l.Product, strings.Join(w, " and "))
}

// refusalKey tells refusals of different kinds apart, so that beds refused for
// the same reasons share a line.
func refusalKey(rules []label.Rule) string {
	var codes []string
	for _, r := range rules {
		codes = appendNew(codes, r.Code+" "+r.Field)
	}
	slices.Sort(codes)
	return strings.ReplaceAll(strings.TrimSpace(strings.Join(codes, "+")), " ", "-")
}

func joinRules(rules []label.Rule) string {
	var words []string
	for _, r := range rules {
		words = appendNew(words, strings.TrimSuffix(r.Words, "."))
	}
	return strings.Join(words, "; ")
}

// fewFields is the number of unread fields that stand in the list one by one;
// more are gathered by their place on a label. Common practice.
const fewFields = 3

// unreadFields are the fields of the label that nobody has read.
func unreadFields(rules []label.Rule) []label.Rule {
	return slices.DeleteFunc(slices.Clone(rules), func(r label.Rule) bool { return r.Code != label.CodeUnknown || r.Field == "" })
}

// refusalWords says why a label refuses; many unread fields are counted.
func refusalWords(rules []label.Rule) string {
	n := len(unreadFields(rules))
	if n <= fewFields {
		return joinRules(rules)
	}
	words := fmt.Sprintf("%d fields of the label are not read yet, and unknown is never assumed", n)
	rest := slices.DeleteFunc(slices.Clone(rules), func(r label.Rule) bool { return r.Code == label.CodeUnknown && r.Field != "" })
	if len(rest) > 0 {
		words += "; " + joinRules(rest)
	}
	return words
}

// byPlace gathers fields by where they stand on a label, in the order in which
// the places come.
func byPlace(rules []label.Rule) []string {
	var places []string
	fields := map[string][]string{}
	for _, r := range rules {
		places = appendNew(places, r.Where)
		fields[r.Where] = append(fields[r.Where], r.Field)
	}
	var out []string
	for _, p := range places {
		out = append(out, fmt.Sprintf("look up on the label, %s: %s", p, strings.Join(fields[p], ", ")))
	}
	return out
}

func lookUp(r label.Rule) string {
	s := "look up: " + r.Field
	if r.Where != "" {
		s += " (on the label: " + r.Where + ")"
	}
	return s
}
