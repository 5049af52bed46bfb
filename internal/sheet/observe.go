package sheet

import (
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/record"
)

// wordCache keeps what the words of a sheet stand for: most stand in many rows.
type wordCache struct {
	bed, pest map[string]answer
	total     map[string]bool
	label     map[string]string
	unit      map[[3]string]answer
	date      map[string]dateAnswer
}

type answer struct {
	key string
	w   *wrong
}

type dateAnswer struct {
	d civil.Date
	w *wrong
}

const maxCached = 100_000

func cached[K comparable, V any](m *map[K]V, k K, find func() V) V {
	if v, ok := (*m)[k]; ok {
		return v
	}
	v := find()
	if *m == nil {
		*m = map[K]V{}
	}
	if len(*m) < maxCached {
		if s, ok := any(k).(string); ok { // a cell holds on to the row that it was cut from
			k = any(strings.Clone(s)).(K)
		}
		(*m)[k] = v
	}
	return v
}

// obs is one cell of counts.
type obs struct {
	col   *Column
	text  string
	isDay bool
}

// cellError is a wrong cell.
type cellError struct {
	col   int
	text  string
	w     *wrong
	group int // of columns that it spoils; -1 for the whole row
}

// observe reads the counts of a row and adds them to their visits.
func (r *reader) observe(row Row) error {
	r.now = row.N
	get := func(c *Column) (string, bool) {
		if c.Col > len(row.Cells) {
			return "", false
		}
		text := tidy(row.Cells[c.Col-1])
		if text != "" && text[0] == '\'' {
			text = record.Plain(text)
		}
		return text, row.dates != nil && row.dates[c.Col-1]
	}
	counts := r.counts[:0]
	var infested, looked string
	infCol, lookCol := &Column{}, &Column{}
	base := key{stratum: farm.Random}
	var wrongs []cellError
	label, labelWord, blanks := "", "", 0
	fail := func(c *Column, text string, w *wrong) { wrongs = append(wrongs, cellError{c.Col, text, w, -1}) }
	hasBed, hasPest, hasDate := false, false, false
	unitWord := ""
	var bedCol, pestCol, dateCol, unitCol *Column
	var bedText, pestText, dateText string
	for i := range r.res.Columns {
		c := &r.res.Columns[i]
		if c.Role == Ignore || c.Role == total || c.Role == unknown {
			continue
		}
		text, isDay := get(c)
		if (c.Role == Infested || c.Role == Looked) && strings.EqualFold(text, storedWord) {
			text = ""
		}
		switch c.Role {
		case Bed:
			hasBed, bedText, bedCol = true, text, c
		case Pest:
			hasPest, pestText, pestCol = true, text, c
		case Date:
			hasDate, dateText, dateCol = true, text, c
		case Unit:
			unitWord, unitCol = text, c
		case Number:
			label, labelWord = cached(&r.words.label, text, func() string { return unitNumber(strings.Clone(text), c.Word) }), c.Word
		case Count:
			if strings.EqualFold(text, storedWord) {
				continue
			}
			if text == "" {
				blanks++
				if r.Map.Blank == "" || r.Map.Blank == blankNone {
					continue
				}
			}
			counts = append(counts, obs{c, text, isDay})
		case Infested:
			infested, infCol = text, c
		case Looked:
			looked, lookCol = text, c
		case Where:
			if s, w := stratum(text); w != nil {
				fail(c, text, w)
				base.stratum = ""
			} else {
				base.stratum = s
			}
		}
	}
	columns := infested != "" || looked != "" && len(counts) > 0
	share := columns
	if len(counts) == 0 && !columns {
		r.res.NoCount++
		return nil
	}
	if r.Map.Blank != "" && r.Map.Blank != blankNone && bedText+pestText+dateText == "" && !slices.ContainsFunc(counts, func(o obs) bool { return o.text != "" }) {
		r.res.NoCount++
		return nil
	}
	r.counts = counts
	if bedText == "" && pestText == "" && dateText == "" && unitWord == "" && label == "" && (hasBed || hasPest || hasDate) {
		c := &r.res.Columns[0]
		r.add(row.N, c.Col, c.Heading, "", `delete the row, or write "total" in its first cell if it holds sums`, "counts without a bed, a pest or a date")
		r.loose(row.N, part{share: share})
		r.reason(row.N, "counts without a bed, a pest or a date")
		return nil
	}
	r.res.BlankCell += blanks
	if hasBed {
		if a := r.bed(bedText); a.w != nil {
			fail(bedCol, bedText, a.w)
		} else {
			base.bed = a.key
		}
	} else {
		base.bed = r.Map.Bed
	}
	if hasPest {
		if a := r.pestOf(pestText); a.w != nil {
			fail(pestCol, pestText, a.w)
		} else {
			base.pest = a.key
		}
	} else {
		base.pest = r.Map.Pest
	}
	if hasDate {
		if a := r.date(dateText); a.w != nil {
			fail(dateCol, dateText, a.w)
		} else {
			base.date = a.d
		}
	} else {
		base.date = r.Map.Date
	}

	var touched, twice []*build
	missed := false
	visit := func(c *Column, word string) *build {
		k := base
		if c.Bed != "" {
			k.bed = c.Bed
		}
		if c.Pest != "" {
			k.pest = c.Pest
		}
		if !c.Date.IsZero() {
			k.date = c.Date
		}
		if k.pest != "" {
			a := r.unitOf(k.pest, unitWord, word)
			if a.w != nil {
				at, text := unitCol, unitWord
				if text == "" {
					at, text = c, c.Heading
				}
				if !slices.ContainsFunc(wrongs, func(e cellError) bool { return e.col == at.Col }) {
					wrongs = append(wrongs, cellError{at.Col, text, a.w, c.group})
				}
				missed = true
				return nil
			}
			k.unit = a.key
		}
		if k.stratum == "" || k.bed == "" || k.pest == "" || k.date.IsZero() {
			missed = true
			return nil
		}
		b := r.last
		if b == nil || b.key != k {
			if b = r.open[k]; b == nil {
				b = &build{key: k, first: row.N, col: c.Col, labels: nil}
				r.open[k] = b
			}
			r.last = b
		}
		b.last = row.N
		if n := len(b.rows); r.Rest && (n == 0 || b.rows[n-1] != row.N) {
			b.rows = append(b.rows, row.N)
		}
		if !slices.Contains(b.groups, c.group) {
			b.groups = append(b.groups, c.group)
		}
		if !slices.Contains(touched, b) {
			touched = append(touched, b)
		}
		return b
	}
	spot := func(b *build, c *Column, text string, w *wrong) {
		wrongs = append(wrongs, cellError{c.Col, text, w, c.group})
		if b != nil {
			b.bad = true
		}
	}
	labels := r.labels[:0]
	for _, o := range counts {
		word := o.col.Word
		if word == "" {
			word = labelWord
		}
		b := visit(o.col, word)
		var smp sample
		var w *wrong
		switch {
		case o.text == "" && r.Map.Blank == blankZero:
			smp.units = []farm.UnitCount{{Seen: true}}
		case o.text == "":
			smp.units = []farm.UnitCount{{}}
		default:
			if len(o.text) < 6 && plainDigits(o.text) {
				n, _ := strconv.Atoi(o.text)
				r.one[0] = farm.UnitCount{Count: n, Seen: true}
				smp.units = r.one[:]
				break
			}
			smp, w = parseSample(o.text, o.isDay)
		}
		if w != nil {
			spot(b, o.col, o.text, w)
			continue
		}
		name := label
		if o.col.Number != "" {
			if name = o.col.Number; label != "" {
				name = label + "." + o.col.Number
			}
		}
		share = share || smp.presence != nil
		if name != "" && len(smp.units) > 0 {
			labels = append(labels, name)
		}
		if b == nil {
			continue
		}
		for _, u := range smp.units {
			if !u.Seen {
				r.res.NotLooked++
			}
		}
		again, w := b.add(row.N, name, smp.units)
		if again > 0 {
			r.res.Repeated += again
			twice = append(twice, b)
		}
		if w == nil && smp.presence != nil {
			w = b.share(*smp.presence)
		}
		if w != nil {
			spot(b, o.col, o.text, w)
		}
	}
	r.labels = labels
	if columns {
		b := visit(infCol, labelWord)
		if p, c, text, w := shareOf(infCol, infested, lookCol, looked); w != nil {
			spot(b, c, text, w)
		} else if b != nil {
			if w := b.share(p); w != nil {
				spot(b, infCol, infested, w)
			}
		}
	}
	if len(r.said) > 0 || r.Map.Observer != "" {
		r.conditions(slices.DeleteFunc(slices.Clone(touched), func(b *build) bool { return slices.Contains(twice, b) }), get, fail)
	}
	for _, e := range wrongs {
		c := r.res.Columns[e.col-1]
		r.add(row.N, e.col, c.Heading, e.text, e.w.do, "%s", e.w.what)
		if e.group >= 0 {
			r.reason(row.N, e.w.what, e.group)
			continue
		}
		r.reason(row.N, e.w.what)
		for _, b := range touched {
			b.bad = true
		}
	}
	if missed {
		r.loose(row.N, part{base.bed, base.pest, base.date, strings.Join(labels, " "), share})
	}
	if !r.Gather {
		for _, b := range touched {
			if b.first == row.N && r.shut[b.hash()] {
				return ErrScattered
			}
		}
		if len(touched) > 0 && len(r.open) > len(touched) {
			return r.flush(row.N)
		}
	}
	return nil
}

