package tables

import (
	"encoding/json"
	"fmt"
	"strings"
)

// DescriptorName is the file that describes a folder of tables.
const DescriptorName = "datapackage.json"

// Made says by what a folder of tables was written.
type Made struct {
	Schema  int    `json:"schema"` // version of the store's tables
	Program string `json:"program"`
	Facts   string `json:"facts"`
}

// Package is a Data Package: what datapackage.json holds. Made is ours; the
// specifications let a descriptor hold more than they name.
type Package struct {
	Profile     string     `json:"profile"`
	Name        string     `json:"name"`
	Title       string     `json:"title"`
	Description string     `json:"description"`
	Made        Made       `json:"leafturn"`
	Resources   []Resource `json:"resources"`
}

// Resource is one file of a package.
type Resource struct {
	Profile   string  `json:"profile"`
	Name      string  `json:"name"`
	Path      string  `json:"path"`
	Title     string  `json:"title"`
	Format    string  `json:"format"`
	Mediatype string  `json:"mediatype"`
	Encoding  string  `json:"encoding"`
	Bytes     int64   `json:"bytes"`
	Hash      string  `json:"hash"` // "sha256:" and hexadecimal digits
	Rows      int64   `json:"rows"` // ours: without the header
	Dialect   Dialect `json:"dialect"`
	Schema    Schema  `json:"schema"`
}

// Dialect is how the CSV is written (CSV Dialect).
type Dialect struct {
	Delimiter        string `json:"delimiter"`
	LineTerminator   string `json:"lineTerminator"`
	QuoteChar        string `json:"quoteChar"`
	DoubleQuote      bool   `json:"doubleQuote"`
	SkipInitialSpace bool   `json:"skipInitialSpace"`
	Header           bool   `json:"header"`
}

// Schema is a Table Schema.
type Schema struct {
	Fields        []Field      `json:"fields"`
	MissingValues []string     `json:"missingValues"`
	PrimaryKey    []string     `json:"primaryKey"`
	ForeignKeys   []ForeignKey `json:"foreignKeys,omitempty"`
}

// Field is a column in a Table Schema.
type Field struct {
	Name        string       `json:"name"`
	Type        Type         `json:"type"`
	Description string       `json:"description,omitempty"`
	TrueValues  []string     `json:"trueValues,omitempty"`
	FalseValues []string     `json:"falseValues,omitempty"`
	Constraints *Constraints `json:"constraints,omitempty"`
}

// Constraints are what a value must hold to.
type Constraints struct {
	Required bool     `json:"required,omitempty"`
	Unique   bool     `json:"unique,omitempty"`
	Minimum  *float64 `json:"minimum,omitempty"`
	Maximum  *float64 `json:"maximum,omitempty"`
	Enum     []string `json:"enum,omitempty"`
}

// ForeignKey says that fields name a row of another resource, or of the same
// one where Reference.Resource is empty.
type ForeignKey struct {
	Fields    []string  `json:"fields"`
	Reference Reference `json:"reference"`
}

// Reference is what a foreign key points to.
type Reference struct {
	Resource string   `json:"resource"`
	Fields   []string `json:"fields"`
}

const aboutPackage = "Everything that the farm's file holds, records that were taken out and the journal too. " +
	"Numbers have a decimal point, days are YYYY-MM-DD, instants are in UTC. A blank cell is not known, never zero; in a column of text that has no unknown it is a text without letters. " +
	"A text that begins with = + - @ or a tab, which a spreadsheet might run, has an apostrophe in front, and one more where it begins with apostrophes before these. " +
	"`leafturn restore FOLDER` makes a farm's file of it again."

// NewPackage describes a folder of all tables; the resources have no size and
// hash yet.
func NewPackage(made Made) Package {
	p := Package{Profile: "tabular-data-package", Name: "leafturn-tables", Title: "Tables of a farm", Description: aboutPackage, Made: made}
	for _, t := range All {
		p.Resources = append(p.Resources, t.resource())
	}
	return p
}

func (t Table) resource() Resource {
	r := Resource{
		Profile: "tabular-data-resource", Name: t.File, Path: t.File + ".csv", Title: t.Title, Format: "csv", Mediatype: "text/csv", Encoding: "utf-8",
		Dialect: Dialect{Delimiter: ",", LineTerminator: "\r\n", QuoteChar: `"`, DoubleQuote: true, Header: true},
		Schema:  Schema{MissingValues: []string{""}, PrimaryKey: t.Key},
	}
	for _, c := range t.Columns {
		r.Schema.Fields = append(r.Schema.Fields, c.field(len(t.Key) == 1 && t.Key[0] == c.Name))
	}
	for _, ref := range t.Refs {
		to := Reference{Resource: ByName(ref.Table).File, Fields: ref.To}
		if ref.Table == t.Name {
			to.Resource = ""
		}
		r.Schema.ForeignKeys = append(r.Schema.ForeignKeys, ForeignKey{ref.Columns, to})
	}
	return r
}

func (c Column) field(key bool) Field {
	f := Field{Name: c.Name, Type: c.Type}
	var more []string
	for _, s := range []string{c.About, c.Unit} {
		if s != "" {
			more = append(more, s)
		}
	}
	if c.Copy() {
		more = append(more, "repeated here for people")
	}
	f.Description = strings.Join(more, "; ")
	if c.Type == Boolean {
		f.TrueValues, f.FalseValues = []string{"true", "True", "TRUE", "1"}, []string{"false", "False", "FALSE", "0"}
	}
	k := Constraints{Required: c.Blank == BlankNo, Unique: key, Minimum: c.Min, Maximum: c.Max, Enum: c.Enum}
	if k.Required || k.Unique || k.Minimum != nil || k.Maximum != nil || k.Enum != nil {
		f.Constraints = &k
	}
	return f
}

// JSON is the descriptor as it is written.
func (p Package) JSON() ([]byte, error) {
	b, err := json.MarshalIndent(p, "", "  ")
	return append(b, '\n'), err
}

// ReadPackage reads a descriptor as far as a folder of tables needs it.
func ReadPackage(text []byte) (Package, error) {
	var p Package
	if err := json.Unmarshal(text, &p); err != nil {
		return p, fmt.Errorf("it is not what leafturn writes: %w", err)
	}
	return p, nil
}

// Resource finds the file of a table.
func (p Package) Resource(t Table) (Resource, bool) {
	for _, r := range p.Resources {
		if r.Name == t.File {
			return r, true
		}
	}
	return Resource{}, false
}
