package app

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/report"
	"leafturn/internal/store"
	"leafturn/internal/units"
)

// AmendOptions are the words of `amend`. Words are those of the command that
// made the record, with one bed; Set holds its flags that were given, by name.
// What is not given stays as it was.
type AmendOptions struct {
	Kind, Number string
	Words        []string
	Set          map[string]string
	Reason       string
}

// amendable are the flags of each kind beside --reason.
var amendable = map[store.Kind][]string{
	store.KindVisit:     {"date", "by"},
	store.KindTreatment: {"date", "pest", "amount", "end", "start", "part", "area", "who", "licence", "lot", "method", "spray", "wind", "temp", "sky", "because", "why", "note"},
	store.KindRelease:   {"date", "pest", "amount", "by", "part", "at", "because", "note"},
	store.KindDone:      {"date", "by", "enough", "not-enough", "count", "found", "not-found", "note"},
	store.KindStage:     {"date", "note"},
	store.KindWeather:   {"date", "min", "max", "rain", "soil", "humidity", "forecast"},
	store.KindOverride:  {"date", "why"},
	store.KindCover:     {"sow", "kill", "note"},
}

// AmendFlags are the flags of `amend`, besides --reason, in order.
func AmendFlags() []string {
	all := map[string]bool{}
	for _, list := range amendable {
		for _, f := range list {
			all[f] = true
		}
	}
	return slices.Sorted(maps.Keys(all))
}

// AmendData is an amendment as JSON.
type AmendData struct {
	Kind     string   `json:"kind"`
	Number   int64    `json:"number"`
	Instead  int64    `json:"instead"`
	Was      string   `json:"was"`
	Is       string   `json:"is"`
	Reason   string   `json:"reason"`
	Warnings []string `json:"warnings"`
}

// Amend puts a record with other values in the place of one that is wrong. The
// wrong one stays in the history with the reason. All or nothing.
func (a *App) Amend(ctx context.Context, o AmendOptions) (*report.Document, Said, error) {
	switch strings.ToLower(o.Kind) {
	case "bed", "farm", "label":
		word := strings.ToLower(o.Kind)
		return nil, Said{}, diag.Usagef(fmt.Sprintf("change it with `leafturn %s set`; `leafturn history %s` shows what it was", word, word), "a %s is described, not recorded", word)
	}
	kind, err := recordKind(o.Kind)
	if err != nil {
		return nil, Said{}, err
	}
	id, err := recordNumber(o.Number)
	if err != nil {
		return nil, Said{}, err
	}
	o.Reason = strings.TrimSpace(o.Reason)
	if o.Reason == "" {
		return nil, Said{}, diag.Usagef(`give it with --reason "..."`, "a record is not amended without a reason")
	}
	for f := range o.Set {
		if !slices.Contains(amendable[kind], f) {
			return nil, Said{}, diag.Usagef("give one of --"+strings.Join(amendable[kind], ", --"), "--%s is not part of a %s", f, recordWord(kind))
		}
	}
	if len(o.Words) == 0 && len(o.Set) == 0 {
		return nil, Said{}, diag.Usagef("give the words of the record as they should be, or the flags that change", "nothing is said of what to change")
	}
	var res Said
	var instead int64
	var was, is string
	err = a.st.Update(ctx, func(tx *store.Tx) error {
		if err := a.amendNow(tx, kind, id); err != nil {
			return err
		}
		old, err := a.recordOf(tx, kind, id)
		if err != nil {
			return err
		}
		was = old.words
		return tx.Replace(kind, id, o.Reason, a.now, func() (int64, error) {
			inside := &App{st: &farmFile{Store: a.st.Store, tx: tx}, cat: a.cat, farm: a.farm, loc: a.loc, now: a.now, names: a.names, old: a.old || !redated(o.Set)}
			said, err := inside.enterAgain(ctx, tx, kind, old, o)
			if err != nil {
				return 0, err
			}
			res.Warnings = said.Warnings
			added := tx.LastAdded(kind)
			if len(added) != 1 {
				return 0, diag.Usagef("look at the record with `leafturn history`", "%d records would take the place of %s %d", len(added), kind, id)
			}
			now, err := a.recordOf(tx, kind, added[0])
			if err != nil {
				return 0, err
			}
			if reflect.DeepEqual(old.value, now.value) {
				return 0, diag.Usagef("give what is to change", "%s %d says that already: %s", kind, id, old.words)
			}
			instead, is = added[0], now.words
			return instead, nil
		})
	})
	if err != nil {
		words := "nothing was stored"
		if !errors.Is(err, store.ErrNotFound) || was != "" {
			words += fmt.Sprintf("; %s %d is as it was", kind, id)
		}
		return nil, Said{}, kept(err, words)
	}
	a.memory = memory{}
	res.Said = fmt.Sprintf("%s %d is amended: %s %d takes its place\nwas: %s\nis:  %s\nthe first stays in the history with the reason: leafturn history %s %d", kind, id, kind, instead, was, is, kind, instead)
	doc := a.document("Amended", a.Today())
	doc.Data = AmendData{Kind: string(kind), Number: id, Instead: instead, Was: was, Is: is, Reason: o.Reason, Warnings: append([]string{}, res.Warnings...)}
	return doc, res, nil
}