func (b *build) share(p farm.Presence) *wrong {
	if b.presence != nil {
		return bad("add them up, or keep one", "%s has a presence sample already: %d/%d", b.words(), b.presence.Infested, b.presence.Looked)
	}
	b.presence = &p
	return nil
}

// shareOf reads the columns infested and looked.
func shareOf(ic *Column, infested string, lc *Column, looked string) (farm.Presence, *Column, string, *wrong) {
	if lost[strings.ToLower(infested)] || infested == "" {
		return farm.Presence{}, ic, infested, bad("write how many were infested, 0 for none; leave both cells blank where nobody looked", "no number of infested units")
	}
	hit, w := plainCount(infested, false)
	if w != nil {
		return farm.Presence{}, ic, infested, w
	}
	of, w := plainCount(looked, false)
	switch {
	case looked == "":
		return farm.Presence{}, lc, looked, bad("write how many were looked at", "no number of units looked at")
	case w != nil:
		return farm.Presence{}, lc, looked, w
	case of == 0:
		return farm.Presence{}, lc, looked, bad("write how many were looked at, or leave both cells blank", "nothing was looked at")
	case of > farm.MaxUnits:
		return farm.Presence{}, lc, looked, bad("check the number", "%s is above %d and is taken for a slip", quote(looked), farm.MaxUnits)
	case hit > of:
		return farm.Presence{}, ic, infested, bad("write infested first, then how many were looked at", "%d infested of %d looked at: the first number cannot be above the second", hit, of)
	}
	return farm.Presence{Infested: hit, Looked: of}, ic, infested, nil
}

