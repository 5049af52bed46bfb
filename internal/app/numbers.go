package app

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/estimate"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/report"
	"leafturn/internal/verdict"
)

// numbersInput is one sample with what is known of how the pest clumps.
type numbersInput struct {
	visit farm.Visit
	unit  string // what one unit is, in the singular
	// facts are those of the pest's sample unit; zero for a list of no pest.
	facts  assess.Unit
	signs  bool                 // of a disease or a vertebrate: there is no density of animals behind a share
	known  bool                 // the clumping of facts is published or the farm's own
	kono   *estimate.KonoSugino // fitted over the farm's own visits, nil where there are too few
	konoOn int                  // how many visits
}

// tally is the animals that a unit may hold and still be scored clear.
func (in numbersInput) tally() int { return max(in.facts.Tally, 1) - 1 }

// Numbers gives the classical statistics of the latest visit to a bed for a
// pest on or before the day, with what they mean.
func (a *App) Numbers(ctx context.Context, day civil.Date, bedWord, pestWord string) (*report.Document, error) {
	beds, err := a.names.findBeds([]string{bedWord})
	if err != nil {
		return nil, err
	}
	p, err := a.names.findPest(pestWord)
	if err != nil {
		return nil, err
	}
	s, err := a.snapshot(ctx, day)
	if err != nil {
		return nil, err
	}
	visits := s.byPair[[2]string{beds[0].Code, p.Key}]
	for i := len(visits) - 1; i >= 0; i-- {
		v := visits[i]
		if v.Stratum != farm.Random || v.UnitsLooked() == 0 {
			continue
		}
		pest, err := a.pestFacts(p, a.usualStage(s), s)
		if err != nil {
			return nil, err
		}
		u, ok := pest.Unit(v.Unit)
		if !ok {
			return nil, diag.Failf(nil, "see `leafturn pest "+p.Key+"`", "the sample unit %q of visit %d is not in the catalogue", v.Unit, v.ID)
		}
		u = u.On(v.Date)
		in := numbersInput{visit: v, unit: u.Label, facts: u, signs: p.Kind != "animal", known: u.Dispersed != (estimate.Dispersion{})}
		in.kono, in.konoOn = ownKono(s.byPest[p.Key], u)
		doc := a.document(fmt.Sprintf("%s, %s, %s", v.Bed, p.Name, v.Date.Short()), day)
		doc.Subtitle = fmt.Sprintf("visit %d: %s", v.ID, ingest.FormatNoteIn(v, a.farm.Units))
		if bad := verdict.Validity(v, u.Needs); len(bad) > 0 {
			doc.Warnings = report.Lines("This visit is not valid and decides nothing: " + strings.Join(bad, "; ") + ".")
		}
		return numbersDocument(doc, in)
	}
	return nil, diag.Failf(nil, "see `leafturn visits "+beds[0].Code+" "+p.Key+"`", "%s has no counts of %s up to %s", beds[0].Code, p.Name, day)
}

// konoLeast is the fewest visits that a line of mean on share is fitted over,
// as for Taylor's law. Common practice.
const konoLeast = 8

// ownKono fits mean on share infested over the valid counted visits to random
// units; nil where there are too few.
func ownKono(visits []farm.Visit, u assess.Unit) (*estimate.KonoSugino, int) {
	var means, shares []float64
	for _, v := range visits {
		counts := v.Seen()
		if v.Unit != u.Key || v.Stratum != farm.Random || len(counts) < 2 || len(verdict.Validity(v, u.Needs)) > 0 {
			continue
		}
		m, p := meanAndShare(counts, max(u.Tally, 1))
		means, shares = append(means, m), append(shares, p)
	}
	fit, err := estimate.FitKonoSugino(means, shares)
	if err != nil || fit.Line.Points < konoLeast || fit.Line.Slope <= 0 {
		return nil, len(means)
	}
	return &fit, fit.Line.Points
}

// meanAndShare returns the mean of counts and the share of at least from.
func meanAndShare(counts []int, from int) (mean, share float64) {
	for _, c := range counts {
		mean += float64(c)
		if c >= from {
			share++
		}
	}
	n := float64(len(counts))
	return mean / n, share / n
}

