package plots

import (
	"bytes"
	"fmt"
	"image"
	"image/draw"
	"image/png"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
)

// All farms, beds and counts here are invented. The intervals are plausible
// widths, not computed by the program's estimator.

func day(s string) civil.Date { return civil.MustParse(s) }

// season makes weekly visits of n units from first on. level(week) is the true
// mean; counts are gamma-Poisson with dispersion k.
func season(seed uint64, first civil.Date, weeks, n int, k float64, level func(week int) float64) []Visit {
	r := rand.New(rand.NewPCG(seed, 7))
	var out []Visit
	for w := range weeks {
		v := Visit{Date: first.AddDays(7*w + int(seed%3))}
		sum := 0
		for range n {
			c := poisson(r, level(w)*gamma(r, k)/k)
			v.Counts = append(v.Counts, c)
			sum += c
		}
		v.Mean = float64(sum) / float64(n)
		se := math.Sqrt((v.Mean + v.Mean*v.Mean/k + 0.05) / float64(n))
		v.Interval = &Range{max(0, v.Mean-1.6*se), v.Mean + 2.4*se}
		out = append(out, v)
	}
	return out
}

// gamma draws with shape k and scale 1, k a multiple of 0.5 made of
// exponentials and half a squared normal.
func gamma(r *rand.Rand, k float64) float64 {
	g := 0.0
	for ; k >= 1; k-- {
		g += r.ExpFloat64()
	}
	if k > 0.25 {
		z := r.NormFloat64()
		g += z * z / 2
	}
	return g
}

func poisson(r *rand.Rand, mean float64) int {
	n, t := 0, r.ExpFloat64()
	for t < mean {
		n++
		t += r.ExpFloat64()
	}
	return n
}

func wave(peak, at, width float64) func(int) float64 {
	return func(w int) float64 { return 0.3 + peak*math.Exp(-math.Pow((float64(w)-at)/width, 2)) }
}

var stages = []StageSpan{
	{From: day("2026-05-04"), Label: "planted"}, {From: day("2026-05-25"), Label: "emerged"},
	{From: day("2026-06-15"), Label: "pinched"}, {From: day("2026-07-06"), Label: "budding"},
	{From: day("2026-07-27"), Label: "bloom"},
}

func samplePanel(bed string, seed uint64, peak float64) Panel {
	vs := season(seed, day("2026-05-04"), 18, 10, 1, wave(peak, float64(4+seed%5), 3.5))
	vs[7].Invalid = "soil was dry"
	return Panel{
		Bed: bed, Visits: vs, Stages: stages,
		Act: []Segment{
			{To: day("2026-06-14"), Value: 3, Label: "young plants"},
			{From: day("2026-06-15"), Value: 6, Label: "from pinching on"},
		},
		Watch: []Segment{{Value: 1.5}},
	}
}

func sampleSingle() Pressure {
	b := samplePanel("B3", 1, 9)
	b.Treatments = []Event{{day("2026-06-03"), "iron phosphate bait"}, {day("2026-06-24"), "iron phosphate bait"}}
	b.Releases = []Event{{day("2026-06-12"), "nematodes"}}
	return Pressure{
		Pest: "slugs", Measure: "slugs per trap", AsOf: day("2026-09-01"),
		Source: "board traps read at dawn, 10 per bed (invented data)",
		Panels: []Panel{b}, To: day("2026-09-14"),
	}
}

func sampleSeveral() Pressure {
	p := sampleSingle()
	p.Scale = Sqrt
	second, third := samplePanel("B4", 2, 3), samplePanel("C1", 6, 24)
	second.Act, second.Watch = nil, nil
	third.Treatments = []Event{{day("2026-06-17"), "hand picking"}, {day("2026-07-01"), "iron phosphate bait"}, {day("2026-08-20"), "iron phosphate bait"}}
	p.Panels = append(p.Panels, second, third)
	return p
}

func samplePresence() Pressure {
	var vs []Visit
	for i, pct := range []float64{0, 0, 2, 4, 10, 24, 38, 30, 12, 6} {
		v := Visit{Date: day("2026-06-22").AddDays(7 * i), Mean: pct, Interval: &Range{max(0, pct-9), min(100, pct+12)}}
		if i > 6 {
			v.Date = v.Date.AddDays(21)
		}
		vs = append(vs, v)
	}
	vs[3].Invalid = "leaves were wet"
	return Pressure{Pest: "spider mites", Measure: "leaves with mites", Percent: true, AsOf: day("2026-09-20"),
		Source: "50 leaves from 25 plants (invented data)",
		Panels: []Panel{{Bed: "D2", Visits: vs, Act: []Segment{{Value: 30}}, Watch: []Segment{{Value: 10, Label: "look twice a week"}},
			Releases: []Event{{day("2026-07-20"), "predatory mites"}, {day("2026-08-03"), "predatory mites"}},
			Stages:   stages[2:]}}}
}

