package app_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/record"
	"leafturn/internal/store"
)

// baitFarm is a farm with two beds of 12 m² and a bait that may go on each
// three times a year.
func baitFarm(t *testing.T, path string) *app.App {
	t.Helper()
	a := newFarm(t, path, summer, app.FarmOptions{Country: p("US")})
	for _, code := range []string{"A1", "A2"} {
		_, err := a.AddBed(ctx, app.BedOptions{Code: code, Size: "12 m x 1 m", Site: "outdoor", Water: "50 m", Animals: "none"})
		require.NoError(t, err)
	}
	l := strings.Replace(exampleLabel(t), `max_applications = "6"`, `max_applications = "3"`, -1)
	l = strings.Replace(l, `max_in_window = "3 in 30 days"`, `max_in_window = "none stated"`, -1)
	l = strings.Replace(l, `rate_min = "10 kg/ha"`, `rate_min = "none stated"`, -1)
	l = strings.Replace(l, "ppe = \"\"", `ppe = "gloves"`, -1)
	_, err := a.AddLabel(ctx, strings.NewReader(l), "bait.toml", civil.MustParse("2026-03-01"), false)
	require.NoError(t, err)
	return a
}

func treat(t *testing.T, a *app.App, bed, end string, more app.TreatMore) app.Said {
	t.Helper()
	said, err := a.Treat(ctx, app.TreatOptions{Label: "bait", Beds: []string{bed}, Pest: "slug", Amount: "25 g", End: end, TreatMore: more})
	require.NoError(t, err)
	return said
}

func records(t *testing.T, a *app.App, o app.RecordOptions) app.RecordsData {
	t.Helper()
	doc, err := a.Records(ctx, o)
	require.NoError(t, err)
	return doc.Data.(app.RecordsData)
}

// LR-084 of label-rules.csv: three applications under a maximum of 3, one
// voided with a reason: 2 of 3 are used, and the history keeps all three. The
// next one is within the label, and the one after it is not.
func TestRecords_VoidedDoNotCount(t *testing.T) {
	a := baitFarm(t, testPath(t))
	for _, end := range []string{"2026-05-01 20:00", "2026-05-11 20:00", "2026-05-21 20:00"} {
		require.Empty(t, treat(t, a, "A1", end, app.TreatMore{}).Warnings)
	}
	used := func() string {
		d := records(t, a, app.RecordOptions{}).Allowances
		require.Len(t, d, 1)
		return fmt.Sprintf("%d of %d", d[0].Used, d[0].Max)
	}
	require.Equal(t, "3 of 3", used())
	_, err := a.Void(ctx, "treatment", "2", "it was the other bed")
	require.NoError(t, err)
	require.Equal(t, "2 of 3", used())
	all := records(t, a, app.RecordOptions{}).Applications
	require.Len(t, all, 3)
	for _, x := range all {
		require.Equal(t, x.ID == 2, x.VoidReason == "it was the other bed")
	}
	require.Empty(t, treat(t, a, "A1", "2026-06-01 20:00", app.TreatMore{}).Warnings)
	require.Equal(t, "3 of 3", used())
	require.Contains(t, strings.Join(treat(t, a, "A1", "2026-06-11 20:00", app.TreatMore{}).Warnings, "\n"), "maximum applications")
}

// A record of an earlier day that is entered later makes one that stood before
// break its label; voiding it puts that right, and what was told at entry stays.
func TestRecords_JudgedAgain(t *testing.T) {
	a := baitFarm(t, testPath(t))
	require.Empty(t, treat(t, a, "A1", "2026-07-12 20:00", app.TreatMore{}).Warnings)
	seen := func() string {
		var out []string
		for _, x := range records(t, a, app.RecordOptions{}).Applications {
			for _, d := range x.Deviations {
				require.NotEmpty(t, d.Next)
				out = append(out, fmt.Sprintf("%d %s %s", x.ID, d.Code, d.Seen))
			}
		}
		return strings.Join(out, ", ")
	}
	require.Empty(t, seen())
	treat(t, a, "A1", "2026-07-08 20:00", app.TreatMore{})
	require.Equal(t, "1 shortest interval since", seen())
	treat(t, a, "A1", "2026-07-14 20:00", app.TreatMore{})
	require.Equal(t, "1 shortest interval since, 3 shortest interval as entered", seen())
	for _, id := range []string{"1", "2"} {
		_, err := a.Void(ctx, "treatment", id, "wrong bed")
		require.NoError(t, err)
	}
	require.Equal(t, "3 shortest interval as entered, not now", seen(), "what was told is never hidden")
}

