package app

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/companion"
	"leafturn/internal/cover"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/report"
	"leafturn/internal/units"
)

// CompanionOptions are the words of `companions`.
type CompanionOptions struct {
	Pests         []string
	Year          string
	Only, Without string // plants, separated by commas
	Margin        string // free ground round the beds
	Draw          string // file of the picture
}

// pastSeasons is how many seasons before this one are looked at for the weeks
// in which pests press. Common practice.
const pastSeasons = 3

// yearsAhead is how far ahead companions can be planned.
const yearsAhead = 5

// companionPlan is all that `companions` computes.
type companionPlan struct {
	lead    string
	advice  companion.Advice
	season  companion.Season
	needs   []companion.Need
	never   []string // pests watched, known to companions, without counts this season
	uncount []string // pests that press by the grower's word and that no season stored has a count of
	unfed   []string // pests that press, whose enemies no plant in the facts feeds
	chosen  []chosenPlant
	rest    []companion.Suggestion
	weeks   []companion.CalendarWeek
	avoid   []avoidLine
	named   bool     // plants were named by --only
	skipped []string // named by --only, but with no part in what presses
}

// chosenPlant is one plant that is planned.
type chosenPlant struct {
	companion.Suggestion
	facts  catalog.CompanionPlant
	layout companion.Layout
	timing companion.Timing
	serves []string // pests whose enemies it feeds
}

// placed reports whether there is a place for it.
func (p chosenPlant) placed() bool { return p.layout.Why == "" }

// blooming reports whether its bloom counts: it is a flower with a place, and
// its sowings are planned or not known.
func (p chosenPlant) blooming() bool {
	return p.placed() && !p.Bloom.NotAFlower && strings.TrimSpace(p.BloomWindow) != "" && (len(p.timing.Sowings) > 0 || p.timing.Unknown != "")
}

// Companions suggests companion plants for the farm's pests, or for those
// named, lays them out and plans their sowings.
func (a *App) Companions(ctx context.Context, day civil.Date, o CompanionOptions) (*report.Document, []string, error) {
	p, err := a.companionPlan(ctx, day, o)
	if err != nil {
		return nil, nil, err
	}
	doc := a.companionDocument(p, day)
	said, err := a.drawBloom(p, doc, day, o.Draw)
	if err != nil {
		return nil, nil, err
	}
	return doc, said, nil
}

func (a *App) companionPlan(ctx context.Context, day civil.Date, o CompanionOptions) (*companionPlan, error) {
	p := &companionPlan{named: o.Only != ""}
	if o.Draw != "" && !pictureFile(o.Draw) {
		return nil, diag.Usagef("end it with .png, .svg or .pdf", "--draw %q does not say what kind of picture", o.Draw)
	}
	var err error
	if p.season, err = a.companionSeason(day, o.Year); err != nil {
		return nil, err
	}
	only, err := a.plantsOf("only", o.Only)
	if err != nil {
		return nil, err
	}
	without, err := a.plantsOf("without", o.Without)
	if err != nil {
		return nil, err
	}
	for _, name := range only {
		if slices.Contains(without, name) {
			return nil, diag.Usagef("take it out of one of them", "%s is named by --only and by --without", name)
		}
	}
	ground, err := companionGround(o.Margin)
	if err != nil {
		return nil, err
	}
	seasons, err := a.seasonsCounted(ctx, day)
	if err != nil {
		return nil, err
	}
	field, err := a.companionPressures(p, seasons, o.Pests)
	if err != nil {
		return nil, err
	}
	opt := companion.DefaultOptions()
	opt.Units = a.farm.Units
	p.advice, err = companion.Suggest(field, companion.CapVisits(a.companionRows()), opt)
	if err != nil {
		return nil, err
	}
	for _, f := range field {
		if !f.Known && len(a.cat.Companions(f.Pest)) > 0 {
			p.never = append(p.never, f.Pest)
		}
	}
	a.companionNeeds(p, seasons, field)
	infected := virusFound(seasons)
	for _, g := range p.advice.Suggestions {
		facts, ok := a.cat.CompanionPlant(g.Plant)
		named := slices.Contains(only, g.Plant)
		if !ok || !named && (len(only) > 0 || g.Verdict != companion.Try) || slices.Contains(without, g.Plant) {
			p.rest = append(p.rest, g)
			continue
		}
		x := chosenPlant{Suggestion: g, facts: facts, serves: feeds(g)}
		if x.layout, err = a.placePlant(x, seasons, ground, infected); err != nil {
			return nil, err
		}
		ground.Taken = append(ground.Taken, x.layout.Takes...)
		x.timing = companion.Plan(companion.Crop{
			Plant: g.Plant, SowWindow: g.SowWindow, BloomWindow: g.BloomWindow, BloomsIn: facts.BloomsIn, BloomDays: facts.BloomDays, RaiseDays: facts.RaiseDays, Perennial: facts.Life == "perennial", Serves: x.serves,
		}, p.needs, p.season)
		p.chosen = append(p.chosen, x)
	}
	for _, name := range only {
		if !slices.ContainsFunc(p.chosen, func(x chosenPlant) bool { return x.Plant == name }) {
			p.skipped = append(p.skipped, a.notConcerned(name))
		}
	}
	shareNotes(p.chosen)
	a.companionCalendar(p)
	p.avoid = a.avoidLines(p, seasons, infected)
	return p, nil
}

