package ingest

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/pattern"
	"leafturn/internal/units"
)

var siteForm = pattern.New(`(?i)^(.*?) ?\(((?:rei|rate|interval)\b.*)\)$`)

const siteDo = `write what the label prints beside the site in brackets: "outdoor ornamentals (rei 12 hours; rate 0.5 to 1 lb/1000 sq ft; interval 14 days)"`

// readBeside reads what a label prints beside a site.
func readBeside(site *farm.LabelSite, s string) *diag.Problem {
	for part := range strings.SplitSeq(s, ";") {
		word, text, _ := strings.Cut(tidy(part), " ")
		text = strings.TrimSpace(text)
		none := strings.EqualFold(text, noneStated)
		var bad *diag.Problem
		twice := false
		switch strings.TrimSuffix(strings.ToLower(word), ":") {
		case "rei":
			if twice = site.REIHours.Known(); none {
				site.REIHours = farm.None[float64]()
				break
			}
			var h float64
			if h, bad = readREI(text); bad == nil {
				site.REIHours = farm.Value(h)
			}
		case "rate":
			twice = site.RateMax.Known()
			bad = readSiteRate(site, text)
		case "interval":
			var l farm.Label
			twice = site.MinIntervalDays.Known()
			if none {
				l.MinIntervalDays = farm.None[int]()
			} else if bad = readInterval(&l, text); bad == nil && l.MinIntervalHours == 0 {
				var n int
				if n, bad = readDays(text); bad == nil {
					l.MinIntervalDays = farm.Value(n)
				}
			}
			site.MinIntervalDays, site.MinIntervalHours = l.MinIntervalDays, l.MinIntervalHours
		default:
			bad = refuse(siteDo, "%s is neither rei, rate nor interval", quote(tidy(part)))
		}
		if bad == nil && twice {
			bad = refuse("keep one of the two", "%s stands twice", quote(word))
		}
		if bad != nil {
			return bad
		}
	}
	return nil
}

// readSiteRate reads "LOW to HIGH" or one rate, which is the highest. The low
// one may leave out its unit.
func readSiteRate(site *farm.LabelSite, s string) *diag.Problem {
	low, high, span := strings.Cut(s, " to ")
	if !span {
		low, high = "", s
	}
	q, bad := readRate(high)
	if bad != nil {
		return bad
	}
	site.RateMin, site.RateMax = farm.None[units.Quantity](), farm.Value(q)
	if low == "" {
		return nil
	}
	if _, err := units.ParseNumber(strings.TrimSpace(low)); err == nil {
		low += " " + q.Unit.Name
	}
	p, bad := readRate(low)
	switch {
	case bad != nil:
		return bad
	case p.Unit.Dimension != q.Unit.Dimension || p.Base() > q.Base():
		return refuse("write the lower rate first, both in one kind of unit", "%s is no rate from low to high", quote(s))
	}
	site.RateMin = farm.Value(p)
	return nil
}

