package app

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/cover"
	"leafturn/internal/report"
	"leafturn/internal/units"
)

// coverDocument tells a plan: what is sown where, what it rests on, the next
// best, what the rules cost, and why each cover stands where it does.
func (a *App) coverDocument(s snapshot, in coverPlan, plan cover.Plan, today civil.Date, stored bool) *report.Document {
	src := &sources{}
	doc := a.document("Cover crops by bed", today)
	first, last := in.beds[0], in.beds[0]
	for _, b := range in.beds {
		if b.FreeFrom.Before(first.FreeFrom) {
			first = b
		}
		if b.PlantBy.After(last.PlantBy) {
			last = b
		}
	}
	doc.Subtitle = fmt.Sprintf("beds free from %s, to planting, %s %d; counts of %s", first.FreeFrom.Short(), last.PlantBy.Short(), last.PlantBy.Year, s.year.Name())
	if !slices.ContainsFunc(in.beds, func(b cover.Bed) bool {
		return slices.ContainsFunc(b.Pressure, func(p cover.Pressure) bool { return p.Known })
	}) {
		doc.Warnings = report.Lines(fmt.Sprintf("No pest was counted against an action level in %s, so the plan rests on soil, seed and work alone. Count first, or give what you know: --rule 'pressure A1 wireworm 2'.", s.year.Name()))
	}
	if len(in.out) > 0 {
		doc.Warnings = append(doc.Warnings, report.Plain("Not planned: "+strings.Join(in.out, "; ")+"."))
	}
	if names, key := unpriced(plan); len(names) > 0 {
		doc.Warnings = append(doc.Warnings, report.Plain(fmt.Sprintf("With a budget, what has no known price cannot be planned: %s. Give what you pay: --rule 'price %s %s'.", strings.Join(names, ", "), key, a.somePrice())))
	}
	data := coverPlanData(in, plan, stored)
	data.Works = a.coverWorks(in, plan, today)
	doc.Sections = []report.Section{a.coverTable(in, plan, stored), whyCovers(in, plan, src)}
	if sec, ok := bindingSection(plan); ok {
		doc.Sections = append(doc.Sections, sec)
	}
	seed, list := a.seedSection(in, plan, src)
	data.SeedList = list
	doc.Sections = append(doc.Sections, nextBest(plan), seed, a.worksSection(data.Works, len(in.beds)), pressureSection(in))
	doc.Sections = append(doc.Sections, coverNotes(plan)...)
	doc.Sources = src.list
	doc.Data = data
	return doc
}

// coverName is a choice in words.
func coverName(c cover.Cell) string {
	if c.Key == cover.None {
		return cover.None
	}
	name := c.Option.Crop.Name
	if c.Option.Rest {
		name += ", bed rested"
	}
	return name
}

// useName is a use of a bed in words.
func useName(winter, rest cover.Cell) string {
	switch {
	case rest.Key == cover.None:
		return coverName(winter)
	case winter.Key == cover.None:
		return coverName(rest)
	}
	return coverName(winter) + ", then " + coverName(rest)
}

