package app

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/label"
	"leafturn/internal/report"
	"leafturn/internal/store"
)

// LabelTemplate returns the commented file that a grower fills in.
func LabelTemplate() string { return strings.TrimRight(ingest.LabelTemplate(), "\n") }

// AddLabel checks a filled label file and stores it as the label's next version.
func (a *App) AddLabel(ctx context.Context, r io.Reader, file string, day civil.Date, check bool) (Said, error) {
	l, err := ingest.ParseLabel(r, file, a.names, a.Today())
	if err != nil {
		return Said{}, kept(err, "nothing from this file was stored")
	}
	entered := l.Entered
	said, err := a.storeLabel(ctx, l, file, day, check)
	if err == nil {
		err = a.st.View(ctx, func(tx *store.Tx) error {
			versions, err := tx.LabelVersions(l.Key)
			if errors.Is(err, store.ErrUnknownLabel) {
				err = nil
			}
			if !entered.IsZero() && entered != day && !slices.ContainsFunc(versions, func(v farm.Label) bool { return v.Entered == entered }) {
				said.Warnings = append(said.Warnings, fmt.Sprintf("entered = %q is not used: the label stands from %s on; a day before today is given with --date", entered, day))
			}
			return err
		})
	}
	return said, err
}

// storeLabel stores a checked label as its next version, unless it says what
// the latest one says.
func (a *App) storeLabel(ctx context.Context, l farm.Label, file string, day civil.Date, check bool) (Said, error) {
	if day.After(a.Today()) {
		return Said{}, a.future("--date", day)
	}
	l.Entered = day
	res := Said{}
	var wrong diag.List
	for _, c := range label.Contradictions(l) {
		wrong.Add(diag.Usagef("look at the label again and correct it", "%s: %s", file, c))
	}
	if o, ok := l.Opened.Get(); ok && o.After(a.Today()) {
		wrong.Add(diag.Usagef("write the day on which it was opened, or none stated while it is closed", "%s: opened: %s lies in the future", file, o))
	}
	if err := wrong.Err(); err != nil {
		return Said{}, kept(err, "nothing was stored")
	}
	if err := a.oneLabel(ctx, l); err != nil {
		return Said{}, kept(err, "nothing was stored")
	}
	if e, ok := l.Expiry.Get(); ok && day.After(e) {
		res.Warnings = append(res.Warnings, fmt.Sprintf("the product expired on %s: nothing is scheduled with it, and it must not be used", e))
	}
	res.Warnings = append(res.Warnings, a.strangeActives(l)...)
	gaps := label.Check(l)
	for _, g := range gaps {
		res.Warnings = append(res.Warnings, fmt.Sprintf("still unknown: %s (on the label: %s)", g.Field, g.Where))
	}
	if check {
		res.Said = fmt.Sprintf("%s reads well: label %s, %s; nothing was stored", file, l.Key, l.Product)
		return res, nil
	}
	var version int
	err := a.st.Update(ctx, func(tx *store.Tx) error {
		before, err := tx.LabelVersions(l.Key)
		if err != nil && !errors.Is(err, store.ErrUnknownLabel) {
			return err
		}
		if n := len(before); n > 0 {
			last, next := before[n-1], l
			if label.OtherProduct(last, l) {
				res.Warnings = append(res.Warnings, fmt.Sprintf("version %d of the label %s was of %s, and this one is of %s: if it is another product, give it a key of its own", last.Version, l.Key, productWords(last), productWords(l)))
			}
			next.Version, next.Entered = last.Version, last.Entered
			if reflect.DeepEqual(last, next) {
				return nil
			}
			if day.Before(last.Entered) {
				return diag.Usagef("give a later --date", "version %d of the label %s is of %s, and an older one cannot follow it", last.Version, l.Key, last.Entered)
			}
		}
		version, err = tx.AddLabel(l, a.now)
		return err
	})
	if err != nil {
		return Said{}, kept(err, "nothing was stored")
	}
	if version == 0 {
		res.Said = fmt.Sprintf("label %s says this already; nothing was stored", l.Key)
		return res, nil
	}
	res.Said = fmt.Sprintf("label %s (%s) is stored as version %d", l.Key, l.Product, version)
	if len(gaps) > 0 {
		res.Said += fmt.Sprintf("; %s still unknown, and a schedule that needs one is refused", areOf(len(gaps), "field"))
	}
	return res, nil
}

