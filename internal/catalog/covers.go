package catalog

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/pattern"
)

// Window is a sowing window relative to the frost dates: From and To are days
// after the average last frost ("LF") or first frost ("FF"); the two ends may
// count from different frosts.
type Window struct {
	FromFrost string
	From      int
	ToFrost   string
	To        int
}

// CoverBasis is the basis of each group of numbers of a cover.
type CoverBasis struct {
	Sow, SoilTemp, Days, Hardiness, Rate, Termination, N, Biomass, Price string
}

// Cover is a cover crop. Provenance.Basis is the common basis of its groups,
// or "mixed"; Provenance.Source lists which group was read where.
type Cover struct {
	Key, Name, Latin, Family string
	EPPOFamily, EPPO         string // from memory
	Kind                     string
	Legume                   bool
	Slots                    []string // W winter, S early spring, F rest year, A early autumn, P alley
	Windows                  []Window
	SowRel, SowMonths        string // as the source table gives them
	AfterLateDig             string // can it be sown after a late October dig
	MinSoilC                 *float64
	DaysToUsable             *float64
	DaysToFlower             string // days, or words
	HardyZone                string
	KillC                    *float64

	DrillKgHaMin, DrillKgHaMax         *float64
	BroadcastKgHaMin, BroadcastKgHaMax *float64
	DrillLbMin, DrillLbMax             *float64 // lb per 1000 sq ft
	BroadcastLbMin, BroadcastLbMax     *float64
	GardenLb                           string // garden rate as printed, lb per 1000 sq ft; may be a range such as "1.0-2.0"

	LeadDaysMin, LeadDaysDefault  *float64 // from kill to planting
	TerminationNote               string
	NLow, NHigh                   *float64 // plant-available nitrogen, kg/ha; negative ties it up
	NNote                         string
	BiomassLow, BiomassHigh       *float64 // t/ha
	Irrigation                    string
	PriceUSDLbLow, PriceUSDLbHigh *float64
	PriceYear                     string
	MixWith                       []string // cover keys
	MixNote                       string   // words where it is not a list, such as "(alone)"
	Caution                       string
	Bases                         CoverBasis
	Provenance
}

// CoverEffect is what a cover, or a reference treatment, does to a pest.
type CoverEffect struct {
	Cover     string // cover key or one of ReferenceTreatments
	Pest      string // pest key, or a nematode_ or soil_ id
	Direction string // reduces, increases, neutral, mixed or unknown
	Score     int    // -3 strong fall of the pest to +3 strong rise; 0 with unknown is not "no effect"
	Mechanism string
	Evidence  string // A, B, C, D or none
	Provenance
}

// CoverHost says whether a cover hosts a virus of dahlia. A pair without a row is
// not known.
type CoverHost struct {
	Cover string
	Virus string // one of CoverViruses
	Host  bool
	Provenance
}

// CoverViruses are the viruses of dahlia that covers are looked up for: those
// that thrips carry (TSWV, INSV), and cucumber mosaic virus.
func CoverViruses() []string { return []string{"tospovirus", "CMV"} }

// Companion is what a plant near the bed does to a pest.
type Companion struct {
	Plant, Pest, Role    string
	NaturalEnemies       string
	Placement, SowWindow string
	BloomWindow, Risk    string
	Evidence             string
	Latin, Family        string
	Score                int
	Provenance
}

// ReferenceTreatments are the treatments in the cover effects that are no
// cover crop.
func ReferenceTreatments() []string { return []string{"clean_fallow", "weedy_fallow", "grass_sod"} }

// SoilProblems are the ids in the cover effects that are no pest kept here.
func SoilProblems() []string {
	return []string{"nematode_lesion", "nematode_rootknot", "soil_sclerotinia", "soil_seedling", "soil_verticillium"}
}

var (
	evidences = []string{"A", "B", "C", "D", "none"}
	windowRE  = pattern.New(`^(LF|FF)([+-]\d{1,3})\.\.(LF|FF)([+-]\d{1,3})$`)
)

