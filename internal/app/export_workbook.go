package app

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/store"
	"leafturn/internal/tables"
	"leafturn/internal/workbook"
)

// bookSheet is one sheet: a table of the store, without what was taken out. A
// column is "name=Title" of a column of the table, or a Title alone that more
// works out.
type bookSheet struct {
	name, table string
	columns     []string
	more        func(b *bookWriter, title string, row bookRow) any
}

// bookRow is a row of a table by the names of its columns.
type bookRow struct {
	t     tables.Table
	cells []tables.Cell
}

func (r bookRow) text(column string) string { return r.cells[r.t.Column(column)].Text }

// bookWriter is a workbook being made.
type bookWriter struct {
	book   *workbook.Book
	loc    *time.Location
	tell   func(string, int64, int64)
	visits map[string][2]string // unit and where, of those that count
	notes  []string
}

// The headings of Counts are those that `import` reads.
var bookSheets = []bookSheet{
	{"Beds", "bed", []string{"code=Bed", "block=Block", "x_m=East (m)", "y_m=North (m)", "length_m=Length (m)", "width_m=Width (m)", "Area (m²)", "plants=Plants", "cultivar=Cultivar", "irrigation=Irrigation", "site=Site"},
		func(_ *bookWriter, _ string, r bookRow) any {
			l, _ := strconv.ParseFloat(r.text("length_m"), 64)
			w, _ := strconv.ParseFloat(r.text("width_m"), 64)
			return l * w
		}},
	{"Stages", "stage_event", []string{"bed=Bed", "date=Date", "stage=Stage", "note=Note"}, nil},
	{"Visits", "visit", []string{"id=Record", "bed=Bed", "date=Date", "pest=Pest", "unit=Unit", "stratum=Where", "units=Units", "n=Units looked at", "sum=Animals", "Animals per unit", "zeros=Units with none", "infested=Infested", "looked=Of looked at", "damage_hurt=Hurt", "damage_looked=Of looked at for damage",
		"soil=Soil", "foliage=Foliage", "air_c=Air (°C)", "soil_c=Soil (°C)", "nights=Nights", "disturbed=Disturbed", "observer=Observer", "note=Note"},
		func(_ *bookWriter, _ string, r bookRow) any {
			n, _ := strconv.ParseFloat(r.text("n"), 64)
			sum, _ := strconv.ParseFloat(r.text("sum"), 64)
			if n == 0 {
				return nil
			}
			return sum / n
		}},
	{"Counts", "unit_count", []string{"visit_id=Record", "bed=Bed", "pest=Pest", "date=Date", "Unit", "Where", "seq=Number", "Count"},
		func(b *bookWriter, title string, r bookRow) any {
			switch title {
			case "Unit":
				return b.visits[r.text("visit_id")][0]
			case "Where":
				return b.visits[r.text("visit_id")][1]
			}
			if c := r.cells[r.t.Column("count")]; !c.Null {
				return typed(r.t.Columns[r.t.Column("count")], c, nil)
			}
			return "-" // not looked at
		}},
	{"Natural enemies", "enemy_count", []string{"visit_id=Record", "bed=Bed", "date=Date", "enemy=Enemy", "count=Count"}, nil},
	{"Treatments", "treatment", []string{"id=Record", "bed=Bed", "part=Part", "label_key=Label", "label_version=Version", "pest=Pest", "date=Date", "start_at=Start", "end_at=End", "end_known=End noted", "amount=Amount", "amount_unit=Unit", "area_m2=Area (m²)", "who=Who", "reason=Reason", "note=Note", "breaches=Against the label", "more=More"}, nil},
	{"Releases", "release", []string{"id=Record", "bed=Bed", "date=Date", "agent=Agent", "pest=Pest", "amount=Animals", "note=Note", "more=More"}, nil},
	{"Steps", "done", []string{"id=Record", "bed=Bed", "date=Date", "pest=Pest", "action=Step", "note=Note", "more=More"}, nil},
	{"Weather", "weather_day", []string{"date=Date", "min_c=Lowest (°C)", "max_c=Highest (°C)", "rain_mm=Rain (mm)", "soil_c=Soil (°C)", "humidity_pct=Humidity (%)", "forecast=Forecast", "source=Source"}, nil},
	{"Labels", "label", []string{"key=Label", "version=Version", "entered=Transcribed", "Product", "document=All that was transcribed"},
		func(_ *bookWriter, _ string, r bookRow) any {
			var l struct {
				Product string `json:"product"`
			}
			_ = json.Unmarshal([]byte(r.text("document")), &l) // the store holds valid JSON
			return l.Product
		}},
	{"Action levels", "override", []string{"pest=Pest", "measure=Measure", "level=Level", "value=Value", "reason=Reason", "since=Since"}, nil},
	{"Planned covers", "planned_cover", []string{"bed=Bed", "cover=Cover", "sow=Sow", "kill=Until", "note=Note"}, nil},
}

