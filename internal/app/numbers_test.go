package app_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/render"
	"leafturn/internal/report"
)

var someDay = civil.MustParse("2026-07-20")

// Whatever is counted, the answer is a page and a JSON document: no NaN, every
// null with its reason, and every interval round its estimate.
func TestNumbersOf_Anything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		count := rapid.OneOf(rapid.IntRange(0, 3), rapid.IntRange(0, 60), rapid.Just(0), rapid.IntRange(0, 100_000))
		var words []string
		for _, c := range rapid.SliceOfN(count, 0, 30).Draw(t, "counts") {
			words = append(words, fmt.Sprint(c))
		}
		if len(words) == 0 || rapid.Bool().Draw(t, "with presence") {
			looked := rapid.IntRange(1, 200).Draw(t, "looked")
			words = append(words, fmt.Sprintf("%d/%d", rapid.IntRange(0, looked).Draw(t, "infested"), looked))
		}
		if rapid.Bool().Draw(t, "nights") {
			words = append(words, "nights=3")
		}
		pest := rapid.SampledFrom([]string{"", "mite", "slug", "aphid", "thrips", "mosaic"}).Draw(t, "pest")
		doc, err := app.NumbersOf(words, pest, someDay)
		require.NoError(t, err, "%v", words)
		sound(t, doc, fmt.Sprint(pest, words))
		d := doc.Data.(app.NumbersData)
		raw, err := json.Marshal(d)
		require.NoError(t, err)
		var fields map[string]any
		require.NoError(t, json.Unmarshal(raw, &fields))
		for name, v := range fields {
			if v == nil {
				require.NotEmpty(t, d.Reasons[name], "%s is null without a reason for %v", name, words)
			} else {
				require.Empty(t, d.Reasons[name], "%s has a value and a reason for having none for %v", name, words)
			}
		}
		if p := d.Presence; p != nil && p.Mean != nil && p.High != nil {
			require.LessOrEqual(t, p.WilsonLow, p.Share)
			require.GreaterOrEqual(t, p.WilsonHigh, p.Share)
			require.LessOrEqual(t, *p.Low, *p.High)
			if p.From == 1 { // clumps make five on a leaf easier to reach
				require.LessOrEqual(t, *p.Random, *p.Clumped*(1+1e-9), "clumping hides animals: the same share is more of them")
			}
		}
		if b := d.Both; b != nil && b.High != nil {
			require.LessOrEqual(t, b.Low, b.Mean)
			require.LessOrEqual(t, b.Mean, *b.High)
		}
	})
}

// sound checks that a document prints within the width and holds no number
// that is none.
func sound(t require.TestingT, doc *report.Document, what string) {
	var js, text bytes.Buffer
	require.NoError(t, render.JSON(&js, *doc), what)
	require.NoError(t, render.Text(&text, *doc, render.Options{Width: 88}), what)
	for _, bad := range []string{"NaN", "Inf", "%!"} {
		require.NotContains(t, text.String(), bad, what)
		require.NotContains(t, js.String(), bad, what)
	}
	for _, l := range strings.Split(text.String(), "\n") {
		require.LessOrEqual(t, len([]rune(l)), 88, "%s: %q", what, l)
	}
}

// Found by TestNumbersOf_Anything: so clumped a pest and so many hit leaves that
// the interval lies beyond the belief's densities.
func TestNumbersOf_BeyondThePrior(t *testing.T) {
	x, err := app.NumbersOf(strings.Fields("19*0 2 7/8"), "", someDay)
	require.NoError(t, err)
	p := x.Data.(app.NumbersData).Presence
	require.True(t, p.High == nil || *p.Low <= *p.High, "%+v", p)
}

// The order of the units changes nothing but the place of a unit far above.
func TestNumbersOf_OrderOfUnits(t *testing.T) {
	a, err := app.NumbersOf(strings.Fields("3 0 1 0 0 12/50"), "mite", someDay)
	require.NoError(t, err)
	b, err := app.NumbersOf(strings.Fields("12/50 0 0 0 1 3"), "mite", someDay)
	require.NoError(t, err)
	x, y := a.Data.(app.NumbersData), b.Data.(app.NumbersData)
	require.Equal(t, *x.Both, *y.Both)
	x.Both, y.Both = nil, nil
	require.True(t, reflect.DeepEqual(x.Presence, y.Presence))
	require.InEpsilon(t, *x.ProfileHigh, *y.ProfileHigh, 1e-9)
}

// Lists of samples of any kind give a page or a sentence, never a panic.
func TestCalc_Anything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		count := rapid.OneOf(rapid.IntRange(0, 5), rapid.IntRange(0, 400))
		rows := rapid.SliceOfN(rapid.SliceOfN(count, 1, 6), 1, 9).Draw(t, "rows")
		var plain, dated strings.Builder
		for _, r := range rows {
			fmt.Fprintf(&dated, "%s", someDay.AddDays(rapid.IntRange(0, 40).Draw(t, "day")))
			for _, c := range r {
				fmt.Fprintf(&plain, " %d", c)
				fmt.Fprintf(&dated, " %d", c)
			}
			plain.WriteString("\n")
			dated.WriteString("\n")
		}
		doc, err := app.ClumpingOf(bytes.NewReader([]byte(plain.String())), "f", "", someDay)
		require.NoError(t, err)
		sound(t, doc, plain.String())
		if doc, err = app.ClumpingOf(bytes.NewReader([]byte(plain.String())), "f", "3/50", someDay); err == nil {
			sound(t, doc, plain.String())
		}
		if doc, err = app.GrowthOf(bytes.NewReader([]byte(dated.String())), "f", someDay); err == nil {
			sound(t, doc, dated.String())
		}
		cell := func(name string) string {
			if !rapid.Bool().Draw(t, name) {
				return ""
			}
			return strings.TrimSuffix(strings.TrimPrefix(fmt.Sprint(rapid.SliceOfN(count, 1, 8).Draw(t, name)), "["), "]")
		}
		doc, err = app.Efficacy(app.EfficacyOptions{TreatedBefore: cell("tb"), TreatedAfter: cell("ta"), UntreatedBefore: cell("ub"), UntreatedAfter: cell("ua")}, someDay)
		if err == nil {
			sound(t, doc, "efficacy")
			d := doc.Data.(app.EfficacyData)
			require.LessOrEqual(t, d.Percent, 100.0)
			require.LessOrEqual(t, *d.Low, *d.High)
		}
	})
}

// C/(V I D K) written out, over costs in a bed and per area.
func TestInjuryLevel_ByHand(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		num := func(name string) float64 { return math.Round(rapid.Float64Range(0.5, 500).Draw(t, name)*100) / 100 }
		c, v, loss := num("cost"), num("value"), num("loss")
		pct := rapid.IntRange(1, 100).Draw(t, "prevented")
		o := app.InjuryOptions{Cost: fmt.Sprint(c), Value: fmt.Sprint(v), Injury: "2%", Loss: fmt.Sprint(loss), Prevented: fmt.Sprintf("%d%%", pct)}
		doc, err := app.InjuryLevel(o, someDay)
		require.NoError(t, err)
		want := c / (v * 0.02 * loss * float64(pct) / 100)
		require.InEpsilon(t, want, doc.Data.(app.InjuryData).Level, 1e-9)
		sound(t, doc, "injury level")
		// Both per area: the area falls out.
		o.Cost, o.Loss = o.Cost+"/acre", o.Loss+"/acre"
		doc, err = app.InjuryLevel(o, someDay)
		require.NoError(t, err)
		require.InEpsilon(t, want, doc.Data.(app.InjuryData).Level, 1e-9)
	})
}
