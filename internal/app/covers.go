package app

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/cover"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/report"
	"leafturn/internal/store"
	"leafturn/internal/units"
)

// pressures sums up a bed's season: for each pest that was counted, the
// pressure 0 to 3 from the chances of being over the action level, visit by
// visit.
func pressures(list []assess.Assessment, bed string) ([]cover.Pressure, error) {
	var out []cover.Pressure
	for _, x := range list {
		if x.Bed.Code != bed || len(x.Readings) == 0 {
			continue
		}
		var chances []float64
		for _, r := range x.Readings {
			if r.Valid() {
				chances = append(chances, r.Chance)
			}
		}
		peak, weeks := peakPressure(chances)
		score, err := cover.PressureScore(peak, weeks)
		if err != nil {
			return nil, err
		}
		out = append(out, cover.Counted(x.Pest.Key, float64(score)))
	}
	return out, nil
}

// fieldPressures are the highest pressures of any bed.
func (a *App) fieldPressures(s snapshot, list []assess.Assessment) ([]cover.Pressure, error) {
	best := map[string]float64{}
	known := map[string]bool{}
	for _, b := range s.beds {
		ps, err := pressures(list, b.Code)
		if err != nil {
			return nil, err
		}
		for _, p := range ps {
			known[p.Pest] = true
			best[p.Pest] = max(best[p.Pest], p.Score)
		}
	}
	var out []cover.Pressure
	for _, k := range a.watched(s) {
		if known[k] {
			out = append(out, cover.Counted(k, best[k]))
		} else {
			out = append(out, cover.Pressure{Pest: k})
		}
	}
	return out, nil
}

// CoverOptions are the words of `covers`.
type CoverOptions struct {
	Pest, Rest, Dig, Plant string
	Keep                   bool
}

// digAfterFrost is how many days after the average first frost the beds are
// dug when the grower gives no day. Common practice.
const digAfterFrost = 8

// barePenalty is what bare soil through a winter costs in points: enough to
// prefer any cover that does no harm, too little to outweigh a pest. Common
// practice.
const barePenalty = 0.5

func coverCrop(c catalog.Cover) cover.Crop {
	whole := func(v *float64) *int {
		if v == nil {
			return nil
		}
		n := int(*v)
		return &n
	}
	x := cover.Crop{
		ID: c.Key, Name: c.Name, Latin: c.Latin, Family: strings.Fields(c.Family)[0], SowRel: c.SowRel, DaysToUsable: whole(c.DaysToUsable),
		LeadDays: whole(c.LeadDaysDefault), MinSoilC: c.MinSoilC, HardyZone: c.HardyZone, KillC: c.KillC,
	}
	for _, s := range c.Slots {
		x.Slots = append(x.Slots, cover.Slot(s))
	}
	x.RateKgHa = mid(c.BroadcastKgHaMin, c.BroadcastKgHaMax)
	if x.RateKgHa == nil {
		x.RateKgHa = mid(c.DrillKgHaMin, c.DrillKgHaMax)
	}
	if p := mid(c.PriceUSDLbLow, c.PriceUSDLbHigh); p != nil {
		perKg := *p / units.Of(1, "lb").MustIn("kg")
		x.USDPerKg = &perKg
	}
	return x
}

func mid(low, high *float64) *float64 {
	if low == nil || high == nil {
		return nil
	}
	v := (*low + *high) / 2
	return &v
}

// coverChoices are all ways to use a bed that the catalogue knows.
func (a *App) coverChoices() []cover.Option {
	var out []cover.Option
	for _, c := range a.cat.Covers() {
		var effects []cover.Effect
		for _, e := range a.cat.CoverEffects(c.Key) {
			effects = append(effects, cover.Effect{
				Pest: e.Pest, Direction: e.Direction, Score: e.Score, Grade: e.Evidence, Basis: e.Basis,
				Contested: strings.Contains(e.Note, "CONTESTED"), Source: e.Source, Note: e.Note,
			})
		}
		out = append(out, cover.Options(coverCrop(c), effects)...)
	}
	return out
}

