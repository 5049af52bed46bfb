package tables

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/record"
)

// Cell is a value as the store writes it as text; Null is "not known".
type Cell struct {
	Text string
	Null bool
}

// Append writes a value of the column as a cell.
func (c Column) Append(line []byte, v Cell) ([]byte, error) {
	text := v.Text
	switch {
	case v.Null:
		return line, nil
	case c.Type == Integer:
		return append(line, text...), nil
	case c.Type == Number:
		v, err := strconv.ParseFloat(text, 64)
		if err != nil && !math.IsInf(v, 0) {
			return nil, fmt.Errorf("%s: %w", c.Name, err)
		}
		if math.IsInf(v, 0) {
			return append(line, strings.Replace(strings.TrimPrefix(strconv.FormatFloat(v, 'f', -1, 64), "+"), "Inf", "INF", 1)...), nil
		}
		return strconv.AppendFloat(line, v, 'f', -1, 64), nil
	case c.Type == Boolean:
		return strconv.AppendBool(line, text != "0"), nil
	}
	return record.AppendCell(line, record.Text(text)), nil
}

// Problem is what is wrong with a cell and what to do.
type Problem struct{ What, Do string }

// Value reads a cell: int64, float64, string, or nil for what is not known.
func (c Column) Value(cell string) (any, *Problem) {
	if cell == "" {
		switch c.Blank {
		case BlankNull, BlankCopy:
			return nil, nil
		case BlankEmpty:
			return "", nil
		}
		return nil, &Problem{"the cell is blank, and this column has no unknown", "write " + c.wanted()}
	}
	if c.Type != String {
		cell = strings.TrimSpace(cell)
	}
	bad := func() (any, *Problem) {
		return nil, &Problem{fmt.Sprintf("%s is not %s", quoted(cell), c.wanted()), c.remedy()}
	}
	switch c.Type {
	case Integer:
		v, err := strconv.ParseInt(cell, 10, 64)
		if err != nil || !c.within(float64(v)) {
			return bad()
		}
		return v, nil
	case Number:
		v, err := strconv.ParseFloat(cell, 64)
		if err != nil || math.IsNaN(v) || !c.within(v) || strings.ContainsAny(cell, "xX_") {
			return bad()
		}
		return v, nil
	case Boolean:
		switch cell {
		case "true", "True", "TRUE", "1":
			return int64(1), nil
		case "false", "False", "FALSE", "0":
			return int64(0), nil
		}
		return bad()
	case Date:
		if d, err := civil.Parse(cell); err != nil || d.String() != cell {
			return bad()
		}
		return cell, nil
	case Datetime:
		if _, err := time.Parse("2006-01-02T15:04:05Z", cell); err != nil || len(cell) != len("2006-01-02T15:04:05Z") {
			return bad()
		}
		return cell, nil
	}
	cell = record.FromText(cell)
	if c.Type == Object || c.Type == Array {
		want := map[Type]string{Object: "{", Array: "["}[c.Type]
		if !json.Valid([]byte(cell)) || !strings.HasPrefix(strings.TrimSpace(cell), want) {
			return bad()
		}
	}
	if len(c.Enum) > 0 && !slices.Contains(c.Enum, cell) {
		return nil, &Problem{fmt.Sprintf("%s is not %s%s", quoted(cell), c.wanted(), diag.DidYouMean(cell, c.Enum)), "write " + c.wanted()}
	}
	return cell, nil
}

func (c Column) within(v float64) bool {
	return (c.Min == nil || v >= *c.Min) && (c.Max == nil || v <= *c.Max)
}

// wanted says what the column takes.
func (c Column) wanted() string {
	span := ""
	switch number := func(v *float64) string { return strconv.FormatFloat(*v, 'f', -1, 64) }; {
	case c.Min != nil && c.Max != nil:
		span = " from " + number(c.Min) + " to " + number(c.Max)
	case c.Min != nil:
		span = " of at least " + number(c.Min)
	}
	switch c.Type {
	case Integer:
		return "a whole number" + span
	case Number:
		return "a number" + span + " with a decimal point"
	case Boolean:
		return "true or false"
	case Date:
		return "a day written as 2026-07-13"
	case Datetime:
		return "an instant written as 2026-07-13T18:30:00Z"
	case Object:
		return "a JSON object"
	case Array:
		return "a JSON array"
	}
	if len(c.Enum) > 0 {
		return "one of " + strings.Join(c.Enum, ", ")
	}
	return "text"
}

func (c Column) remedy() string {
	switch c.Type {
	case Date, Datetime, Number, Integer:
		return "write " + c.wanted() + "; a spreadsheet may have changed how it is written"
	}
	return "write " + c.wanted()
}

// quoted shows a cell that may be long.
func quoted(s string) string {
	if r := []rune(s); len(r) > 40 {
		s = string(r[:40]) + "…"
	}
	return strconv.Quote(s)
}
