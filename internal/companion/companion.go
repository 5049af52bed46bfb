// Package companion ranks companion plants for a farm's pests (insectary,
// trap, banker, barrier and repellent plants), places them, plans their sowings
// and finds the weeks without flowers for natural enemies.
//
// A score is the expected change in the pest near the plant, -3 strong fall to
// +3 strong rise, weighted by evidence grade as in package cover. "No good
// evidence that anything helps" is an answer. All facts are arguments.
//
// Place lays a plant out on the beds of the map and says how much of it that
// takes; Plan finds the fewest sowings whose bloom covers the weeks in which a
// pest's enemies are needed. Lengths in the sentences of a Layout stand in
// braces, such as {2.5 m}, for whoever shows them in other units.
package companion

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"leafturn/internal/cover"
	"leafturn/internal/diag"
	"leafturn/internal/units"
)

// Row is one companion plant against one pest, as the facts give it.
type Row struct {
	Plant, Latin, Family string
	Pest                 string
	Role                 string // such as "insectary (late season)", "trap", "banker plant"
	Enemies              string // natural enemies it feeds or houses
	Placement            string
	SowWindow            string
	BloomWindow          string
	Risk                 string
	Score                int    // -3 to +3
	Grade                string // A, B, C, D or none, for the claim as cited
	// Cap is the best grade that the row may count as, "" for no cap: set where
	// the evidence is for something short of fewer pests, with the reason.
	Cap, CapReason string
	Contested      bool // sources disagree; also true where a text says CONTESTED
	Basis          string
	Source, URL    string
	Note           string
}

// grade returns the grade that counts.
func (r Row) grade() string {
	if r.Cap != "" && cover.GradeOrder(r.Cap) > cover.GradeOrder(r.Grade) {
		return r.Cap
	}
	return r.Grade
}

func (r Row) disputed() bool {
	return r.Contested || strings.Contains(r.Note, "CONTESTED") || strings.Contains(r.Risk, "CONTESTED")
}

// visitsOnly are the plants whose good grade is for measured insect visits to
// the flower, not for fewer pests on the crop beside it.
var visitsOnly = []string{
	"Coriandrum sativum", "Foeniculum vulgare", "Achillea millefolium",
	"Agastache rugosa", "Phacelia tanacetifolia",
}

// CapVisits returns the rows with Cap C on the insectary rows (score below 0)
// of coriander, fennel, yarrow, licorice mint and phacelia, whose evidence is
// for insect visits to the flower and not for fewer pests. Plants are known by
// Latin name. rows is not changed. Sources of the visits: Colley & Luna 2000,
// Environmental Entomology 29:1054; Ambrosino et al., Oregon. The cap itself
// is common practice.
func CapVisits(rows []Row) []Row {
	out := append([]Row(nil), rows...)
	for i, r := range out {
		if r.Cap != "" || r.Score >= 0 || !strings.HasPrefix(r.Role, "insectary") {
			continue
		}
		for _, latin := range visitsOnly {
			if r.Latin == latin {
				out[i].Cap, out[i].CapReason = "C", "measured: insect visits to the flower, not fewer pests on the crop"
			}
		}
	}
	return out
}

// virusWords are the words of risk texts that name viruses dahlia shares.
var virusWords = []struct{ word, virus string }{
	{"tswv", "TSWV"}, {"insv", "INSV"}, {"cmv", "CMV"}, {"tospovirus", "tospovirus"},
}

// Viruses returns the viruses of dahlia that a text names (TSWV, INSV, CMV,
// tospovirus), in that order.
func Viruses(text string) []string {
	var out []string
	low := strings.ToLower(text)
	for _, v := range virusWords {
		if strings.Contains(low, v.word) {
			out = append(out, v.virus)
		}
	}
	return out
}

// Options are the editable numbers of a suggestion.
type Options struct {
	Weights      cover.Weights
	VirusPenalty float64      // points taken off a plant that hosts a virus of dahlia (0 or more)
	Units        units.System // in which lengths are told
}

// DefaultOptions returns the weights of package cover and 1.5 points for a
// virus host, the same as cover takes off for dahlia's own family. Common practice.
func DefaultOptions() Options {
	return Options{Weights: cover.DefaultWeights, VirusPenalty: 1.5}
}

// Verdict sums a plant up.
type Verdict string

