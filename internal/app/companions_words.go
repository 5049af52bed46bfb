package app

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/companion"
	"leafturn/internal/pattern"
	"leafturn/internal/report"
)

// pestKeyRE finds the keys of pests of several words.
var pestKeyRE = pattern.New(`\b[a-z]+_[a-z]+\b`)

// spaced writes the keys of pests as people do.
func (a *App) spaced(s string) string {
	return pestKeyRE().ReplaceAllStringFunc(s, func(key string) string {
		if _, ok := a.cat.Pest(key); ok || contains(catalog.SoilProblems(), key) {
			return strings.ReplaceAll(key, "_", " ")
		}
		return key
	})
}

// says makes lines of sentences that may hold keys of pests.
func (a *App) says(texts ...string) []report.Line {
	var out []report.Line
	for _, t := range texts {
		out = append(out, report.Plain(a.spaced(t)))
	}
	return out
}

// fullDay is a day with its year.
func fullDay(d civil.Date) string { return d.Short() + " " + strconv.Itoa(d.Year) }

// runWords writes runs of days, with the year once.
func runWords(runs []companion.Days) string {
	var out []string
	for _, r := range runs {
		out = append(out, r.From.Time().Format("2 Jan")+" to "+r.To.Time().Format("2 Jan"))
	}
	return strings.Join(out, ", ")
}

// weekWords writes weeks, runs joined: "W27-W38, W40".
func weekWords(weeks []int) string {
	var out []string
	for i := 0; i < len(weeks); {
		j := i
		for j+1 < len(weeks) && weeks[j+1] == weeks[j]+1 {
			j++
		}
		w := fmt.Sprintf("W%d", weeks[i])
		if j > i {
			w += fmt.Sprintf("-W%d", weeks[j])
		}
		out = append(out, w)
		i = j + 1
	}
	return strings.Join(out, ", ")
}

// spotWords says where the places of a layout are.
func (a *App) spotWords(l companion.Layout) []string {
	var out []string
	var points []string
	rounds := map[string][]string{}
	var roundOrder []string
	edges := map[string][]companion.Spot{}
	ends := map[string][]string{}
	for _, s := range l.Spots {
		switch {
		case s.Kind == companion.InTheBed && s.LengthM == 0 && s.Units == 1:
			points = append(points, fmt.Sprintf("%s at %s", s.Bed, a.farm.Units.Length(s.AtM)))
		case s.Kind == companion.InTheBed && s.LengthM > 0:
			k := a.farm.Units.Length(s.LengthM) + " in each of "
			if len(rounds[k]) == 0 {
				roundOrder = append(roundOrder, k)
			}
			rounds[k] = append(rounds[k], s.Bed)
		case s.Kind == companion.InTheBed:
			k := fmt.Sprintf("%d in each of ", s.Units)
			if len(rounds[k]) == 0 {
				roundOrder = append(roundOrder, k)
			}
			rounds[k] = append(rounds[k], s.Bed)
		case s.Kind == companion.AroundBed && s.LengthM > 0:
			k := fmt.Sprintf("%s by %s beside each of ", a.farm.Units.Length(s.LengthM), a.farm.Units.Length(s.WidthM))
			if s.Side == "edge" {
				k = fmt.Sprintf("%s by %s at the edge of the field, as long as the longest bed, ", a.farm.Units.Length(s.LengthM), a.farm.Units.Length(s.WidthM))
			}
			if len(rounds[k]) == 0 {
				roundOrder = append(roundOrder, k)
			}
			rounds[k] = append(rounds[k], s.Bed)
		case s.Kind == companion.AroundBed:
			k := fmt.Sprintf("%d at each of ", s.Units)
			if len(rounds[k]) == 0 {
				roundOrder = append(roundOrder, k)
			}
			rounds[k] = append(rounds[k], s.Bed)
		case s.Kind == companion.AtTheEnd:
			ends[s.Side] = append(ends[s.Side], s.Bed)
		case s.Kind == companion.AtTheEdge && s.LengthM == 0:
			edges[s.Side] = append(edges[s.Side], s)
		case s.Kind == companion.AtTheEdge:
			out = append(out, fmt.Sprintf("along the %s edge, %s by %s", s.Side, a.farm.Units.Length(s.LengthM), a.farm.Units.Length(s.WidthM)))
		case s.Kind == companion.InTheAlley:
			out = append(out, fmt.Sprintf("between %s and %s, %s by %s", s.Bed, s.Other, a.farm.Units.Length(s.LengthM), a.farm.Units.Length(s.WidthM)))
		}
	}
	if len(points) > 0 {
		out = append(out, "in the beds, from their west end: "+strings.Join(points, "; "))
	}
	for _, side := range []string{"west", "east"} {
		if len(ends[side]) > 0 {
			out = append(out, "at the "+side+" end of "+strings.Join(ends[side], ", "))
		}
	}
	for _, side := range []string{"south", "north", "west", "east"} {
		on := edges[side]
		if len(on) == 0 {
			continue
		}
		from := "west"
		if side == "west" || side == "east" {
			from = "south"
		}
		w := fmt.Sprintf("%d along the %s edge, the first %s from its %s end", len(on), side, a.farm.Units.Length(on[0].AtM), from)
		if len(on) > 1 {
			w += ", then every " + a.farm.Units.Length(on[1].AtM-on[0].AtM)
		}
		out = append(out, w)
	}
	for _, k := range roundOrder {
		if len(rounds[k]) == 1 {
			out = append(out, strings.Replace(k, " each of ", " ", 1)+rounds[k][0])
			continue
		}
		out = append(out, k+strings.Join(rounds[k], ", "))
	}
	return out
}