// redated reports whether flags say another day than the one that was taken before.
func redated(set map[string]string) bool {
	return slices.ContainsFunc([]string{"date", "start", "end", "sow", "kill"}, func(f string) bool { _, ok := set[f]; return ok })
}

// amendNow refuses to amend what no longer counts, and what a later record
// has overtaken.
func (a *App) amendNow(tx *store.Tx, kind store.Kind, id int64) error {
	list, err := tx.Records(kind, store.Filter{ID: id, IncludeVoided: true})
	if err != nil {
		return err
	}
	if len(list) == 0 {
		return store.NoRecord(kind, id)
	}
	if r := list[0]; !r.VoidedAt.IsZero() {
		do := "enter it again with the right values"
		versions, err := tx.Versions(kind, id)
		if err != nil {
			return err
		}
		live, err := liveOf(tx, kind, versions)
		if err != nil {
			return err
		}
		if live > 0 {
			do = fmt.Sprintf("amend %s %d, which took its place", kind, live)
		}
		return diag.Usagef(do, "%s %d no longer counts: %s", kind, id, r.VoidReason)
	}
	if kind != store.KindOverride {
		return nil
	}
	o, err := tx.Override(id)
	if err != nil {
		return err
	}
	after, err := tx.Records(kind, store.Filter{Pest: o.Pest, After: id})
	if err != nil {
		return err
	}
	for _, r := range after {
		x, err := tx.Override(r.ID)
		if err != nil {
			return err
		}
		if x.Measure == o.Measure && x.Level == o.Level {
			return diag.Usagef(fmt.Sprintf("amend override %d", r.ID), "override %d was followed by another: an amended one would come after it", id)
		}
	}
	return nil
}

// liveOf is the one of some records that counts, 0 for none.
func liveOf(tx *store.Tx, kind store.Kind, ids []int64) (int64, error) {
	for _, id := range ids {
		list, err := tx.Records(kind, store.Filter{ID: id})
		if err != nil {
			return 0, err
		}
		if len(list) == 1 {
			return id, nil
		}
	}
	return 0, nil
}

// enterAgain enters a record as the command that made it would, with the words
// and flags that were given in the place of its own.
func (a *App) enterAgain(ctx context.Context, tx *store.Tx, kind store.Kind, old oldRecord, o AmendOptions) (Said, error) {
	given := func(flag, was string) string {
		if v, ok := o.Set[flag]; ok {
			return v
		}
		return was
	}
	words := func(most int, was ...string) ([]string, error) {
		if len(o.Words) > most {
			return nil, diag.Usagef("see `leafturn amend --help`", "a %s takes at most %d words, and one bed", recordWord(kind), most)
		}
		return append(slices.Clone(o.Words), was[len(o.Words):]...), nil
	}
	day := func(was civil.Date) (civil.Date, error) {
		if v, ok := o.Set["date"]; ok {
			return ParseDay(v, a.Today())
		}
		return was, nil
	}
	said := func(text string, err error) (Said, error) { return Said{Said: text}, err }
	switch v := old.value.(type) {
	case farm.Visit:
		return a.amendVisit(ctx, v, o, given, day)
	case farm.Treatment:
		return a.amendTreatment(ctx, tx, v, o, given, words)
	case farm.Release:
		return a.amendRelease(ctx, tx, v, given, words, day)
	case farm.Done:
		return a.amendDone(ctx, v, o, given, words, day)
	case farm.StageEvent:
		w, err := words(2, string(v.Stage), v.Bed)
		if err != nil {
			return Said{}, err
		}
		d, err := day(v.Date)
		if err != nil {
			return Said{}, err
		}
		return said(a.Stage(ctx, d, w[0], w[1:], given("note", v.Note)))
	case farm.WeatherDay:
		if _, err := words(0); err != nil {
			return Said{}, err
		}
		forecast := strings.ToLower(given("forecast", yes(v.Forecast)))
		if forecast != "yes" && forecast != "no" {
			return Said{}, diag.Usagef("write yes or no", "--forecast %q is not an answer", o.Set["forecast"])
		}
		x := WeatherOptions{Date: given("date", v.Date.String()), Min: given("min", unitText(v.MinC, "C")), Max: given("max", unitText(v.MaxC, "C")), Rain: given("rain", unitText(v.RainMM, "mm")),
			Soil: given("soil", unitText(v.SoilC, "C")), Humidity: given("humidity", unitText(v.Humidity, "")), Forecast: forecast == "yes", Source: v.Source}
		return said(a.Weather(ctx, x))
	case farm.Override:
		w, err := words(1, strconv.FormatFloat(v.Value, 'f', -1, 64))
		if err != nil {
			return Said{}, err
		}
		d, err := day(v.Since)
		if err != nil {
			return Said{}, err
		}
		for _, unit := range a.names.UnitWords(v.Pest) {
			if u, ok := a.cat.Protocol(v.Pest, unit); ok && u.Measure == v.Measure {
				return said(a.SetThreshold(ctx, d, v.Pest, v.Level, w[0], unit, given("why", v.Reason)))
			}
		}
		return Said{}, diag.Usagef("set the level anew with `leafturn threshold set`", "the facts know no sample unit for %q of %s any more", v.Measure, v.Pest)
	case farm.PlannedCover:
		return said("", a.amendCover(ctx, tx, v, given, words))
	}
	return Said{}, fmt.Errorf("a %s cannot be amended", kind)
}

