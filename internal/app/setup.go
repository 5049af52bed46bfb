package app

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/pattern"
	"leafturn/internal/report"
	"leafturn/internal/store"
	"leafturn/internal/units"
)

// FarmOptions are the words of `farm new` and `farm set`; nil is "not given".
type FarmOptions struct {
	Name, Place, Country, Zone, Hardiness, LastFrost, FirstFrost, Units, Organic, Pests, Area, WaitingCost *string
	// Where it lies, and the working week.
	At, WorkDays, WorkHours, HarvestDays, RoundMinutes, ProductDays, ApplicatorAddress *string
}

// defaultPests are the pests that a new farm watches until it says otherwise:
// those that most of a dahlia field's decisions are about. Common practice.
var defaultPests = []string{"slug", "spider_mite", "earwig", "thrips", "aphid", "wireworm", "symphylan", "tospovirus", "dahlia_mosaic"}

var (
	zoneRE    = pattern.New(`^(1[0-3]|[1-9])[ab]?$`)
	countryRE = pattern.New(`^[A-Z]{2}$`)
)

// apply puts the words that were given into a farm, with every problem.
func (o FarmOptions) apply(f farm.Farm, n *names) (farm.Farm, error) {
	var l diag.List
	bad := func(do, format string, args ...any) { l.Add(diag.Usagef(do, format, args...)) }
	text := func(p *string, to *string) {
		if p != nil {
			*to = strings.TrimSpace(*p)
		}
	}
	text(o.Name, &f.Name)
	text(o.Place, &f.Place)
	text(o.ApplicatorAddress, &f.ApplicatorAddress)
	if f.Name == "" {
		bad(`give it with --name "My field"`, "the farm has no name")
	}
	if o.Country != nil {
		f.Country = strings.ToUpper(strings.TrimSpace(*o.Country))
		if f.Country != "" && !countryRE().MatchString(f.Country) {
			bad("write two letters, such as US, GB or DE", "--country %q is not a country code", *o.Country)
		}
	}
	text(o.Zone, &f.TimeZone)
	if f.TimeZone == "" {
		bad("give it with --zone, such as --zone America/Los_Angeles", "the farm has no time zone")
	} else if _, err := time.LoadLocation(f.TimeZone); err != nil || f.TimeZone == "Local" {
		bad("write it as Area/City, such as Europe/London", "--zone %q is not a time zone known here", f.TimeZone)
	}
	if o.Hardiness != nil {
		f.HardinessZone = strings.ToLower(strings.TrimSpace(*o.Hardiness))
		if f.HardinessZone != "" && !zoneRE().MatchString(f.HardinessZone) {
			bad("write 1a to 13b, such as 8a", "--hardiness %q is not a USDA zone", *o.Hardiness)
		}
	}
	day := func(name string, p *string, to *civil.MonthDay) {
		if p == nil {
			return
		}
		if *p == "" {
			*to = civil.MonthDay{}
			return
		}
		m, err := civil.ParseMonthDay(strings.TrimSpace(*p))
		if err != nil {
			bad("write it as MM-DD, such as 04-25", "--%s %v", name, err)
			return
		}
		*to = m
	}
	day("last-frost", o.LastFrost, &f.LastFrost)
	day("first-frost", o.FirstFrost, &f.FirstFrost)
	if o.Units != nil {
		switch u := units.System(strings.ToLower(*o.Units)); u {
		case units.Metric, units.US:
			f.Units = u
		default:
			bad("write metric or us", "--units %q is not known", *o.Units)
		}
	}
	if o.Organic != nil {
		switch strings.ToLower(*o.Organic) {
		case "yes", "true":
			f.Organic = true
		case "no", "false":
			f.Organic = false
		default:
			bad("write yes or no", "--organic %q is not an answer", *o.Organic)
		}
	}
	if o.Pests != nil {
		f.Pests = nil
		for w := range strings.SplitSeq(*o.Pests, ",") {
			if w = strings.TrimSpace(w); w == "" {
				continue
			}
			key, ok := n.Pest(w)
			if !ok {
				bad("see the pests with `leafturn pest`", "--pests: unknown pest %q%s", w, diag.DidYouMean(w, n.PestWords()))
				continue
			}
			f.Pests = append(f.Pests, key)
		}
	}
	if o.Area != nil {
		f.Area = nil
		for w := range strings.SplitSeq(*o.Area, ",") {
			w = strings.ToLower(strings.NewReplacer("-", "_", " ", "_").Replace(strings.TrimSpace(w)))
			switch {
			case w == "":
			case !contains(farm.AreaConditions, w):
				bad("one of: "+strings.Join(farm.AreaConditions, ", "), "--area: unknown condition %q%s", w, diag.DidYouMean(w, farm.AreaConditions))
			default:
				f.Area = append(f.Area, w)
			}
		}
		if slices.ContainsFunc(f.Area, func(c string) bool { return contains(f.Area, farm.Opposite(c)) }) {
			bad("give one of each pair", "--area %q contradicts itself", *o.Area)
		}
	}
	if o.WaitingCost != nil {
		v, err := units.ParseNumber(*o.WaitingCost)
		if err != nil || v <= 0 || v > 100 {
			bad("give more than 0 and at most 100; 1 is as dear as acting needlessly", "--waiting-cost %q is no such number", *o.WaitingCost)
		}
		f.WaitingCost = v
	}
	o.week(&f, bad)
	if o.At != nil || o.LastFrost != nil || o.FirstFrost != nil {
		if words := contradicts(f); words != "" {
			bad("write southern latitudes with a minus, such as \"-42.9, 147.3\", and southern frosts as they come, such as --last-frost 10-15 --first-frost 04-25", "%s", words)
		}
	}
	return f, l.Err()
}

