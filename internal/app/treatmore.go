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
	"leafturn/internal/store"
	"leafturn/internal/units"
)

// TreatMore are the words of `treat` on how and why.
type TreatMore struct {
	Method, Spray, Wind, Temp, Sky, Because, Lot, Licence string
}

// becauseDays is how old a count may be to be taken for the reason of what is
// recorded without --because. Common practice: two weekly rounds.
const becauseDays = 14

// becauseNone says with --because that no count led to what is recorded.
const becauseNone = "none"

// treatMore reads how an application was made. What is not given stays not
// known; it is never taken for calm or mild.
func (a *App) treatMore(t *farm.Treatment, o TreatMore, bad func(do, format string, args ...any)) {
	t.Method, t.Sky, t.Lot, t.Licence, t.Zone = strings.TrimSpace(o.Method), strings.TrimSpace(o.Sky), strings.TrimSpace(o.Lot), strings.TrimSpace(o.Licence), a.farm.TimeZone
	read := func(flag, text, do string, dim units.Dimension, low, high float64) *float64 {
		if text == "" {
			return nil
		}
		q, err := units.ParseAs(text, dim, "")
		if err != nil {
			bad(do, "--%s: %v", flag, err)
			return nil
		}
		v := q.Base()
		if !(v >= low && v <= high) {
			bad("check the number and its unit", "--%s %s cannot be", flag, text)
			return nil
		}
		return &v
	}
	if o.Spray != "" {
		const do = `write the water with the product in it on each bed, such as "20 L" or "5 US gal", or per area, such as "400 L/ha" or "3 US gal/1000 sq ft"`
		q, err := units.Parse(o.Spray)
		d := q.Unit.Dimension
		switch {
		case err != nil:
			bad(do, "--spray: %v", err)
		case d != units.Volume && d != units.VolPerArea:
			bad(do, "--spray %q is a %s", o.Spray, d)
		case q.Value <= 0:
			bad(do, "--spray %q is not above zero", o.Spray)
		case d == units.Volume && t.Amount.Unit.Dimension == units.Volume && t.Amount.Base() > q.Base():
			bad("give the spray with the product in it", "--spray %s is less than the product in it, %s", q, t.Amount)
		default:
			t.Spray = q
		}
	}
	t.WindMS = read("wind", o.Wind, `write it as "3 m/s", "10 km/h" or "6 mph"`, units.Speed, 0, 60)
	t.AirC = read("temp", o.Temp, "write it as 14C or 57F", units.Temperature, -60, 60)
}

// because finds the count that led to what was done against a pest. With word
// it is the visit of that number; else, bed by bed, the count that decides
// there on the day, unless it is older than becauseDays. The sentence says
// which it was.
func (a *App) because(ctx context.Context, s snapshot, word, pestKey string, day civil.Date) (func(farm.Bed) (int64, string, error), error) {
	pest, ok := a.cat.Pest(pestKey)
	if !ok {
		return nil, fmt.Errorf("the pest %q is not in the catalogue", pestKey)
	}
	if word == becauseNone {
		return func(farm.Bed) (int64, string, error) { return 0, "no count led to it, as it was said", nil }, nil
	}
	if word != "" {
		id, err := strconv.ParseInt(word, 10, 64)
		if err != nil || id <= 0 {
			return nil, diag.Usagef("give the visit's number, as `leafturn visits` shows it", "--because %q is not a record number", word)
		}
		var v farm.Visit
		var voided string
		err = a.st.View(ctx, func(tx *store.Tx) (err error) {
			if v, err = tx.Visit(id); err != nil {
				return err
			}
			voided, err = voidReason(tx, store.KindVisit, id)
			return err
		})
		const do = "see the numbers with `leafturn visits`"
		switch {
		case err != nil:
			return nil, err
		case voided != "":
			return nil, diag.Usagef(do, "--because %d: that count was voided: %s", id, voided)
		case v.Pest != pestKey:
			return nil, diag.Usagef(do, "--because %d is a count of %s, not of %s", id, a.pestName(v.Pest), pest.Name)
		case v.Date.After(day):
			return nil, diag.Usagef(do, "--because %d was counted on %s, after the day of the record", id, v.Date)
		}
		return func(farm.Bed) (int64, string, error) {
			return v.ID, fmt.Sprintf("because of visit %d (%s, %s)", v.ID, v.Bed, v.Date.Short()), nil
		}, nil
	}
	return func(b farm.Bed) (int64, string, error) {
		x, err := a.assessDeep(s, b, pest)
		if err != nil {
			return 0, "", err
		}
		if x.Decider == nil || day.Sub(x.Decider.Visit.Date) > becauseDays {
			return 0, fmt.Sprintf("no count of %s there in the %d days before led to it (--because names one)", pest.Name, becauseDays), nil
		}
		v := x.Decider.Visit
		return v.ID, fmt.Sprintf("because of visit %d (%s, %s), the latest count there", v.ID, v.Bed, v.Date.Short()), nil
	}, nil
}

// voidReason is why a record was voided, "" when it was not.
func voidReason(tx *store.Tx, kind store.Kind, id int64) (string, error) {
	records, err := tx.Records(kind, store.Filter{After: id - 1, IncludeVoided: true})
	for _, r := range records {
		if r.ID == id {
			return r.VoidReason, err
		}
	}
	return "", err
}