// exportWorkbook writes what people look at, a sheet for each kind of record.
func (a *App) exportWorkbook(ctx context.Context, o ExportOptions, data *ExportData) (said string, err error) {
	book, err := workbook.New()
	if err != nil {
		return "", err
	}
	defer book.Close()
	if err := a.st.Intact(ctx); err != nil {
		return "", err
	}
	b := &bookWriter{book: book, loc: a.loc, tell: o.Progress, visits: map[string][2]string{}}
	err = a.st.View(ctx, func(tx *store.Tx) error {
		for _, s := range bookSheets {
			done, err := b.sheet(tx, s)
			if err != nil {
				return err
			}
			data.Files, data.Rows = append(data.Files, done), data.Rows+done.Rows
		}
		return nil
	})
	if err != nil {
		return "", err
	}
	if b.book.Cut > 0 {
		b.notes = append(b.notes, fmt.Sprintf("%s longer than the %d letters that a cell takes, and cut there; the folder of tables has all", areOf(b.book.Cut, "text"), workbook.MaxCell))
	}
	data.Notes = append(data.Notes, b.notes...)
	file, err := stageFile(o.Out, func(w io.Writer) error { _, err := book.WriteTo(w); return err })
	if err == nil {
		err = file.Keep()
	}
	if err != nil {
		return "", err
	}
	file.done()
	return fmt.Sprintf("%s: %s on %s, without what was taken out", o.Out, unitsOf(int(data.Rows), "row"), unitsOf(len(data.Files), "sheet")), nil
}

func (b *bookWriter) sheet(tx *store.Tx, s bookSheet) (ExportedData, error) {
	t := tables.ByName(s.table)
	at := make([]int, len(s.columns))
	titles := make([]string, len(s.columns))
	var heads []workbook.Column
	for i, c := range s.columns {
		name, title, ok := strings.Cut(c, "=")
		at[i] = -1
		if ok {
			at[i] = t.Column(name)
		} else {
			title = name
		}
		titles[i] = title
		width := max(9, float64(len([]rune(title))+2))
		if slices.Contains([]string{"Note", "Reason", "Cultivar", "Product"}, title) {
			width = 30
		}
		heads = append(heads, workbook.Column{Title: title, Width: width})
	}
	sheet, err := b.book.Sheet(s.name, heads)
	if err != nil {
		return ExportedData{}, err
	}
	err = tx.EachRow(t, func(cells []tables.Cell) error {
		r := bookRow{t, cells}
		if !b.counts(r) {
			return nil
		}
		values := make([]any, len(at))
		for i, c := range at {
			if c < 0 {
				values[i] = s.more(b, titles[i], r)
			} else {
				values[i] = typed(t.Columns[c], cells[c], b.loc)
			}
		}
		if sheet.Rows&0x3fff == 0 && b.tell != nil {
			b.tell(s.name, sheet.Rows, 0)
		}
		return sheet.Row(values...)
	})
	parts, err2 := sheet.End()
	if err == nil {
		err = err2
	}
	if parts > 1 {
		b.notes = append(b.notes, fmt.Sprintf("%s go over %d sheets, for a spreadsheet takes %d rows on one", s.name, parts, workbook.MaxRows))
	}
	return ExportedData{Name: s.name, Rows: sheet.Rows}, err
}

// counts reports whether a row still counts, and remembers the visits that do.
func (b *bookWriter) counts(r bookRow) bool {
	if i := r.t.Column("voided_at"); i >= 0 && !r.cells[i].Null {
		return false
	}
	if i := r.t.Column("gone"); i >= 0 && r.cells[i].Text != "0" {
		return false
	}
	if r.t.Column("visit_id") >= 0 {
		_, ok := b.visits[r.text("visit_id")]
		return ok
	}
	if r.t.Name == "visit" {
		b.visits[strings.Clone(r.text("id"))] = [2]string{strings.Clone(r.text("unit")), strings.Clone(r.text("stratum"))}
	}
	return true
}

// typed is a value as a cell of a workbook; instants are shown on the clock of
// loc.
func typed(c tables.Column, v tables.Cell, loc *time.Location) any {
	if v.Null {
		return nil
	}
	switch c.Type {
	case tables.Integer:
		n, _ := strconv.ParseInt(v.Text, 10, 64)
		return n
	case tables.Number:
		n, _ := strconv.ParseFloat(v.Text, 64)
		return n
	case tables.Boolean:
		return v.Text != "0"
	case tables.Date:
		if d, err := civil.Parse(v.Text); err == nil {
			return d
		}
	case tables.Datetime:
		if t, err := time.Parse(time.RFC3339, v.Text); err == nil {
			return t.In(loc)
		}
	case tables.Array:
		var list []string
		if json.Unmarshal([]byte(v.Text), &list) == nil {
			return strings.Join(list, "; ")
		}
	case tables.Object:
		if v.Text == "{}" {
			return nil
		}
	}
	return v.Text
}
