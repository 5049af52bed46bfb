package ingest

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// LabelQuestion is one field of a label as it is asked for, or set by name.
type LabelQuestion struct {
	Key     string
	Section string // the part of a label that begins here, "" when it goes on
	Help    string // what it is and where on a label it stands
	Now     string // what is transcribed: "" is unknown, "none stated" is an answer
}

// SetLabelKey names a new label.
func SetLabelKey(l *farm.Label, key string) *diag.Problem { return readKey(l, key) }

// activeHelp are the questions about one active ingredient.
var activeHelp = map[string]string{
	"name":    "The name of the active ingredient, as printed in the ingredient statement.",
	"percent": "Its percent by weight.",
	"group":   "Its mode-of-action group, the code on the front such as 4A, UN or M02.",
	"max":     "The most of it in a season (or what max_per says), per area, counted over every\nproduct that holds it, such as \"0.5 lb/acre\".",
}

// LabelQuestions returns the questions in the order in which the fields stand
// on a label, with what the label says now. The actives come last, numbered
// from the second on: active.name, active2.name.
func LabelQuestions(l farm.Label) []LabelQuestion {
	var out []LabelQuestion
	for _, f := range labelFields {
		if own(f.key) {
			continue
		}
		q := LabelQuestion{Key: f.key, Section: f.section, Help: f.help}
		if f.items != nil {
			q.Now = strings.Join(f.items(&l), ", ")
			if f.none != nil && *f.none(&l) {
				q.Now = noneStated
			}
		} else {
			q.Now = plainText(f.write(&l))
		}
		out = append(out, q)
	}
	actives := l.Actives
	if len(actives) == 0 {
		actives = []farm.Active{{}}
	}
	for i, a := range actives {
		prefix := "active."
		if i > 0 {
			prefix = fmt.Sprintf("active%d.", i+1)
		}
		percent := ""
		if a.Percent != 0 {
			percent = strconv.FormatFloat(a.Percent, 'f', -1, 64)
		}
		for _, key := range activeKeys {
			now := map[string]string{"name": a.Name, "percent": percent, "group": plainText(statedText(a.Group, same)), "max": plainText(statedText(a.Max, units.Quantity.String))}[key]
			q := LabelQuestion{Key: prefix + key, Help: activeHelp[key], Now: now}
			if i == 0 && key == "name" {
				q.Section = "Ingredient Statement"
			}
			out = append(out, q)
		}
	}
	return out
}

// own reports whether a field is the tool's: it is not asked for.
func own(key string) bool { return key == "key" || key == "version" || key == "entered" }

// plainText is a value without its quotation marks.
func plainText(toml string) string {
	if s, err := strconv.Unquote(toml); err == nil {
		return s
	}
	return toml
}

var activeField = regexp.MustCompile(`^active(\d*)\.(name|percent|group|max)$`)

// SetLabelField sets one field of a label from text, as the file would: blank
// is unknown again, "none stated" is an answer. The items of a list are
// separated by commas. A refusal leaves the label as it was and has no place:
// the caller says which field it is.
func SetLabelField(l *farm.Label, key, text string, names PestNames) *diag.Problem {
	next := *l
	next.Sites, next.Pests, next.OtherPests = slices.Clone(l.Sites), slices.Clone(l.Pests), slices.Clone(l.OtherPests)
	next.KeepApart, next.Actives = slices.Clone(l.KeepApart), slices.Clone(l.Actives)
	if m := activeField.FindStringSubmatch(key); m != nil {
		if bad := setActive(&next, m[1], m[2], text); bad != nil {
			return bad
		}
		*l = next
		return nil
	}
	i := slices.IndexFunc(labelFields, func(f labelField) bool { return f.key == key && !own(key) })
	if i < 0 {
		keys := []string{"active.name", "active.percent", "active.group", "active.max"}
		for _, f := range labelFields {
			if !own(f.key) {
				keys = append(keys, f.key)
			}
		}
		return unknown("field", key, keys)
	}
	f := labelFields[i]
	switch {
	case f.items != nil:
		f.clear(&next)
		if f.none != nil && strings.EqualFold(tidy(text), noneStated) {
			*f.none(&next) = true
			break
		}
		for item := range strings.SplitSeq(text, ",") {
			if item = tidy(item); item == "" {
				continue
			}
			if bad := f.item(&next, item, names); bad != nil {
				return bad
			}
		}
	case tidy(text) == "":
		f.clear(&next)
	default:
		if bad := f.read(&next, text); bad != nil {
			return bad
		}
	}
	*l = next
	return nil
}

func setActive(l *farm.Label, number, key, text string) *diag.Problem {
	n := 1
	if number != "" {
		n, _ = strconv.Atoi(number)
	}
	if n < 1 || n > len(l.Actives)+1 || n > 20 {
		return refuse("name the one before it first", "there are %d active ingredients", len(l.Actives))
	}
	if n > len(l.Actives) {
		if tidy(text) == "" {
			return nil
		}
		l.Actives = append(l.Actives, farm.Active{})
	}
	a := &l.Actives[n-1]
	switch text = tidy(text); {
	case text == "":
		*a = map[string]farm.Active{
			"name": {Percent: a.Percent, Group: a.Group, Max: a.Max}, "percent": {Name: a.Name, Group: a.Group, Max: a.Max},
			"group": {Name: a.Name, Percent: a.Percent, Max: a.Max}, "max": {Name: a.Name, Percent: a.Percent, Group: a.Group},
		}[key]
		if *a == (farm.Active{}) && n == len(l.Actives) {
			l.Actives = l.Actives[:n-1]
		}
		if len(l.Actives) == 0 {
			l.Actives = nil
		}
		return nil
	}
	return readActive(a, key, text)
}

// readActive reads one value of an active ingredient that is not blank.
func readActive(a *farm.Active, key, s string) *diag.Problem {
	switch none := strings.EqualFold(tidy(s), noneStated); {
	case key == "group" && none:
		a.Group = farm.None[string]()
	case key == "group" && !groupForm.MatchString(strings.ToUpper(tidy(s))):
		return refuse(`copy the code beside "group" on the front, such as 4A, UN or M02, or write none stated`, "%s is not a mode-of-action group", quote(s))
	case key == "group":
		a.Group = farm.Value(strings.ToUpper(tidy(s)))
	case key == "max" && none:
		a.Max = farm.None[units.Quantity]()
	case key == "max":
		q, bad := readRate(s)
		a.Max = farm.Value(q)
		return bad
	case none:
		return refuse("leave it blank if it is not known", "%s of an active ingredient cannot be %q", key, noneStated)
	case key == "name":
		a.Name = tidy(s)
	default:
		v, err := units.ParseNumber(strings.TrimSuffix(s, "%"))
		if err != nil || v <= 0 || v > 100 {
			a.Percent = v
			return refuse("write percent by weight, above 0 and up to 100", "%s is not a percentage", quote(s))
		}
		a.Percent = v
	}
	return nil
}
