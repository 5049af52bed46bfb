package ingest

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/units"
)

// noneStated is the written form of "the label was read and says nothing".
const noneStated = "none stated"

// labelField is one key of the label file: the single table of fields from
// which template, reader and writer are made.
type labelField struct {
	section string // a heading before the field, "" for none
	key     string
	help    string // what it is and where on a label it stands
	write   func(l *farm.Label) string
	// read reads a value that is not blank. It returns a problem without a place.
	read  func(l *farm.Label, text string) *diag.Problem
	clear func(l *farm.Label) // makes it unknown
	// A list has these two instead: its items as written, and reading one.
	items func(l *farm.Label) []string
	none  func(l *farm.Label) *bool // of a list that may be none stated
	item  func(l *farm.Label, text string, names PestNames) *diag.Problem
}

// stated makes a field with three states.
func stated[T any](key, help string, at func(*farm.Label) *farm.Stated[T], read func(string) (T, *diag.Problem), write func(T) string) labelField {
	return labelField{key: key, help: help,
		clear: func(l *farm.Label) { *at(l) = farm.Stated[T]{} },
		write: func(l *farm.Label) string { return statedText(*at(l), write) },
		read: func(l *farm.Label, s string) *diag.Problem {
			if strings.EqualFold(tidy(s), noneStated) {
				*at(l) = farm.None[T]()
				return nil
			}
			v, bad := read(s)
			if bad == nil {
				*at(l) = farm.Value(v)
			}
			return bad
		}}
}

// statedText writes one of the three states as TOML.
func statedText[T any](f farm.Stated[T], write func(T) string) string {
	switch f.State {
	case farm.IsStated:
		return tomlText(write(f.Value))
	case farm.NoneStated:
		return tomlText(noneStated)
	}
	return `""`
}

// fact makes a field that the tool cannot do without, or that is no answer of
// a label: it has no "none stated".
func fact(key, help string, write func(*farm.Label) string, read func(*farm.Label, string) *diag.Problem) labelField {
	return labelField{key: key, help: help,
		clear: func(l *farm.Label) { _ = read(l, "") },
		write: func(l *farm.Label) string { return tomlText(write(l)) },
		read: func(l *farm.Label, s string) *diag.Problem {
			if strings.EqualFold(tidy(s), noneStated) {
				return refuse("leave it blank if it is not known", "%s cannot be %q", key, noneStated)
			}
			return read(l, s)
		}}
}

// under puts a section heading before a field.
func under(section string, f labelField) labelField {
	f.section = section
	return f
}

func same(s string) string { return s }

func freeText(s string) (string, *diag.Problem) { return strings.TrimSpace(s), nil }

func oneWord(kind string, allowed ...string) func(string) (string, *diag.Problem) {
	return func(s string) (string, *diag.Problem) { return choice(kind, tidy(s), allowed) }
}

type txt = farm.Stated[string]
type num = farm.Stated[float64]
type days = farm.Stated[int]
type qty = farm.Stated[units.Quantity]

