package plots

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
)

// sampleBloom is an invented choice of plants; its days are made up.
func sampleBloom() BloomCalendar {
	sp := func(from, to, why string) Span { return Span{day("2026-" + from), day("2026-" + to), why} }
	d := func(s string) civil.Date { return day("2026-" + s) }
	return BloomCalendar{Year: 2026, From: d("04-13"), To: d("10-11"), Source: "companions plan of an invented farm",
		Rows: []BloomRow{
			{Plant: "sweet alyssum", Grade: "B", Sow: []civil.Date{d("04-20"), d("06-15")}, Bloom: []Span{sp("06-10", "07-20", ""), sp("08-03", "10-05", "to frost")}},
			{Plant: "buckwheat", Grade: "A", Sow: []civil.Date{d("05-10"), d("05-31"), d("06-21"), d("07-12"), d("08-02")},
				Bloom: []Span{sp("06-21", "07-15", ""), sp("07-10", "08-05", ""), sp("08-01", "08-16", ""), sp("08-24", "09-10", "")}},
			{Plant: "phacelia", Grade: "B", Sow: []civil.Date{d("04-25")}, Bloom: []Span{sp("06-20", "07-18", "")}},
			{Plant: "coriander left to flower", Grade: "C", Sow: []civil.Date{d("05-02"), d("05-12"), d("05-22")}, Bloom: []Span{sp("07-01", "07-08", "")}},
			{Plant: "chives", Grade: "from memory", Bloom: []Span{sp("05-11", "05-30", "perennial")}},
			{Plant: "fennel", Grade: "C", Sow: []civil.Date{d("04-20")}, Unknown: "the facts give no days from sowing to bloom"},
			{Plant: "chervil", Grade: "C"},
		},
		Needed: []BloomNeed{
			{"aphids", []Span{sp("05-25", "07-12", "")}},
			{"thrips", []Span{sp("06-29", "09-06", "highest in August")}},
			{"spider mites", []Span{sp("07-13", "07-19", ""), sp("08-10", "08-30", "")}},
			{"slugs", nil},
		},
		Gaps: []Span{sp("04-13", "05-10", "nothing in bloom"), sp("05-31", "06-09", "no nectar for the enemies of aphids"), sp("10-06", "10-11", "nothing in bloom")},
	}
}

func bloomEdges() map[string]Figure {
	out := map[string]Figure{}
	one := day("2026-06-01")
	out["one day of bloom"] = BloomCalendar{Rows: []BloomRow{{Plant: "dill", Sow: []civil.Date{one}, Bloom: []Span{{one, one, ""}}}}}
	out["needs alone"] = BloomCalendar{Year: 2026, Needed: []BloomNeed{{"aphids", []Span{{one, one, ""}}}}, Gaps: []Span{{one, one, ""}}}
	names := sampleBloom()
	names.Title, names.Source = strings.Repeat(long, 3), strings.Repeat(long, 9)
	for i := range names.Rows {
		r := &names.Rows[i]
		r.Plant, r.Grade = fmt.Sprint(i, long), long
		for j := range r.Bloom {
			r.Bloom[j].Why = long
		}
		if r.Unknown != "" {
			r.Unknown = strings.Repeat(long, 5)
		}
	}
	for i := range names.Needed {
		names.Needed[i].Pest = fmt.Sprint(i, long)
	}
	for i := range 30 {
		d := names.From.AddDays(6 * i)
		names.Gaps = append(names.Gaps, Span{d, d.AddDays(i % 3), fmt.Sprint(i, long, long, long, long)})
	}
	out["long bloom"] = names
	dense := BloomCalendar{Year: 2026}
	for i := range 5 {
		r := BloomRow{Plant: fmt.Sprint("dense ", i)}
		for j := range 20 {
			d := one.AddDays(3*j + i)
			r.Sow, r.Bloom = append(r.Sow, d), append(r.Bloom, Span{d.AddDays(20), d.AddDays(20 + 12*i), "again"})
		}
		dense.Rows = append(dense.Rows, r)
	}
	for i := range 60 {
		d := one.AddDays(2 * i)
		dense.Gaps = append(dense.Gaps, Span{d, d, "no nectar"})
	}
	for i, p := range dense.Pages() {
		out[fmt.Sprint("dense bloom ", i+1)] = p
	}
	return out
}

// manyPlants is more than one page holds.
func manyPlants(n int) BloomCalendar {
	b := sampleBloom()
	rows := b.Rows
	b.Rows = nil
	for i := range n {
		r := rows[i%len(rows)]
		r.Plant = fmt.Sprintf("plant %d", i+1)
		b.Rows = append(b.Rows, r)
	}
	return b
}

