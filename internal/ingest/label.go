package ingest

import (
	"errors"
	"io"
	"maps"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/BurntSushi/toml"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/pattern"
)

// LabelTemplate returns an empty label file to fill in: TOML with every field
// of farm.Label and a comment saying what it is and where on a label it
// stands. A blank is "nobody has looked" and refuses what needs the field;
// "none stated" is "read, and the label says nothing".
//
// Where things stand: 40 CFR 156.10 and the EPA Label Review Manual, chapters
// 3 and 11. Labels of other countries are laid out differently.
func LabelTemplate() string { return FormatLabel(farm.Label{}) }

// FormatLabel writes a label as the file that ParseLabel reads back, with the
// template's comments. Times come out in hours or days, temperatures,
// wind and distances in the unit in which they are a plain number; rates keep
// the label's unit.
func FormatLabel(l farm.Label) string {
	var b strings.Builder
	b.WriteString(`# A label, transcribed. The label on the container and local law outrank this file.
#
# ""             nobody has looked yet; what needs the answer is refused
# "none stated"  the label was read and says nothing about it
# Copy the label's own numbers and units, in quotation marks: "0.5 lb/1000 sq ft".
`)
	comment := func(s string) {
		for line := range strings.SplitSeq(s, "\n") {
			b.WriteString("# " + line + "\n")
		}
	}
	for _, f := range labelFields {
		b.WriteString("\n")
		if f.section != "" {
			b.WriteString("# ---- " + f.section + " ----\n\n")
		}
		comment(f.help)
		if f.example != "" {
			b.WriteString("# Invented example: " + f.toml(f.example) + "\n")
		}
		b.WriteString(f.key + " = " + f.value(&l) + "\n")
	}
	b.WriteString("\n# ---- Ingredient Statement ----\n\n")
	comment(activesHelp)
	if l.NoActives {
		b.WriteString("actives = " + tomlText(noneStated) + "\n")
		return b.String()
	}
	actives := l.Actives
	if len(actives) == 0 {
		actives = []farm.Active{{}}
	}
	for _, a := range actives {
		b.WriteString("\n[[actives]]\n")
		for _, f := range activeFields {
			b.WriteString(f.key + " = " + f.write(a) + "\n")
		}
	}
	return b.String()
}

// value writes what stands in the field as TOML.
func (f labelField) value(l *farm.Label) string {
	switch {
	case f.items == nil:
		return f.write(l)
	case f.isNone != nil && f.isNone(l):
		return tomlText(noneStated)
	}
	return tomlList(f.items(l))
}

// toml writes one value of the field as it may stand in the file.
func (f labelField) toml(text string) string {
	if f.items != nil {
		return f.key + " = " + tomlList([]string{text})
	}
	return f.key + " = " + tomlText(text)
}