func (a *App) coverTable(in coverPlan, plan cover.Plan, stored bool) report.Section {
	t := &report.Table{Columns: []report.Column{{Title: "Bed"}, {Title: "Cover"}, {Title: "Sow from"}, {Title: "End by"}, {Title: "Seed"}, {Title: "Cost", Unit: "USD", Decimals: 2}, {Title: "Points", Decimals: 2}, {Title: "+-", Decimals: 2}}}
	stands := map[string]string{}
	for _, b := range in.beds {
		stands[b.Code] = b.Standing
	}
	for _, b := range plan.Beds {
		if b.Winter.Key == cover.None && (b.Untreated || b.Winter.Value != 0) {
			name := "none"
			switch {
			case stands[b.Bed] != "":
				name = stands[b.Bed] + ", sown already"
			case !b.Untreated:
				name = "none before planting"
			case in.rules.Untreated > 0:
				name = "none, for comparison"
			}
			t.Rows = append(t.Rows, []report.Value{report.Text(b.Bed), report.Text(name), report.Text(""), report.Text(""), report.Text(""), report.Text(""), report.Num(b.Winter.Value, 2), report.Text("")})
		}
		for _, c := range b.Chosen() {
			f := c.Fit.Choice
			seed := report.Missing("a rate is not known")
			if c.SeedOK {
				seed = report.Text(a.seedWords(c.Seeds))
			}
			cost := report.Missing("a price is not known")
			if c.Score.CostKnown {
				cost = report.Num(c.Score.CostUSD, 2)
			}
			name := coverName(c)
			if len(f.Sowings) > 1 {
				name += fmt.Sprintf(", %d sowings", len(f.Sowings))
			}
			t.Rows = append(t.Rows, []report.Value{report.Text(b.Bed), report.Text(name), report.Text(f.Sow.Short()), report.Text(f.Kill.Short()), seed, cost, report.Num(c.Value, 2), report.Num(c.Score.SD, 2)})
		}
	}
	sec := report.Section{Key: "plan", Table: t, Notes: []report.Line{
		report.Say("total {} points; {}", report.Num(plan.Total, 2), plan.Proof),
		report.Plain(pointsWords(in.rules, a.farm.Units)),
		report.Plain("+- is what the counts leave open of the pressures; it does not speak of the evidence"),
	}}
	if plan.Alike > 0 {
		sec.Notes = append(sec.Notes, report.Say("{} of the points are for neighbours sown alike", report.Num(plan.Alike, 2)))
	}
	if len(plan.Rested) > 0 {
		sec.Notes = append(sec.Notes, report.Plain("rested, without dahlias: "+strings.Join(plan.Rested, ", ")))
	}
	if len(plan.Lots) > 0 {
		sec.Notes = append(sec.Notes, report.Plain(seedKinds(len(plan.Lots))+" to buy"))
	}
	if stored {
		sec.Notes = append(sec.Notes, report.Plain("the plan is stored"))
	}
	return sec
}

// pointsWords says what a point is.
func pointsWords(r cover.Rules, system units.System) string {
	w := r.Weights
	s := fmt.Sprintf("points: pressure 0 to 3, times the cover's score against the pest, times the weight of the evidence (A %g, B %g, C %g, D %g)", w.A, w.B, w.C, w.D)
	if r.PestWeight != 1 || r.HarmWeight != 1 {
		s += fmt.Sprintf(", help times %g and harm times %g", r.PestWeight, r.HarmWeight)
	}
	left := fmt.Sprintf("%g per kg/ha of nitrogen left, %g per t/ha of dry matter", r.Nitrogen, r.Biomass)
	guess := fmt.Sprintf("%g USD a kg", r.GuessUSDPerKg)
	if system.IsUS() {
		left = fmt.Sprintf("%.3g per lb/acre of nitrogen left, %.3g per 1000 lb/acre of dry matter", r.Nitrogen*units.Of(1, "lb/acre").MustIn("kg/ha"), r.Biomass*units.Of(1000, "lb/acre").MustIn("t/ha"))
		guess = fmt.Sprintf("%.3g USD a lb", r.GuessUSDPerKg*units.Of(1, "lb").MustIn("kg"))
	}
	s += fmt.Sprintf("; %s (half for a late sowing); less %g per USD of seed (%s where no price is known), %g per sowing, %g for bare soil in winter", left, r.PointsPerUSD, guess, r.Work, r.BarePenalty)
	if r.RestCost > 0 {
		s += fmt.Sprintf(", %g for a bed without flowers", r.RestCost)
	}
	return s
}