var labelFields = []labelField{
	under("Set by the grower and the tool", fact("key",
		"Needed. The short name you will type for this product: small letters, digits\nand hyphens, such as ironbait.",
		func(l *farm.Label) string { return l.Key }, readKey)),
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
		func(l *farm.Label, s string) *diag.Problem { l.Product = tidy(s); return nil })),
	stated("registration", "Registration number, word for word: on the front or back (US: \"Reg. No.\", two or\nthree groups of digits; not the establishment number. UK: MAPP. Canada: PCP).",
		func(l *farm.Label) *txt { return &l.Registration }, freeText, same),
	stated("use_class", "general, restricted or professional: a restricted-use box stands at the top of the\nfront. No word of it on the whole label: \"none stated\".",
		func(l *farm.Label) *txt { return &l.UseClass }, oneWord("use class", "general", "restricted", "professional"), same),
	stated("signal_word", "danger, warning or caution: on the front, in capitals.",
		func(l *farm.Label) *txt { return &l.SignalWord }, oneWord("signal word", "danger", "warning", "caution"), same),
	stated("formulation", "What it is: dry bait, granule, pellet, dust, wettable powder, liquid, ready to use. A\nbait that is sprayed is a liquid. Front.",
		func(l *farm.Label) *txt { return &l.Formulation },
		func(s string) (string, *diag.Problem) { return choice("formulation", tidy(s), farm.Formulations) }, same),
	stated("organic", "Organic listing: the listing body's mark on the front, or your certifier's answer\nand its date: \"listed by NAME\", or \"certifier NAME: yes, 2026-05-01\". Anything else is\nno approval. The certifier approves the product, not only its active ingredient.",
		func(l *farm.Label) *txt { return &l.Organic }, readApproval, same),

	under("Directions for Use", labelField{key: "sites", items: writeSites, item: readSite, clear: func(l *farm.Label) { l.Sites = nil },
		help: "Where and on what it may be used: a list. Begin each with outdoor or house, then\nthe crop word of the label that takes in your bed: dahlias, cut flowers, ornamentals\nor any crop. Such as [\"outdoor ornamentals\", \"house cut flowers\"]. A site that is\nnot listed on the label is not allowed. A re-entry interval printed beside one site\nfollows it: \"outdoor ornamentals (rei 12 hours)\"."}),
	labelField{key: "pests", help: "The pests that the label names: a list, such as [\"slug\", \"earwig\"].",
		items: func(l *farm.Label) []string { return slices.Concat(l.Pests, l.OtherPests) }, item: readPest,
		clear: func(l *farm.Label) { l.Pests, l.OtherPests = nil, nil }},
	stated("method", "How it is applied (scattered by hand, spreader, spray to wet), and what is forbidden.",
		func(l *farm.Label) *txt { return &l.Method }, freeText, same),
	stated("rate_min", "Lowest rate, product per area, such as \"0.5 lb/1000 sq ft\" or \"25 kg/ha\". One rate\nonly: write it here and below. Say \"oz wt\" or \"US fl oz\", never \"oz\" alone.",
		func(l *farm.Label) *qty { return &l.RateMin }, readRate, units.Quantity.String),
	stated("rate_max", "Highest rate, product per area.",
		func(l *farm.Label) *qty { return &l.RateMax }, readRate, units.Quantity.String),
	stated("min_interval", "Shortest time between two applications, such as \"7 days\". Words to look for: \"do\nnot apply more often than\", \"minimum retreatment interval\".",
		func(l *farm.Label) *days { return &l.MinIntervalDays }, readDays, writeDays),
	stated("reapply_by", "Repeat after at latest, such as \"14 days\". Words to look for: \"reapply every 14\ndays\". This is a reminder; it is not the shortest time between two applications.",
		func(l *farm.Label) *days { return &l.ReapplyByDays }, readDays, writeDays),
	stated("reapply_when", "Repeat when, in words, such as \"eaten or after heavy rain\".",
		func(l *farm.Label) *txt { return &l.ReapplyWhen }, freeText, same),
	stated("max_applications", "Most applications in a season (or what max_per says): a whole number.",
		func(l *farm.Label) *days { return &l.MaxApplications },
		func(s string) (int, *diag.Problem) { return whole(s, 1, 1000, "applications") }, strconv.Itoa),
	stated("max_in_window", "Most applications in any run of days, such as \"3 in 30 days\".",
		func(l *farm.Label) *farm.Stated[farm.Window] { return &l.MaxInWindow }, readWindow,
		func(w farm.Window) string { return fmt.Sprintf("%d in %d days", w.Count, w.Days) }),
	stated("max_amount", "Most product in a season (or what max_per says), per area, such as \"2 lb/1000 sq ft\".",
		func(l *farm.Label) *qty { return &l.MaxAmount }, readRate, units.Quantity.String),
	fact("max_per", "What these maxima are counted over: season, year or crop cycle. Blank is season.",
		func(l *farm.Label) string { return l.MaxPer },
		func(l *farm.Label, s string) (bad *diag.Problem) {
			l.MaxPer, bad = choice("period", tidy(s), farm.MaxPers)
			return bad
		}),
	stated("phi", "Pre-harvest interval, such as \"1 day\": from application to cutting. \"May be used up\nto the day of harvest\" is \"0 days\".",
		func(l *farm.Label) *days { return &l.PHIDays }, readDays, writeDays),
	stated("rainfast", "Time it must stay dry after application, such as \"6 hours\".",
		func(l *farm.Label) *num { return &l.RainfastH }, readRain, writeHours),
	stated("min_temp", "Do not apply below, such as \"45 F\" or \"7 C\".",
		func(l *farm.Label) *num { return &l.MinTempC }, readTemp, writeTemp),
	stated("max_temp", "Do not apply above, such as \"90 F\".",
		func(l *farm.Label) *num { return &l.MaxTempC }, readTemp, writeTemp),
	stated("max_wind", "Do not apply in more wind than, such as \"10 mph\". Also under spray drift.",
		func(l *farm.Label) *num { return &l.MaxWindMS }, readWind,
		func(v float64) string { return number(v) + " m/s" }),

	under("Agricultural Use Requirements", stated("rei", "Re-entry (restricted-entry) interval, such as \"4 hours\" or \"2 days\". A label that\nsays only \"until dry\": write the longest time that drying can take you, such as\n\"24 hours\", and the label's own words in note.",
		func(l *farm.Label) *num { return &l.REIHours }, readREI, writeHours)),

	under("Environmental Hazards and Precautionary Statements", stated("bees", "The strictest bee statement: \"not while bees forage\", \"not in bloom\" (until petal\nfall) or \"only after sunset\". Environmental Hazards, or a bee box.",
		func(l *farm.Label) *txt { return &l.Bees }, oneWord("bee statement", farm.BeeRules...), same)),
	stated("water_buffer", "Distance to keep from water, such as \"10 ft\". Environmental Hazards.",
		func(l *farm.Label) *num { return &l.WaterBuffer }, readBuffer,
		func(v float64) string { return number(v) + " m" }),
	stated("animals", "Pets, livestock, wildlife: keep out until, do not pile, do not graze.\nPrecautionary Statements and directions.",
		func(l *farm.Label) *txt { return &l.Animals }, freeText, same),
	labelField{key: "keep_apart", items: writeApart, item: readApart, none: func(l *farm.Label) *bool { return &l.NoKeepApart },
		clear: func(l *farm.Label) { l.KeepApart, l.NoKeepApart = nil, false },
		help:  "Materials that must not come near it in time: a list of actives and days, such as\n[\"sulfur 14 days\"]. Directions for Use, or Precautionary Statements. Read and found\nnone: \"none stated\". An empty list is unknown."},
	stated("ppe", "What the person who applies it must wear. Precautionary Statements.",
		func(l *farm.Label) *txt { return &l.PPE }, freeText, same),

	under("Container", stated("expiry", "Last day on which it may be used, such as 2028-05-31. Stamped on the container.\nA month only: write its first day.",
		func(l *farm.Label) *farm.Stated[civil.Date] { return &l.Expiry },
		func(s string) (civil.Date, *diag.Problem) {
			if yearMon.MatchString(strings.TrimSpace(s)) {
				return civil.Date{}, noDate(s, "write a whole date; for a month only, its first day is the safe one", "has no day")
			}
			return parseDate(s, civil.Date{})
		}, civil.Date.String)),
	fact("note", "Anything else: other words of the label, where you keep its photograph, who read it.",
		func(l *farm.Label) string { return l.Note },
		func(l *farm.Label, s string) *diag.Problem { l.Note = strings.TrimSpace(s); return nil }),
}