type (
	givenFlag  = func(flag, was string) string
	givenWords = func(most int, was ...string) ([]string, error)
	givenDay   = func(was civil.Date) (civil.Date, error)
)

func (a *App) amendTreatment(ctx context.Context, tx *store.Tx, t farm.Treatment, o AmendOptions, given givenFlag, words givenWords) (Said, error) {
	w, err := words(2, t.Label, t.Bed)
	if err != nil {
		return Said{}, err
	}
	led, err := a.stillLed(tx, t.Visit)
	if err != nil {
		return Said{}, err
	}
	x := treatmentOptions(t, a.loc, units.Metric) // in which they are kept
	if part, ok := o.Set["part"]; ok && part != t.Part || !strings.EqualFold(w[1], t.Bed) {
		x.Area = "" // of the whole of what is now named
	}
	_, dated := o.Set["date"]
	if dated {
		if x.Date, err = ParseDay(o.Set["date"], a.Today()); err != nil {
			return Said{}, err
		}
		_, ends := o.Set["end"]
		if t.EndKnown && !ends { // the same time of day
			x.End = x.Date.String() + " " + t.End.In(a.loc).Format("15:04")
			if _, starts := o.Set["start"]; x.Start != "" && !starts {
				x.Start = x.Date.AddDays(civil.DateIn(t.Start, a.loc).Sub(t.Date)).String() + " " + t.Start.In(a.loc).Format("15:04")
			}
		}
	}
	x.Label, x.Beds, x.DateGiven = w[0], w[1:], dated
	x.Pest, x.Amount, x.End, x.Start = given("pest", x.Pest), given("amount", x.Amount), given("end", x.End), given("start", x.Start)
	x.Part, x.Area, x.Who, x.Reason, x.Note = given("part", x.Part), given("area", x.Area), given("who", x.Who), given("why", x.Reason), given("note", x.Note)
	x.Method, x.Spray, x.Wind, x.Temp, x.Sky = given("method", x.Method), given("spray", x.Spray), given("wind", x.Wind), given("temp", x.Temp), given("sky", x.Sky)
	x.Because, x.Lot, x.Licence = given("because", led), given("lot", x.Lot), given("licence", x.Licence)
	return a.Treat(ctx, x)
}

func (a *App) amendRelease(ctx context.Context, tx *store.Tx, r farm.Release, given givenFlag, words givenWords, day givenDay) (Said, error) {
	w, err := words(2, r.Agent, r.Bed)
	if err != nil {
		return Said{}, err
	}
	d, err := day(r.Date)
	if err != nil {
		return Said{}, err
	}
	led, err := a.stillLed(tx, r.Visit)
	if err != nil {
		return Said{}, err
	}
	at := ""
	if !r.At.IsZero() {
		at = r.At.In(a.loc).Format("15:04Z07:00")
	}
	return a.Release(ctx, ReleaseOptions{Agent: w[0], Beds: w[1:], Date: d, Pest: given("pest", r.Pest), Note: given("note", r.Note),
		Amount:      given("amount", strconv.FormatFloat(r.Amount, 'f', -1, 64)),
		ReleaseMore: ReleaseMore{Who: given("by", r.Who), Part: given("part", r.Part), At: given("at", at), Because: given("because", led)}})
}