func (a *App) pestName(key string) string {
	if p, ok := a.cat.Pest(key); ok {
		return p.Name
	}
	return key
}

// breachWords says what an application broke, what could not be judged, and
// what to do next.
func (a *App) breachWords(b farm.Bed, found []label.Rule, after label.After) []string {
	var out, next, unread []string
	for _, r := range found {
		switch {
		case r.Code == label.CodeUnknown && r.Field != "":
			unread = append(unread, r.Field)
			continue
		case !r.OfLabel():
			out = append(out, fmt.Sprintf("%s: no breach of the label, but: %s", b.Code, r.Words))
			continue
		case r.Unknown:
			out = append(out, fmt.Sprintf("%s: cannot be judged: %s", b.Code, r.Words))
			continue
		}
		out = append(out, fmt.Sprintf("%s: this broke the label: %s: %s", b.Code, r.Code, r.Words))
		if n := label.Next(r.Code, after); !contains(next, n) {
			next = append(next, n)
		}
	}
	if len(unread) > 0 {
		out = append(out, fmt.Sprintf("%s: cannot be judged until these are read off the label (`leafturn label ask` says where they stand): %s", b.Code, strings.Join(unread, ", ")))
	}
	if len(next) > 0 {
		out = append(out, b.Code+": it is recorded as it happened. Now: "+strings.Join(next, "; "))
	}
	return out
}

// after is what is known of a bed after an application, with all that is
// recorded in s, the application among it.
func (a *App) after(b farm.Bed, t farm.Treatment, s snapshot) label.After {
	out := label.After{Bed: b.Code, Country: a.farm.Country, Loc: a.loc, Now: a.now}
	for _, o := range a.openings(s.treatments, s.versions, []farm.Bed{b}, a.now) {
		if o.Known {
			out.Opens = o.At
		}
		if o.HarvestKnown {
			out.CutFrom, out.CutOpen = o.HarvestFrom, o.HarvestFrom.IsZero()
		}
	}
	// The first day from today on that the label as it is now allows more.
	l := s.versions[t.ID]
	if i := slices.IndexFunc(s.labels, func(x farm.Label) bool { return x.Key == l.Key }); i >= 0 {
		l = s.labels[i]
	}
	req := a.labelRequest(s, b, l, t, s.treatments)
	req.Date, req.Organic = later(a.Today(), t.Date), false // when, not whether
	out.Again = label.Plan(req).Earliest
	return out
}

func later(x, y civil.Date) civil.Date {
	if x.After(y) {
		return x
	}
	return y
}

// openings says when beds are open again, each treatment by the version of
// the label that it was made under. A treatment that comes twice counts once.
func (a *App) openings(ts []farm.Treatment, versions map[int64]farm.Label, beds []farm.Bed, now time.Time) []label.Opening {
	labels, places := map[string]farm.Label{}, map[string]farm.Bed{}
	for _, b := range beds {
		places[b.Code] = b
	}
	seen := map[int64]bool{}
	var list []farm.Treatment
	for _, t := range ts {
		if _, ours := places[t.Bed]; !ours || seen[t.ID] {
			continue
		}
		seen[t.ID] = true
		t.Label = versionKey(t, versions)
		if l, ok := versions[t.ID]; ok {
			labels[t.Label] = l
		}
		list = append(list, t)
	}
	return label.Reentry(list, labels, places, a.loc, now)
}

func versionKey(t farm.Treatment, versions map[int64]farm.Label) string {
	if l, ok := versions[t.ID]; ok {
		return fmt.Sprintf("%s version %d", t.Label, l.Version)
	}
	return t.Label
}

// ReleaseMore are the words of `release` on who, where and why.
type ReleaseMore struct {
	Who, Part, At, Because string
}

// releaseMore reads them; the count that led to it is found bed by bed.
func (a *App) releaseMore(ctx context.Context, s snapshot, o ReleaseMore, pest string, day civil.Date) (farm.ReleaseMore, func(farm.Bed) (int64, string, error), []string, error) {
	m := farm.ReleaseMore{Who: strings.TrimSpace(o.Who), Part: strings.TrimSpace(o.Part)}
	var warnings []string
	if o.At != "" {
		at, warning, err := ingest.ParseClock(day.String()+" "+o.At, a.Today(), a.loc)
		if err != nil {
			return m, nil, nil, diag.Usagef("write the time of day as 18:30, on the farm's clock", "--at: %s", firstLine(err))
		}
		if at.After(a.now) {
			return m, nil, nil, diag.Usagef("record it when it is done", "--at %s lies in the future: it is %s on the farm", o.At, a.now.In(a.loc).Format("2006-01-02 15:04"))
		}
		if warning != "" {
			warnings = append(warnings, warning)
		}
		m.At = at
	}
	led, err := a.because(ctx, s, o.Because, pest, day)
	return m, led, warnings, err
}

// outcomeWords says what the grower's word on a step means for what may follow.
func outcomeWords(o farm.Outcome) string {
	switch o {
	case farm.Enough:
		return "\nit was enough, as you saw it; nothing further up the ladder is called for by it"
	case farm.NotEnough:
		return "\nit was not enough, as you saw it: that note is what 7 CFR 205.206(e) asks for before a product on an organic farm"
	}
	return ""
}
