package companion

import (
	"strconv"
	"strings"
	"time"

	"leafturn/internal/pattern"
)

// Bloom is a bloom window as far as its text could be read. Days are counted
// from sowing; zero values were not given.
type Bloom struct {
	NotAFlower         bool
	From, To           time.Month // calendar months, both included
	ToFrost            bool       // blooms until the first autumn frost
	DelayMin, DelayMax int        // days from sowing to bloom
	LastMin, LastMax   int        // days in bloom
	SecondYear         bool       // none in the year of sowing
	Rest               []string   // parts of the text that were not understood
}

const monthWord = `(jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sep(?:t(?:ember)?)?|oct(?:ober)?|nov(?:ember)?|dec(?:ember)?)`

var (
	monthsRE = pattern.New(`^` + monthWord + `(?: ?(?:to|-) ?(?:` + monthWord + `|(frost)))?$`)
	delayRE  = pattern.New(`^(?:about )?(\d{1,3})(?:-(\d{1,3}))? (days|weeks)( (?:after|from) sowing)?( to frost)?$`)
	lastsRE  = pattern.New(`^(?:lasts )?(\d{1,3})(?:-(\d{1,3}))? (days|weeks)$`)
)

// ParseBloom reads a bloom window in the words of the facts:
//
//	July to frost · June to Sept · May-June · May
//	50-60 days after sowing, 3-4 weeks · 8 weeks to frost
//	8-10 weeks, July to frost · not a flower · second year, June to Aug
//
// Parts it does not understand are kept in Rest. ok is false when neither
// months nor days nor "not a flower" was found: the window is not known.
func ParseBloom(text string) (b Bloom, ok bool) {
	for _, part := range strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ';' }) {
		part = strings.TrimSpace(part)
		p := strings.ToLower(part)
		switch m, d, l := monthsRE().FindStringSubmatch(p), delayRE().FindStringSubmatch(p), lastsRE().FindStringSubmatch(p); {
		case p == "not a flower":
			b.NotAFlower = true
		case p == "second year":
			b.SecondYear = true
		case m != nil && b.From == 0:
			b.From = month(m[1])
			switch {
			case m[3] != "":
				b.ToFrost = true
			case m[2] != "":
				b.To = month(m[2])
			default:
				b.To = b.From
			}
		case d != nil && b.DelayMax == 0:
			b.DelayMin, b.DelayMax = days(d[1], d[2], d[3])
			b.ToFrost = b.ToFrost || d[5] != ""
		case l != nil && b.DelayMax > 0 && b.LastMax == 0:
			b.LastMin, b.LastMax = days(l[1], l[2], l[3])
		case part != "":
			b.Rest = append(b.Rest, part)
		}
	}
	return b, b.NotAFlower || b.From > 0 || b.DelayMax > 0
}

func days(lo, hi, unit string) (int, int) {
	a, _ := strconv.Atoi(lo)
	z := a
	if hi != "" {
		z, _ = strconv.Atoi(hi)
	}
	if unit == "weeks" {
		a, z = 7*a, 7*z
	}
	return min(a, z), max(a, z)
}

func month(word string) time.Month {
	for m := time.January; m <= time.December; m++ {
		if strings.HasPrefix(strings.ToLower(m.String()), word[:3]) {
			return m
		}
	}
	return 0
}
