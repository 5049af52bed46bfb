// Package geo puts the beds of a field on the earth: from metres on the field's
// own grid to longitude and latitude on the WGS 84 ellipsoid, and areas to
// GeoJSON (RFC 7946).
//
// The grid is taken as a plane that touches the ellipsoid at its origin. A point
// of it is carried to earth-centred coordinates and from there to longitude and
// latitude, so nothing but the height above the ellipsoid is neglected, 8 cm a
// kilometre away from the origin.
//
// Not here: heights, and other reference systems.
package geo

import (
	"encoding/json"
	"math"
)

// The WGS 84 ellipsoid: NIMA TR8350.2 gives these two (from memory).
const (
	semiMajor  = 6378137.0
	flattening = 1 / 298.257223563
)

// ecc2 is the square of the first eccentricity.
const ecc2 = flattening * (2 - flattening)

// Grid is a field's grid of metres: where its origin lies, in degrees, and where
// its own north points, in degrees clockwise from true north.
type Grid struct {
	Latitude, Longitude, Bearing float64
}

// Point is a longitude and a latitude in degrees, in the order of GeoJSON.
type Point [2]float64

// Point carries a point of the grid to the earth.
func (g Grid) Point(x, y float64) Point {
	sinB, cosB := math.Sincos(g.Bearing * math.Pi / 180)
	east, north := x*cosB+y*sinB, y*cosB-x*sinB

	// The origin, and east and north there, in earth-centred coordinates.
	sinP, cosP := math.Sincos(g.Latitude * math.Pi / 180)
	sinL, cosL := math.Sincos(g.Longitude * math.Pi / 180)
	n := semiMajor / math.Sqrt(1-ecc2*sinP*sinP)
	px := n*cosP*cosL - east*sinL - north*sinP*cosL
	py := n*cosP*sinL + east*cosL - north*sinP*sinL
	pz := n*(1-ecc2)*sinP + north*cosP

	// Back to latitude, by Bowring's formula (Bowring 1976, Survey Review
	// 23:323-327, from memory), which is exact to far below a millimetre here.
	semiMinor := semiMajor * (1 - flattening)
	p := math.Hypot(px, py)
	sinT, cosT := math.Sincos(math.Atan2(pz*semiMajor, p*semiMinor))
	lat := math.Atan2(pz+ecc2/(1-ecc2)*semiMinor*sinT*sinT*sinT, p-ecc2*semiMajor*cosT*cosT*cosT)
	return Point{math.Atan2(py, px) * 180 / math.Pi, lat * 180 / math.Pi}
}

// Rectangle is the ring of an area of the grid from its south-west corner, closed
// and counter-clockwise, as RFC 7946 (section 3.1.6) asks of an outer ring.
func (g Grid) Rectangle(x, y, east, north float64) []Point {
	corner := func(x, y float64) Point { return g.Point(x, y).Rounded() }
	return []Point{corner(x, y), corner(x+east, y), corner(x+east, y+north), corner(x, y+north), corner(x, y)}
}

// Rounded is the point to seven decimals, which are a centimetre.
func (p Point) Rounded() Point {
	return Point{math.Round(p[0]*1e7) / 1e7, math.Round(p[1]*1e7) / 1e7}
}

// Feature is an area with what is said of it.
type Feature struct {
	ID         string
	Ring       []Point
	Properties any
}

// Collection writes features as a GeoJSON FeatureCollection.
func Collection(list []Feature) ([]byte, error) {
	type geometry struct {
		Type        string    `json:"type"`
		Coordinates [][]Point `json:"coordinates"`
	}
	type feature struct {
		Type       string   `json:"type"`
		ID         string   `json:"id"`
		Geometry   geometry `json:"geometry"`
		Properties any      `json:"properties"`
	}
	out := struct {
		Type     string    `json:"type"`
		Features []feature `json:"features"`
	}{"FeatureCollection", []feature{}}
	for _, f := range list {
		out.Features = append(out.Features, feature{"Feature", f.ID, geometry{"Polygon", [][]Point{f.Ring}}, f.Properties})
	}
	b, err := json.MarshalIndent(out, "", " ")
	return append(b, '\n'), err
}
