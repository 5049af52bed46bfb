package companion_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/companion"
)

var (
	lastFrost  = civil.MonthDay{Month: time.April, Day: 25}
	firstFrost = civil.MonthDay{Month: time.October, Day: 20}
)

// Every bloom window of the table.
func TestParseBloom_Table(t *testing.T) {
	type B = companion.Bloom
	want := map[string]B{
		"6-8 weeks from sowing, Apr to frost":                     {From: 4, ToFrost: true, DelayMin: 42, DelayMax: 56},
		"about 30 days after sowing, lasts 3-4 weeks":             {DelayMin: 30, DelayMax: 30, LastMin: 21, LastMax: 28},
		"50-60 days after sowing, 3-4 weeks":                      {DelayMin: 50, DelayMax: 60, LastMin: 21, LastMax: 28},
		"July to Sept":                                            {From: 7, To: 9},
		"60-70 days after sowing":                                 {DelayMin: 60, DelayMax: 70},
		"6-8 weeks after sowing, 4-6 weeks, needs days over 13 h": {DelayMin: 42, DelayMax: 56, LastMin: 28, LastMax: 42, Rest: []string{"needs days over 13 h"}},
		"6-8 weeks after sowing":                                  {DelayMin: 42, DelayMax: 56},
		"June to Sept":                                            {From: 6, To: 9},
		"8-10 weeks, July to frost":                               {From: 7, ToFrost: true, DelayMin: 56, DelayMax: 70},
		"8 weeks, Apr to Nov, open in mild winters":               {From: 4, To: 11, DelayMin: 56, DelayMax: 56, Rest: []string{"open in mild winters"}},
		"July to frost":                                           {From: 7, ToFrost: true},
		"8 weeks to frost":                                        {DelayMin: 56, DelayMax: 56, ToFrost: true},
		"May to Aug":                                              {From: 5, To: 8},
		"60-80 days":                                              {DelayMin: 60, DelayMax: 80},
		"May-June":                                                {From: 5, To: 6},
		"second year, June to Aug; leaves matter more":            {SecondYear: true, From: 6, To: 8, Rest: []string{"leaves matter more"}},
		"not a flower":                                            {NotAFlower: true},
		"May":                                                     {From: 5, To: 5},
		"Apr to June":                                             {From: 4, To: 6},
	}
	unread := map[string]bool{"": true, "as above": true, "continuous if picked; Orius stops at short day": true}
	seen := map[string]bool{}
	for _, r := range table(t) {
		b, ok := companion.ParseBloom(r.BloomWindow)
		seen[r.BloomWindow] = true
		if unread[r.BloomWindow] {
			require.False(t, ok, r.BloomWindow)
			continue
		}
		w, there := want[r.BloomWindow]
		require.True(t, there, r.BloomWindow)
		require.True(t, ok, r.BloomWindow)
		require.Equal(t, w, b, r.BloomWindow)
	}
	for text := range want {
		require.True(t, seen[text], text)
	}
}

func TestParseSowing(t *testing.T) {
	for text, want := range map[string]companion.Sowing{
		"from 2 weeks after last frost, every 3-4 weeks to early Aug": {FrostDays: 14, EveryDays: 28, Until: 8, EarlyUntil: true},
		"Mar-Apr and again every 4 weeks to July":                     {From: 3, EveryDays: 28, Until: 7},
		"Apr to July every 4 weeks":                                   {From: 4, EveryDays: 28, Until: 7},
		"Mar to June":                                                 {From: 3},
		"Apr to June in two sowings":                                  {From: 4},
		"after last frost":                                            {},
		"Mar":                                                         {From: 3},
	} {
		s, ok := companion.ParseSowing(text)
		require.True(t, ok, text)
		require.Equal(t, want, s, text)
	}
	for _, text := range []string{"", "spring", "as above", "transplant autumn or spring", "marigold", "when soil above 10 C"} {
		_, ok := companion.ParseSowing(text)
		require.False(t, ok, text)
	}
}

