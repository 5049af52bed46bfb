package ingest

import (
	"strings"
	"time"

	"leafturn/internal/civil"
	"leafturn/internal/units"
)

// coverForm is one way to write a rule.
type coverForm struct {
	word     string // the first word
	kind     CoverRuleKind
	form     string // for people, variants parted by " | "
	what     string // what it does
	examples []string
	read     func(*coverLine)
}

func (f coverForm) write() string { return "write it as: " + f.form }

// CoverWeights are the names that a weight can have.
var CoverWeights = []string{"pests", "harm", "nitrogen", "biomass", "cost", "work", "bare", "flowers", "family"}

// coverForms are all rules, in the order of the help.
var coverForms []coverForm

func init() {
	coverForms = []coverForm{
		{"budget", CoverBudget, "budget USD", "what all seed may cost",
			[]string{"budget 120"}, func(l *coverLine) {
				l.atMost()
				l.r.Number, l.r.Unit = l.bare("the budget", 0, maxCoverNum, "USD", "$", "dollars"), "USD"
			}},
		{"lots", CoverLots, "lots N", "how many different seeds are bought at most",
			[]string{"lots 5"}, func(l *coverLine) { l.atMost(); l.r.Number = l.whole("the number of lots", 1, 100) }},
		{"rest", CoverRest, "rest N", "how many beds may go without dahlias for a summer",
			[]string{"rest 1"}, func(l *coverLine) {
				l.atMost()
				l.r.Number = l.whole("the number of rested beds", 0, 1000, "bed", "beds")
			}},
		{"untreated", CoverUntreated, "untreated 1 in M", "of all beds at least one in M stays without a cover, to compare with; the plan says which",
			[]string{"untreated 1 in 6"}, readUntreated},
		{"legumes", CoverLegumes, "legumes at least AREA | legumes at most AREA", "the area under legumes; AREA is m2, sq ft, acre, ha, or % of what is sown",
			[]string{"legumes at least 25 %"}, func(l *coverLine) { l.r.Least = l.atLeast(); l.extent() }},
		{"area", CoverArea, "area COVER at least AREA | area FAMILY at most AREA", "the area under a cover or a plant family; here % is of the ground of all beds",
			[]string{"area cereal_rye at least 200 m2", "area oats at most 2000 sq ft", "area Fabaceae at most 30 %"}, readArea},
		{"pin", CoverPin, "pin BED COVER | pin BED winter COVER | pin BED rest COVER", "what a bed must carry: a cover, a mix or none",
			[]string{"pin A1 cereal_rye", "pin A1 winter none", "pin A1 rest buckwheat", "pin A1 winter cereal_rye + field_pea"}, readPin},
		{"forbid", CoverForbid, "forbid COVER | forbid BED COVER | forbid BED rest | forbid mixes", "a cover (alone or in a mix) or a rested summer that is not wanted",
			[]string{"forbid oats", "forbid A1 oats", "forbid A1 rest", "forbid mixes"}, readForbid},
		{"mixes", CoverMixes, "mixes N", "how many species a mix has at most, 1 to 3; 1 is no mixes",
			[]string{"mixes 2"}, func(l *coverLine) {
				l.atMost()
				l.r.Number = l.whole("the number of species", 1, maxMix, "species")
			}},
		{"together", CoverTogether, "together POINTS", "points for each two neighbouring beds sown alike",
			[]string{"together 0.2"}, func(l *coverLine) { l.points("the number of points") }},
		{"weight", CoverWeight, "weight NAME NUMBER", "what a unit of something counts: " + strings.Join(CoverWeights, ", "),
			[]string{"weight pests 1", "weight nitrogen 0.005", "weight cost 0.05"}, func(l *coverLine) {
				l.r.Name = l.take(CoverWeights...)
				l.r.Number = l.bare("the weight", 0, maxCoverNum)
			}},
		{"grade", CoverGrade, "grade LETTER WEIGHT", "what evidence of grade A, B, C or D counts, 0 to 1",
			[]string{"grade C 0.3"}, func(l *coverLine) {
				w, _ := l.next("the grade")
				if l.r.Name = strings.ToUpper(w.text); len(l.r.Name) != 1 || !strings.Contains("ABCD", l.r.Name) {
					l.bad(w, "%s is no grade of evidence; they are A, B, C and D", quote(w.text))
				}
				l.r.Number = l.bare("the weight", 0, 1)
			}},
		{"price", CoverPrice, "price COVER USD per kg | price COVER USD per lb", "what a seed costs where you buy it",
			[]string{"price cereal_rye 2.10 per kg", "price oats 0.95 per lb"}, func(l *coverLine) {
				l.r.Cover = l.one("cover", l.until(), l.p.names.Covers)
				l.r.Number, l.r.Unit = l.price(), "USD/kg"
			}},
		{"bag", CoverBag, "bag COVER WEIGHT", "the weight of a bag, the least that is sold",
			[]string{"bag cereal_rye 5 lb"}, func(l *coverLine) {
				l.r.Cover = l.one("cover", l.until(), l.p.names.Covers)
				l.r.Number, l.r.Unit = l.mass("the bag"), "kg"
			}},
		{"pressure", CoverPressure, "pressure BED PEST 0..3 | pressure BED PEST 0..3 +- SPREAD", "how hard a pest or soil problem presses on a bed, where counts do not say",
			[]string{"pressure B4 nematode_lesion 3", "pressure B4 wireworm 2 +- 1"}, readPressure},
		{"grew", CoverGrew, "grew BED COVER YEAR | grew BED FAMILY YEAR", "what a bed carried before",
			[]string{"grew A1 oats 2025", "grew A1 Brassicaceae 2024"}, func(l *coverLine) {
				l.r.Bed = l.bed()
				l.coverOrFamily(l.until())
				l.year()
			}},
		{"dig", CoverDig, "dig DATE | dig BED DATE", "the day by which tubers are dug",
			[]string{"dig 2026-10-20", "dig A1 2026-10-12"}, (*coverLine).bedDate},
		{"plant", CoverPlant, "plant DATE | plant BED DATE", "the day on which dahlias are planted",
			[]string{"plant 2027-05-15", "plant A1 2027-05-25"}, (*coverLine).bedDate},
		{"soil", CoverSoil, "soil MONTH TEMPERATURE", "the mean soil temperature of a month, in C or F",
			[]string{"soil March 6 C", "soil October 54 F"}, readSoil},
		{"no", CoverDry, "no water | no water BED", "beds that cannot be watered",
			[]string{"no water", "no water A1"}, func(l *coverLine) {
				l.take("water")
				l.bedIfAny()
			}},
		{"virus", CoverVirus, "virus BED NAME", "a plant virus that was found in a bed",
			[]string{"virus A1 TSWV"}, func(l *coverLine) {
				var name []word
				l.r.Bed, name = l.bedAnd(l.all(), known(l.p.names.Viruses))
				l.r.Name = l.one("virus", name, l.p.names.Viruses)
			}},
		{"sod", CoverSod, "sod BED YEAR", "the last year in which old grass or a ley stood in a bed",
			[]string{"sod A1 2025"}, func(l *coverLine) {
				if l.at+1 < len(l.words) {
					l.r.Bed = l.bed()
				}
				l.year()
			}},
		{"brassica", CoverBrassica, "brassica near BED", "stock, cabbage or alyssum grows at the bed",
			[]string{"brassica near A1"}, func(l *coverLine) {
				l.take("near")
				l.r.Bed = l.bed()
			}},
		{"clubroot", CoverClubroot, "clubroot BED", "clubroot was seen in a bed",
			[]string{"clubroot A1"}, func(l *coverLine) { l.r.Bed = l.bed() }},
		{"own", CoverFamily, "own family soft | own family hard | own family soft except marigold", "whether covers of dahlia's own family lose points, or are refused",
			[]string{"own family soft", "own family soft except marigold"}, readOwnFamily},
		{"hosts", CoverHosts, "hosts allowed | hosts barred", "whether a cover may host a soil pest found in the bed",
			[]string{"hosts barred"}, func(l *coverLine) { l.r.Name = l.take("allowed", "barred") }},
	}
}

