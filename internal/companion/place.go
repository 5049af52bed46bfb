package companion

import (
	"math"
	"slices"

	"leafturn/internal/units"
)

// Kind is how a plant stands on the farm.
type Kind string

// The kinds of placement.
const (
	Scattered  Kind = "scattered"   // so that every dahlia lies within reach of one
	BedEnds    Kind = "bed_ends"    // clumps at the ends of beds
	Strips     Kind = "strips"      // strips between or beside beds, every so many metres
	EdgeClumps Kind = "edge_clumps" // clumps along the edges of the field
	EdgeStrip  Kind = "edge_strip"  // one row, strip or bank along one edge of the field
	Alley      Kind = "alley"       // the ground of the alleys
	InBed      Kind = "in_bed"      // single plants along the middle of a bed
	InBedRow   Kind = "in_bed_row"  // a line along the bed
	BesideBed  Kind = "beside_bed"  // plants around the bed, just outside
	BedPoints  Kind = "bed_points"  // one for so much ground of the bed
	Pots       Kind = "pots"        // for beds under cover only
	FullStand  Kind = "full_stand"  // fills a bed: a cover crop, not a companion
	Remove     Kind = "remove"      // weeds
)

// Kinds lists the kinds.
var Kinds = []Kind{Scattered, BedEnds, Strips, EdgeClumps, EdgeStrip, Alley, InBed, InBedRow, BesideBed, BedPoints, Pots, FullStand, Remove}

// AtTheBeds reports whether a plant stands in, at or between the beds, so that
// it cannot keep away from them.
func (k Kind) AtTheBeds() bool {
	return k.perBed() || k == Scattered || k == BedEnds || k == Strips || k == Alley || k == Pots
}

// Planting is how a plant is placed and how much of it a place takes. A nil
// number is not known.
type Planting struct {
	Plant         string
	Kind          Kind
	SpacingM      *float64 // the widest gap between two places
	FromBedM      *float64 // at least so far from every bed
	WidthM        *float64 // of a strip; of an alley the least
	ReachM        *float64 // Scattered: how far from a plant its enemies work
	AreaPerUnitM2 *float64 // Pots, BedPoints
	Amount        *float64
	AmountPer     Per
	Units         units.System // in which lengths are told
}

// Per is what an amount counts, and for what.
type Per string

// The amounts.
const (
	PlantsPerPlace Per = "plants/place"
	PlantsPerM     Per = "plants/m"
	PlantsPerM2    Per = "plants/m2"
	PiecesPerPlace Per = "pieces/place"
	GramsPerPlace  Per = "g/place"
	GramsPerM      Per = "g/m"
	GramsPerM2     Per = "g/m2"
)

// Pers lists the amounts.
var Pers = []Per{PlantsPerPlace, PlantsPerM, PlantsPerM2, PiecesPerPlace, GramsPerPlace, GramsPerM, GramsPerM2}

// Plot is a bed on the map: X and Y are the metres from the south-west corner
// of the field to its own, nil where they are not known; its length lies east.
type Plot struct {
	Code            string
	X, Y            *float64
	LengthM, WidthM float64
	Rows            int  // of plants, lengthwise; 0 is not known
	House           bool // under cover
	Dahlias         bool
	Pressed         bool // a pest that the plant is grown against presses here
}

// Ground is what layouts assume of the field.
type Ground struct {
	// MarginM is the free ground beyond the outer beds on every side.
	MarginM float64
	// PathM is kept between a strip or clump and the beds where a plant names
	// no distance of its own.
	PathM float64
	// Taken is ground that other plants have.
	Taken []Area
}

// Area is ground on the map that a plant takes.
type Area struct {
	Plant          string
	X0, Y0, X1, Y1 float64
}

// DefaultGround returns 1.5 m around the beds, room for a barrow, and 0.5 m
// between strips and dahlias. Common practice.
func DefaultGround() Ground { return Ground{MarginM: 1.5, PathM: 0.5} }

// SpotKind tells what a spot lies in.
type SpotKind string

// The kinds of spot.
const (
	InTheBed   SpotKind = "bed"   // AtM from the bed's west end
	AtTheEnd   SpotKind = "end"   // the bed's end on Side
	AroundBed  SpotKind = "round" // around the bed
	AtTheEdge  SpotKind = "edge"  // the field's edge on Side, AtM from its west or south end
	InTheAlley SpotKind = "alley" // between Bed and Other
)

// Spot is one place, or a run of them.
type Spot struct {
	Kind            SpotKind
	Bed, Other      string
	Side            string // south, north, west or east
	AtM             float64
	LengthM, WidthM float64 // of a strip or row, 0 for a point
	Units           int     // places in it; 1 for a point
	X, Y            *float64
}

// Layout is where a plant goes and how much of it that takes.
type Layout struct {
	Plant   string
	Why     string // why it is not placed, "" when it is
	Spots   []Spot
	Units   int
	LengthM float64
	AreaM2  float64
	Plants  *int     // to plant, nil where the amount is not in plants or not known
	Pieces  *int     // to lay
	SeedG   *float64 // to sow
	Proven  bool     // Scattered, BedEnds and Strips: no smaller number of places does it
	Takes   []Area   // ground beside and between the beds
	Notes   []string
}

// rect is ground on the map.
type rect struct{ x0, y0, x1, y1 float64 }

func (r rect) gap(o rect) float64 {
	dx := max(0, r.x0-o.x1, o.x0-r.x1)
	dy := max(0, r.y0-o.y1, o.y0-r.y1)
	return math.Hypot(dx, dy)
}