// unitNumber writes the number of a unit in one way: "Trap 07" is 7.
func unitNumber(text, word string) string {
	if plainDigits(text) {
		if text = strings.TrimLeft(text, "0"); text == "" {
			text = "0"
		}
		return text
	}
	label := strings.ReplaceAll(strings.ToLower(text), " ", "_")
	if word != "" {
		label = strings.TrimPrefix(label, word+"_")
	}
	if plainDigits(label) {
		return unitNumber(label, "")
	}
	return label
}

func stratum(text string) (farm.Stratum, *wrong) {
	switch strings.ReplaceAll(strings.ToLower(text), " ", "") {
	case "", "random", "bed", "whole", "wholebed":
		return farm.Random, nil
	case "edge", "border", "rim":
		return farm.Edge, nil
	case "hotspot", "hot-spot":
		return farm.HotSpot, nil
	}
	return "", bad("write random, edge or hot spot", "%s is no place of a sample", quote(text))
}

func (r *reader) bed(text string) answer {
	return cached(&r.words.bed, text, func() answer {
		if text == "" {
			return answer{w: bad(`write the bed in every row: a blank is not "as above"`, "no bed in this row")}
		}
		word := text
		for w, code := range r.Map.Beds {
			if strings.EqualFold(tidy(w), text) {
				word = code
			}
		}
		for _, w := range []string{word, cutFold(word, "bed ")} {
			if key, ok := known(w, r.Names.Bed); ok {
				return answer{key: key}
			}
		}
		d := ingest.Unknown("bed", word, r.Names.BedCodes())
		return answer{w: bad(remedy(d, "beds", text, "leafturn bed add"), "%s", d.What)}
	})
}