// amendDone enters a step, a look or a note of flowers again.
func (a *App) amendDone(ctx context.Context, x farm.Done, o AmendOptions, given givenFlag, words givenWords, day givenDay) (Said, error) {
	d, err := day(x.Date)
	if err != nil {
		return Said{}, err
	}
	refuse := func(what string, flags ...string) error {
		for _, f := range flags {
			if _, ok := o.Set[f]; ok {
				return diag.Usagef("leave it out", "--%s is not part of %s", f, what)
			}
		}
		return nil
	}
	agent, settled := strings.CutPrefix(x.Action, farm.Settled)
	switch {
	case x.Pest == farm.Flowers:
		if err := refuse("a note of flowers", "by", "enough", "not-enough", "count", "found", "not-found", "note"); err != nil {
			return Said{}, err
		}
		w, err := words(2, x.Action, x.Bed)
		if err != nil {
			return Said{}, err
		}
		text, err := a.Flowers(ctx, d, w[0], w[1:])
		return Said{Said: text}, err
	case settled:
		if err := refuse("a look whether animals have settled", "enough", "not-enough"); err != nil {
			return Said{}, err
		}
		w, err := words(2, agent, x.Bed)
		if err != nil {
			return Said{}, err
		}
		_, found := o.Set["found"]
		_, notFound := o.Set["not-found"]
		count := o.Set["count"]
		if !found && !notFound && count == "" {
			found, notFound = x.Outcome == farm.Found, x.Outcome == farm.NotFound
			if x.Seen != nil {
				count = fmt.Sprintf("%d/%d", x.Seen.With, x.Seen.Looked)
			}
		}
		return a.Settled(ctx, SettledOptions{Agent: w[0], Beds: w[1:], Pest: x.Pest, Date: d, Found: found, NotFound: notFound, Count: count, Who: given("by", x.Who), Note: given("note", x.Note)})
	}
	if err := refuse("a step", "count", "found", "not-found"); err != nil {
		return Said{}, err
	}
	more := farm.DoneMore{Who: given("by", x.Who), Outcome: x.Outcome}
	_, enough := o.Set["enough"]
	_, not := o.Set["not-enough"]
	switch {
	case enough && not:
		return Said{}, diag.Usagef("give one of them, or neither", "--enough and --not-enough cannot both be")
	case enough:
		more.Outcome = farm.Enough
	case not:
		more.Outcome = farm.NotEnough
	}
	w, err := words(3, x.Pest, strings.TrimPrefix(x.Action, farm.Answer), x.Bed)
	if err != nil {
		return Said{}, err
	}
	text, err := a.Did(ctx, d, w[0], w[1], w[2:], given("note", x.Note), more)
	return Said{Said: text}, err
}

// coverYears is how far ahead a cover may be planned. Common practice.
const coverYears = 5

func (a *App) amendCover(ctx context.Context, tx *store.Tx, c farm.PlannedCover, given givenFlag, words givenWords) error {
	w, err := words(2, c.Cover, c.Bed)
	if err != nil {
		return err
	}
	var keys []string
	for _, x := range a.cat.Covers() {
		keys = append(keys, x.Key)
	}
	key := strings.ToLower(strings.NewReplacer("-", "_", " ", "_").Replace(w[0]))
	if !slices.Contains(keys, key) {
		return diag.Usagef("one of: "+strings.Join(keys, ", "), "unknown cover %q%s", w[0], diag.DidYouMean(key, keys))
	}
	next := farm.PlannedCover{Bed: w[1], Cover: key, Note: given("note", c.Note)}
	for flag, to := range map[string]*civil.Date{"sow": &next.Sow, "kill": &next.Kill} {
		was := map[string]civil.Date{"sow": c.Sow, "kill": c.Kill}[flag]
		text := given(flag, was.String())
		if flag == "kill" && (text == "none" || text == "") {
			continue
		}
		if *to, err = civil.Parse(text); err != nil {
			return diag.Usagef("write a date such as 2026-09-20", "--%s %q is not a date", flag, text)
		}
		if to.Year > a.Today().Year+coverYears {
			return diag.Usagef("correct the year", "--%s %s lies more than %d years ahead", flag, *to, coverYears)
		}
		if err := a.notLongAgo(ctx, "--"+flag, *to); err != nil {
			return err
		}
	}
	_, err = tx.AddCover(next, a.now)
	return err
}

// stillLed names the count that led to a record: the one that took its place
// when it was amended, "none" when it no longer counts.
func (a *App) stillLed(tx *store.Tx, visit int64) (string, error) {
	if visit == 0 {
		return becauseNone, nil
	}
	versions, err := tx.Versions(store.KindVisit, visit)
	if err != nil {
		return "", err
	}
	live, err := liveOf(tx, store.KindVisit, versions)
	if err != nil || live == 0 {
		return becauseNone, err
	}
	return strconv.FormatInt(live, 10), nil
}
