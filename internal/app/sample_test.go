package app_test

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/render"
	"leafturn/internal/report"
	"leafturn/internal/units"
)

// planned calls f for every pest and unit that a plan can be made for at the
// stage of the farm's beds.
func planned(t *testing.T, a *app.App, f func(pest string, u catalog.Protocol, d app.SampleData)) {
	t.Helper()
	cat, err := catalog.Load(units.Metric)
	require.NoError(t, err)
	n := 0
	for _, pest := range cat.Pests() {
		for _, u := range cat.Protocols(pest.Key) {
			doc, err := a.Sample(ctx, app.SampleOptions{Date: a.Today(), Pest: pest.Key, Unit: u.Unit})
			var refused *diag.Problem
			if errors.As(err, &refused) {
				require.NotEmpty(t, refused.Do, refused.What)
				continue // no level at the stage, or every plant is walked
			}
			require.NoError(t, err)
			n++
			f(pest.Key, u, doc.Data.(app.SampleData))
		}
	}
	require.Greater(t, n, 12, "plans there are")
}

// A plan that says stop never meets "too few units": at every pest and unit,
// counts are drawn around the action level one by one until the plan stops,
// and the visit that is then stored is judged, with no visit before it.
func TestSample_StopsWhenThereIsAVerdict(t *testing.T) {
	const rounds = 4
	a := newFarm(t, testPath(t), summer, app.FarmOptions{LastFrost: p("04-25")})
	var beds []string
	for i := range 5 * rounds {
		code := fmt.Sprintf("A%d", i+1)
		_, err := a.AddBed(ctx, app.BedOptions{Code: code, Size: "25 m x 1.2 m", Plants: "100", Site: "outdoor"})
		require.NoError(t, err)
		beds = append(beds, code)
	}
	_, err := a.Stage(ctx, civil.MustParse("2026-07-01"), "budding", beds, "")
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(3, 20))
	used := map[string]int{}
	stops, differs, early := map[string]int{}, 0, 0
	planned(t, a, func(pest string, u catalog.Protocol, d app.SampleData) {
		require.GreaterOrEqual(t, d.Least, u.MinUnits)
		for range rounds {
			bed := beds[used[pest]]
			used[pest]++
			level := d.Threshold
			if u.PerNights > 0 {
				level *= float64(max(u.Nights, 1)) / float64(u.PerNights)
			}
			factor := math.Exp(r.NormFloat64())
			infested, counts := 0, []string{}
			words := func() []string {
				if u.Presence {
					return []string{fmt.Sprintf("%d/%d", infested, len(counts))}
				}
				return counts
			}
			for n := 1; ; n++ {
				// Negative binomial with k = 1 by a geometric count.
				x := int(math.Log(r.Float64()) / -math.Log1p(1/(factor*level)))
				if u.Presence {
					x = 0
					if r.Float64() < factor*level/100 {
						x = 1
					}
					infested += x
				}
				counts = append(counts, strconv.Itoa(x))
				if n < d.Least-1 && n%7 > 0 {
					continue
				}
				doc, err := a.Sample(ctx, app.SampleOptions{Date: a.Today(), Pest: pest, Bed: bed, Unit: u.Unit, SoFar: words()})
				require.NoError(t, err, "%s %v", pest, words())
				adv := doc.Data.(app.SampleData).Advice
				require.Equal(t, n, adv.Units)
				if adv.Stop == "go on" {
					if said := adv.Verdict; n < u.MinUnits {
						require.Empty(t, said)
					} else if said == "act" || said == "hold" {
						early++
						require.Contains(t, flat(t, doc), "they would already make the week's verdict on "+bed+": "+said)
					} else {
						require.Equal(t, "look again", said)
					}
					require.Less(t, n, d.Most, "at the most units it is decided")
					continue
				}
				stops[adv.Stop]++
				_, err = a.CountWords(ctx, append([]string{bed, pest, "unit=" + u.Unit}, words()...), app.CountOptions{Date: a.Today()})
				require.NoError(t, err)
				why, err := a.WhyBed(ctx, a.Today(), bed, pest)
				require.NoError(t, err)
				v := why.Data.(app.Verdict)
				require.Equal(t, n, v.Units)
				require.NotContains(t, strings.Join(v.Reasons, "; "), "not enough to judge", "%s %v", pest, words())
				require.Equal(t, v.Verdict, adv.Verdict, "what it said the verdict would be, %s %v", pest, words())
				if v.Verdict != adv.Stop {
					differs++
					require.Regexp(t, "the verdict decides, and it differs from the plan's lines|the lines would stop here, but|The lines would stop here, but", flat(t, doc))
				}
				break
			}
		}
	})
	require.Greater(t, stops["act"], 10)
	require.Greater(t, stops["hold"], 10)
	require.Positive(t, differs)
	require.Positive(t, early)
	t.Logf("stops: %v; the verdict said otherwise %d times, and %d times before the plan", stops, differs, early)
}

