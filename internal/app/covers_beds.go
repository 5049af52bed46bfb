package app

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/cover"
	"leafturn/internal/farm"
	"leafturn/internal/store"
)

// coverDates are the next planting day after today, the day by which beds are
// dug before it, and the planting day a year earlier.
func (a *App) coverDates(today civil.Date) (dig, plant, before civil.Date) {
	planting := func(year int) civil.Date { return a.farm.LastFrost.In(year).AddDays(plantingAfterFrost) }
	year := today.Year
	for !planting(year).After(today) {
		year++
	}
	plant, before = planting(year), planting(year-1)
	for {
		if dig = a.farm.FirstFrost.In(year).AddDays(digAfterFrost); dig.Before(plant) {
			return dig, plant, before
		}
		year--
	}
}

// seasonDay is the day whose counts a plan for the coming year rests on: the
// day itself, and before planting the end of the season before.
func (a *App) seasonDay(day civil.Date) civil.Date {
	year := a.farm.Season(day)
	if a.farm.LastFrost.IsZero() || !day.Before(year.Day(a.farm.LastFrost).AddDays(plantingAfterFrost)) {
		return day
	}
	return year.Back(1).Last
}

// weekChances are the chances of being over the action level, of each week in
// which a bed's pest was counted: the highest of the week. They are those of the
// days of the counts: a soil pest has a level before planting alone, and what
// was found then is not undone by the stage that the bed has reached today.
func weekChances(x assess.Assessment) []float64 {
	best := map[[2]int]float64{}
	for _, r := range x.Readings {
		if !r.Valid() || math.IsNaN(r.ChanceThen) {
			continue
		}
		year, week := r.Visit.Date.ISOWeek()
		best[[2]int{year, week}] = max(best[[2]int{year, week}], r.ChanceThen)
	}
	var out []float64
	for _, c := range best {
		out = append(out, c)
	}
	slices.Sort(out)
	return out
}

// carriedPressures are each bed's pressures for the coming season, by bed code,
// of every pest that is watched.
func (a *App) carriedPressures(s snapshot, list []assess.Assessment) (map[string][]cover.Pressure, error) {
	chances := map[[2]string][]float64{}
	for _, x := range list {
		chances[[2]string{x.Bed.Code, x.Pest.Key}] = weekChances(x)
	}
	out := map[string][]cover.Pressure{}
	for _, pest := range a.watched(s) {
		var seasons []cover.Season
		for _, b := range s.beds {
			seasons = append(seasons, cover.Season{Bed: b.Code, AreaM2: b.AreaM2(), Chances: chances[[2]string{b.Code, pest}]})
		}
		ps, err := cover.Carry(pest, seasons)
		if err != nil {
			return nil, err
		}
		for i, b := range s.beds {
			out[b.Code] = append(out[b.Code], ps[i])
		}
	}
	return out, nil
}

// thisSpring puts what was counted since the season's end of pests that stay in
// their bed, such as wireworm baits before planting, in the place of last
// season's.
func (a *App) thisSpring(ctx context.Context, s snapshot, today civil.Date, byBed map[string][]cover.Pressure) error {
	if !s.on.Before(today) {
		return nil
	}
	now, err := a.snapshot(ctx, today)
	if err != nil {
		return err
	}
	list, err := a.assessments(now, false)
	if err != nil {
		return err
	}
	newer, err := a.carriedPressures(now, list)
	if err != nil {
		return err
	}
	for code, ps := range newer {
		for _, p := range ps {
			if !p.Known || !cover.BedBound(p.Pest) {
				continue
			}
			p.Why += fmt.Sprintf(" (%s)", a.farm.Season(today).Name())
			i := slices.IndexFunc(byBed[code], func(x cover.Pressure) bool { return x.Pest == p.Pest })
			if i < 0 {
				byBed[code] = append(byBed[code], p)
			} else {
				byBed[code][i] = p
			}
		}
	}
	return nil
}

// fieldPressures are the pressures of the whole field: for a pest that stays in
// its bed the highest of any bed.
func (a *App) fieldPressures(s snapshot, list []assess.Assessment) ([]cover.Pressure, error) {
	byBed, err := a.carriedPressures(s, list)
	if err != nil {
		return nil, err
	}
	best := map[string]cover.Pressure{}
	for _, b := range s.beds {
		for _, p := range byBed[b.Code] {
			if old, ok := best[p.Pest]; !ok || p.Known && (!old.Known || p.Score > old.Score) {
				best[p.Pest] = p
			}
		}
	}
	var out []cover.Pressure
	for _, k := range a.watched(s) {
		if p, ok := best[k]; ok {
			out = append(out, p)
		} else {
			out = append(out, cover.Pressure{Pest: k})
		}
	}
	return out, nil
}

