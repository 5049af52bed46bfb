package plots

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
)

// Where the last valid count is too old, the band stops and the picture says
// so; the band goes on at the next count.
func TestSeason_Unknown(t *testing.T) {
	s := sampleSeason()
	s.Visits = s.Visits[:6] // the last on 9 June
	last := s.Visits[5].Date
	gap := Unknown{Since: s.Visits[2].Date, From: s.Visits[2].Date.AddDays(3), To: s.Visits[3].Date}
	open := Unknown{Since: last, From: last.AddDays(14), To: s.AsOf}
	s.Likely = nil
	for _, l := range band(s.Visits, last.AddDays(14)) {
		if !l.Date.After(gap.From) || !l.Date.Before(gap.To) {
			s.Likely = append(s.Likely, l)
		}
	}
	require.Equal(t, 1, countOf(traced(t, s), "likely"), "one band where all is known")
	s.Unknown = []Unknown{gap, open}
	ms := requireApart(t, s)
	axis := s.layout().axis
	bands := kindOf(ms, "likely")
	require.Len(t, bands, 2)
	require.Equal(t, axis.x(gap.From), bands[0].box.x1)
	require.Equal(t, axis.x(gap.To), bands[1].box.x0)
	require.Equal(t, axis.x(open.From), bands[1].box.x1)
	boxes := kindOf(ms, "unknown")
	require.Len(t, boxes, 2)
	require.Equal(t, axis.x(open.From), boxes[1].box.x0)
	require.Equal(t, axis.x(open.To), boxes[1].box.x1)
	all := strings.Join(textsOf(ms), " ")
	require.Contains(t, all, "not known: no valid count since "+last.Time().Format("2 Jan"))
	require.NotContains(t, all, "since "+gap.Since.Time().Format("2 Jan"), "no room for words")
	require.Contains(t, all, "last valid count too old: not known")
	require.Contains(t, s.Alt(), "Not known from "+dayMonth(gap.From)+" to "+dayMonth(gap.To)+". Not known since "+dayMonth(open.From)+": no valid count since "+dayMonth(last)+".")

	for _, u := range []Unknown{{From: last, To: last}, {Since: last, From: last.AddDays(-1), To: last}, {Since: last, From: last, To: last.AddDays(-1)}} {
		s.Unknown = []Unknown{u}
		require.ErrorIs(t, s.Check(), ErrValue)
	}
}

// What is not in the picture has no sign and no words about it.
func TestSeason_OneVisit(t *testing.T) {
	s := Season{Pest: "tospovirus", Bed: "B4", Measure: "% of plants", Percent: true, AsOf: day("2026-07-20"),
		Visits: []Visit{{Date: day("2026-07-20"), Mean: 1, Interval: &Range{0.2, 60}}}, Likely: []Likely{{day("2026-07-20"), 0.2, 90}}, Watch: []Segment{{Value: 0}}}
	all := strings.Join(textsOf(requireApart(t, s)), " ")
	require.NotContains(t, all, "where it probably is")
	require.NotContains(t, all, "The band is cut")
	require.NotContains(t, all, "Dots beside")
	require.Contains(t, all, "An arrow at the top: the interval goes on.")
	require.Contains(t, all, "watch at any find")
	require.NotContains(t, all, "watch at 0")
}

// A stage whose strip is too narrow has no part of its word: the foot has it.
func TestStages_Narrow(t *testing.T) {
	s := sampleSeason()
	s.From, s.To = day("2026-05-01"), day("2026-07-31")
	s.Stages = []StageSpan{{From: day("2026-05-10"), Label: "planted"}, {From: day("2026-07-29"), Label: "dug"}}
	ms := requireApart(t, s)
	require.Equal(t, 2, countOf(ms, "stage"))
	require.Contains(t, textsOf(ms), "planted")
	for _, w := range textsOf(ms) {
		require.NotEqual(t, "d…", w)
		require.NotEqual(t, "dug", w)
	}
	require.Contains(t, strings.Join(textsOf(ms), " "), "Strip without a word: dug from 29 Jul.")
	s.Stages[1].From = day("2026-07-10")
	ms = traced(t, s)
	require.Contains(t, textsOf(ms), "dug")
	require.NotContains(t, strings.Join(textsOf(ms), " "), "Strip without")

	p := sampleSeveral()
	for i := range p.Panels {
		p.Panels[i].Stages = []StageSpan{{From: day("2026-05-10"), Label: "planted"}, {From: p.span().to.AddDays(-2), Label: "dug"}}
	}
	require.Contains(t, strings.Join(textsOf(traced(t, p)), " "), "Strip without a word: dug.", "said once for all beds")
}

