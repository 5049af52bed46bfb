package render

import (
	"math"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/report"
)

// sampleData stands for the payload of a command.
type sampleData struct {
	Beds []sampleBed        `json:"beds"`
	ByID map[string]float64 `json:"by_id"`
	Note string             `json:"note,omitempty"`
}

type sampleBed struct {
	Bed      string     `json:"bed"`
	Mean     float64    `json:"mean"`
	K        float64    `json:"k"`
	Upper    float64    `json:"upper"`
	LastSeen civil.Date `json:"last_seen"`
	Weekly   []float64  `json:"weekly"`
}

// sampleWeek is one week of an invented farm: invented beds, cultivars,
// counts, products and sources, with every kind of content a document has.
func sampleWeek() report.Document {
	day := civil.MustParse
	plain, say := report.Plain, report.Say
	num, n := report.Num, report.Count
	const longBed = "long bed behind the old glasshouse, east half"
	items := []report.Item{
		{Mark: "do", Ref: "do:slug:hand_pick", Box: true, Head: plain("Pick slugs by torchlight in B3 and B4"),
			Due:     report.Due{From: day("2026-07-13"), By: day("2026-07-15"), Note: "from an hour after sunset"},
			Details: []report.Line{plain("Walk both sides of each bed; look under the boards and along the wooden edge."), say("Allow about {} minutes a bed. Drop what you find into soapy water.", 25)},
			Safety:  []report.Line{plain("Wear gloves: slugs can carry parasites.")},
			Why: say("B3: {} slugs per trap and night (90% interval {} to {}) against an action level of {}; {} to be over it. B4 is close behind with {}.",
				num(3.4166667, 1), num(1.92, 1), num(6.078, 1), num(2, 0), report.Chance(0.8431), num(2.75, 1)).Cite(1, 2)},
		{Mark: "do", Box: true, Head: plain("Put down wheat-straw collars in B3 ‘Crème de Pêche’"),
			Due: report.By(day("2026-07-16")), Why: plain("Prevention: dry, coarse ground slows slugs on the way in.")},
		{Mark: "do", Box: true, Done: true, Head: plain("Empty and reset the 12 earwig shelters in C1"), Due: report.On(day("2026-07-13"))},
		{Mark: "do", Box: true, Head: say("Hose the undersides of leaves in {} with plain water", longBed),
			Due:     report.Due{From: day("2026-07-14"), By: day("2026-07-14"), Note: "early, so that leaves are dry by night"},
			Details: []report.Line{say("Mites: {} per leaf on {} leaves, {} of them infested.", num(4.26, 1), n(40), report.Percent(0.625))},
			Why:     say("{} to be over {} per leaf. Predatory mites: 1 to every {} mites, not yet enough to hold.", report.Chance(0.52), num(4, 0), num(17.3, 0)).Cite(3)},
		{Mark: "do", Box: true, Head: plain("Release predatory mites in the same bed, 2 sachets a metre"),
			Due:    report.Due{From: day("2026-07-17"), By: day("2026-07-19"), Note: "in the evening, not in rain"},
			Safety: []report.Line{plain("No soap or sulfur in this bed until 31 July: both kill what you release.")},
			Why:    say("Ordered on {}; the residue of the soap spray of {} is gone by then.", day("2026-07-08"), day("2026-07-02"))},
		{Mark: "do", Box: true, Head: plain("Iron phosphate bait in B4 only, if rain keeps you from picking"),
			Due: report.Due{From: day("2026-07-15"), By: day("2026-07-16")},
			Details: []report.Line{say("Label rate {} g/m², so {} g for {} m²; {} of {} applications of the year used.",
				num(5, 1), num(62.4, 0), num(12.48, 1), 2, 4)},
			Safety: []report.Line{plain("The label and local law come first. Read it before you open the pack; keep it with you."), say("Re-entry: nobody in B4 before {} 19:30.", day("2026-07-16")), plain("Keep children, hens and dogs away from bait and pack.")},
			Why:    plain("Last rung: the other steps come first.")},
		{Mark: "do", Box: true, Head: plain("Cut back the grass verge north of D1"), Due: report.By(day("2026-07-10"))},
		{Mark: "do", Box: true, Head: plain("Sort the tags for ‘Žluťásek’ and ‘雪の花の小径’ (white, E2)")},
		{Mark: "order", Box: true, Head: plain("Order nematodes for slugs, 12 million for B3 and B4"), Due: report.By(day("2026-07-15")),
			Details: []report.Line{plain("They keep for few days only: let them come on 22 July and water them in that evening.")},
			Why:     say("Soil must be above {} °C; the mean of the last 7 days is {} °C.", num(5, 0), num(14.2, 1)).Cite(4)},
		{Mark: "order", Box: true, Head: plain("Order 30 yellow cards"), Due: report.By(day("2026-08-03"))},
		{Mark: "not", Head: plain("No cutting in B2 before the pre-harvest interval ends"),
			Due: report.Due{From: day("2026-07-19")}, Safety: []report.Line{say("Spray soap was applied on {}; the label asks for {} days.", day("2026-07-12"), 7)}},
		{Mark: "not", Head: plain("No spray in bloom in A1, A2, E2: bees are flying")},
	}
	scout := []string{"A1", "A2", "B2", "C1", "D1", longBed}
	for i, bed := range scout {
		items = append(items, report.Item{Mark: "scout", Box: true, Due: report.On(day("2026-07-13").AddDays(i / 2)),
			Head: say("{}: thrips, {} blooms", bed, 10+5*(i%2))})
	}
	items[len(items)-1].Details = []report.Line{say("Last looked at {}; a count is good for {} days.", day("2026-06-21"), 14)}
	items = append(items,
		report.Item{Mark: "left", Box: true, Head: plain("Lift the bait stations for wireworm in D1"), Due: report.By(day("2026-07-09"))},
		report.Item{Mark: "left", Box: true, Head: plain("Write down the weather of 5 to 8 July"), Due: report.By(day("2026-07-08"))})
	for i := range items {
		items[i].Number = i + 1
	}
	beds := []string{"B3 ‘Crème de Pêche’", "B4", longBed, "C1", "E2 ‘雪の花の小径’", "D1"}
	few := report.Missing("only 3 blooms looked at, 10 are needed")
	never := report.Missing("never counted")
	state := &report.Table{Columns: []report.Column{{Title: "Bed"}, {Title: "Pest"}, {Title: "Mean", Unit: "per unit"}, {Title: "Over the level"}, {Title: "Last look"}, {Title: "Verdict"}}}
	for i, r := range [][]report.Value{
		{report.Text("slug"), num(3.4166667, 1), report.Percent(0.8431), report.Day(day("2026-07-12")), report.Text("act")},
		{report.Text("slug"), num(2.75, 1), report.Percent(0.71), report.Day(day("2026-07-12")), report.Text("act")},
		{report.Text("two-spotted mite"), num(4.26, 1), report.Percent(0.52), report.Day(day("2026-07-11")), report.Text("look again")},
		{report.Text("earwig"), num(0, 1), report.Percent(0.004), report.Day(day("2026-07-13")), report.Text("hold")},
		{report.Text("thrips"), few, report.Missing("no mean to compare"), report.Day(day("2026-07-13")), report.Text("look again")},
		{report.Text("wireworm"), never, never, never, report.Text("never counted")},
	} {
		state.Rows = append(state.Rows, append([]report.Value{report.Text(beds[i])}, r...))
	}
	const perTrap, of = "per trap and night", "of the season"
	numbers := &report.Table{Columns: []report.Column{{Title: "Bed"}, {Title: "Low", Unit: perTrap, Decimals: 1}, {Title: "High", Unit: perTrap, Decimals: 1}, {Title: "k", Decimals: 2},
		{Title: "Sum", Unit: of}, {Title: "Warmth", Unit: "°C·days"}, {Title: "Rain", Unit: "mm"}, {Title: "Change", Unit: "a week"}, {Title: "Chance of passing the level"}}}
	for i, r := range [][]report.Value{
		{num(1.92, 1), num(6.078, 1), report.K(0.8125, 2), n(12), num(612.5, 0), num(8.6, 1), num(0.31, 2), report.Chance(0.8431)},
		{num(1.31, 1), num(5.77, 1), report.K(1.3, 2), n(8), num(612.5, 0), num(8.6, 1), num(0.1, 2), report.Chance(0.71)},
		{num(2.9, 1), num(6.3, 1), report.K(0.454, 2), n(170), num(598.25, 0), num(0, 1), num(-0.24, 2), report.Chance(0.52)},
		{num(0, 1), num(0.249, 1), report.K(math.Inf(1), 2), n(0), num(612.5, 0), num(8.6, 1), num(-0.001, 2), report.Chance(0.004)},
		{few, few, report.K(math.NaN(), 2), n(3), num(612.5, 0), num(8.6, 1), few, few},
		{num(0, 1), num(math.Inf(1), 1), never, n(0), num(12345.67, 0), num(8.6, 1), never, report.Chance(0.124)},
	} {
		numbers.Rows = append(numbers.Rows, append([]report.Value{report.Text(beds[i])}, r...))
	}
	made, err := time.Parse(time.RFC3339, "2026-07-13T06:40:00+01:00")
	if err != nil {
		panic(err)
	}
	return report.Document{
		Title: "The week's list: 13 to 19 July 2026", Subtitle: "12 beds, 2,040 plants; 2 beds to act on, 3 to look at again", Farm: "Example Field (invented)", TimeZone: "Europe/London",
		AsOf: day("2026-07-13"), Made: made, Facts: "2026-07-01 a1b2c3d4",
		Warnings: []report.Line{
			plain("B4: the label of the soap spray has no re-entry interval on record. Treat the bed as closed until you have read the label."),
			say("The weather of {} days in July is missing; hatching dates may be up to {} days off.", 4, 2),
		},
		Sections: []report.Section{
			{Key: "do", Title: "Do", Lead: say("{} things to do, {} beds to look at. Tick them off; in the evening, enter the numbers of what is done.", 8, 6), Items: items[:8]},
			{Key: "order", Title: "Order now", Items: items[8:10]},
			{Key: "must not", Title: "Must not", Items: items[10:12]},
			{Key: "scout", Title: "Look at", Items: items[12:18]},
			{Key: "left", Title: "Left undone", Items: items[18:]},
			{Key: "state", Title: "How the beds stand", Lead: plain("Means with their 90% interval. Small k: animals sit in clumps."), Table: state,
				Figures: []report.Figure{{Key: "trend-B3-slug", Title: "Slugs in B3, May to July", Alt: "The mean rose from 0.6 to 3.4 per trap and night in 5 weeks and passed the action level of 2 on 6 July.", File: "figures/trend-B3-slug.svg", Data: map[string]float64{"level": 2, "last": math.NaN()}}},
				Notes:   []report.Line{plain("Hot-spot counts are left out of the means.").Cite(2), plain("Earwigs eat aphids and mites as well as petals: a few are welcome.")}},
			{Key: "numbers", Title: "The numbers behind it", Table: numbers},
		},
		Events: []report.Event{
			{UID: "week-2026-W29-1@farm.invalid", Summary: "Pick slugs by torchlight, B3 and B4", Description: "Gloves; soapy water\nB3: 3.4 per trap, act", Location: "B3, B4",
				First: day("2026-07-13"), Last: day("2026-07-15"), Alarms: []report.Alarm{report.AlarmAt(0, 7, 0), report.AlarmAt(-1, 18, 0)}, Categories: []string{"slug", "hand work, night"}, Transparent: true},
			{UID: "trt-12-B4@farm.invalid", Summary: "B4 closed: re-entry interval (label) – keep out", Start: made.Add(36 * time.Hour), End: made.Add(48 * time.Hour), Sequence: 2,
				Revised: made.Add(-time.Hour), Alarms: []report.Alarm{{Offset: -15 * time.Minute, Text: "Bait in B4: keep out"}}},
			{UID: "ord-3@farm.invalid", Summary: "Order nematodes", First: day("2026-07-15"), Status: report.Cancelled, Sequence: 1, Transparent: true},
		},
		Sources: []report.Source{
			{Key: 1, Text: "Invented author (2019), Slugs in cut flowers, table 3", URL: "https://farm.invalid/a/very/long/address/that/does/not/fit/on/a/line/of/eighty/characters/slugs-in-cut-flowers.pdf", Basis: "published"},
			{Key: 2, Text: "Refuge traps: boards lifted at dawn", Basis: "common practice"},
			{Key: 3, Text: "Ratio of prey to predator at which mites are held", Basis: "from memory"},
			{Key: 4, Text: "Invented maker, leaflet on nematodes (2024)", URL: "https://farm.invalid/nematodes", Basis: "published"},
		},
		Data: sampleData{
			Beds: []sampleBed{
				{Bed: "B3", Mean: 3.4166667, K: 0.8125, Upper: 6.078, LastSeen: day("2026-07-12"), Weekly: []float64{0.6, 1.1, math.NaN(), 2.4, 3.4166667}},
				{Bed: "C1 <north & south>", Mean: 0, K: math.Inf(1), Upper: math.Inf(1), Weekly: nil},
			},
			ByID: map[string]float64{"z": 1.5, "a": math.NaN()},
		},
	}
}
