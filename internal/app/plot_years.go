package app

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/store"
	"leafturn/plots"
)

// mostYears is how many earlier years a picture compares with.
const mostYears = 10

// yearWeek is one count of a season, or the mean of several of one bed.
type yearWeek struct {
	year, week int // ISO; the year in which the season began
	bed        string
	value      float64
	passed     bool // at or over the action level of its own day
	compared   bool // there was one
	staged     bool // the bed's stage was noted
}

// levelThen is the action level of a visit's day, nil for none.
type levelThen struct {
	level  *assess.Level
	staged bool // stages of the bed were noted that season
}

// yearsFigure compares this season of a pest with earlier ones, in one bed or
// as the mean of all beds.
func (a *App) yearsFigure(ctx context.Context, s snapshot, p catalog.Pest, beds []farm.Bed) (plots.Years, error) {
	fig := plots.Years{Pest: p.Name, Where: "mean of the beds counted", Several: true, AsOf: s.on, South: s.year.South()}
	in := func(bed string) bool { return true }
	if len(beds) == 1 {
		fig.Where, fig.Several = "bed "+beds[0].Code, false
		in = func(bed string) bool { return bed == beds[0].Code }
	}
	years, err := a.countedYears(ctx, s.year, p.Key, in)
	if err != nil {
		return fig, err
	}
	var all []assess.Reading
	levels := map[int64]levelThen{}
	var now assess.Pest
	for _, year := range append(years, s.year.Year()) {
		then := s
		if back := s.year.Year() - year; back > 0 {
			if then, err = a.snapshotOf(ctx, s.year.Back(back).Last, p.Key, nil); err != nil {
				return fig, err
			}
		}
		facts, readings, err := a.yearReadings(then, p, in, levels)
		if err != nil {
			return fig, err
		}
		now, all = facts, append(all, readings...)
	}
	u, ok := measureOf([]assess.Assessment{{Pest: now, Readings: all}})
	if !ok || len(all) == 0 {
		return fig, diag.Failf(plots.ErrNoData, "count some first: `leafturn count`", "nothing of it has been counted up to %s", s.on)
	}
	fig.Measure, fig.Percent, fig.Scale = u.Words, u.Percent, scaleOf(u)
	var counts []yearWeek
	units := 0
	for _, r := range all {
		if !r.Valid() || r.Unit.Measure != u.Measure {
			continue
		}
		c := yearWeek{bed: r.Visit.Bed, value: r.Value}
		c.year, c.week = seasonWeek(r.Visit.Date, fig.South)
		then := levels[r.Visit.ID]
		c.staged = then.staged
		if l := then.level; l != nil && l.Operator != "none" {
			c.compared, c.passed = true, reaches(r.Value, l)
		}
		counts, units = append(counts, c), units+r.N
	}
	fig.Act = a.weekLevels(s, now, u, in, fig.South)
	for i, c := range counts {
		if l := levelInWeek(fig.Act, c.week, fig.South); l != nil && !c.compared && !c.staged {
			counts[i].compared, counts[i].passed = true, c.value >= l.Value && c.value > 0
		}
	}
	fig.Source = fmt.Sprintf("%s, %s on %d %s; valid visits only", a.farm.Name, p.Name, units, unitPlural(u.Label, units))
	thisYear, _ := seasonWeek(s.on, fig.South)
	fig.This, fig.Earlier = yearLines(counts, thisYear, fig.South)
	return fig, a.yearsNext(ctx, s, p, beds, &fig)
}

// reaches reports whether a value is at a level or over it, as the level asks.
func reaches(value float64, l *assess.Level) bool {
	return value > l.Value || value == l.Value && l.Operator == ">="
}

// countedYears are the years in which the seasons before one began in which the
// pest was counted, the latest of them.
func (a *App) countedYears(ctx context.Context, now farm.Season, pest string, in func(bed string) bool) ([]int, error) {
	seen := map[int]bool{}
	err := a.st.View(ctx, func(tx *store.Tx) error {
		heads, err := tx.Headers(store.Filter{Pest: pest, To: now.First.AddDays(-1)})
		for _, h := range heads {
			if in(h.Bed) {
				seen[a.farm.Season(h.Date).Year()] = true
			}
		}
		return err
	})
	var out []int
	for y := range seen {
		out = append(out, y)
	}
	slices.Sort(out)
	return out[max(0, len(out)-mostYears):], err
}

