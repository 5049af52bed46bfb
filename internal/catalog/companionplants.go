package catalog

import (
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/diag"
)

// CompanionPlant is how a companion plant is placed, sown and handled: one row
// per plant of the companions. Provenance is that of the placement; each group
// of other values has a basis of its own. An empty word and a nil number are
// not known.
type CompanionPlant struct {
	Key, Plant    string
	Aliases       []string
	Kind          string // how it stands: one of PlacementKinds
	SpacingM      *float64
	FromBedM      *float64 // at least so far from every bed
	WidthM        *float64
	ReachM        *float64 // its enemies work so far from it
	AreaPerUnitM2 *float64
	Amount        *float64
	AmountPer     string
	RaiseDays     *int // from sowing under cover to planting out
	BloomsIn      int  // 1 or 2: the year of its life; 0 is not known
	BloomDays     *int // how long one sowing blooms, where its window does not say
	Life          string
	Dog, Cat      string // poisonous: yes, no or not known
	Weed          string
	Viruses       []string // of dahlia
	AmountBasis   Provenance
	VirusBasis    Provenance
	GrowthBasis   string // of raise_days, blooms_in_year, bloom_days, life and weed
	PetsBasis     string
	Provenance
}

// VirusHost is a plant of gardens that hosts a virus of dahlia.
type VirusHost struct {
	Plant, Virus string
	Provenance
}

// CompanionMix is what was found where two companions stood together.
type CompanionMix struct {
	Plant, Beside, Finding string
	Provenance
}

// CompanionDispute is a claim on which sources disagree: the one side with the
// row's provenance, the other with its own source, which may not be known.
type CompanionDispute struct {
	Plant, Pest, Finding         string
	Other, OtherSource, OtherURL string
	Provenance
}

// PlacementKinds are the ways in which a companion can stand, as package
// companion lays them out, with the columns that each needs.
var PlacementKinds = map[string][]string{
	"scattered": {"reach_m"}, "bed_ends": {"spacing_m"}, "strips": {"spacing_m", "width_m"}, "edge_clumps": nil, "edge_strip": nil, "alley": {"width_m"},
	"in_bed": {"spacing_m"}, "in_bed_row": nil, "beside_bed": nil, "bed_points": {"area_per_unit_m2"}, "pots": {"area_per_unit_m2"}, "full_stand": nil, "remove": nil,
}

var (
	amountWords = []string{"plants/place", "plants/m", "plants/m2", "pieces/place", "g/place", "g/m", "g/m2"}
	virusNames  = []string{"TSWV", "INSV", "CMV", "DMV", "tospovirus"}
)

// above reads a number above zero, or nil.
func (w row) above(col string) *float64 {
	x := w.num(col)
	if x != nil && *x <= 0 {
		w.bad(col, fmt.Sprintf("%v is not above zero", *x), "correct the number, or leave it empty for not known")
		return nil
	}
	return x
}

func (w row) wholeOrNil(col string, low, high int) *int {
	if w.str(col) == "" {
		return nil
	}
	n := w.whole(col, low, high, 0)
	return &n
}

// basisOf reads the basis of a group of columns: given when any of them is.
func (w row) basisOf(col string, group ...string) string {
	given := slices.ContainsFunc(group, func(c string) bool { return w.str(c) != "" })
	b := w.oneOfOrNone(col, bases...)
	if given != (b != "") {
		w.bad(col, "does not go with "+strings.Join(group, ", "), "say what they rest on where one is given, and only there")
	}
	return b
}

// sourced reads a basis with a source and address of its own.
func (w row) sourced(basis, source, url, value string) Provenance {
	p := Provenance{Basis: w.basisOf(basis, value), Source: w.str(source), URL: w.str(url)}
	if (p.Basis == Published) != (p.Source != "") {
		w.bad(source, fmt.Sprintf("does not go with the basis %q", p.Basis), "name the source of what is published, and only of that")
	}
	if p.URL != "" && p.Source == "" {
		w.bad(url, "an address without a source", "name the source")
	}
	return p
}

