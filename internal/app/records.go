package app

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/label"
	"leafturn/internal/record"
	"leafturn/internal/report"
	"leafturn/internal/store"
)

// The kinds of record that `records` shows.
const (
	recordTreatments = "treatments"
	recordReleases   = "releases"
	recordSteps      = "steps"
)

// RecordOptions choose what `records` shows.
type RecordOptions struct {
	Kind string // "" is all kinds
	Bed  string
	Year string
	To   civil.Date // nothing of a later day; zero is all
}

// keepWords stand on every page of records.
const keepWords = "The tool deletes nothing: a record that was voided stays, with its reason. How long records are kept, and that they can be found, is the grower's own duty; the days named are the least that the rules named ask for, and your country or state may ask for more."

// seen says since when a breach shows.
const (
	seenEntered = "as entered"
	seenSince   = "since"
	seenGone    = "as entered, not now"
)

// Records is the record of what was applied, released and done: each stored
// record once, voided ones with their reason.
func (a *App) Records(ctx context.Context, o RecordOptions) (*report.Document, error) {
	kinds := []string{recordTreatments, recordReleases, recordSteps}
	if o.Kind != "" {
		if !slices.Contains(kinds, o.Kind) {
			return nil, diag.Usagef("one of: "+strings.Join(kinds, ", "), "there are no records of %q%s", o.Kind, diag.DidYouMean(o.Kind, kinds))
		}
		kinds = []string{o.Kind}
	}
	f := store.Filter{IncludeVoided: true}
	title := "Record of applications, releases and steps"
	if o.Bed != "" {
		beds, err := a.names.findBeds([]string{o.Bed})
		if err != nil {
			return nil, err
		}
		f.Bed = beds[0].Code
		title += ", bed " + f.Bed
	}
	if o.Year != "" {
		first, last, err := a.recordYear(o.Year)
		if err != nil {
			return nil, err
		}
		f.From, f.To = first, last
		title += ", " + o.Year
	}
	on := a.Today()
	if !o.To.IsZero() {
		f.To, on = o.To, o.To
	}
	doc := a.document(title, on)
	doc.Subtitle = a.farm.Place
	doc.Warnings = report.Lines("The product label and local law outrank this record.")
	data := RecordsData{Applications: []ApplicationData{}, Releases: []ReleaseData{}, Steps: []StepData{}, Allowances: []AllowanceData{}}
	var err error
	if slices.Contains(kinds, recordTreatments) {
		if data.Applications, err = a.applications(ctx, f); err != nil {
			return nil, err
		}
		if data.Allowances, err = a.allowances(ctx, f.Bed, on); err != nil {
			return nil, err
		}
		doc.Sections = append(doc.Sections, a.applicationSections(data)...)
	}
	if slices.Contains(kinds, recordReleases) {
		if data.Releases, err = a.releaseRecords(ctx, f); err != nil {
			return nil, err
		}
		doc.Sections = append(doc.Sections, a.releaseSection(data.Releases))
	}
	if slices.Contains(kinds, recordSteps) {
		if data.Steps, err = a.stepRecords(ctx, f); err != nil {
			return nil, err
		}
		doc.Sections = append(doc.Sections, a.stepSection(data.Steps))
	}
	doc.Sections = append(doc.Sections, report.Section{Key: "keeping", Title: "Keeping these records", Notes: report.Lines(keepWords)})
	doc.Data = data
	return doc, nil
}

// recordYear is the days of a calendar year, as inspectors ask for it, or of a
// season of the south, written 2026/27.
func (a *App) recordYear(word string) (first, last civil.Date, err error) {
	if y, err := strconv.Atoi(word); err == nil && y >= 1900 && y <= 2200 {
		return civil.New(y, time.January, 1), civil.New(y, time.December, 31), nil
	}
	if a.farm.South() {
		if s, ok := farm.ParseSeason(word, true); ok {
			return s.First, s.Last, nil
		}
		return first, last, diag.Usagef("write it as 2026 for the calendar year, or as 2026/27 for the season", "--year %q is not a year", word)
	}
	return first, last, diag.Usagef("write it as 2026", "--year %q is not a year", word)
}