// all takes what is left.
func (l *coverLine) all() []word {
	from := l.at
	l.at = len(l.words)
	return l.words[from:]
}

func (l *coverLine) points(what string) {
	l.r.Number, l.r.Unit = l.bare(what, 0, maxCoverNum, "points", "point"), "points"
}

func readUntreated(l *coverLine) {
	w, ok := l.next("the number of beds")
	if !ok {
		return
	}
	if w.text != "1" {
		l.bad(w, "%s stands where 1 should: one bed in so many", quote(w.text))
	}
	l.take("in")
	v, ok := l.next("the number after in")
	if !ok {
		return
	}
	of := l.value(v, `the number after "in"`, 1, 1000)
	if of != float64(int(of)) {
		l.bad(v, "%s is not a whole number", quote(v.text))
	}
	l.r.Number, l.r.Of = 1, int(of)
}

func readArea(l *coverLine) {
	words := l.until("at", "≥", "≤")
	if plain(join(words)) == "legumes" {
		l.r.Kind = CoverLegumes
	} else {
		l.coverOrFamily(words)
	}
	l.r.Least = l.atLeast()
	l.extent()
}

// coverOrFamily looks up a cover, else a family.
func (l *coverLine) coverOrFamily(words []word) {
	if f, ok := l.p.names.Families[plain(join(words))]; ok && !known(l.p.names.Covers)(words) {
		l.r.Name = f
		return
	}
	if len(words) > 0 && !known(l.p.names.Covers)(words) {
		l.noKey("cover or family", word{join(words), words[0].col}, l.p.names.Covers, l.p.names.Families)
		return
	}
	l.r.Cover = l.one("cover or family", words, l.p.names.Covers)
}

