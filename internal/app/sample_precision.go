package app

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/belief"
	"leafturn/internal/diag"
	"leafturn/internal/report"
	"leafturn/internal/sampling"
	"leafturn/internal/units"
	"leafturn/internal/week"
)

// precisionUnits are the rows of the line at which to stop.
var precisionUnits = []int{5, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 150, 200}

// precision says how many units it takes to know a mean, or a share, to so
// many percent of itself.
func (a *App) precision(x asked) (*report.Document, error) {
	o, u := x.o, x.unit
	for _, f := range []struct {
		name  string
		given bool
	}{
		{"method", o.Method != ""}, {"curve", o.Curve}, {"most", o.Most != ""},
		{"needless", o.Needless != ""}, {"missed", o.Missed != ""},
	} {
		if f.given {
			return nil, diag.Usagef("leave one of the two out", "--precision asks how well a mean is known, and --%s belongs to a plan for a decision", f.name)
		}
	}
	v, err := units.ParseNumber(strings.TrimSuffix(o.Precision, "%"))
	if err != nil || v < 1 || v > 100 {
		return nil, diag.Usagef("write the standard error in percent of the mean, 1 to 100, such as 25", "--precision %q is not known", o.Precision)
	}
	d := PrecisionData{Pest: x.pest.Key, Bed: x.bed.Code, Unit: u.Key, Measure: u.Measure, Precision: v / 100, Protocol: u.Wanted,
		Clumping: x.words, Sizes: []PrecisionSize{}, Lines: []PrecisionLine{}}
	src := &sources{}
	doc := a.document(x.title("How many for a mean"), o.Date)
	if u.Percent {
		doc.Title = x.title("How many for a share")
	}
	doc.Subtitle = fmt.Sprintf("to within a standard error of %s %%", week.Number(v))

	if len(o.SoFar) > 0 {
		sec, adv, err := a.precise(x, d.Precision)
		if err != nil {
			return nil, err
		}
		doc.Sections = append(doc.Sections, sec)
		d.Advice = adv
	}

	t := &report.Table{Columns: []report.Column{
		{Title: u.Words, Align: report.AlignRight},
		{Title: fmt.Sprintf("standard error of %s %%", week.Number(v))},
		{Title: fmt.Sprintf("95 %% interval of ± %s %%", week.Number(v))},
	}}
	for _, level := range x.densities() {
		s, err := x.size(level, d.Precision)
		if err != nil {
			return nil, err
		}
		d.Sizes = append(d.Sizes, s)
		t.Rows = append(t.Rows, []report.Value{report.Text(strconv.FormatFloat(level, 'g', 3, 64)), manyUnits(s.Standard), manyUnits(s.HalfWidth)})
	}
	many := assess.Plural(u.Label, 2)
	what := "mean"
	if u.Percent {
		what = "share"
	}
	size := report.Section{Key: "sizes", Title: "How many " + many, Table: t,
		Lead: report.Say("So many "+many+" it takes at each true density to know the "+what+" so well; the protocol asks for {}.", u.Wanted).Cite(src.cite(u.Ref)...)}
	if x.act != nil && x.act.Value > 0 {
		size.Notes = append(size.Notes, report.Say("to decide is another question: `leafturn sample {}`", o.Pest))
	}
	if x.bed.Code != "" {
		if d.Likely, err = a.likelySize(x, d.Precision); err != nil {
			return nil, err
		}
		if d.Likely != nil {
			size.Notes = append(size.Notes, report.Say("by its earlier visits {} has about {}: {} for the standard error", x.bed.Code, u.Say(week.Number(d.Likely.Level)), x.units(d.Likely.Standard)))
		}
	}
	size.Notes = append(size.Notes, report.Plain(x.sizeWords()+"; clumping: "+x.words))
	doc.Sections = append(doc.Sections, size)

	line, err := x.precisionLine(&d)
	if err != nil {
		return nil, err
	}
	doc.Sections = append(doc.Sections, line)
	doc.Sources = src.list
	doc.Data = d
	return doc, nil
}

// manyUnits shows a number of units, and no more than that it is large.
func manyUnits(n int) report.Value {
	if n > 1000 {
		return report.Text("over 1000")
	}
	return report.Count(n)
}

// densities are those around the action level, or round ones, in the measure.
func (x asked) densities() []float64 {
	out := []float64{0.1, 0.2, 0.5, 1, 2, 5, 10, 20}
	if x.unit.Percent {
		out = []float64{1, 2, 5, 10, 20, 50}
	}
	if x.act == nil || x.act.Value <= 0 {
		return out
	}
	out = nil
	for _, times := range []float64{0.1, 0.25, 0.5, 1, 1.5, 2, 4} {
		if v := times * x.act.Value; !x.unit.Percent || v < 100 {
			out = append(out, v)
		}
	}
	return out
}

