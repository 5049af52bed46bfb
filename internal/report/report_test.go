package report_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	. "leafturn/internal/report"
)

func TestValues(t *testing.T) {
	d := civil.MustParse("2026-07-13")
	for _, c := range []struct {
		v      Value
		kind   string
		num    float64
		known  bool
		reason string
	}{
		{Value{}, "unknown", 0, false, "not given"},
		{Text(""), "text", 0, false, ""},
		{Num(3.4166667, 1), "number", 3.4166667, true, ""},
		{Num(math.NaN(), 1), "unknown", 0, false, "could not be computed"},
		{Num(math.Inf(1), 1), "unknown", 0, false, "no upper limit"},
		{Num(math.Inf(-1), 1), "unknown", 0, false, "no lower limit"},
		{K(0.5, 2), "number", 0.5, true, ""},
		{K(math.Inf(1), 2), "unknown", 0, false, "Poisson limit"},
		{K(math.NaN(), 2), "unknown", 0, false, "could not be computed"},
		{Count(0), "count", 0, true, ""},
		{Percent(0.25), "percent", 0.25, true, ""},
		{Percent(1.01), "unknown", 0, false, "could not be computed"},
		{Chance(math.NaN()), "unknown", 0, false, "could not be computed"},
		{Chance(1), "chance", 1, true, ""},
		{Day(d), "date", 0, false, ""},
		{Day(civil.Date{}), "unknown", 0, false, "no date known"},
		{Missing("never counted"), "unknown", 0, false, "never counted"},
	} {
		require.Equal(t, c.kind, c.v.Kind().String())
		f, ok := c.v.Float()
		require.Equal(t, c.known, ok)
		require.Equal(t, c.num, f, "full precision")
		require.Equal(t, c.reason, c.v.Reason())
	}
	require.Equal(t, 15, Num(1, 99).Decimals())
	require.Equal(t, 0, Num(1, -1).Decimals())
	v := Count(7).As("mites", "per leaf")
	require.Equal(t, "mites", v.Name())
	require.Equal(t, "per leaf", v.Unit())
	require.Equal(t, 7, v.Int())
	require.Equal(t, d, Day(d).Date())
	require.Equal(t, "Poisson", K(math.Inf(1), 1).Words())
}

func TestLines(t *testing.T) {
	l := Say("{}: {} of {}", "B{}3", 2, Num(4.5, 1))
	require.Equal(t, []Value{Text("B{}3"), Text(": "), Count(2), Text(" of "), Num(4.5, 1)}, l.Parts())
	cited := l.Cite(1)
	require.Empty(t, l.Cites(), "the first line is not changed")
	require.Equal(t, []int{1, 3}, cited.Cite(3).Cites())
	require.True(t, Plain("").IsZero())
	require.Equal(t, []Value{Text("a {} b")}, Plain("a {} b").Parts(), "plain words are not searched")
	require.Len(t, Lines("a", "b"), 2)
	require.Panics(t, func() { Say("{}") })
	require.Panics(t, func() { Say("no place", 1) })
	require.Panics(t, func() { Say("{}", 1.5) }, "a bare float has no decimals")
}

func TestTableDecimals(t *testing.T) {
	tab := Table{Columns: []Column{{Decimals: 1}, {}}, Rows: [][]Value{{Num(1, 0), Num(2, 2)}, {Missing("x"), Text("y")}}}
	require.Equal(t, 1, tab.Decimals(0))
	require.Equal(t, 2, tab.Decimals(1))
}

func TestEventDaysAndAlarms(t *testing.T) {
	e := Event{First: civil.MustParse("2026-12-31")}
	require.True(t, e.AllDay())
	require.Equal(t, "2027-01-01", e.EndDay().String())
	e.Last = civil.MustParse("2027-01-02")
	require.Equal(t, "2027-01-03", e.EndDay().String())
	require.Equal(t, 7*time.Hour, AlarmAt(0, 7, 0).Offset)
	require.Equal(t, -6*time.Hour, AlarmAt(-1, 18, 0).Offset)
	require.Equal(t, 30*time.Hour+15*time.Minute, AlarmAt(1, 6, 15).Offset)
}

func TestDue(t *testing.T) {
	d := civil.MustParse("2026-07-13")
	require.True(t, Due{}.IsZero())
	require.False(t, Due{Note: "x"}.IsZero())
	require.Equal(t, Due{From: d, By: d}, On(d))
	require.Equal(t, Due{By: d}, By(d))
}

