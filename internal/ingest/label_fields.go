package ingest

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// labelFields is the one table of a label's fields, in the order in which they
// stand on a label: the file to fill in, the fields set by name and the
// questions are all made from it.
var labelFields = slices.Concat(frontFields, useFields, limitFields, sprayFields, safetyFields, containerFields)

var frontFields = []labelField{
	under("Set by the grower and the tool", fact("key",
		"Needed. The short name you will type for this product: small letters, digits\nand hyphens.",
		func(l *farm.Label) string { return l.Key }, readKey)).eg("ironbait"),
	fact("version", "Leave blank: the tool numbers each change of a label.",
		func(l *farm.Label) string { return positive(l.Version) },
		func(l *farm.Label, s string) (bad *diag.Problem) {
			l.Version, bad = whole(s, 1, 1_000_000, "versions")
			return bad
		}),
	fact("entered", "Leave blank: the tool writes the day on which you entered it.",
		func(l *farm.Label) string { return l.Entered.String() },
		func(l *farm.Label, s string) (bad *diag.Problem) {
			l.Entered, bad = parseDate(s, civil.Date{})
			return bad
		}),

	under("Front of the label", fact("product", "Needed. The product's name, as printed on the front.",
		func(l *farm.Label) string { return l.Product },
		func(l *farm.Label, s string) *diag.Problem { l.Product = tidy(s); return nil })).eg("Invented Iron Bait"),
	stated("registrant", "Who registered or makes it, as printed: front, or end of the label.",
		func(l *farm.Label) *txt { return &l.Registrant }, freeText, same).eg("Invented Products Company"),
	stated("jurisdiction", "The country that registered it, in two letters, or country and state. Front or back.\nA label of another country is no label for your farm.",
		func(l *farm.Label) *txt { return &l.Jurisdiction }, readJurisdiction, same).eg("US-OR"),
	stated("registration", "Registration number, word for word: on the front or back (US: \"Reg. No.\", two or\nthree groups of digits; not the establishment number. UK: MAPP. Canada: PCP).",
		func(l *farm.Label) *txt { return &l.Registration }, freeText, same).eg("00000-0"),
	stated("label_version", "The label's own date or version, as printed: end of the label, in small print.",
		func(l *farm.Label) *txt { return &l.Edition }, freeText, same).eg("LBL 2024-03"),
	stated("use_class", "general, restricted or professional: a restricted-use box stands at the top of the\nfront. No word of it on the whole label: \"none stated\".",
		func(l *farm.Label) *txt { return &l.UseClass }, oneWord("use class", "general", "restricted", "professional"), same).eg("general"),
	stated("signal_word", "danger, warning or caution: on the front, in capitals.",
		func(l *farm.Label) *txt { return &l.SignalWord }, oneWord("signal word", "danger", "warning", "caution"), same).eg("caution"),
	stated("formulation", "What it is: dry bait, granule, pellet, dust, wettable powder, liquid, ready to use. A\nbait that is sprayed is a liquid. Front.",
		func(l *farm.Label) *txt { return &l.Formulation },
		func(s string) (string, *diag.Problem) { return choice("formulation", tidy(s), farm.Formulations) }, same).eg("dry bait"),
	stated("organic", "Organic listing: the listing body's mark on the front, or your certifier's answer\nand its date: \"listed by NAME\", or \"certifier NAME: yes, 2026-05-01\". Anything else is\nno approval. The certifier approves the product, not only its active ingredient.",
		func(l *farm.Label) *txt { return &l.Organic }, readApproval, same).eg("certifier Invented: yes, 2026-05-01"),
}