// The verdicts, in the order of a list of suggestions.
const (
	Try        Verdict = "worth trying"
	Outweighed Verdict = "its harm outweighs its help"
	Anecdote   Verdict = "anecdote only"
	NoEvidence Verdict = "no evidence that it helps here"
	Avoid      Verdict = "makes pests worse: keep away or remove"
)

var verdictOrder = map[Verdict]int{Try: 0, Outweighed: 1, Anecdote: 2, NoEvidence: 3, Avoid: 4}

// Effect is one row's part of a suggestion.
type Effect struct {
	Row      Row
	Grade    string // that counts, after the cap
	Pressure float64
	Counted  bool    // false: the pest was never counted, so it adds no points
	Points   float64 // pressure x (-score) x weight; 0 when not counted
}

// Contested reports whether sources disagree on the row.
func (e Effect) Contested() bool { return e.Row.disputed() }

// Suggestion is one plant with its value for this farm, in points.
type Suggestion struct {
	Plant, Latin, Family string
	Verdict              Verdict
	Value                float64 // Help - Harm - Virus
	Help, Harm, Virus    float64
	BestGrade            string   // best grade among the rows that help, "none" when none does
	Effects              []Effect // by pest
	Viruses              []string // viruses of dahlia that it hosts
	Contested            bool
	Warnings             []string // harm, hosts, caps, same family, as sentences
	Roles                []string
	Placement            string
	SowWindow            string
	BloomWindow          string
	Bloom                Bloom
}

// PestAnswer is the answer for one pest.
type PestAnswer struct {
	Pest     string
	Pressure float64
	Best     string   // best grade of a plant that helps; "none"
	Plants   []string // plants that help at that grade, in list order
	Text     string
}

// Advice is what companion plants can do for the farm.
type Advice struct {
	Suggestions []Suggestion
	Pests       []PestAnswer // pests with a pressure above 0, by name
	Answer      string       // one sentence
}

// Suggest returns the plants ranked for the farm's pests:
//
//	value = sum over target pests of pressure x (-score) x weight - penalty for a virus host
//
// pressures are 0 to 3, one per pest; a pest without a known pressure adds no
// points and is named where a plant would make it worse. Only plants with a
// row for a pest under pressure are listed. Order: worth trying, harm
// outweighs help, anecdote only, no evidence, makes pests worse; inside these
// by value, better grade, name. So a plant with nothing but anecdotes (D)
// behind its help never stands before one with a trial or extension advice.
// The order of rows and pressures does not matter, except that "as above"
// takes the text of the plant's row before it.
//
// Errors: *diag.Problem for numbers out of range and unknown grades.
func Suggest(pressures []cover.Pressure, rows []Row, opt Options) (Advice, error) {
	level, err := check(pressures, rows, opt)
	if err != nil {
		return Advice{}, err
	}
	byPlant := map[string][]Row{}
	var plants []string
	for _, r := range asAbove(rows) {
		if _, seen := byPlant[r.Plant]; !seen {
			plants = append(plants, r.Plant)
		}
		byPlant[r.Plant] = append(byPlant[r.Plant], r)
	}
	var a Advice
	for _, name := range plants {
		concerned := false
		for _, r := range byPlant[name] {
			concerned = concerned || level[r.Pest] > 0
		}
		if concerned {
			a.Suggestions = append(a.Suggestions, suggestion(byPlant[name], pressures, level, opt))
		}
	}
	sort.SliceStable(a.Suggestions, func(i, j int) bool {
		x, y := a.Suggestions[i], a.Suggestions[j]
		gx, gy := cover.GradeOrder(x.BestGrade), cover.GradeOrder(y.BestGrade)
		switch vx, vy := verdictOrder[x.Verdict], verdictOrder[y.Verdict]; {
		case vx != vy:
			return vx < vy
		case round9(x.Value) != round9(y.Value):
			return x.Value > y.Value
		case gx != gy:
			return gx < gy
		}
		return x.Plant < y.Plant
	})
	a.answer(level)
	return a, nil
}