func productWords(l farm.Label) string {
	if v, ok := l.Registration.Get(); ok {
		return l.Product + " (registration " + v + ")"
	}
	return l.Product
}

// oneLabel refuses a label whose registered product is already kept under
// another key, for limits and later corrections belong to the product, and one
// that names an active twice.
func (a *App) oneLabel(ctx context.Context, l farm.Label) error {
	for i, x := range l.Actives {
		for _, y := range l.Actives[:i] {
			if k, ok := a.cat.ActiveKey(x.Name); ok {
				if k2, ok := a.cat.ActiveKey(y.Name); ok && k == k2 {
					return diag.Usagef("write it once, with its whole content", "%q and %q are one active ingredient", y.Name, x.Name)
				}
			}
		}
	}
	return a.st.View(ctx, func(tx *store.Tx) error {
		all, err := tx.Labels()
		if err != nil {
			return err
		}
		for _, o := range all {
			if o.Key != l.Key && o.Retired.IsZero() && label.SameProduct(o, l) {
				do := fmt.Sprintf("give a new copy of it the key %s, which stores the next version; or `leafturn label retire %s`", o.Key, o.Key)
				x, ok := o.Registration.Get()
				y, ok2 := l.Registration.Get()
				if ok && ok2 {
					return diag.Usagef(do, "the product with registration %s is kept already, as label %s", x, o.Key)
				}
				return diag.Usagef(do+"; if it is another product, write the registration number or the registrant of both",
					"a product of the name %q is kept already, as label %s, and no two registration numbers tell them apart (%s, %s)", l.Product, o.Key, cmp.Or(x, "none"), cmp.Or(y, "none"))
			}
		}
		return nil
	})
}

// Labels lists the labels entered and what is unknown of each.
func (a *App) Labels(ctx context.Context, day civil.Date) (*report.Document, error) {
	s, err := a.snapshot(ctx, day)
	if err != nil {
		return nil, err
	}
	doc := a.document("Labels entered", day)
	doc.Warnings = report.Lines("The product's own label outranks what stands here.")
	t := &report.Table{Columns: []report.Column{{Title: "Label"}, {Title: "Product"}, {Title: "Version"}, {Title: "Transcribed"}, {Title: "Pests"}, {Title: "Still unknown"}}}
	data := []LabelData{}
	for _, l := range s.labels {
		data = append(data, labelData(l))
		var gaps []string
		for _, g := range label.Check(l) {
			gaps = append(gaps, g.Field)
		}
		missing := "nothing"
		if !l.Retired.IsZero() {
			gaps = nil
			missing = "no longer used since " + l.Retired.String()
		}
		if len(gaps) > 0 {
			missing = strings.Join(gaps, ", ")
		}
		t.Rows = append(t.Rows, []report.Value{report.Text(l.Key), report.Text(l.Product), report.Count(l.Version), report.Day(l.Entered), report.Text(strings.Join(l.Pests, ", ")), report.Text(missing)})
	}
	sec := report.Section{Key: "labels", Table: t}
	if len(s.labels) == 0 {
		sec = report.Section{Key: "labels", Lead: report.Plain("None yet, so no product is offered. `leafturn label template > mine.toml` writes a file to fill in from the label.")}
	}
	doc.Sections = []report.Section{sec}
	doc.Data = data
	return doc, nil
}

