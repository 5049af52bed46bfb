package ingest

import (
	"io"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/farm"
)

var normalColumns = []string{"month", "min_c", "max_c"}

func normalHeading(h string) (name, unit string, ok bool) {
	name, unit, ok = weatherHeading(h)
	if h == "month" {
		return h, "", true
	}
	return name, unit, ok && (name == "min" || name == "max")
}

// ParseNormals reads the usual weather of each month: CSV with the headings
// month (1 to 12, or its English name), min_c and max_c, or min_f and max_f,
// and a row for each of the twelve months. They come back from January on. The
// error is a *diag.List with every problem.
func ParseNormals(r io.Reader, file string) ([]farm.MonthNormal, error) {
	t, ok := readTable(r, file, normalColumns, normalHeading)
	if !ok || !t.need(map[string]string{"month": "month", "min": "min_c or min_f", "max": "max_c or max_f"}) {
		return nil, t.list.Err()
	}
	for _, c := range t.columns {
		if c.name != "month" && c.unit == "" {
			t.add(c.row, c.col, "name it "+c.name+"_c or "+c.name+"_f", "the column %s does not give its unit", quote(c.text))
		}
	}
	if t.count() > 0 {
		return nil, t.list.Err()
	}
	out := make([]farm.MonthNormal, 12)
	rows := [12]int{}
	hot := 0
	for _, row := range t.rows {
		month := -1
		var low, high *float64
		var lowCell cell
		t.each(row, func(c column, x cell) {
			switch c.name {
			case "month":
				if month = monthOf(x.text); month < 0 {
					t.add(x.row, x.col, "write 1 to 12 or its name, such as May", "%s is no month", quote(x.text))
				}
			case "min":
				low, lowCell = t.reading(c, x), x
			case "max":
				high = t.reading(c, x)
				if high != nil && *high > hotMiddleMax && c.unit == "C" {
					hot++
				}
			}
		})
		at := row[0].row
		switch {
		case month < 0:
			if row[t.columnOf("month")].text == "" {
				t.add(at, 1, "write 1 to 12 or its name, such as May", "the row has no month")
			}
			continue
		case rows[month] > 0:
			t.add(at, row[t.columnOf("month")].col, "keep one of the two rows", "%s is already on row %d", time.Month(month+1), rows[month])
			continue
		}
		rows[month] = at
		for name, v := range map[string]*float64{"min": low, "max": high} {
			if c := row[t.columnOf(name)]; v == nil && c.text == "" {
				t.add(c.row, c.col, "fill it in", "%s has no %s", time.Month(month+1), name)
			}
		}
		if low == nil || high == nil {
			continue
		}
		if *low > *high {
			t.add(lowCell.row, lowCell.col, "exchange the two, or correct one", "the minimum of %s is above its maximum", time.Month(month+1))
		}
		out[month] = farm.MonthNormal{MinC: *low, MaxC: *high}
	}
	if hot > 0 {
		c := t.columns[t.columnOf("max")]
		t.add(c.row, c.col, "if it is Fahrenheit, name it max_f", "the mean maximum of %d months below %s is above %s °C", hot, quote(c.text), number(hotMiddleMax))
	}
	var missing []string
	for m, r := range rows {
		if r == 0 {
			missing = append(missing, time.Month(m+1).String())
		}
	}
	if len(missing) > 0 {
		t.add(0, 0, "write one row for each of the twelve months", "missing: %s", strings.Join(missing, ", "))
	}
	t.fold()
	if err := t.list.Err(); err != nil {
		return nil, err
	}
	return out, nil
}

// columnOf is the place of a column that is there.
func (t *table) columnOf(name string) int {
	for i, c := range t.columns {
		if c.name == name {
			return i
		}
	}
	return 0
}

// monthOf reads a month, 0 for January; -1 is none.
func monthOf(text string) int {
	if n, err := strconv.Atoi(text); err == nil {
		if n >= 1 && n <= 12 {
			return n - 1
		}
		return -1
	}
	w := strings.ToLower(strings.TrimSuffix(text, "."))
	for m := time.January; m <= time.December; m++ {
		if len(w) >= 3 && strings.HasPrefix(strings.ToLower(m.String()), w) {
			return int(m) - 1
		}
	}
	return -1
}