// page renders a document as text.
func page(t *testing.T, doc *report.Document) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, render.Text(&b, *doc, render.Options{Width: 88}))
	return b.String()
}

// flat is the same on one line.
func flat(t *testing.T, doc *report.Document) string {
	t.Helper()
	return strings.Join(strings.Fields(page(t, doc)), " ")
}

// In the printed tables a lower line below 0 is "go on", never a hold, the
// last row decides, and there is a page of rows at most.
func TestSample_PrintedLines(t *testing.T) {
	a := busyFarm(t)
	negative := map[string]int{}
	planned(t, a, func(pest string, u catalog.Protocol, _ app.SampleData) {
		for _, method := range []string{"tuned", "wald", "iwao"} {
			for _, most := range []string{"", "200"} {
				o := app.SampleOptions{Date: a.Today(), Pest: pest, Unit: u.Unit, Method: method, Most: most}
				doc, err := a.Sample(ctx, o)
				var refused *diag.Problem
				if errors.As(err, &refused) && most != "" {
					continue // totals too large to carry
				}
				require.NoError(t, err)
				d := doc.Data.(app.SampleData)
				text := page(t, doc)
				require.Equal(t, method, d.Method)
				require.NotRegexp(t, `(?m)^ +\d+ +-\d`, text, "a negative total")
				byUnits := map[int]app.SampleLine{}
				for i, l := range d.Lines {
					byUnits[l.Units] = l
					require.Equal(t, d.Lines[0].Units+i, l.Units)
				}
				require.Equal(t, d.Least, d.Lines[0].Units)
				table := doc.Sections[0].Table
				require.LessOrEqual(t, len(table.Rows), 40)
				for _, row := range table.Rows {
					l := byUnits[row[0].Int()]
					if l.HoldAt != nil {
						require.GreaterOrEqual(t, *l.HoldAt, 0)
						require.Equal(t, *l.HoldAt, row[1].Int())
						continue
					}
					require.Equal(t, "go on", row[1].Words())
					negative[method]++
					// Nothing found on so many units goes on.
					if most == "" && !u.Presence {
						o.SoFar = []string{fmt.Sprintf("%d*0", l.Units)}
						doc, err := a.Sample(ctx, o)
						require.NoError(t, err)
						require.Equal(t, "go on", doc.Data.(app.SampleData).Advice.Stop)
						require.Contains(t, flat(t, doc), "Go on.")
					}
				}
				last := d.Lines[len(d.Lines)-1]
				require.Equal(t, *last.HoldAt+1, *last.ActAt)
				row := table.Rows[len(table.Rows)-1]
				require.Equal(t, []int{last.Units, *last.HoldAt, *last.ActAt}, []int{row[0].Int(), row[1].Int(), row[2].Int()})
				require.Contains(t, text, fmt.Sprint(last.Units))
			}
		}
	})
	for _, m := range []string{"wald", "iwao"} {
		require.Positive(t, negative[m], "%s has lines below 0", m)
	}
}

func line(at *int) string {
	if at == nil {
		return "go on"
	}
	return strconv.Itoa(*at)
}

func inCell(v report.Value) string {
	if w := v.Words(); w != "" {
		return w
	}
	return strconv.Itoa(v.Int())
}