var useFields = []labelField{
	under("Directions for Use", flagged(labelField{key: "sites", items: writeSites, item: readSite, clear: func(l *farm.Label) { l.Sites = nil },
		help: "Where and on what it may be used: a list. Begin each with outdoor or house, then\nthe crop word of the label that takes in your bed: dahlias, cut flowers, ornamentals\nor any crop. Such as [\"outdoor ornamentals\", \"house cut flowers\"]. A site that is\nnot listed on the label is not allowed. A re-entry interval, rates or a\nshortest interval printed beside one site follow it: \"outdoor ornamentals (rei 12\nhours; rate 0.5 to 1 lb/1000 sq ft; interval 14 days)\"; they take the place of the\nlabel's own below."},
		func(l *farm.Label) *bool { return &l.NoSites })).eg("outdoor ornamentals (rei 12 hours)"),
	list("excluded_crops", "Crops on which it must not be used: a list. Directions for Use: \"do not apply to\".",
		func(l *farm.Label) *texts { return &l.ExcludedCrops }, readItem, same).eg("sweet peas"),
	flagged(labelField{key: "pests", help: "The pests that the label names: a list, such as [\"slug\", \"earwig\"].",
		items: func(l *farm.Label) []string { return slices.Concat(l.Pests, l.OtherPests) }, item: readPest,
		clear: func(l *farm.Label) { l.Pests, l.OtherPests = nil, nil }},
		func(l *farm.Label) *bool { return &l.NoPests }).eg("slug"),
	yesNo("only_pests", "yes where the label forbids use against pests that it does not name. Directions for\nUse.", func(l *farm.Label) *yes { return &l.OnlyPests }),
	stated("method", "How it is applied: scattered by hand, spreader, spray to wet. Directions for Use.",
		func(l *farm.Label) *txt { return &l.Method }, freeText, same).eg("scatter thinly by hand"),
	list("forbidden_methods", "Ways of applying it that the label forbids: a list. Directions for Use.",
		func(l *farm.Label) *texts { return &l.ForbiddenMethods }, readItem, same).eg("air blast"),
	stated("rate_min", "Lowest rate: product per area (\"0.5 lb/1000 sq ft\", \"25 kg/ha\"), in water (\"2 US fl\noz/US gal\", \"1 lb/100 US gal\"), along the row (\"1 oz wt/100 ft row\") or for a plant\n(\"5 g/plant\"). One rate only: write it here and below. Never \"oz\" or \"gal\" alone.",
		func(l *farm.Label) *qty { return &l.RateMin }, readRate, units.Quantity.String).eg("0.5 lb/1000 sq ft"),
	stated("rate_max", "Highest rate, written in the same way.",
		func(l *farm.Label) *qty { return &l.RateMax }, readRate, units.Quantity.String).eg("1 lb/1000 sq ft"),
	stated("spray_min", "Least spray (water and product) per area. Needed for a rate in water.",
		func(l *farm.Label) *qty { return &l.SprayMin }, readSpray, units.Quantity.String).eg("1 US gal/1000 sq ft"),
	stated("spray_max", "Most spray per area. Needed for a rate in water.",
		func(l *farm.Label) *qty { return &l.SprayMax }, readSpray, units.Quantity.String).eg("3 US gal/1000 sq ft"),
}

var limitFields = []labelField{
	inHours(stated("min_interval", "Shortest time between two applications, in days or in hours, as the label has it: days\nare counted by dates, hours from the end of one to the beginning of the next. Words\nto look for: \"do not apply more often than\", \"minimum retreatment interval\".",
		func(l *farm.Label) *days { return &l.MinIntervalDays }, readDays, writeDays)).eg("7 days"),
	stated("reapply_by", "Repeat after at latest. Words to look for: \"reapply every 14 days\". This is a\nreminder; it is not the shortest time between two applications.",
		func(l *farm.Label) *days { return &l.ReapplyByDays }, readDays, writeDays).eg("14 days"),
	stated("reapply_when", "Repeat when, in words.",
		func(l *farm.Label) *txt { return &l.ReapplyWhen }, freeText, same).eg("eaten or after heavy rain"),
	stated("max_applications", "Most applications in a season (or what max_per says): a whole number.",
		func(l *farm.Label) *days { return &l.MaxApplications },
		func(s string) (int, *diag.Problem) { return whole(s, 1, 1000, "applications") }, strconv.Itoa).eg("6"),
	stated("max_in_window", "Most applications in any run of days.",
		func(l *farm.Label) *farm.Stated[farm.Window] { return &l.MaxInWindow }, readWindow,
		func(w farm.Window) string { return fmt.Sprintf("%d in %d days", w.Count, w.Days) }).eg("3 in 30 days"),
	stated("max_amount", "Most product in a season (or what max_per says), per area.",
		func(l *farm.Label) *qty { return &l.MaxAmount }, readAmount, units.Quantity.String).eg("2 lb/1000 sq ft"),
	{key: "max_per", help: "What these maxima are counted over: season, year, calendar year, 12 months, crop\ncycle or generation (of the pest). \"Per year\" without more is year: the calendar year\nand every 12 months are both counted. The label does not say: \"none stated\".",
		example: "season",
		write:   func(l *farm.Label) string { return tomlText(l.MaxPer) },
		clear:   func(l *farm.Label) { l.MaxPer = "" },
		read: func(l *farm.Label, s string) (bad *diag.Problem) {
			if s = tidy(s); strings.EqualFold(s, noneStated) {
				l.MaxPer = farm.PerNone
				return nil
			}
			per, bad := choice("period", s, farm.MaxPers)
			if bad == nil {
				l.MaxPer = per
			}
			return bad
		}},
	list("more_maxima", "Every further maximum: a list. Applications or an amount per area, of the product or\nof one active ingredient, in days or per season, year, calendar year, 12 months, crop\ncycle or generation: [\"2 per crop cycle\", \"0.5 lb/acre of sulfur per season\"].",
		func(l *farm.Label) *farm.Stated[[]farm.Maximum] { return &l.MoreMaxima }, readMaximum, writeMaximum).eg("2 per generation"),
	stated("season", "What the label calls a season, where it gives days: month and day to month and day.",
		func(l *farm.Label) *farm.Stated[farm.YearSpan] { return &l.Season }, readYearSpan, writeYearSpan).eg("04-01 to 10-31"),
	stated("phi", "Pre-harvest interval: from application to cutting. \"May be used up to the day of\nharvest\" is \"0 days\". Directions for Use, beside the crop.",
		func(l *farm.Label) *days { return &l.PHIDays }, readDays, writeDays).eg("1 day"),
	stated("phi_event", "What cutting must wait for besides, in words. Directions for Use.",
		func(l *farm.Label) *txt { return &l.PHIEvent }, freeText, same).eg("the spray has dried"),
	stated("plant_back", "Planting-back interval: from application to planting another crop there. Directions\nfor Use, \"rotational crops\". Needed where planting is planned.",
		func(l *farm.Label) *days { return &l.PlantBack }, readDays, writeDays).eg("30 days"),
}