// pressureSection tells the pressures carried over that the plan rests on.
func pressureSection(in coverPlan) report.Section {
	t := &report.Table{Columns: []report.Column{{Title: "Bed"}, {Title: "Pest"}, {Title: "Pressure", Decimals: 1}, {Title: "+-", Decimals: 1}, {Title: "Why"}}}
	sec := report.Section{Key: "pressures", Title: "Pressure carried over, 0 to 3"}
	field := map[string]bool{}
	unknown := map[string][]string{}
	var low []string
	for _, b := range in.beds {
		for _, p := range b.Pressure {
			switch {
			case !p.Known:
				unknown[p.Pest] = append(unknown[p.Pest], b.Code)
				continue
			case p.Field && field[p.Pest]:
				continue
			case p.Score < 0.05:
				if !slices.Contains(low, p.Pest) {
					low = append(low, p.Pest)
				}
				field[p.Pest] = field[p.Pest] || p.Field
				continue
			}
			bed := b.Code
			if p.Field {
				bed, field[p.Pest] = "all", true
			}
			t.Rows = append(t.Rows, []report.Value{report.Text(bed), report.Text(p.Pest), report.Num(p.Score, 1), report.Num(p.SD, 1), report.Text(p.Why)})
		}
	}
	slices.SortStableFunc(t.Rows, func(a, b []report.Value) int {
		return cmp.Or(cmp.Compare(b2i(a[0].Words() == "all"), b2i(b[0].Words() == "all")), strings.Compare(a[0].Words(), b[0].Words()))
	})
	if len(t.Rows) > 0 {
		sec.Table = t
		sec.Notes = report.Lines("pressure = 2 x the chance that it was over its action level in any week + 1 x the chance of 3 weeks; soil pests, slugs and earwigs by bed, others by field")
	} else {
		sec.Lead = report.Plain("No pest pressed on any bed as far as was counted, so the plan rests on soil, seed and work alone.")
	}
	if len(low) > 0 {
		slices.Sort(low)
		sec.Notes = append(sec.Notes, report.Plain("counted and next to nothing in some beds: "+strings.Join(low, ", ")))
	}
	byBeds := map[string][]string{}
	for pest, beds := range unknown {
		key := "in " + strings.Join(beds, ", ")
		switch {
		case len(beds) == len(in.beds):
			key = "in any bed"
		case 2*len(beds) > len(in.beds):
			var counted []string
			for _, b := range in.beds {
				if !contains(beds, b.Code) {
					counted = append(counted, b.Code)
				}
			}
			key = "but in " + strings.Join(counted, ", ")
		}
		byBeds[key] = append(byBeds[key], pest)
	}
	for _, beds := range slices.Sorted(maps.Keys(byBeds)) {
		slices.Sort(byBeds[beds])
		sec.Notes = append(sec.Notes, report.Plain("not known "+beds+", and not in the points: "+strings.Join(byBeds[beds], ", ")))
	}
	return sec
}

func b2i(b bool) int {
	if b {
		return 0
	}
	return 1
}

// nextBest lists the two next best uses of each bed; beds with the same stand in
// one row.
func nextBest(plan cover.Plan) report.Section {
	t := &report.Table{Columns: []report.Column{{Title: "Beds"}, {Title: "Next best"}, {Title: "Gives up"}, {Title: "Then"}, {Title: "Gives up"}}}
	rows := map[[4]string][]string{}
	var order [][4]string
	for _, b := range plan.Beds {
		var key [4]string
		for k, x := range b.Alternatives {
			words := fmt.Sprintf("%.2f", x.GivesUp)
			if x.AtLeast {
				words = "at least " + words
			}
			switch n := len(x.Displace); {
			case n > 4:
				words += fmt.Sprintf(", moves %d other beds", n)
			case n > 0:
				words += ", moves " + strings.Join(x.Displace, ", ")
			}
			key[2*k], key[2*k+1] = shortUse(x.Winter, x.Rest), words
		}
		if rows[key] == nil {
			order = append(order, key)
		}
		rows[key] = append(rows[key], b.Bed)
	}
	for _, key := range order {
		row := []report.Value{report.Text(strings.Join(rows[key], ", "))}
		for _, words := range key {
			row = append(row, report.Text(words))
		}
		t.Rows = append(t.Rows, row)
	}
	return report.Section{Key: "next_best", Title: "The next best, and the points it gives up", Table: t}
}