// readSite reads "outdoor ornamentals", with what the label prints beside it in
// brackets. A crop that is not one of farm.SiteCrops is kept as the label has
// it, unless it looks like a slip for one of them.
func readSite(l *farm.Label, s string, _ PestNames) *diag.Problem {
	s = tidy(s)
	site := farm.LabelSite{}
	if m := siteForm().FindStringSubmatch(s); m != nil {
		if bad := readBeside(&site, m[2]); bad != nil {
			return bad
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
		var beside []string
		switch s.REIHours.State {
		case farm.IsStated:
			beside = append(beside, "rei "+writeHours(s.REIHours.Value))
		case farm.NoneStated:
			beside = append(beside, "rei "+noneStated)
		}
		switch lo, hi := s.RateMin.Value, s.RateMax.Value; {
		case s.RateMin.Has():
			beside = append(beside, "rate "+lo.String()+" to "+hi.String())
		case s.RateMax.Has():
			beside = append(beside, "rate "+hi.String())
		}
		switch {
		case s.MinIntervalHours > 0:
			beside = append(beside, "interval "+writeHours(s.MinIntervalHours))
		case s.MinIntervalDays.Has():
			beside = append(beside, "interval "+writeDays(s.MinIntervalDays.Value))
		case s.MinIntervalDays.Known():
			beside = append(beside, "interval "+noneStated)
		}
		text := string(s.Where) + " " + s.Crop
		if len(beside) > 0 {
			text += " (" + strings.Join(beside, "; ") + ")"
		}
		out = append(out, text)
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
// P07, BM02, NC, U06) or HRAC (9, A, O). Their numbers stay below 60 (from memory).
var groupForm = pattern.New(`^(([1-9]|[1-5]\d)[A-Z]?|UN[A-Z]?|M\d{2}|P\d{2}|BM\d{2}|U\d{2}|NC|[A-Z])$`)

var apartForm = pattern.New(`^(.*\S) ([0-9.]+ ?\pL+)$`)

// readApart reads "sulfur 14 days".
func readApart(l *farm.Label, s string, _ PestNames) *diag.Problem {
	s = tidy(s)
	m := apartForm().FindStringSubmatch(s)
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

var keyForm = pattern.New(`^[a-z0-9][a-z0-9-]{0,23}$`)

func readKey(l *farm.Label, s string) *diag.Problem {
	k := strings.ToLower(strings.TrimSpace(s))
	if !keyForm().MatchString(k) || strings.Trim(k, "0123456789-") == "" {
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

const rateForms = `write product per area ("0.5 lb/1000 sq ft", "25 kg/ha"), in water ("2 US fl oz/US gal"), along the row ("1 oz wt/100 ft row") or for a plant ("5 g/plant")`

// readRate reads product per area, in water, along a row or for a plant. Its
// problems carry the advice of units.
func readRate(s string) (units.Quantity, *diag.Problem) {
	q, err := units.Parse(s)
	if err != nil {
		return q, refuse(rateForms, "%s is not a rate: %v", quote(s), err)
	}
	switch q.Unit.Dimension {
	case units.MassPerArea, units.VolPerArea, units.MassPerVol, units.VolPerVol, units.MassPerRow, units.VolPerRow, units.MassPerUnit, units.VolPerUnit:
	default:
		return q, refuse(rateForms, "%s is a %s, not a rate", quote(s), q.Unit.Dimension)
	}
	if q.Value <= 0 {
		return q, refuse("write the label's rate", "the rate %s is not above 0", quote(s))
	}
	return q, nil
}

// readAmount reads product or active ingredient per area.
func readAmount(s string) (units.Quantity, *diag.Problem) {
	const do = `write an amount per area, such as "2 lb/1000 sq ft" or "50 kg/ha"`
	q, err := units.Parse(s)
	switch {
	case err != nil:
		return q, refuse(do, "%s is not an amount per area: %v", quote(s), err)
	case q.Unit.Dimension != units.MassPerArea && q.Unit.Dimension != units.VolPerArea:
		return q, refuse(do, "%s is a %s, not an amount per area", quote(s), q.Unit.Dimension)
	case q.Value <= 0:
		return q, refuse("write the label's amount", "the amount %s is not above 0", quote(s))
	}
	return q, nil
}

var spanForm = pattern.New(`^([-+]?[0-9.]+)\s*([a-z]*)$`)

var spanHours = map[string]float64{
	"m": 1.0 / 60, "min": 1.0 / 60, "mins": 1.0 / 60, "minute": 1.0 / 60, "minutes": 1.0 / 60,
	"h": 1, "hr": 1, "hrs": 1, "hour": 1, "hours": 1,
	"d": 24, "day": 24, "days": 24, "week": 168, "weeks": 168,
}

// span reads a length of time in hours, from 0 to limit.
func span(s string, limit float64, example string) (float64, *diag.Problem) {
	m := spanForm().FindStringSubmatch(strings.ToLower(tidy(s)))
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
	if byHours(s) && h > 0 { // from the evening to the morning two days after is 36 hours
		return 0, refuse(fmt.Sprintf("write %q: days are counted by dates, and fewer may be too short", writeDays(int(math.Ceil(h/24))+1)), "%s is a time in hours", quote(s))
	}
	if d := int(h / 24); float64(d)*24 == h {
		return d, nil
	}
	return 0, refuse("write whole days, rounded up", "%s is not a whole number of days", quote(s))
}

// inHours makes the shortest interval a field that takes hours too.
func inHours(f labelField) labelField {
	byDays := f
	f.clear = func(l *farm.Label) { byDays.clear(l); l.MinIntervalHours = 0 }
	f.write = func(l *farm.Label) string {
		if l.MinIntervalHours > 0 {
			return tomlText(writeHours(l.MinIntervalHours))
		}
		return byDays.write(l)
	}
	f.read = func(l *farm.Label, s string) *diag.Problem {
		bad := readInterval(l, s)
		if bad == nil && l.MinIntervalHours == 0 {
			return byDays.read(l, s)
		}
		return bad
	}
	return f
}

// readInterval reads a shortest interval that is given in hours; of another it
// only says that there are none.
func readInterval(l *farm.Label, s string) *diag.Problem {
	l.MinIntervalHours = 0
	if !byHours(s) {
		return nil
	}
	h, bad := span(s, 730*24, `"48 hours"`)
	if bad == nil && h == 0 {
		bad = refuse("write none stated where the label gives none", "%s is no time", quote(s))
	}
	if bad == nil {
		l.MinIntervalHours, l.MinIntervalDays = h, farm.Value(int(math.Ceil(h/24)))
	}
	return bad
}

// byHours reports whether a length of time is given in hours or minutes.
func byHours(s string) bool {
	m := spanForm().FindStringSubmatch(strings.ToLower(tidy(s)))
	return m != nil && spanHours[m[2]] > 0 && spanHours[m[2]] < 24
}

func writeDays(d int) string { return strconv.Itoa(d) + " days" }

var windowForm = pattern.New(`^(\d{1,4}) (?:in|per) (?:any )?(\d{1,4}) days?$`)

func readWindow(s string) (w farm.Window, bad *diag.Problem) {
	m := windowForm().FindStringSubmatch(strings.ToLower(tidy(s)))
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