// suggestion sums up the rows of one plant.
func suggestion(rows []Row, pressures []cover.Pressure, level map[string]float64, opt Options) Suggestion {
	rows = append([]Row(nil), rows...)
	sort.SliceStable(rows, func(i, j int) bool {
		a, b := rows[i], rows[j]
		switch {
		case a.Pest != b.Pest:
			return a.Pest < b.Pest
		case a.grade() != b.grade():
			return cover.GradeOrder(a.grade()) < cover.GradeOrder(b.grade())
		case a.Score != b.Score:
			return a.Score < b.Score
		}
		return a.Role < b.Role
	})
	s := Suggestion{Plant: rows[0].Plant, Latin: rows[0].Latin, Family: rows[0].Family, BestGrade: "none"}
	main := rows[0]
	mainSet := false
	for _, r := range rows {
		e := Effect{Row: r, Grade: r.grade()}
		e.Pressure, e.Counted = level[r.Pest], counted(r.Pest, pressures)
		w := opt.Weights.Of(e.Grade)
		if e.Points = e.Pressure * float64(-r.Score) * w; e.Points == 0 {
			e.Points = 0 // no negative zero
		}
		switch {
		case e.Points > 0:
			s.Help += e.Points
			if cover.GradeOrder(e.Grade) < cover.GradeOrder(s.BestGrade) {
				s.BestGrade = e.Grade
				main, mainSet = r, true
			}
		case e.Points < 0:
			s.Harm -= e.Points
		}
		if !mainSet && e.Pressure > 0 {
			main, mainSet = r, true
		}
		s.Effects = append(s.Effects, e)
		s.Contested = s.Contested || r.disputed()
		s.Roles = appendNew(s.Roles, r.Role)
		for _, v := range Viruses(r.Risk + " " + r.Note) {
			s.Viruses = appendNew(s.Viruses, v)
		}
		s.warn(e)
	}
	if len(s.Viruses) > 0 {
		s.Virus = opt.VirusPenalty
		s.Warnings = append(s.Warnings, "named with a virus of dahlia ("+strings.Join(s.Viruses, ", ")+"): rogue mottled plants, none alive within "+opt.Units.Length(10)+" when dahlias come up unless it is scouted weekly")
	}
	if strings.Contains(s.Family, cover.Asteraceae) {
		s.Warnings = append(s.Warnings, "Asteraceae, the dahlia's own family")
	}
	s.Value = s.Help - s.Harm - s.Virus
	s.Placement, s.SowWindow, s.BloomWindow = main.Placement, main.SowWindow, main.BloomWindow
	s.Bloom, _ = ParseBloom(s.BloomWindow)
	switch {
	case s.Help > 0 && s.BestGrade == "D":
		s.Verdict = Anecdote
	case s.Help > 0 && s.Value > 1e-9:
		s.Verdict = Try
	case s.Help > 0:
		s.Verdict = Outweighed
	case s.Harm > 0:
		s.Verdict = Avoid
	default:
		s.Verdict = NoEvidence
	}
	return s
}

// warn adds what a row's effect must tell.
func (s *Suggestion) warn(e Effect) {
	r := e.Row
	add := func(format string, args ...any) { s.Warnings = appendNew(s.Warnings, fmt.Sprintf(format, args...)) }
	switch {
	case r.Score > 0 && !e.Counted:
		add("would make %s worse (score +%d, evidence %s); how hard that pest presses is not in the points", r.Pest, r.Score, e.Grade)
	case r.Score > 0:
		add("makes worse: %s (score +%d, evidence %s, pressure %g)", r.Pest, r.Score, e.Grade, math.Round(10*e.Pressure)/10)
	}
	if e.Grade != r.Grade {
		why := r.CapReason
		if why == "" {
			why = "the cited evidence is for less than fewer pests"
		}
		add("%s: evidence %s counted as %s (%s)", r.Pest, r.Grade, e.Grade, why)
	}
	if r.disputed() {
		add("%s: sources disagree", r.Pest)
	}
	if r.Risk != "" && !strings.EqualFold(r.Risk, "as above") {
		add("%s", r.Risk)
	}
}

