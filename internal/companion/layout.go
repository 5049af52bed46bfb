package companion

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/diag"
)

// Place lays a plant out on the farm's beds.
//
// Places on the map keep the plant's distance from every bed; where the map
// shows no such ground it is not placed and Why says so. Beds without a place
// on the map get what they need by their length alone, and a note says so.
//
// For Scattered the number of places is the least for which every piece of
// each dahlia bed, cut crosswise at every metre, lies within reach of one
// place, among places on the middle lines of the beds at every metre; for
// BedEnds the least number of ends so that no end of a bed is further than
// half the spacing from one. Proven says that the search went to its end.
//
// Errors: *diag.Problem for sizes out of range and an unknown kind.
func Place(p Planting, plots []Plot, g Ground) (Layout, error) {
	if err := checkPlace(p, plots, g); err != nil {
		return Layout{}, err
	}
	l := Layout{Plant: p.Plant}
	mine := only(plots, func(b Plot) bool { return b.Dahlias })
	if len(mine) == 0 {
		l.Why = "there is no bed with dahlias"
		return l, nil
	}
	if pressed := only(mine, func(b Plot) bool { return b.Pressed }); p.Kind.perBed() && len(pressed) > 0 && len(pressed) < len(mine) {
		mine = pressed
		l.note("only in the beds where the pest presses")
	}
	onMap, off := only(mine, Plot.placed), only(mine, func(b Plot) bool { return !b.placed() })
	if len(off) > 0 && p.Kind != FullStand && p.Kind != Remove && p.Kind != Pots && !p.Kind.perBed() {
		switch {
		case len(onMap) == 0:
			l.note("no bed has a place on the map, so the amounts go by bed length alone")
		case p.Kind == Scattered || p.Kind == BedEnds || p.Kind == Strips:
			l.note(fmt.Sprintf("without a place on the map, so by bed length alone: %s", codes(off)))
		default:
			l.note(fmt.Sprintf("without a place on the map, and left out of account: %s", codes(off)))
		}
		if p.FromBedM != nil {
			l.note(fmt.Sprintf("keep it %s or more from them yourself", p.Units.Length(*p.FromBedM)))
		}
	}
	all := only(plots, Plot.placed)
	switch p.Kind {
	case Scattered:
		l.scatter(p, onMap, off)
	case BedEnds:
		l.ends(p, onMap, off)
	case Strips:
		l.strips(p, onMap, all, off, g)
	case EdgeClumps:
		l.clumps(p, all, off, g)
	case EdgeStrip:
		l.edge(p, all, off, g)
	case Alley:
		l.alleys(p, all, g)
	case InBed, InBedRow, BesideBed, BedPoints:
		l.perBed(p, mine)
	case Pots:
		l.pots(p, only(mine, func(b Plot) bool { return b.House }))
	case FullStand:
		l.Why = "it works only as a full stand that fills a bed for a season, not beside dahlias: see `leafturn covers`"
	case Remove:
		l.Why = "it is to be removed, not planted"
	}
	if l.Why == "" {
		l.amounts(p)
	}
	return l, nil
}

// perBed reports whether a plant stands in or round single beds.
func (k Kind) perBed() bool { return k == InBed || k == InBedRow || k == BesideBed || k == BedPoints }

func (l *Layout) note(s string) { l.Notes = appendNew(l.Notes, s) }

func (l *Layout) add(s Spot) {
	l.Spots = append(l.Spots, s)
	l.Units += s.Units
	if s.WidthM > 0 {
		l.AreaM2 += s.LengthM * s.WidthM
	}
	l.LengthM += s.LengthM
}

// amounts turns places, metres and ground into plants or seed.
func (l *Layout) amounts(p Planting) {
	if p.Amount == nil {
		return
	}
	v := *p.Amount
	switch p.AmountPer {
	case PlantsPerPlace, PiecesPerPlace, GramsPerPlace:
		v *= float64(l.Units)
	case PlantsPerM, GramsPerM:
		v *= l.LengthM
	case PlantsPerM2, GramsPerM2:
		v *= l.AreaM2
	}
	switch n := int(math.Ceil(v - 1e-9)); p.AmountPer {
	case GramsPerPlace, GramsPerM, GramsPerM2:
		l.SeedG = &v
	case PiecesPerPlace:
		l.Pieces = &n
	default:
		l.Plants = &n
	}
}

