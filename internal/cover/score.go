package cover

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
)

// Effect is what a crop is expected to do to one pest.
type Effect struct {
	Pest      string
	Direction string // reduces, increases, neutral, mixed or unknown
	Score     int    // -3 strong fall of the pest to +3 strong rise
	Grade     string // A, B, C, D or none
	Basis     string // published, common practice, from memory, ...
	Contested bool   // sources disagree; also true where the note says CONTESTED
	Source    string
	URL       string
	Note      string
	// TestedYears is the number of years in a row that the trial behind the
	// score grew the crop; 0 when not known.
	TestedYears int
}

// Disputed reports whether sources disagree or the crop does both.
func (e Effect) Disputed() bool {
	return e.Contested || e.Direction == "mixed" || strings.Contains(e.Note, "CONTESTED")
}

// known reports whether anything was found.
func (e Effect) known() bool { return e.Direction != "unknown" && e.Grade != "none" }

// check returns what is wrong with the effect.
func (e Effect) check() error {
	switch {
	case e.Score < -3 || e.Score > 3:
		return fmt.Errorf("score %d is not from -3 to 3", e.Score)
	case !GradeOK(e.Grade):
		return fmt.Errorf("evidence grade %q is not A, B, C, D or none", e.Grade)
	case !e.known() && e.Score != 0:
		return fmt.Errorf("an effect that is not known has score %d", e.Score)
	}
	ok := map[string]bool{
		"reduces": e.Score < 0, "increases": e.Score > 0, "neutral": e.Score == 0,
		"mixed": true, "unknown": true,
	}
	if fits, there := ok[e.Direction]; !there || !fits {
		return fmt.Errorf("direction %q does not go with score %d", e.Direction, e.Score)
	}
	return nil
}

// Weights are what a point is worth by evidence grade; "none" is worth 0.
type Weights struct{ A, B, C, D float64 }

// DefaultWeights are A 1, B 0.7, C 0.4, D 0.1. Source: common practice.
var DefaultWeights = Weights{A: 1, B: 0.7, C: 0.4, D: 0.1}

// Of returns the weight of a grade; any other word than A, B, C and D is 0.
func (w Weights) Of(grade string) float64 {
	switch grade {
	case "A":
		return w.A
	case "B":
		return w.B
	case "C":
		return w.C
	case "D":
		return w.D
	}
	return 0
}

// Check returns an error unless every weight is a number from 0 to 1 and a
// better grade never weighs less.
func (w Weights) Check() error {
	for _, v := range []float64{w.A, w.B, w.C, w.D} {
		if math.IsNaN(v) || v < 0 || v > 1 {
			return fmt.Errorf("evidence weight %v is not from 0 to 1", v)
		}
	}
	if w.A < w.B || w.B < w.C || w.C < w.D {
		return fmt.Errorf("evidence weights %v: a better grade weighs less than a poorer one", w)
	}
	return nil
}

// GradeOK reports whether g is a grade of the tables.
func GradeOK(g string) bool { return g == "none" || GradeOrder(g) < 4 }

// GradeOrder returns 0 for A to 3 for D and 4 for anything else.
func GradeOrder(g string) int {
	if len(g) == 1 {
		if i := strings.Index("ABCD", g); i >= 0 {
			return i
		}
	}
	return 4
}

// State tells what became of a pest in a score.
type State string

// The states of a term.
const (
	IsCounted       State = "counted"
	EffectUnknown   State = "effect not known"
	PressureUnknown State = "pest never counted here"
	GoneBefore      State = "killed before dahlias come up, so no effect is counted"
)

// Term is one pest's part of a score.
type Term struct {
	Pest     string
	Pressure float64 // 0 to 3; 0 when State is PressureUnknown
	Effect   Effect  // the zero Effect with grade "none" when there is no row
	Weight   float64 // of the effect's grade
	Points   float64 // pressure x (-score) x weight; 0 unless State is IsCounted
	State    State
	Crop     string // of a mix, the crop that it speaks of; "" else
}

// String says the term in words, such as "slug (C, makes worse 1; pressure 3)".
func (t Term) String() string {
	if t.Crop != "" {
		crop := t.Crop
		t.Crop = ""
		return crop + " on " + t.String()
	}
	does := "no change"
	switch s := t.Effect.Score; {
	case t.State == EffectUnknown:
		return t.Pest + " (not known)"
	case s < 0:
		does = fmt.Sprintf("lowers %d", -s)
	case s > 0:
		does = fmt.Sprintf("makes worse %d", s)
	}
	if t.State == PressureUnknown {
		return fmt.Sprintf("%s (%s, %s; never counted here)", t.Pest, t.Effect.Grade, does)
	}
	return fmt.Sprintf("%s (%s, %s; pressure %s)", t.Pest, t.Effect.Grade, does, short(t.Pressure))
}

