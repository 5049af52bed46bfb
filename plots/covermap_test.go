package plots

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/vg/vgimg"
	"pgregory.net/rapid"
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

func TestCoverMap_EveryBed(t *testing.T) {
	for name, fig := range map[string]CoverMap{"sample": sampleCovers(), "200": coverEdges()["200 beds of covers"].(CoverMap)} {
		ms := traced(t, fig)
		words := strings.Join(textsOf(ms), "\n")
		n := map[string]int{}
		for _, b := range fig.Beds {
			if b.Cover != "" {
				n["sown"]++
			}
			if b.Pinned {
				n["pin"]++
			}
			if b.Untreated {
				n["untreated"]++
			}
			if b.Rested {
				n["outline"]++
			}
			require.Regexp(t, `(?m)\b`+b.Code+`\b`, words, "%s: every bed is named in it or at the foot", name)
		}
		n["bed"] = len(fig.Beds)
		for _, kind := range []string{"bed", "sown", "pin", "untreated", "outline"} {
			require.NotZero(t, n[kind], kind)
			require.Equal(t, n[kind], countOf(ms, kind), "%s: %s", name, kind)
		}
	}
}

func TestCoverMap_EveryLabel(t *testing.T) {
	texts := textsOf(traced(t, sampleCovers()))
	for _, want := range []string{
		"What is sown where, winter", "A1", "cereal rye", "12 Sep to 20 Apr", "crimson clover ?", "28 Aug to 1 May", "sown 25 Aug",
		"bare", "B5", "bare on purpose", "Nursery bed by the west gate", "oats+vetch", "3",
		"1  cereal rye, 5 beds", "3  oats with hairy vetch, 6 beds", "4  phacelia, 1 bed", "left bare on purpose, to compare with",
		"rested: no dahlias", "pinned by the grower", "?", "rests on something that is not known", "10 m", "north of the field",
		"As of 20 August 2026. From: covers plan of an invented farm. Beds too small for their code: S3 oats with hairy vetch. Beds whose place is not known: H1 and H2.",
	} {
		require.Contains(t, texts, want)
	}
	one := textsOf(traced(t, coverEdges()["one bed of covers"]))
	require.Contains(t, one, "rye, 1 bed", "no number where no bed has one")
	for _, sign := range []string{"bare", "rested: no dahlias", "pinned by the grower", "?"} {
		require.NotContains(t, one, sign, "the key holds only what is in the picture")
	}
}

// The forms of a bed's words, by the room there is.
func TestSownLabel_Forms(t *testing.T) {
	rye := CoverBed{Code: "A1", Cover: "cereal rye", Short: "rye", Sow: day("2026-09-12"), End: day("2027-04-20")}
	doubt, plain, untreated := rye, rye, CoverBed{Code: "A1", Untreated: true}
	doubt.Unknown, plain.Short, plain.Cover = true, "", "cereal rye with hairy vetch and crimson clover"
	for _, c := range []struct {
		bed  CoverBed
		w, h float64
		want string
	}{
		{rye, 100, 40, "A1|cereal rye|12 Sep to 20 Apr"},
		{rye, 40, 100, "A1|cereal rye|12 Sep to 20 Apr turned"},
		{rye, 100, 26, "A1  cereal rye|12 Sep to 20 Apr"},
		{rye, 15, 200, "A1  cereal rye  12 Sep to 20 Apr turned"},
		{rye, 60, 26, "A1|cereal rye"},
		{rye, 80, 14, "A1  cereal rye"},
		{rye, 45, 14, "A1  rye"},
		{doubt, 55, 14, "A1  rye ?"},
		{rye, 34, 14, "A1 · 7 number"},
		{rye, 15, 15, "7 number"},
		{rye, 8, 8, ""},
		{plain, 110, 26, "A1|cereal rye with hairy…"},
		{plain, 110, 14, "A1  cereal rye with…"},
		{untreated, 100, 30, "A1|bare on purpose"},
		{untreated, 50, 30, "A1|bare"},
		{untreated, 20, 14, "A1"},
		{untreated, 8, 8, ""},
	} {
		l := sownLabelOf(c.bed, rect{0, 0, c.w, c.h}, 7)
		got := strings.Join(l.lines, "|")
		if l.up {
			got += " turned"
		}
		if l.numbered {
			got += " number"
		}
		require.Equal(t, c.want, got, "%v by %v", c.w, c.h)
		require.Equal(t, strings.Contains(got, "A1"), l.coded)
	}
}