func marksOf(ms []mark, kind string) (out []mark) {
	for _, m := range ms {
		if m.kind == kind {
			out = append(out, m)
		}
	}
	return out
}

// Each sowing, bloom, need and gap is one mark, counted in the SVG itself.
func TestBloom_OneMarkEach(t *testing.T) {
	b := sampleBloom()
	sow, bloom, need := 0, 0, 0
	for _, r := range b.Rows {
		sow += len(r.Sow)
		bloom += len(r.Bloom)
	}
	for _, n := range b.Needed {
		need += len(n.Spans)
	}
	fills := map[string]int{}
	for _, e := range readSVG(t, write(t, b, "svg")) {
		fills[e.style]++
	}
	require.Equal(t, bloom+1, fills["fill:#C3D9E4"], "and one in the key")
	require.Equal(t, sow+1, fills["fill:#17161C"], "and one in the key")
	require.Equal(t, need+1, fills["fill:#1C6638"], "and one in the key")
	ms := traced(t, b)
	require.Equal(t, bloom, countOf(ms, "bloom"))
	require.Equal(t, sow, countOf(ms, "sow"))
	require.Equal(t, need, countOf(ms, "needed"))
	require.Equal(t, len(b.Gaps), countOf(ms, "hatch"))
	require.Equal(t, len(b.Gaps), countOf(ms, "gap"))
	require.Equal(t, len(b.Rows), countOf(ms, "plant"))
	require.Equal(t, len(b.Needed), countOf(ms, "need"))
}

// Bars and marks stand at their days, measured from the labels of the Mondays
// in the SVG: the middle of a label is the day.
func TestBloom_AtItsDay(t *testing.T) {
	b := sampleBloom()
	var first, last float64
	n := 0
	for _, e := range readSVG(t, write(t, b, "svg")) {
		if e.name != "text" || e.x < bloomLeft-10 || len(e.text) > 2 || !strings.Contains(e.style, "fill:#55535F") {
			continue
		}
		n++
		mid := e.x + tickFace.width(e.text)/2
		if n == 1 {
			first = mid
		}
		last = mid
	}
	require.Equal(t, 27, n, "13 April to 12 October are 27 Mondays")
	perDay := (last - first) / 26 / 7
	at := func(d civil.Date) float64 { return first + perDay*float64(d.Sub(day("2026-04-13"))) }

	ms := traced(t, b)
	var want []Span
	var sown []civil.Date
	for _, r := range b.Rows {
		want = append(want, r.Bloom...)
		sown = append(sown, r.Sow...)
	}
	for i, m := range marksOf(ms, "bloom") {
		require.InDelta(t, at(want[i].From), m.box.x0, 0.01)
		require.InDelta(t, at(want[i].To)+perDay, m.box.x1, 0.01, "the last day is included")
	}
	for i, m := range marksOf(ms, "sow") {
		require.InDelta(t, at(sown[i]), (m.box.x0+m.box.x1)/2, 0.01)
	}
	// A gap is hatched through all rows, those of the needs included.
	plants, needs := marksOf(ms, "plant"), marksOf(ms, "need")
	for i, m := range marksOf(ms, "hatch") {
		require.InDelta(t, at(b.Gaps[i].From), m.box.x0, 0.01)
		require.InDelta(t, at(b.Gaps[i].To)+perDay, m.box.x1, 0.01)
		require.InDelta(t, plants[0].box.y0, m.box.y0, 1e-6)
		require.InDelta(t, needs[len(needs)-1].box.y1, m.box.y1, 1e-6)
	}
	// Bars lie in their plant's row; two that meet do not cover each other.
	var all []rect
	for _, m := range marksOf(ms, "bloom") {
		inside := 0
		for _, p := range plants {
			if m.box.y0 >= p.box.y0 && m.box.y1 <= p.box.y1 {
				inside++
			}
		}
		require.Equal(t, 1, inside)
		for _, o := range all {
			require.Zero(t, o.overlap(m.box))
		}
		all = append(all, m.box)
	}
}

