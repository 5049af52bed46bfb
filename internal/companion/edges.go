package companion

import (
	"math"
	"strings"
)

// clumpM is the ground that a clump takes: common practice.
const clumpM = 0.5

// clumps stand at equal distances along each edge that has room.
func (l *Layout) clumps(p Planting, all, off []Plot, g Ground) {
	if p.SpacingM == nil {
		l.Why = "how far apart they stand is not known"
		return
	}
	if len(all) == 0 {
		l.byLength(p, off)
		return
	}
	var holders []string
	for _, t := range tracts(all, g) {
		r, ok := t.inside(clumpM, p.keep(g))
		if !t.edge || !ok {
			continue
		}
		n := max(1, int(math.Ceil(t.length() / *p.SpacingM - 1e-9)))
		spots, ground, who := t.clumpsAt(r, n, g)
		if spots == nil {
			holders = appendNew(holders, who)
			continue
		}
		for i, s := range spots {
			l.add(s)
			l.take(ground[i])
		}
	}
	if len(l.Spots) == 0 {
		l.noGround(p, clumpM, g, "at the edge", holders)
	} else if len(holders) > 0 {
		l.note("not on the edge that " + strings.Join(holders, " and ") + " has")
	}
}

// shifts are the parts of a gap by which clumps stand off the end of an edge:
// in the middle of their stretch, else where other plants leave room.
var shifts = []float64{0.5, 0.25, 0.75, 0.375, 0.625}

// clumpsAt puts n clumps at equal distances on an edge where nothing else
// stands, or says what does.
func (t tract) clumpsAt(r rect, n int, g Ground) (spots []Spot, ground []rect, who string) {
	for _, shift := range shifts {
		spots, ground = nil, nil
		for i := range n {
			s := t.spot
			s.AtM, s.Units = t.length()*(float64(i)+shift)/float64(n), 1
			x, y := (r.x0+r.x1)/2, (r.y0+r.y1)/2
			if t.level {
				x = r.x0 + s.AtM
			} else {
				y = r.y0 + s.AtM
			}
			s.X, s.Y = ptr(x), ptr(y)
			c := rect{x - clumpM/2, y - clumpM/2, x + clumpM/2, y + clumpM/2}
			holder, free := g.free(c)
			if !free {
				who, spots = holder, nil
				break
			}
			spots, ground = append(spots, s), append(ground, c)
		}
		if spots != nil {
			return spots, ground, ""
		}
	}
	return nil, nil, who
}

// byLength gives beds without a place on the map one place for each spacing.
func (l *Layout) byLength(p Planting, off []Plot) {
	for _, b := range off {
		n := max(1, int(math.Ceil(b.LengthM / *p.SpacingM - 1e-9)))
		l.add(Spot{Kind: AroundBed, Bed: b.Code, Units: n})
	}
}

// rowM is the width of a single row: common practice.
const rowM = 0.3

// edge lays one strip along the longest edge that has room.
func (l *Layout) edge(p Planting, all, off []Plot, g Ground) {
	width := rowM
	if p.WidthM != nil {
		width = *p.WidthM
	}
	if len(all) == 0 {
		longest := off[0]
		for _, b := range off {
			if b.LengthM > longest.LengthM {
				longest = b
			}
		}
		l.add(Spot{Kind: AroundBed, Bed: longest.Code, Side: "edge", LengthM: longest.LengthM, WidthM: width, Units: 1})
		return
	}
	var best *tract
	var at rect
	var holders []string
	for _, t := range tracts(all, g) {
		r, ok := t.inside(width, p.keep(g))
		if !ok || !t.edge {
			continue
		}
		if who, free := g.free(r); !free {
			holders = appendNew(holders, who)
		} else if best == nil || t.length() > best.length()+1e-9 {
			best, at = &t, r
		}
	}
	if best == nil {
		l.noGround(p, width, g, "at the edge", holders)
		return
	}
	l.add(best.strip(at))
	l.take(at)
}

// alleys takes all alleys that are wide enough.
func (l *Layout) alleys(p Planting, all []Plot, g Ground) {
	least := 0.0
	if p.WidthM != nil {
		least = *p.WidthM
	}
	if len(all) == 0 {
		l.Why = "the beds have no places on the map, so its alleys are not known"
		return
	}
	var holders []string
	for _, t := range tracts(all, g) {
		r, ok := t.inside(0, p.keep(g))
		if t.edge || !ok || t.depth()-2*p.keep(g) < least-1e-9 || !far(r, all, p.keep(g)) {
			continue
		}
		if who, free := g.free(r); !free {
			holders = appendNew(holders, who)
			continue
		}
		l.add(t.strip(r))
		l.take(r)
	}
	if len(l.Spots) == 0 {
		l.noGround(p, least, g, "between the beds", holders)
	} else if len(holders) > 0 {
		l.note("not in the alleys that " + strings.Join(holders, " and ") + " has")
	}
}
