package ingest

import (
	"maps"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// activeField is one field of an active ingredient, as labelField is of a label.
type activeField struct {
	key, help string
	write     func(a farm.Active) string // as TOML
	read      func(a *farm.Active, s string) *diag.Problem
	clear     func(a *farm.Active)
}

// activeStated makes a field of an active with three states.
func activeStated[T any](key, help string, at func(*farm.Active) *farm.Stated[T], read func(string) (T, *diag.Problem), write func(T) string) activeField {
	return activeField{key, help,
		func(a farm.Active) string { return statedText(*at(&a), write) },
		func(a *farm.Active, s string) *diag.Problem {
			if strings.EqualFold(tidy(s), noneStated) {
				*at(a) = farm.None[T]()
				return nil
			}
			v, bad := read(s)
			if bad == nil {
				*at(a) = farm.Value(v)
			}
			return bad
		},
		func(a *farm.Active) { *at(a) = farm.Stated[T]{} }}
}

var activeFields = []activeField{
	{"name", "The name of the active ingredient, as printed in the ingredient statement. Nothing on\nthe whole label: \"none stated\".",
		func(a farm.Active) string { return tomlText(a.Name) },
		func(a *farm.Active, s string) *diag.Problem {
			if strings.EqualFold(tidy(s), noneStated) {
				return refuse("leave it blank if it is not known", "name of an active ingredient cannot be %q", noneStated)
			}
			a.Name = tidy(s)
			return nil
		},
		func(a *farm.Active) { a.Name = "" }},
	{"percent", "Its percent by weight.", writePercent, readPercent,
		func(a *farm.Active) { a.Percent, a.NoPercent = 0, false }},
	activeStated("g_per_l", "Grams of it in a litre of the product, such as \"120 g/L\"; of a dry product \"none\nstated\".",
		func(a *farm.Active) *num { return &a.GPerL },
		func(s string) (float64, *diag.Problem) {
			q, err := units.ParseAs(s, units.MassPerVol, "g/L")
			if err != nil || q.Base() <= 0 || q.Base() > 5000 {
				return 0, refuse(`write grams per litre, such as "120 g/L"`, "%s is no weight in a volume", quote(s))
			}
			return q.Base(), nil
		}, func(v float64) string { return number(v) + " g/L" }),
	activeStated("group", "Its mode-of-action group, the code on the front such as 4A, UN or M02.",
		func(a *farm.Active) *txt { return &a.Group },
		func(s string) (string, *diag.Problem) {
			code := strings.ToUpper(tidy(s))
			if !groupForm().MatchString(code) {
				return "", refuse(`copy the code beside "group" on the front, such as 4A, UN or M02, or write none stated`, "%s is not a mode-of-action group", quote(s))
			}
			return code, nil
		}, same),
	activeStated("max", "The most of it in a season (or what max_per says), per area, counted over every\nproduct that holds it, such as \"0.5 lb/acre\".",
		func(a *farm.Active) *qty { return &a.Max }, readAmount, units.Quantity.String),
}

func writePercent(a farm.Active) string {
	switch {
	case a.NoPercent:
		return tomlText(noneStated)
	case a.Percent == 0:
		return `""`
	}
	s := strconv.FormatFloat(a.Percent, 'f', -1, 64)
	if !strings.Contains(s, ".") {
		s += ".0"
	}
	return s
}

func readPercent(a *farm.Active, s string) *diag.Problem {
	if strings.EqualFold(tidy(s), noneStated) {
		a.Percent, a.NoPercent = 0, true
		return nil
	}
	v, err := units.ParseNumber(strings.TrimSuffix(s, "%"))
	if err != nil || v <= 0 || v > 100 {
		return refuse("write percent by weight, above 0 and up to 100", "%s is not a percentage", quote(s))
	}
	a.Percent, a.NoPercent = v, false
	return nil
}

func activeFieldOf(key string) (activeField, bool) {
	i := slices.IndexFunc(activeFields, func(f activeField) bool { return f.key == key })
	if i < 0 {
		return activeField{}, false
	}
	return activeFields[i], true
}

func activeKeys() (out []string) {
	for _, f := range activeFields {
		out = append(out, f.key)
	}
	return out
}

func (p *labelParser) actives(l *farm.Label, v any) {
	var blocks []map[string]any
	switch v := v.(type) {
	case nil:
		return
	case []map[string]any:
		blocks = v
	case []any:
		for _, b := range v {
			if m, ok := b.(map[string]any); ok {
				blocks = append(blocks, m)
			}
		}
		if len(blocks) < len(v) {
			blocks = nil
		}
	}
	if blocks == nil {
		if s, ok := v.(string); ok && strings.TrimSpace(s) == "" {
			return
		} else if ok && strings.EqualFold(tidy(s), noneStated) {
			l.NoActives = true
			return
		}
		if s, ok := v.([]any); ok && len(s) == 0 {
			return
		}
		k := p.find("", 0, "actives")
		p.add(k.row, k.col, "write a block: [[actives]], then name, percent, g_per_l and group on lines of their own", "the actives are not blocks")
		return
	}
	total := 0.0
	for i, m := range blocks {
		var a farm.Active
		before := p.count()
		for _, key := range slices.Sorted(maps.Keys(m)) {
			k := p.find("actives", i, key)
			f, known := activeFieldOf(key)
			if !known {
				if slices.ContainsFunc(labelFields, func(f labelField) bool { return f.key == key }) {
					p.add(k.row, k.col, "move the line above the first [[actives]]", "%s stands inside an [[actives]] block", quote(key))
				} else {
					p.put(k.row, k.col, unknown("key", key, activeKeys()))
				}
				continue
			}
			s, ok := p.value(m[key], k, key)
			if !ok || s == "" {
				continue
			}
			if bad := f.read(&a, s); bad != nil {
				p.put(k.valRow, k.valCol, bad)
			}
		}
		k := p.find("actives", i, "name")
		switch {
		case p.count() > before:
			continue
		case a == farm.Active{}:
			continue
		case a.Name == "":
			p.add(k.row, k.col, "write the name as printed in the ingredient statement", "an active ingredient without a name")
		case slices.ContainsFunc(l.Actives, func(b farm.Active) bool { return strings.EqualFold(a.Name, b.Name) }):
			p.add(k.valRow, k.valCol, "keep one of the two blocks", "the active ingredient %s stands twice", quote(a.Name))
		}
		total += a.Percent
		l.Actives = append(l.Actives, a)
	}
	if total > 100+1e-9 {
		k := p.find("actives", 0, "percent")
		p.add(k.valRow, k.valCol, "check the percentages", "the active ingredients add up to %s %%", number(total))
	}
}