// shortUse is a use of a bed in few words.
func shortUse(winter, rest cover.Cell) string {
	name := func(c cover.Cell) string {
		var parts []string
		for _, p := range c.Option.Parts() {
			name := p.Crop.Name
			if i := strings.LastIndex(name, " ("); i > 0 && strings.HasSuffix(name, ")") {
				name = name[:i]
			}
			parts = append(parts, name)
		}
		return strings.Join(parts, " + ")
	}
	switch {
	case rest.Key == cover.None && winter.Key == cover.None:
		return "none"
	case rest.Key == cover.None:
		return name(winter)
	case winter.Key == cover.None:
		return name(rest) + ", rested"
	}
	return name(winter) + ", then " + name(rest) + ", rested"
}

// bindingSection says what the rules cost.
func bindingSection(plan cover.Plan) (report.Section, bool) {
	sec := report.Section{Key: "rules", Title: "What the rules cost"}
	for _, b := range plan.Binding {
		if b.From == "" && !b.Pin {
			continue // a default; for rested beds see below
		}
		words := fmt.Sprintf("without it the plan is worth %.2f points more", b.Gain)
		if b.AtMost {
			words = fmt.Sprintf("without it the plan is worth at most %.2f points more", b.Gain)
		}
		if b.Pin {
			words = strings.Replace(words, "without it the plan is worth", "it costs", 1)
			words = strings.TrimSuffix(words, " more")
		}
		from := ""
		if b.From != "" {
			from = " (" + b.From + ")"
		}
		sec.Notes = append(sec.Notes, report.Plain(b.Rule+from+": "+words))
	}
	if plan.NextRest >= 0.005 {
		sec.Notes = append(sec.Notes, report.Say("one more rested bed would add {} points, its lost flowers taken off (--rest)", report.Num(plan.NextRest, 2)))
	}
	return sec, len(sec.Notes) > 0
}

// whyCovers says of each cover why it stands where it does, with the evidence.
func whyCovers(in coverPlan, plan cover.Plan, src *sources) report.Section {
	sec := report.Section{Key: "why", Title: "Why these"}
	type use struct {
		cell cover.Cell
		beds []string
		pts  map[string]map[string][]string // by pest and crop: beds by points
	}
	uses := map[string]*use{}
	for _, b := range plan.Beds {
		for _, c := range b.Chosen() {
			u := uses[c.Key]
			if u == nil {
				u = &use{cell: c, pts: map[string]map[string][]string{}}
				uses[c.Key] = u
			}
			u.beds = append(u.beds, b.Bed)
			for _, t := range c.Score.Terms {
				if math.Abs(t.Points) < 0.005 {
					continue
				}
				k, v := t.Crop+"/"+t.Pest, fmt.Sprintf("%+.2f", t.Points)
				if u.pts[k] == nil {
					u.pts[k] = map[string][]string{}
				}
				u.pts[k][v] = append(u.pts[k][v], b.Bed)
			}
		}
	}
	for _, key := range slices.Sorted(maps.Keys(uses)) {
		u := uses[key]
		it := report.Item{Head: report.Plain(coverName(u.cell) + ": " + strings.Join(u.beds, ", "))}
		for _, t := range u.cell.Score.Terms {
			pts := u.pts[t.Crop+"/"+t.Pest]
			if len(pts) == 0 {
				continue
			}
			it.Details = append(it.Details, evidenceLine(t, pts, len(u.beds), src))
			if t.Effect.Disputed() {
				note := strings.TrimPrefix(t.Effect.Note, "CONTESTED: ")
				if note == "" {
					note = "the cover does both, or sources differ; the score is the cautious middle"
				}
				it.Details = append(it.Details, report.Plain("contested: "+note))
			}
		}
		if len(it.Details) == 0 {
			it.Details = report.Lines("no good evidence that it helps against what presses on these beds; it stands here for the soil alone")
		}
		if s := u.cell.Score; s.SoilPts != 0 {
			it.Details = append(it.Details, report.Say("soil: {} points of nitrogen and dry matter", report.Num(s.SoilPts, 2)))
		}
		sec.Items = append(sec.Items, it)
	}
	if len(sec.Items) == 0 {
		sec.Notes = report.Lines("no cover that fits between digging and planting is known to help against what pressed on these beds")
		if !slices.ContainsFunc(in.beds, func(b cover.Bed) bool { return b.Standing == "" }) {
			sec.Notes = report.Lines("every bed carries a cover that was sown already")
		}
	}
	return sec
}