// ShowLabel shows one label as it was transcribed: the version in force on
// the day, or the one asked for by its number.
func (a *App) ShowLabel(ctx context.Context, day civil.Date, key, versionWord string) (*report.Document, error) {
	l, _, err := a.labelFor(ctx, key)
	if err != nil {
		return nil, err
	}
	version := 0
	if versionWord != "" {
		if version, err = strconv.Atoi(versionWord); err != nil || version < 1 {
			return nil, diag.Usagef("give its number, such as 1", "--version %q is no version of a label", versionWord)
		}
	}
	latest := l.Version
	err = a.st.View(ctx, func(tx *store.Tx) error {
		all, err := tx.LabelVersions(l.Key)
		if err != nil {
			return err
		}
		i := -1
		for n, v := range all {
			if version > 0 && v.Version == version || version == 0 && !v.Entered.After(day) {
				i = n
			}
		}
		switch {
		case i >= 0:
			l = all[i]
			return nil
		case version > 0:
			return diag.Usagef(fmt.Sprintf("give 1 to %d", latest), "the label %s has no version %d", l.Key, version)
		}
		return diag.Usagef("give a later --date", "the label %s was not transcribed by %s: version 1 is of %s", l.Key, day, all[0].Entered)
	})
	if err != nil {
		return nil, err
	}
	doc := a.document(l.Product, day)
	doc.Subtitle = fmt.Sprintf("label %s, version %d, transcribed %s", l.Key, l.Version, l.Entered)
	if l.Version != latest {
		doc.Subtitle += fmt.Sprintf("; the latest is version %d", latest)
	}
	doc.Warnings = report.Lines("The product's own label outranks this copy.")
	if !l.Retired.IsZero() {
		words := "no longer used since " + l.Retired.String()
		if l.RetiredWhy != "" {
			words += ": " + l.RetiredWhy
		}
		doc.Subtitle += "; " + words
	}
	t := &report.Table{Columns: []report.Column{{Title: "Field"}, {Title: "Transcribed"}}}
	for _, q := range ingest.LabelQuestions(l) {
		v := report.Text(q.Now)
		if q.Now == "" {
			v = report.MissingAs("unknown", "nobody has looked")
		}
		t.Rows = append(t.Rows, []report.Value{report.Text(strings.ReplaceAll(q.Key, "_", " ")), v})
	}
	doc.Sections = []report.Section{{Key: "label", Table: t}}
	var gaps []report.Line
	for _, g := range label.Check(l) {
		gaps = append(gaps, report.Plain(fmt.Sprintf("%s: %s (on the label: %s)", g.Field, g.Why, g.Where)))
	}
	if len(gaps) > 0 {
		doc.Sections = append(doc.Sections, report.Section{Key: "gaps", Title: "Still unknown", Notes: gaps})
	}
	doc.Data = labelData(l)
	return doc, nil
}

// RetireLabel says that a label is no longer used: nothing is scheduled under
// it from day on. Its versions and what was done under them stay. A new copy
// of the label brings it back.
func (a *App) RetireLabel(ctx context.Context, key, why string, day civil.Date) (Said, error) {
	l, _, err := a.labelFor(ctx, key)
	if err != nil {
		return Said{}, err
	}
	switch {
	case day.After(a.Today()):
		return Said{}, a.future("--date", day)
	case !l.Retired.IsZero():
		return Said{Said: fmt.Sprintf("label %s is not used since %s already; nothing was stored", l.Key, l.Retired)}, nil
	case day.Before(l.Entered):
		return Said{}, diag.Usagef("give a later --date", "version %d of the label %s is of %s, and an older one cannot follow it", l.Version, l.Key, l.Entered)
	}
	l.Retired, l.RetiredWhy, l.Entered = day, strings.Join(strings.Fields(why), " "), day
	var version int
	if err := a.st.Update(ctx, func(tx *store.Tx) (err error) {
		version, err = tx.AddLabel(l, a.now)
		return err
	}); err != nil {
		return Said{}, kept(err, "nothing was stored")
	}
	return Said{Said: fmt.Sprintf("label %s (%s) is no longer used from %s on (version %d); what was done under it stays. `leafturn label add` brings it back", l.Key, l.Product, day, version)}, nil
}

// inUse are the labels that were not retired.
func inUse(labels []farm.Label) []farm.Label {
	return slices.DeleteFunc(slices.Clone(labels), func(l farm.Label) bool { return !l.Retired.IsZero() })
}