func (p Plot) rect() rect { return rect{*p.X, *p.Y, *p.X + p.LengthM, *p.Y + p.WidthM} }

func (p Plot) placed() bool { return p.X != nil && p.Y != nil }

// tract is a free strip of ground between beds or at the edge of the field.
type tract struct {
	spot  Spot
	r     rect
	level bool // it runs west to east
	edge  bool
}

func (t tract) depth() float64 {
	if t.level {
		return t.r.y1 - t.r.y0
	}
	return t.r.x1 - t.r.x0
}

func (t tract) length() float64 {
	if t.level {
		return t.r.x1 - t.r.x0
	}
	return t.r.y1 - t.r.y0
}

// free reports whether nothing else has the ground; else who has.
func (g Ground) free(r rect) (string, bool) {
	for _, a := range g.Taken {
		if min(r.x1, a.X1)-max(r.x0, a.X0) > 1e-9 && min(r.y1, a.Y1)-max(r.y0, a.Y0) > 1e-9 {
			return a.Plant, false
		}
	}
	return "", true
}

// band is beds whose runs along an axis touch or overlap.
type band struct {
	lo, hi float64
	plots  []Plot
}

func bands(plots []Plot, run func(rect) (float64, float64)) []band {
	sorted := slices.Clone(plots)
	slices.SortStableFunc(sorted, func(a, b Plot) int {
		x, _ := run(a.rect())
		y, _ := run(b.rect())
		switch {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return 0
	})
	var out []band
	for _, p := range sorted {
		lo, hi := run(p.rect())
		if n := len(out); n > 0 && lo <= out[n-1].hi+1e-9 {
			out[n-1].hi = max(out[n-1].hi, hi)
			out[n-1].plots = append(out[n-1].plots, p)
			continue
		}
		out = append(out, band{lo, hi, []Plot{p}})
	}
	return out
}

func eastward(r rect) (float64, float64)  { return r.x0, r.x1 }
func northward(r rect) (float64, float64) { return r.y0, r.y1 }

// tracts are the free strips that the map shows: the four edges, the ground
// between columns of beds, and inside a column the alleys between its beds.
// The field's south-west corner is the map's zero, so ground south and west of
// the beds is known as far as that; elsewhere it is the margin.
func tracts(plots []Plot, g Ground) []tract {
	if len(plots) == 0 {
		return nil
	}
	box := plots[0].rect()
	for _, p := range plots {
		r := p.rect()
		box = rect{min(box.x0, r.x0), min(box.y0, r.y0), max(box.x1, r.x1), max(box.y1, r.y1)}
	}
	south, west := max(g.MarginM, box.y0), max(g.MarginM, box.x0)
	out := []tract{
		{Spot{Kind: AtTheEdge, Side: "south"}, rect{box.x0, box.y0 - south, box.x1, box.y0}, true, true},
		{Spot{Kind: AtTheEdge, Side: "north"}, rect{box.x0, box.y1, box.x1, box.y1 + g.MarginM}, true, true},
		{Spot{Kind: AtTheEdge, Side: "west"}, rect{box.x0 - west, box.y0, box.x0, box.y1}, false, true},
		{Spot{Kind: AtTheEdge, Side: "east"}, rect{box.x1, box.y0, box.x1 + g.MarginM, box.y1}, false, true},
	}
	columns := bands(plots, eastward)
	for i, c := range columns {
		if i > 0 {
			before := columns[i-1]
			out = append(out, tract{Spot{Kind: InTheAlley, Bed: before.plots[0].Code, Other: c.plots[0].Code}, rect{before.hi, box.y0, c.lo, box.y1}, false, false})
		}
		rows := bands(c.plots, northward)
		for j := 1; j < len(rows); j++ {
			a, b := rows[j-1], rows[j]
			out = append(out, tract{Spot{Kind: InTheAlley, Bed: a.plots[len(a.plots)-1].Code, Other: b.plots[0].Code}, rect{c.lo, a.hi, c.hi, b.lo}, true, false})
		}
	}
	return out
}

// inside is the part of a tract of a width that keeps a distance from the
// beds: the middle of an alley, at the edge as near to the beds as it may be.
// A width of 0 takes all there is. ok is false when it does not fit.
func (t tract) inside(width, keep float64) (rect, bool) {
	room := t.depth() - keep
	if !t.edge {
		room -= keep
	}
	if width == 0 {
		width = room
	}
	if width <= 0 || room < width-1e-9 {
		return rect{}, false
	}
	off := keep
	if !t.edge {
		off = (t.depth() - width) / 2
	}
	r := t.r
	switch {
	case t.level && t.spot.Side == "south":
		return rect{r.x0, r.y1 - off - width, r.x1, r.y1 - off}, true
	case t.level:
		return rect{r.x0, r.y0 + off, r.x1, r.y0 + off + width}, true
	case t.spot.Side == "west":
		return rect{r.x1 - off - width, r.y0, r.x1 - off, r.y1}, true
	}
	return rect{r.x0 + off, r.y0, r.x0 + off + width, r.y1}, true
}

// strip makes a spot of ground inside a tract.
func (t tract) strip(r rect) Spot {
	s := t.spot
	s.X, s.Y, s.Units = ptr(r.x0), ptr(r.y0), 1
	s.LengthM, s.WidthM = r.x1-r.x0, r.y1-r.y0
	if !t.level {
		s.LengthM, s.WidthM = s.WidthM, s.LengthM
	}
	return s
}

func ptr[T any](v T) *T { return &v }