// spareShare is how many more plants are raised than planted, for losses.
// Common practice.
const spareShare = 0.2

func toRaise(plants int) int { return int(math.Ceil(float64(plants)*(1+spareShare) - 1e-9)) }

// amountWords says how much of a plant its places take together.
func (a *App) amountWords(x chosenPlant) string { return a.amountOf(x, 1) }

// sowingWords says how much of a plant one sowing takes: where several stand
// at one time and it is sown in place, each has a part of the ground.
func (a *App) sowingWords(x chosenPlant) string {
	if n := x.parts(); n > 1 {
		return fmt.Sprintf("%s (one of %d parts)", a.amountOf(x, float64(n)), n)
	}
	return a.amountWords(x)
}

// parts is into how many parts the ground of a plant is parted.
func (x chosenPlant) parts() int {
	if x.layout.SeedG == nil {
		return 1
	}
	return x.timing.Parts()
}

func (a *App) amountOf(x chosenPlant, parts float64) string {
	l := x.layout
	var out []string
	if l.Units > 1 {
		out = append(out, fmt.Sprintf("%d places", l.Units))
	}
	if l.AreaM2 > 0 {
		out = append(out, a.farm.Units.Area(l.AreaM2/parts))
	} else if l.LengthM > 0 {
		out = append(out, a.farm.Units.Length(l.LengthM/parts)+" of row")
	}
	switch {
	case l.Plants != nil:
		w := fmt.Sprintf("%d plants", *l.Plants)
		if *l.Plants == 1 {
			w = "1 plant"
		}
		if x.raised() {
			w += fmt.Sprintf(", raise %d", toRaise(*l.Plants))
		}
		out = append(out, w)
	case l.Pieces != nil:
		out = append(out, fmt.Sprintf("%d pieces", *l.Pieces))
	case l.SeedG != nil:
		out = append(out, a.farm.Units.Mass(*l.SeedG/parts)+" of seed")
	default:
		out = append(out, "how many plants or how much seed is not known")
	}
	return strings.Join(out, ", ")
}

// raised reports whether it is sown under cover and planted out.
func (x chosenPlant) raised() bool {
	return slices.ContainsFunc(x.timing.Sowings, func(s companion.Sow) bool { return !s.PlantOut.IsZero() })
}