// companionSeason is the season to plan for: the coming one where no year is
// named, which is this year's until the dahlias are planted.
func (a *App) companionSeason(day civil.Date, word string) (companion.Season, error) {
	year := a.farm.Season(day)
	s := companion.Season{Year: year.Year(), South: year.South(), Today: day, LastFrost: a.farm.LastFrost, FirstFrost: a.farm.FirstFrost, PlantAfterFrost: plantingAfterFrost, Latitude: a.farm.Latitude}
	planting := year.Like(civil.MonthDay{Month: time.June, Day: 1})
	if !a.farm.LastFrost.IsZero() {
		planting = year.Day(a.farm.LastFrost).AddDays(plantingAfterFrost)
	}
	if !day.Before(planting) {
		s.Year++
	}
	if word == "" {
		return s, nil
	}
	y, ok := farm.ParseSeason(word, s.South)
	if !ok || y.Year() < year.Year() || y.Year() > year.Year()+yearsAhead {
		what := "year"
		if s.South {
			what = "season"
		}
		return s, diag.Usagef(fmt.Sprintf("give a %s from %s to %s", what, year.Name(), year.Back(-yearsAhead).Name()), "--year %q is not a season that can be planned", word)
	}
	s.Year = y.Year()
	return s, nil
}

// plantsOf reads plants separated by commas.
func (a *App) plantsOf(flag, text string) ([]string, error) {
	if text == "" {
		return nil, nil
	}
	var out []string
	for _, w := range strings.Split(text, ",") {
		w = strings.TrimSpace(w)
		p, ok := a.cat.CompanionByWord(w)
		if !ok {
			return nil, diag.Usagef("name plants by one word each, separated by commas: "+strings.Join(plantKeys(a.cat), ", "), "--%s: unknown plant %q%s", flag, w, diag.DidYouMean(catalog.Word(w), a.cat.CompanionWords()))
		}
		if !slices.Contains(out, p.Plant) {
			out = append(out, p.Plant)
		}
	}
	return out, nil
}

func plantKeys(cat *catalog.Catalog) []string {
	var out []string
	for _, p := range cat.CompanionPlants() {
		out = append(out, p.Key)
	}
	return out
}

func companionGround(word string) (companion.Ground, error) {
	g := companion.DefaultGround()
	if word == "" {
		return g, nil
	}
	q, err := units.ParseAs(word, units.Length, "")
	if err != nil || !(q.Base() >= 0 && q.Base() <= mostMargin) {
		return g, diag.Usagef("give a length with its unit, such as \"12 m\" or \"40 ft\"", "--margin %q is not the width of free ground round the beds", word)
	}
	g.MarginM = q.Base()
	return g, nil
}

// mostMargin is the widest free ground round the beds that is believed, in m.
const mostMargin = 1000

// seasonCounts is one season with the readings of its counts.
type seasonCounts struct {
	snapshot
	list []assess.Assessment
}

// seasonsCounted are the seasons with counts, the latest first: this one up to
// the day, and those before up to their end. The first is this one in any case.
func (a *App) seasonsCounted(ctx context.Context, day civil.Date) ([]seasonCounts, error) {
	var out []seasonCounts
	for back := 0; back <= pastSeasons; back++ {
		on := day
		if back > 0 {
			on = a.farm.Season(day).Back(back).Last
		}
		s, err := a.snapshot(ctx, on)
		if err != nil {
			return nil, err
		}
		if back > 0 && len(s.visits) == 0 {
			continue
		}
		list, err := a.assessments(s, false)
		if err != nil {
			return nil, err
		}
		out = append(out, seasonCounts{s, list})
	}
	return out, nil
}