// coverBeds are the beds that covers are planned for, beds of dahlias outdoors,
// and the others with the reason: no frost date speaks of a bed under cover, and
// no planting day of dahlias of a bed of something else.
func coverBeds(beds []farm.Bed) (planned []farm.Bed, out []string) {
	for _, b := range beds {
		switch {
		case b.Site == farm.House:
			out = append(out, b.Code+" is under cover, where frost dates say nothing")
		case b.CropWord() != farm.Bed{}.CropWord():
			out = append(out, b.Code+" grows "+b.CropWord())
		default:
			planned = append(planned, b)
		}
	}
	return planned, out
}

// besideM is how wide a path may be for two beds still to be neighbours.
const besideM = 2.0

// bedRows lays beds out in rows of neighbours: beds of a block that lie side by
// side with no more than a path of 2 m between their long sides. Where no bed of
// a block has a place, its beds are taken to lie in the order of their codes.
func bedRows(beds []farm.Bed) map[string]cover.BedMore {
	blocks := map[string][]farm.Bed{}
	for _, b := range beds {
		blocks[b.Block] = append(blocks[b.Block], b)
	}
	out := map[string]cover.BedMore{}
	for name, block := range blocks {
		placed := slices.DeleteFunc(slices.Clone(block), func(b farm.Bed) bool { return b.X == nil || b.Y == nil })
		if len(placed) == 0 {
			slices.SortFunc(block, func(a, b farm.Bed) int { return strings.Compare(a.Code, b.Code) })
			for i, b := range block {
				out[b.Code] = cover.BedMore{Row: "block " + name, Place: float64(i)}
			}
			continue
		}
		slices.SortFunc(placed, func(a, b farm.Bed) int {
			if c := cmp.Compare(*a.X, *b.X); c != 0 {
				return c
			}
			return cmp.Compare(*a.Y, *b.Y)
		})
		row := ""
		for i, b := range placed {
			if i == 0 || !beside(placed[i-1], b) {
				row = "from " + b.Code
			}
			out[b.Code] = cover.BedMore{Row: row, Place: float64(i)}
		}
	}
	return out
}

// beside reports whether b lies along a, to its north, with no more than a path
// between: they overlap by half of the shorter one's length at least.
func beside(a, b farm.Bed) bool {
	overlap := min(*a.X+a.LengthM, *b.X+b.LengthM) - max(*a.X, *b.X)
	gap := *b.Y - (*a.Y + a.WidthM)
	return overlap >= min(a.LengthM, b.LengthM)/2 && gap >= 0 && gap <= besideM
}

// virusesFound are the viruses found in a bed this season, as covers are looked
// up for them.
func virusesFound(list []assess.Assessment, bed string) []string {
	for _, x := range list {
		if x.Bed.Code != bed || x.Pest.Key != "tospovirus" {
			continue
		}
		for _, r := range x.Readings {
			if r.Valid() && r.Value > 0 {
				return []string{"tospovirus"}
			}
		}
	}
	return nil
}

// coverSite is what the plan needs of the farm's climate. Soil temperatures
// are the monthly means of the days measured.
func (a *App) coverSite(days map[civil.Date]farm.WeatherDay) cover.Site {
	site := cover.Site{LastFrost: a.farm.LastFrost, FirstFrost: a.farm.FirstFrost, Zone: a.farm.HardinessZone, Units: a.farm.Units}
	var sum, n [12]float64
	for d, w := range days {
		if w.SoilC != nil && !w.Forecast {
			sum[d.Month-1] += *w.SoilC
			n[d.Month-1]++
		}
	}
	for m := range sum {
		if n[m] >= 10 {
			v := sum[m] / n[m]
			site.SoilC[m] = &v
		}
	}
	return site
}

// standing is a cover that a bed carries today.
type standing struct {
	name string
	kill civil.Date
	free civil.Date // the first day on which it can be sown again
}

// coverHistory reads the covers planned in the last four years, those of them
// that stand today, and the weather of the last year.
func (a *App) coverHistory(ctx context.Context, on civil.Date) (map[string][]cover.Grown, map[string]standing, map[civil.Date]farm.WeatherDay, error) {
	out := map[string][]cover.Grown{}
	now := map[string]standing{}
	days := map[civil.Date]farm.WeatherDay{}
	err := a.st.View(ctx, func(tx *store.Tx) error {
		past, err := tx.Covers(store.Filter{From: on.AddDays(-4 * 366), To: on})
		if err != nil {
			return err
		}
		for _, p := range past {
			for _, c := range a.cat.Covers() {
				if c.Key == p.Cover {
					if p.Kill.After(on) {
						x := standing{c.Name, p.Kill, p.Kill}
						if c.LeadDaysDefault != nil {
							x.free = p.Kill.AddDays(int(*c.LeadDaysDefault))
						}
						now[p.Bed] = x
					}
					out[p.Bed] = append(out[p.Bed], cover.Grown{Family: strings.Fields(c.Family)[0], Year: p.Sow.Year})
				}
			}
		}
		ws, err := tx.Weather(on.AddDays(-365), on)
		for _, w := range ws {
			days[w.Date] = w
		}
		return err
	})
	return out, now, days, err
}