// contradicts says that a farm's place and its frosts lie in different halves of
// the earth, "" where they do not.
func contradicts(f farm.Farm) string {
	south, known := f.FrostsSouth()
	if !known || f.Latitude == nil || *f.Latitude == 0 || south == (*f.Latitude < 0) {
		return ""
	}
	where, frosts := "north", "south"
	if !south {
		where, frosts = frosts, where
	}
	return fmt.Sprintf("the farm's place, %s, lies in the %s, and its frosts, last %s and first %s, are those of the %s", placeWords(f), where, f.LastFrost, f.FirstFrost, frosts)
}

// NewFarm makes the store of a farm at path.
func NewFarm(ctx context.Context, path string, o FarmOptions, command, actor string, now time.Time) (string, error) {
	cat, err := loadCatalog()
	if err != nil {
		return "", err
	}
	f, err := o.apply(farm.Farm{Units: units.Metric, Pests: defaultPests, ScoutDay: time.Monday}, newNames(cat, nil))
	if err != nil {
		return "", err
	}
	// The farm's name in calendars: from its name and the moment it is made.
	sum := sha256.Sum256([]byte(f.Name + "\n" + now.UTC().Format(time.RFC3339Nano)))
	st, err := store.Create(ctx, path, f, store.WithFarmUID(hex.EncodeToString(sum[:8])), store.WithCommand(store.Command{Words: command, Actor: actor, At: now}))
	if err != nil {
		return "", err
	}
	if err := st.Close(); err != nil {
		return "", err
	}
	said := fmt.Sprintf("the farm %q is set up in %s\nnext: add beds with `leafturn bed add` or `leafturn bed import`", f.Name, path)
	if s := seasonWords(f, civil.DateIn(now, time.UTC)); s != "" {
		said += "\na season here runs from " + s
	}
	for _, m := range []struct {
		missing bool
		words   string
	}{
		{f.LastFrost.IsZero() || f.FirstFrost.IsZero(), "cover crops cannot be planned without --last-frost and --first-frost"},
		{f.HardinessZone == "", "whether a cover lives through your winter cannot be said without --hardiness"},
	} {
		if m.missing {
			said += "\nnot known yet: " + m.words + " (`leafturn farm set`)"
		}
	}
	return said, nil
}