// The first covers differ in pattern, all up to 56 in pattern or fill.
func TestCoverMap_Grey(t *testing.T) {
	for i, f := range sownFill {
		require.GreaterOrEqual(t, contrast(ink, f), 7.0, "words on fill %d", i)
		require.GreaterOrEqual(t, contrast(quiet, f), 3.0, "WCAG 1.4.11: the lines of fill %d", i)
		require.GreaterOrEqual(t, contrast(paper, f), 1.25, "fill %d against a bare bed", i)
	}
	seen := map[string]int{}
	for i := range len(sownFill) * patterns {
		key := fmt.Sprint(sownColour(i), i%patterns)
		require.NotContains(t, seen, key, "cover %d looks like another", i)
		seen[key] = i
	}
	// In grey, on one and the same fill: how much of the picture differs.
	var drawn []*image.Gray
	for i := range patterns {
		c := vgimg.NewWith(vgimg.UseWH(60, 60), vgimg.UseDPI(72))
		g := &pen{c: c, h: 60}
		box := rect{12, 12, 48, 48}
		g.pattern(i, color.Black, box)
		img := image.NewGray(c.Image().Bounds())
		draw.Draw(img, img.Bounds(), c.Image(), image.Point{}, draw.Src)
		dark := 0
		for y := range 60 {
			for x := range 60 {
				if img.GrayAt(x, y).Y < 200 {
					dark++
					require.True(t, x >= 11 && x <= 48 && y >= 11 && y <= 48, "pattern %d leaves its box at %d, %d", i, x, y)
				}
			}
		}
		require.Greater(t, dark, 60, "pattern %d", i)
		for j, o := range drawn {
			differ := 0
			for k := range img.Pix {
				if (img.Pix[k] < 200) != (o.Pix[k] < 200) {
					differ++
				}
			}
			require.Greater(t, differ, 100, "patterns %d and %d", i, j)
		}
		drawn = append(drawn, img)
	}
}

// A bed lies where FieldMap puts it.
func TestCoverMap_AsFieldMap(t *testing.T) {
	m, over := sampleCovers(), 0.5
	f := FieldMap{Pest: "slugs"}
	for _, b := range m.Beds {
		f.Beds = append(f.Beds, MapBed{Code: b.Code, X: b.X, Y: b.Y, EastM: b.EastM, NorthM: b.NorthM, Over: &over})
	}
	a, b := marksOf(traced(t, m), "bed"), marksOf(traced(t, f), "bed")
	require.Len(t, a, len(b))
	for i := range a {
		require.InDelta(t, a[i].box.x0, b[i].box.x0, 1e-9)
		require.InDelta(t, a[i].box.w(), b[i].box.w(), 1e-9)
		require.InDelta(t, a[i].box.y0-a[0].box.y0, b[i].box.y0-b[0].box.y0, 1e-9)
		require.InDelta(t, a[i].box.h(), b[i].box.h(), 1e-9)
	}
}

func TestCoverMap_Alt(t *testing.T) {
	m := CoverMap{Window: "winter", AsOf: day("2026-08-20"), NoPlace: []string{"H1"}, Beds: []CoverBed{
		{Code: "A1", EastM: 1, NorthM: 9, Cover: "vetch", Sow: day("2026-09-01"), End: day("2027-04-20"), Pinned: true},
		{Code: "A2", X: 2, EastM: 1, NorthM: 9, Cover: "rye", Sow: day("2026-09-12"), Rested: true},
		{Code: "A3", X: 4, EastM: 1, NorthM: 9, Cover: "rye", Unknown: true},
		{Code: "A4", X: 6, EastM: 1, NorthM: 9},
		{Code: "A5", X: 8, EastM: 1, NorthM: 9, Untreated: true}}}
	require.Equal(t, "What is sown where, winter, as of 20 August 2026: map of 5 beds, filled by what is sown in them. "+
		"Rye: A2 and A3. Vetch: A1. Left bare on purpose, to compare with: A5. Bare: A4. "+
		"In the ground: A1 1 September to 20 April and A2 sown 12 September. Rested: A2. Pinned by the grower: A1. "+
		"The choice rests on something that is not known in bed A3. Place not known: bed H1.", m.Alt())
	m.Next = "sow rye in A2 from Sat 12 Sep on."
	require.Contains(t, m.Alt(), "Place not known: bed H1. Next: sow rye in A2 from Sat 12 Sep on.")
	require.Contains(t, textsOf(traced(t, m)), "Next: sow rye in A2 from Sat 12 Sep on.")
	m.Title = "Covers for the winter"
	require.Equal(t, m.Title, m.title(), "the window is not said twice")
	many := coverEdges()["200 beds of covers"].(CoverMap)
	require.Contains(t, many.lead(), "19 more covers on 145 beds.")
}

