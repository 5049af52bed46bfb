package render

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"reflect"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/report"
)

// Schema is the version of the JSON layout. It goes up when a field is
// renamed, removed or changes its meaning; new fields leave it as it is.
const Schema = 1

// JSON writes the document as one JSON object, described in SCHEMA.md: two
// spaces of indent, keys always in the same order, numbers at full precision,
// an unknown as null with a reason. Errors: what Document.Validate reports,
// data that JSON cannot hold, or a failed write; nothing is written then
// (except by a failed write).
func JSON(w io.Writer, doc report.Document) error {
	if err := doc.Validate(); err != nil {
		return err
	}
	e := &encoder{asOf: doc.AsOf}
	if _, err := e.value(reflect.ValueOf(newJSONDocument(&doc)), "", 0); err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	var out bytes.Buffer
	if err := json.Indent(&out, e.buf.Bytes(), "", "  "); err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	out.WriteByte('\n')
	if _, err := w.Write(out.Bytes()); err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	return nil
}

// The types below are the JSON layout. Each has a table of the same name in
// SCHEMA.md.

type jsonDocument struct {
	Schema     int           `json:"schema"`
	Title      string        `json:"title"`
	Subtitle   string        `json:"subtitle"`
	Farm       string        `json:"farm"`
	TimeZone   string        `json:"time_zone"`
	AsOf       civil.Date    `json:"as_of"`
	Week       string        `json:"week"`
	Made       time.Time     `json:"made"`
	MadeReason string        `json:"made_reason,omitempty"`
	Facts      string        `json:"facts"`
	Warnings   []jsonLine    `json:"warnings"`
	Sections   []jsonSection `json:"sections"`
	Events     []jsonEvent   `json:"events"`
	Sources    []jsonSource  `json:"sources"`
	Data       any           `json:"data"`
}

type jsonSection struct {
	Key     string       `json:"key"`
	Title   string       `json:"title"`
	Lead    *jsonLine    `json:"lead,omitempty"`
	Table   *jsonTable   `json:"table,omitempty"`
	Items   []jsonItem   `json:"items"`
	Figures []jsonFigure `json:"figures"`
	Notes   []jsonLine   `json:"notes"`
}

type jsonItem struct {
	Number  int        `json:"number,omitempty"`
	Ref     string     `json:"ref"`
	Mark    string     `json:"mark"`
	Head    jsonLine   `json:"head"`
	Due     *jsonDue   `json:"due,omitempty"`
	Details []jsonLine `json:"details"`
	Safety  []jsonLine `json:"safety"`
	Why     *jsonLine  `json:"why,omitempty"`
	Box     bool       `json:"box"`
	Done    bool       `json:"done"`
}

type jsonDue struct {
	From     civil.Date `json:"from,omitzero"`
	FromDays *int       `json:"from_days,omitempty"`
	By       civil.Date `json:"by,omitzero"`
	ByDays   *int       `json:"by_days,omitempty"`
	Note     string     `json:"note"`
}

type jsonLine struct {
	Text    string      `json:"text"`
	Values  []jsonValue `json:"values,omitempty"`
	Sources []int       `json:"sources,omitempty"`
}

type jsonValue struct {
	Name     string `json:"name,omitempty"`
	Unit     string `json:"unit,omitempty"`
	Kind     string `json:"kind"`
	Value    any    `json:"value"`
	Decimals *int   `json:"decimals,omitempty"`
	InDays   *int   `json:"in_days,omitempty"`
	Reason   string `json:"reason,omitempty"`
}

type jsonTable struct {
	Title   string        `json:"title"`
	Columns []jsonColumn  `json:"columns"`
	Rows    [][]jsonValue `json:"rows"`
}

type jsonColumn struct {
	Title    string `json:"title"`
	Unit     string `json:"unit"`
	Decimals int    `json:"decimals"`
}

type jsonFigure struct {
	Key   string `json:"key"`
	Title string `json:"title"`
	Alt   string `json:"alt"`
	File  string `json:"file"`
	Data  any    `json:"data"`
}

type jsonEvent struct {
	UID         string      `json:"uid"`
	Summary     string      `json:"summary"`
	Description string      `json:"description"`
	Location    string      `json:"location"`
	AllDay      bool        `json:"all_day"`
	Start       string      `json:"start"`
	End         string      `json:"end"`
	Zone        string      `json:"zone"`
	Alarms      []jsonAlarm `json:"alarms"`
	Categories  []string    `json:"categories"`
	Revised     time.Time   `json:"revised"`
	Sequence    int         `json:"sequence"`
	Status      string      `json:"status"`
	Transparent bool        `json:"transparent"`
}

type jsonAlarm struct {
	OffsetMinutes float64 `json:"offset_minutes"`
	FromEnd       bool    `json:"from_end"`
	Text          string  `json:"text"`
}

type jsonSource struct {
	Key   int    `json:"key"`
	Text  string `json:"text"`
	URL   string `json:"url"`
	Basis string `json:"basis"`
}

