package app

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/report"
	"leafturn/internal/trend"
)

// Why a bed is not compared with the field.
const (
	notValid = "newest count not valid"
	tooOld   = "stale"
)

// markNewest notes what is wrong with the newest counts of a bed: invalid,
// stale as the verdict has it, or with one unit far above the others.
func (b *TrendBed) markNewest(x assess.Assessment) {
	for _, r := range slices.Backward(x.Readings) {
		if r.Unit.Measure != x.Decider.Unit.Measure {
			continue
		}
		if b.Newest.IsZero() {
			b.Newest, b.Invalid = r.Visit.Date, append(b.Invalid, r.Invalid...)
		}
		if r.Valid() {
			b.Stale = x.Today.Sub(r.Visit.Date) > x.Pest.StaleDays
			break
		}
	}
	if b.Suspect = suspectUnit(x.Decider); b.Suspect > 0 {
		b.Notes = append(b.Notes, fmt.Sprintf("unit %d of the newest count, with %d, is far above the others: probably a typing slip or a hot spot; the growth leans on it until it is settled", b.Suspect, x.Decider.Density.Max))
	}
}

// suspectUnit is the number of the unit that is far above the others of its
// visit, 0 for none.
func suspectUnit(r *assess.Reading) int {
	if r == nil || !r.Valid() || r.Density == nil || !r.Density.Outlier || r.Density.N < 2 {
		return 0
	}
	return r.Density.OutlierUnit
}

// marked is the trend in words with what is wrong with the newest count.
func (b TrendBed) marked() string {
	w := b.Words
	if b.Stale {
		w += "; stale"
	}
	if len(b.Invalid) > 0 {
		w += "; newest count not valid"
	}
	if b.Suspect > 0 {
		w += "; one unit to be checked"
	}
	return w
}

// marks explains the marks of the beds, those with the same one together.
func marks(beds []TrendBed, staleDays int) []string {
	var order []string
	by := map[string][]string{}
	add := func(bed, words string) {
		if by[words] == nil {
			order = append(order, words)
		}
		by[words] = append(by[words], bed)
	}
	for _, b := range beds {
		if b.Stale {
			add(b.Bed, fmt.Sprintf("the newest valid count is stale, over %d days old: it says too little about today, and no chance is given", staleDays))
		}
		if len(b.Invalid) > 0 {
			add(b.Bed, fmt.Sprintf("the count of %s is not valid and has no part in this, which is not the same as a low count: %s; count again", b.Newest.Short(), strings.Join(b.Invalid, "; ")))
		}
		for _, n := range b.Notes {
			add(b.Bed, n)
		}
	}
	var out []string
	for _, w := range order {
		out = append(out, strings.Join(by[w], ", ")+": "+w)
	}
	return out
}

