package sheet

import (
	"fmt"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
)

// mapFile is a Map as a file has it.
type mapFile struct {
	Dates    string            `toml:"dates"`
	Sheet    string            `toml:"sheet"`
	Blank    string            `toml:"blank"`
	Bed      string            `toml:"bed"`
	Pest     string            `toml:"pest"`
	Unit     string            `toml:"unit"`
	Date     string            `toml:"date"`
	Observer string            `toml:"observer"`
	Columns  map[string]string `toml:"columns"`
	Beds     map[string]string `toml:"beds"`
	Pests    map[string]string `toml:"pests"`
}

var mapKeys = []string{"dates", "sheet", "blank", "bed", "pest", "unit", "date", "observer", "columns", "beds", "pests"}

const maxMap = 1 << 20

// ParseMap reads a map file. The error is a *diag.List.
func ParseMap(data []byte, file string) (Map, error) {
	var list diag.List
	add := func(row int, do, format string, args ...any) {
		list.Add(&diag.Problem{File: file, Row: row, What: fmt.Sprintf(format, args...), Do: do})
	}
	if len(data) > maxMap {
		add(0, "check that this is a map file", "is larger than %d KiB", maxMap>>10)
		return Map{}, list.Err()
	}
	var f mapFile
	meta, err := toml.Decode(strings.TrimPrefix(string(data), "\uFEFF"), &f)
	if err != nil {
		row, what := 0, err.Error()
		if pe, ok := err.(toml.ParseError); ok {
			row, what = pe.Position.Line, pe.Message
		} else if _, rest, ok := strings.Cut(what, `last key "`); ok {
			key, _, _ := strings.Cut(rest, `")`)
			what = "the value of " + quote(key) + " is no text in quotation marks"
		}
		add(row, `write it as --save-map does, such as: "Bed no." = "bed"`, "cannot be read as a map: %s", what)
		return Map{}, list.Err()
	}
	for _, k := range []string{"columns", "beds", "pests"} {
		if meta.IsDefined(k) && meta.Type(k) != "Hash" {
			add(0, "write ["+k+"] on a line of its own, and below it lines such as \"Bed no.\" = \"bed\"", "%s is no table", k)
		}
	}
	for _, k := range meta.Undecoded() {
		if len(k) > 1 {
			continue // its table was told
		}
		add(0, "use one of: "+strings.Join(mapKeys, ", "), "unknown key %s%s", quote(k.String()), diag.DidYouMean(k.String(), mapKeys))
	}
	m := Map{Sheet: f.Sheet, Blank: strings.ToLower(f.Blank), Bed: tidy(f.Bed), Pest: tidy(f.Pest), Unit: tidy(f.Unit), Observer: tidy(f.Observer), Columns: f.Columns, Beds: f.Beds, Pests: f.Pests}
	order, ok := ParseOrder(f.Dates)
	if !ok {
		add(0, "write dmy, mdy or ymd", "dates = %s is no order of day, month and year", quote(f.Dates))
	}
	m.Dates = order
	if !slices.Contains([]string{"", blankNone, blankLost, blankZero}, m.Blank) {
		add(0, "write none (no unit there), lost (not looked at) or zero (looked at, none found)", "blank = %s does not say what a blank count means", quote(f.Blank))
	}
	if f.Date != "" {
		d, err := civil.Parse(f.Date)
		if err != nil {
			add(0, "write it as 2026-07-13", "date = %s is not a date", quote(f.Date))
		}
		m.Date = d
	}
	seen := map[string]string{}
	for _, h := range sorted(f.Columns) {
		k := mapHead(h)
		if twin, twice := seen[k]; twice && f.Columns[twin] != f.Columns[h] {
			add(0, "keep one of the two", "the headings %s and %s are the same but for signs, and have different roles", quote(twin), quote(h))
		}
		seen[k] = h
	}
	if err := list.Err(); err != nil {
		return Map{}, err
	}
	return m, nil
}

func sorted(m map[string]string) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// FormatMap writes a map file that reads a sheet as l does, with what m states
// besides. A column that is read by its place among equals, is watched
// without being read, or has no heading, is left to the guess.
func FormatMap(l *Layout, m Map) []byte {
	var b strings.Builder
	b.WriteString("# How leafturn reads this kind of sheet. Change what was guessed wrongly, then:\n#   leafturn import FILE --map THIS\n# Roles: " + strings.Join(roleWords, ", ") + ",\n# count of X (a pest, a date, a bed, a unit such as trap 1, or slug trap 1), +ENEMY.\n\n")
	put := func(key, value, about string) {
		if value == "" {
			fmt.Fprintf(&b, "# %-45s # %s\n", key+` = ""`, about)
			return
		}
		fmt.Fprintf(&b, "%s = %s\n", key, tomlString(value))
	}
	put("dates", string(m.Dates), "dmy, mdy or ymd, for dates such as 3/4/2026")
	put("sheet", l.Format.Sheet, "of a workbook")
	put("blank", m.Blank, "a blank count: none (no unit), lost (not looked at) or zero")
	put("bed", m.Bed, "where the sheet has no column for it")
	put("pest", m.Pest, "where the sheet has no column for it")
	put("unit", m.Unit, "the sample unit, such as trap or leaf")
	day := ""
	if !m.Date.IsZero() {
		day = m.Date.String()
	}
	put("date", day, "where the sheet has no column for it")
	put("observer", m.Observer, "who counted")
	b.WriteString("\n[columns]\n")
	seen := map[string]bool{}
	for _, c := range l.Columns {
		key := mapHead(c.Heading)
		if key == "" || seen[key] || c.watched() {
			continue
		}
		seen[key] = true
		role := c.Words()
		if c.Refused {
			role = openRole
		}
		fmt.Fprintf(&b, "%s = %s\n", tomlString(c.Heading), tomlString(role))
	}
	table := func(name, about string, words map[string]string) {
		b.WriteString("\n[" + name + "] # " + about + "\n")
		for _, w := range sorted(words) {
			fmt.Fprintf(&b, "%s = %s\n", tomlString(w), tomlString(words[w]))
		}
	}
	table("beds", `the sheet's words for beds, such as "top bed" = "B3"`, m.Beds)
	table("pests", `the sheet's words for pests, such as "greenfly" = "aphid"`, m.Pests)
	return []byte(b.String())
}

// tomlString writes a basic string of TOML.
func tomlString(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range strings.ToValidUTF8(s, "\uFFFD") {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r < 0x20 || r == 0x7F:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
