package paper

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func at(n int) *int { return &n }

// sampleRound is invented.
func sampleRound() Round {
	return Round{
		Farm: "Tarnwick Lane (invented)", Date: day, Subtitle: "Starting at 09:00.", Warnings: []string{"Not enough time."},
		Closed: []string{"D3 is closed until Mon 20 Jul 20:30"}, Left: []string{"C3, aphids: saves 11 min"},
		Stops: []Stop{
			{Bed: "B3", Where: "block B", Note: "signs of disease", Looks: []Look{
				{Name: "Slugs", Word: "slug", Ask: "at most 9 refuge traps", Why: "never counted", How: "Set 9 covers.", Boxes: 9,
					Words: []Word{{Name: "soil=", Choice: []string{"dry", "moist", "wet"}}, {Name: "air=", After: "C"}},
					Stop:  []StopLine{{5, at(8), at(21)}, {9, at(28), at(29)}}},
				{Name: "Aphids", Word: "aphid", Ask: "at most 50 shoot tips", How: "Look at the top.", Boxes: 50, Share: true, Stop: []StopLine{{20, nil, at(4)}, {40, at(1), nil}, {50, at(6), at(7)}}, Rule: "more are needed for both"},
			}},
			{Bed: "C1", Looks: []Look{
				{Name: "Tospovirus", Word: "tospovirus", Ask: "every plant", Share: true, Of: 100},
				{Name: "Spider mites", Word: "mite", Unit: "tap", Boxes: 40, Words: []Word{{Name: "+predatory_mite="}, {Name: "damage=", After: "/____"}}},
			}},
		},
		Cues: []Cue{{"Slugs", "Lift each board.", "Ragged holes.", "Cutworms leave a clean cut.", "soil moist"}, {Name: "Spider mites", Signs: "Stippling."}},
	}
}

func sheetPages(t *testing.T, r Round, o Options) []printedPage {
	t.Helper()
	var b bytes.Buffer
	_, err := Sheets(&b, r, o)
	require.NoError(t, err)
	return read(t, b.Bytes())
}

// A bed whose looks do not fit on one sheet is named again on the next.
func TestSheets_BedGoesOn(t *testing.T) {
	r := sampleRound()
	r.Stops = r.Stops[:1]
	for range 6 {
		r.Stops[0].Looks = append(r.Stops[0].Looks, r.Stops[0].Looks[0])
	}
	pages := sheetPages(t, r, Options{})
	require.Contains(t, pages[1].text(), "B3, stop 1, goes on")
	require.NotContains(t, pages[0].text(), "goes on")
}

// A compact round has more beds on a sheet and the same lines to type; how to
// count stands once, at the end.
func TestSheets_Compact(t *testing.T) {
	r := sampleRound()
	for i := range 30 {
		stop := r.Stops[0]
		stop.Bed = fmt.Sprintf("K%d", i)
		r.Stops = append(r.Stops, stop)
	}
	for i := range r.Cues {
		r.Cues[i].How = []string{"Set 9 covers.", ""}[i]
	}
	r.Cues = append(r.Cues, Cue{Name: "Aphids", How: "Look at the top."})
	full, compact := sheetPages(t, r, Options{}), sheetPages(t, r, Options{Compact: true})
	tidy(t, compact, A4)
	require.Less(t, len(compact), len(full))
	typed := func(pages []printedPage) (out []string) {
		for _, p := range pages {
			for _, x := range p.runs {
				if x.size == typeFace.size && !strings.HasPrefix(x.text, "# ") {
					out = append(out, strings.TrimRight(x.text, "_"))
				}
			}
		}
		return out
	}
	require.Equal(t, typed(full), typed(compact))
	text := flat(compact)
	require.Equal(t, strings.Count(flat(full), "hold ≤"), strings.Count(text, "hold ≤"))
	require.Equal(t, 1, strings.Count(text, "Set 9 covers."))
	require.Equal(t, 1, strings.Count(text, "more are needed for both"), "a rule stands once")
	require.NotContains(t, text, "B3: more are needed", "of all beds alike")
	r.Stops[0].Looks = slices.Clone(r.Stops[0].Looks)
	r.Stops[0].Looks[1].Rule = "another rule"
	r.Stops = r.Stops[:4]
	require.Contains(t, flat(sheetPages(t, r, Options{Compact: true})), "B3: another rule K0 K1: more are needed for both")
	require.NotContains(t, text, "never counted")
}

