package label

import (
	"slices"
	"strings"

	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// Gap is a field that a schedule needs and that nobody has read on the label.
type Gap struct {
	Field string // in words
	Where string // the part of a label where it stands
	Why   string // what cannot be decided without it
}

// Where things stand on a label. Source: 40 CFR 156.10, 156.70 and 156.206 for
// the headings of US labels.
const (
	front      = "front of the label"
	directions = "Directions for Use"
	agBox      = "Agricultural Use Requirements box"
	envHazard  = "Environmental Hazards"
	caution    = "Precautionary Statements"
	container  = "container (stamp or lot label)"
	labelEnd   = "end of the label"
	storage    = "Storage and Disposal"
	drift      = directions + " (spray drift)"
	ingredient = "ingredient statement, " + front
)

type field struct {
	name, where, why string
	known            func(farm.Label) bool
	when             func(farm.Label) bool // nil: always needed
}

// fields are what a schedule needs, always or when a condition holds.
var fields = []field{
	{"product name", front, "without it nobody can tell which label was read", func(l farm.Label) bool { return l.Product != "" }, nil},
	{"registrant", front, "it tells who answers for the label", func(l farm.Label) bool { return l.Registrant.Known() }, nil},
	{"jurisdiction", front, "a label holds in the country that registered it", func(l farm.Label) bool { return l.Jurisdiction.Known() }, nil},
	{"registration number", front, "it shows which registered product the label belongs to", func(l farm.Label) bool { return l.Registration.Known() }, nil},
	{"label date or version", labelEnd, "labels of one product differ from year to year", func(l farm.Label) bool { return l.Edition.Known() }, nil},
	{"use class", front, "a restricted product is not for the grower to schedule", func(l farm.Label) bool { return l.UseClass.Known() }, nil},
	{"signal word", front, "it tells how dangerous the product is to people", func(l farm.Label) bool { return l.SignalWord.Known() }, nil},
	{"active ingredients", ingredient, "limits and side effects follow the active", activesKnown, nil},
	{"grams per litre of the actives", ingredient, "limits of an active are weighed, and the product is measured", gramsKnown, spray},
	{"mode-of-action group", front, "the same group on each generation breeds resistance", groupsKnown, nil},
	{"formulation", front, "a bait and a spray have different rules", func(l farm.Label) bool { return l.Formulation.Known() }, nil},
	{"sites and crops", directions, "a site that is not listed may not be treated", func(l farm.Label) bool { return len(l.Sites) > 0 || l.NoSites }, nil},
	{"excluded crops", directions, "a crop may be forbidden on a listed site", func(l farm.Label) bool { return l.ExcludedCrops.Known() }, nil},
	{"pests", directions, "a pest that is not listed is refused", func(l farm.Label) bool { return len(l.Pests) > 0 || len(l.OtherPests) > 0 || l.NoPests }, nil},
	{"only these pests", directions, "the label may forbid every other pest", func(l farm.Label) bool { return l.OnlyPests.Known() }, nil},
	{"method of application", directions, "the label may ask for one", func(l farm.Label) bool { return l.Method.Known() }, nil},
	{"forbidden methods", directions, "some methods are forbidden", func(l farm.Label) bool { return l.ForbiddenMethods.Known() }, nil},
	{"highest rate", directions, "more than the label's rate is never allowed", func(l farm.Label) bool {
		return l.RateMax.Has() || sites(l, func(s farm.LabelSite) bool { return s.RateMax.Has() })
	}, nil},
	{"spray volume, least", directions, "a rate in water says nothing of an area without it", func(l farm.Label) bool { return l.SprayMin.Known() }, inWater},
	{"spray volume, most", directions, "a rate in water says nothing of an area without it", func(l farm.Label) bool { return l.SprayMax.Known() }, inWater},
	{"minimum retreatment interval", directions, "the next application may not come sooner", func(l farm.Label) bool {
		return l.MinIntervalDays.Known() || sites(l, func(s farm.LabelSite) bool { return s.MinIntervalDays.Known() })
	}, nil},
	{"maximum applications", directions, "the season may already be used up", func(l farm.Label) bool { return l.MaxApplications.Known() }, nil},
	{"maximum applications in any so many days", directions, "a rolling limit may stand beside the season's", func(l farm.Label) bool { return l.MaxInWindow.Known() }, nil},
	{"limit shared by active", directions, "another product with the same active may have used it up", activeMaxKnown, nil},
	{"maximum amount", directions, "the season may already be used up", func(l farm.Label) bool { return l.MaxAmount.Known() }, nil},
	{"what the maxima are counted over", directions, "a season, a year and a crop cycle are different lengths", func(l farm.Label) bool { return l.MaxPer != "" }, hasMaxima},
	{"further maxima", directions, "a label may limit per crop cycle and per generation besides", func(l farm.Label) bool { return l.MoreMaxima.Known() }, nil},
	{"re-entry interval (REI)", agBox, "nobody may work in the bed until it has passed", func(l farm.Label) bool { return l.REIHours.Known() || sitesREI(l) }, nil},
	{"early-entry PPE", agBox, "whoever must go in before the interval has passed wears it", func(l farm.Label) bool { return l.EarlyPPE.Known() }, HasREI},
	{"double notification", agBox, "people may have to be told and warned by signs", func(l farm.Label) bool { return l.DoubleNotice.Known() }, HasREI},
	{"pre-harvest interval (PHI)", directions, "flowers may not be cut until it has passed", func(l farm.Label) bool { return l.PHIDays.Known() }, nil},
	{"event before cutting", directions, "cutting may have to wait for more than days", func(l farm.Label) bool { return l.PHIEvent.Known() }, nil},
	{"incompatible materials", directions, "some materials burn the plants when they come near in time", func(l farm.Label) bool { return len(l.KeepApart) > 0 || l.NoKeepApart }, nil},
	{"rainfast time", directions, "rain or irrigation too soon washes it off", func(l farm.Label) bool { return l.RainfastH.Known() }, nil},
	{"highest temperature", directions, "some products burn plants in heat", func(l farm.Label) bool { return l.MaxTempC.Known() }, nil},
	{"lowest temperature", directions, "some products do not work or burn in cold", func(l farm.Label) bool { return l.MinTempC.Known() }, nil},
	{"plant stress", directions, "plants that suffer are hurt more easily", func(l farm.Label) bool { return l.PlantStress.Known() }, spray},
	{"highest wind", drift, "wind carries it off the bed", func(l farm.Label) bool { return l.MaxWindMS.Known() }, nil},
	{"lowest wind", drift, "in still air fine drops hang and travel far", func(l farm.Label) bool { return l.MinWindMS.Known() }, spray},
	{"nozzle or droplet size", drift, "fine drops drift", func(l farm.Label) bool { return l.Nozzle.Known() }, spray},
	{"nozzle height", drift, "a high nozzle lets a spray drift", func(l farm.Label) bool { return l.BoomM.Known() }, spray},
	{"lot or batch code", container, "it tells which container was used", func(l farm.Label) bool { return l.Lot.Known() }, nil},
	{"expiry date", container, "an expired product may not be used", func(l farm.Label) bool { return l.Expiry.Known() }, nil},
	{"life after opening", container, "an opened product may spoil before its expiry", func(l farm.Label) bool { return l.OpenedDays.Known() }, nil},
	{"day of opening", "your own note: write opened, or none stated while it is closed", "the label counts days from it", func(l farm.Label) bool { return l.Opened.Known() }, func(l farm.Label) bool { return l.OpenedDays.Has() }},
	{"life of a mix", directions, "an old mix may not be used", func(l farm.Label) bool { return l.MixedHours.Known() }, spray},
	{"bee statement", envHazard + " or bee box", "open bloom brings bees to the spray", func(l farm.Label) bool { return l.Bees.Known() }, nil},
	{"distance to water", envHazard, "some products must stay away from water", func(l farm.Label) bool { return l.WaterBuffer.Known() }, nil},
	{"no application to water", envHazard, "some products must not get into any water", func(l farm.Label) bool { return l.NoWater.Known() }, nil},
	{"animals", caution, "pets and stock may have to be kept out", func(l farm.Label) bool { return l.Animals.Known() }, nil},
	{"protective equipment (PPE)", caution, "it says what to wear", func(l farm.Label) bool { return l.PPE.Known() }, nil},
	{"first aid", "First Aid box", "there is no time to look for it when it is needed", func(l farm.Label) bool { return l.FirstAid.Known() }, nil},
	{"storage", storage, "a product that was kept wrongly may not work", func(l farm.Label) bool { return l.Storage.Known() }, nil},
	{"disposal", storage, "rests and containers must not get into water or hands", func(l farm.Label) bool { return l.Disposal.Known() }, nil},
}

func activesKnown(l farm.Label) bool {
	if l.NoActives {
		return true
	}
	return len(l.Actives) > 0 && !slices.ContainsFunc(l.Actives, func(a farm.Active) bool {
		return strings.TrimSpace(a.Name) == "" || a.Percent == 0 && !a.NoPercent
	})
}

func gramsKnown(l farm.Label) bool {
	return !slices.ContainsFunc(l.Actives, func(a farm.Active) bool { return !a.GPerL.Known() })
}

func groupsKnown(l farm.Label) bool {
	return !slices.ContainsFunc(l.Actives, func(a farm.Active) bool { return !a.Group.Known() })
}

func activeMaxKnown(l farm.Label) bool {
	return !slices.ContainsFunc(l.Actives, func(a farm.Active) bool { return !a.Max.Known() })
}

// sitesREI reports whether every site of the label has its own re-entry interval.
func sitesREI(l farm.Label) bool {
	return sites(l, func(s farm.LabelSite) bool { return s.REIHours.Known() })
}

// spray: the questions about spraying arise.
func spray(l farm.Label) bool { return !l.Dry() }

// inWater reports whether a rate is told per volume of water.
func inWater(l farm.Label) bool {
	water := func(q units.Quantity) bool {
		return q.Unit.Dimension == units.MassPerVol || q.Unit.Dimension == units.VolPerVol
	}
	return water(l.RateMax.Value) || slices.ContainsFunc(l.Sites, func(s farm.LabelSite) bool { return water(s.RateMax.Value) })
}

func hasMaxima(l farm.Label) bool {
	return l.MaxApplications.Has() || l.MaxAmount.Has() || slices.ContainsFunc(l.Actives, func(a farm.Active) bool { return a.Max.Has() })
}

// HasREI reports whether a label gives a re-entry interval above zero anywhere.
func HasREI(l farm.Label) bool {
	return l.REIHours.Has() && l.REIHours.Value > 0 || slices.ContainsFunc(l.Sites, func(s farm.LabelSite) bool { return s.REIHours.Has() && s.REIHours.Value > 0 })
}

// Check returns the required fields of the label that nobody has read, in the
// order in which they stand on a label; empty when the copy can be
// scheduled from. The organic approval is asked for by Plan, only on an
// organic farm, and the planting-back interval only where planting is planned.
//
// Source of the list: EPA Label Review Manual, chapter 11 (Directions for
// Use), and 40 CFR 156.10, 156.208; which of them stop a schedule is common
// practice.
func Check(l farm.Label) []Gap {
	var out []Gap
	for _, f := range fields {
		if f.when != nil && !f.when(l) || f.known(l) {
			continue
		}
		out = append(out, Gap{f.name, f.where, f.why})
	}
	return out
}