const activesHelp = "Ingredient Statement, front: one [[actives]] block for each active ingredient.\nname as printed, percent by weight, the mode-of-action group in the box on the\nfront (IRAC or FRAC code), and max: the most of this active ingredient per area in a\nseason, all products that hold it counted together, such as \"0.5 lb/acre\" (Directions\nfor Use). Keep these blocks at the end of the file."

var siteREI = regexp.MustCompile(`(?i)^(.*?) ?\(rei:? (.*)\)$`)

// readSite reads "outdoor ornamentals" or "outdoor ornamentals (rei 12
// hours)". A crop that is not one of farm.SiteCrops is kept as the label has
// it, unless it looks like a slip for one of them.
func readSite(l *farm.Label, s string, _ PestNames) *diag.Problem {
	s = tidy(s)
	site := farm.LabelSite{}
	if m := siteREI.FindStringSubmatch(s); m != nil {
		if strings.EqualFold(m[2], noneStated) {
			site.REIHours = farm.None[float64]()
		} else {
			h, bad := readREI(m[2])
			if bad != nil {
				return bad
			}
			site.REIHours = farm.Value(h)
		}
		s = m[1]
	}
	where, crop, _ := strings.Cut(strings.ToLower(s), " ")
	kind, ok := map[string]farm.Site{"outdoor": farm.Outdoor, "outdoors": farm.Outdoor, "house": farm.House, "greenhouse": farm.House, "indoor": farm.House, "indoors": farm.House}[where]
	switch {
	case !ok:
		return refuse(`begin with outdoor or house, such as "outdoor ornamentals"; write two entries when the label means both`, "the site %s does not say outdoor or house", quote(s))
	case crop == "":
		return refuse(oneOf(farm.SiteCrops), "the site %s names no crop", quote(s))
	case !slices.Contains(farm.SiteCrops, crop) && diag.Nearest(crop, farm.SiteCrops) != "":
		return unknown("crop", crop, farm.SiteCrops)
	}
	site.Where, site.Crop = kind, crop
	for _, other := range l.Sites {
		if other.Where == kind && other.Crop == crop {
			return refuse("keep one of the two", "the site %s stands twice", quote(s))
		}
	}
	l.Sites = append(l.Sites, site)
	return nil
}