func (l *loader) companionPlants() {
	var names, keys []string
	for _, c := range l.c.companions {
		if !slices.Contains(names, c.Plant) {
			names = append(names, c.Plant)
		}
	}
	l.c.plantWords = map[string]int{}
	seen := map[string]bool{}
	kinds := make([]string, 0, len(PlacementKinds))
	for k := range PlacementKinds {
		kinds = append(kinds, k)
	}
	slices.Sort(kinds)
	l.table("companion_plants.csv", columns("key,plant,aliases,kind,spacing_m,from_bed_m,width_m,reach_m,area_per_unit_m2,amount,amount_per,raise_days,blooms_in_year,bloom_days,life,dog,cat,weed,viruses,amount_basis,amount_source,amount_url,growth_basis,pets_basis,virus_basis,virus_source,virus_url"), func(w row) {
		p := CompanionPlant{
			Key: w.key("key"), Plant: w.oneOf("plant", names...), Aliases: w.words("aliases"), Kind: w.oneOf("kind", kinds...),
			SpacingM: w.above("spacing_m"), FromBedM: w.atLeast("from_bed_m", 0), WidthM: w.above("width_m"), ReachM: w.above("reach_m"),
			AreaPerUnitM2: w.above("area_per_unit_m2"), Amount: w.above("amount"), AmountPer: w.oneOfOrNone("amount_per", amountWords...),
			RaiseDays: w.wholeOrNil("raise_days", 1, 200), BloomsIn: w.whole("blooms_in_year", 1, 2, 0), BloomDays: w.wholeOrNil("bloom_days", 1, 200),
			Life: w.oneOf("life", "", "annual", "biennial", "perennial"), Dog: w.oneOf("dog", "", "yes", "no"), Cat: w.oneOf("cat", "", "yes", "no"),
			Weed: w.oneOf("weed", "", "listed", "self-sows", "spreads", "weed"), Viruses: w.refs("viruses", virusNames),
			AmountBasis: w.sourced("amount_basis", "amount_source", "amount_url", "amount"),
			VirusBasis:  w.sourced("virus_basis", "virus_source", "virus_url", "viruses"),
			GrowthBasis: w.basisOf("growth_basis", "raise_days", "blooms_in_year", "bloom_days", "life"),
			PetsBasis:   w.basisOf("pets_basis", "dog", "cat"), Provenance: w.provenance(),
		}
		for _, c := range []string{p.GrowthBasis, p.PetsBasis} {
			if c == Published {
				w.bad("growth_basis", "published values need a source of their own", "mark what was not read as common practice or from memory")
			}
		}
		if (p.Amount == nil) != (p.AmountPer == "") {
			w.bad("amount_per", "amount and amount_per must come together", "give both or neither")
		}
		for _, col := range PlacementKinds[p.Kind] {
			if w.str(col) == "" {
				w.bad(col, "is empty", fmt.Sprintf("a plant that stands as %s needs it", p.Kind))
			}
		}
		if seen[p.Plant] {
			w.bad("plant", fmt.Sprintf("%q stands twice", p.Plant), "keep one row for each plant")
		}
		seen[p.Plant] = true
		keys = unique(w, "key", p.Key, keys)
		typed(w, l.c.plantWords, len(l.c.plants), p.Key, p.Aliases)
		l.c.plants = append(l.c.plants, p)
	})
	for _, n := range names {
		if !seen[n] && len(l.c.plants) > 0 {
			l.list.Add(&diag.Problem{File: "companion_plants.csv", What: fmt.Sprintf("no row for %q of companions.csv", n), Do: "add one, with what is not known left empty"})
		}
	}
	l.table("virus_hosts.csv", columns("plant,virus"), func(w row) {
		l.c.virusHosts = append(l.c.virusHosts, VirusHost{Plant: w.must("plant"), Virus: w.oneOf("virus", virusNames...), Provenance: w.provenance()})
	})
	l.table("companion_disputes.csv", columns("plant,pest_key,finding,other,other_source,other_url"), func(w row) {
		d := CompanionDispute{
			Plant: w.oneOf("plant", names...), Pest: w.oneOf("pest_key", l.pestKeys...), Finding: w.must("finding"),
			Other: w.must("other"), OtherSource: w.str("other_source"), OtherURL: w.str("other_url"), Provenance: w.provenance(),
		}
		if !slices.ContainsFunc(l.c.companions, func(c Companion) bool { return c.Plant == d.Plant && c.Pest == d.Pest }) {
			w.bad("pest_key", fmt.Sprintf("%s on %s is no row of companions.csv", d.Plant, d.Pest), "name a plant and a pest that stand there together")
		}
		if _, twice := l.c.CompanionDispute(d.Plant, d.Pest); twice {
			w.bad("plant", d.Plant+" on "+d.Pest+" stands twice", "keep one row for each")
		}
		if d.OtherURL != "" && d.OtherSource == "" {
			w.bad("other_url", "an address without a source", "name the source")
		}
		l.c.disputes = append(l.c.disputes, d)
	})
	l.table("companion_mixes.csv", columns("plant,beside,finding"), func(w row) {
		m := CompanionMix{Plant: w.oneOf("plant", names...), Beside: w.oneOf("beside", names...), Finding: w.must("finding"), Provenance: w.provenance()}
		if m.Plant == m.Beside {
			w.bad("beside", "is the plant itself", "name two plants")
		}
		l.c.mixes = append(l.c.mixes, m)
	})
}

// CompanionDispute finds what sources disagree on, of a plant and a pest.
func (c *Catalog) CompanionDispute(plant, pest string) (CompanionDispute, bool) {
	return find(c.disputes, func(d CompanionDispute) bool { return d.Plant == plant && d.Pest == pest })
}

// CompanionMixes returns what was found of companions that stood together.
func (c *Catalog) CompanionMixes() []CompanionMix { return slices.Clone(c.mixes) }

// CompanionPlants returns how each companion plant is placed, in table order.
func (c *Catalog) CompanionPlants() []CompanionPlant { return slices.Clone(c.plants) }

// CompanionPlant finds a plant by the name that the companions give it.
func (c *Catalog) CompanionPlant(name string) (CompanionPlant, bool) {
	return find(c.plants, func(p CompanionPlant) bool { return p.Plant == name })
}

// CompanionByWord finds a plant by what a grower typed: key or alias.
func (c *Catalog) CompanionByWord(word string) (CompanionPlant, bool) {
	i, ok := c.plantWords[Word(word)]
	if !ok {
		return CompanionPlant{}, false
	}
	return c.plants[i], true
}

// CompanionWords returns every word that names a companion plant, sorted.
func (c *Catalog) CompanionWords() []string {
	var out []string
	for w := range c.plantWords {
		out = append(out, w)
	}
	slices.Sort(out)
	return out
}

// VirusHosts returns the garden plants that host a virus of dahlia.
func (c *Catalog) VirusHosts() []VirusHost { return slices.Clone(c.virusHosts) }
