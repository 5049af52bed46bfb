package app

import (
	"fmt"
	"strings"

	"leafturn/internal/cover"
	"leafturn/internal/ingest"
	"leafturn/internal/report"
	"leafturn/internal/units"
)

// CoverNeed is what the plan needs of one crop's seed.
type CoverNeed struct {
	Cover      string    `json:"cover"`
	Name       string    `json:"name"`
	Latin      string    `json:"latin"`
	Beds       []string  `json:"beds"`
	AreaM2     float64   `json:"area_m2"`
	RateKgHa   *float64  `json:"rate_kg_per_ha"`
	RateBasis  string    `json:"rate_basis"`
	Shares     []float64 `json:"shares"`
	SeedKg     *float64  `json:"seed_kg"`
	BagKg      *float64  `json:"bag_kg"`
	Bags       *int      `json:"bags"`
	LeftKg     *float64  `json:"left_kg"`
	PriceUSDKg *float64  `json:"price_usd_per_kg"`
	PriceBasis string    `json:"price_basis"`
	PriceYear  string    `json:"price_year"`
	CostUSD    *float64  `json:"cost_usd"`
}

// CoverSeedList is all the seed of a plan.
type CoverSeedList struct {
	Seeds    []CoverNeed `json:"seeds"`
	TotalUSD float64     `json:"priced_usd"`
	Unpriced []string    `json:"unpriced"`
}

func (a *App) seedData(in coverPlan, list []cover.SeedNeed) CoverSeedList {
	d := CoverSeedList{Seeds: []CoverNeed{}}
	for _, n := range list {
		c, _ := a.coverByKey(n.Crop.ID)
		x := CoverNeed{
			Cover: n.Crop.ID, Name: n.Crop.Name, Latin: n.Crop.Latin, Beds: n.Beds, AreaM2: n.AreaM2, RateKgHa: n.Crop.RateKgHa,
			RateBasis: c.Bases.Rate, Shares: n.Shares, PriceUSDKg: n.Crop.USDPerKg,
		}
		if n.OK {
			x.SeedKg = &n.Kg
		}
		if n.BagKg > 0 {
			x.BagKg = &n.BagKg
			if n.OK {
				x.Bags, x.LeftKg = &n.Bags, &n.LeftKg
			}
		}
		switch {
		case in.prices[n.Crop.ID]:
			x.PriceBasis = "the farm's own"
		case n.Crop.USDPerKg != nil:
			x.PriceBasis, x.PriceYear = c.Bases.Price, c.PriceYear
		}
		if n.Priced {
			x.CostUSD = &n.USD
		}
		d.Seeds = append(d.Seeds, x)
	}
	usd, unknown := cover.SeedTotal(list)
	d.TotalUSD, d.Unpriced = usd, orEmpty(unknown)
	return d
}

// seedSection is the list to buy from.
func (a *App) seedSection(in coverPlan, plan cover.Plan, src *sources) (report.Section, CoverSeedList) {
	list := cover.SeedList(plan, in.beds, in.bags)
	data := a.seedData(in, list)
	sec := report.Section{Key: "seed", Title: "Seed to buy"}
	for _, n := range list {
		sec.Items = append(sec.Items, a.seedItem(in, n, len(in.beds), src))
	}
	if len(list) == 0 {
		sec.Lead = report.Plain("No seed: no bed gets a cover.")
		return sec, data
	}
	total := fmt.Sprintf("together %.2f USD", data.TotalUSD)
	switch {
	case len(data.Unpriced) == len(list):
		total = "what it costs is not known: no price of any of it is"
	case len(data.Unpriced) > 0:
		total += ", without what has no known price: " + strings.Join(data.Unpriced, "; ")
	}
	sec.Notes = append(sec.Notes, report.Plain(total))
	for _, n := range list {
		if n.Bags > 0 && n.Priced {
			sec.Notes = append(sec.Notes, report.Plain("whole bags are paid here; the plan itself weighs the seed that is sown"))
			break
		}
	}
	sec.Notes = append(sec.Notes, report.Plain("rates are for clean, live seed sown broadcast; with a poorer test on the tag sow more in proportion (common practice)"))
	return sec, data
}

