package app

import (
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/catalog"
	"leafturn/internal/farm"
	"leafturn/internal/label"
)

// careProduct are the cautions that go with a product: those of the catalogue,
// and what its label says of clothing and animals.
func (a *App) careProduct(l farm.Label) []string {
	out := a.careLines(l)
	switch v, ok := l.PPE.Get(); {
	case ok:
		out = append(out, "Wear, as the label says: "+v)
	case !l.PPE.Known():
		out = append(out, "What to wear has not been read off the label: read it before you open the container.")
	}
	if v, ok := l.Animals.Get(); ok {
		out = append(out, "Animals, as the label says: "+v)
	}
	if label.HasREI(l) {
		out = append(out, "Before the re-entry interval ends nobody cuts, weeds, ties or counts there. Whether anything else may be done is for a licensed person to say "+
			"(US, 40 CFR 170.603: never in the first 4 hours, at most 1 hour in 24, in the label's early-entry equipment: "+statedWords(l.EarlyPPE)+").")
	}
	return out
}

// careLines are the cautions of the catalogue that go with a product.
func (a *App) careLines(l farm.Label) []string {
	var out []string
	for _, c := range a.cat.ProductSafety(l) {
		out = append(out, strings.Join(c.Lines, " "))
	}
	return out
}

// careInList are cautions as they stand in a list: more than two are named in
// one line, beside that of every product. more says where the whole is.
func (a *App) careInList(lines []string, more string) []string {
	if len(lines) <= 2 {
		return lines
	}
	var words, last []string
	for _, x := range a.cat.AllSafety() {
		line := strings.Join(x.Lines, " ")
		switch {
		case !contains(lines, line):
		case x.When == "product":
			last = append(last, line)
		case !contains(words, x.Word):
			words = append(words, x.Word)
		}
	}
	return append([]string{fmt.Sprintf("Mind %s: %s.", listed(words), more)}, last...)
}

// listed joins words as a sentence does.
func listed(words []string) string {
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
	return strings.Join(words, "")
}

// careStep is the caution that goes with a step, "" where it needs none.
func (a *App) careStep(pest, key string) string {
	for _, x := range a.cat.Actions(pest) {
		if c, ok := a.cat.Safety(x.Safety); ok && x.Key == key {
			return "\ncare: " + strings.Join(c.Lines, " ")
		}
	}
	return ""
}

// strangeActives says what is not known of the actives of a label that the
// catalogue does not have, and where the label's group is another one than the
// catalogue's.
func (a *App) strangeActives(l farm.Label) []string {
	var out []string
	for _, x := range l.Actives {
		key, ok := a.cat.ActiveKey(x.Name)
		if !ok {
			out = append(out, fmt.Sprintf("the active ingredient %q is not known here: what it does to pets and to natural enemies, and for how long, is unknown; "+
				"no product with it is offered where natural enemies are ordered or were let out. If its label has another name for it, write that one", x.Name))
			continue
		}
		known := a.cat.Actives()[slices.IndexFunc(a.cat.Actives(), func(y catalog.Active) bool { return y.Key == key })].ModeGroup
		here, _ := label.MainGroup(known)
		if there, _ := label.MainGroup(x.Group.Value); x.Group.Has() && known != "" && here != there {
			out = append(out, fmt.Sprintf("the label gives %s the group %s, and it is known here (from memory) as %s: look at the label again; what stands on it counts", x.Name, x.Group.Value, known))
		}
	}
	for _, k := range l.KeepApart {
		_, known := a.cat.ActiveKey(k.Active)
		if !known && !slices.ContainsFunc(a.cat.Actives(), func(y catalog.Active) bool {
			return label.IsKind(k.Active, y.Key) || slices.ContainsFunc(y.Aliases, func(name string) bool { return label.IsKind(k.Active, name) })
		}) {
			out = append(out, fmt.Sprintf("keep_apart: %q is no active ingredient that is known here, and only a label that names it so is kept apart: write each active ingredient that is meant", k.Active))
		}
	}
	return out
}
