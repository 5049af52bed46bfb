package tables_test

import (
	"encoding/json"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/record"
	"leafturn/internal/tables"
)

func column(table, name string) tables.Column {
	t := tables.ByName(table)
	return t.Columns[t.Column(name)]
}

// What a cell is read as, and what is refused with what to do.
func TestValue(t *testing.T) {
	for _, x := range []struct {
		table, column, cell string
		want                any
		wrong               string
	}{
		{"visit", "sum", "12", int64(12), ""},
		{"visit", "sum", " 12 ", int64(12), ""},
		{"visit", "sum", "-1", nil, `"-1" is not a whole number of at least 0`},
		{"visit", "sum", "1.0", nil, "whole number"},
		{"visit", "nights", "61", nil, "from 0 to 60"},
		{"visit", "sum", "", nil, "blank"},
		{"visit", "infested", "", nil, ""}, // not known, not zero
		{"visit", "air_c", "-3.5", -3.5, ""},
		{"visit", "air_c", "3,5", nil, "decimal point"},
		{"visit", "air_c", "NaN", nil, "a number"},
		{"visit", "air_c", "0x1p4", nil, "a number"},
		{"visit", "disturbed", "TRUE", int64(1), ""},
		{"visit", "disturbed", "false", int64(0), ""},
		{"visit", "disturbed", "yes", nil, "true or false"},
		{"visit", "date", "2026-02-28", "2026-02-28", ""},
		{"visit", "date", "2026-02-29", nil, "2026-07-13"},
		{"visit", "date", "2/3/2026", nil, "2026-07-13"},
		{"visit", "entered_at", "2026-07-13T18:30:00Z", "2026-07-13T18:30:00Z", ""},
		{"visit", "entered_at", "2026-07-13 18:30", nil, "instant"},
		{"visit", "stratum", "edgee", nil, `did you mean "edge"?`},
		{"visit", "soil", "", "", ""}, // no text, and known to be none
		{"visit", "note", "'=1+1", "=1+1", ""},
		{"visit", "note", "''=1", "'=1", ""},
		{"visit", "note", "'tis", "'tis", ""},
		{"visit", "note", "'-3", "-3", ""},
		{"visit", "note", " x ", " x ", ""},
		{"farm", "pests", `["slug"]`, `["slug"]`, ""},
		{"farm", "pests", `{"slug": 1}`, nil, "JSON array"},
		{"farm", "more", `{`, nil, "JSON object"},
		{"treatment", "voided_at", "", nil, ""},
	} {
		got, wrong := column(x.table, x.column).Value(x.cell)
		if x.wrong == "" {
			require.Nil(t, wrong, "%+v", x)
			require.Equal(t, x.want, got, "%+v", x)
			continue
		}
		require.NotNil(t, wrong, "%+v", x)
		require.Contains(t, wrong.What, x.wrong)
		require.NotEmpty(t, wrong.Do)
	}
}

// A cell that is written comes back as the same value.
func TestAppend(t *testing.T) {
	for _, x := range []struct{ table, column, stored, cell string }{
		{"visit", "air_c", "-1.5", "-1.5"}, {"visit", "air_c", "1.0e+21", "1000000000000000000000"}, {"visit", "air_c", "0.1", "0.1"},
		{"visit", "air_c", "9.0e+999", "INF"}, {"visit", "air_c", "-9.0e+999", "-INF"},
		{"visit", "disturbed", "1", "true"}, {"visit", "sum", "-3", "-3"}, {"visit", "note", "-3", "'-3"}, {"visit", "note", "a,\"b\"", `"a,""b"""`},
		{"visit", "note", "two\r\nlines", "\"two\r\nlines\""}, {"visit", "note", "", ""},
	} {
		line, err := column(x.table, x.column).Append([]byte("|"), tables.Cell{Text: x.stored})
		require.NoError(t, err)
		require.Equal(t, "|"+x.cell, string(line))
	}
	line, err := column("visit", "note").Append(nil, tables.Cell{Null: true})
	require.NoError(t, err)
	require.Empty(t, line)
}

// The rules of the standard that the descriptor must hold to, written down from
// memory (Frictionless Data, specifications version 1: Data Package, Data
// Resource, Tabular Data Resource, CSV Dialect, Table Schema). They look at the
// JSON alone.
func TestDescriptor_Rules(t *testing.T) {
	p := tables.NewPackage(tables.Made{Schema: 3, Program: "x", Facts: "y"})
	for i := range p.Resources {
		p.Resources[i].Hash = "sha256:" + strings.Repeat("0", 64)
	}
	text, err := p.JSON()
	require.NoError(t, err)
	require.Empty(t, broken(text))
	// The rules bite.
	for from, to := range map[string]string{
		`"name": "beds"`: `"name": "Beds"`, `"path": "beds.csv"`: `"path": "../beds.csv"`, `"type": "integer"`: `"type": "int"`, `"resource": "beds"`: `"resource": "bets"`,
		`"profile": "tabular-data-resource"`: `"profile": "csv"`, `"sha256:0`: `"sha1:0`, `"visit_id",`: `"visitid",`, `"encoding": "utf-8"`: `"encoding": "klingon"`,
	} {
		bad := strings.Replace(string(text), from, to, 1)
		require.NotEqual(t, bad, string(text), from)
		require.NotEmpty(t, broken([]byte(bad)), "%s for %s", to, from)
	}
}

