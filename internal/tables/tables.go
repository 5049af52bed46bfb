// Package tables describes every table of the store as a file that people and
// programs can read: a CSV for each, and a Data Package descriptor with a Table
// Schema (Frictionless Data, version 1 of the specifications) that says what
// every column holds.
//
// Not here: SQL (package store) and the folder itself (package app).
package tables

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Type is the type of a column in the words of Table Schema.
type Type string

// The types. A column of an array or an object holds JSON.
const (
	String   Type = "string"
	Integer  Type = "integer"
	Number   Type = "number"
	Boolean  Type = "boolean"
	Date     Type = "date"
	Datetime Type = "datetime"
	Object   Type = "object"
	Array    Type = "array"
)

// What a blank cell of a column is.
const (
	BlankNo    = "no"    // not allowed
	BlankNull  = "null"  // not known
	BlankEmpty = "empty" // a text without letters
	BlankCopy  = "copy"  // the column repeats what a number points to, for people: not stored
)

// Column is one column.
type Column struct {
	Name, Blank string
	Type        Type
	Min, Max    *float64
	Enum        []string
	Unit, About string
}

// Copy reports whether the column only repeats what is stored elsewhere.
func (c Column) Copy() bool { return c.Blank == BlankCopy }

// Ref says that columns name a row of another table.
type Ref struct {
	Columns []string
	Table   string
	To      []string
}

// Table is one table.
type Table struct {
	Name    string // in the store
	File    string // without .csv
	Title   string
	Key     []string // what tells its rows apart, and their order
	Refs    []Ref
	Columns []Column
}

// Column returns the place of a column, -1 when there is none of that name.
func (t Table) Column(name string) int {
	return slices.IndexFunc(t.Columns, func(c Column) bool { return c.Name == name })
}

// Stored are the columns without those that repeat others.
func (t Table) Stored() []Column {
	return slices.DeleteFunc(slices.Clone(t.Columns), Column.Copy)
}

var (
	id     = []string{"id"}
	ofBed  = Ref{[]string{"bed_id"}, "bed", id}
	ofWalk = Ref{[]string{"visit_id"}, "visit", id}
	ofSet  = Ref{[]string{"change_id"}, "change_set", id}
)

// All are the tables, each after those that it refers to.
var All = withColumns([]Table{
	{Name: "farm", File: "farm", Title: "The farm", Key: id},
	{Name: "bed", File: "beds", Title: "The beds", Key: id},
	{Name: "stage_event", File: "stages", Title: "Growth stages that beds reached", Key: id, Refs: []Ref{ofBed}},
	{Name: "visit", File: "visits", Title: "Visits: one bed, one date, one pest, with the sums of their counts", Key: id, Refs: []Ref{ofBed}},
	{Name: "unit_count", File: "counts", Title: "Every single count", Key: []string{"visit_id", "seq"}, Refs: []Ref{ofWalk}},
	{Name: "enemy_count", File: "natural_enemies", Title: "Natural enemies seen on visits", Key: []string{"visit_id", "seq"}, Refs: []Ref{ofWalk}},
	{Name: "label", File: "labels", Title: "Product labels as transcribed, every version", Key: []string{"key", "version"}},
	{Name: "treatment", File: "treatments", Title: "Applications of products", Key: id, Refs: []Ref{ofBed, {[]string{"label_key", "label_version"}, "label", []string{"key", "version"}}}},
	{Name: "release", File: "releases", Title: "Releases of natural enemies", Key: id, Refs: []Ref{ofBed}},
	{Name: "done", File: "steps_done", Title: "Steps that were done", Key: id, Refs: []Ref{ofBed}},
	{Name: "weather_day", File: "weather", Title: "The weather of days", Key: id},
	{Name: "override", File: "action_levels", Title: "The farm's own action levels", Key: id},
	{Name: "planned_cover", File: "planned_covers", Title: "Planned cover crops", Key: id, Refs: []Ref{ofBed}},
	{Name: "calendar_entry", File: "calendar_entries", Title: "What calendar files were given", Key: []string{"uid"}},
	{Name: "change_set", File: "changes", Title: "The journal: one row for each command that wrote", Key: id, Refs: []Ref{{[]string{"about"}, "change_set", id}}},
	{Name: "change_added", File: "changes_added", Title: "The journal: records that a change stored, by their numbers", Key: []string{"kind", "low"}, Refs: []Ref{ofSet}},
	{Name: "change_step", File: "change_steps", Title: "The journal: what a change did to what was there", Key: []string{"change_id", "seq"}, Refs: []Ref{ofSet}},
})

// ByName finds a table by its name in the store.
func ByName(name string) Table {
	i := slices.IndexFunc(All, func(t Table) bool { return t.Name == name })
	if i < 0 {
		panic("tables: no table " + name)
	}
	return All[i]
}

//go:embed columns.csv
var columnsCSV string

// withColumns adds the columns of columns.csv. That file is part of the program,
// so what is wrong with it is found at once.
func withColumns(list []Table) []Table {
	rows, err := csv.NewReader(strings.NewReader(columnsCSV)).ReadAll()
	if err != nil {
		panic("tables: " + err.Error())
	}
	number := func(s string) *float64 {
		if s == "" {
			return nil
		}
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			panic("tables: " + err.Error())
		}
		return &v
	}
	for i, r := range rows[1:] {
		c := Column{Name: r[1], Type: Type(r[2]), Blank: r[3], Min: number(r[4]), Max: number(r[5]), Unit: r[7], About: r[8]}
		if r[6] != "" {
			c.Enum = strings.Split(r[6], "|")
		}
		at := slices.IndexFunc(list, func(t Table) bool { return t.Name == r[0] })
		if at < 0 || !slices.Contains([]Type{String, Integer, Number, Boolean, Date, Datetime, Object, Array}, c.Type) || !slices.Contains([]string{BlankNo, BlankNull, BlankEmpty, BlankCopy}, c.Blank) {
			panic(fmt.Sprintf("tables: columns.csv row %d: %v", i+2, r))
		}
		list[at].Columns = append(list[at].Columns, c)
	}
	return list
}