// SetFarm changes what was given of the farm.
func (a *App) SetFarm(ctx context.Context, o FarmOptions) (string, error) {
	f, err := o.apply(a.farm, a.names)
	if err != nil {
		return "", err
	}
	if reflect.DeepEqual(f, a.farm) {
		return fmt.Sprintf("the farm %q is so already; nothing was stored", f.Name), nil
	}
	if err := a.st.Update(ctx, func(tx *store.Tx) error { return tx.SetFarm(f) }); err != nil {
		return "", err
	}
	return fmt.Sprintf("the farm %q is changed", f.Name), a.load(ctx)
}

// ShowFarm shows the farm as it is set up.
func (a *App) ShowFarm(ctx context.Context) (*report.Document, error) {
	doc := a.document(a.farm.Name, a.Today())
	f := a.farm
	var names []string
	for _, k := range f.Pests {
		if p, ok := a.cat.Pest(k); ok {
			names = append(names, p.Name)
		}
	}
	orUnknown := func(s string) report.Value {
		if s == "" {
			return report.Missing("not given")
		}
		return report.Text(s)
	}
	organic := "no"
	if f.Organic {
		organic = "yes: a product only after recorded prevention and mechanical steps"
	}
	var nBeds, plants int
	for _, b := range a.names.beds {
		nBeds++
		plants += b.Plants
	}
	rows := [][]report.Value{
		{report.Text("place"), orUnknown(f.Place)},
		{report.Text("country"), orUnknown(f.Country)},
		{report.Text("time zone"), orUnknown(f.TimeZone)},
		{report.Text("hardiness zone (USDA)"), orUnknown(f.HardinessZone)},
		{report.Text("average last frost"), orUnknown(f.LastFrost.String())},
		{report.Text("average first frost"), orUnknown(f.FirstFrost.String())},
		{report.Text("units"), orUnknown(string(f.Units))},
		{report.Text("organic"), report.Text(organic)},
		{report.Text("known of the area"), orUnknown(strings.ReplaceAll(strings.Join(f.Area, ", "), "_", " "))},
		{report.Text("to wait wrongly costs"), report.Text(waitingWords(f))},
		{report.Text("latitude, longitude"), orUnknown(placeWords(f))},
		{report.Text("working days"), orUnknown(farm.WeekdayWords(f.WorkDays))},
		{report.Text("working hours"), orUnknown(f.WorkHours)},
		{report.Text("days of cutting"), orUnknown(farm.WeekdayWords(f.HarvestDays))},
		{report.Text("time for a scouting round"), orUnknown(roundWords(f))},
		{report.Text("own days between uses"), orUnknown(productDaysWords(f))},
		{report.Text("applicator's address"), orUnknown(f.ApplicatorAddress)},
		{report.Text("usual weather by month"), orUnknown(normalWords(f))},
		{report.Text("pests watched"), orUnknown(strings.Join(names, ", "))},
		{report.Text("beds, plants"), report.Text(unitsOf(nBeds, "bed") + ", " + unitsOf(plants, "plant"))},
		{report.Text("file"), report.Text(a.st.Path())},
	}
	if s := seasonWords(f, a.Today()); s != "" {
		rows = slices.Insert(rows, 6, []report.Value{report.Text("season"), report.Text(s)})
	}
	doc.Sections = []report.Section{{Key: "farm", Table: &report.Table{Columns: []report.Column{{Title: "What"}, {Title: "Set to"}}, Rows: rows}}}
	doc.Data = farmData(f, nBeds, plants, a.st.Path())
	return doc, nil
}

// waitingWords says what the cost of waiting wrongly means for the verdicts.
func waitingWords(f farm.Farm) string {
	act, hold := f.ActAt()
	c := f.WaitingCost
	if c <= 0 {
		c = 1
	}
	return fmt.Sprintf("%g times as much as to act needlessly: act from a chance of %.0f %% of being over the level, hold below %.0f %%", c, 100*act, 100*hold)
}