func TestValidate(t *testing.T) {
	d := civil.MustParse("2026-07-13")
	good := func() Document {
		return Document{Title: "t", AsOf: d, Sources: []Source{{Key: 1, Text: "s"}},
			Warnings: []Line{Plain("w").Cite(1)},
			Sections: []Section{{Title: "S", Table: &Table{Columns: []Column{{Title: "c"}}, Rows: [][]Value{{Count(1)}}},
				Items: []Item{{Number: 1, Head: Plain("h")}, {Head: Plain("h")}, {Head: Plain("h")}}}},
			Events: []Event{{UID: "u", Summary: "s", First: d}, {UID: "v", Summary: "s", Start: d.Time()}}}
	}
	ok := good()
	require.NoError(t, ok.Validate())
	for want, spoil := range map[string]func(*Document){
		"no title":                         func(x *Document) { x.Title = "" },
		"no as-of date":                    func(x *Document) { x.AsOf = civil.Date{} },
		"source key 0":                     func(x *Document) { x.Sources = append(x.Sources, Source{}) },
		"source key 1 is":                  func(x *Document) { x.Sources = append(x.Sources, Source{Key: 1}) },
		"a warning refers to source [9]":   func(x *Document) { x.Warnings = []Line{Plain("w").Cite(9)} },
		`"S" refers to source [8]`:         func(x *Document) { x.Sections[0].Items[0].Safety = []Line{Plain("w").Cite(8)} },
		"without columns":                  func(x *Document) { x.Sections[0].Table = &Table{} },
		"row 1 has 2 cells for 1 columns":  func(x *Document) { x.Sections[0].Table.Rows[0] = make([]Value, 2) },
		"item number 1 is":                 func(x *Document) { x.Sections[0].Items[1].Number = 1 },
		"item 0 has no head":               func(x *Document) { x.Sections[0].Items[2].Head = Line{} },
		"due by 2026-07-12, before it may": func(x *Document) { x.Sections[0].Items[0].Due = Due{From: d, By: d.AddDays(-1)} },
		"no UID":                           func(x *Document) { x.Events[0].UID = "" },
		"UID used twice":                   func(x *Document) { x.Events[1].UID = "u" },
		"no summary":                       func(x *Document) { x.Events[1].Summary = "" },
		"either a first day or a start":    func(x *Document) { x.Events[1].First = d },
		`event 1 ("u"): needs either`:      func(x *Document) { x.Events[0].First = civil.Date{} },
		"last day 2026-07-12 is before":    func(x *Document) { x.Events[0].Last = d.AddDays(-1) },
		"ends before it starts":            func(x *Document) { x.Events[1].End = d.Time().Add(-time.Second) },
		"an alarm from the end":            func(x *Document) { x.Events[1].Alarms = []Alarm{{FromEnd: true}} },
		"whole days belong to no zone":     func(x *Document) { x.Events[0].Zone = "Europe/Amsterdam" },
		"Local is another one":             func(x *Document) { x.Events[1].Zone = "Local" },
		"sequence -1":                      func(x *Document) { x.Events[0].Sequence = -1 },
		`status "MAYBE"`:                   func(x *Document) { x.Events[0].Status = "MAYBE" },
	} {
		x := good()
		spoil(&x)
		require.ErrorContains(t, x.Validate(), want)
	}
}

func TestJoinAndReword(t *testing.T) {
	l := Join("; ", Say("{} slugs", Count(3)).Cite(2), Line{}, Plain("in A1").Cite(2, 1))
	require.Equal(t, []int{2, 1}, l.Cites())
	words := ""
	for _, v := range l.Reword(strings.ToUpper).Parts() {
		if v.Kind() == KindCount {
			words += "three"
			require.Equal(t, 3, v.Int())
		}
		words += v.Words()
	}
	require.Equal(t, "three SLUGS; IN A1", words)
	require.Equal(t, []int{2, 1}, l.Reword(strings.ToUpper).Cites())
	require.True(t, Join(", ").IsZero())
}

func TestOnlyCited(t *testing.T) {
	d := Document{
		Warnings: []Line{Plain("w").Cite(4)},
		Sections: []Section{{Lead: Plain("l").Cite(3), Items: []Item{{Head: Plain("h"), Details: Lines("d"), Safety: []Line{Plain("s").Cite(6)}, Why: Plain("y").Cite(3)}}, Notes: []Line{Plain("n").Cite(4, 1)}}},
	}
	for k := range 6 {
		d.Sources = append(d.Sources, Source{Key: k + 1, Text: string(rune('a' + k))})
	}
	d.OnlyCited()
	var left []string
	for i, s := range d.Sources {
		require.Equal(t, i+1, s.Key)
		left = append(left, s.Text)
	}
	require.Equal(t, []string{"a", "c", "d", "f"}, left)
	s := d.Sections[0]
	require.Equal(t, [][]int{{3}, {2}, {4}, {2}, {3, 1}}, [][]int{d.Warnings[0].Cites(), s.Lead.Cites(), s.Items[0].Safety[0].Cites(), s.Items[0].Why.Cites(), s.Notes[0].Cites()})
}

// A source that two documents have is referred to once.
func TestAppend_SameSource(t *testing.T) {
	d := Document{Sources: []Source{{Key: 1, Text: "a"}}}
	d.Append(Document{Sources: []Source{{Key: 1, Text: "a"}, {Key: 2, Text: "a"}}, Sections: []Section{{Lead: Plain("x").Cite(1, 2)}}})
	require.Equal(t, []int{1}, d.Sections[0].Lead.Cites())
	require.Len(t, d.Sources, 1)
}