// scatter finds the fewest places within reach of every dahlia.
func (l *Layout) scatter(p Planting, on, off []Plot) {
	for _, b := range slices.Concat(on, off) {
		if math.Hypot(1, b.WidthM/2) > *p.ReachM {
			l.Why = fmt.Sprintf("bed %s is %s wide, and from its middle line %s does not reach all of it", b.Code, p.Units.Length(b.WidthM), p.Units.Length(*p.ReachM))
			return
		}
	}
	var spots []Spot
	for _, b := range on {
		for _, at := range steps(b.LengthM) {
			spots = append(spots, Spot{Kind: InTheBed, Bed: b.Code, AtM: at, Units: 1, X: ptr(*b.X + at), Y: ptr(*b.Y + b.WidthM/2)})
		}
	}
	n := 0
	sets := make([][]int, len(spots))
	for _, b := range on {
		r := b.rect()
		cuts := steps(b.LengthM)
		for i := 1; i < len(cuts); i++ {
			piece := rect{r.x0 + cuts[i-1], r.y0, r.x0 + cuts[i], r.y1}
			for s, spot := range spots {
				if piece.farthest(*spot.X, *spot.Y) <= *p.ReachM+1e-9 {
					sets[s] = append(sets[s], n)
				}
			}
			n++
		}
	}
	chosen, proven := leastCover(n, sets)
	l.Proven = proven && len(off) == 0
	for _, c := range chosen {
		l.add(spots[c])
	}
	l.note("so few only bring reach: more plants feed more, and how many are enough for a field of dahlias was not measured")
	for _, b := range off {
		// Of a bed alone: a plant on its middle line reaches so far along it.
		half := math.Sqrt(max(0, *p.ReachM**p.ReachM-b.WidthM*b.WidthM/4))
		l.along(b, max(1, int(math.Ceil(b.LengthM/(2*half)-1e-9))))
	}
}

// farthest is the distance from a point to the farthest corner.
func (r rect) farthest(x, y float64) float64 {
	return math.Hypot(max(math.Abs(x-r.x0), math.Abs(x-r.x1)), max(math.Abs(y-r.y0), math.Abs(y-r.y1)))
}

// steps are 0, 1, 2, ... metres and the whole length.
func steps(length float64) []float64 {
	var out []float64
	for i := 0; float64(i) < length-1e-9; i++ {
		out = append(out, float64(i))
	}
	return append(out, length)
}

// along puts n places at equal distances on a bed's middle line.
func (l *Layout) along(b Plot, n int) {
	for i := range n {
		s := Spot{Kind: InTheBed, Bed: b.Code, AtM: b.LengthM * (float64(i) + 0.5) / float64(n), Units: 1}
		if b.placed() {
			s.X, s.Y = ptr(*b.X+s.AtM), ptr(*b.Y+b.WidthM/2)
		}
		l.add(s)
	}
}

// ends finds the fewest bed ends so that none is further than half the spacing
// from a clump. A bed without a place gets both of its ends.
func (l *Layout) ends(p Planting, on, off []Plot) {
	var spots []Spot
	for _, b := range on {
		y := *b.Y + b.WidthM/2
		spots = append(spots, Spot{Kind: AtTheEnd, Bed: b.Code, Side: "west", Units: 1, X: ptr(*b.X), Y: ptr(y)},
			Spot{Kind: AtTheEnd, Bed: b.Code, Side: "east", Units: 1, X: ptr(*b.X + b.LengthM), Y: ptr(y)})
	}
	sets := make([][]int, len(spots))
	for i, s := range spots {
		for j, o := range spots {
			if math.Hypot(*s.X-*o.X, *s.Y-*o.Y) <= *p.SpacingM/2+1e-9 {
				sets[i] = append(sets[i], j)
			}
		}
	}
	chosen, proven := leastCover(len(spots), sets)
	l.Proven = proven
	for _, c := range chosen {
		l.add(spots[c])
	}
	for _, b := range off {
		for _, side := range []string{"west", "east"} {
			l.add(Spot{Kind: AtTheEnd, Bed: b.Code, Side: side, Units: 1})
		}
	}
}