func sampleOverview(beds int) Overview {
	o := Overview{AsOf: day("2026-09-01"), Source: "weekly rounds (invented data)", To: day("2026-10-10")}
	for j := range beds {
		o.Columns = append(o.Columns, fmt.Sprintf("%c%d", 'A'+j%26, j/26+1))
	}
	for i, r := range []Row{
		{Pest: "slugs", Measure: "slugs per trap"},
		{Pest: "spider mites", Measure: "leaves with mites", Percent: true},
		{Pest: "earwigs", Measure: "earwigs per shelter trap", Scale: Sqrt},
		{Pest: "thrips", Measure: "thrips per bloom"},
		{Pest: "wireworms", Measure: "wireworms per bait"},
	} {
		for j := range beds {
			seed := uint64(i*1000 + j)
			c := Cell{Act: []Segment{{Value: []float64{5, 30, 20, 10, 1}[i]}}, Watch: []Segment{{Value: []float64{2, 10, 8, 4, 0.5}[i]}}}
			if seed%7 != 3 {
				peak := []float64{4, 25, 16, 8, 0.6}[i] * float64(1+j%3) * 0.7
				c.Visits = season(seed, day("2026-05-04"), 17, 10, 1.5, wave(peak, 5+float64(j%6)*2, 4))
				for k := range c.Visits {
					c.Visits[k].Counts = nil
					if i == 1 {
						c.Visits[k].Mean = min(100, c.Visits[k].Mean)
					}
				}
				c.Visits[5].Invalid = "wet"
				c.Verdict = []Verdict{Hold, Act, LookAgain, Hold, Stale}[(i+2*j)%5]
			}
			r.Cells = append(r.Cells, c)
		}
		o.Rows = append(o.Rows, r)
	}
	return o
}

func sampleMap() FieldMap {
	m := FieldMap{Pest: "slugs", Level: "5 slugs per trap", AsOf: day("2026-07-13"), Source: "board traps, 10 per bed (invented data)", NoPlace: []string{"H1"}}
	chance := []float64{0, 0.004, 0.08, 0.23, 0.41, 0.55, 0.68, 0.87, 0.93, 0.997, 1, 0.15}
	for block := range 2 {
		for i := range 12 {
			b := MapBed{Code: fmt.Sprintf("%c%d", 'A'+block, i+1), X: float64(i) * 2, Y: float64(block) * 13, EastM: 1.2, NorthM: 12}
			if (i+block)%6 != 5 {
				v := chance[(i*5+block*7)%12]
				b.Over, b.Act = &v, v > 0.8
			}
			m.Beds = append(m.Beds, b)
		}
	}
	c := 0.72
	m.Beds = append(m.Beds, MapBed{Code: "N1", X: 26, Y: 0, EastM: 9, NorthM: 4, Over: &c}, MapBed{Code: "Nursery bed by the west gate", X: 26, Y: 6, EastM: 9, NorthM: 1.2, Over: &c},
		MapBed{Code: "S1", X: 26, Y: 9, EastM: 9, NorthM: 4})
	return m
}

func samples() map[string]Figure {
	single := sampleSingle()
	single.Scale = Log1p
	out := map[string]Figure{
		"pressure-one": sampleSingle(), "pressure-log": single, "pressure-three": sampleSeveral(), "pressure-presence": samplePresence(),
		"overview": sampleOverview(8), "overview-24": sampleOverview(24), "overview-2": sampleOverview(2), "fieldmap": sampleMap(),
		"covermap": sampleCovers(), "bloomcalendar": sampleBloom(),
		"fan": sampleFan(3), "degreedays": sampleSums(), "worked": sampleWorked(), "sampleplan": samplePlan(),
		"season": sampleSeason(), "years": sampleYears(),
	}
	maps.Copy(out, onPaper())
	return out
}

// TestSamples saves every sample in every format (PNG: one). PLOTS_OUT=<folder> keeps
// them, to be looked at, all PNGs with a grey copy.
func TestSamples(t *testing.T) {
	dir, keep := os.LookupEnv("PLOTS_OUT")
	if !keep {
		dir = t.TempDir()
	}
	for name, fig := range samples() {
		for _, ext := range Formats {
			if ext == "png" && !keep && name != "pressure-one" {
				continue // slow; the size of one is enough
			}
			path := filepath.Join(dir, name+"."+ext)
			require.NoError(t, Save(fig, path), path)
			st, err := os.Stat(path)
			require.NoError(t, err)
			require.Greater(t, st.Size(), int64(4000), path)
		}
		if keep {
			saveGrey(t, filepath.Join(dir, name+".png"), filepath.Join(dir, "grey-"+name+".png"))
		}
	}
	if keep {
		for name, fig := range edgeFigures() {
			require.NoError(t, Save(fig, filepath.Join(dir, "edge-"+strings.ReplaceAll(name, " ", "-")+".png")))
		}
	}
	left, err := filepath.Glob(filepath.Join(dir, ".*"))
	require.NoError(t, err)
	require.Empty(t, left, "temporary files left behind")
}

func saveGrey(t *testing.T, from, to string) {
	f, err := os.Open(from)
	require.NoError(t, err)
	defer f.Close()
	src, err := png.Decode(f)
	require.NoError(t, err)
	grey := image.NewGray(src.Bounds())
	draw.Draw(grey, grey.Bounds(), src, image.Point{}, draw.Src)
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, grey))
	require.NoError(t, os.WriteFile(to, b.Bytes(), 0o644))
}