// By hand, last frost 25 Apr, first frost 20 Oct 2027. Coriander sown 1 Mar
// and every 28 days to July blooms from day 60 to day 70 after each, 11 days:
// 30 Apr-10 May, 28 May-7 Jun, 25 Jun-5 Jul, 23 Jul-2 Aug, 20-30 Aug, 17-27
// Sep. So May has 10 + 4 and July 5 + 9 days, June 7 + 6, August 2 + 11.
// Buckwheat sown 9 May and every 28 days to 10 Aug blooms from day 30 to day
// 50: 8-28 Jun, 6-26 Jul, 3-23 Aug, 31 Aug-20 Sep.
func TestNectar(t *testing.T) {
	flower := func(plant string) companion.Flower {
		for _, r := range table(t) {
			if r.Plant == plant {
				return companion.Flower{Plant: plant, BloomWindow: r.BloomWindow, SowWindow: r.SowWindow}
			}
		}
		require.Fail(t, plant)
		return companion.Flower{}
	}
	months := func(f ...companion.Flower) (covered string, n companion.NectarCover) {
		n = companion.Nectar(f, 2027, time.April, time.October, lastFrost, firstFrost)
		for _, m := range n.Months {
			if len(m.Plants) > 0 {
				covered += m.Month.String()[:3] + " "
			}
		}
		return strings.TrimSpace(covered), n
	}
	for plant, want := range map[string]string{
		"coriander (let flower)":         "May Jul",
		"buckwheat strip":                "Jun Jul Aug Sep",
		"yarrow":                         "Jun Jul Aug Sep",
		"cosmos":                         "Jul Aug Sep Oct",             // to frost, 20 days of October
		"borage":                         "Jun Jul Aug Sep Oct",         // sown 1 Apr + 56 days = 27 May
		"sweet alyssum":                  "Apr May Jun Jul Aug Sep Oct", //
		"garlic / chives":                "May Jun",
		"phacelia strip":                 "", // 1 Mar: day 56 = 26 Apr to day 69 = 9 May: 5 and 9 days
		"wheat trap strip":               "", // not a flower
		"bachelor's button (cornflower)": "May Jun Jul Aug",
	} {
		got, n := months(flower(plant))
		require.Equal(t, want, got, plant)
		require.Empty(t, n.Unknown, plant)
	}
	got, n := months(flower("garlic / chives"), flower("cosmos"))
	require.Equal(t, "May Jun Jul Aug Sep Oct", got)
	require.Equal(t, []time.Month{time.April}, n.Gaps)

	// Unread windows are unknown, not gaps filled or flowers denied.
	_, n = months(flower("dill"), flower("ornamental pepper banker"), flower("mullein banker"), flower("trap squash"))
	require.Len(t, n.Gaps, 7)
	require.Equal(t, []string{
		`dill: bloom window "60-70 days after sowing" does not say how long it blooms`,
		"mullein banker: it blooms in its second year, and when it was sown is not known",
		`ornamental pepper banker: bloom window "continuous if picked; Orius stops at short day" cannot be read`,
		"trap squash: no bloom window is given",
	}, n.Unknown)

	// Mullein sown last year blooms; sown this year it does not.
	m := flower("mullein banker")
	m.Sown = civil.New(2026, time.March, 1)
	got, _ = months(m)
	require.Equal(t, "Jun Jul Aug", got)
	m.Sown = civil.New(2027, time.March, 1)
	got, _ = months(m)
	require.Empty(t, got)

	// A sowing day given goes before the words: buckwheat 1 Jun blooms 1-21 Jul.
	b := flower("buckwheat strip")
	b.Sown = civil.New(2027, time.June, 1)
	got, _ = months(b)
	require.Equal(t, "Jul", got)

	// Frost dates not known.
	n = companion.Nectar([]companion.Flower{flower("cosmos"), flower("buckwheat strip")}, 2027, time.April, time.October, civil.MonthDay{}, civil.MonthDay{})
	require.Equal(t, []string{
		"buckwheat strip: it is sown after the last frost, which is not known",
		"cosmos: it blooms to the first frost, which is not known",
	}, n.Unknown)
}

// Whatever the text: days are in order, months exist, and text that is read
// again in parts joined by ", " gives the same unread parts.
func FuzzParseBloom(f *testing.F) {
	for _, s := range []string{"July to frost", "50-60 days after sowing, 3-4 weeks", "8 weeks to frost", "second year, June to Aug; x", "not a flower", "May-June", ",;,", "999-1 weeks"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		b, ok := companion.ParseBloom(text)
		if b.DelayMin > b.DelayMax || b.LastMin > b.LastMax || b.From < 0 || b.From > 12 || b.To < 0 || b.To > 12 {
			t.Fatalf("%q gave %+v", text, b)
		}
		if b.From == 0 && b.To != 0 || b.From != 0 && b.To == 0 && !b.ToFrost {
			t.Fatalf("%q gave half a window: %+v", text, b)
		}
		if !ok && (b.From != 0 || b.DelayMax != 0 || b.NotAFlower) {
			t.Fatalf("%q was read and refused: %+v", text, b)
		}
		again, _ := companion.ParseBloom(strings.Join(b.Rest, ", "))
		if len(again.Rest) > len(b.Rest) {
			t.Fatalf("%q: %q", text, again.Rest)
		}
		companion.ParseSowing(text)
		companion.Nectar([]companion.Flower{{Plant: "x", BloomWindow: text, SowWindow: text}}, 2027, 4, 10, lastFrost, firstFrost)
	})
}