func broken(text []byte) (out []string) {
	say := func(ok bool, what string) {
		if !ok {
			out = append(out, what)
		}
	}
	var p map[string]any
	if err := json.Unmarshal(text, &p); err != nil {
		return []string{err.Error()}
	}
	name := regexp.MustCompile(`^[a-z0-9._/-]+$`) // names are lower case, of letters, digits and . _ - /
	str := func(m map[string]any, k string) string { s, _ := m[k].(string); return s }
	objects := func(v any) (out []map[string]any) {
		list, _ := v.([]any)
		for _, x := range list {
			m, _ := x.(map[string]any)
			out = append(out, m)
		}
		return out
	}
	words := func(v any) (out []string) {
		if s, ok := v.(string); ok {
			return []string{s}
		}
		list, _ := v.([]any)
		for _, x := range list {
			s, _ := x.(string)
			out = append(out, s)
		}
		return out
	}
	say(str(p, "profile") == "tabular-data-package", "profile of the package")
	say(name.MatchString(str(p, "name")), "name of the package")
	resources := objects(p["resources"])
	say(len(resources) > 0, "at least one resource")
	fieldsOf := map[string][]string{}
	for _, r := range resources {
		s, _ := r["schema"].(map[string]any)
		for _, f := range objects(s["fields"]) {
			fieldsOf[str(r, "name")] = append(fieldsOf[str(r, "name")], str(f, "name"))
		}
	}
	say(len(fieldsOf) == len(resources), "names of resources are unique")
	allowed := map[string][]string{ // constraints by type
		"string": {"required", "unique", "minLength", "maxLength", "pattern", "enum"}, "integer": {"required", "unique", "minimum", "maximum", "enum"}, "number": {"required", "unique", "minimum", "maximum", "enum"},
		"boolean": {"required", "enum"}, "date": {"required", "unique", "minimum", "maximum", "enum"}, "datetime": {"required", "unique", "minimum", "maximum", "enum"}, "object": {"required", "unique", "minLength", "maxLength", "enum"}, "array": {"required", "unique", "minLength", "maxLength", "enum"},
	}
	for _, r := range resources {
		n := str(r, "name")
		path := str(r, "path")
		say(name.MatchString(n), n+": name")
		say(path != "" && !strings.HasPrefix(path, "/") && !strings.Contains(path, ".."), n+": the path is relative, below the descriptor")
		say(str(r, "profile") == "tabular-data-resource", n+": profile")
		say(slices.Contains([]string{"utf-8", "utf8", "us-ascii", "iso-8859-1"}, strings.ToLower(str(r, "encoding"))), n+": encoding")
		say(regexp.MustCompile(`^(sha256:[0-9a-f]{64}|[0-9a-f]{32})$`).MatchString(str(r, "hash")), n+": hash, MD5 where no algorithm is named")
		bytes, ok := r["bytes"].(float64)
		say(ok && bytes >= 0, n+": bytes")
		d, _ := r["dialect"].(map[string]any)
		say(str(d, "delimiter") == "," && len(str(d, "quoteChar")) == 1 && d["header"] == true, n+": dialect")
		s, _ := r["schema"].(map[string]any)
		say(words(s["missingValues"]) != nil, n+": missingValues is a list of strings")
		fields := fieldsOf[n]
		say(len(fields) > 0, n+": fields")
		for i, f := range objects(s["fields"]) {
			where := n + "." + str(f, "name")
			say(str(f, "name") != "" && slices.Index(fields, str(f, "name")) == i, where+": name, unique")
			rules, known := allowed[str(f, "type")]
			say(known, where+": type")
			c, _ := f["constraints"].(map[string]any)
			for k := range c {
				say(slices.Contains(rules, k), where+": constraint "+k)
			}
			_, hasTrue := f["trueValues"]
			say(hasTrue == (str(f, "type") == "boolean"), where+": trueValues")
		}
		for _, k := range words(s["primaryKey"]) {
			say(slices.Contains(fields, k), n+": primaryKey "+k)
		}
		for _, k := range objects(s["foreignKeys"]) {
			ref, _ := k["reference"].(map[string]any)
			to := str(ref, "resource")
			if to == "" { // the resource itself
				to = n
			}
			own, theirs := words(k["fields"]), words(ref["fields"])
			say(len(own) == len(theirs) && len(own) > 0, n+": foreign key")
			for i := range own {
				say(slices.Contains(fields, own[i]) && slices.Contains(fieldsOf[to], theirs[i]), n+": foreign key "+own[i])
			}
		}
	}
	return out
}

// Whatever stands in a cell: it is a value that is written and read back as the
// same, or a problem with a remedy.
func FuzzValue(f *testing.F) {
	for _, s := range []string{"", "1", "-0", "1e3", "true", "2026-07-13", "2026-07-13T18:30:00Z", "{}", "[1]", "'=1", "random", "INF", "0x1", " 7 "} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, tb := range tables.All {
			for _, c := range tb.Columns {
				v, wrong := c.Value(s)
				if wrong != nil {
					require.NotEmpty(t, wrong.What)
					require.NotEmpty(t, wrong.Do)
					continue
				}
				cell := tables.Cell{Null: v == nil}
				switch x := v.(type) {
				case string:
					cell.Text = x
				case int64:
					cell.Text = strconv.FormatInt(x, 10)
				case float64:
					cell.Text = strconv.FormatFloat(x, 'g', -1, 64)
				}
				line, err := c.Append(nil, cell)
				require.NoError(t, err)
				r := record.NewReader(strings.NewReader("h\n" + string(line) + ",\n"))
				_, _, _ = r.Read()
				cells, _, err := r.Read()
				require.NoError(t, err)
				again, wrong := c.Value(cells[0])
				require.Nil(t, wrong)
				require.Equal(t, v, again, "%s.%s", tb.Name, c.Name)
			}
		}
	})
}