// remedy is what to do about an unknown word.
func remedy(d *diag.Problem, table, word, add string) string {
	s := d.Do
	if s == "" {
		s = "correct it"
	}
	s += ", or say in a map file what it stands for: [" + table + "] " + tomlString(word) + ` = "..."`
	if add != "" {
		s += "; a bed that the farm does not have yet is entered with `" + add + "`"
	}
	return s
}

func cutFold(s, prefix string) string {
	if len(s) > len(prefix) && strings.EqualFold(s[:len(prefix)], prefix) {
		return s[len(prefix):]
	}
	return s
}

func (r *reader) pestOf(text string) answer {
	return cached(&r.words.pest, text, func() answer {
		if text == "" {
			return answer{w: bad(`write the pest in every row: a blank is not "as above"`, "no pest in this row")}
		}
		word := text
		for w, p := range r.Map.Pests {
			if strings.EqualFold(tidy(w), text) {
				word = p
			}
		}
		if key, ok := r.g.pest(word); ok {
			return answer{key: key}
		}
		if key, ok := known(word, r.Names.Enemy); ok {
			return answer{w: bad("give it a column of its own beside the counts of the pest, with the heading "+quote(key), "%s is a natural enemy, not a pest", quote(text))}
		}
		d := ingest.Unknown("pest", word, r.Names.PestWords())
		return answer{w: bad(remedy(d, "pests", text, ""), "%s", d.What)}
	})
}

func (r *reader) date(text string) dateAnswer {
	return cached(&r.words.date, text, func() dateAnswer {
		if text == "" {
			return dateAnswer{w: bad(`write the date in every row: a blank is not "as above"`, "no date in this row")}
		}
		d, w := parseDate(text, r.Map.Dates)
		if w == nil && r.Map.Dates == "" {
			r.notice(text)
		}
		if w == nil && !r.Today.IsZero() && d.After(r.Today) {
			w = bad("check the date and the order of day and month", "%s lies in the future: today is %s", quote(text), r.Today)
		}
		return dateAnswer{d, w}
	})
}

// notice remembers a date that shows in which order the sheet has them.
func (r *reader) notice(text string) {
	if !threeParts.MatchString(tidy(text)) || r.shows.order != "" {
		return
	}
	_, noDay := parseDate(text, DayFirst)
	_, noMonth := parseDate(text, MonthFirst)
	switch {
	case noDay == nil && noMonth != nil:
		r.shows.order = DayFirst
	case noDay != nil && noMonth == nil:
		r.shows.order = MonthFirst
	default:
		return
	}
	r.shows.row, r.shows.text = r.now, text
}

// unitOf finds the sample unit of a pest: the row's own word, the one for the
// whole sheet, the one in the heading, else the usual one.
func (r *reader) unitOf(pest, own, head string) answer {
	return cached(&r.words.unit, [3]string{pest, own, head}, func() answer {
		word := own
		if word == "" {
			word = r.Map.Unit
		}
		if word == "" && !slices.Contains(genericUnits, head) {
			word = head
		}
		if key, ok := known(word, func(s string) (string, bool) { return r.Names.Unit(pest, s) }); ok && word != "" {
			return answer{key: key}
		}
		if word == "" {
			if key, ok := r.Names.Unit(pest, ""); ok {
				r.res.Usual[pest] = key
				return answer{key: key}
			}
		}
		d := ingest.Unknown("sample unit of "+pest, word, r.Names.UnitWords(pest))
		do := "say the unit for the whole sheet with --unit, or in a column \"unit\""
		if word == head {
			do = "head the column \"number\" if it only numbers the units, or say the unit in a column \"unit\""
		}
		if d.Do != "" {
			do = d.Do + "; " + do
		}
		return answer{w: bad(do, "%s", d.What)}
	})
}