func TestBloom_EveryLabel(t *testing.T) {
	texts := textsOf(traced(t, sampleBloom()))
	for _, want := range []string{
		"Bloom calendar 2026", "sweet alyssum", "buckwheat", "coriander left to flower", "evidence", "A", "B", "C", "from memory",
		"sown 20 Apr", "15 Jun", "sown 10 May to 2 Aug, 5 times", "10 June to 20 July", "3 August to 5 October, to frost", "1–16 Aug", "24 Aug to 10 Sep", "1 to 8 Jul",
		"bloom not known: the facts give no days from sowing to bloom", "no bloom",
		"13 Apr to 10 May: nothing in bloom", "31 May to 9 Jun: no nectar for the enemies of aphids", "6 to 11 Oct: nothing in bloom",
		"natural enemies needed against", "aphids", "29 June to 6 September, highest in August", "13 to 19 Jul", "slugs", "in no week",
		"Mondays", "April 2026", "July", "in bloom", "sown", "natural enemies needed", "gap, named above", "From: companions plan of an invented farm.",
	} {
		require.Contains(t, texts, want)
	}
	texts = textsOf(traced(t, bloomEdges()["needs alone"]))
	require.Contains(t, texts, "no plant is chosen")
	require.Contains(t, texts, "1 Jun: gap")
	require.NotContains(t, texts, "in bloom", "the key holds only what is in the picture")
}

// The mark of a sowing on the first day stands in the plot.
func TestBloom_SownOnTheFirstDay(t *testing.T) {
	b := sampleBloom()
	b.From = b.Rows[0].Sow[0]
	for _, m := range marksOf(traced(t, b), "sow") {
		require.Greater(t, m.box.x0, bloomLeft)
	}
}

// A gap that finds no room for its name is named at the foot.
func TestBloom_ManyGaps(t *testing.T) {
	s := bloomEdges()["dense bloom 1"].(BloomCalendar).layout()
	require.Len(t, s.gaps, 60-len(s.unnamed))
	require.NotEmpty(t, s.unnamed)
	require.Contains(t, strings.Join(s.sources, " "), "Gaps without room for their name: "+s.unnamed[0].days("January")+" (no nectar)")
}

func TestBloom_Paged(t *testing.T) {
	b := manyPlants(200)
	require.ErrorIs(t, b.Check(), ErrTooMany)
	pages := b.Pages()
	require.Len(t, pages, 13)
	var plants []string
	for i, p := range pages {
		require.NoError(t, p.Check())
		require.Equal(t, pages[0].layout().axis, p.layout().axis, "the same dates on each page")
		require.Equal(t, b.Needed, p.Needed)
		require.Equal(t, b.Gaps, p.Gaps)
		for _, r := range p.Rows {
			plants = append(plants, r.Plant)
		}
		require.Contains(t, textsOf(traced(t, p))[0], fmt.Sprintf("page %d of 13: %s to", i+1, p.Rows[0].Plant))
	}
	require.Len(t, plants, 200)
	for i, p := range plants {
		require.Equal(t, fmt.Sprintf("plant %d", i+1), p, "every plant once, in order")
	}
	require.Len(t, sampleBloom().Pages(), 1)
	require.Len(t, BloomCalendar{}.Pages(), 1)
}

func TestBloom_Alt(t *testing.T) {
	b := sampleBloom()
	b.Rows, b.Needed, b.Gaps = []BloomRow{b.Rows[0], b.Rows[5], b.Rows[6]}, b.Needed[1:], b.Gaps[1:2]
	require.Equal(t, "Bloom calendar 2026: 3 plants from 13 April to 11 October 2026. "+
		"1 gap: 31 May to 9 June (no nectar for the enemies of aphids). "+
		"Sweet alyssum (evidence B): sown 20 April and 15 June; in bloom 10 June to 20 July and 3 August to 5 October (to frost). "+
		"Fennel (evidence C): sown 20 April; bloom not known: the facts give no days from sowing to bloom. Chervil (evidence C): no bloom. "+
		"Natural enemies needed against thrips: 29 June to 6 September (highest in August). "+
		"Natural enemies needed against spider mites: 13 to 19 July and 10 to 30 August. Natural enemies needed against slugs: in no week.", b.Alt())
	b.Next, b.AsOf = "sow phacelia on Sat 25 Apr.", day("2026-04-20")
	require.Contains(t, b.Alt(), " Next: sow phacelia on Sat 25 Apr.")
	require.Contains(t, textsOf(traced(t, b)), "Next: sow phacelia on Sat 25 Apr.")
	require.Contains(t, strings.Join(textsOf(traced(t, b)), " "), "As of 20 April 2026. From: ")
	b.Gaps = nil
	require.Contains(t, b.Alt(), " No gap is marked. ")
	require.NotEmpty(t, BloomCalendar{}.Alt())
}

