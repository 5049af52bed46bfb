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
		// Sowings of whatever text lie in the windows given, in order, and what is
		// needed is covered or missed.
		p := companion.Plan(companion.Crop{Plant: "x", SowWindow: text, BloomWindow: text, Serves: []string{"aphid"}}, need(20, 30), season(2027, "2026-07-20"))
		if len(p.Covered)+len(p.Missed) != 2 {
			t.Fatalf("%q: covered %v, missed %v", text, p.Covered, p.Missed)
		}
		for i, x := range p.Sowings {
			in := false
			for _, w := range p.Windows {
				in = in || !x.On.Before(w.From) && !x.On.After(w.To)
			}
			if !in || i > 0 && x.On.Before(p.Sowings[i-1].On) || x.On.Before(day("2026-07-20")) {
				t.Fatalf("%q: sown on %s of %v", text, x.On, p.Windows)
			}
		}
	})
}
