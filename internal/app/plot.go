package app

import (
	"cmp"
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/plots"
)

// PlotOptions are the words of `plot`.
type PlotOptions struct {
	Date civil.Date
	Pest string
	Beds []string
	Map  bool
	// Years compares the season with earlier ones by week.
	Years bool
	Out   string
}

// Plot draws a picture of the season and returns what it wrote and what the
// picture shows, in words.
func (a *App) Plot(ctx context.Context, o PlotOptions) ([]string, error) {
	if o.Out == "" {
		return nil, diag.Usagef("give it with --out, such as --out mites.png", "no file to draw into")
	}
	if o.Map && o.Pest == "" {
		return nil, diag.Usagef("name the pest, such as `leafturn plot mite --map --out field.svg`", "the map shows one pest")
	}
	if len(o.Beds) > 0 && (o.Map || o.Pest == "") {
		return nil, diag.Usagef("leave --bed out, or name a pest and leave --map out", "--bed goes with the season of one pest")
	}
	if o.Years && (o.Pest == "" || o.Map || len(o.Beds) > 1) {
		return nil, diag.Usagef("name the pest and at most one bed, such as `leafturn plot mite --years --bed D5 --out mites.svg`", "--years compares one pest over the years, in one bed or as the mean of all, and not on the map")
	}
	var p catalog.Pest
	if o.Pest != "" {
		var err error
		if p, err = a.names.findPest(o.Pest); err != nil {
			return nil, err
		}
	}
	s, err := a.snapshotOf(ctx, o.Date, p.Key, nil)
	if err != nil {
		return nil, err
	}
	var figs []plots.Figure
	switch {
	case o.Pest == "":
		figs, err = a.overviewPages(ctx, s)
	case o.Map:
		figs, err = a.mapPages(ctx, s, p)
	default:
		var beds []farm.Bed
		if beds, err = a.names.findBeds(o.Beds); err != nil {
			return nil, err
		}
		figs, err = a.seasonPages(ctx, s, p, beds, o.Years)
	}
	if err != nil {
		return nil, err
	}
	return saveFigures(figs, o.Out)
}

// overviewPages are all pests and beds.
func (a *App) overviewPages(ctx context.Context, s snapshot) ([]plots.Figure, error) {
	list, next, err := a.allPests(ctx, s)
	if err != nil {
		return nil, err
	}
	return overviewPictures(a.overview(s, list, next)), nil
}

// allPests assesses all pests in all beds and says what is to be done next.
func (a *App) allPests(ctx context.Context, s snapshot) ([]assess.Assessment, nextSteps, error) {
	list, err := a.assessments(s, false)
	if err == nil {
		err = a.settleNear(s, list)
	}
	if err != nil {
		return nil, nextSteps{}, err
	}
	next, err := a.nextOf(ctx, s, list)
	return list, next, err
}

// mapPages are the field for one pest.
func (a *App) mapPages(ctx context.Context, s snapshot, p catalog.Pest) ([]plots.Figure, error) {
	list, next, err := a.onePest(ctx, s, p, nil)
	if err != nil {
		return nil, err
	}
	return figures(a.fieldMap(s, list, next).Pages()), nil
}

// seasonPages are one pest over the season: in one bed, by bed, or against
// earlier years.
func (a *App) seasonPages(ctx context.Context, s snapshot, p catalog.Pest, beds []farm.Bed, years bool) ([]plots.Figure, error) {
	switch {
	case years:
		fig, err := a.yearsFigure(ctx, s, p, beds)
		return []plots.Figure{fig}, err
	case len(beds) == 1:
		fig, err := a.bedSeason(ctx, s, p, beds[0])
		return []plots.Figure{fig}, err
	}
	list, next, err := a.onePest(ctx, s, p, beds)
	if err != nil {
		return nil, err
	}
	fig, err := a.pressure(s, list, beds, next)
	return figures(fig.Pages()), err
}

// onePest assesses one pest in some beds, all where none are given, and says
// what is to be done next there.
func (a *App) onePest(ctx context.Context, s snapshot, p catalog.Pest, beds []farm.Bed) ([]assess.Assessment, nextSteps, error) {
	if !contains(a.watched(s), p.Key) {
		return nil, nextSteps{}, nil
	}
	of := s
	if len(beds) > 0 {
		of.beds = beds
	}
	list, err := a.assessmentsOf(of, []string{p.Key}, false)
	if err != nil {
		return nil, nextSteps{}, err
	}
	next, err := a.nextFor(ctx, s, p.Key, list)
	return list, next, err
}

func figures[F plots.Figure](pages []F) []plots.Figure {
	out := make([]plots.Figure, len(pages))
	for i, p := range pages {
		out[i] = p
	}
	return out
}