// judge holds an application against its label with all that is recorded now.
type judge struct {
	a         *App
	snapshots map[civil.Date]snapshot
	today     snapshot
	beds      map[string]farm.Bed
}

// newJudge judges with what is recorded of the days up to on.
func (a *App) newJudge(ctx context.Context, on civil.Date) (*judge, error) {
	today, err := a.snapshot(ctx, on)
	if err != nil {
		return nil, err
	}
	j := &judge{a: a, snapshots: map[civil.Date]snapshot{on: today}, today: today, beds: map[string]farm.Bed{}}
	for _, b := range today.beds {
		j.beds[b.Code] = b
	}
	return j, nil
}

func (j *judge) on(ctx context.Context, d civil.Date) (snapshot, error) {
	if s, ok := j.snapshots[d]; ok {
		return s, nil
	}
	s, err := j.a.snapshot(ctx, d)
	if err == nil {
		s.versions = j.today.versions // with what was read of the labels since
		j.snapshots[d] = s
	}
	return s, err
}

// deviations are the breaches of an application, as they were told when it
// was entered and as they show with what is recorded now; with what cannot be
// judged, and what is no breach of the label. A voided one is not judged again.
func (j *judge) deviations(ctx context.Context, t farm.Treatment, l farm.Label, voided bool) (out []DeviationData, unjudged, notNoted []string, err error) {
	bed := j.beds[t.Bed]
	var found []label.Rule
	after := label.After{Bed: t.Bed, Country: j.a.farm.Country, Loc: j.a.loc, Now: j.a.now}
	if !voided {
		s, err := j.on(ctx, t.Date)
		if err != nil {
			return nil, nil, nil, err
		}
		found = label.Findings(t, j.a.labelRequest(s, bed, l, t, s.treatments))
		after = j.a.after(bed, t, j.today)
	}
	add := func(code, text, seen, next string) {
		out = append(out, DeviationData{Treatment: t.ID, Bed: t.Bed, Product: l.Product, Date: t.Date, Code: code, Text: text, Seen: seen, Next: next})
	}
	now := map[string]label.Rule{}
	for _, r := range found {
		switch {
		case !r.OfLabel():
			notNoted = append(notNoted, r.Words)
		case r.Unknown:
			unjudged = append(unjudged, r.Words)
		default:
			now[r.Code] = r
		}
	}
	told := map[string]bool{}
	for _, words := range t.Breaches {
		code := label.BreachCode(words)
		if r := (label.Rule{Code: code}); !r.OfLabel() {
			if text := strings.TrimPrefix(words, code+": "); !contains(notNoted, text) {
				notNoted = append(notNoted, text)
			}
			continue
		}
		told[code] = true
		seen, next := seenEntered, label.Next(code, after)
		if _, still := now[code]; !still && !voided {
			seen = seenGone
		}
		if voided {
			next = "the record was voided"
		}
		add(code, strings.TrimPrefix(words, code+": "), seen, next)
	}
	for _, r := range found {
		if _, broke := now[r.Code]; broke && !r.Unknown && !told[r.Code] {
			add(r.Code, r.Words, seenSince, label.Next(r.Code, after))
		}
	}
	return out, unjudged, notNoted, nil
}