// Score is the value of an option in a bed, in points.
type Score struct {
	Benefit    float64 // help less harm, each times its weight
	Help, Harm float64 // sums of the terms' points, 0 or more each, before their weights
	SD         float64 // of Benefit, from what is uncertain in the pressures
	CostUSD    float64 // seed cost; 0 when not known
	CostKnown  bool
	CostPts    float64 // points taken off for the seed cost
	FamilyPts  float64 // points taken off because it is dahlia's own family (R7)
	RestPts    float64 // points taken off for a bed without flowers
	SoilPts    float64 // points for nitrogen and dry matter, less where nitrogen is tied up
	WorkPts    float64 // points taken off for sowing
	BarePts    float64 // points taken off for bare soil before a spring sowing
	Net        float64 // Benefit + SoilPts - CostPts - FamilyPts - RestPts - WorkPts - BarePts
	// Anecdote says that all help rests on anecdote (D). AnecdotePts are the
	// points of it that PlanBeds took off so that it does not outrank a trial.
	Anecdote    bool
	AnecdotePts float64

	Terms     []Term   // by pest name, and by crop in a mix
	Unknown   []Term   // pests that press on the bed, effect not known
	Contested []Term   // sources disagree, and the pest presses or was never counted
	Worse     []Term   // pests that the option is expected to make worse
	SoilOpen  []string // what is not known of its soil value
}

// lateHalf is what is left of the nitrogen and dry matter of a cover that makes
// no stand before winter. Source: planting table, western Washington: half the
// biomass or less when sown 2.5 weeks late.
const lateHalf = 0.5

// ScoreOption returns the value of an option in a bed:
//
//	net = sum over pests of pressure x (-score) x weight + soil - cost per USD x seed cost - penalties
//
// Dates and hard rules are not looked at; see Feasible. In a bed that carries
// dahlias after the cover, pests named in Rules.AboveGround are not scored,
// because the cover is killed before they come.
//
// In a mix the help of each crop counts by its share (growers report that mixes
// dilute it); its harm counts in full, and of several crops that harm one pest
// the worst alone. Source: common practice.
func ScoreOption(o Option, bed Bed, rules Rules) Score {
	var s Score
	pests := make(map[string]bool)
	for _, part := range o.Parts() {
		for _, e := range part.Effects {
			pests[e.Pest] = true
		}
	}
	for _, p := range bed.Pressure {
		pests[p.Pest] = true
	}
	trial := false
	variance := 0.0
	for _, pest := range sortedKeys(pests) {
		level, counted := bed.pressure(pest)
		var terms []Term
		worst, harmed := 0.0, false
		for _, part := range o.Parts() {
			t := o.term(part, pest, level, counted, rules)
			worst = min(worst, t.Points)
			terms = append(terms, t)
		}
		slope := 0.0 // points per unit of pressure
		for _, t := range terms {
			if t.Points < 0 {
				if t.Points > worst || harmed {
					t.Points = 0 // another crop of the mix is worse
				} else {
					harmed = true
				}
			}
			s.Help += max(t.Points, 0)
			s.Harm += max(-t.Points, 0)
			trial = trial || t.Points > 0 && GradeOrder(t.Effect.Grade) < GradeOrder("D")
			if t.Pressure > 0 {
				slope += (rules.PestWeight*max(t.Points, 0) - rules.HarmWeight*max(-t.Points, 0)) / t.Pressure
			}
			s.add(t, counted)
		}
		variance += slope * slope * bed.sd(pest) * bed.sd(pest)
	}
	s.SD = math.Sqrt(variance)
	s.Anecdote = s.Help > 0 && !trial
	s.Benefit = rules.PestWeight*s.Help - rules.HarmWeight*s.Harm
	cost, known, guessed := o.costUSD(bed.AreaM2, rules.GuessUSDPerKg)
	if s.CostKnown = known; known {
		s.CostUSD = cost
	}
	s.CostPts = rules.PointsPerUSD * (cost + guessed)
	if contains(o.families(), Asteraceae) && !rules.excused(o, bed) {
		s.FamilyPts = rules.FamilyPenalty
	}
	if o.Rest {
		s.RestPts = rules.RestCost
	}
	s.WorkPts = rules.Work * float64(o.sowings())
	s.soil(o, rules)
	s.net()
	return s
}

func (s *Score) net() {
	s.Net = s.Benefit + s.SoilPts - s.CostPts - s.FamilyPts - s.RestPts - s.WorkPts - s.BarePts - s.AnecdotePts
}

// term is what a crop of the option does to one pest of a bed.
func (o Option) term(part Part, pest string, level float64, counted bool, rules Rules) Term {
	e := Effect{Pest: pest, Direction: "unknown", Grade: "none"}
	for _, x := range part.Effects {
		if x.Pest == pest {
			e = x
		}
	}
	t := Term{Pest: pest, Effect: e, Weight: rules.Weights.Of(e.Grade), State: IsCounted}
	if len(o.Mix) > 0 {
		t.Crop = part.Crop.label()
	}
	if counted {
		t.Pressure = level
	}
	switch {
	case !e.known():
		t.State = EffectUnknown
	case !o.Rest && contains(rules.AboveGround, pest):
		t.State = GoneBefore
	case !counted:
		t.State = PressureUnknown
	default:
		t.Points = t.Pressure * float64(-e.Score) * t.Weight
		if t.Points > 0 {
			t.Points *= part.Share
		}
		if t.Points == 0 {
			t.Points = 0 // no negative zero
		}
	}
	return t
}