// conditions reads what a row says besides its counts into the visits that it
// touches.
func (r *reader) conditions(touched []*build, get func(*Column) (string, bool), fail func(*Column, string, *wrong)) {
	for _, c := range r.said {
		text, _ := get(c)
		if text == "" {
			continue
		}
		if c.Role != Note && c.Role != Weather && lost[strings.ToLower(text)] {
			continue
		}
		var set func(b *build) *wrong
		var w *wrong
		switch c.Role {
		case Air, SoilTemp:
			t, err := ingest.ParseCelsius(dot(text), c.Scale)
			if err != nil {
				w = plain(err)
				if c.Scale == "" {
					w.do += "; or head the column " + quote(c.Heading+" (C)")
				}
				break
			}
			set = func(b *build) *wrong {
				at := &b.cond.AirC
				if c.Role == SoilTemp {
					at = &b.cond.SoilC
				}
				if *at != nil && **at != t {
					return differs(b, c)
				}
				*at = &t
				return nil
			}
		case Soil, Foliage:
			k := farm.Wetness(strings.ToLower(text))
			if k != farm.Dry && k != farm.Wet && (k != farm.Moist || c.Role == Foliage) {
				w = bad(map[Role]string{Soil: "write dry, moist or wet", Foliage: "write dry or wet"}[c.Role], "%s does not say how wet it was", quote(text))
				break
			}
			set = func(b *build) *wrong {
				at := &b.cond.Soil
				if c.Role == Foliage {
					at = &b.cond.Foliage
				}
				if *at != "" && *at != k {
					return differs(b, c)
				}
				*at = k
				return nil
			}
		case Nights:
			n, err := strconv.Atoi(text)
			if err != nil || n < 1 || n > 60 {
				w = bad("write the nights the trap stood, 1 to 60", "%s is not a number of nights", quote(text))
				break
			}
			set = func(b *build) *wrong {
				if b.cond.Nights != 0 && b.cond.Nights != n {
					return differs(b, c)
				}
				b.cond.Nights = n
				return nil
			}
		case Disturbed:
			yes, no := []string{"yes", "y", "x", "1", "true", "disturbed"}, []string{"no", "n", "0", "false"}
			low := strings.ToLower(text)
			if !slices.Contains(yes, low) && !slices.Contains(no, low) {
				w = bad("write yes or no", "%s does not say whether the unit was disturbed", quote(text))
				break
			}
			set = func(b *build) *wrong { b.cond.Disturbed = b.cond.Disturbed || slices.Contains(yes, low); return nil }
		case Damage:
			d, err := ingest.ParseDamage(text)
			if err != nil {
				w = plain(err)
				break
			}
			set = func(b *build) *wrong {
				if b.damage != nil && *b.damage != d {
					return differs(b, c)
				}
				b.damage = &d
				return nil
			}
		case Observer:
			if len([]rune(text)) > 60 {
				w = bad("write a name", "%s is too long for a name", quote(text))
				break
			}
			set = func(b *build) *wrong { b.observers = addOnce(b.observers, text); return nil }
		case Note, Weather:
			if c.Role == Weather {
				text = "weather: " + text
			}
			set = func(b *build) *wrong { b.notes = addOnce(b.notes, text); return nil }
		case Enemy:
			n, wr := plainCount(text, false)
			if w = wr; w != nil {
				break
			}
			set = func(b *build) *wrong {
				for i := range b.enemies {
					if b.enemies[i].Enemy == c.Enemy {
						b.enemies[i].Count += n
						return nil
					}
				}
				b.enemies = append(b.enemies, farm.EnemyCount{Enemy: c.Enemy, Count: n})
				return nil
			}
		}
		if w != nil {
			fail(c, text, w)
		}
		for _, b := range touched {
			if set == nil {
				break
			}
			if w := set(b); w != nil {
				fail(c, text, w)
				break
			}
		}
	}
	if r.Map.Observer != "" {
		for _, b := range touched {
			if len(b.observers) == 0 {
				b.observers = addOnce(b.observers, r.Map.Observer)
			}
		}
	}
}

// differs says that the rows of a visit contradict each other.
func differs(b *build, c *Column) *wrong {
	return bad("write the same in all rows of the visit; if it was two visits, give them two dates or places", "the rows of %s say different things of %s", b.words(), c.Role)
}

func addOnce(list []string, s string) []string {
	if slices.Contains(list, s) {
		return list
	}
	return append(list, strings.Clone(s))
}

// plain takes what is said from an error of package ingest.
func plain(err error) *wrong {
	if p, ok := err.(*diag.Problem); ok {
		do := p.Do
		if do == "" {
			do = "correct the value"
		}
		return &wrong{p.What, do}
	}
	return &wrong{err.Error(), "correct the value"}
}