var sprayFields = []labelField{
	stated("rainfast", "Time it must stay dry after application, without rain or irrigation.",
		func(l *farm.Label) *num { return &l.RainfastH }, readRain, writeHours).eg("6 hours"),
	stated("min_temp", "Do not apply below this temperature.",
		func(l *farm.Label) *num { return &l.MinTempC }, readTemp, writeTemp).eg("45 F"),
	stated("max_temp", "Do not apply above this temperature.",
		func(l *farm.Label) *num { return &l.MaxTempC }, readTemp, writeTemp).eg("90 F"),
	stated("min_wind", "Do not apply in less wind than this. Under spray drift.",
		func(l *farm.Label) *num { return &l.MinWindMS }, readWind, writeWind).eg("3 mph"),
	stated("max_wind", "Do not apply in more wind than this. Also under spray drift.",
		func(l *farm.Label) *num { return &l.MaxWindMS }, readWind, writeWind).eg("10 mph"),
	stated("nozzle", "Nozzle or droplet size. Under spray drift.",
		func(l *farm.Label) *txt { return &l.Nozzle }, freeText, same).eg("medium or coarser droplets"),
	stated("boom_height", "Highest nozzle above the plants. Under spray drift.",
		func(l *farm.Label) *num { return &l.BoomM }, readHeight, writeHeight).eg("24 in"),
	stated("time_of_day", "Hours of the day in which it may be applied. Directions for Use. Words without hours\n(\"in the evening\") go into printed.",
		func(l *farm.Label) *farm.Stated[[]farm.ClockSpan] { return &l.Hours }, readClock, farm.HoursWords).eg("18:00-09:00"),
	stated("soil", "What the soil must be like, in words. Directions for Use.",
		func(l *farm.Label) *txt { return &l.Soil }, freeText, same).eg("moist"),
	stated("plant_stress", "Plants that must not be treated because they suffer. Directions for Use.",
		func(l *farm.Label) *txt { return &l.PlantStress }, freeText, same).eg("not on wilting plants"),
	list("sensitive", "Plants that it may hurt: a list. Directions for Use.",
		func(l *farm.Label) *texts { return &l.Sensitive }, readItem, same).eg("ferns"),
	yesNo("test_first", "yes where the label says to try it on a few plants first. Directions for Use.", func(l *farm.Label) *yes { return &l.TestFirst }),
	flagged(labelField{key: "keep_apart", items: writeApart, item: readApart,
		clear: func(l *farm.Label) { l.KeepApart = nil },
		help:  "Materials that must not come near it in time: a list of actives and days, such as\n[\"sulfur 14 days\"]. Directions for Use, or Precautionary Statements. Read and found\nnone: \"none stated\". An empty list is unknown."},
		func(l *farm.Label) *bool { return &l.NoKeepApart }).eg("sulfur 14 days"),
}

