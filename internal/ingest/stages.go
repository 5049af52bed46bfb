package ingest

import (
	"io"
	"slices"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
)

// BedNames is the part of Names that a list of stages needs.
type BedNames interface {
	Bed(word string) (code string, ok bool)
	BedCodes() []string
}

var stageColumns = []string{"date", "bed", "stage", "note"}

// ParseStages reads the growth stages of beds: CSV with the headings date,
// bed, stage and, if wanted, note. The stages are those of farm.Stages but
// farm.PrePlant, which holds before any other. A date after today and a row
// that stands twice are problems.
//
// The error is a *diag.List with every problem; the rows that read well are
// returned beside it, in the order of the file.
func ParseStages(r io.Reader, file string, today civil.Date, names BedNames) ([]farm.StageEvent, error) {
	t, ok := readTable(r, file, stageColumns, func(h string) (string, string, bool) { return h, "", slices.Contains(stageColumns, h) })
	if !ok || !t.need(map[string]string{"date": "date", "bed": "bed", "stage": "stage"}) {
		return nil, t.list.Err()
	}
	type key struct {
		bed   string
		date  civil.Date
		stage farm.Stage
	}
	var events []farm.StageEvent
	rows := map[key]int{}
	for _, row := range t.rows {
		before := t.count()
		var e farm.StageEvent
		filled := map[string]bool{}
		t.each(row, func(c column, x cell) {
			filled[c.name] = true
			t.stageCell(&e, c, x, today, names)
		})
		for _, name := range stageColumns[:3] {
			if !filled[name] {
				t.add(row[0].row, t.columnAt(row, name), "fill the cell", "the row has no %s", name)
			}
		}
		if t.count() > before {
			continue
		}
		k := key{e.Bed, e.Date, e.Stage}
		if first, twice := rows[k]; twice {
			t.add(row[0].row, 1, "keep one of the two rows", "bed %s, %s, %s is already on row %d", e.Bed, e.Date, e.Stage, first)
			continue
		}
		rows[k] = row[0].row
		events = append(events, e)
	}
	if len(t.rows) == 0 && t.count() == 0 {
		t.add(0, 0, "write one row for each stage that a bed reached", "no stages in it")
	}
	return events, t.list.Err()
}

func (t *table) stageCell(e *farm.StageEvent, c column, x cell, today civil.Date, names BedNames) {
	var ok bool
	switch c.name {
	case "date":
		d, bad := parseDate(x.text, civil.Date{})
		switch {
		case bad != nil:
			t.put(x.row, x.col, bad)
		case !today.IsZero() && d.After(today):
			t.add(x.row, x.col, "enter a stage when the bed has reached it", "%s lies in the future; today is %s", d, today)
		}
		e.Date = d
	case "bed":
		if e.Bed, ok = look(x.text, names.Bed); !ok {
			t.put(x.row, x.col, unknown("bed", x.text, names.BedCodes()))
		}
	case "stage":
		stage, bad := choice("stage", strings.ReplaceAll(x.text, " ", ""), farm.Stages[1:])
		if bad != nil {
			t.put(x.row, x.col, bad)
		}
		e.Stage = stage
	case "note":
		e.Note = x.text
	}
}

// FormatStages writes stages as the CSV that ParseStages reads back.
func FormatStages(events []farm.StageEvent) string {
	rows := [][]string{stageColumns}
	for _, e := range events {
		rows = append(rows, []string{e.Date.String(), e.Bed, string(e.Stage), e.Note})
	}
	return csvText(rows)
}