// What stands between the printed rows is the row above, at every unit.
func TestSample_RowsHoldUntilTheNext(t *testing.T) {
	a := busyFarm(t)
	doc, err := a.Sample(ctx, app.SampleOptions{Date: a.Today(), Pest: "aphid"})
	require.NoError(t, err)
	d := doc.Data.(app.SampleData)
	rows := doc.Sections[0].Table.Rows
	require.Less(t, len(rows), len(d.Lines))
	row := 0
	for _, l := range d.Lines {
		for row+1 < len(rows) && rows[row+1][0].Int() <= l.Units {
			row++
		}
		require.Equal(t, []string{line(l.HoldAt), line(l.ActAt)}, []string{inCell(rows[row][1]), inCell(rows[row][2])}, "after %d", l.Units)
	}
	require.Contains(t, flat(t, doc), "A row holds until the next one.")
}

// The curve has the exact figures that the grower is told, and Wald's beside.
func TestSample_Curve(t *testing.T) {
	a := busyFarm(t)
	for _, method := range []string{"", "wald", "iwao"} {
		doc, err := a.Sample(ctx, app.SampleOptions{Date: a.Today(), Pest: "slug", Method: method, Curve: true})
		require.NoError(t, err)
		d := doc.Data.(app.SampleData)
		require.Len(t, d.Curve, 31)
		require.InDelta(t, 3*d.Threshold, d.Curve[30].Level, 1e-9)
		for i, at := range map[int]float64{5: d.ActNeedless, 15: 1 - d.HoldWrongly} {
			require.InDelta(t, at, d.Curve[i].Act, 1e-9)
		}
		require.InDelta(t, d.UnitsAt, d.Curve[10].Units, 1e-9)
		for i, c := range d.Curve {
			require.GreaterOrEqual(t, c.Units, float64(d.Least)-1e-9)
			require.Equal(t, method == "iwao", c.WaldAct == nil && c.WaldUnits == nil)
			if i > 0 {
				require.GreaterOrEqual(t, c.Act, d.Curve[i-1].Act-1e-9)
			}
		}
		require.Equal(t, method == "iwao", d.IwaoT != nil)
		if method != "iwao" {
			// Wald's identities: the chances asked for at the two levels.
			require.InDelta(t, 0.1, *d.Curve[5].WaldAct, 1e-6)
			require.InDelta(t, 0.9, *d.Curve[15].WaldAct, 1e-6)
			require.Less(t, *d.Curve[0].WaldUnits, float64(d.Least), "his formula knows no first unit")
			require.Contains(t, flat(t, doc), "Wald: chance to act")
		}
	}
}