// answer fills in the answers by pest and the one sentence.
func (a *Advice) answer(level map[string]float64) {
	var pests []string
	for p, v := range level {
		if v > 0 {
			pests = append(pests, p)
		}
	}
	sort.Strings(pests)
	var good, poor []string
	for _, pest := range pests {
		p := PestAnswer{Pest: pest, Pressure: level[pest], Best: "none"}
		for _, s := range a.Suggestions {
			for _, e := range s.Effects {
				if e.Row.Pest != pest || e.Points <= 0 || s.Verdict == Outweighed {
					continue
				}
				switch g, best := cover.GradeOrder(e.Grade), cover.GradeOrder(p.Best); {
				case g < best:
					p.Best, p.Plants = e.Grade, []string{s.Plant}
				case g == best:
					p.Plants = appendNew(p.Plants, s.Plant)
				}
			}
		}
		names := strings.Join(p.Plants, ", ")
		switch p.Best {
		case "A", "B":
			p.Text = fmt.Sprintf("%s: trial evidence (%s; hardly any of it on dahlia): %s", pest, p.Best, names)
			good = append(good, pest)
		case "C":
			p.Text = fmt.Sprintf("%s: no good evidence that any plant here helps; advice or common practice only (C): %s", pest, names)
		case "D":
			p.Text = fmt.Sprintf("%s: no good evidence that any plant here helps; anecdote only (D): %s", pest, names)
		default:
			p.Text = fmt.Sprintf("%s: no good evidence that any plant here helps", pest)
		}
		if p.Best != "A" && p.Best != "B" {
			poor = append(poor, pest)
		}
		a.Pests = append(a.Pests, p)
	}
	switch {
	case len(pests) == 0:
		a.Answer = "no pest with a known pressure above 0, so no plant is suggested"
	case len(good) == 0:
		a.Answer = "no good evidence that any companion plant helps against " + strings.Join(poor, ", ")
	case len(poor) == 0:
		a.Answer = "some trial evidence for plants against " + strings.Join(good, ", ")
	default:
		a.Answer = "some trial evidence for plants against " + strings.Join(good, ", ") + "; no good evidence against " + strings.Join(poor, ", ")
	}
}

// asAbove returns the rows with "as above" filled in from the plant's row
// before it.
func asAbove(rows []Row) []Row {
	out := append([]Row(nil), rows...)
	last := map[string]int{}
	for i := range out {
		j, seen := last[out[i].Plant]
		last[out[i].Plant] = i
		if !seen {
			continue
		}
		for _, f := range [][2]*string{
			{&out[i].Placement, &out[j].Placement}, {&out[i].SowWindow, &out[j].SowWindow}, {&out[i].BloomWindow, &out[j].BloomWindow},
		} {
			if strings.EqualFold(strings.TrimSpace(*f[0]), "as above") {
				*f[0] = *f[1]
			}
		}
	}
	return out
}

// check validates the input and returns the known pressures by pest.
func check(pressures []cover.Pressure, rows []Row, opt Options) (map[string]float64, error) {
	if err := opt.Weights.Check(); err != nil {
		return nil, diag.Usagef("correct the weights", "companion plants: %v", err)
	}
	if !(opt.VirusPenalty >= 0 && opt.VirusPenalty <= 1e6) {
		return nil, diag.Usagef("give 0 or more points", "companion plants: virus penalty %v", opt.VirusPenalty)
	}
	level, seen := map[string]float64{}, map[string]bool{}
	for _, p := range pressures {
		if seen[p.Pest] {
			return nil, diag.Usagef("give each pest once", "companion plants: two pressures of %s", p.Pest)
		}
		seen[p.Pest] = true
		if !p.Known {
			continue
		}
		if !(p.Score >= 0 && p.Score <= cover.MaxPressure) {
			return nil, diag.Usagef("pressures run from 0 to 3", "companion plants: pressure of %s is %v", p.Pest, p.Score)
		}
		level[p.Pest] = p.Score
	}
	for _, r := range rows {
		switch {
		case r.Plant == "" || r.Pest == "":
			return nil, diag.Usagef("name the plant and the pest", "companion plants: a row has plant %q and pest %q", r.Plant, r.Pest)
		case r.Score < -3 || r.Score > 3:
			return nil, diag.Usagef("scores run from -3 to 3", "companion plants: %s on %s: score %d", r.Plant, r.Pest, r.Score)
		case !cover.GradeOK(r.Grade) || r.Cap != "" && !cover.GradeOK(r.Cap):
			return nil, diag.Usagef("grades are A, B, C, D and none", "companion plants: %s on %s: grade %q, cap %q", r.Plant, r.Pest, r.Grade, r.Cap)
		}
	}
	return level, nil
}

// round9 rounds to 1e-9, so that ties do not hang on the last bit.
func round9(v float64) float64 { return math.Round(v*1e9) / 1e9 }

func counted(pest string, pressures []cover.Pressure) bool {
	for _, p := range pressures {
		if p.Pest == pest {
			return p.Known
		}
	}
	return false
}

func appendNew(list []string, s string) []string {
	for _, x := range list {
		if x == s {
			return list
		}
	}
	return append(list, s)
}