func (a *App) companionRows() []companion.Row {
	var rows []companion.Row
	for _, c := range a.cat.Companions("") {
		_, contested := a.cat.CompanionDispute(c.Plant, c.Pest)
		rows = append(rows, companion.Row{
			Contested: contested,
			Plant:     c.Plant, Latin: c.Latin, Family: c.Family, Pest: c.Pest, Role: c.Role, Enemies: c.NaturalEnemies, Placement: c.Placement,
			SowWindow: c.SowWindow, BloomWindow: c.BloomWindow, Risk: c.Risk, Score: c.Score, Grade: c.Evidence,
			Basis: c.Basis, Source: c.Source, URL: c.URL, Note: c.Note,
		})
	}
	return rows
}

// feeding reports whether a plant in this part feeds natural enemies with its
// flowers.
func feeding(role string) bool {
	return strings.Contains(role, "insectary") || strings.Contains(role, "banker") || strings.Contains(role, "nectar")
}

// companionNeeds finds the weeks in which the enemies of the pests that press
// are needed, from the counts of all seasons: of those whose enemies flowers
// are known to feed.
func (a *App) companionNeeds(p *companionPlan, seasons []seasonCounts, field []cover.Pressure) {
	var fed []string
	for _, f := range field {
		switch {
		case !f.Known || f.Score <= 0:
		case slices.ContainsFunc(a.cat.Companions(f.Pest), func(c catalog.Companion) bool {
			b, _ := companion.ParseBloom(c.BloomWindow)
			return c.Score < 0 && feeding(c.Role) && !b.NotAFlower
		}):
			fed = append(fed, f.Pest)
		default:
			p.unfed = append(p.unfed, f.Pest)
		}
	}
	var curves []companion.Curve
	for _, s := range seasons {
		for _, x := range s.list {
			if !slices.Contains(fed, x.Pest.Key) {
				continue
			}
			c := companion.Curve{Pest: x.Pest.Key, Bed: x.Bed.Code}
			for _, r := range x.Readings {
				if r.Valid() && !math.IsNaN(r.ChanceThen) {
					c.Points = append(c.Points, companion.ChanceOn{On: r.Visit.Date, Chance: r.ChanceThen})
				}
			}
			slices.SortStableFunc(c.Points, func(x, y companion.ChanceOn) int { return x.On.Compare(y.On) })
			if len(c.Points) > 0 {
				curves = append(curves, c)
			}
		}
	}
	p.needs = companion.Needed(curves, p.season, companion.DefaultNeedOptions())
	for _, pest := range fed {
		if !slices.ContainsFunc(p.needs, func(n companion.Need) bool { return n.Pest == pest }) {
			p.uncount = append(p.uncount, pest)
		}
	}
}