func writeSites(l *farm.Label) (out []string) {
	for _, s := range l.Sites {
		rei := ""
		switch s.REIHours.State {
		case farm.IsStated:
			rei = " (rei " + writeHours(s.REIHours.Value) + ")"
		case farm.NoneStated:
			rei = " (rei " + noneStated + ")"
		}
		out = append(out, string(s.Where)+" "+s.Crop+rei)
	}
	return out
}

func readPest(l *farm.Label, s string, names PestNames) *diag.Problem {
	s = tidy(s)
	pest, ok := look(s, names.Pest)
	switch {
	case !ok && diag.DidYouMean(s, names.PestWords()) != "":
		return unknown("pest", s, names.PestWords())
	case !ok && !slices.ContainsFunc(l.OtherPests, func(o string) bool { return strings.EqualFold(o, s) }):
		l.OtherPests = append(l.OtherPests, s)
	case ok && !slices.Contains(l.Pests, pest): // "slug" and "slugs" are one pest
		l.Pests = append(l.Pests, pest)
	}
	return nil
}

// readApproval reads an organic approval; a sentence that is none is refused,
// so that nobody takes "no" for one.
func readApproval(s string) (string, *diag.Problem) {
	s = tidy(s)
	if !farm.ApprovesOrganic(s) {
		return "", refuse(`write "listed by NAME", or "certifier NAME: yes, 2026-05-01", or leave it blank`, "%s is no organic approval", quote(s))
	}
	return s, nil
}

// groupForm is a mode-of-action code of IRAC (4A, UN, UNM), FRAC (11, M02,
// P07, BM02, NC, U06) or HRAC (9, A, O).
var groupForm = regexp.MustCompile(`^(\d{1,3}[A-Z]?|UN[A-Z]?|M\d{2}|P\d{2}|BM\d{2}|U\d{2}|NC|[A-Z])$`)

var apartForm = regexp.MustCompile(`^(.*\S) ([0-9.]+ ?\pL+)$`)

// readApart reads "sulfur 14 days".
func readApart(l *farm.Label, s string, _ PestNames) *diag.Problem {
	s = tidy(s)
	m := apartForm.FindStringSubmatch(s)
	if m == nil {
		return refuse(`write the active ingredient and the days between, such as "sulfur 14 days"`, "%s does not name a material and a time", quote(s))
	}
	d, bad := readDays(m[2])
	if bad != nil {
		return bad
	}
	for _, other := range l.KeepApart {
		if strings.EqualFold(other.Active, m[1]) {
			return refuse("keep the longer time", "%s stands twice", quote(m[1]))
		}
	}
	l.KeepApart = append(l.KeepApart, farm.Apart{Active: m[1], Days: d})
	return nil
}

func writeApart(l *farm.Label) (out []string) {
	for _, a := range l.KeepApart {
		out = append(out, a.Active+" "+writeDays(a.Days))
	}
	return out
}

