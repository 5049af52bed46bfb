package plots

import (
	"fmt"
	"strings"

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