// window reads a window, unless its word begins a cover's name.
func (l *coverLine) window() string {
	if w := l.peek(); (w == InWinter || w == InRest) && !l.isCover(l.words[l.at:]) {
		l.at++
		return w
	}
	return ""
}

// isCover reports whether words name a cover or a mix.
func (l *coverLine) isCover(words []word) bool {
	for _, part := range mixParts(words) {
		if !known(l.p.names.Covers)(part) {
			return false
		}
	}
	return true
}

func readPin(l *coverLine) {
	if l.r.Bed = l.bed(); l.wrong {
		return
	}
	l.r.Window = l.window()
	l.r.Cover = l.cover(l.all())
}

func readForbid(l *coverLine) {
	words := l.all()
	if len(words) == 0 {
		l.bad(word{col: l.end}, "what is forbidden is missing")
		return
	}
	is := func(word string) bool {
		last := strings.ToLower(words[len(words)-1].text)
		return last == word || last == strings.TrimSuffix(word, "s")
	}
	switch {
	case len(words) == 1 && is("mixes"):
		l.r.Kind, l.r.Number = CoverMixes, 1
		return
	case len(words) == 1 && is(InRest):
		l.badDo(words[0], "write it as: rest 0", "rest is forbidden for one bed; for all of them it is another rule")
		return
	case len(words) == 1 && is(InWinter), len(words) == 2 && is(InWinter):
		l.badDo(words[0], "write it as: pin BED winter none", "a winter cannot be forbidden")
		return
	case len(words) == 2 && is("mixes"):
		l.badDo(words[0], "write it as: forbid mixes", "mixes are forbidden for all beds")
		return
	case len(words) == 2 && is(InRest):
		l.r.Bed, l.r.Window = l.bedOf(words[0]), InRest
		return
	}
	l.at = len(l.words) - len(words)
	inWindow := func(ws []word) bool {
		w := strings.ToLower(ws[0].text)
		return l.isCover(ws) || (w == InWinter || w == InRest) && len(ws) > 1
	}
	l.r.Bed, words = l.bedAnd(words, inWindow)
	l.at = len(l.words) - len(words)
	if len(words) > 1 {
		l.r.Window = l.window()
	}
	words = l.all()
	if !l.wrong && len(words) == 1 {
		if _, bed := look(words[0].text, l.p.names.Beds.Bed); bed && !l.isCover(words) {
			l.bad(words[0], "what is forbidden in %s is missing", words[0].text)
			return
		}
	}
	if l.r.Cover = l.cover(words); l.r.Cover == CoverNone {
		l.bad(words[0], "leaving a bed without a cover cannot be forbidden; pin a cover instead")
	}
}