// yearReadings are the visits of one season with the action level of
// each at its bed's stage on its day, by the rules and levels in force then.
func (a *App) yearReadings(s snapshot, p catalog.Pest, in func(bed string) bool, levels map[int64]levelThen) (assess.Pest, []assess.Reading, error) {
	facts, err := a.pestFacts(p, farm.PrePlant, s)
	if err != nil {
		return facts, nil, err
	}
	holds := a.conditions(s)
	var out []assess.Reading
	for _, b := range s.beds {
		visits := s.byPair[[2]string{b.Code, p.Key}]
		if !in(b.Code) || len(visits) == 0 {
			continue
		}
		list, err := assess.Read(assess.Input{Today: s.on, Bed: b, Pest: facts, Events: s.stages[b.Code], Visits: visits, Holds: holds, Noted: s.noted, South: s.year.South()})
		if err != nil {
			return facts, nil, err
		}
		for _, r := range list {
			stage, _ := s.year.StageOn(s.stages[b.Code], r.Visit.Date)
			then := levelThen{staged: len(s.stages[b.Code]) > 0}
			then.level, _, _ = assess.LevelsAt(facts.Levels, r.Unit.Measure, stage, holds, r.Visit.Date)
			levels[r.Visit.ID] = then
		}
		out = append(out, list...)
	}
	return facts, out, nil
}

// seasonWeek is the ISO week of a day, and the year in which its season began:
// in the south a season runs over new year, from week 27 on.
func seasonWeek(d civil.Date, south bool) (year, week int) {
	year, week = d.ISOWeek()
	if south && week < 27 {
		year--
	}
	return year, week
}

// seasonPlace orders weeks within a season.
func seasonPlace(week int, south bool) int {
	if south && week < 27 {
		return week + 53
	}
	return week
}

// yearLines are the means by week: first of each bed, then of the beds.
func yearLines(counts []yearWeek, this int, south bool) (plots.YearLine, []plots.YearLine) {
	type sum struct {
		n     int
		total float64
	}
	byBed := map[[2]int]map[string]sum{}
	passed, compared := map[int]int{}, map[int]bool{}
	place := func(week int) int { return seasonPlace(week, south) }
	for _, c := range counts {
		k := [2]int{c.year, c.week}
		if byBed[k] == nil {
			byBed[k] = map[string]sum{}
		}
		b := byBed[k][c.bed]
		byBed[k][c.bed] = sum{b.n + 1, b.total + c.value}
		compared[c.year] = compared[c.year] || c.compared
		if old := passed[c.year]; c.passed && (old == 0 || place(c.week) < place(old)) {
			passed[c.year] = c.week
		}
	}
	lines := map[int]*plots.YearLine{this: {Name: farm.SeasonName(this, south), Passed: passed[this], Compared: compared[this]}}
	for k, beds := range byBed {
		l := lines[k[0]]
		if l == nil {
			l = &plots.YearLine{Name: farm.SeasonName(k[0], south), Passed: passed[k[0]], Compared: compared[k[0]]}
			lines[k[0]] = l
		}
		codes := make([]string, 0, len(beds))
		for code := range beds {
			codes = append(codes, code)
		}
		slices.Sort(codes) // sums come out the same each time
		total := 0.0
		for _, code := range codes {
			total += beds[code].total / float64(beds[code].n)
		}
		l.Weeks = append(l.Weeks, plots.WeekValue{Week: k[1], Value: total / float64(len(beds))})
	}
	var years []int
	for y, l := range lines {
		slices.SortFunc(l.Weeks, func(x, y plots.WeekValue) int { return place(x.Week) - place(y.Week) })
		if y != this {
			years = append(years, y)
		}
	}
	slices.Sort(years)
	var earlier []plots.YearLine
	for _, y := range years[max(0, len(years)-mostYears):] {
		earlier = append(earlier, *lines[y])
	}
	return *lines[this], earlier
}