func (a *App) seedItem(in coverPlan, n cover.SeedNeed, beds int, src *sources) report.Item {
	c, _ := a.coverByKey(n.Crop.ID)
	amount := "amount not known"
	if n.OK {
		amount = a.weight(n.Kg)
	}
	it := report.Item{Head: report.Plain(n.Crop.Name + ": " + amount + "; " + bedWords(n.Beds, beds))}
	add := func(l report.Line) { it.Details = append(it.Details, l) }
	ground := a.farm.Units.Area(n.AreaM2)
	if n.Crop.RateKgHa == nil {
		add(report.Plain(ground + "; its rate is not known: ask the seller"))
	} else {
		words := ground + " at " + a.rate(*n.Crop.RateKgHa)
		var part []string
		for _, s := range n.Shares {
			if s < 1 {
				part = append(part, fmt.Sprintf("%.0f %%", 100*s))
			}
		}
		switch {
		case len(part) > 0 && len(part) == len(n.Shares):
			words += ", in the mix " + strings.Join(part, " and ") + " of that"
		case len(part) > 0:
			words += ", and in a mix " + strings.Join(part, " and ") + " of that"
		}
		if low, high := c.BroadcastKgHaMin, c.BroadcastKgHaMax; low != nil && high != nil && *low < *high {
			words += fmt.Sprintf("; the middle of %s to %s", a.rate(*low), a.rate(*high))
		}
		add(citeCover(words, readAt(c, c.Bases.Rate, "rate", "broadcast rate", "drill rate", "garden rate"), src))
	}
	if n.BagKg > 0 && n.OK {
		add(report.Plain(fmt.Sprintf("%s of %s; %s left over", counted(n.Bags, "bag", "bags"), a.weight(n.BagKg), a.weight(n.LeftKg))))
	}
	cost := ""
	if n.Priced {
		cost = fmt.Sprintf(": %.2f USD", n.USD)
	}
	switch {
	case n.Crop.USDPerKg == nil:
		add(report.Plain(fmt.Sprintf("its price is not known; give yours with --rule 'price %s %s'", n.Crop.ID, a.somePrice())))
	case in.prices[n.Crop.ID]:
		add(report.Plain("your price, " + a.price(*n.Crop.USDPerKg) + priceFrom(in, n.Crop.ID) + cost))
	default:
		year := c.PriceYear
		if year == "" {
			year = "year not known"
		}
		add(report.Plain("old price, " + a.price(*n.Crop.USDPerKg) + " (" + year + "); ask for the present one" + cost).Cite(src.cite(readAt(c, c.Bases.Price, "price"))...))
	}
	if c.Legume {
		add(report.Plain("a legume: buy the inoculant of its own group and check its date (common practice)"))
	}
	return it
}

// priceFrom says where the grower gave a price.
func priceFrom(in coverPlan, id string) string {
	for _, r := range in.given {
		if r.Kind == ingest.CoverPrice && r.Cover == id {
			return " (" + r.Place() + ")"
		}
	}
	return ""
}

// rate is a rate of seed in the farm's units.
func (a *App) rate(kgHa float64) string {
	if a.farm.Units.IsUS() {
		return few(units.Of(kgHa, "kg/ha").MustIn("lb/1000 ft2")) + " lb per 1000 sq ft"
	}
	return few(kgHa) + " kg/ha"
}

// somePrice is a price of seed as a person would type it.
func (a *App) somePrice() string {
	if a.farm.Units.IsUS() {
		return "0.95 per lb"
	}
	return "2.10 per kg"
}

func (a *App) price(perKg float64) string {
	if a.farm.Units.IsUS() {
		return fmt.Sprintf("%.2f USD/lb", perKg*units.Of(1, "lb").MustIn("kg"))
	}
	return fmt.Sprintf("%.2f USD/kg", perKg)
}