// NumbersOf gives the classical statistics of a plain list of counts, of a
// presence sample, or of both. pestWord, which may be empty, says whose
// published clumping to use.
func NumbersOf(words []string, pestWord string, day civil.Date) (*report.Document, error) {
	cat, err := loadCatalog()
	if err != nil {
		return nil, err
	}
	a := &App{cat: cat, names: newNames(cat, nil)}
	in := numbersInput{unit: "unit"}
	pest, title := "", "A list of counts"
	if pestWord != "" {
		p, err := a.names.findPest(pestWord)
		if err != nil {
			return nil, err
		}
		pest, title = p.Key, "A list of counts: "+p.Name
		in.signs = p.Kind != "animal"
	}
	if in.visit, err = ingest.ParseSample(words, pest, ingest.Options{Today: day, Date: day, Names: a.names}); err != nil {
		return nil, asUsage(err)
	}
	if in.visit.UnitsLooked() == 0 {
		return nil, diag.Usagef("give the numbers, such as `leafturn estimate --counts 4 0 2 7 1`", "no unit was looked at")
	}
	if pest != "" {
		u, _ := cat.Protocol(pest, in.visit.Unit)
		in.facts = a.unitFacts(u)
		in.unit, in.known = u.UnitLabel, in.facts.Dispersed != (estimate.Dispersion{})
	}
	doc := &report.Document{Title: title, AsOf: day, Facts: cat.Version}
	if in.visit.Presence != nil && len(in.visit.Seen()) == 0 {
		doc.Title = strings.Replace(title, "A list of counts", "A presence sample", 1)
	}
	return numbersDocument(doc, in)
}

// numbersDocument puts everything together: the words first, the numbers under
// them.
func numbersDocument(doc *report.Document, in numbersInput) (*report.Document, error) {
	counts := in.visit.Seen()
	d := NumbersData{Counted: "per " + in.unit, N: len(counts), Words: []string{}, Reasons: map[string]string{}}
	var sections []report.Section
	b := &numbersBuilder{in: in, d: &d, counts: counts}
	if len(counts) > 0 {
		tables, err := b.countTables()
		if err != nil {
			return nil, diag.Usagef("give whole numbers of 0 or more", "%v", err)
		}
		sections = append(sections, tables...)
	} else {
		b.noCounts()
	}
	if in.visit.Presence != nil {
		s, err := b.presenceSection()
		if err != nil {
			return nil, err
		}
		sections = append(sections, s...)
	} else {
		d.Reasons["presence"], d.Reasons["counts_and_presence"] = "no presence sample", "no presence sample"
	}
	words := append(b.words, b.readWords()...)
	d.Words = append(d.Words, words...)
	doc.Sections = append([]report.Section{{Key: "words", Title: "In words", Notes: report.Lines(words...)}}, sections...)
	doc.Data = d
	return doc, nil
}

// readWords says what the words beside the counts mean for the numbers.
func (b *numbersBuilder) readWords() []string {
	v, u := b.in.visit, b.in.facts
	var out []string
	mean := b.anyMean()
	if n := v.Conditions.Nights; n > 0 {
		b.d.Nights = n
		switch {
		case u.Key != "" && u.PerNights == 0:
			out = append(out, fmt.Sprintf("nights=%d was read; %s are not reckoned per night, so it changes no number.", n, plural(b.in.unit)))
		case mean != nil:
			scale, words := 1/float64(n), "per "+b.in.unit+" and night"
			if u.Key != "" {
				scale, words = u.Scale(n), u.Words
			}
			b.d.PerNight = finite(*mean / float64(n))
			out = append(out, fmt.Sprintf("nights=%d was read: the numbers are for %s. %s per %s makes %s %s.", n, nightWords(n), figure(*mean), b.in.unit, figure(*mean*scale), words))
		}
	}
	if b.d.PerNight == nil {
		b.d.Reasons["mean_per_night"] = "no nights were noted, or they do not matter"
	}
	switch v.Stratum {
	case farm.HotSpot:
		out = append(out, "hotspot was read: the units were chosen because they looked bad. The numbers speak of that spot, not of the bed.")
	case farm.Edge:
		out = append(out, "edge was read: the numbers speak of the outer rows, not of the whole bed.")
	}
	for _, e := range v.Enemies {
		w := fmt.Sprintf("+%s=%d was read: natural enemies are counted apart and change no number here", e.Enemy, e.Count)
		if b.d.Total > 0 && e.Count > 0 {
			w += fmt.Sprintf("; that is %d of them to %s", e.Count, animals(float64(b.d.Total)))
		}
		out = append(out, w+".")
	}
	if x := v.Damage; x != nil {
		w := fmt.Sprintf("damage=%d/%d was read: %s of the parts are hurt", x.Hurt, x.Looked, percent(float64(x.Hurt)/float64(x.Looked)))
		if iv, err := estimate.Wilson(x.Hurt, x.Looked, 0.95); err == nil {
			w += fmt.Sprintf(" (likely %s to %s)", percent(iv.Low), percent(iv.High))
		}
		out = append(out, w+". It changes no number of the counts.")
	}
	c := v.Conditions
	if c.Soil != farm.Unknown || c.Foliage != farm.Unknown || c.AirC != nil || c.SoilC != nil || c.Disturbed {
		out = append(out, "The conditions were read and change no number here; `leafturn why` judges whether a count is valid.")
	}
	if lost := len(v.Counts) - len(v.Seen()); lost > 0 {
		out = append(out, fmt.Sprintf("Left out, because not looked at: %s.", unitsOf(lost, b.in.unit)))
	}
	return out
}