// keep is the distance from the beds that a plant asks for.
func (p Planting) keep(g Ground) float64 {
	if p.FromBedM != nil {
		return *p.FromBedM
	}
	return g.PathM
}

// far reports whether a spot of ground keeps a distance from all beds.
func far(r rect, plots []Plot, keep float64) bool {
	for _, b := range plots {
		if r.gap(b.rect()) < keep-1e-9 {
			return false
		}
	}
	return true
}

func (l *Layout) take(r rect) {
	l.Takes = append(l.Takes, Area{l.Plant, r.x0, r.y0, r.x1, r.y1})
}

// noGround says that the map has no place for a plant, or who has it.
func (l *Layout) noGround(p Planting, width float64, g Ground, where string, holders []string) {
	if len(holders) > 0 {
		l.Why = "its place is taken by " + strings.Join(holders, " and ") + ": leave that out to plant this (--without)"
		return
	}
	l.Why = fmt.Sprintf("the map shows no ground %s for it: it needs %s of width", where, p.Units.Length(width))
	if p.FromBedM != nil {
		l.Why += fmt.Sprintf(", %s or more from every bed", p.Units.Length(*p.FromBedM))
	} else {
		l.Why += fmt.Sprintf(" and %s to the beds", p.Units.Length(g.PathM))
	}
	if where != "between the beds" {
		l.Why += fmt.Sprintf("; round the beds %s are taken as free (--margin)", p.Units.Length(g.MarginM))
	}
}

// strips finds the fewest strips so that the middle line of each bed is within
// half the spacing of one.
func (l *Layout) strips(p Planting, on, all, off []Plot, g Ground) {
	type strip struct {
		spot Spot
		r    rect
	}
	var can []strip
	var holders []string
	for _, t := range tracts(all, g) {
		if r, ok := t.inside(*p.WidthM, p.keep(g)); ok && far(r, all, p.keep(g)) {
			if who, free := g.free(r); !free {
				holders = appendNew(holders, who)
				continue
			}
			can = append(can, strip{t.strip(r), r})
		}
	}
	if len(on) > 0 && len(can) == 0 {
		l.noGround(p, *p.WidthM, g, "between or beside the beds", holders)
		return
	}
	// Of as few strips, those that take the least ground are met first.
	slices.SortStableFunc(can, func(a, b strip) int { return cmp.Compare(a.spot.LengthM, b.spot.LengthM) })
	sets := make([][]int, len(can))
	var reached []int
	for i, b := range on {
		r := b.rect()
		mid := (r.y0 + r.y1) / 2
		within := false
		for j, s := range can {
			if max(s.r.gap(rect{r.x0, mid, r.x0, mid}), s.r.gap(rect{r.x1, mid, r.x1, mid})) <= *p.SpacingM/2+1e-9 {
				sets[j] = append(sets[j], len(reached))
				within = true
			}
		}
		if within {
			reached = append(reached, i)
		}
	}
	var out []Plot
	for i, b := range on {
		if !containsInt(reached, i) {
			out = append(out, b)
		}
	}
	if len(reached) == 0 && len(on) > 0 {
		l.Why = fmt.Sprintf("no free ground on the map lies within %s of a whole bed", p.Units.Length(*p.SpacingM/2))
		return
	}
	if len(out) > 0 {
		l.note(fmt.Sprintf("too far from any free ground for a strip: %s", codes(out)))
	}
	chosen, proven := leastCover(len(reached), sets)
	l.Proven = proven
	for _, c := range chosen {
		l.add(can[c].spot)
		l.take(can[c].r)
	}
	for _, b := range off {
		l.add(Spot{Kind: AroundBed, Bed: b.Code, Side: "north", LengthM: b.LengthM, WidthM: *p.WidthM, Units: 1})
	}
}

func containsInt(list []int, v int) bool {
	for _, x := range list {
		if x == v {
			return true
		}
	}
	return false
}

