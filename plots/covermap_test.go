package plots

import (
	"fmt"
	"strings"
)

// sampleCovers is an invented field: tall beds in two blocks, flat ones beside
// them, one bed too small for words.
func sampleCovers() CoverMap {
	m := CoverMap{Window: "winter", AsOf: day("2026-08-20"), Source: "covers plan of an invented farm", NoPlace: []string{"H1", "H2"}}
	covers := []CoverBed{
		{Cover: "cereal rye", Short: "rye", Sow: day("2026-09-12"), End: day("2027-04-20")},
		{Cover: "winter barley", Short: "barley", Sow: day("2026-09-12"), End: day("2027-04-10")},
		{Cover: "crimson clover", Short: "crimson cl.", Sow: day("2026-08-28"), End: day("2027-05-01"), Unknown: true},
		{Cover: "white mustard", Short: "mustard", Sow: day("2026-08-25")},
		{},
		{Cover: "oats with hairy vetch", Short: "oats+vetch", Sow: day("2026-08-30"), End: day("2027-04-25")},
	}
	for block := range 2 {
		for i := range 12 {
			b := covers[(i*5+block*2)%6]
			b.Code, b.X, b.Y, b.EastM, b.NorthM = fmt.Sprintf("%c%d", 'A'+block, i+1), float64(i)*2, float64(block)*13, 1.2, 12
			b.Pinned, b.Rested = i%7 == 3, i%5 == 2
			if block == 1 && i == 4 {
				b.Cover, b.Untreated, b.Unknown = "", true, false
			}
			m.Beds = append(m.Beds, b)
		}
	}
	at := func(code string, x, y, e, n float64, b CoverBed) {
		b.Code, b.X, b.Y, b.EastM, b.NorthM = code, x, y, e, n
		m.Beds = append(m.Beds, b)
	}
	phacelia := CoverBed{Cover: "phacelia", Sow: day("2026-08-15"), End: day("2026-12-01")}
	at("N1", 26, 0, 9, 4, phacelia)
	at("Nursery bed by the west gate", 26, 6, 9, 1.2, covers[0])
	at("S1", 26, 9, 5, 4, CoverBed{Untreated: true, Pinned: true})
	at("S2", 32, 9, 1.5, 1.2, covers[5])
	at("S3", 32, 11.5, 0.4, 0.4, covers[5])
	return m
}

func coverEdges() map[string]Figure {
	dates := CoverBed{Sow: day("2026-09-01"), End: day("2026-09-01")}
	one := dates
	one.Code, one.EastM, one.NorthM, one.Cover = "A1", 1.2, 20, "rye"
	grid := CoverMap{Window: "rest of summer"}
	for i := range 200 {
		b := dates
		b.Code, b.X, b.Y, b.EastM, b.NorthM = fmt.Sprintf("K%d", i+1), float64(i%20)*2, float64(i/20)*6, 1.2, 5
		if i%9 > 0 {
			b.Cover = fmt.Sprintf("cover crop number %d", i%23)
		}
		b.Pinned, b.Rested, b.Unknown, b.Untreated = i%11 == 0, i%7 == 0, i%13 == 0, i%27 == 0
		grid.Beds = append(grid.Beds, b)
	}
	names := sampleCovers()
	names.Title, names.Window, names.Source = strings.Repeat(long, 3), long, strings.Repeat(long, 9)
	for i := range names.Beds {
		b := &names.Beds[i]
		if b.Cover != "" {
			b.Cover, b.Short = fmt.Sprint(i, " ", long, long), fmt.Sprint(i, " ", long)
		}
		if i%2 == 0 {
			b.Code = fmt.Sprint(i, long)
		}
		names.NoPlace = append(names.NoPlace, fmt.Sprint(i, long))
	}
	bare := CoverMap{Beds: []CoverBed{{Code: "A1", EastM: 3, NorthM: 3}, {Code: "A2", X: 4, EastM: 3, NorthM: 3, Untreated: true}}}
	return map[string]Figure{"one bed of covers": CoverMap{Beds: []CoverBed{one}}, "200 beds of covers": grid, "long covers": names, "bare beds": bare}
}