// anyMean is the best mean at hand: of the counts, or of the presence sample.
func (b *numbersBuilder) anyMean() *float64 {
	switch {
	case b.d.Mean != nil:
		return b.d.Mean
	case b.d.Presence != nil:
		return b.d.Presence.Mean
	}
	return nil
}

func nightWords(n int) string {
	if n == 1 {
		return "1 night"
	}
	return fmt.Sprintf("%d nights", n)
}

func plural(unit string) string { return assess.Plural(unit, 2) }

// areOf is unitsOf with the verb behind it: "1 field is", "3 fields are".
func areOf(n int, what string) string {
	if n == 1 {
		return unitsOf(n, what) + " is"
	}
	return unitsOf(n, what) + " are"
}

// unitsOf is "1 leaf" or "4 leaves".
func unitsOf(n int, unit string) string { return fmt.Sprintf("%d %s", n, assess.Plural(unit, n)) }

// animals is a number of animals: "1 animal", "2.5 animals".
func animals(v float64) string {
	w := figure(v)
	if w == "1" {
		return "1 animal"
	}
	return w + " animals"
}

// figure writes a number for people, to three digits.
func figure(v float64) string {
	if math.IsInf(v, 0) {
		return "no limit"
	}
	if v != 0 && math.Abs(v) < 1e-4 {
		return fmt.Sprintf("%.1e", v)
	}
	if a := math.Abs(v); a >= 100 {
		return fmt.Sprintf("%.0f", v)
	}
	s := fmt.Sprintf("%.3g", v)
	return s
}

// four writes a number for an adviser in four figures, from 1000 on as a whole
// number; --json has all of them.
func four(v float64) string {
	switch a := math.Abs(v); {
	case math.IsInf(v, 0):
		return "no limit"
	case a < 1e-12: // what rounding leaves of 0
		return "0"
	case a >= 1000 && a < 1e9:
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.4g", v)
}

// percent writes a share as a percentage, small ones with a decimal.
func percent(p float64) string {
	v := 100 * p
	switch {
	case v > 99 && v < 100:
		return fmt.Sprintf("%.1f %%", v)
	case v < 10:
		return fmt.Sprintf("%.2g %%", v)
	}
	return fmt.Sprintf("%.0f %%", v)
}

// reasonOf says why a quantity does not exist.
func reasonOf(err error) string {
	switch {
	case errors.Is(err, estimate.ErrFew):
		return "too few units"
	case errors.Is(err, estimate.ErrEmpty):
		return "no units"
	case errors.Is(err, estimate.ErrLarge):
		return "too many and too high counts for the exact method"
	}
	s, _, _ := strings.Cut(err.Error(), "\n")
	return s
}

// methodTable is a table of quantities, each with the source of its method.
type methodTable struct{ report.Table }

func newMethodTable(first string) *methodTable {
	return &methodTable{report.Table{Columns: []report.Column{{Title: first}, {Title: "Value"}, {Title: "Method and source"}}}}
}

func (t *methodTable) row(name string, v report.Value, source string) {
	t.Rows = append(t.Rows, []report.Value{report.Text(name), v, report.Text(source)})
}

func (t *methodTable) number(name string, v float64, source string) {
	t.row(name, report.Text(four(v)), source)
}

func without(counts []int, unit int) []int { return slices.Delete(slices.Clone(counts), unit-1, unit) }

// listNames lets the notes grammar read a list without a farm.
type listNames struct{ *names }

// Bed takes any word for a bed.
func (listNames) Bed(word string) (string, bool) { return word, true }