func newJSONDocument(d *report.Document) jsonDocument {
	out := jsonDocument{
		Schema: Schema, Title: d.Title, Subtitle: d.Subtitle, Farm: d.Farm, TimeZone: d.TimeZone,
		AsOf: d.AsOf, Week: d.AsOf.WeekString(), Made: d.Made, Facts: d.Facts,
		Warnings: jsonLines(d.Warnings, d.AsOf), Data: d.Data,
	}
	if d.Made.IsZero() {
		out.MadeReason = "not recorded"
	}
	for _, s := range d.Sections {
		js := jsonSection{Key: s.Key, Title: s.Title, Lead: optionalLine(s.Lead, d.AsOf), Notes: jsonLines(s.Notes, d.AsOf)}
		if s.Table != nil {
			js.Table = newJSONTable(s.Table)
		}
		for _, it := range s.Items {
			js.Items = append(js.Items, newJSONItem(it, d.AsOf))
		}
		for _, f := range s.Figures {
			js.Figures = append(js.Figures, jsonFigure{Key: f.Key, Title: f.Title, Alt: f.Alt, File: f.File, Data: f.Data})
		}
		out.Sections = append(out.Sections, js)
	}
	for _, ev := range d.Events {
		out.Events = append(out.Events, newJSONEvent(ev, d.Made))
	}
	for _, s := range d.Sources {
		out.Sources = append(out.Sources, jsonSource(s))
	}
	return out
}

func newJSONItem(it report.Item, asOf civil.Date) jsonItem {
	return jsonItem{
		Number: it.Number, Ref: it.Ref, Mark: it.Mark, Head: newJSONLine(it.Head, asOf), Due: newJSONDue(it.Due, asOf),
		Details: jsonLines(it.Details, asOf), Safety: jsonLines(it.Safety, asOf), Why: optionalLine(it.Why, asOf),
		Box: it.Box || it.Done, Done: it.Done,
	}
}

func newJSONDue(d report.Due, asOf civil.Date) *jsonDue {
	if d.IsZero() {
		return nil
	}
	return &jsonDue{From: d.From, FromDays: daysTo(d.From, asOf), By: d.By, ByDays: daysTo(d.By, asOf), Note: d.Note}
}

func daysTo(d, asOf civil.Date) *int {
	if d.IsZero() {
		return nil
	}
	n := d.Sub(asOf)
	return &n
}

func jsonLines(lines []report.Line, asOf civil.Date) []jsonLine {
	out := make([]jsonLine, len(lines))
	for i, l := range lines {
		out[i] = newJSONLine(l, asOf)
	}
	return out
}

func optionalLine(l report.Line, asOf civil.Date) *jsonLine {
	if l.IsZero() {
		return nil
	}
	j := newJSONLine(l, asOf)
	return &j
}

func newJSONLine(l report.Line, asOf civil.Date) jsonLine {
	j := jsonLine{Text: lineWords(l, asOf), Sources: l.Cites()}
	for _, v := range l.Parts() {
		if v.Kind() != report.KindText || v.Name() != "" {
			j.Values = append(j.Values, newJSONValue(v))
		}
	}
	for i, v := range j.Values {
		if v.Kind == report.KindDate.String() {
			j.Values[i].InDays = daysTo(v.Value.(civil.Date), asOf)
		}
	}
	return j
}

func newJSONValue(v report.Value) jsonValue {
	j := jsonValue{Name: v.Name(), Unit: v.Unit(), Kind: v.Kind().String(), Reason: v.Reason()}
	switch f, _ := v.Float(); v.Kind() {
	case report.KindNumber:
		n := v.Decimals()
		j.Value, j.Decimals = f, &n
	case report.KindPercent, report.KindChance:
		j.Value = f
	case report.KindCount:
		j.Value = v.Int()
	case report.KindText:
		j.Value = v.Words()
	case report.KindDate:
		j.Value = v.Date()
	}
	return j
}

func newJSONTable(t *report.Table) *jsonTable {
	out := &jsonTable{Title: t.Title, Rows: make([][]jsonValue, len(t.Rows))}
	for c, col := range t.Columns {
		out.Columns = append(out.Columns, jsonColumn{col.Title, col.Unit, t.Decimals(c)})
	}
	for r, row := range t.Rows {
		for _, v := range row {
			j := newJSONValue(v)
			j.Decimals = nil // the column says it
			out.Rows[r] = append(out.Rows[r], j)
		}
	}
	return out
}

func newJSONEvent(e report.Event, made time.Time) jsonEvent {
	out := jsonEvent{
		UID: e.UID, Summary: e.Summary, Description: e.Description, Location: e.Location, AllDay: e.AllDay(), Zone: e.Zone,
		Categories: e.Categories, Revised: e.Revised, Sequence: e.Sequence, Status: string(e.Status), Transparent: e.Transparent,
	}
	if out.Status == "" {
		out.Status = string(report.Confirmed)
	}
	if out.Revised.IsZero() {
		out.Revised = made
	}
	out.Revised = out.Revised.UTC()
	if e.AllDay() {
		out.Start, out.End = e.First.String(), e.EndDay().String()
	} else {
		end := e.End
		if end.IsZero() {
			end = e.Start
		}
		out.Start, out.End = e.Start.UTC().Format(time.RFC3339), end.UTC().Format(time.RFC3339)
	}
	for _, a := range e.Alarms {
		text := a.Text
		if text == "" {
			text = e.Summary
		}
		out.Alarms = append(out.Alarms, jsonAlarm{a.Offset.Minutes(), a.FromEnd, text})
	}
	return out
}