// Covers ranks covers against a pest, or plans them bed by bed.
func (a *App) Covers(ctx context.Context, day civil.Date, o CoverOptions) (*report.Document, error) {
	s, err := a.snapshot(ctx, day)
	if err != nil {
		return nil, err
	}
	list, err := a.assessments(s, false)
	if err != nil {
		return nil, err
	}
	if o.Pest != "" {
		if o.Keep {
			return nil, diag.Usagef("leave out --pest to plan by bed", "--keep stores a plan by bed, not a ranking")
		}
		return a.rankCovers(s, list, o.Pest)
	}
	return a.planCovers(ctx, s, list, o)
}

func (a *App) rankCovers(s snapshot, list []assess.Assessment, word string) (*report.Document, error) {
	// Soil problems that are no pest kept here may be asked for as well.
	key, name := word, strings.ReplaceAll(word, "_", " ")
	if !contains(catalog.SoilProblems(), word) {
		p, err := a.names.findPest(word)
		if err != nil {
			return nil, err
		}
		key, name = p.Key, p.Name
	}
	field, err := a.fieldPressures(s, list)
	if err != nil {
		return nil, err
	}
	ranked := cover.Rank(key, a.coverChoices(), field, cover.DefaultRules().Weights)
	doc := a.document("Cover crops against "+name, s.on)
	t := &report.Table{Columns: []report.Column{{Title: "Cover"}, {Title: "Effect on it"}, {Title: "Evidence"}, {Title: "Points", Decimals: 1}, {Title: "May make worse"}}}
	var unknown []string
	for _, r := range ranked {
		if !r.Known {
			unknown = append(unknown, r.Option.Crop.Name)
			continue
		}
		var worse []string
		for _, w := range r.Worse {
			worse = append(worse, w.Pest)
		}
		effect := fmt.Sprintf("%s (%+d)", r.Effect.Direction, r.Effect.Score)
		if r.Contested {
			effect += ", contested"
		}
		label := r.Option.Crop.Name
		if r.Option.Rest {
			label += ", bed rested"
		}
		t.Rows = append(t.Rows, []report.Value{report.Text(label), report.Text(effect), report.Text(r.Effect.Grade), report.Num(r.Value, 1), report.Text(strings.Join(worse, ", "))})
	}
	sec := report.Section{Key: "ranking", Table: t, Notes: report.Lines(
		"evidence: A replicated field trials, B one trial or greenhouse, C extension advice, D anecdote; on other crops than dahlia",
		"a negative score is fewer pests; points are the pressure on this farm times the score times the weight of the evidence")}
	if len(t.Rows) == 0 {
		sec = report.Section{Key: "ranking", Lead: report.Plain("No evidence about any cover and this pest was found. That is not known, not \"no effect\".")}
	}
	doc.Sections = []report.Section{sec}
	if len(unknown) > 0 {
		slices.Sort(unknown)
		doc.Sections = append(doc.Sections, report.Section{Key: "unknown", Title: "Not known", Lead: report.Plain(strings.Join(slices.Compact(unknown), ", "))})
	}
	doc.Data = ranksData(ranked)
	return doc, nil
}

// coverSite is what the plan needs of the farm's climate. Soil temperatures
// are the monthly means of the days measured.
func (a *App) coverSite(days map[civil.Date]farm.WeatherDay) cover.Site {
	site := cover.Site{LastFrost: a.farm.LastFrost, FirstFrost: a.farm.FirstFrost, Zone: a.farm.HardinessZone}
	var sum, n [12]float64
	for d, w := range days {
		if w.SoilC != nil && !w.Forecast {
			sum[d.Month-1] += *w.SoilC
			n[d.Month-1]++
		}
	}
	for m := range sum {
		if n[m] >= 10 {
			v := sum[m] / n[m]
			site.SoilC[m] = &v
		}
	}
	return site
}