var coverColumns = strings.Split("id,common_name,latin_name,family,eppo_family,eppo_code,kind,legume,slots,sow_rel,sow_months_z7_8,sow_after_late_oct_dig,min_soil_temp_c,days_to_usable,days_to_flower,hardy_usda_zone,kill_temp_c,drill_kg_ha_min,drill_kg_ha_max,broadcast_kg_ha_min,broadcast_kg_ha_max,drill_lb_1000sqft_min,drill_lb_1000sqft_max,broadcast_lb_1000sqft_min,broadcast_lb_1000sqft_max,garden_lb_1000sqft_published,terminate_lead_days_min,terminate_lead_days_default,termination_note,n_pan_kg_ha_low,n_pan_kg_ha_high,n_note,biomass_t_ha_low,biomass_t_ha_high,irrigation_need,price_usd_lb_low,price_usd_lb_high,price_year,mix_with,caution,basis_sow,basis_soiltemp,basis_days,basis_hardiness,basis_rate,basis_termination,basis_n,basis_biomass,basis_price,sources", ",")

func (l *loader) covers() {
	seen := map[string]bool{}
	type mix struct {
		w row
		c int
	}
	var mixes []mix
	l.table("covers.csv", coverColumns, func(w row) {
		pair := func(low, high string) (*float64, *float64) {
			a, b := w.num(low), w.num(high)
			w.ordered(low, high, a, b)
			return a, b
		}
		c := Cover{
			Key: w.key("id"), Name: w.must("common_name"), Latin: w.must("latin_name"), Family: w.must("family"),
			EPPOFamily: w.str("eppo_family"), EPPO: w.str("eppo_code"), Kind: w.must("kind"), Legume: w.flag("legume"),
			Slots: w.words("slots"), SowRel: w.must("sow_rel"), SowMonths: w.str("sow_months_z7_8"), AfterLateDig: w.str("sow_after_late_oct_dig"),
			MinSoilC: w.num("min_soil_temp_c"), DaysToUsable: w.atLeast("days_to_usable", 1), DaysToFlower: w.str("days_to_flower"),
			HardyZone: w.str("hardy_usda_zone"), KillC: w.num("kill_temp_c"), GardenLb: w.str("garden_lb_1000sqft_published"),
			TerminationNote: w.str("termination_note"), NNote: w.str("n_note"), Irrigation: w.str("irrigation_need"),
			PriceYear: w.str("price_year"), Caution: w.str("caution"),
		}
		if seen[c.Key] {
			w.bad("id", fmt.Sprintf("%q stands twice", c.Key), "give each cover its own id")
		}
		seen[c.Key] = true
		for _, s := range c.Slots {
			if !slices.Contains([]string{"W", "S", "F", "A", "P"}, s) {
				w.bad("slots", fmt.Sprintf("unknown slot %q", s), "use W, S, F, A or P")
			}
		}
		for _, part := range strings.Split(c.SowRel, "|") {
			m := windowRE().FindStringSubmatch(part)
			if m == nil {
				w.bad("sow_rel", fmt.Sprintf("%q is not a sowing window", part), "write it like FF-45..FF+21, windows separated by |")
				continue
			}
			a, _ := strconv.Atoi(m[2])
			b, _ := strconv.Atoi(m[4])
			if m[1] == m[3] && a > b || m[1] == "FF" && m[3] == "LF" {
				w.bad("sow_rel", fmt.Sprintf("the window %q is upside down", part), "put the earlier day first")
			}
			c.Windows = append(c.Windows, Window{m[1], a, m[3], b})
		}
		c.DrillKgHaMin, c.DrillKgHaMax = pair("drill_kg_ha_min", "drill_kg_ha_max")
		c.BroadcastKgHaMin, c.BroadcastKgHaMax = pair("broadcast_kg_ha_min", "broadcast_kg_ha_max")
		c.DrillLbMin, c.DrillLbMax = pair("drill_lb_1000sqft_min", "drill_lb_1000sqft_max")
		c.BroadcastLbMin, c.BroadcastLbMax = pair("broadcast_lb_1000sqft_min", "broadcast_lb_1000sqft_max")
		c.LeadDaysMin, c.LeadDaysDefault = pair("terminate_lead_days_min", "terminate_lead_days_default")
		c.NLow, c.NHigh = pair("n_pan_kg_ha_low", "n_pan_kg_ha_high")
		c.BiomassLow, c.BiomassHigh = pair("biomass_t_ha_low", "biomass_t_ha_high")
		c.PriceUSDLbLow, c.PriceUSDLbHigh = pair("price_usd_lb_low", "price_usd_lb_high")
		basis := func(col string, empty bool) string {
			known := append(slices.Clone(bases), "mixed")
			if empty {
				known = append(known, "")
			}
			return w.oneOf(col, known...)
		}
		c.Bases = CoverBasis{basis("basis_sow", false), basis("basis_soiltemp", false), basis("basis_days", false),
			basis("basis_hardiness", false), basis("basis_rate", false), basis("basis_termination", false), basis("basis_n", false),
			basis("basis_biomass", false), basis("basis_price", c.PriceUSDLbLow == nil)}
		b := c.Bases
		c.Basis, c.Source = b.Sow, w.must("sources")
		for _, x := range []string{b.SoilTemp, b.Days, b.Hardiness, b.Rate, b.Termination, b.N, b.Biomass} {
			if x != c.Basis {
				c.Basis = "mixed"
			}
		}
		if m := w.str("mix_with"); strings.HasPrefix(m, "(") {
			c.MixNote = m
		} else {
			c.MixWith = w.words("mix_with")
		}
		l.c.covers = append(l.c.covers, c)
		mixes = append(mixes, mix{w, len(l.c.covers) - 1})
	})
	for _, m := range mixes {
		for _, k := range l.c.covers[m.c].MixWith {
			if !seen[k] {
				m.w.bad("mix_with", fmt.Sprintf("unknown cover %q", k), "use the id of another row")
			}
		}
	}
	coverIDs := ReferenceTreatments()
	for _, c := range l.c.covers {
		coverIDs = append(coverIDs, c.Key)
	}
	pests := append(slices.Clone(l.pestKeys), SoilProblems()...)
	pairs := map[string]bool{}
	l.table("cover_effects.csv", strings.Split("cover,pest,direction,score,mechanism,evidence,basis,source,url,note", ","), func(w row) {
		e := CoverEffect{Cover: w.oneOf("cover", coverIDs...), Pest: w.oneOf("pest", pests...),
			Direction: w.oneOf("direction", "reduces", "increases", "neutral", "mixed", "unknown"),
			Score:     w.whole("score", -3, 3, 0), Mechanism: w.str("mechanism"),
			Evidence: w.oneOf("evidence", evidences...), Provenance: w.provenance(NoEvidence)}
		if (e.Evidence == "none") != (e.Basis == NoEvidence) || (e.Direction == "unknown") != (e.Basis == NoEvidence) {
			w.bad("direction", "direction, evidence and basis do not agree", "unknown goes with none and "+NoEvidence+", and only with them")
		}
		if e.Direction == "reduces" && e.Score > 0 || e.Direction == "increases" && e.Score < 0 || e.Direction == "unknown" && e.Score != 0 {
			w.bad("score", fmt.Sprintf("%d does not go with %s", e.Score, e.Direction), "negative is fewer pests")
		}
		if k := e.Cover + "/" + e.Pest; pairs[k] {
			w.bad("pest", k+" stands twice", "keep one row for each cover and pest")
		} else {
			pairs[k] = true
		}
		l.c.coverEffects = append(l.c.coverEffects, e)
	})
	hosts := map[string]bool{}
	l.table("cover_hosts.csv", strings.Split("cover,virus,host,basis,source,url,note", ","), func(w row) {
		h := CoverHost{Cover: w.oneOf("cover", coverIDs...), Virus: w.oneOf("virus", CoverViruses()...), Host: w.oneOf("host", "yes", "no") == "yes", Provenance: w.provenance()}
		if k := h.Cover + "/" + h.Virus; hosts[k] {
			w.bad("virus", k+" stands twice", "keep one row for each cover and virus")
		} else {
			hosts[k] = true
		}
		l.c.coverHosts = append(l.c.coverHosts, h)
	})
	twice := map[string]bool{}
	l.table("companions.csv", strings.Split("pest_key,plant,target_pest,role,natural_enemies,placement,sow_window,bloom_window,risk,evidence,latin,family,score,basis,source,url,note", ","), func(w row) {
		c := Companion{Pest: w.oneOf("pest_key", pests...), Plant: w.must("plant"), Role: w.must("role"), NaturalEnemies: w.str("natural_enemies"),
			Placement: w.str("placement"), SowWindow: w.str("sow_window"), BloomWindow: w.str("bloom_window"), Risk: w.str("risk"),
			Evidence: w.oneOf("evidence", evidences...), Latin: w.must("latin"), Family: w.must("family"), Score: w.whole("score", -3, 3, 0), Provenance: w.provenance()}
		if k := c.Plant + "/" + c.Pest; twice[k] {
			w.bad("plant", k+" stands twice", "keep one row for each plant and pest")
		} else {
			twice[k] = true
		}
		l.c.companions = append(l.c.companions, c)
	})
}