var keyForm = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,23}$`)

func readKey(l *farm.Label, s string) *diag.Problem {
	k := strings.ToLower(strings.TrimSpace(s))
	if !keyForm.MatchString(k) || strings.Trim(k, "0123456789-") == "" {
		return refuse("write 1 to 24 small letters, digits or hyphens with at least one letter, such as ironbait", "%s cannot be the key of a label", quote(s))
	}
	l.Key = k
	return nil
}

func whole(s string, low, high int, what string) (int, *diag.Problem) {
	n, err := strconv.Atoi(strings.TrimSpace(s))
	if !digits(strings.TrimSpace(s)) || err != nil || n < low || n > high {
		return 0, refuse(fmt.Sprintf("write a whole number from %d to %d", low, high), "%s is not a number of %s", quote(s), what)
	}
	return n, nil
}

func positive(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// readRate reads product per area. Its problems carry the advice of units.
func readRate(s string) (units.Quantity, *diag.Problem) {
	q, err := units.Parse(s)
	switch {
	case err != nil:
		return q, refuse(`write product per area, such as "0.5 lb/1000 sq ft" or "25 kg/ha"`, "%s is not a rate: %v", quote(s), err)
	case q.Unit.Dimension == units.MassPerVol || q.Unit.Dimension == units.VolPerVol:
		return q, refuse("multiply it by the label's spray volume per area and write product per area", "%s is product per volume of water", quote(s))
	case q.Unit.Dimension != units.MassPerArea && q.Unit.Dimension != units.VolPerArea:
		return q, refuse(`write product per area, such as "0.5 lb/1000 sq ft" or "25 kg/ha"`, "%s is a %s, not product per area", quote(s), q.Unit.Dimension)
	case q.Value <= 0:
		return q, refuse("write the label's rate", "the rate %s is not above 0", quote(s))
	}
	return q, nil
}

var spanForm = regexp.MustCompile(`^([-+]?[0-9.]+)\s*([a-z]*)$`)

var spanHours = map[string]float64{
	"m": 1.0 / 60, "min": 1.0 / 60, "mins": 1.0 / 60, "minute": 1.0 / 60, "minutes": 1.0 / 60,
	"h": 1, "hr": 1, "hrs": 1, "hour": 1, "hours": 1,
	"d": 24, "day": 24, "days": 24, "week": 168, "weeks": 168,
}

// span reads a length of time in hours, from 0 to limit.
func span(s string, limit float64, example string) (float64, *diag.Problem) {
	m := spanForm.FindStringSubmatch(strings.ToLower(tidy(s)))
	if m == nil {
		return 0, refuse("write a number and its unit, such as "+example, "%s is not a length of time", quote(s))
	}
	v, err := units.ParseNumber(m[1])
	each, known := spanHours[m[2]]
	switch {
	case err != nil:
		return 0, refuse("write a number and its unit, such as "+example, "%s is not a length of time", quote(s))
	case m[2] == "":
		return 0, refuse(fmt.Sprintf("write %q or %q", m[1]+" hours", m[1]+" days"), "%s has no unit", quote(s))
	case !known:
		return 0, refuse("write hours, days or weeks", "%s has an unknown unit of time", quote(s))
	case v < 0:
		return 0, refuse("write 0 or more", "%s is below 0", quote(s))
	case v*each > limit:
		return 0, refuse("check the number and its unit", "%s is longer than %s days and is taken for a slip", quote(s), number(limit/24))
	}
	return v * each, nil
}

func readRain(s string) (float64, *diag.Problem) { return span(s, 168, `"6 hours"`) }

func readREI(s string) (float64, *diag.Problem) { return span(s, 720, `"4 hours"`) }

func writeHours(h float64) string { return number(h) + " hours" }

func readDays(s string) (int, *diag.Problem) {
	h, bad := span(s, 730*24, `"14 days"`)
	if bad != nil {
		return 0, bad
	}
	if d := int(h / 24); float64(d)*24 == h {
		return d, nil
	}
	return 0, refuse("write whole days, rounded up", "%s is not a whole number of days", quote(s))
}

func writeDays(d int) string { return strconv.Itoa(d) + " days" }

var windowForm = regexp.MustCompile(`^(\d{1,4}) (?:in|per) (?:any )?(\d{1,4}) days?$`)

func readWindow(s string) (w farm.Window, bad *diag.Problem) {
	m := windowForm.FindStringSubmatch(strings.ToLower(tidy(s)))
	if m == nil {
		return w, refuse(`write it as "3 in 30 days"`, "%s is not a number of applications in a number of days", quote(s))
	}
	w.Count, _ = strconv.Atoi(m[1])
	w.Days, _ = strconv.Atoi(m[2])
	if w.Count < 1 || w.Count > 1000 || w.Days < 1 || w.Days > 730 {
		return w, refuse("write 1 or more applications in 1 to 730 days", "%s is not a number of applications in a number of days", quote(s))
	}
	return w, nil
}

func readTemp(s string) (float64, *diag.Problem) { return celsius(strings.TrimSpace(s), "") }

func writeTemp(c float64) string { return number(c) + " C" }

func readWind(s string) (float64, *diag.Problem) {
	v, bad := amount(s, units.Speed, `"10 mph", "16 km/h" or "4.5 m/s"`)
	if bad == nil && (v <= 0 || v > 45) {
		bad = refuse("check the number and its unit", "%s is not a limit for wind", quote(s))
	}
	return v, bad
}

func readBuffer(s string) (float64, *diag.Problem) {
	v, bad := amount(s, units.Length, `"10 ft" or "3 m"`)
	if bad == nil && (v < 0 || v > 2000) {
		bad = refuse("write 0 to 2000 m", "%s is not a distance to keep", quote(s))
	}
	return v, bad
}

// amount reads a quantity in the base unit of its dimension.
func amount(s string, dim units.Dimension, forms string) (float64, *diag.Problem) {
	q, err := units.ParseAs(s, dim, "")
	if err != nil {
		return 0, refuse("write "+forms, "%s cannot be read: %v", quote(s), err)
	}
	return q.Base(), nil
}