func TestSheets(t *testing.T) {
	for _, size := range []Size{Letter, A4} {
		pages := sheetPages(t, sampleRound(), Options{Size: size})
		tidy(t, pages, size)
		text := flat(pages)
		require.Contains(t, pages[0].text(), "\ndate 2026-07-20\nby ____", "two lines: count --file takes nothing behind a date")
		for _, want := range []string{
			"date 2026-07-20", "by ____", "air ______ C", "______ mm", "! Not enough time.",
			"CLOSED: do not enter, do not count", "D3 is closed until Mon 20 Jul 20:30",
			"B3", "stop 1, block B", "! signs of disease", "Slugs: at most 9 refuge traps", "Set 9 covers. (never counted)", "B3 slug", "total",
			"after 5: hold ≤ 8, act ≥ 21", "after 9: hold ≤ 28, act ≥ 29", "soil=dry|moist|wet", "air=____C",
			"B3 aphid ____/____", "after 20: act ≥ 4", "after 40: hold ≤ 1", "after 50: hold ≤ 6, act ≥ 7", "more are needed for both",
			"C1 tospovirus ____/100", "C1 mite", "unit=tap", "+predatory_mite=____ damage=____/____",
			"Found on the way", "– C3, aphids: saves 11 min", "Harmless or another cause: Cutworms leave a clean cut.", "The count holds only when: soil moist",
			fmt.Sprintf("sheet 1 of %d", len(pages)),
		} {
			require.Contains(t, text, want)
		}
		count := map[[2]float64]int{}
		for _, p := range pages {
			for _, b := range p.boxes {
				count[[2]float64{b[2], b[3]}]++
			}
		}
		require.Equal(t, 9+40, count[[2]float64{boxWide, boxHigh}], "a box for each count")
		require.Equal(t, 50, count[[2]float64{markWide, markHigh}], "a box for each shoot tip")
		require.Equal(t, 2, count[[2]float64{totalWide, boxHigh}], "a total for each row")
		require.Equal(t, 3, count[[2]float64{totalWide, markHigh}])
	}
}

// Room for a pencil: two digits of 5 mm height (common practice).
func TestSheets_BoxesForAPencil(t *testing.T) {
	const mm = 72 / 25.4
	require.GreaterOrEqual(t, boxWide/mm, 8.5)
	require.GreaterOrEqual(t, boxHigh/mm, 7.5)
}

func TestSheets_US(t *testing.T) {
	r := sampleRound()
	r.US = true
	text := flat(sheetPages(t, r, Options{Size: Letter}))
	require.Contains(t, text, "air ______ F")
	require.Contains(t, text, "______ in")
}

func TestSheets_Refuses(t *testing.T) {
	var b bytes.Buffer
	_, err := Sheets(&b, Round{Date: day}, Options{})
	require.Error(t, err)
	_, err = Sheets(&b, sampleRound(), Options{Size: "legal"})
	require.Error(t, err)
	require.Zero(t, b.Len())
}

func TestSheets_AnyRound(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		word := rapid.StringOfN(rapid.RuneFrom([]rune("abcdefgWM iil.-/,_üß≥\u00a0")), 0, 60, -1)
		code := rapid.StringMatching(`[A-Z][A-Z0-9-]{0,11}`)
		r := Round{Date: day, Farm: word.Draw(rt, "farm"), Subtitle: word.Draw(rt, "subtitle")}
		boxes := 0
		for range rapid.IntRange(1, 6).Draw(rt, "stops") {
			st := Stop{Bed: code.Draw(rt, "bed"), Where: word.Draw(rt, "where"), Note: word.Draw(rt, "note")}
			for range rapid.IntRange(1, 3).Draw(rt, "looks") {
				l := Look{Name: "P" + word.Draw(rt, "name"), Word: strings.Repeat("p", rapid.IntRange(1, 16).Draw(rt, "word")), How: word.Draw(rt, "how"), Boxes: rapid.IntRange(0, 150).Draw(rt, "boxes"), Share: rapid.Bool().Draw(rt, "share")}
				boxes += l.Boxes
				for range rapid.IntRange(0, 5).Draw(rt, "words") {
					l.Words = append(l.Words, Word{Name: "abc=", After: "/____"})
				}
				if rapid.Bool().Draw(rt, "lines") {
					each := 1 // a total of marks is at most their number
					if !l.Share {
						each = 1000
					}
					for n := 1; n <= l.Boxes; n++ {
						l.Stop = append(l.Stop, StopLine{n, at(n / 2 * each), at(n * each)})
					}
				}
				st.Looks = append(st.Looks, l)
			}
			r.Stops = append(r.Stops, st)
		}
		size := rapid.SampledFrom([]Size{Letter, A4}).Draw(rt, "size")
		var b bytes.Buffer
		if _, err := Sheets(&b, r, Options{Size: size}); err != nil {
			rt.Fatal(err)
		}
		pages := read(t, b.Bytes())
		tidy(t, pages, size)
		n := 0
		for _, p := range pages {
			for _, x := range p.boxes {
				if x[2] == boxWide || x[2] == markWide {
					n++
				}
			}
		}
		if n != boxes {
			rt.Fatalf("%d boxes for %d units", n, boxes)
		}
	})
}
