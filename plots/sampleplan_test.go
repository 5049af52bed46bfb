package plots

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func total(v int) *int { return &v }

// samplePlan is invented: stairs of no real plan, with a curve that falls.
func samplePlan() SamplePlan {
	p := SamplePlan{Pest: "slugs", Place: "bed B3", Unit: "trap", Units: "traps", Measure: "slugs per trap", Threshold: 4, Safe: 2, Action: 6, AsOf: day("2026-07-20"),
		Source: "An invented farm.", Next: "look at traps one by one over the whole bed and keep the total."}
	for i := range 31 {
		l := 0.4 * float64(i)
		p.Points = append(p.Points, PlanPoint{l, 1 / (1 + math.Exp(2*(l-3.4))), 5 + 3*math.Exp(-(l-3)*(l-3)/2)})
	}
	for n := 5; n <= 14; n++ {
		p.Lines = append(p.Lines, PlanLine{n, total(4*n - 14 + n/3), total(min(4*n+3-n/5, 47))})
	}
	p.Lines[9].Hold = total(46)
	return p
}

func planEdges() map[string]Figure {
	with := func(change func(*SamplePlan)) SamplePlan {
		p := samplePlan()
		change(&p)
		return p
	}
	return map[string]Figure{
		"plan one row":        with(func(p *SamplePlan) { p.Lines = []PlanLine{{10, total(83), total(84)}} }),
		"plan so far":         with(func(p *SamplePlan) { p.SoFar = &PlanSoFar{6, 18} }),
		"plan so far beyond":  with(func(p *SamplePlan) { p.SoFar = &PlanSoFar{30, 200} }),
		"plan nothing so far": with(func(p *SamplePlan) { p.SoFar = &PlanSoFar{} }),
		"plan hold late": with(func(p *SamplePlan) {
			for i := range 6 {
				p.Lines[i].Hold = nil
			}
		}),
		"plan from the first": with(func(p *SamplePlan) {
			p.Lines = []PlanLine{{1, nil, total(3)}, {2, nil, total(3)}, {3, total(0), total(1)}}
		}),
		"plan percent": with(func(p *SamplePlan) {
			p.Percent, p.Measure, p.Safe, p.Threshold, p.Action = true, "leaves with mites", 5, 10, 15
			for i := range p.Points {
				p.Points[i].Level *= 2.5
			}
		}),
		"plan 500 rows": with(func(p *SamplePlan) {
			p.Lines = nil
			for n := 40; n <= 500; n++ {
				p.Lines = append(p.Lines, PlanLine{n, total(2*n - 40), total(2*n + 400 - n/2)})
			}
		}),
		"plan tiny level": with(func(p *SamplePlan) {
			p.Safe, p.Threshold, p.Action = 0.0005, 0.001, 0.0015
			for i := range p.Points {
				p.Points[i].Level /= 4000
			}
		}),
		"plan long names": with(func(p *SamplePlan) {
			p.Pest, p.Place, p.Units, p.Measure, p.Next, p.Source = long, long, long+long, long+long, strings.Repeat(long, 5), strings.Repeat(long, 8)
		}),
	}
}

func TestPlan_EveryLabel(t *testing.T) {
	p := samplePlan()
	ms := traced(t, p)
	texts := textsOf(ms)
	for _, want := range []string{
		"How many traps to look at: slugs in bed B3", "chance that the plan says hold", "mean number of traps to look at", "true mean: slugs per trap", "level 4",
		"at 2: 6 % act", "at 6: 1 % hold", "total of animals so far", "traps looked at", "act: 47 or more on 14", "hold: 46 or fewer on 14", "go on", "too few", "100 %", "6.8",
		"Next: look at traps one by one over the whole bed and keep the total.",
	} {
		require.Contains(t, texts, want)
	}
	require.Equal(t, 2, countOf(ms, "curve"))
	require.Equal(t, 1, countOf(ms, "needless"))
	require.Equal(t, 1, countOf(ms, "missed"))
	require.Equal(t, 1, countOf(ms, "act region"))
	require.Equal(t, 1, countOf(ms, "hold region"))
	require.Contains(t, textsOf(traced(t, planEdges()["plan so far"])), "so far: 18 on 6")
	require.Contains(t, textsOf(traced(t, planEdges()["plan percent"])), "infested traps so far")
}

// The stairs lie between the totals: at n units the upper one between the
// least total that acts and the one below it, measured from the ticks.
func TestPlan_StairsAtTheirTotals(t *testing.T) {
	p := samplePlan()
	tick := map[string]float64{}
	_, h := p.Size()
	var upper, lower []point
	for _, e := range readSVG(t, write(t, p, "svg")) {
		if e.name == "text" && math.Abs(e.x+tickFace.width(e.text)-planLeft+8) < 0.5 && strings.Contains(e.style, "fill:#55535F") {
			tick[e.text] = h + e.y - 0.36*sizeSmall
		}
		var d []point
		for _, part := range strings.FieldsFunc(e.d, func(r rune) bool { return r == 'M' || r == 'L' || r == 'Z' }) {
			var q point
			if n, _ := fmt.Sscanf(part, "%f,%f", &q.x, &q.y); n == 2 {
				d = append(d, point{q.x, h - q.y})
			}
		}
		if len(d) == 2*len(p.Lines) && strings.Contains(e.style, "stroke:#A02C08") {
			upper = d
		}
		if len(d) == 2*len(p.Lines) && strings.Contains(e.style, "stroke:#1C6638") {
			lower = d
		}
	}
	at := func(v float64) float64 { return tick["0"] + (tick["20"]-tick["0"])*v/20 }
	require.NotEmpty(t, upper)
	require.NotEmpty(t, lower)
	for i, l := range p.Lines {
		require.InDelta(t, at(float64(*l.ActAt)-0.5), upper[2*i].y, 0.1, l.N)
		require.InDelta(t, at(float64(*l.Hold)+0.5), lower[2*i].y, 0.1, l.N)
		require.InDelta(t, upper[1].x-upper[0].x, upper[2*i+1].x-upper[2*i].x, 0.1, "a unit is as wide as the other")
	}
}