// tomlText writes a TOML basic string.
func tomlText(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteString(`\` + string(r))
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\t':
			b.WriteString(`\t`)
		case unicode.IsControl(r):
			b.WriteString(`\u` + strings.ToUpper(strconv.FormatInt(0x10000+int64(r), 16)[1:]))
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

func tomlList(items []string) string {
	quoted := make([]string, len(items))
	for i, s := range items {
		quoted[i] = tomlText(s)
	}
	return "[" + strings.Join(quoted, ", ") + "]"
}

// ParseLabel reads a label file. Only key and product must be filled; every
// other blank stays unknown. The error is a *diag.List with every problem:
// unknown or doubled keys, numbers without units, ambiguous ounces and
// gallons, values that contradict each other, a container opened after today. A
// zero today is not known and forbids nothing.
func ParseLabel(r io.Reader, file string, names PestNames, today civil.Date) (farm.Label, error) {
	p := &labelParser{problems: problems{file: file}, names: names, today: today}
	lines, bad, ok := p.readText(r, maxLabel)
	if !ok || len(bad) > 0 {
		return farm.Label{}, p.list.Err()
	}
	p.lines, p.text = lines, strings.Join(lines, "\n")+"\n"
	p.keys = tomlKeys(p.text)
	var doc map[string]any
	if _, err := toml.Decode(p.text, &doc); err != nil {
		p.syntax(err)
		return farm.Label{}, p.list.Err()
	}
	l := p.label(doc)
	if err := p.list.Err(); err != nil {
		return farm.Label{}, err
	}
	return l, nil
}

type labelParser struct {
	problems
	today civil.Date
	names PestNames
	lines []string
	text  string
	keys  []keyPlace
}

// find returns the place of a key; else that of its table's heading, of the
// key that holds the table, or the top of the file.
func (p *labelParser) find(table string, index int, key string) keyPlace {
	for _, fits := range []func(keyPlace) bool{
		func(k keyPlace) bool { return k.table == table && k.index == index && k.key == key },
		func(k keyPlace) bool { return table != "" && k.table == table && k.index == index && k.key == "" },
		func(k keyPlace) bool { return table == "" && k.table == key && k.key == "" },
		func(k keyPlace) bool { return k.table == "" && k.key == table }, // actives = [{...}] on one line
	} {
		if i := slices.IndexFunc(p.keys, fits); i >= 0 {
			return p.keys[i]
		}
	}
	return keyPlace{row: 1, col: 1, valRow: 1, valCol: 1}
}

var plainValue = pattern.New(`^(true|false|[-+]?\d[\d_]*(\.\d+)?([eE][-+]?\d+)?|\d{4}-\d\d-\d\d([T ]\S+)?|["'\[{].*)$`)

// syntax reports what keeps the file from being TOML: in our words for what
// growers do (values without quotation marks, doubled keys), all in one run;
// else in the decoder's words at its place.
func (p *labelParser) syntax(err error) {
	before := p.count()
	runes := []rune(p.text)
	type id struct {
		table, key string
		index      int
	}
	first := map[id]int{}
	for _, k := range p.keys {
		if k.key == "" {
			continue
		}
		raw, _, _ := strings.Cut(string(runes[k.valStart:k.valEnd]), "\n")
		bare := raw
		if !strings.HasPrefix(raw, `"`) && !strings.HasPrefix(raw, "'") {
			bare, _, _ = strings.Cut(raw, "#")
		}
		bare = strings.TrimSpace(bare)
		switch {
		case bare == "":
			p.add(k.row, k.col, "write "+k.key+` = ""`, "%s has no value", k.key)
		case !plainValue().MatchString(bare):
			p.add(k.valRow, k.valCol, "write "+k.key+" = "+tomlText(strings.Trim(bare, `"“”`)), "the value of %s is not in quotation marks", k.key)
		}
		if row, twice := first[id{k.table, k.key, k.index}]; twice {
			p.add(k.row, k.col, "keep one of the two lines", "%s is already on row %d", quote(k.key), row)
		} else {
			first[id{k.table, k.key, k.index}] = k.row
		}
	}
	if p.count() > before {
		return
	}
	var pe toml.ParseError
	if !errors.As(err, &pe) {
		p.add(0, 0, "compare it with a new template", "is not a label file: %v", err)
		return
	}
	row := min(max(pe.Position.Line, 1), max(len(p.lines), 1))
	col := 1
	if row <= len(p.lines) {
		line := p.lines[row-1]
		col = utf8.RuneCountInString(line[:min(max(pe.Position.Col-1, 0), len(line))]) + 1
	}
	p.add(row, col, `a line looks like: rei = "4 hours"`, "cannot be read as TOML: %s", strings.TrimSuffix(pe.Message, "."))
}

// scalar gives a value as text; ok is false for lists, tables and booleans.
func scalar(v any) (s string, ok bool) {
	switch v := v.(type) {
	case string:
		return v, true
	case int64:
		return strconv.FormatInt(v, 10), true
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64), true
	case time.Time:
		if v.Location().String() == "date-local" {
			return v.Format("2006-01-02"), true
		}
		return v.Format("2006-01-02T15:04:05"), true
	}
	return "", false
}

// value reads one scalar and refuses what no field may hold; "" is blank.
func (p *labelParser) value(v any, k keyPlace, key string) (string, bool) {
	s, ok := scalar(v)
	if !ok {
		p.add(k.valRow, k.valCol, "write "+key+` = "..." in quotation marks`, "the value of %s is not a text", key)
		return "", false
	}
	if i := strings.IndexFunc(s, func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\t' }); i >= 0 {
		p.add(k.valRow, k.valCol, "delete it", "the value of %s holds a control character", key)
		return "", false
	}
	return strings.TrimFunc(s, isSpace), true
}

// hints name the keys for words that are near no key.
var hints = map[string]string{
	"rate": "rate_min and rate_max", "interval": "min_interval", "temperature": "min_temp and max_temp",
	"name": "product", "wind": "max_wind", "water": "water_buffer", "active": "actives",
	"reentry": "rei", "re_entry": "rei", "harvest": "phi", "expires": "expiry", "maximum": "max_applications",
}

func (p *labelParser) label(doc map[string]any) farm.Label {
	var l farm.Label
	known := []string{"actives"}
	for _, f := range labelFields {
		known = append(known, f.key)
	}
	for _, key := range slices.Sorted(maps.Keys(doc)) {
		if slices.Contains(known, key) {
			continue
		}
		k := p.find("", 0, key)
		if say := hints[strings.ToLower(key)]; say != "" {
			p.add(k.row, k.col, "write "+say, "unknown key %s", quote(key))
			continue
		}
		bad := unknown("key", key, known)
		bad.Do = "correct it or delete the line"
		p.put(k.row, k.col, bad)
	}
	for _, f := range labelFields {
		v, there := doc[f.key]
		k := p.find("", 0, f.key)
		if f.items != nil {
			if there {
				p.readList(&l, f, v, k)
			}
			continue
		}
		text := ""
		if there {
			var ok bool
			if text, ok = p.value(v, k, f.key); !ok {
				continue
			}
		}
		switch {
		case text != "":
			if bad := f.read(&l, text); bad != nil {
				p.put(k.valRow, k.valCol, bad)
			}
		case f.key == "key" || f.key == "product":
			p.add(k.row, k.col, "fill it in: "+strings.ReplaceAll(strings.TrimPrefix(f.help, "Needed. "), "\n", " "), "%s is blank", f.key)
		}
	}
	p.actives(&l, doc["actives"])
	p.contradictions(l)
	return l
}

// readList reads a list of texts, item by item.
func (p *labelParser) readList(l *farm.Label, f labelField, v any, k keyPlace) {
	items, ok := v.([]any)
	if !ok {
		items = []any{v} // one text stands for a list of one
	}
	if s, ok := v.(string); ok && f.setNone != nil && strings.EqualFold(tidy(s), noneStated) {
		f.setNone(l)
		return
	}
	for _, item := range items {
		if word, plain := scalar(item); plain && reflect.TypeOf(item).Kind() != reflect.String {
			row, col := p.item(k, word)
			p.add(row, col, "write it in quotation marks, as words: "+tomlText(f.example), "an item of %s is not a text: %s", f.key, word)
			continue
		}
		s, ok := p.value(item, k, f.key)
		if !ok || s == "" {
			continue
		}
		bad := refuse("write none stated alone, without other items, or leave the list empty", "an item of %s cannot be %q", f.key, noneStated)
		if !strings.EqualFold(tidy(s), noneStated) {
			bad = f.item(l, s, p.names)
		}
		if bad != nil {
			row, col := p.item(k, s)
			p.put(row, col, bad)
		}
	}
}

// item finds where the text of a list's item begins.
func (p *labelParser) item(k keyPlace, s string) (row, col int) {
	runes := []rune(p.text)
	if k.valEnd == 0 {
		return k.valRow, k.valCol
	}
	row, col = k.valRow, k.valCol
	value := string(runes[k.valStart:k.valEnd])
	i := strings.Index(value, s)
	if i < 0 {
		return row, col
	}
	for _, r := range value[:i] {
		if col++; r == '\n' {
			row, col = row+1, 1
		}
	}
	return row, col
}
