package cover

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// explain fills in what the choices of a bed rest on and what to know about
// them.
func (bp *BedPlan) explain(b Bed) {
	chosen := bp.Chosen()
	if b.Standing != "" {
		bp.Notes = append(bp.Notes, "it stands under "+b.Standing)
	} else if bp.Winter.Key == None || bp.Winter.Fit.Choice.Slot == Spring {
		bp.Notes = append(bp.Notes, "bare soil in winter: open to rain and wind")
	}
	if note := bp.nothingFits(b); note != "" && b.Standing == "" {
		bp.Notes = append(bp.Notes, note)
	}
	for _, c := range chosen {
		before := ""
		if len(chosen) > 1 {
			before = c.Key + ": "
		}
		unknown, notes := c.explain()
		for _, s := range unknown {
			bp.Unknown = append(bp.Unknown, before+s)
		}
		for _, s := range notes {
			bp.Notes = append(bp.Notes, before+s)
		}
	}
	if p, known := b.pressure("slug"); known && p > 0 && len(chosen) > 0 {
		bp.Notes = append(bp.Notes, "R15: slugs press on this bed; clear or turn in the residue 3 to 4 weeks before shoots show")
	}
	if b.SodYear > 0 && !bp.Rest.rests() && b.PlantBy.Year-b.SodYear <= sodYears {
		for _, pest := range []string{"wireworm", "symphylan"} {
			if p, known := b.pressure(pest); known && p > 0 {
				bp.Notes = append(bp.Notes, fmt.Sprintf("R16: old grass until %d and %s found: dahlias should not follow for %d years; rest the bed or move them", b.SodYear, pest, sodYears))
			}
		}
	}
}

// nothingFits says why no cover at all fits before planting; "" where one does.
func (bp *BedPlan) nothingFits(b Bed) string {
	byRule := map[string]int{}
	n := 0
	for _, c := range bp.Cells {
		if c.Key == None || c.Option.Rest || len(c.Option.Mix) > 0 {
			continue
		}
		if c.Allowed {
			return ""
		}
		n++
		r, _, _ := strings.Cut(why(c), ":")
		byRule[r]++
	}
	if n == 0 {
		return ""
	}
	var parts []string
	for _, r := range sortedCounts(byRule) {
		parts = append(parts, fmt.Sprintf("%d by %s", byRule[r], ruleWords(r)))
	}
	return fmt.Sprintf("nothing fits from %s to planting on %s: of %d covers, %s", day(b.FreeFrom), day(b.PlantBy), n, strings.Join(parts, ", "))
}

// ruleWords is a rule's id with what it is about.
func ruleWords(id string) string {
	about := map[string]string{
		"R2": "sowing window", "R3": "time to a stand", "R4": "wait before planting", "R5": "soil temperature", "R6": "family of the last cover", "R7": "dahlia's own family",
		"budget": "its price is not known", "R8": "brassica gap", "R9": "soil disease", "R10": "virus", "R14": "water", "R16": "ley",
	}[id]
	if about == "" {
		return id
	}
	return id + " (" + about + ")"
}

// sortedCounts are the keys, the largest count first.
func sortedCounts(m map[string]int) []string {
	out := slices.Sorted(maps.Keys(m))
	slices.SortStableFunc(out, func(a, b string) int { return m[b] - m[a] })
	return out
}

// sodYears is how long dahlias stay out of old grass where its pests were found
// (R16). Source: planting table, published for wireworm.
const sodYears = 3

// explain returns what a chosen cover rests on without knowing, and what to know.
func (c Cell) explain() (unknown, notes []string) {
	for _, t := range c.Score.Unknown {
		if t.Pressure < 0.05 {
			continue
		}
		of := "its"
		if t.Crop != "" {
			of = t.Crop + "'s"
		}
		unknown = append(unknown, fmt.Sprintf("%s effect on %s is not known (pressure %s)", of, t.Pest, short(t.Pressure)))
	}
	var worse, open []string
	for _, t := range c.Score.Terms {
		switch acts := t.Effect.Score != 0; {
		case t.State == PressureUnknown && acts:
			open = append(open, fmt.Sprintf("%s %s (%s)", verb(t.Effect.Score), t.Pest, t.Effect.Grade))
		case t.State == IsCounted && t.Effect.Score > 0:
			worse = append(worse, t.String())
		}
	}
	if len(open) > 0 {
		unknown = append(unknown, "pests never counted here, so not in the points: it "+strings.Join(open, ", "))
	}
	if !c.Score.CostKnown {
		words := "its seed cost is not known and was not taken off"
		if c.Score.CostPts > 0 {
			words = fmt.Sprintf("its seed cost is not known; a guess was taken off, %.2f points", c.Score.CostPts)
		}
		unknown = append(unknown, words)
	}
	for _, s := range c.Score.SoilOpen {
		unknown = append(unknown, s+" is not known and was not counted")
	}
	for _, r := range c.Fit.Reasons {
		if r.Kind == NotKnown {
			unknown = append(unknown, r.Rule+": "+r.Text)
		} else {
			notes = append(notes, r.Rule+": "+r.Text)
		}
	}
	if len(worse) > 0 {
		notes = append(notes, "makes worse: "+strings.Join(worse, "; "))
	}
	if len(c.Score.Contested) > 0 {
		words := make([]string, len(c.Score.Contested))
		for i, t := range c.Score.Contested {
			words[i] = t.String()
		}
		notes = append(notes, "sources disagree on: "+strings.Join(words, "; "))
	}
	if c.Score.AnecdotePts > 0 {
		notes = append(notes, fmt.Sprintf("all its help is anecdote (D); %.2f points of it are not counted, so that it does not outrank a trial", c.Score.AnecdotePts))
	}
	for _, t := range c.Score.Terms {
		if t.Points > 0 && t.Effect.TestedYears > 1 {
			of := ""
			if t.Crop != "" {
				of = t.Crop + ": "
			}
			notes = append(notes, fmt.Sprintf("%s%s: the trial grew it %d years in a row; one year is part of that treatment, so plan it again next year", of, t.Pest, t.Effect.TestedYears))
		}
	}
	return unknown, notes
}

func verb(score int) string {
	if score < 0 {
		return "lowers"
	}
	return "raises"
}