func TestCoverMap_Errors(t *testing.T) {
	bed := func(change func(*CoverBed)) Figure {
		m := sampleCovers()
		change(&m.Beds[1])
		return m
	}
	for _, c := range []struct {
		name string
		fig  Figure
		is   error
		says string
	}{
		{"no beds", CoverMap{}, ErrNoData, "no bed has a place"},
		{"no place", CoverMap{NoPlace: []string{"H1"}}, ErrNoData, "no bed has a place"},
		{"nan place", bed(func(b *CoverBed) { b.X = math.NaN() }), ErrValue, "bed A2: its place NaN"},
		{"inf place", bed(func(b *CoverBed) { b.Y = math.Inf(1) }), ErrValue, "+Inf"},
		{"nan side", bed(func(b *CoverBed) { b.EastM = math.NaN() }), ErrValue, "its sides NaN"},
		{"flat", bed(func(b *CoverBed) { b.NorthM = 0 }), ErrValue, "1.2 by 0 m"},
		{"far", bed(func(b *CoverBed) { b.X = 1e6 }), ErrValue, "check the places"},
		{"backwards", bed(func(b *CoverBed) { b.End = b.Sow.AddDays(-1) }), ErrValue, "before it is sown"},
	} {
		requireRefused(t, c.name, c.fig, c.is, c.says)
	}
}

// Whatever is accepted can be drawn: a bed's words stay in the bed, and none
// leave the sheet.
func TestCoverMap_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := CoverMap{Window: rapid.StringN(0, 20, -1).Draw(t, "window"), NoPlace: rapid.SliceOfN(rapid.StringN(0, 9, -1), 0, 5).Draw(t, "no place")}
		names := rapid.SliceOfN(rapid.StringN(1, 40, -1), 1, 12).Draw(t, "names")
		for i := range rapid.IntRange(1, 30).Draw(t, "beds") {
			b := CoverBed{Code: rapid.StringN(0, 15, -1).Draw(t, "code"), X: float64(i%6) * 12, Y: float64(i/6) * 12,
				EastM: rapid.Float64Range(0.2, 12).Draw(t, "east"), NorthM: rapid.Float64Range(0.2, 12).Draw(t, "north"),
				Pinned: rapid.Bool().Draw(t, "pinned"), Untreated: rapid.Bool().Draw(t, "untreated"), Rested: rapid.Bool().Draw(t, "rested"), Unknown: rapid.Bool().Draw(t, "unknown")}
			if rapid.IntRange(0, 3).Draw(t, "bare") > 0 {
				b.Cover, b.Short = rapid.SampledFrom(names).Draw(t, "cover"), rapid.StringN(0, 8, -1).Draw(t, "short")
			}
			if rapid.Bool().Draw(t, "dates") {
				b.Sow = day("2026-08-01").AddDays(rapid.IntRange(0, 90).Draw(t, "sow"))
				b.End = b.Sow.AddDays(rapid.IntRange(0, 200).Draw(t, "days"))
			}
			m.Beds = append(m.Beds, b)
		}
		require.NoError(t, m.Check())
		require.NotEmpty(t, m.Alt())
		var ms []mark
		w, h := m.Size()
		g := newPen(&nullCanvas{}, m)
		g.trace = &ms
		m.draw(g)
		beds := marksOf(ms, "bed")
		require.Len(t, beds, len(m.Beds))
		field := rect{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
		for _, b := range beds {
			field = rect{min(field.x0, b.box.x0), min(field.y0, b.box.y0), max(field.x1, b.box.x1), max(field.y1, b.box.y1)}
		}
		for _, x := range marksOf(ms, "text") {
			require.True(t, x.box.x0 >= 0 && x.box.y0 >= 0 && x.box.x1 <= w && x.box.y1 <= h, "%q at %v", x.text, x.box)
			if x.box.y0 < field.y0 || x.box.y1 > field.y1 {
				continue
			}
			in := slices.ContainsFunc(beds, func(b mark) bool { return b.box.overlap(x.box) >= x.box.w()*x.box.h()-1e-6 })
			require.True(t, in, "%q lies across the edge of a bed", x.text)
		}
	})
}

func TestCoverBed_Dates(t *testing.T) {
	sow, end := day("2026-09-12"), day("2027-04-20")
	for _, c := range []struct {
		bed  CoverBed
		want string
	}{
		{CoverBed{Cover: "rye", Sow: sow, End: end}, "12 September to 20 April"},
		{CoverBed{Cover: "rye", Sow: sow}, "sown 12 September"},
		{CoverBed{Cover: "rye", End: end}, "to 20 April"},
		{CoverBed{Cover: "rye"}, ""},
		{CoverBed{Sow: sow, End: end}, ""},
	} {
		require.Equal(t, c.want, c.bed.dates(dayMonth))
	}
}