// feeds are the pests whose natural enemies a plant feeds with its flowers.
func feeds(g companion.Suggestion) []string {
	var out []string
	for _, e := range g.Effects {
		if e.Points > 0 && feeding(e.Row.Role) && !g.Bloom.NotAFlower {
			out = append(out, e.Row.Pest)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// virusApartM is how far a host of a virus keeps from the beds where the virus
// was found on the farm. Common practice.
const virusApartM = 10

// placePlant lays a plant out on the farm's beds. Beds under pressure are
// those where a pest that it lowers pressed in the latest season with counts.
func (a *App) placePlant(x chosenPlant, seasons []seasonCounts, g companion.Ground, infected map[string][]string) (companion.Layout, error) {
	f := x.facts
	plan := companion.Planting{
		Plant: x.Plant, Kind: companion.Kind(f.Kind), SpacingM: f.SpacingM, FromBedM: f.FromBedM, WidthM: f.WidthM, ReachM: f.ReachM,
		AreaPerUnitM2: f.AreaPerUnitM2, Amount: f.Amount, AmountPer: companion.Per(f.AmountPer), Units: a.farm.Units,
	}
	if len(f.Viruses) > 0 && len(infected) > 0 {
		if plan.Kind.AtTheBeds() {
			return companion.Layout{Plant: x.Plant, Why: fmt.Sprintf("it hosts %s, signs of a virus were found here, and it would stand less than %s from the dahlias", strings.Join(f.Viruses, " and "), a.farm.Units.Length(virusApartM))}, nil
		}
		apart := float64(virusApartM)
		if plan.FromBedM == nil || *plan.FromBedM < apart {
			plan.FromBedM = &apart
		}
	}
	s := seasons[0]
	if len(s.visits) == 0 && len(seasons) > 1 {
		s = seasons[1]
	}
	byBed, err := a.carriedPressures(s.snapshot, s.list)
	if err != nil {
		return companion.Layout{}, err
	}
	if len(seasons) > 1 && s.on == seasons[0].on { // as companionPressures
		last, err := a.carriedPressures(seasons[1].snapshot, seasons[1].list)
		if err != nil {
			return companion.Layout{}, err
		}
		counted := map[string]bool{}
		for _, list := range byBed {
			for _, x := range list {
				counted[x.Pest] = counted[x.Pest] || x.Known
			}
		}
		for code, list := range last {
			for _, x := range list {
				if !counted[x.Pest] {
					byBed[code] = append(byBed[code], x)
				}
			}
		}
	}
	var plots []companion.Plot
	for _, b := range seasons[0].beds {
		pressed := slices.ContainsFunc(byBed[b.Code], func(p cover.Pressure) bool {
			return p.Known && p.Score >= leastPressure && slices.ContainsFunc(x.Effects, func(e companion.Effect) bool { return e.Row.Pest == p.Pest && e.Points > 0 })
		})
		plots = append(plots, companion.Plot{
			Code: b.Code, X: b.X, Y: b.Y, LengthM: b.LengthM, WidthM: b.WidthM, Rows: b.Rows, House: b.Site == farm.House,
			Dahlias: b.CropWord() == farm.Bed{}.CropWord(), Pressed: pressed,
		})
	}
	return companion.Place(plan, plots, g)
}

// shareNotes says of each plant which other, higher in the list, has the same
// ends of beds or the same lines in them.
func shareNotes(plants []chosenPlant) {
	for i := range plants {
		for j := range i {
			x, y := &plants[i], &plants[j]
			if !x.placed() || !y.placed() || x.facts.Kind != y.facts.Kind || !slices.Contains([]companion.Kind{companion.BedEnds, companion.InBedRow, companion.BesideBed}, companion.Kind(x.facts.Kind)) {
				continue
			}
			if slices.ContainsFunc(x.layout.Spots, func(s companion.Spot) bool {
				return slices.ContainsFunc(y.layout.Spots, func(o companion.Spot) bool { return s.Bed == o.Bed && s.Side == o.Side })
			}) {
				x.layout.Notes = append(x.layout.Notes, "it shares places with "+y.Plant+": mix the two there, or choose one")
			}
		}
	}
}

// shortChoice is the plants, the best evidence first, of which each covers
// weeks of need that those before it do not.
func (p *companionPlan) shortChoice() []chosenPlant {
	have := map[string]bool{}
	var out []chosenPlant
	for _, x := range p.chosen {
		if !x.blooming() {
			continue
		}
		more := false
		for _, n := range p.needs {
			for _, w := range n.Weeks {
				k := fmt.Sprintf("%s %d", n.Pest, w)
				if slices.Contains(x.serves, n.Pest) && slices.Contains(x.timing.Covered, w) && !have[k] {
					have[k], more = true, true
				}
			}
		}
		if more {
			out = append(out, x)
		}
	}
	return out
}

// notConcerned says why a plant that was named is not planned.
func (a *App) notConcerned(name string) string {
	var pests []string
	for _, c := range a.cat.Companions("") {
		if c.Plant == name && !contains(pests, c.Pest) {
			pests = append(pests, c.Pest)
		}
	}
	return fmt.Sprintf("%s is left out: it is known for %s, and that does not press here. Name the pest to plan it: `leafturn companions %s`", name, strings.Join(pests, ", "), pests[0])
}

// companionCalendar puts the weeks of bloom and of need side by side. Of a
// plant without a place nothing blooms.
func (a *App) companionCalendar(p *companionPlan) {
	var timings []companion.Timing
	serves := map[string][]string{}
	for _, x := range p.chosen {
		if x.blooming() {
			timings = append(timings, x.timing)
			serves[x.Plant] = x.serves
		}
	}
	p.weeks = companion.Calendar(timings, serves, p.needs, p.season)
}

func upperWord(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