var safetyFields = []labelField{
	under("Agricultural Use Requirements", stated("rei", "Re-entry (restricted-entry) interval. A label that says only \"until dry\": write the\nlongest time that drying can take you, such as \"24 hours\", and its words in printed.",
		func(l *farm.Label) *num { return &l.REIHours }, readREI, writeHours)).eg("4 hours"),
	stated("early_ppe", "What whoever must go in before that wears. Needed where there is a re-entry interval.",
		func(l *farm.Label) *txt { return &l.EarlyPPE }, freeText, same).eg("coveralls, waterproof gloves, shoes and socks"),
	yesNo("double_notification", "yes where workers are to be warned both orally and with signs. Needed where there is\na re-entry interval.", func(l *farm.Label) *yes { return &l.DoubleNotice }),

	under("Environmental Hazards and Precautionary Statements", stated("bees", "The strictest bee statement: \"not while bees forage\", \"not in bloom\" (until petal\nfall) or \"only after sunset\". Environmental Hazards, or a bee box.",
		func(l *farm.Label) *txt { return &l.Bees }, oneWord("bee statement", farm.BeeRules...), same)).eg("not in bloom"),
	stated("water_buffer", "Distance to keep from water. Environmental Hazards.",
		func(l *farm.Label) *num { return &l.WaterBuffer }, readBuffer, writeMetres).eg("10 ft"),
	yesNo("no_water", "yes where it forbids application to water (\"do not apply directly to water\").\nEnvironmental Hazards.", func(l *farm.Label) *yes { return &l.NoWater }),
	stated("animals", "Pets, livestock, wildlife: keep out until, do not pile, do not graze.\nPrecautionary Statements and directions.",
		func(l *farm.Label) *txt { return &l.Animals }, freeText, same).eg("do not pile; keep pets away while spreading"),
	stated("ppe", "What the person who applies it must wear. Precautionary Statements.",
		func(l *farm.Label) *txt { return &l.PPE }, freeText, same).eg("waterproof gloves"),
	stated("first_aid", "First aid, and the telephone number to call. First Aid box.",
		func(l *farm.Label) *txt { return &l.FirstAid }, freeText, same).eg("if swallowed call a poison centre"),
}

var containerFields = []labelField{
	under("Storage and Disposal", stated("storage", "How to keep it. Storage and Disposal, end of the label.",
		func(l *farm.Label) *txt { return &l.Storage }, freeText, same)).eg("dry, locked, above 40 F"),
	stated("disposal", "What to do with rests and the empty container. Storage and Disposal.",
		func(l *farm.Label) *txt { return &l.Disposal }, freeText, same).eg("do not reuse the container"),

	under("Container", stated("lot", "Lot or batch code, stamped on the container.",
		func(l *farm.Label) *txt { return &l.Lot }, freeText, same)).eg("L0001"),
	stated("expiry", "Last day on which it may be used. Stamped on the container. A month only: write its\nfirst day.",
		func(l *farm.Label) *farm.Stated[civil.Date] { return &l.Expiry }, readLabelDay, civil.Date.String).eg("2028-05-31"),
	stated("opened_life", "How long it may be used once opened. Container, or Storage and Disposal.",
		func(l *farm.Label) *days { return &l.OpenedDays }, readDays, writeDays).eg("365 days"),
	stated("opened", "The day on which you opened this container; not opened yet: \"none stated\".",
		func(l *farm.Label) *farm.Stated[civil.Date] { return &l.Opened }, readLabelDay, civil.Date.String).eg("2026-05-01"),
	stated("mixed_life", "How long a mix may be used. Directions for Use.",
		func(l *farm.Label) *num { return &l.MixedHours }, readMixed, writeHours).eg("12 hours"),
	{key: "printed", items: writePrinted, item: readPrinted, clear: func(l *farm.Label) { l.Printed = nil }, cut: ";;",
		help:    "The label's own words, a list: the field above that they belong to, binds (\"do not\")\nor advises (\"should\"), the panel, and the words, with | between. What only advises\ntime_of_day does not forbid other hours; every other limit binds in any case.",
		example: "rei | binds | Directions for Use | Keep out for 4 hours."},
	fact("transcriber", "Who read the label.",
		func(l *farm.Label) string { return l.Transcriber },
		func(l *farm.Label, s string) *diag.Problem { l.Transcriber = tidy(s); return nil }).eg("A. Example"),
	fact("photo", "Where a photograph of the whole label is kept.",
		func(l *farm.Label) string { return l.Photo },
		func(l *farm.Label, s string) *diag.Problem { l.Photo = tidy(s); return nil }).eg("shed folder, page 3"),
	fact("note", "Anything else.",
		func(l *farm.Label) string { return l.Note },
		func(l *farm.Label, s string) *diag.Problem { l.Note = strings.TrimSpace(s); return nil }).eg("bought in spring"),
}

const activesHelp = "Ingredient Statement, front: one [[actives]] block for each active ingredient.\nname as printed, percent by weight, g_per_l (grams in a litre of a liquid), the\nmode-of-action group in the box on the front (IRAC or FRAC code), and max: the most of\nthis active ingredient per area in a season (or what max_per says), all products that\nhold it counted together, such as \"0.5 lb/acre\" (Directions for Use). Keep these blocks\nat the end of the file. No active ingredient on the whole label: write above them\nactives = \"none stated\" and delete the blocks."