func readPressure(l *coverLine) {
	var name []word
	l.r.Bed, name = l.bedAnd(l.until(), known(l.p.names.Problems))
	l.r.Pest = l.one("pest or soil problem", name, l.p.names.Problems)
	num, unit, ok := l.amount("the pressure")
	if !ok {
		return
	}
	l.at = len(l.words)
	l.r.Number = l.value(num, "the pressure", 0, 3)
	if unit.text != "" {
		l.r.Spread = l.spread(unit, 3)
	}
}

// year reads a year that is past or the present one.
func (l *coverLine) year() {
	w, ok := l.next("the year")
	switch {
	case !ok:
	case !digits(w.text) || len(w.text) != 4:
		l.bad(w, "%s is not a year of four digits", quote(w.text))
	default:
		l.r.Year = int(l.value(w, "the year", MinYear, 9998))
		if now := l.p.today.Year; !l.wrong && now > 0 && l.r.Year > now {
			l.bad(w, "the year %d lies in the future; today is %s", l.r.Year, l.p.today)
		}
	}
}

// planYears is how far from today a day of the plan may lie.
const planYears = 3

func (l *coverLine) bedDate() {
	if l.at+1 < len(l.words) {
		l.r.Bed = l.bed()
	}
	w, ok := l.next("the date")
	if !ok || l.wrong {
		return
	}
	d, bad := parseDate(w.text, civil.Date{})
	switch now := l.p.today; {
	case bad != nil:
		l.badDo(w, bad.Do, "%s", bad.What)
	case !now.IsZero() && (d.Year < now.Year-planYears || d.Year > now.Year+planYears):
		l.badDo(w, "check the year", "%s lies more than %d years from today, %s, and is taken for a slip", d, planYears, now)
	case d.Year > 9990:
		l.badDo(w, "check the year", "%s is taken for a slip", d)
	}
	l.r.Date = d
}

func (l *coverLine) bedIfAny() {
	if !l.wrong && l.at < len(l.words) {
		l.r.Bed = l.bed()
	}
}

func readSoil(l *coverLine) {
	w, ok := l.next("the month")
	if !ok {
		return
	}
	m := monthOf(w.text)
	if m < 0 {
		l.badDo(w, "write 1 to 12 or its name, such as March", "%s is no month", quote(w.text))
		return
	}
	l.r.Month = time.Month(m + 1)
	num, unit, ok := l.amount("the soil temperature")
	if !ok {
		return
	}
	l.at = len(l.words)
	v := l.value(num, "the soil temperature", -1000, 1000)
	switch {
	case l.wrong:
		return
	case unit.text == "":
		l.bad(num, "%s has no unit", quote(num.text))
		return
	}
	l.r.Number, l.r.Unit = l.in(v, unit, units.Temperature, "C", "C or F"), "C"
	if !l.wrong && (l.r.Number < -30 || l.r.Number > 50) {
		l.badDo(num, "check the number and the unit", "a mean soil temperature of %s is taken for a slip", num.text+" "+unit.text)
	}
}

func readOwnFamily(l *coverLine) {
	l.take("family")
	l.r.Name = l.take("soft", "hard")
	if l.r.Name == "soft" && l.peek() == "except" {
		l.at++
		l.take("marigold")
		l.r.Name = "soft except marigold"
	}
}