// unpriced are the names of the covers that a budget alone keeps from the plan,
// as their price is not known, and the key of one of them.
func unpriced(plan cover.Plan) (names []string, key string) {
	for _, b := range plan.Beds {
		for _, c := range b.Cells {
			crop := c.Option.Crop
			if len(c.Option.Mix) > 0 || len(c.Fit.Reasons) == 0 || c.Fit.Reasons[0].Rule != cover.Unpriced || contains(names, crop.Name) {
				continue
			}
			names = append(names, crop.Name)
			if key == "" || crop.ID < key {
				key = crop.ID
			}
		}
	}
	slices.Sort(names)
	return names, key
}

func evidenceLine(t cover.Term, pts map[string][]string, beds int, src *sources) report.Line {
	e := t.Effect
	words := t.Pest + ": "
	if t.Crop != "" {
		words = t.Crop + " on " + words
	}
	switch {
	case e.Score < 0:
		words += fmt.Sprintf("lowers it %d of 3", -e.Score)
	default:
		words += fmt.Sprintf("makes it worse, %d of 3", e.Score)
	}
	var parts []string
	for _, v := range slices.Sorted(maps.Keys(pts)) {
		if len(pts[v]) == beds && beds > 1 {
			parts = append(parts, v+" in each bed")
		} else {
			parts = append(parts, v+" in "+strings.Join(pts[v], ", "))
		}
	}
	words += ", evidence " + e.Grade + "; points " + strings.Join(parts, ", ")
	return report.Plain(words).Cite(src.cite(assess.Ref{Basis: e.Basis, Source: e.Source, URL: e.URL})...)
}

// coverNotes are what the choices rest on without knowing, and what to know; the
// same words for several beds stand once.
func coverNotes(plan cover.Plan) []report.Section {
	group := func(pick func(cover.BedPlan) []string) []report.Line {
		var order []string
		beds := map[string][]string{}
		for _, b := range plan.Beds {
			for _, n := range pick(b) {
				if beds[n] == nil {
					order = append(order, n)
				}
				if !slices.Contains(beds[n], b.Bed) {
					beds[n] = append(beds[n], b.Bed)
				}
			}
		}
		var out []report.Line
		for _, n := range order {
			out = append(out, report.Plain(whichBeds(beds[n], plan)+": "+n))
		}
		return out
	}
	var out []report.Section
	if n := group(func(b cover.BedPlan) []string { return b.Unknown }); len(n) > 0 {
		out = append(out, report.Section{Key: "unknown", Title: "Not known, and counted as no benefit", Notes: n})
	}
	if n := group(func(b cover.BedPlan) []string { return b.Notes }); len(n) > 0 {
		out = append(out, report.Section{Key: "notes", Title: "To know", Notes: n})
	}
	return out
}

// whichBeds names beds of a plan; nearly all are named by those left out.
func whichBeds(beds []string, plan cover.Plan) string {
	var left []string
	for _, b := range plan.Beds {
		if !slices.Contains(beds, b.Bed) {
			left = append(left, b.Bed)
		}
	}
	switch {
	case len(left) == 0 && len(beds) > 1:
		return "all beds"
	case len(left) > 0 && len(beds) > 4*len(left):
		return "all beds but " + strings.Join(left, ", ")
	}
	return strings.Join(beds, ", ")
}

// seedWords is the seed of a choice, crop by crop, in the farm's units.
func (a *App) seedWords(seeds []cover.PartSeed) string {
	var out []string
	for _, s := range seeds {
		if a.farm.Units == units.US {
			out = append(out, fmt.Sprintf("%.2f lb", s.Seed.Lb))
		} else {
			out = append(out, fmt.Sprintf("%.2f kg", s.Seed.Kg))
		}
	}
	return strings.Join(out, " + ")
}

func seedKinds(n int) string {
	if n == 1 {
		return "1 kind of seed"
	}
	return fmt.Sprintf("%d kinds of seed", n)
}