// Sizes and stop lines by hand: Karandinos 1976 (1/m + 1/k)/D², Kuno 1969
// 1/(D² - 1/(k n)); with k 0.8, D 0.25 and 1.96 SS-01 of methods-cases.json
// gives 107.5648 at a mean of 2.
func TestSample_Precision(t *testing.T) {
	a := busyFarm(t)
	doc, err := a.Sample(ctx, app.SampleOptions{Date: a.Today(), Pest: "slug", Precision: "25 %", K: "0.8"})
	require.NoError(t, err)
	d := doc.Data.(app.PrecisionData)
	require.InDelta(t, 0.25, d.Precision, 1e-12)
	seen := false
	for _, s := range d.Sizes {
		require.Equal(t, int(math.Ceil((1/s.Level+1/0.8)/0.0625)), s.Standard)
		require.Equal(t, int(math.Ceil(1.96*1.96*(1/s.Level+1/0.8)/0.0625)), s.HalfWidth)
		if s.Level == 2 {
			seen = true
			require.Equal(t, 108, s.HalfWidth) // SS-01, rounded up
		}
	}
	require.True(t, seen)
	for _, l := range d.Lines {
		den := 0.0625 - 1.25/0.8/1.25/float64(l.Units)
		if den <= 0 {
			require.Nil(t, l.StopAt, "after %d", l.Units)
			continue
		}
		require.Equal(t, int(math.Ceil(1/den-1e-9)), *l.StopAt, "after %d", l.Units)
	}
	require.Contains(t, flat(t, doc), "no total is enough before 21 refuge traps, by 1/(k D²)")
	// What an adviser needs to work a row out again.
	require.Contains(t, flat(t, doc), "with k 0.8:")
	empty := newFarm(t, testPath(t), summer, app.FarmOptions{})
	doc, err = empty.Sample(ctx, app.SampleOptions{Date: a.Today(), Pest: "mite", Precision: "25", Stage: "budding"})
	require.NoError(t, err)
	require.Contains(t, flat(t, doc), "with a 3.3 and b 1.49:")
	doc, err = a.Sample(ctx, app.SampleOptions{Date: a.Today(), Pest: "mite", Precision: "25", K: "poisson"})
	require.NoError(t, err)
	require.Contains(t, flat(t, doc), "1/(m D²), the animals at random")

	// Of a share: T infested of n with (1 - p)/(n p) = D².
	doc, err = a.Sample(ctx, app.SampleOptions{Date: a.Today(), Pest: "aphid", Precision: "20"})
	require.NoError(t, err)
	for _, l := range doc.Data.(app.PrecisionData).Lines {
		enough := func(total int) bool {
			p := float64(total) / float64(l.Units)
			return (1-p)/(float64(l.Units)*p) <= 0.04+1e-12
		}
		require.True(t, enough(*l.StopAt))
		require.False(t, enough(*l.StopAt-1))
	}
	require.Nil(t, doc.Data.(app.PrecisionData).Likely)

	// With a bed that was counted: what it takes there. And without a level.
	doc, err = a.Sample(ctx, app.SampleOptions{Date: a.Today(), Pest: "mite", Bed: "A1", Precision: "25"})
	require.NoError(t, err)
	likely := doc.Data.(app.PrecisionData).Likely
	require.NotNil(t, likely)
	require.Contains(t, flat(t, doc), fmt.Sprintf("%d leaves for the standard error", likely.Standard))
	require.Contains(t, flat(t, doc), "Green 1970")
	doc, err = a.Sample(ctx, app.SampleOptions{Date: a.Today(), Pest: "aphid", Unit: "leaf", Precision: "25"})
	require.NoError(t, err)
	require.NotEmpty(t, doc.Data.(app.PrecisionData).Sizes)
}

// Green's and Kuno's lines in the field: by hand (1/m + 1/k)/D² is 28 units at a
// mean of 2, so 56 on 28 stops and 55 does not.
func TestSample_PrecisionSoFar(t *testing.T) {
	a := busyFarm(t)
	ask := func(o app.SampleOptions) (app.PrecisionAdvice, string) {
		o.Date, o.Precision = a.Today(), cmp.Or(o.Precision, "25")
		doc, err := a.Sample(ctx, o)
		require.NoError(t, err)
		adv := doc.Data.(app.PrecisionData).Advice
		require.NotNil(t, adv)
		return *adv, flat(t, doc)
	}
	adv, words := ask(app.SampleOptions{Pest: "slug", K: "0.8", SoFar: []string{"14*0", "14*4"}})
	require.Equal(t, "stop", adv.Stop)
	require.Equal(t, 56, *adv.StopAt)
	require.InDelta(t, 0.25, *adv.Reached, 1e-9)
	require.InDelta(t, 2, adv.Mean, 1e-12)
	require.InDelta(t, math.Sqrt(28*4.0/27/28)/2, *adv.Own, 1e-12)
	require.Equal(t, []int{0, 0, 0}, []int{*adv.More, *adv.Low, *adv.High})
	require.Contains(t, words, "Stop: precise enough. 56 on 28 refuge traps.")

	adv, words = ask(app.SampleOptions{Pest: "slug", K: "0.8", SoFar: []string{"14*0", "13*4", "3"}})
	require.Equal(t, "go on", adv.Stop)
	require.LessOrEqual(t, *adv.Low, *adv.More)
	require.Less(t, *adv.More, *adv.High)
	require.Contains(t, words, fmt.Sprintf("Go on. Expect about %d more refuge trap", *adv.More))
	require.Contains(t, words, "on 28 refuge traps the line is at 56")

	// Nothing found: earlier visits of the bed say how many more, and without a
	// bed hardly anything does.
	adv, words = ask(app.SampleOptions{Pest: "mite", Bed: "A1", SoFar: []string{"8*0"}})
	require.Nil(t, adv.Reached)
	require.Nil(t, adv.Own)
	require.Contains(t, words, "a mean of 0 has no standard error in percent")
	known := *adv.More
	adv, words = ask(app.SampleOptions{Pest: "mite", SoFar: []string{"60*0"}, Precision: "5"})
	require.Contains(t, words, "1000 further leaves")
	require.True(t, adv.More == nil || *adv.More > known)

	// High counts on two leaves are not yet the bed.
	adv, words = ask(app.SampleOptions{Pest: "mite", SoFar: []string{"90", "80"}, Precision: "90"})
	require.Equal(t, "go on", adv.Stop)
	require.Equal(t, 3, *adv.More)
	require.Contains(t, words, "no mean is taken as known before 5 leaves")

	// Of a share.
	adv, words = ask(app.SampleOptions{Pest: "aphid", SoFar: []string{"20/40"}, Precision: "20"})
	require.Equal(t, "stop", adv.Stop)
	require.InDelta(t, math.Sqrt(0.5/20), *adv.Reached, 1e-9)
	require.Contains(t, words, "20 infested of 40 shoot tips")
}