// weekLevels is this season's action level by week: that of the week's middle
// in the bed, or the one that most beds have, the lower of two as common.
func (a *App) weekLevels(s snapshot, facts assess.Pest, u assess.Unit, in func(bed string) bool, south bool) []plots.WeekLevel {
	var all [][]plots.Segment
	for _, b := range s.beds {
		if !in(b.Code) || len(s.stages[b.Code]) == 0 && len(s.byPair[[2]string{b.Code, facts.Key}]) == 0 {
			continue
		}
		stage, _ := s.year.StageOn(s.stages[b.Code], s.on)
		act, _ := a.segments(assess.Assessment{Pest: facts, Stage: stage}, s.stages[b.Code], u)
		all = append(all, act)
	}
	year, _ := seasonWeek(s.on, south)
	day := civil.New(year, time.January, 4) // in week 1 (ISO 8601)
	if south {
		day = civil.New(year, time.July, 4) // in week 27 or before it
	}
	day = day.AddDays(3 - (int(day.Weekday())+6)%7) // the Thursday
	var out []plots.WeekLevel
	for ; ; day = day.AddDays(7) {
		y, week := seasonWeek(day, south)
		if y < year {
			continue
		}
		if y > year {
			return out
		}
		v, ok := commonLevel(all, day)
		switch n := len(out); {
		case !ok:
		case n > 0 && out[n-1].Value == v && endsBefore(out[n-1].To, day):
			out[n-1].To = week
		default:
			out = append(out, plots.WeekLevel{From: week, To: week, Value: v})
		}
	}
}

// levelInWeek is the level that holds in a week, nil for none.
func levelInWeek(levels []plots.WeekLevel, week int, south bool) *plots.WeekLevel {
	place := seasonPlace(week, south)
	for i, l := range levels {
		if seasonPlace(l.From, south) <= place && place <= seasonPlace(l.To, south) {
			return &levels[i]
		}
	}
	return nil
}

// endsBefore reports whether a week is the one before that of a day.
func endsBefore(week int, day civil.Date) bool {
	_, before := day.AddDays(-7).ISOWeek()
	return week == before
}

// commonLevel is the level that most beds have on a day.
func commonLevel(beds [][]plots.Segment, day civil.Date) (float64, bool) {
	n := map[float64]int{}
	for _, segs := range beds {
		for _, x := range slices.Backward(segs) {
			if (x.From.IsZero() || !day.Before(x.From)) && (x.To.IsZero() || !day.After(x.To)) {
				n[x.Value]++
				break
			}
		}
	}
	best, found := 0.0, false
	for v, c := range n {
		if !found || c > n[best] || c == n[best] && v < best {
			best, found = v, true
		}
	}
	return best, found
}

// yearsNext fills what to do next.
func (a *App) yearsNext(ctx context.Context, s snapshot, p catalog.Pest, beds []farm.Bed, fig *plots.Years) error {
	if !contains(a.watched(s), p.Key) {
		return nil
	}
	if len(beds) == 1 {
		x, err := a.assessDeep(s, beds[0], p)
		if err != nil {
			return err
		}
		next, err := a.nextOf(ctx, onlyOf(s, p.Key), []assess.Assessment{x})
		fig.Verdict, fig.Next = plotVerdict(x), next.words(x)
		return err
	}
	list, next, err := a.onePest(ctx, s, p, nil)
	if err != nil || len(list) == 0 {
		return err
	}
	var out []string
	for _, t := range next.todo(list) {
		if len(out) == 3 {
			out = append(out, "More: `leafturn week`.")
			break
		}
		out = append(out, sentence(t.Where())+": "+t.Words+".")
	}
	if len(out) == 0 {
		var first civil.Date
		for _, d := range next.due {
			if by := next.by(d); first.IsZero() || by.Before(first) {
				first = by
			}
		}
		out = append(out, "Nothing to do now.")
		if !first.IsZero() {
			out = append(out, "Look again by "+first.Short()+".")
		}
	}
	fig.Next = strings.Join(out, " ")
	return nil
}