// fieldSection compares the beds with each other.
func (a *App) fieldSection(mine []assess.Assessment, s snapshot, d *TrendData) report.Section {
	sec := report.Section{Key: "field", Title: "The field"}
	var beds []trend.BedCount
	var values []float64
	var places [][2]float64
	var doubts []string
	suspects := map[string]int{}
	leave := func(bed, why string) { d.LeftOut = append(d.LeftOut, LeftBed{bed, why}) }
	for _, x := range mine {
		r := x.Decider
		switch {
		case !r.Valid():
			leave(x.Bed.Code, notValid)
			continue
		case s.on.Sub(r.Visit.Date) > x.Pest.StaleDays:
			leave(x.Bed.Code, tooOld)
			continue
		}
		c, value := bedCount(x.Bed.Code, *r), r.Value
		if n := suspectUnit(r); n > 0 {
			value = float64(c.Total) / float64(c.N) * r.Scale()
			suspects[x.Bed.Code] = n
			doubts = append(doubts, doubtWords(x.Bed.Code, *r))
		}
		beds = append(beds, c)
		if x.Bed.X != nil && x.Bed.Y != nil {
			values = append(values, value)
			places = append(places, [2]float64{*x.Bed.X + x.Bed.LengthM/2, *x.Bed.Y + x.Bed.WidthM/2})
		}
	}
	if f, err := trend.HotSpots(beds, hotFactor); err == nil {
		sec.Notes = append(sec.Notes, report.Plain("hot spots: "+f.Words()))
		d.HotBy = f.ExpectedFalse
		for _, b := range f.Beds {
			d.Hot = append(d.Hot, HotBed{b.Code, b.Mean, b.Times, b.Chance, b.Listed, suspects[b.Code]})
		}
	} else {
		sec.Notes = append(sec.Notes, report.Plain(fmt.Sprintf("hot spots: cannot be told from so few beds; those with a valid count that is not stale: %d", len(beds))))
	}
	edge, middle, more := strata(s, mine)
	sec.Notes = append(sec.Notes, report.Lines(append(doubts, more...)...)...)
	if len(d.LeftOut) > 0 {
		var parts []string
		for _, why := range []string{notValid, tooOld} {
			var names []string
			for _, l := range d.LeftOut {
				if l.Why == why {
					names = append(names, l.Bed)
				}
			}
			if len(names) > 0 {
				parts = append(parts, fmt.Sprintf("%s (%s)", strings.Join(names, ", "), why))
			}
		}
		sec.Notes = append(sec.Notes, report.Plain("left out of the field: "+strings.Join(parts, "; ")))
	}
	if len(edge) > 0 {
		if r, err := trend.EdgeWithinBeds(edge, middle); err == nil {
			d.Edge = &TrendEdge{finite(r.Ratio), finite(r.Low), finite(r.High), r.Words()}
			sec.Notes = append(sec.Notes, report.Plain("edge against middle: "+r.Words()))
		}
	}
	if len(places) >= 4 {
		if m, err := trend.Moran(values, trend.InverseDistance(places).RowStandard()); err == nil && !math.IsNaN(m.I) {
			d.Pattern = &TrendMoran{m.I, m.P, m.Words()}
			sec.Notes = append(sec.Notes, report.Plain("neighbours: "+m.Words()))
		}
	}
	return sec
}

// bedCount is the animals of a reading, or its infested units where it is a
// percentage. A unit far above the others, which could drown the field, is left
// out: the bed stands by its other units until that one is settled.
func bedCount(code string, r assess.Reading) trend.BedCount {
	if r.Share != nil {
		return trend.BedCount{Code: code, Total: r.Share.Infested, N: r.Share.Looked, K: math.Inf(1)}
	}
	total, n := r.Density.Total, len(r.Visit.Seen())
	if n == 0 {
		// A presence sample of a density: as many animals as it stands for.
		n = r.N
		total = int(math.Round(r.Density.Mean * float64(n)))
	}
	if suspectUnit(&r) > 0 {
		total, n = total-r.Density.Max, n-1
	}
	return trend.BedCount{Code: code, Total: total, N: n, K: r.Density.K}
}

// doubtWords says which unit bedCount left out of a bed.
func doubtWords(where string, r assess.Reading) string {
	return fmt.Sprintf("%s is compared without its unit %d: %d there is far above the others, probably a typing slip or a hot spot within the bed; check it first", where, r.Density.OutlierUnit, r.Density.Max)
}

// strata are the edge counts and, of the same beds and about the same days,
// the random ones: of each bed the latest valid count of its outer rows by the
// unit that the bed is judged by.
func strata(s snapshot, mine []assess.Assessment) (edge, middle []trend.BedCount, doubts []string) {
	for _, x := range mine {
		d := x.Decider
		if !d.Valid() || s.on.Sub(d.Visit.Date) > x.Pest.StaleDays {
			continue
		}
		for _, e := range slices.Backward(x.Edges) {
			if !e.Valid() || e.Unit.Key != d.Unit.Key || e.Scale() != d.Scale() {
				continue
			}
			if days := e.Visit.Date.Sub(d.Visit.Date); -assess.SameRound <= days && days <= assess.SameRound {
				edge = append(edge, bedCount(x.Bed.Code, e))
				middle = append(middle, bedCount(x.Bed.Code, *d))
				if suspectUnit(&e) > 0 {
					doubts = append(doubts, doubtWords("the edge of "+x.Bed.Code, e))
				}
			}
			break
		}
	}
	return edge, middle, doubts
}