func TestSample_Refuses(t *testing.T) {
	a := busyFarm(t)
	for want, o := range map[string]app.SampleOptions{
		`--method "guess" is not known`:               {Method: "guess"},
		`--clumping "0" is no k`:                      {K: "0"},
		`--clumping "-1" is no k`:                     {K: "-1"},
		`--clumping "NaN" is no k`:                    {K: "NaN"},
		`--clumping "Inf" is no k`:                    {K: "Inf"},
		`--clumping "1e999" is no k`:                  {K: "1e999"},
		`--precision "0" is not known`:                {Precision: "0"},
		`--precision "NaN" is not known`:              {Precision: "NaN"},
		`--precision "1e400" is not known`:            {Precision: "1e400"},
		`--precision "120" is not known`:              {Precision: "120"},
		`--needless "Inf" is no risk`:                 {Needless: "Inf"},
		`--missed "NaN" is no risk`:                   {Missed: "NaN"},
		`and --curve belongs to a plan`:               {Precision: "25", Curve: true},
		`and --method belongs to a plan`:              {Precision: "25", Method: "wald"},
		`and --most belongs to a plan`:                {Precision: "25", Most: "30"},
		`and --missed belongs to a plan`:              {Precision: "25", Missed: "10"},
		`and --needless belongs to a plan`:            {Precision: "25", Needless: "10"},
		`these counts decide nothing`:                 {Precision: "25", SoFar: []string{"3", "soil=dry"}},
		`edge units say nothing of the whole bed`:     {Precision: "25", SoFar: []string{"3", "edge"}},
		`--most "9" is not a number of units`:         {Pest: "mite", Most: "9"},
		`with fewer than 10 leaves there is no`:       {Pest: "mite", Most: "NaN"},
		`--clumping is of no use here: of shoot tips`: {Pest: "aphid", K: "1"},
		`there is no action level for aphids in aphi`: {Pest: "aphid", Unit: "leaf"},
	} {
		if o.Pest == "" {
			o.Pest = "slug"
		}
		o.Date = a.Today()
		_, err := a.Sample(ctx, o)
		require.ErrorContains(t, err, want)
	}
}

// A k of one's own moves the plan: the more clumped, the more units.
func TestSample_OwnK(t *testing.T) {
	a := busyFarm(t)
	units := func(k string) float64 {
		doc, err := a.Sample(ctx, app.SampleOptions{Date: a.Today(), Pest: "slug", K: k})
		require.NoError(t, err)
		return doc.Data.(app.SampleData).UnitsAt
	}
	require.Greater(t, units("0.5"), units("5"))
	require.GreaterOrEqual(t, units("5"), units("poisson")-1e-9)
	doc, err := a.Sample(ctx, app.SampleOptions{Date: a.Today(), Pest: "slug", K: "0.5"})
	require.NoError(t, err)
	require.InDelta(t, 0.5, *doc.Data.(app.SampleData).K, 1e-12)
	require.Contains(t, flat(t, doc), "clumping: k 0.5, as you say")
}
