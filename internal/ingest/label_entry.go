package ingest

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/pattern"
)

// LabelQuestion is one field of a label as it is asked for, or set by name.
type LabelQuestion struct {
	Key     string
	Section string // the part of a label that begins here, "" when it goes on
	Help    string // what it is and where on a label it stands
	Example string // an invented one
	Now     string // what is transcribed: "" is unknown, "none stated" is an answer
}

// SetLabelKey names a new label.
func SetLabelKey(l *farm.Label, key string) *diag.Problem { return readKey(l, key) }

// LabelQuestions returns the questions in the order in which the fields stand
// on a label, with what the label says now. The actives come last, numbered
// from the second on: active.name, active2.name.
func LabelQuestions(l farm.Label) []LabelQuestion {
	var out []LabelQuestion
	for _, f := range labelFields {
		if own(f.key) {
			continue
		}
		q := LabelQuestion{Key: f.key, Section: f.section, Help: f.help, Example: f.example}
		q.Now = f.now(&l)
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
		for _, f := range activeFields {
			q := LabelQuestion{Key: prefix + f.key, Help: f.help, Now: plainText(f.write(a))}
			if i == 0 && f.key == "name" {
				q.Section = "Ingredient Statement"
				if l.NoActives {
					q.Now = noneStated
				}
			}
			out = append(out, q)
		}
	}
	return out
}

// now is what stands in the field, as SetLabelField takes it.
func (f labelField) now(l *farm.Label) string {
	switch {
	case f.items == nil:
		return plainText(f.write(l))
	case f.isNone != nil && f.isNone(l):
		return noneStated
	}
	return strings.Join(f.items(l), f.between()+" ")
}

// between is what stands between the items of a list in one text.
func (f labelField) between() string {
	if f.cut != "" {
		return f.cut
	}
	return ","
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

var activeName = pattern.New(`^active(\d*)\.(name|percent|g_per_l|group|max)$`)

// SetLabelField sets one field of a label from text, as the file would: blank
// is unknown again, "none stated" is an answer. The items of a list are
// separated by commas. A refusal leaves the label as it was and has no place:
// the caller says which field it is.
func SetLabelField(l *farm.Label, key, text string, names PestNames) *diag.Problem {
	next := *l
	next.Printed = slices.Clone(l.Printed)
	next.Sites, next.Pests, next.OtherPests = slices.Clone(l.Sites), slices.Clone(l.Pests), slices.Clone(l.OtherPests)
	next.KeepApart, next.Actives = slices.Clone(l.KeepApart), slices.Clone(l.Actives)
	if m := activeName().FindStringSubmatch(key); m != nil {
		if bad := setActive(&next, m[1], m[2], text); bad != nil {
			return bad
		}
		*l = next
		return nil
	}
	i := slices.IndexFunc(labelFields, func(f labelField) bool { return f.key == key && !own(key) })
	if i < 0 {
		var keys []string
		for _, k := range activeKeys() {
			keys = append(keys, "active."+k)
		}
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
		if f.setNone != nil && strings.EqualFold(tidy(text), noneStated) {
			f.setNone(&next)
			break
		}
		for item := range strings.SplitSeq(text, f.between()) {
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
	if key == "name" && n == 1 && len(l.Actives) <= 1 && strings.EqualFold(tidy(text), noneStated) {
		l.Actives, l.NoActives = nil, true
		return nil
	}
	if n < 1 || n > len(l.Actives)+1 || n > 20 {
		return refuse("name the one before it first", "there are %d active ingredients", len(l.Actives))
	}
	f, _ := activeFieldOf(key)
	if tidy(text) == "" {
		if n == 1 && key == "name" {
			l.NoActives = false
		}
		if n > len(l.Actives) {
			return nil
		}
		f.clear(&l.Actives[n-1])
		if n == len(l.Actives) && l.Actives[n-1] == (farm.Active{}) {
			l.Actives = l.Actives[:n-1]
		}
		if len(l.Actives) == 0 {
			l.Actives = nil
		}
		return nil
	}
	if l.NoActives && key != "name" {
		return refuse("give active.name first", "the label is said to state no active ingredient")
	}
	if n > len(l.Actives) {
		l.Actives = append(l.Actives, farm.Active{})
	}
	l.NoActives = false
	return f.read(&l.Actives[n-1], tidy(text))
}
