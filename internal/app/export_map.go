package app

import (
	"context"
	"fmt"
	"strings"

	"leafturn/internal/diag"
	"leafturn/internal/geo"
	"leafturn/internal/units"
	"leafturn/internal/verdict"
)

// mapBed is what the map says of a bed.
type mapBed struct {
	Code     string  `json:"code"`
	Block    string  `json:"block"`
	Plants   int     `json:"plants"`
	Crop     string  `json:"crop"`
	Cultivar string  `json:"cultivar"`
	AreaM2   float64 `json:"area_m2"`
	Site     string  `json:"site"`
	mapPest
}

// mapPest is what the map says of a pest in a bed; a null chance is not known.
type mapPest struct {
	AsOf    string   `json:"as_of,omitempty"`
	Pest    string   `json:"pest,omitempty"`
	Verdict string   `json:"verdict,omitempty"`
	Chance  *float64 `json:"chance_over,omitempty"`
}

// mapGrid is where the field lies, of the words given or of the farm.
func (a *App) mapGrid(o ExportOptions) (geo.Grid, error) {
	var g geo.Grid
	switch {
	case o.Origin != "":
		var ok bool
		if g.Latitude, g.Longitude, ok = parsePlace(o.Origin); !ok {
			return g, diag.Usagef(placeForm, "--origin %q is not a latitude and a longitude", o.Origin)
		}
	case a.farm.Latitude != nil && a.farm.Longitude != nil:
		g.Latitude, g.Longitude = *a.farm.Latitude, *a.farm.Longitude
	default:
		return g, diag.Usagef("give the field's south-west corner with --origin \"45.1, -122.9\", or once with `leafturn farm set --at`", "where the field lies is not known, and a map needs it")
	}
	if o.Bearing != "" {
		v, err := units.ParseNumber(o.Bearing)
		if err != nil || !(v >= -360 && v <= 360) {
			return g, diag.Usagef("write where the field's north points in degrees clockwise from true north, such as 12 or -5", "--bearing %q is not a bearing", o.Bearing)
		}
		g.Bearing = v
	}
	return g, nil
}

// exportMap writes the beds as GeoJSON.
func (a *App) exportMap(ctx context.Context, o ExportOptions, data *ExportData) (string, error) {
	g, err := a.mapGrid(o)
	if err != nil {
		return "", err
	}
	pest := ""
	if o.Pest != "" {
		p, err := a.names.findPest(o.Pest)
		if err != nil {
			return "", err
		}
		pest = p.Key
	}
	s, err := a.snapshotOf(ctx, o.Date, pest, nil)
	if err != nil {
		return "", err
	}
	of := map[string]mapPest{}
	switch {
	case pest == "":
	case !contains(a.watched(s), pest):
		data.Notes = append(data.Notes, fmt.Sprintf("the farm does not watch %s, so nothing is said of it", pest))
	default:
		list, err := a.assessmentsOf(s, []string{pest}, false)
		if err != nil {
			return "", err
		}
		for _, x := range list {
			m := mapPest{AsOf: o.Date.String(), Pest: pest, Verdict: string(x.Result.Verdict)}
			if x.Decider != nil && x.Result.ChanceKnown && x.Result.Verdict != verdict.Stale {
				m.Chance = &x.Result.Chance
			}
			of[x.Bed.Code] = m
		}
	}
	var list []geo.Feature
	for _, b := range s.beds {
		if b.X == nil || b.Y == nil {
			data.Left = append(data.Left, b.Code)
			continue
		}
		list = append(list, geo.Feature{ID: b.Code, Ring: g.Rectangle(*b.X, *b.Y, b.LengthM, b.WidthM), Properties: mapBed{
			Code: b.Code, Block: b.Block, Plants: b.Plants, Crop: b.CropWord(), Cultivar: b.Cultivar, AreaM2: b.AreaM2(), Site: string(b.Site), mapPest: of[b.Code],
		}})
	}
	place := "say where a bed lies with `leafturn bed set CODE --at \"0 m, 12 m\"`"
	if len(list) == 0 {
		return "", diag.Failf(nil, place, "no bed says where it lies, so there is nothing to draw")
	}
	raw, err := geo.Collection(list)
	if err != nil {
		return "", err
	}
	if err := WriteFile(o.Out, raw); err != nil {
		return "", err
	}
	data.Rows = int64(len(list))
	size := int64(len(raw))
	data.Files = append(data.Files, ExportedData{Name: o.Out, Rows: data.Rows, Bytes: &size, SHA256: hashOf(raw)})
	if o.Origin == "" {
		data.Notes = append(data.Notes, fmt.Sprintf("the field's south-west corner is taken to lie where the farm lies, %g, %g; --origin gives it exactly", g.Latitude, g.Longitude))
	}
	if len(data.Left) > 0 {
		data.Notes = append(data.Notes, fmt.Sprintf("left out, for it is not said where they lie: %s; %s", strings.Join(data.Left, ", "), place))
	}
	return fmt.Sprintf("%s: %s as areas on the earth (GeoJSON, WGS 84)", o.Out, unitsOf(len(list), "bed")), nil
}