// saveFigures writes figures, numbered when there are several.
func saveFigures(figs []plots.Figure, out string) ([]string, error) {
	ext := filepath.Ext(out)
	if !contains(plots.Formats, strings.TrimPrefix(strings.ToLower(ext), ".")) {
		return nil, diag.Usagef("end it with .png, .svg or .pdf", "--out %q does not say what kind of picture", out)
	}
	var said []string
	for i, f := range figs {
		name := out
		if len(figs) > 1 {
			name = fmt.Sprintf("%s-%d%s", strings.TrimSuffix(out, ext), i+1, ext)
		}
		if err := f.Check(); err != nil {
			return said, diag.Failf(err, "count something first: `leafturn count`", "%v", err)
		}
		if err := plots.Save(f, name); err != nil {
			return said, diag.Failf(err, "check that the folder is there and may be written, and that there is room", "the picture %q cannot be written: %v", name, err)
		}
		said = append(said, "drawn: "+name, f.Alt())
	}
	return said, nil
}

// season is the span shown of a season: from the first record to the day.
func season(s snapshot) (from, to civil.Date) {
	to = s.on
	from = to
	for _, v := range s.visits {
		if v.Date.Before(from) {
			from = v.Date
		}
	}
	for _, events := range s.stages {
		for _, e := range events {
			if e.Date.Before(from) {
				from = e.Date
			}
		}
	}
	return from, to
}

// plotVisits are the readings of a unit as points of a picture.
func plotVisits(x assess.Assessment, unit string, counts bool) []plots.Visit {
	var out []plots.Visit
	for _, r := range x.Readings {
		if r.Unit.Measure != unit {
			continue
		}
		v := plots.Visit{Date: r.Visit.Date, Mean: r.Value, Interval: &plots.Range{Low: min(r.Low, r.Value), High: max(r.High, r.Value)}, Invalid: strings.Join(r.Invalid, "; ")}
		if counts && !r.Unit.Percent && r.Scale() == 1 {
			v.Counts = r.Visit.Seen()
		}
		out = append(out, v)
	}
	return out
}

// measureOf is the measure to draw: that of the unit with most visits, the
// usual one where nothing was counted.
func measureOf(list []assess.Assessment) (assess.Unit, bool) {
	n := map[string]int{}
	var best assess.Unit
	found := false
	for _, x := range list {
		if !found && len(x.Pest.Units) > 0 {
			best = x.Pest.Units[0]
		}
		for _, r := range x.Readings {
			n[r.Unit.Measure]++
			if !found || n[r.Unit.Measure] > n[best.Measure] {
				best, found = *r.Unit, true
			}
		}
	}
	return best, found
}

// segments are the action and watch levels through a bed's season.
func (a *App) segments(x assess.Assessment, events []farm.StageEvent, u assess.Unit) (act, watch []plots.Segment) {
	type span struct {
		stage farm.Stage
		from  civil.Date
	}
	var spans []span
	for _, e := range sortedStages(events) {
		spans = append(spans, span{e.Stage, e.Date})
	}
	if len(spans) == 0 {
		spans = []span{{x.Stage, civil.Date{}}}
	}
	for i, sp := range spans {
		var to civil.Date
		if i+1 < len(spans) {
			to = spans[i+1].from.AddDays(-1)
		}
		if !to.IsZero() && to.Before(sp.from) {
			continue
		}
		l, w := levelAt(x, u.Measure, sp.stage)
		act = appendSegment(act, l, sp.from, to)
		watch = appendSegment(watch, w, sp.from, to)
	}
	return act, watch
}

func levelAt(x assess.Assessment, measure string, stage farm.Stage) (act, watch *assess.Level) {
	for _, l := range x.Pest.Levels {
		if l.Measure != measure || l.Transfer || l.Operator == "none" || l.Requires != "" && l.Requires != "no_tospovirus" || !stage.Between(l.From, l.To) {
			continue
		}
		switch {
		case l.Kind == "act" && act == nil:
			act = &l
		case l.Kind == "watch" && watch == nil:
			watch = &l
		}
	}
	return act, watch
}

// appendSegment adds a level, joined to the one before where it goes on.
func appendSegment(to []plots.Segment, l *assess.Level, from, until civil.Date) []plots.Segment {
	if l == nil {
		return to
	}
	if n := len(to); n > 0 && to[n-1].Value == l.Value && !to[n-1].To.IsZero() && to[n-1].To.AddDays(1) == from {
		to[n-1].To = until
		return to
	}
	return append(to, plots.Segment{From: from, To: until, Value: l.Value})
}

func sortedStages(events []farm.StageEvent) []farm.StageEvent {
	out := slices.Clone(events)
	slices.SortStableFunc(out, func(x, y farm.StageEvent) int { return x.Date.Compare(y.Date) })
	return out
}

// needOf orders beds by how pressing they are: to act, to look again, stale, others.
func needOf(x assess.Assessment) int {
	order := []plots.Verdict{plots.Act, plots.LookAgain, plots.Stale}
	if i := slices.Index(order, plotVerdict(x)); i >= 0 {
		return i
	}
	return len(order)
}