// Every stored application, voided or not, stands in the record once, and the
// table reads back by encoding/csv to the values of the page.
func TestRecords_EachOnce(t *testing.T) {
	path := testPath(t)
	a := baitFarm(t, path)
	r := rand.New(rand.NewPCG(4, 84))
	texts := []string{"", "plain", "=1+1", "+x", "-y", "@z", "\ttab", "comma, \"quote\"", "two\nlines", "'=q", "é ü 雨", "-3", "a;b"}
	text := func() string { return texts[r.IntN(len(texts))] }
	const n = 40
	voided := map[int64]string{}
	for i := range n {
		bed := []string{"A1", "A2"}[r.IntN(2)]
		end := civil.MustParse("2026-04-01").AddDays(r.IntN(110)).String() + fmt.Sprintf(" %02d:%02d", i%24, r.IntN(60))
		o := app.TreatOptions{Label: "bait", Beds: []string{bed}, Pest: "slug", Amount: fmt.Sprintf("%d.5 g", 1+r.IntN(60)), End: end, Who: text(), Reason: text(), Note: text(),
			TreatMore: app.TreatMore{Method: text(), Sky: text(), Lot: text(), Licence: text()}}
		if r.IntN(2) == 0 {
			o.Wind, o.Temp = "0 m/s", "-3C"
		}
		_, err := a.Treat(ctx, o)
		require.NoError(t, err)
		if id := int64(i + 1); r.IntN(4) == 0 {
			voided[id] = "reason " + strconv.Itoa(i)
			_, err := a.Void(ctx, "treatment", strconv.Itoa(i+1), voided[id])
			require.NoError(t, err)
		}
	}
	doc, err := a.Records(ctx, app.RecordOptions{})
	require.NoError(t, err)
	data := doc.Data.(app.RecordsData).Applications
	require.Len(t, data, n)
	require.NotEmpty(t, voided)
	raw, err := app.RecordsCSV(doc, "")
	require.NoError(t, err)
	require.NotContains(t, strings.ReplaceAll(string(raw), "\r\n", ""), "\r")
	rows, err := csv.NewReader(bytes.NewReader(raw)).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, n+1)
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	seen := map[int64]bool{}
	for i, x := range data {
		require.False(t, seen[x.ID])
		seen[x.ID] = true
		require.Equal(t, voided[x.ID], x.VoidReason)
		get := func(name string) string { return record.Plain(rows[i+1][column[name]]) }
		require.Equal(t, strconv.FormatInt(x.ID, 10), get("id"))
		for name, want := range map[string]string{
			"applicator": x.Applicator, "reason": x.Reason, "note": x.Note, "method": x.Method, "conditions": x.Conditions, "lot": x.Lot,
			"licence": x.Licence, "bed": x.Bed, "end": x.End, "void_reason": x.VoidReason, "zone": x.Zone, "product": x.Product, "date": x.Date.String(),
		} {
			require.Equal(t, want, get(name), name)
		}
		amount, err := strconv.ParseFloat(get("amount"), 64)
		require.NoError(t, err)
		require.Equal(t, *x.Amount, amount)
		// Not measured is a blank, calm is a zero.
		if x.WindMS == nil {
			require.Empty(t, get("wind_ms"))
			require.Empty(t, get("air_c"))
		} else {
			require.Equal(t, "0", get("wind_ms"))
			require.Equal(t, "-3", get("air_c"))
		}
		end, err := time.Parse(time.RFC3339, x.End)
		require.NoError(t, err)
		require.Equal(t, civil.DateIn(end, time.UTC), x.Date)
	}
	// The store agrees on how many there are.
	st, err := store.Open(ctx, path)
	require.NoError(t, err)
	defer st.Close()
	require.NoError(t, st.View(ctx, func(tx *store.Tx) error {
		all, err := tx.Treatments(store.Filter{IncludeVoided: true})
		require.Len(t, all, n)
		return err
	}))
}

// A later copy of a label changes nothing of what was done under an earlier
// one: the whole record stays as it was, and so does the copy that it names.
func TestRecords_KeepTheirLabel(t *testing.T) {
	a := baitFarm(t, testPath(t))
	treat(t, a, "A1", "2026-06-01 10:00", app.TreatMore{})
	before := records(t, a, app.RecordOptions{}).Applications
	shown, err := a.ShowLabel(ctx, a.Today(), "bait", "1")
	require.NoError(t, err)
	_, err = a.SetLabel(ctx, "bait", []string{"rei=48 hours", "phi=9 days", "rate_max=20 kg/ha", "registration=X", "max_applications=1", "max_in_window=none stated", "active.percent=9", "product=Other", "expiry=2026-05-01"}, a.Today(), false)
	require.NoError(t, err)
	require.Equal(t, before, records(t, a, app.RecordOptions{}).Applications)
	_, err = a.RetireLabel(ctx, "bait", "used up", a.Today())
	require.NoError(t, err)
	require.Equal(t, before, records(t, a, app.RecordOptions{}).Applications)
	again, err := a.ShowLabel(ctx, a.Today(), "bait", "1")
	require.NoError(t, err)
	require.Equal(t, shown.Data, again.Data)
}

// That the product had expired is said before that the copy of its label is
// younger than the treatment.
func TestTreat_ExpiredIsSaidFirst(t *testing.T) {
	a := baitFarm(t, testPath(t))
	said, err := a.SetLabel(ctx, "late", []string{"product=Late (invented)", "expiry=2026-05-01"}, a.Today(), false)
	require.NoError(t, err)
	require.Contains(t, said.Warnings[0], "the product expired on 2026-05-01")
	options := app.TreatOptions{Label: "late", Beds: []string{"A1"}, Pest: "slug", Amount: "25 g", End: "2026-06-01 10:00"}
	_, err = a.Treat(ctx, options)
	require.ErrorContains(t, err, "expired on 2026-05-01")
	options.End = "2026-04-30 10:00"
	_, err = a.Treat(ctx, options)
	require.ErrorContains(t, err, "before the day on which the label late was transcribed")
}