// perBed serves the plants that stand in or round single beds.
func (l *Layout) perBed(p Planting, beds []Plot) {
	if p.SpacingM == nil && (p.Kind == InBed || p.Kind == BesideBed) {
		l.Why = "how far apart they stand is not known"
		return
	}
	for _, b := range beds {
		switch p.Kind {
		case InBed:
			l.along(b, max(1, int(math.Ceil(b.LengthM / *p.SpacingM - 1e-9))))
		case InBedRow:
			lines := max(1, b.Rows)
			if b.Rows == 0 {
				l.note("one line a bed: how many rows a bed has is not known")
			}
			l.add(Spot{Kind: InTheBed, Bed: b.Code, LengthM: b.LengthM * float64(lines), Units: lines, X: b.X, Y: b.Y})
		case BesideBed:
			round := 2 * (b.LengthM + b.WidthM)
			l.add(Spot{Kind: AroundBed, Bed: b.Code, Units: max(1, int(math.Ceil(round / *p.SpacingM - 1e-9))), X: b.X, Y: b.Y})
		case BedPoints:
			l.add(Spot{Kind: InTheBed, Bed: b.Code, Units: max(1, int(math.Ceil(b.LengthM*b.WidthM / *p.AreaPerUnitM2 - 1e-9))), X: b.X, Y: b.Y})
		}
	}
}

// pots stand in beds under cover, one for so much ground of them together.
func (l *Layout) pots(p Planting, house []Plot) {
	if len(house) == 0 {
		l.Why = "it is for beds under cover, and no bed of dahlias here is"
		return
	}
	area := 0.0
	for _, b := range house {
		area += b.LengthM * b.WidthM
	}
	n := max(1, int(math.Ceil(area / *p.AreaPerUnitM2 - 1e-9)))
	l.add(Spot{Kind: AroundBed, Bed: house[0].Code, Units: n})
	l.note(fmt.Sprintf("for all beds under cover together: %s", codes(house)))
}

func only(plots []Plot, f func(Plot) bool) []Plot {
	var out []Plot
	for _, p := range plots {
		if f(p) {
			out = append(out, p)
		}
	}
	return out
}

func codes(plots []Plot) string {
	s := ""
	for i, p := range plots {
		if i > 0 {
			s += ", "
		}
		s += p.Code
	}
	return s
}

// mostM is the longest bed or field side that is believed.
const mostM = 10_000

func checkPlace(p Planting, plots []Plot, g Ground) error {
	for _, b := range plots {
		for _, v := range []float64{b.LengthM, b.WidthM} {
			if !(v > 0 && v <= mostM) {
				return diag.Usagef("give the bed its size: `leafturn bed set`", "companion plants: bed %s is %g by %g m", b.Code, b.LengthM, b.WidthM)
			}
		}
		if b.placed() && !(math.Abs(*b.X) <= mostM && math.Abs(*b.Y) <= mostM) {
			return diag.Usagef("correct the place of the bed", "companion plants: bed %s lies %g m east and %g m north", b.Code, *b.X, *b.Y)
		}
	}
	if !(g.MarginM >= 0 && g.MarginM <= mostM) || !(g.PathM >= 0 && g.PathM <= mostM) {
		return diag.Usagef("give metres from 0 to 10000", "companion plants: a margin of %g m and a path of %g m", g.MarginM, g.PathM)
	}
	need := func(what string, v *float64) error {
		if v == nil || !(*v > 0) {
			return diag.Usagef("fill in the table of companion plants", "companion plants: %s (%s) has no %s", p.Plant, p.Kind, what)
		}
		return nil
	}
	switch p.Kind {
	case Scattered:
		return need("reach", p.ReachM)
	case BedEnds:
		return need("spacing", p.SpacingM)
	case Strips:
		if err := need("width", p.WidthM); err != nil {
			return err
		}
		return need("spacing", p.SpacingM)
	case Pots, BedPoints:
		return need("ground per unit", p.AreaPerUnitM2)
	case EdgeClumps, EdgeStrip, Alley, InBed, InBedRow, BesideBed, FullStand, Remove:
	default:
		return diag.Usagef("use one of the kinds", "companion plants: %s has the unknown kind %q", p.Plant, p.Kind)
	}
	return nil
}