// BedOptions are the words of `bed add`.
type BedOptions struct {
	Code, Block, Size, At, Plants, Cultivar, Irrigation, Site string
	// What labels and releases ask for: metres to water, animals that come to
	// the bed ("none" is an answer), leaves of a plant.
	Water, Animals, Leaves, Crop, Rows string
	Blank                              []string // flags that were given without a value
}

var timesRE = pattern.New(`\s*[x×*]\s*`)

// AddBed stores one bed.
func (a *App) AddBed(ctx context.Context, o BedOptions) (string, error) {
	b := farm.Bed{Code: strings.TrimSpace(o.Code)}
	var l diag.List
	bad := func(do, format string, args ...any) { l.Add(diag.Usagef(do, format, args...)) }
	if !farm.CodeOK(b.Code) || ingest.Reserved(b.Code) {
		bad("use letters and digits, such as B3", "%q cannot name a bed", o.Code)
	}
	if o.Size == "" {
		bad(`give it with --size "25 m x 1.2 m"`, "the bed %s has no size, and amounts follow from it", b.Code)
	}
	if o.Site == "" {
		o.Site = string(farm.Outdoor)
	}
	o.Blank = nil // as when it is not given
	if b = o.describe(b, bad); l.Err() != nil {
		return "", l.Err()
	}
	err := a.st.Update(ctx, func(tx *store.Tx) error { _, err := tx.AddBed(b); return err })
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("bed %s is added: %s, %s", b.Code, a.farm.Units.Area(b.AreaM2()), unitsOf(b.Plants, "plant")), a.load(ctx)
}

// describe puts what is given of a bed into it; what is not given stays, and
// what is given as blank is taken away.
func (o BedOptions) describe(b farm.Bed, bad func(do, format string, args ...any)) farm.Bed {
	for _, flag := range o.Blank {
		switch flag {
		case "block":
			b.Block = ""
		case "at":
			b.X, b.Y = nil, nil
		case "plants":
			b.Plants = 0
		case "cultivar":
			b.Cultivar = ""
		case "irrigation":
			b.Irrigation = ""
		case "water":
			b.WaterM = nil
		case "animals":
			b.Animals = ""
		case "leaves":
			b.LeavesPerPlant = 0
		case "crop":
			b.Crop = ""
		case "rows":
			b.Rows = 0
		default:
			bad("give a value", "--%s is blank, and every bed has one", flag)
		}
	}
	if o.Block != "" {
		b.Block = o.Block
	}
	if o.Cultivar != "" {
		b.Cultivar = o.Cultivar
	}
	if o.Size != "" {
		parts := timesRE().Split(o.Size, -1)
		if len(parts) != 2 {
			bad(`write length x width, such as "25 m x 1.2 m"`, "--size %q is not a length and a width", o.Size)
		} else {
			b.LengthM = metres(parts[0], "--size", bad)
			b.WidthM = metres(parts[1], "--size", bad)
		}
	}
	o.place(&b, bad)
	if o.Plants != "" {
		n, err := strconv.Atoi(o.Plants)
		if err != nil || n < 0 || n > 1_000_000 {
			bad("write a whole number", "--plants %q is not a number of plants", o.Plants)
		}
		b.Plants = n
	}
	if o.Irrigation != "" {
		b.Irrigation = farm.Irrigation(strings.ToLower(o.Irrigation))
		if !contains(farm.Irrigations, b.Irrigation) {
			bad("write drip, overhead, hand or none", "--irrigation %q is not known", o.Irrigation)
		}
	}
	if o.Site != "" {
		b.Site = farm.Site(strings.ToLower(o.Site))
		if b.Site != farm.Outdoor && b.Site != farm.House {
			bad("write outdoor or house", "--site %q is not known", o.Site)
		}
	}
	b.BedMore = o.more(b.BedMore, bad)
	return b
}

// place reads where a bed lies on the field.
func (o BedOptions) place(b *farm.Bed, bad func(do, format string, args ...any)) {
	if o.At == "" {
		return
	}
	parts := strings.Split(o.At, ",")
	if len(parts) != 2 {
		bad(`write east, north, such as "0 m, 12 m"`, "--at %q is not two distances", o.At)
		return
	}
	x, y := distance(parts[0], "--at", bad), distance(parts[1], "--at", bad)
	b.X, b.Y = &x, &y
}