func (a *App) pressure(s snapshot, list []assess.Assessment, beds []farm.Bed, next nextSteps) (plots.Pressure, error) {
	if len(beds) > 0 {
		list = slices.DeleteFunc(slices.Clone(list), func(x assess.Assessment) bool {
			return !slices.ContainsFunc(beds, func(b farm.Bed) bool { return b.Code == x.Bed.Code })
		})
	} else {
		list = slices.DeleteFunc(slices.Clone(list), func(x assess.Assessment) bool { return len(x.Readings) == 0 })
		slices.SortStableFunc(list, func(x, y assess.Assessment) int { return needOf(x) - needOf(y) })
	}
	u, ok := measureOf(list)
	if !ok {
		return plots.Pressure{}, diag.Failf(plots.ErrNoData, "count some first: `leafturn count`", "nothing of it has been counted this season up to %s", s.on)
	}
	from, to := season(s)
	fig := plots.Pressure{
		Pest: list[0].Pest.Name, Measure: u.Words, Percent: u.Percent, Scale: scaleOf(u), From: from, To: to, AsOf: s.on,
		Source: fmt.Sprintf("%s, %s; 95 %% intervals", a.farm.Name, u.Words),
	}
	for _, x := range list {
		p := plots.Panel{Bed: x.Bed.Code, Visits: plotVisits(x, u.Measure, true), Verdict: plotVerdict(x), Next: next.words(x)}
		p.Act, p.Watch = a.segments(x, s.stages[x.Bed.Code], u)
		for _, t := range s.treatments {
			if t.Bed == x.Bed.Code && t.Pest == x.Pest.Key && s.year.Holds(t.Date) {
				p.Treatments = append(p.Treatments, plots.Event{Date: t.Date, Label: productName(s, t)})
			}
		}
		for _, r := range s.releases {
			if r.Bed == x.Bed.Code && r.Pest == x.Pest.Key {
				p.Releases = append(p.Releases, plots.Event{Date: r.Date, Label: a.agentShort(r.Agent)})
			}
		}
		p.Stages = plotStages(s.stages[x.Bed.Code])
		fig.Panels = append(fig.Panels, p)
	}
	return fig, nil
}

// productName is the product of an application, as its label calls it.
func productName(s snapshot, t farm.Treatment) string {
	return cmp.Or(s.versions[t.ID].Product, t.Label)
}

// agentShort names an agent in a picture: "predatory mite P. persimilis".
func (a *App) agentShort(key string) string {
	g, ok := a.cat.Agent(key)
	if !ok {
		return key
	}
	kind, _, _ := strings.Cut(g.Name, " for ")
	genus, species, ok := strings.Cut(g.Latin, " ")
	if !ok || genus == "" {
		return strings.TrimSpace(kind + " " + g.Latin)
	}
	return kind + " " + genus[:1] + ". " + species
}

// An overview's page holds so many beds and pests: printed on one sheet it can
// be read at arm's length.
const (
	overviewBeds  = 8
	overviewPests = 6
)

// overviewPictures are the pages of all pests and beds: where most were not
// counted and one page does not hold them, what was counted alone.
func overviewPictures(o plots.Overview) []plots.Figure {
	pages := o.ByNeed().Pages()
	if len(pages) > 1 && o.Sparse() {
		return figures(o.ByNeed().Packed())
	}
	return figures(pages)
}

func (a *App) overview(s snapshot, list []assess.Assessment, next nextSteps) plots.Overview {
	from, to := season(s)
	o := plots.Overview{
		Title: "All pests and beds, " + s.year.Name(), From: from, To: to, AsOf: s.on,
		Source: a.farm.Name + "; visit means with 95 % intervals, lines are action levels",
		Todo:   next.todo(list), PerPage: overviewBeds, RowsPerPage: overviewPests,
	}
	for _, b := range s.beds {
		o.Columns = append(o.Columns, b.Code)
	}
	for _, key := range a.watched(s) {
		mine := slices.DeleteFunc(slices.Clone(list), func(x assess.Assessment) bool { return x.Pest.Key != key })
		u, ok := measureOf(mine)
		if !ok {
			if p, ok := a.cat.Pest(key); ok { // a row of blanks says nothing
				o.Uncounted = append(o.Uncounted, p.Name)
			}
			continue
		}
		row := plots.Row{Pest: mine[0].Pest.Name, Measure: u.Words, Percent: u.Percent, Scale: scaleOf(u)}
		for _, x := range mine {
			c := plots.Cell{Visits: plotVisits(x, u.Measure, false), Verdict: plotVerdict(x), Next: next.short(x), Over: dugOver(x)}
			c.Act, c.Watch = a.segments(x, s.stages[x.Bed.Code], u)
			row.Cells = append(row.Cells, c)
		}
		o.Rows = append(o.Rows, row)
	}
	return o
}
