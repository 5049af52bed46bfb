package label_test

import (
	"encoding/csv"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/label"
	"leafturn/internal/units"
)

// later lists the rows of label-rules.csv that this package cannot show, and
// where they are shown instead.
var later = map[string]string{
	"LR-084": "voiding is a row of the store: TestRecords_VoidedDoNotCount of internal/app voids one of three and finds 2 of 3 used, and all three in the history",
}

// TestRules runs every row of label-rules.csv; each row names its source
// there. A row that is neither run nor listed in later fails.
func TestRules(t *testing.T) {
	f, err := os.Open("../../testdata/reference/label-rules.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Equal(t, []string{"id", "statement", "example_input", "expected", "source", "url", "basis"}, rows[0])
	cases := map[string]func(*testing.T){}
	for _, m := range []map[string]func(*testing.T){timingRules, amountRules, entryRules, placeRules} {
		for id, c := range m {
			require.NotContains(t, cases, id, "two cases for one row")
			cases[id] = c
		}
	}
	seen := map[string]bool{}
	for _, row := range rows[1:] {
		id := row[0]
		seen[id] = true
		c, ok := cases[id]
		_, put := later[id]
		require.True(t, ok != put, "%s (%s) must be run or be in later, not both", id, row[1])
		if ok {
			t.Run(id, c)
		}
	}
	for id := range cases {
		require.True(t, seen[id], "%s is not a row of label-rules.csv", id)
	}
	require.GreaterOrEqual(t, len(cases), 84)
}

func every(n int) farm.Label {
	return with(func(l *farm.Label) { l.MinIntervalDays = farm.Value(n) })
}

var timingRules = map[string]func(*testing.T){
	"LR-001": func(t *testing.T) {
		r := ask(every(7), "2026-06-07")
		r.History = puts(r.Label, "2026-06-01")
		got := refused(t, label.Plan(r), label.CodeInterval, "2026-06-08")
		require.Equal(t, "Directions for Use", got.Where)
		require.Contains(t, got.Words, "1 day too early")
	},
	"LR-002": func(t *testing.T) {
		r := ask(every(7), "2026-06-08")
		r.History = puts(r.Label, "2026-06-01")
		d := label.Plan(r)
		allowed(t, d)
		require.Equal(t, "2026-06-08", d.Earliest.String())
	},
	"LR-003": func(t *testing.T) {
		r := ask(every(14), "2028-02-16")
		r.History = puts(r.Label, "2028-02-15")
		refused(t, label.Plan(r), label.CodeInterval, "2028-02-29")
	},
	"LR-004": func(t *testing.T) {
		for last, want := range map[string]string{"2028-02-20": "2028-03-05", "2027-02-20": "2027-03-06"} {
			r := ask(every(14), last)
			r.History = puts(r.Label, last)
			refused(t, label.Plan(r), label.CodeInterval, want)
		}
	},
	"LR-005": func(t *testing.T) {
		l := every(14)
		l.MaxApplications = farm.Value(5)
		r := ask(l, "2027-01-05")
		r.Season = label.Span{From: day("2027-01-01"), To: day("2027-12-31")}
		r.History = puts(l, "2026-12-28")
		d := label.Plan(r)
		refused(t, d, label.CodeInterval, "2027-01-11")
		require.Equal(t, 0, d.Used)
	},
	"LR-006": func(t *testing.T) {
		r := ask(every(7), "2026-03-12")
		last := put(r.Label, "2026-03-05")
		last.End = time.Date(2026, 3, 5, 8, 0, 0, 0, ny)
		r.History = []farm.Treatment{last}
		r.End = time.Date(2026, 3, 12, 8, 0, 0, 0, ny)
		require.Equal(t, 167*time.Hour, r.End.Sub(last.End))
		allowed(t, label.Plan(r))
	},
	"LR-007": func(t *testing.T) {
		l := every(14)
		l.ReapplyWhen = farm.Value("after heavy rain")
		r := ask(l, "2026-05-07")
		rain := 40.0
		r.Weather = &farm.WeatherDay{Date: day("2026-05-06"), RainMM: &rain}
		r.History = puts(l, "2026-05-01")
		d := label.Plan(r)
		refused(t, d, label.CodeInterval, "2026-05-15")
		require.Contains(t, d.Warnings[0], "after heavy rain")
	},
	"LR-008": func(t *testing.T) {
		l := with(func(l *farm.Label) {
			l.MinIntervalDays = farm.Stated[int]{}
			l.ReapplyByDays = farm.Value(14)
		})
		r := ask(l, "2026-05-08")
		r.History = puts(l, "2026-05-01")
		d := label.Plan(r)
		require.Equal(t, "minimum retreatment interval", refused(t, d, label.CodeUnknown, "").Field)
		require.Equal(t, "2026-05-15", d.Due.String())
	},
	"LR-009": func(t *testing.T) {
		l := with(func(l *farm.Label) { l.ReapplyByDays = farm.Value(14) })
		r := ask(l, "2026-05-08")
		r.History = puts(l, "2026-05-01")
		d := label.Plan(r)
		allowed(t, d)
		require.Contains(t, d.Warnings[0], "states no minimum interval")
		require.Contains(t, d.Warnings[0], "eaten")
	},
	"LR-010": func(t *testing.T) {
		l := with(func(l *farm.Label) { l.MaxApplications = farm.Value(4) })
		r := ask(l, "2026-06-02")
		r.History = puts(l, "2026-06-01", "2026-06-01")
		d := label.Plan(r)
		require.Equal(t, []int{2, 2}, []int{d.Used, d.Remaining})
	},
	"LR-011": func(t *testing.T) {
		r := ask(every(1), "2026-06-01")
		r.History = puts(r.Label, "2026-06-01")
		r.History[0].End = time.Date(2026, 6, 1, 6, 0, 0, 0, ny)
		r.End = time.Date(2026, 6, 1, 19, 0, 0, 0, ny)
		refused(t, label.Plan(r), label.CodeInterval, "2026-06-02")
	},
	"LR-012": func(t *testing.T) {
		end := time.Date(2026, 7, 1, 1, 0, 0, 0, ny)
		r := ask(every(7), "2026-07-02")
		r.History = []farm.Treatment{{Bed: "B3", Label: "ironbait", Date: civil.DateIn(end, ny), Start: end.Add(-3 * time.Hour), End: end, EndKnown: true}}
		refused(t, label.Plan(r), label.CodeInterval, "2026-07-08")

		r.History = nil // and a proposed one is dated by its end as well
		r.Start, r.End, r.Date = end.Add(-3*time.Hour), end, day("2026-06-30")
		require.Equal(t, "2026-07-01", label.Plan(r).Earliest.String())
	},
	"LR-013": func(t *testing.T) {
		l := with(func(l *farm.Label) { l.MaxApplications = farm.Value(1) })
		r := ask(l, "2026-01-01")
		r.Season = label.Span{From: day("2026-01-01"), To: day("2026-06-30")}
		r.End = at("2026-07-01T02:00:00Z")
		d := label.Plan(r)
		allowed(t, d)
		require.Equal(t, "2026-06-30", d.Earliest.String())
		r.Loc = time.UTC
		require.True(t, label.Plan(r).Has(label.CodeSeason))
	},
	"LR-014": func(t *testing.T) {
		l := with(func(l *farm.Label) { l.MaxApplications = farm.Value(3) })
		r := ask(l, "2026-06-15")
		r.History = puts(l, "2026-04-10", "2026-05-01", "2026-05-20")
		require.Contains(t, refused(t, label.Plan(r), label.CodeMaxCount, "").Words, "3 of 3")
	},
	"LR-015": func(t *testing.T) {
		l := with(func(l *farm.Label) { l.MaxInWindow = farm.Value(farm.Window{Count: 3, Days: 30}) })
		r := ask(l, "2026-06-02")
		r.History = puts(l, "2026-05-04", "2026-05-14", "2026-05-24")
		refused(t, label.Plan(r), label.CodeWindow, "2026-06-03")
		r.Date = day("2026-06-03")
		allowed(t, label.Plan(r))
	},
	"LR-016": func(t *testing.T) {
		l := with(func(l *farm.Label) { l.MaxApplications, l.MaxPer = farm.Value(2), farm.PerYear })
		r := ask(l, "2027-01-15")
		r.History = puts(l, "2026-09-10", "2026-11-20")
		refused(t, label.Plan(r), label.CodeMaxYear, "2027-09-10")
		r.Date = day("2026-12-01") // within the calendar year both are full, and the first one is told
		require.True(t, label.Plan(r).Has(label.CodeMaxCount))
	},
	"LR-017": func(t *testing.T) {
		l := every(7)
		l.MaxApplications, l.MaxPer = farm.Value(2), farm.PerCropCycle
		r := ask(l, "2026-06-14")
		r.CycleStart = day("2026-06-12")
		r.History = puts(l, "2026-05-01", "2026-06-10")
		d := label.Plan(r)
		refused(t, d, label.CodeInterval, "2026-06-17")
		require.Equal(t, []int{0, 2}, []int{d.Used, d.Max})
	},
	"LR-021": func(t *testing.T) {
		r := ask(every(14), "2026-06-05")
		r.History = puts(r.Label, "2026-06-01")
		r.History[0].Part = "east half"
		r.Part, r.AreaM2 = "west half", bed.AreaM2()/2
		allowed(t, label.Plan(r))
		r.Part, r.AreaM2 = "", 0
		refused(t, label.Plan(r), label.CodeInterval, "2026-06-15")
	},
	"LR-022": func(t *testing.T) {
		r := ask(every(14), "2026-06-05")
		r.History = puts(r.Label, "2026-06-01")
		r.History[0].Part = "half the bed"
		r.Part, r.AreaM2 = "west half", bed.AreaM2()/2
		require.Contains(t, refused(t, label.Plan(r), label.CodeInterval, "2026-06-15").Words, "which half")
	},
	"LR-053": func(t *testing.T) {
		r := ask(every(14), "2026-06-14")
		r.FarmMinDays = 7
		r.History = puts(r.Label, "2026-06-01")
		refused(t, label.Plan(r), label.CodeInterval, "2026-06-15")
	},
	"LR-054": func(t *testing.T) {
		r := ask(every(7), "2026-06-08")
		r.FarmMinDays = 10
		r.History = puts(r.Label, "2026-06-01")
		refused(t, label.Plan(r), label.CodeFarmInterval, "2026-06-11")
	},
	"LR-055": func(t *testing.T) {
		require.Contains(t, rotation("5", "5", "2026-06-15", "2026-06-01", "2026-07-01", "2026-07-05"), "rotate the mode of action: group 5")
	},
	"LR-056": func(t *testing.T) {
		require.Empty(t, rotation("5", "5", "2026-06-01", "2026-06-01", "2026-07-01", "2026-06-08"))
	},
	"LR-057": func(t *testing.T) {
		require.Contains(t, rotation("4A", "4C", "2026-06-15", "2026-06-01", "2026-07-01", "2026-07-05"), "group 4 ")
	},
	"LR-058": func(t *testing.T) {
		require.Empty(t, rotation("UN", "UN", "2026-06-15", "2026-06-01", "2026-07-01", "2026-07-05"))
		require.Empty(t, rotation("", "", "2026-06-15", "2026-06-01", "2026-07-01", "2026-07-05"))
	},
	"LR-059": func(t *testing.T) {
		require.Contains(t, rotation("5", "5", "2026-06-15", "", "", "2026-07-05"), "30-day window")
		require.Empty(t, rotation("5", "5", "2026-06-15", "", "", "2026-07-16")) // 31 days
	},
	"LR-069": func(t *testing.T) {
		sulfur, oil := spray("sulfur", "sulfur"), spray("oil", "mineral oil")
		sulfur.KeepApart = []farm.Apart{{Active: "mineral oil", Days: 14}}
		oil.KeepApart = []farm.Apart{{Active: "sulfur", Days: 30}}
		for _, pair := range [][2]farm.Label{{sulfur, oil}, {oil, sulfur}} { // both directions
			r := ask(pair[1], "2026-07-20")
			r.Labels = map[string]farm.Label{pair[0].Key: pair[0]}
			r.History = puts(pair[0], "2026-07-01")
			refused(t, label.Plan(r), label.CodeApart, "2026-07-31")
		}
	},
	"LR-070": func(t *testing.T) {
		sulfur, oil := spray("sulfur", "sulfur"), spray("oil", "mineral oil")
		r := ask(oil, "2026-07-16")
		r.Labels = map[string]farm.Label{"sulfur": sulfur}
		r.Apart = []label.Apart{{A: "sulfur", B: "mineral oil", Days: 30, Source: "Rutgers Plant & Pest Advisory"}}
		r.History = puts(sulfur, "2026-07-01")
		require.Contains(t, refused(t, label.Plan(r), label.CodeApart, "2026-07-31").Words, "the label governs")
	},
	"LR-083": func(t *testing.T) {
		l := every(7)
		r := ask(l, "2026-06-05")
		r.History = puts(l, "2026-06-01", "2026-06-05")
		broke, unjudged := label.Breaches(r.History[1], r)
		require.Len(t, broke, 1)
		require.Contains(t, broke[0], "3 days too early")
		require.Empty(t, unjudged)
		refused(t, label.Plan(r), label.CodeInterval, "2026-06-12")
	},
	"LR-085": func(t *testing.T) {
		r := ask(every(7), "2026-06-01")
		allowed(t, label.Plan(r))
		r.History = puts(r.Label, "2026-06-01") // the first plan
		r.Date = day("2026-06-05")
		refused(t, label.Plan(r), label.CodeInterval, "2026-06-08")
		r.History = puts(r.Label, "2026-06-05") // and a plan looks forward too
		r.Date = day("2026-06-01")
		refused(t, label.Plan(r), label.CodeInterval, "2026-06-12")
	},
}

// rotation returns the first warning of a proposed group after a used one.
func rotation(used, proposed, on, gen1, gen2, date string) string {
	group := func(key, code string) farm.Label {
		l := spray(key, "active of "+key)
		if code != "" {
			l.Actives[0].Group = farm.Value(code)
		}
		return l
	}
	a, b := group("a", used), group("b", proposed)
	r := ask(b, date)
	r.Labels = map[string]farm.Label{"a": a}
	r.History = puts(a, on)
	if gen1 != "" {
		r.Generations = []civil.Date{day(gen1), day(gen2)}
	}
	if d := label.Plan(r); len(d.Warnings) > 0 {
		return d.Warnings[0]
	}
	return ""
}

// 1 lb/acre and 1 lb/1000 sq ft in metric: NIST SP 811, appendix B.
var amountRules = map[string]func(*testing.T){
	"LR-018": func(t *testing.T) {
		l := with(func(l *farm.Label) { l.MaxAmount = farm.Value(units.Of(2, "lb/1000 sq ft")) })
		r := ask(l, "2026-06-15")
		r.History = puts(l, "2026-04-01", "2026-05-01")
		for i := range r.History { // 0.75 lb per 1000 sq ft on 120 sq ft is 0.09 lb
			r.History[i].Amount, r.History[i].AreaM2 = units.Of(0.09, "lb"), units.Of(120, "sq ft").Base()
		}
		r.Amount = units.Of(0.75, "lb/1000 sq ft")
		d := label.Plan(r)
		refused(t, d, label.CodeMaxAmount, "")
		require.InDelta(t, 0.5, d.LeftAmount.MustIn("lb/1000 sq ft"), 1e-12)
		require.InDelta(t, 1.5, d.UsedAmount.MustIn("lb/1000 sq ft"), 1e-12)
		require.Equal(t, units.Of(27.2, "g"), d.AmountMax) // 0.5 x 0.12 lb = 27.2155 g
		r.Amount = units.Of(0.5, "lb/1000 sq ft")          // exactly what is left
		allowed(t, label.Plan(r))
	},
	"LR-019": func(t *testing.T) {
		d := sharedActive(10)
		allowed(t, d)
		require.InDelta(t, 10, d.AmountMax.MustIn("lb"), 1e-3) // on one acre
	},
	"LR-020": func(t *testing.T) {
		words := refused(t, sharedActive(11), label.CodeMaxActive, "").Words
		require.Contains(t, words, "in all 0.53 of at most 0.5 lb/acre")
		require.Contains(t, words, "left is 10 lb/acre")
	},
	"LR-023": func(t *testing.T) {
		q := units.Of(1, "lb/1000 sq ft")
		require.InDelta(t, 43.56, q.MustIn("lb/acre"), 1e-12)
		require.InDelta(t, 48.8242763638, q.MustIn("kg/ha"), 5e-11)
		require.InDelta(t, 4.88242763638, q.MustIn("g/m2"), 5e-12)
	},
	"LR-024": func(t *testing.T) {
		require.InDelta(t, 1.12085115619, units.Of(1, "lb/acre").MustIn("kg/ha"), 5e-12)
	},
	"LR-025": func(t *testing.T) {
		q := units.Of(1, "US fl oz/US gal")
		require.InDelta(t, 7.8125, q.MustIn("mL/L"), 1e-13)
		require.InDelta(t, 0.78125, q.MustIn("% v/v"), 1e-14)
	},
	"LR-026": func(t *testing.T) {
		r := ask(bait(), "2026-06-01")
		r.Amount = units.Of(60, "g")
		words := refused(t, label.Plan(r), label.CodeRate, "2026-06-01").Words
		require.Contains(t, words, "at most 54.4 g at 1 lb/1000 ft2")
		r.Units = units.US // 0.12 lb are 1.92 oz
		require.Contains(t, refused(t, label.Plan(r), label.CodeRate, "2026-06-01").Words, "60 g is more than the label allows on 120 sq ft: at most 1.92 oz wt")
		q, err := label.Amount(bed.AreaM2(), r.Label.RateMax.Value, units.Quantity{})
		require.NoError(t, err)
		require.InDelta(t, 54.4310844, q.MustIn("g"), 1e-7)
		r.Amount = units.Of(54.4310844, "g")
		allowed(t, label.Plan(r))
	},
	"LR-027": func(t *testing.T) {
		l := with(func(l *farm.Label) { l.RateMin = farm.Value(units.Of(0.5, "lb/1000 sq ft")) })
		r := ask(l, "2026-06-01")
		r.Amount = units.Of(0.4, "lb/1000 sq ft")
		d := label.Plan(r)
		allowed(t, d)
		require.Contains(t, d.Warnings[0], "below minimum")
		r.Amount = units.Of(0.5, "lb/1000 sq ft")
		require.Empty(t, label.Plan(r).Warnings)
	},
	"LR-028": func(t *testing.T) {
		require.Equal(t, units.Of(54.4, "g"), label.Plan(ask(bait(), "2026-06-01")).AmountMax)
		require.Equal(t, 54.4, units.FloorTo(54.4310844, 1))
		require.Equal(t, 54.4, units.FloorTo(54.49, 1))
	},
	"LR-029": func(t *testing.T) {
		_, err := units.Parse("4 oz per 1000 sq ft")
		require.ErrorIs(t, err, units.ErrAmbiguous)
		require.ErrorContains(t, err, "oz wt")
		require.ErrorContains(t, err, "fl oz")
	},
	"LR-030": func(t *testing.T) {
		_, err := units.Parse("2 fl oz/gal")
		require.ErrorIs(t, err, units.ErrAmbiguous)
		_, err = units.Lookup("gal")
		require.ErrorContains(t, err, `"US gal" or "imp gal"`)
	},
	"LR-031": func(t *testing.T) {
		rate := units.Of(1, "lb/100 US gal")
		require.InDelta(t, 1.19826427317, rate.MustIn("g/L"), 5e-12)
		r := ask(with(func(l *farm.Label) { l.RateMax = farm.Value(rate) }), "2026-06-01")
		require.Equal(t, "spray volume", refused(t, label.Plan(r), label.CodeUnknown, "").Field)
		r.SprayVolume = units.Of(1, "L/m2")
		d := label.Plan(r)
		allowed(t, d)
		require.Equal(t, units.Of(13.3, "g"), d.AmountMax) // 1.19826 g/L x 11.148 m2
	},
}

// sharedActive is the case of LR-019 on a bed of one acre: product A, 1 % of
// X, once at 20 lb/acre; product B, 3 % of X, proposed.
func sharedActive(rate float64) label.Decision {
	most := farm.Value(units.Of(0.5, "lb/acre"))
	a, b := spray("a", "X"), spray("b", "X")
	a.Actives[0].Percent, a.Actives[0].Max = 1, most
	b.Actives[0].Percent, b.Actives[0].Max = 3, most
	a.RateMax, b.RateMax = farm.Value(units.Of(40, "lb/acre")), farm.Value(units.Of(40, "lb/acre"))
	r := ask(b, "2026-06-15")
	r.Bed.LengthM, r.Bed.WidthM = units.Of(1, "acre").Base(), 1
	r.Labels = map[string]farm.Label{"a": a}
	r.History = puts(a, "2026-05-01")
	r.History[0].Amount, r.History[0].AreaM2 = units.Of(20, "lb"), r.Bed.AreaM2()
	r.Amount = units.Of(rate, "lb/acre")
	return label.Plan(r)
}
