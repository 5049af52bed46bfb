package geo_test

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/geo"
)

// inverse is Vincenty's inverse formula on the WGS 84 ellipsoid (Vincenty 1975,
// Survey Review 23:88-93): the distance and the bearing from one point to
// another. It shares nothing with the package.
func inverse(from, to geo.Point) (metres, bearing float64) {
	const a, f = 6378137.0, 1 / 298.257223563
	b := a * (1 - f)
	rad := math.Pi / 180
	l := (to[0] - from[0]) * rad
	u1, u2 := math.Atan((1-f)*math.Tan(from[1]*rad)), math.Atan((1-f)*math.Tan(to[1]*rad))
	su1, cu1 := math.Sincos(u1)
	su2, cu2 := math.Sincos(u2)
	lambda := l
	for range 100 {
		sl, cl := math.Sincos(lambda)
		ss := math.Hypot(cu2*sl, cu1*su2-su1*cu2*cl)
		if ss == 0 {
			return 0, 0
		}
		cs := su1*su2 + cu1*cu2*cl
		sigma := math.Atan2(ss, cs)
		sa := cu1 * cu2 * sl / ss
		c2a := 1 - sa*sa
		c2m := cs
		if c2a != 0 {
			c2m = cs - 2*su1*su2/c2a
		}
		c := f / 16 * c2a * (4 + f*(4-3*c2a))
		next := l + (1-c)*f*sa*(sigma+c*ss*(c2m+c*cs*(2*c2m*c2m-1)))
		if math.Abs(next-lambda) > 1e-14 {
			lambda = next
			continue
		}
		u := c2a * (a*a - b*b) / (b * b)
		ka := 1 + u/16384*(4096+u*(-768+u*(320-175*u)))
		kb := u / 1024 * (256 + u*(-128+u*(74-47*u)))
		d := kb * ss * (c2m + kb/4*(cs*(2*c2m*c2m-1)-kb/6*c2m*(4*ss*ss-3)*(4*c2m*c2m-3)))
		return b * ka * (sigma - d), math.Atan2(cu2*sl, cu1*su2-su1*cu2*cl) / rad
	}
	return math.NaN(), math.NaN()
}

// The test's own formula against the published example of the method: Flinders
// Peak to Buninyong on the GRS 80 ellipsoid, 54972.271 m at 306° 52' 05.37"
// (Geoscience Australia, GDA94 technical manual, from memory). GRS 80 and WGS 84
// differ by 0.1 mm.
func TestInverse(t *testing.T) {
	from := geo.Point{144 + 25.0/60 + 29.52440/3600, -(37 + 57.0/60 + 3.72030/3600)}
	to := geo.Point{143 + 55.0/60 + 35.38390/3600, -(37 + 39.0/60 + 10.15610/3600)}
	m, b := inverse(from, to)
	require.InDelta(t, 54972.271, m, 0.001)
	require.InDelta(t, 306+52.0/60+5.37/3600, math.Mod(b+360, 360), 0.00001)
}

// A point x metres east and y north of the origin is that far and in that
// direction by the inverse formula, anywhere on earth but at the poles.
func TestPoint_AgainstVincenty(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		g := geo.Grid{
			Latitude: rapid.Float64Range(-80, 80).Draw(rt, "latitude"), Longitude: rapid.Float64Range(-179, 179).Draw(rt, "longitude"),
			Bearing: rapid.Float64Range(-180, 360).Draw(rt, "bearing"),
		}
		x, y := rapid.Float64Range(-1000, 1000).Draw(rt, "x"), rapid.Float64Range(-1000, 1000).Draw(rt, "y")
		r := math.Hypot(x, y)
		if r < 1 {
			return
		}
		m, b := inverse(geo.Point{g.Longitude, g.Latitude}, g.Point(x, y))
		require.InDelta(rt, r, m, 0.0005, "metres")
		want := math.Atan2(x, y)*180/math.Pi + g.Bearing
		off := math.Mod(b-want+540+360, 360) - 180
		require.InDelta(rt, 0, off*math.Pi/180*r, 0.0005, "sideways, in metres")
	})
}

// One second of latitude and of longitude at 45° are 30.870 m and 21.899 m on
// the ellipsoid: M(45°) = 6367381.816 m, N(45°) = 6388838.290 m (tables of the
// radii of curvature, from memory).
func TestPoint_Radii(t *testing.T) {
	g := geo.Grid{Latitude: 45, Longitude: 10}
	sec := math.Pi / 180 / 3600
	require.InDelta(t, 45+1.0/3600, g.Point(0, 6367381.816*sec)[1], 1e-9)
	require.InDelta(t, 10+1.0/3600, g.Point(6388838.290*sec*math.Cos(math.Pi/4), 0)[0], 1e-9)
	require.Equal(t, geo.Point{10, 45}, geo.Grid{Latitude: 45, Longitude: 10, Bearing: 77}.Point(0, 0).Rounded())
}

// RFC 7946: positions are longitude, latitude; the ring is closed and
// counter-clockwise, by the sign of its area (shoelace), whichever way the grid
// is turned.
func TestCollection(t *testing.T) {
	for _, bearing := range []float64{0, 12, 90, 200, -45} {
		g := geo.Grid{Latitude: 45.1, Longitude: -122.9, Bearing: bearing}
		raw, err := geo.Collection([]geo.Feature{{ID: "B1", Ring: g.Rectangle(10, 20, 25, 1.2), Properties: map[string]any{"code": "B1"}}})
		require.NoError(t, err)
		var got struct {
			Type     string
			Features []struct {
				Type, ID string
				Geometry struct {
					Type        string
					Coordinates [][][]float64
				}
				Properties map[string]any
			}
		}
		require.NoError(t, json.Unmarshal(raw, &got))
		require.Equal(t, "FeatureCollection", got.Type)
		f := got.Features[0]
		require.Equal(t, []string{"Feature", "B1", "Polygon"}, []string{f.Type, f.ID, f.Geometry.Type})
		ring := f.Geometry.Coordinates[0]
		require.Len(t, ring, 5)
		require.Equal(t, ring[0], ring[4])
		area := 0.0
		for i := range 4 {
			area += (ring[i][0]-ring[0][0])*(ring[i+1][1]-ring[0][1]) - (ring[i+1][0]-ring[0][0])*(ring[i][1]-ring[0][1])
			require.InDelta(t, -122.9, ring[i][0], 0.001)
			require.InDelta(t, 45.1, ring[i][1], 0.001)
		}
		require.Positive(t, area)
		// 25 m x 1.2 m, by the length of a degree at 45.1°: 111132.95-559.85 cos 2φ+1.17 cos 4φ
		// and 111412.88 cos φ-93.5 cos 3φ+0.12 cos 5φ metres (the standard series, from memory).
		// A corner is rounded to 7 decimals, so the area to some 0.02 of a metre by 25.
		phi := 45.1 * math.Pi / 180
		perLat := 111132.95 - 559.85*math.Cos(2*phi) + 1.17*math.Cos(4*phi)
		perLon := 111412.88*math.Cos(phi) - 93.5*math.Cos(3*phi) + 0.12*math.Cos(5*phi)
		require.InDelta(t, 30, area/2*perLat*perLon, 0.5)
	}
	raw, err := geo.Collection(nil)
	require.NoError(t, err)
	require.JSONEq(t, `{"type": "FeatureCollection", "features": []}`, string(raw))
}
