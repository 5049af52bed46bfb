package ingest

import (
	"io"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// Limits on a bed; beyond them a unit is taken to be wrong. Common practice.
const (
	maxBedM   = 2_000.0  // length or width, metres
	maxFieldM = 20_000.0 // x or y, metres
	maxPlants = 1_000_000
)

var bedColumns = []string{"code", "block", "x_m", "y_m", "length_m", "width_m", "plants", "cultivar", "irrigation", "site"}

var bedLengths = []string{"x", "y", "length", "width"}

// bedHeading cuts "length_ft" into "length" and "ft".
func bedHeading(h string) (name, unit string, ok bool) {
	if h == "bed" {
		h = "code"
	}
	name, unit, _ = strings.Cut(h, "_")
	if slices.Contains(bedLengths, name) {
		if unit == "" {
			return name, "", true
		}
		u, err := units.Lookup(unit)
		return name, unit, err == nil && u.Dimension == units.Length
	}
	return h, "", slices.Contains(bedColumns, h)
}

// ParseBeds reads a bed list: CSV with a heading row, cut by commas,
// semicolons or tabs. Needed columns: code, length and width. Others: block,
// x, y, plants, cultivar, irrigation (drip, overhead, hand, none) and site
// (outdoor, house). Lengths take their unit from the heading (length_m,
// length_ft) or from the cell ("40 ft"). A blank site is outdoor; a blank
// irrigation, x, y or plants is unknown.
//
// The error is a *diag.List with every problem of the file; the beds that
// read well are returned beside it, in the order of the file.
func ParseBeds(r io.Reader, file string) ([]farm.Bed, error) {
	t, ok := readTable(r, file, bedColumns, bedHeading)
	if !ok || !t.need(map[string]string{"code": "code", "length": "length_m or length_ft", "width": "width_m or width_ft"}) {
		return nil, t.list.Err()
	}
	var beds []farm.Bed
	rows := map[string]int{}
	for _, row := range t.rows {
		before := t.count()
		b := farm.Bed{Site: farm.Outdoor}
		filled := map[string]bool{}
		t.each(row, func(c column, x cell) {
			filled[c.name] = true
			t.bedCell(&b, c, x)
		})
		at := row[0].row
		for _, name := range []string{"code", "length", "width"} {
			if !filled[name] {
				t.add(at, t.columnAt(row, name), "fill the cell", "the bed has no %s", name)
			}
		}
		if filled["x"] != filled["y"] {
			t.add(at, 1, "give both x and y, or neither", "the bed has only one of x and y")
		}
		if first, twice := rows[strings.ToLower(b.Code)]; twice && b.Code != "" {
			t.add(at, t.columnAt(row, "code"), "give each bed its own code", "the bed %s is already on row %d", quote(b.Code), first)
		} else if b.Code != "" {
			rows[strings.ToLower(b.Code)] = at
		}
		if t.count() == before {
			beds = append(beds, b)
		}
	}
	if len(t.rows) == 0 && t.count() == 0 {
		t.add(0, 0, "write one row for each bed below the heading", "no beds in it")
	}
	return beds, t.list.Err()
}

func (t *table) columnAt(row []cell, name string) int {
	return row[slices.IndexFunc(t.columns, func(c column) bool { return c.name == name })].col
}

func (t *table) bedCell(b *farm.Bed, c column, x cell) {
	switch c.name {
	case "code":
		switch {
		case Reserved(x.text):
			t.add(x.row, x.col, "choose another code", "%s cannot name a bed: in notes the word has a meaning of its own", quote(x.text))
		case !farm.CodeOK(x.text):
			t.add(x.row, x.col, "write 1 to 12 letters, digits, dots or hyphens with at least one letter, such as B3", "%s cannot be the code of a bed", quote(x.text))
		}
		b.Code = x.text
	case "block":
		b.Block = x.text
	case "cultivar":
		b.Cultivar = x.text
	case "x":
		b.X = t.metres(c, x, -maxFieldM, maxFieldM)
	case "y":
		b.Y = t.metres(c, x, -maxFieldM, maxFieldM)
	case "length":
		if m := t.metres(c, x, 0, maxBedM); m != nil {
			b.LengthM = *m
		}
	case "width":
		if m := t.metres(c, x, 0, maxBedM); m != nil {
			b.WidthM = *m
		}
	case "plants":
		n, err := strconv.Atoi(x.text)
		if !digits(x.text) || err != nil || n > maxPlants {
			t.add(x.row, x.col, "write a whole number, or leave it blank", "%s is not a number of plants", quote(x.text))
		}
		b.Plants = n
	case "irrigation":
		if v, bad := choice("irrigation", x.text, farm.Irrigations); bad != nil {
			t.put(x.row, x.col, bad)
		} else {
			b.Irrigation = v
		}
	case "site":
		if v, bad := choice("site", x.text, []farm.Site{farm.Outdoor, farm.House}); bad != nil {
			t.put(x.row, x.col, bad)
		} else {
			b.Site = v
		}
	}
}

// metres reads a length; low 0 asks for more than nothing.
func (t *table) metres(c column, x cell, low, high float64) *float64 {
	q, ok := t.measure(c, x, units.Length, c.name+"_m or "+c.name+`_ft, or write the unit in the cell: "12 m", "40 ft"`)
	if !ok {
		return nil
	}
	m := q.Base()
	switch {
	case m > high || m < low:
		t.add(x.row, x.col, "check the number and its unit", "%s %s is %s m; expected %s to %s m", c.name, quote(x.text), number(m), number(low), number(high))
		return nil
	case low == 0 && m == 0:
		t.add(x.row, x.col, "write the size of the bed", "the %s is 0", c.name)
		return nil
	}
	return &m
}

// choice finds a word among the allowed ones, in any case.
func choice[T ~string](kind, s string, allowed []T) (T, *diag.Problem) {
	known := make([]string, len(allowed))
	for i, a := range allowed {
		if strings.EqualFold(s, string(a)) {
			return a, nil
		}
		known[i] = string(a)
	}
	return "", unknown(kind, s, known)
}

// FormatBeds writes beds as the CSV that ParseBeds reads back, in metres.
func FormatBeds(beds []farm.Bed) string {
	rows := [][]string{bedColumns}
	for _, b := range beds {
		plants := ""
		if b.Plants > 0 {
			plants = strconv.Itoa(b.Plants)
		}
		rows = append(rows, []string{b.Code, b.Block, optional(b.X), optional(b.Y), number(b.LengthM), number(b.WidthM), plants, b.Cultivar, string(b.Irrigation), string(b.Site)})
	}
	return csvText(rows)
}

func optional(v *float64) string {
	if v == nil {
		return ""
	}
	return number(*v)
}