func TestBloom_Errors(t *testing.T) {
	with := func(change func(*BloomCalendar)) BloomCalendar {
		b := sampleBloom()
		change(&b)
		return b
	}
	backwards := []Span{{day("2026-06-02"), day("2026-06-01"), ""}}
	for _, c := range []struct {
		name string
		fig  BloomCalendar
		is   error
		says string
	}{
		{"nothing", BloomCalendar{}, ErrNoData, "no sowing, bloom or need has a date"},
		{"a season alone", BloomCalendar{From: day("2026-04-01"), To: day("2026-10-01")}, ErrNoData, "nothing to draw"},
		{"only unknown", BloomCalendar{Rows: []BloomRow{{Plant: "fennel", Unknown: "no facts"}}}, ErrNoData, ""},
		{"sowing", with(func(b *BloomCalendar) { b.Rows[1].Sow = []civil.Date{{}} }), ErrValue, "buckwheat: a sowing has no date"},
		{"bloom", with(func(b *BloomCalendar) { b.Rows[1].Bloom = backwards }), ErrValue, "buckwheat: a bloom ends on 2026-06-01, before it begins on 2026-06-02"},
		{"no last day", with(func(b *BloomCalendar) { b.Rows[1].Bloom = []Span{{From: day("2026-06-01")}} }), ErrValue, "no last day"},
		{"need", with(func(b *BloomCalendar) { b.Needed[0].Spans = backwards }), ErrValue, "aphids: a need ends"},
		{"gap", with(func(b *BloomCalendar) { b.Gaps = []Span{{To: day("2026-06-01")}} }), ErrValue, "a gap has no first"},
		{"season", with(func(b *BloomCalendar) { b.To = day("2026-04-01") }), ErrValue, "the season ends on 2026-04-01"},
		{"year", with(func(b *BloomCalendar) { b.Rows[0].Sow[0] = day("2062-04-20") }), ErrValue, "a year may be mistyped"},
		{"too many", manyPlants(30), ErrTooMany, "30 plants"},
	} {
		requireRefused(t, c.name, c.fig, c.is, c.says)
	}
}

// Whatever is accepted can be drawn: a mark for each day and span, none
// covered by another of its kind, all gaps named, no words over others.
func TestBloom_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		date := rapid.Custom(func(t *rapid.T) civil.Date {
			return day("2026-04-01").AddDays(rapid.IntRange(0, 240).Draw(t, "day"))
		})
		spans := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Span {
			from := date.Draw(t, "from")
			return Span{from, from.AddDays(rapid.IntRange(0, 60).Draw(t, "days")), rapid.StringN(0, 50, -1).Draw(t, "why")}
		}), 0, 5)
		b := BloomCalendar{Gaps: spans.Draw(t, "gaps")}
		for range rapid.IntRange(1, 5).Draw(t, "rows") {
			b.Rows = append(b.Rows, BloomRow{Plant: rapid.StringN(0, 40, -1).Draw(t, "plant"), Grade: rapid.StringN(0, 9, -1).Draw(t, "grade"),
				Sow: rapid.SliceOfN(date, 0, 6).Draw(t, "sow"), Bloom: spans.Draw(t, "bloom"), Unknown: rapid.StringN(0, 200, -1).Draw(t, "unknown")})
			b.Needed = append(b.Needed, BloomNeed{rapid.StringN(0, 40, -1).Draw(t, "pest"), spans.Draw(t, "needed")})
		}
		if b.dated() == (span{}) {
			require.ErrorIs(t, b.Check(), ErrNoData)
			return
		}
		ms, w, h := requireDrawn(t, b)
		sow, bloom := 0, 0
		for _, r := range b.Rows {
			sow += len(r.Sow)
			bloom += len(r.Bloom)
		}
		require.Equal(t, sow, countOf(ms, "sow"))
		require.Equal(t, bloom, countOf(ms, "bloom"))
		require.Equal(t, len(b.Gaps), countOf(ms, "gap")+len(b.layout().unnamed))
		for _, n := range b.layout().gaps {
			for _, o := range b.layout().gaps {
				require.False(t, o.x > n.box.x0+3 && o.x < n.box.x1-3 && o.box.y1 < n.box.y1, "the line from %q crosses %q", o.words, n.words)
			}
		}
		requireInside(t, ms, w, h)
		for i, m := range ms {
			for _, o := range ms[:i] {
				if m.kind == o.kind && slices.Contains([]string{"text", "bloom", "needed"}, m.kind) {
					require.Zero(t, m.box.inset(1).overlap(o.box.inset(1)), "%s: %q and %q", m.kind, m.text, o.text)
				}
			}
		}
	})
}