func TestPlan_Alt(t *testing.T) {
	p := samplePlan()
	p.Points = []PlanPoint{{0, 1, 5}, {2, 0.9, 6.51}, {4, 0.4, 6.6}, {6, 0.1, 5.7}, {12, 0, 5}}
	p.SoFar = &PlanSoFar{6, 18}
	require.Equal(t, "How many traps to look at: slugs in bed B3. "+
		"In slugs per trap: a bed with 2 is acted on needlessly in 10 % of cases and takes 6.5 traps on average; one with 6 is held by mistake in 10 % and takes 5.7. At the level of 4 itself it takes 6.6. "+
		"Stop lines: after 5 traps hold at 7 or fewer and act at 22 or more; after 14 traps hold at 46 or fewer and act at 47 or more. So far 18 on 6. "+
		"Next: look at traps one by one over the whole bed and keep the total.", p.Alt())
	require.NotEmpty(t, SamplePlan{}.Alt())
	require.InDelta(t, 0.775, p.holdAt(2.5), 1e-9, "a quarter of the way from 0.9 to 0.4")
}

func TestPlan_Errors(t *testing.T) {
	with := func(change func(*SamplePlan)) SamplePlan {
		p := samplePlan()
		change(&p)
		return p
	}
	for _, c := range []struct {
		name string
		fig  SamplePlan
		is   error
		says string
	}{
		{"nothing", SamplePlan{}, ErrNoData, "no lines and no curve"},
		{"level", with(func(p *SamplePlan) { p.Threshold = 0 }), ErrValue, "the level"},
		{"safe", with(func(p *SamplePlan) { p.Safe = 5 }), ErrValue, "the level"},
		{"nan", with(func(p *SamplePlan) { p.Action = math.NaN() }), ErrValue, "NaN"},
		{"chance", with(func(p *SamplePlan) { p.Points[3].Hold = 1.1 }), ErrValue, "1.1"},
		{"units", with(func(p *SamplePlan) { p.Points[3].Units = math.Inf(1) }), ErrValue, "+Inf"},
		{"order", with(func(p *SamplePlan) { p.Points[3].Level = 0 }), ErrValue, "in order"},
		{"rows", with(func(p *SamplePlan) { p.Lines[3].N = 2 }), ErrValue, "in order"},
		{"totals", with(func(p *SamplePlan) { p.Lines[3].Hold = total(99) }), ErrValue, "after 8"},
		{"so far", with(func(p *SamplePlan) { p.SoFar = &PlanSoFar{-1, 0} }), ErrValue, "-1 units"},
	} {
		requireRefused(t, c.name, c.fig, c.is, c.says)
	}
}

func TestPlan_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		level := math.Pow(10, rapid.Float64Range(-3, 3).Draw(t, "log level"))
		p := SamplePlan{Pest: rapid.StringN(0, 40, -1).Draw(t, "pest"), Units: rapid.StringN(0, 60, -1).Draw(t, "units"), Measure: rapid.StringN(0, 60, -1).Draw(t, "measure"),
			Threshold: level, Safe: level * rapid.Float64Range(0, 0.9).Draw(t, "safe"), Action: level * rapid.Float64Range(1.1, 3).Draw(t, "action"), Next: rapid.StringN(0, 300, -1).Draw(t, "next")}
		for i := range rapid.IntRange(2, 40).Draw(t, "points") {
			p.Points = append(p.Points, PlanPoint{level * float64(i) / 10, rapid.Float64Range(0, 1).Draw(t, "hold"), rapid.Float64Range(0, 400).Draw(t, "units")})
		}
		n := 0
		for range rapid.IntRange(1, 30).Draw(t, "rows") {
			n += rapid.IntRange(1, 9).Draw(t, "n")
			l := PlanLine{N: n}
			h := rapid.IntRange(0, 300).Draw(t, "hold")
			if rapid.Bool().Draw(t, "can hold") {
				l.Hold = &h
			}
			if rapid.Bool().Draw(t, "can act") {
				l.ActAt = total(h + rapid.IntRange(1, 90).Draw(t, "act"))
			}
			p.Lines = append(p.Lines, l)
		}
		if rapid.Bool().Draw(t, "field") {
			p.SoFar = &PlanSoFar{rapid.IntRange(0, 60).Draw(t, "so far"), rapid.IntRange(0, 900).Draw(t, "total")}
		}
		ms, w, h := requireDrawn(t, p)
		requireInside(t, ms, w, h)
	})
}