// size is how many units a density in the measure takes.
func (x asked) size(level, d float64) (PrecisionSize, error) {
	n := [2]int{}
	for i, z := range []float64{1, z95} {
		var v float64
		var err error
		if x.unit.Percent {
			v, err = sampling.ShareRelative(level/100, d, z)
		} else {
			v, err = x.clump.Size(level/x.unit.Scale(0), d, z)
		}
		if err != nil {
			return PrecisionSize{}, err
		}
		n[i] = max(1, sampling.RoundUp(v))
	}
	return PrecisionSize{level, n[0], n[1]}, nil
}

// likelySize is how many units the bed takes by what its earlier visits say;
// nil where there are none.
func (a *App) likelySize(x asked, d float64) (*PrecisionSize, error) {
	about := 1.0 // where the belief is cut hardly moves its middle
	if x.act != nil && x.act.Value > 0 {
		about = x.act.Value
	}
	b, err := a.priorBelief(x, about)
	if err != nil || len(b.Levels) == 0 {
		return nil, err
	}
	level := b.Median() * x.toMeasure()
	if level < belief.Lowest || x.unit.Percent && level >= 100 {
		return nil, nil
	}
	s, err := x.size(level, d)
	return &s, err
}

func (x asked) sizeWords() string {
	switch {
	case x.unit.Percent:
		return "of a share p: (1 - p)/(D² p), D the standard error over the share"
	case x.clump.TaylorA > 0:
		return fmt.Sprintf("a m^(b - 2)/D² by Taylor's law with a %.4g and b %.4g: Karandinos 1976; Southwood 1978 (from memory)", x.clump.TaylorA, x.clump.TaylorB)
	case math.IsInf(x.clump.K, 1):
		return "1/(m D²), the animals at random: Karandinos 1976; Southwood 1978 (from memory)"
	}
	return fmt.Sprintf("(1/m + 1/k)/D² with k %.4g: Karandinos 1976; Southwood 1978 (from memory)", x.clump.K)
}

// precisionLine is the table of totals at which a mean is known well enough.
func (x asked) precisionLine(d *PrecisionData) (report.Section, error) {
	many := assess.Plural(x.unit.Label, 2)
	sec := report.Section{Key: "lines", Title: "When to stop"}
	var rows []sampling.PrecisionRow
	var err error
	switch {
	case x.unit.Percent:
		rows, err = sampling.ShareTable(d.Precision, precisionUnits)
	case x.clump.TaylorB >= 2:
		sec.Lead = report.Plain(fmt.Sprintf("There is no line at which to stop: with a b of 2 or more in Taylor's law (%.4g) more animals do not make the mean surer.", x.clump.TaylorB))
		return sec, nil
	default:
		rows, err = x.clump.PrecisionTable(d.Precision, precisionUnits)
	}
	if err != nil {
		return sec, err
	}
	t := &report.Table{Columns: []report.Column{{Title: "After"}, {Title: "stop at or above"}}}
	any := false
	for _, r := range rows {
		l, cell := PrecisionLine{Units: r.N}, report.MissingAs("go on", "no total is enough yet")
		if r.Total != sampling.Never {
			l.StopAt, cell, any = &r.Total, report.Count(r.Total), true
		}
		d.Lines = append(d.Lines, l)
		t.Rows = append(t.Rows, []report.Value{report.Count(r.N), cell})
	}
	if !any {
		sec.Lead = report.Say("There is no line at which to stop within {} {}: so clumped a pest cannot be known so well by them.", rows[len(rows)-1].N, many)
		return sec, nil
	}
	sec.Table = t
	sec.Lead = report.Plain(fmt.Sprintf("Look at %s in any order over the whole bed, keep the %s, and stop as soon as it is at or over the line: the precision is then about what was asked for.", many, x.total()))
	source := "Kuno 1969, Researches on Population Ecology 11:127-136 (from memory)"
	switch {
	case x.unit.Percent:
		source = "from the variance of a share: a total of n/(1 + n D²) on n " + many
	case x.clump.TaylorA > 0:
		source = "Green 1970, Researches on Population Ecology 12:249-251 (from memory)"
	}
	sec.Notes = append(sec.Notes, report.Plain("stop line: "+source+"; what is reached scatters around it"))
	if !x.unit.Percent && !math.IsInf(x.clump.At(1), 1) && x.clump.TaylorA == 0 {
		sec.Notes = append(sec.Notes, report.Say("no total is enough before {} {}, by 1/(k D²)", int(math.Floor(1/(x.clump.K*d.Precision*d.Precision)))+1, many))
	}
	return sec, nil
}