// add sorts a term into the lists.
func (s *Score) add(t Term, counted bool) {
	s.Terms = append(s.Terms, t)
	live := t.State == PressureUnknown || t.State == IsCounted
	if t.State == EffectUnknown && t.Pressure > 0 {
		s.Unknown = append(s.Unknown, t)
	}
	if live && t.Effect.Disputed() && (t.Pressure > 0 || !counted) {
		s.Contested = append(s.Contested, t)
	}
	if live && t.Effect.Score > 0 && t.Weight > 0 {
		s.Worse = append(s.Worse, t)
	}
}

// soil sets the points of nitrogen and dry matter, the middle of the range that
// the table gives. What is not known counts nothing.
func (s *Score) soil(o Option, rules Rules) {
	if rules.Nitrogen == 0 && rules.Biomass == 0 {
		return
	}
	for _, p := range o.Parts() {
		for _, x := range []struct {
			name  string
			rate  float64
			value *[2]float64
		}{{"nitrogen", rules.Nitrogen, p.Crop.Nitrogen}, {"dry matter", rules.Biomass, p.Crop.Biomass}} {
			switch {
			case x.rate == 0:
			case x.value == nil:
				s.SoilOpen = append(s.SoilOpen, "the "+x.name+" that "+p.Crop.label()+" leaves")
			default:
				s.SoilPts += x.rate * p.Share * (x.value[0] + x.value[1]) / 2
			}
		}
	}
}

// dated takes into the score what hangs on the dates: a cover without a stand
// before winter grows half, and before a spring sowing the bed lies bare.
func (s *Score) dated(o Option, f Fit, rules Rules) {
	if f.OK && !o.Rest {
		switch late := slices.ContainsFunc(f.Reasons, func(r Reason) bool { return r.Rule == "R3" && r.Kind != Refused }); {
		case f.Choice.Slot == Spring:
			s.BarePts = rules.BarePenalty
		case late && s.SoilPts > 0:
			s.SoilPts *= lateHalf
		}
	}
	s.net()
}

// short writes a pressure for people.
func short(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

// Ranked is one option's standing against one pest.
type Ranked struct {
	Option    Option
	Effect    Effect
	Known     bool
	Value     float64 // -score x weight per unit of pressure, times the pressure given for the pest
	Risk      float64 // sum over other pests of pressure x score x weight, where score > 0
	Worse     []Term  // the pests behind Risk, and those never counted that would get worse
	Contested bool
}

// Rank returns the options ranked against one pest: highest value first, then
// the better evidence grade, the lower risk of making another pest worse, and
// the key. Options whose effect on the pest is not known come last; they are
// not judged. The value is per unit of pressure times the pressure of the
// pest, or per unit when it was never counted, so a higher pressure never
// lowers the value of an option that reduces the pest. Effects are taken as
// they stand in the table, for a cover that stands beside the crop.
func Rank(pest string, options []Option, pressures []Pressure, w Weights) []Ranked {
	bed := Bed{Pressure: pressures}
	level, counted := bed.pressure(pest)
	if !counted {
		level = 1
	}
	out := make([]Ranked, 0, len(options))
	for _, o := range options {
		r := Ranked{Option: o, Effect: Effect{Pest: pest, Direction: "unknown", Grade: "none"}}
		for _, t := range ScoreOption(o, bed, Rules{Weights: w, PestWeight: 1, HarmWeight: 1}).Terms {
			if t.Pest == pest {
				r.Effect, r.Known, r.Contested = t.Effect, t.Effect.known(), t.Effect.Disputed()
				r.Value = level * float64(-t.Effect.Score) * t.Weight
			} else if t.Effect.Score > 0 && t.Weight > 0 {
				r.Risk += t.Pressure * float64(t.Effect.Score) * t.Weight
				if t.Pressure > 0 || t.State == PressureUnknown {
					r.Worse = append(r.Worse, t)
				}
			}
		}
		if r.Value == 0 {
			r.Value = 0 // no negative zero
		}
		out = append(out, r)
	}
	sort.SliceStable(out, func(i, j int) bool {
		a, b := out[i], out[j]
		ga, gb := GradeOrder(a.Effect.Grade), GradeOrder(b.Effect.Grade)
		switch {
		case a.Known != b.Known:
			return a.Known
		case round9(a.Value) != round9(b.Value):
			return a.Value > b.Value
		case ga != gb:
			return ga < gb
		case round9(a.Risk) != round9(b.Risk):
			return a.Risk < b.Risk
		}
		return a.Option.Key() < b.Option.Key()
	})
	return out
}

// round9 rounds to 1e-9, so that ties do not hang on the last bit.
func round9(v float64) float64 { return math.Round(v*1e9) / 1e9 }

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

func sortedKeys(m map[string]bool) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}