func contains[T comparable](all []T, x T) bool {
	for _, y := range all {
		if x == y {
			return true
		}
	}
	return false
}

func metres(s, what string, bad func(do, format string, args ...any)) float64 {
	v := distance(s, what, bad)
	if v <= 0 || v > 10_000 {
		bad("give more than 0 and at most 10000 m", "%s %q cannot be the side of a bed", what, strings.TrimSpace(s))
	}
	return v
}

func distance(s, what string, bad func(do, format string, args ...any)) float64 {
	q, err := units.ParseAs(strings.TrimSpace(s), units.Length, "")
	if err != nil {
		bad(`write it with its unit, such as "25 m" or "80 ft"`, "%s: %v", what, err)
		return 1
	}
	return q.Base()
}

// ImportBeds stores the beds of a CSV file, all of them or none.
func (a *App) ImportBeds(ctx context.Context, r io.Reader, file string) (string, error) {
	beds, err := ingest.ParseBeds(r, file)
	if err != nil {
		return "", kept(err, "nothing from this file was stored")
	}
	err = a.st.Update(ctx, func(tx *store.Tx) error {
		for _, b := range beds {
			if _, err := tx.AddBed(b); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return "", kept(err, "nothing from this file was stored")
	}
	var area float64
	plants := 0
	for _, b := range beds {
		area += b.AreaM2()
		plants += b.Plants
	}
	return fmt.Sprintf("%s added: %s, %s", areOf(len(beds), "bed"), a.farm.Units.Area(area), unitsOf(plants, "plant")), a.load(ctx)
}

// kept says of an error what was kept.
func kept(err error, words string) error {
	switch e := err.(type) {
	case *diag.List:
		e.Kept = words
	case *diag.Problem:
		c := *e
		c.Kept = words
		return &c
	}
	return err
}

// Beds lists the beds with their stage on a day.
func (a *App) Beds(ctx context.Context, day civil.Date) (*report.Document, error) {
	s, err := a.snapshot(ctx, day)
	if err != nil {
		return nil, err
	}
	doc := a.document("Beds", day)
	areaUnit, lengthUnit := "m²", "m"
	if a.farm.Units == units.US {
		areaUnit, lengthUnit = "ft²", "ft"
	}
	t := &report.Table{Columns: []report.Column{
		{Title: "Bed"}, {Title: "Block"}, {Title: "Length", Unit: lengthUnit, Decimals: 1}, {Title: "Width", Unit: lengthUnit, Decimals: 1},
		{Title: "Area", Unit: areaUnit, Decimals: 1}, {Title: "Plants"}, {Title: "What grows"}, {Title: "Water"}, {Title: "Stage"}, {Title: "Since"},
	}}
	data := []BedData{}
	for _, b := range s.beds {
		stage, since := s.year.StageOn(s.stages[b.Code], day)
		data = append(data, bedData(b, stage, since))
		sinceV := report.Text("")
		if !since.IsZero() {
			sinceV = report.Day(since)
		}
		t.Rows = append(t.Rows, []report.Value{
			report.Text(b.Code), report.Text(b.Block),
			report.Num(units.Of(b.LengthM, "m").MustIn(lengthUnit), 1), report.Num(units.Of(b.WidthM, "m").MustIn(lengthUnit), 1),
			report.Num(units.Of(b.AreaM2(), "m2").MustIn(areaUnit), 1),
			report.Count(b.Plants), report.Text(b.Cultivar), report.Text(string(b.Irrigation)), report.Text(string(stage)), sinceV,
		})
	}
	sec := report.Section{Key: "beds", Table: t}
	if len(s.beds) == 0 {
		sec = report.Section{Key: "beds", Lead: report.Plain("No beds yet. Add them with `leafturn bed add` or `leafturn bed import`.")}
	}
	doc.Sections = []report.Section{sec}
	doc.Data = data
	return doc, nil
}