// applications are the application records that f chooses.
func (a *App) applications(ctx context.Context, f store.Filter) ([]ApplicationData, error) {
	var ts []farm.Treatment
	meta := map[int64]store.Record{}
	var versions map[int64]farm.Label
	counts := map[int64]string{}
	err := a.st.View(ctx, func(tx *store.Tx) (err error) {
		if ts, err = tx.Treatments(f); err != nil {
			return err
		}
		records, err := tx.Records(store.KindTreatment, f)
		if err != nil {
			return err
		}
		for _, r := range records {
			meta[r.ID] = r
		}
		if versions, err = labelsThen(tx, ts, a.Today()); err != nil {
			return err
		}
		for _, t := range ts {
			if err := a.visitCounts(tx, t.Visit, counts); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	j, err := a.newJudge(ctx, a.Today())
	if err != nil {
		return nil, err
	}
	out := []ApplicationData{}
	for _, t := range ts {
		m, l := meta[t.ID], versions[t.ID]
		s, err := j.on(ctx, t.Date)
		if err != nil {
			return nil, err
		}
		d := a.applicationData(t, l, j.beds[t.Bed], m)
		d.Visit, d.VisitCounts = optID(t.Visit), counts[t.Visit]
		d.Tried = a.tried(s, t)
		if d.Deviations, d.Unjudged, d.NotNoted, err = j.deviations(ctx, t, l, !m.VoidedAt.IsZero()); err != nil {
			return nil, err
		}
		if d.Deviations == nil {
			d.Deviations = []DeviationData{}
		}
		d.Unjudged, d.NotNoted = orEmpty(d.Unjudged), orEmpty(d.NotNoted)
		out = append(out, d)
	}
	return out, nil
}

// visitCounts reads the counts of a visit in one line, once.
func (a *App) visitCounts(tx *store.Tx, id int64, into map[int64]string) error {
	if _, ok := into[id]; ok || id == 0 {
		return nil
	}
	v, err := tx.Visit(id)
	if err != nil {
		return err
	}
	into[id] = ingest.FormatNoteIn(v, a.farm.Units)
	reason, err := voidReason(tx, store.KindVisit, id)
	if reason != "" {
		into[id] += " (this count was voided since: " + reason + ")"
	}
	return err
}

func optID(id int64) *int64 {
	if id == 0 {
		return nil
	}
	return &id
}

// zoneOf is the zone in which the times of a record were given.
func (a *App) zoneOf(name string) (*time.Location, string) {
	if loc, err := time.LoadLocation(name); err == nil && name != "" {
		return loc, name
	}
	return a.loc, a.farm.TimeZone
}

func stamp(t time.Time, loc *time.Location) string {
	if t.IsZero() {
		return ""
	}
	return t.In(loc).Format(time.RFC3339)
}

func (a *App) applicationData(t farm.Treatment, l farm.Label, b farm.Bed, m store.Record) ApplicationData {
	loc, zone := a.zoneOf(t.Zone)
	d := ApplicationData{
		ID: t.ID, Product: l.Product, Registration: statedWords(l.Registration), Actives: []string{}, Label: l.Key, LabelVersion: l.Version,
		Organic: statedWords(l.Organic), Lot: t.Lot, Farm: a.farm.Name, Place: a.farm.Place, Bed: t.Bed, Part: t.Part, Site: string(b.Site),
		Crop: b.CropWord(), Pest: t.Pest, Date: t.Date, Start: stamp(t.Start, loc), End: stamp(t.End, loc), EndKnown: t.EndKnown, Zone: zone,
		Method: t.Method, Applicator: t.Who, Licence: t.Licence, Address: a.farm.ApplicatorAddress, WindMS: t.WindMS, AirC: t.AirC, Conditions: t.Sky, Reason: t.Reason,
		Note: t.Note, Entered: stamp(m.EnteredAt, loc), VoidedOn: stamp(m.VoidedAt, loc), VoidReason: m.VoidReason,
	}
	for _, x := range l.Actives {
		d.Actives = append(d.Actives, activeWords(x))
	}
	if t.AreaM2 > 0 {
		d.AreaM2 = &t.AreaM2
	}
	if !t.Amount.IsZero() {
		d.Amount, d.AmountUnit = &t.Amount.Value, t.Amount.Unit.Name
	}
	if q, ok := label.RateOf(t); ok {
		d.Rate, d.RateUnit = &q.Value, q.Unit.Name
	}
	if !t.Spray.IsZero() {
		d.Spray, d.SprayUnit = &t.Spray.Value, t.Spray.Unit.Name
	}
	hours, state := label.REI(l, b.Site, b.CropWord())
	d.REIState = string(state)
	var opened civil.Date
	if state != farm.NotRead {
		end := t.End.Add(time.Duration(hours * float64(time.Hour)))
		d.REIHours, d.REIEnd, opened = &hours, stamp(end, loc), civil.DateIn(end, loc)
	}
	d.PHIState = string(stateOf(l.PHIDays.State))
	if n, ok := l.PHIDays.Get(); ok {
		d.PHIDays, d.CutFrom = &n, t.Date.AddDays(n)
	}
	for _, k := range label.Keeping(a.farm.Country, a.farm.Organic, t.Date, civil.DateIn(m.EnteredAt, loc), opened) {
		words := k.Rule
		if !k.Through.IsZero() {
			words = k.Through.String() + " (" + k.Rule + ")"
		}
		d.KeepRules = append(d.KeepRules, words)
		d.KeepThrough = later(d.KeepThrough, k.Through)
	}
	d.KeepRules = orEmpty(d.KeepRules)
	return d
}

// activeWords names an active ingredient with what the label says of its
// strength.
func activeWords(x farm.Active) string {
	words := x.Name
	switch {
	case x.Percent > 0:
		words += " " + strconv.FormatFloat(x.Percent, 'f', -1, 64) + " %"
	case !x.NoPercent:
		words += " (percent unknown)"
	}
	if v, ok := x.GPerL.Get(); ok {
		words += " " + strconv.FormatFloat(v, 'f', -1, 64) + " g/L"
	}
	return words
}

func statedWords(s farm.Stated[string]) string {
	switch {
	case s.Has():
		return s.Value
	case s.State == farm.NoneStated:
		return "none stated"
	}
	return "unknown"
}

// tried are the steps against the pest in the bed earlier in the season, other
// than products, with what the grower said of them.
func (a *App) tried(s snapshot, t farm.Treatment) []string {
	out := []string{}
	for _, x := range s.done {
		if x.Bed != t.Bed || x.Pest != t.Pest || !x.IsStep() {
			continue
		}
		words := shortStep(x.Action) + " on " + x.Date.Short()
		if w := outcomeOf(x); w != "" {
			words += " (" + w + ")"
		}
		out = append(out, words)
	}
	for _, x := range s.releases {
		if x.Bed == t.Bed && x.Pest == t.Pest {
			out = append(out, "release of "+a.agentName(x.Agent)+" on "+x.Date.Short())
		}
	}
	return out
}

func (a *App) agentName(key string) string {
	if g, ok := a.cat.Agent(key); ok {
		return g.Latin
	}
	return key
}

// allowances are what beds have used by a day of a label's maximum number of
// applications; voided ones do not count.
func (a *App) allowances(ctx context.Context, bed string, on civil.Date) ([]AllowanceData, error) {
	s, err := a.snapshot(ctx, on)
	if err != nil {
		return nil, err
	}
	out := []AllowanceData{}
	done := map[[2]string]bool{}
	for _, b := range s.beds {
		for _, l := range s.labels {
			for _, t := range s.treatments {
				key := [2]string{b.Code, l.Key}
				if t.Bed != b.Code || t.Label != l.Key || done[key] || bed != "" && bed != b.Code {
					continue
				}
				done[key] = true
				x := t
				x.Date = on
				d := label.Plan(a.labelRequest(s, b, l, x, s.treatments))
				if d.MaxKnown {
					out = append(out, AllowanceData{Bed: b.Code, Label: l.Key, Product: l.Product, Used: d.Used, Max: d.Max, Period: d.Period, Again: d.Earliest})
				}
			}
		}
	}
	return out, nil
}

// long writes an instant for a page that is read long after.
func long(text string, zone string) string {
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return ""
	}
	if loc, err := time.LoadLocation(zone); err == nil {
		t = t.In(loc)
	}
	return t.Format("Mon 2 Jan 2006 15:04 MST")
}

// RecordsCSV is the table of one kind of record of a document that Records
// made; "" is the applications.
func RecordsCSV(doc *report.Document, kind string) ([]byte, error) {
	data, ok := doc.Data.(RecordsData)
	if !ok {
		return nil, fmt.Errorf("no records in %q", doc.Title)
	}
	switch kind {
	case recordReleases:
		return table(data.Releases)
	case recordSteps:
		return table(data.Steps)
	}
	return table(data.Applications)
}

func table[T any](list []T) ([]byte, error) {
	header, rows := csvTable(list)
	return record.CSV(header, rows)
}