// Months have a lone letter only where none has room for more.
func TestXAxis_Months(t *testing.T) {
	words := func(from, to string, width float64) []string {
		f := sampleSeason()
		var ms []mark
		g := newPen(&nullCanvas{}, f)
		g.trace = &ms
		xAxis{day(from), day(to), 0, width}.drawMonths(g, 0, true)
		return textsOf(ms)
	}
	require.Equal(t, []string{"June", "July"}, words("2026-06-12", "2026-08-03", 500), "no A for August")
	require.Equal(t, []string{"June", "July", "Aug"}, words("2026-06-25", "2026-08-05", 260))
	require.Equal(t, []string{"July"}, words("2026-07-06", "2026-07-27", 200))
	require.Equal(t, []string{"July"}, words("2026-06-30", "2026-07-27", 200), "room in the last month is room")
	require.Equal(t, []string{"M", "J", "J", "A", "S", "O"}, words("2026-05-01", "2026-11-01", 120))
}

func TestMeasureWords(t *testing.T) {
	require.Equal(t, "percent of units: leaves with mites", measureWords("leaves with mites", true))
	require.Equal(t, "% of shoot tips with 5 or more aphids", measureWords("% of shoot tips with 5 or more aphids", true))
	require.Equal(t, "slugs per trap", measureWords("slugs per trap", false))
}

// When the plants are dug the overview says that the season is over.
func TestOverview_Over(t *testing.T) {
	o := sampleOverview(4)
	for i := range o.Rows {
		for j := range o.Rows[i].Cells {
			c := &o.Rows[i].Cells[j]
			c.Verdict, c.Over = NoVerdict, true
		}
	}
	const over = "The season is over: the plants are dug, nothing is to be done and no count is due."
	require.Equal(t, over, o.lead())
	require.Contains(t, o.Alt(), over)
	require.Equal(t, float64(cellHeight+nextStrip), o.rowHeight(), "the words have room of their own")
	counted, said := 0, 0
	for _, r := range o.Rows {
		for _, c := range r.Cells {
			counted += b2i(len(c.Visits) > 0)
		}
	}
	for _, w := range textsOf(traced(t, o)) {
		said += b2i(w == seasonOver)
	}
	require.Equal(t, counted, said)
	for i := range o.Rows {
		for j := range o.Rows[i].Cells {
			if len(o.Rows[i].Cells[j].Visits) > 0 {
				o.Rows[i].Cells[j].Over = false
				require.Equal(t, "No verdict is act or look again.", o.lead())
				require.NotContains(t, o.Alt(), "season is over")
				return
			}
		}
	}
}

// A long pest has two lines rather than a part of its name.
func TestOverview_LongPest(t *testing.T) {
	o := sampleOverview(3)
	o.Rows[0].Pest = "cucumber beetles"
	ms := requireApart(t, o)
	require.Contains(t, textsOf(ms), "Cucumber")
	require.Contains(t, textsOf(ms), "beetles")
}

func TestBeds(t *testing.T) {
	require.Equal(t, "bed C1", beds([]string{"C1"}, 3))
	require.Equal(t, "beds C1 and C3", beds([]string{"C1", "C3"}, 3))
	require.Equal(t, "4 August: traps against earwigs, beds A5, C1 and C3", Try{Date: civil.New(2026, 8, 4), Step: "traps", Pest: "earwigs", Beds: "A5, C1, C3"}.head())
	require.Equal(t, "4 August: traps, bed A5", Try{Date: civil.New(2026, 8, 4), Step: "traps", Beds: "A5"}.head())
}