func (a *App) planCovers(ctx context.Context, s snapshot, list []assess.Assessment, o CoverOptions) (*report.Document, error) {
	if a.farm.LastFrost.IsZero() || a.farm.FirstFrost.IsZero() {
		return nil, diag.Failf(nil, "set them with `leafturn farm set --last-frost MM-DD --first-frost MM-DD`", "the sowing windows follow from the frost dates, and the farm has none")
	}
	rest, err := strconv.Atoi(o.Rest)
	if err != nil || rest < 0 || rest > len(s.beds) {
		return nil, diag.Usagef(fmt.Sprintf("give 0 to %d", len(s.beds)), "--rest %q is not a number of beds", o.Rest)
	}
	// The plan is for the coming winter: the season's own year until its end.
	dig, plant := a.farm.FirstFrost.In(s.on.Year).AddDays(digAfterFrost), a.farm.LastFrost.In(s.on.Year+1).AddDays(plantingAfterFrost)
	for _, x := range []struct {
		flag, text string
		to         *civil.Date
	}{{"dig", o.Dig, &dig}, {"plant", o.Plant, &plant}} {
		if x.text == "" {
			continue
		}
		d, err := civil.Parse(x.text)
		if err != nil {
			return nil, diag.Usagef("write it as YYYY-MM-DD", "--%s: %v", x.flag, err)
		}
		*x.to = d
	}
	if !plant.After(dig) {
		return nil, diag.Usagef("check --dig and --plant", "planting on %s would come before digging on %s", plant, dig)
	}
	history, weather, err := a.coverHistory(ctx, s.on)
	if err != nil {
		return nil, err
	}
	var beds []cover.Bed
	for _, b := range s.beds {
		ps, err := pressures(list, b.Code)
		if err != nil {
			return nil, err
		}
		free := dig
		for _, e := range s.stages[b.Code] {
			if e.Stage == farm.Dug && o.Dig == "" {
				free = e.Date.AddDays(1)
			}
		}
		beds = append(beds, cover.Bed{Code: b.Code, AreaM2: b.AreaM2(), FreeFrom: free, PlantBy: plant, Pressure: ps, History: history[b.Code]})
	}
	rules := cover.DefaultRules()
	rules.MaxRested = rest
	rules.BarePenalty = barePenalty
	plan, err := cover.PlanBeds(beds, a.coverChoices(), a.coverSite(weather), rules)
	if err != nil {
		return nil, err
	}
	if o.Keep {
		err = a.st.Update(ctx, func(tx *store.Tx) error {
			for _, b := range plan.Beds {
				if b.Chosen.Key == cover.None {
					continue
				}
				c := b.Chosen.Fit.Choice
				if _, err := tx.AddCover(farm.PlannedCover{Bed: b.Bed, Cover: b.Chosen.Option.Crop.ID, Sow: c.Sow, Kill: c.Kill}, a.now); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return nil, kept(err, "the plan was not stored")
		}
	}
	return a.coverDocument(s, plan, dig, plant, o.Keep), nil
}

// coverHistory reads the covers planned in the last four years and the
// weather of the last year.
func (a *App) coverHistory(ctx context.Context, on civil.Date) (map[string][]cover.Grown, map[civil.Date]farm.WeatherDay, error) {
	out := map[string][]cover.Grown{}
	days := map[civil.Date]farm.WeatherDay{}
	err := a.st.View(ctx, func(tx *store.Tx) error {
		past, err := tx.Covers(store.Filter{From: on.AddDays(-4 * 366), To: on})
		if err != nil {
			return err
		}
		for _, p := range past {
			for _, c := range a.cat.Covers() {
				if c.Key == p.Cover {
					out[p.Bed] = append(out[p.Bed], cover.Grown{Family: strings.Fields(c.Family)[0], Year: p.Sow.Year})
				}
			}
		}
		ws, err := tx.Weather(on.AddDays(-365), on)
		for _, w := range ws {
			days[w.Date] = w
		}
		return err
	})
	return out, days, err
}

func (a *App) coverDocument(s snapshot, plan cover.Plan, dig, plant civil.Date, stored bool) *report.Document {
	doc := a.document("Cover crops by bed", s.on)
	doc.Subtitle = fmt.Sprintf("from digging, about %s, to planting, %s", dig.Short(), plant.Short()+" "+strconv.Itoa(plant.Year))
	t := &report.Table{Columns: []report.Column{{Title: "Bed"}, {Title: "Cover"}, {Title: "Sow from"}, {Title: "End by"}, {Title: "Seed"}, {Title: "Points", Decimals: 2}, {Title: "Next best"}}}
	var notes []report.Line
	seen := map[string]bool{}
	for _, b := range plan.Beds {
		c := b.Chosen
		name, sow, kill, seed := "none", report.Text(""), report.Text(""), report.Text("")
		if c.Key != cover.None {
			name = c.Option.Crop.Name
			if c.Option.Rest {
				name += ", bed rested"
			}
			sow, kill = report.Text(c.Fit.Choice.Sow.Short()), report.Text(c.Fit.Choice.Kill.Short())
			if c.SeedOK {
				seed = report.Text(a.seedWords(c.Seed))
			} else {
				seed = report.Missing("no rate is known")
			}
		}
		next := ""
		if len(b.Alternatives) > 0 {
			alt := b.Alternatives[0]
			next = alt.Cell.Key
			if alt.Cell.Key != cover.None {
				next = alt.Cell.Option.Crop.Name
			}
			next = fmt.Sprintf("%s (gives up %.2f)", next, alt.GivesUp)
		}
		t.Rows = append(t.Rows, []report.Value{report.Text(b.Bed), report.Text(name), sow, kill, seed, report.Num(c.Value, 2), report.Text(next)})
		for _, n := range append(slices.Clone(b.Notes), unknownWords(b)...) {
			if key := n; !seen[key] {
				seen[key] = true
				notes = append(notes, report.Plain(b.Bed+": "+n))
			}
		}
	}
	doc.Sections = []report.Section{{Key: "plan", Table: t, Notes: []report.Line{
		report.Say("total {} points; {}", report.Num(plan.Total, 2), plan.Proof),
		report.Plain("points: pressure 0 to 3 from this season's counts, times the score of the cover against the pest, times the weight of the evidence (A 1, B 0.7, C 0.4, D 0.1), less seed cost; bare soil in winter costs 0.5"),
	}}}
	if len(plan.Rested) > 0 {
		doc.Sections[0].Notes = append(doc.Sections[0].Notes, report.Plain("rested, without dahlias: "+strings.Join(plan.Rested, ", ")))
	}
	if stored {
		doc.Sections[0].Notes = append(doc.Sections[0].Notes, report.Plain("the plan is stored"))
	}
	if len(notes) > 0 {
		doc.Sections = append(doc.Sections, report.Section{Key: "notes", Title: "To know", Notes: notes})
	}
	doc.Sections = append(doc.Sections, a.coverSources(plan))
	doc.Data = coverPlanData(plan, dig, plant, stored)
	return doc
}

func unknownWords(b cover.BedPlan) []string {
	if len(b.Unknown) == 0 {
		return nil
	}
	return []string{"not known, and counted as no benefit: " + strings.Join(b.Unknown, "; ")}
}

func (a *App) seedWords(s cover.Seed) string {
	if a.farm.Units == units.US {
		return fmt.Sprintf("%.2f lb", s.Lb)
	}
	return fmt.Sprintf("%.2f kg", s.Kg)
}

// coverSources lists what the chosen covers rest on.
func (a *App) coverSources(plan cover.Plan) report.Section {
	s := report.Section{Key: "why", Title: "Why these"}
	done := map[string]bool{}
	for _, b := range plan.Beds {
		c := b.Chosen
		if c.Key == cover.None || done[c.Key] {
			continue
		}
		done[c.Key] = true
		for _, term := range c.Score.Terms {
			if term.Points == 0 {
				continue
			}
			words := fmt.Sprintf("%s: %s", c.Option.Crop.Name, term)
			if term.Effect.Source != "" {
				words += "; " + term.Effect.Source
			} else {
				words += "; " + term.Effect.Basis
			}
			s.Notes = append(s.Notes, report.Plain(words))
		}
	}
	if len(s.Notes) == 0 {
		s.Notes = report.Lines("no cover that fits between digging and planting is known to help against what pressed on these beds")
	}
	return s
}
