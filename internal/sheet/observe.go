package sheet

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/record"
)

// wordCache keeps what the words of a sheet stand for: most stand in many rows.
type wordCache struct {
	bed, pest memo[string, answer]
	label     memo[string, string]
	wide      map[string]bool // numbers that may be those of several units
	unit      memo[[3]string, answer]
	date      memo[string, dateAnswer]
	total     []memo[string, bool] // by column
}

type answer struct {
	key  string
	word string // of a pest: as the sheet has it, in one way
	w    *wrong
}

type dateAnswer struct {
	d     civil.Date
	moved bool // its time and zone make it another day on the farm than is written
	order bool // it is written in numbers, and in one order alone is it a day
	w     *wrong
}

const maxCached = 100_000

// memo keeps answers, and the last one at hand: rows that follow each other
// say the same.
type memo[K comparable, V any] struct {
	all  map[K]V
	last K
	is   V
}

func (m *memo[K, V]) get(k K, find func() V) V {
	if m.all != nil && k == m.last {
		return m.is
	}
	v, ok := m.all[k]
	if !ok {
		v = find()
	}
	if s, is := any(k).(string); is && !ok { // a cell holds on to the row that it was cut from
		k = any(strings.Clone(s)).(K)
	}
	if m.all == nil {
		m.all = map[K]V{}
	}
	if !ok && len(m.all) < maxCached {
		m.all[k] = v
	}
	if ok || len(m.all) < maxCached {
		m.last, m.is = k, v
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
	r.like.cells = r.like.cells[:0]
	get := func(c *Column) (string, bool) {
		if c.Col > len(row.Cells) {
			return "", false
		}
		text := tidy(row.Cells[c.Col-1])
		if text != "" && text[0] == '\'' {
			text = record.Plain(text)
		}
		return text, row.isDate(c.Col)
	}
	counts := r.counts[:0]
	var infested, looked string
	infCol, lookCol := &Column{}, &Column{}
	base := key{stratum: farm.Random}
	var wrongs []cellError
	label, labelWord, blanks := "", "", 0
	fail := func(c *Column, text string, w *wrong) { wrongs = append(wrongs, cellError{c.Col, text, w, -1}) }
	hasBed, hasPest, hasDate, struck := false, false, false, false
	unitWord := ""
	var bedCol, pestCol, dateCol, unitCol, numberCol *Column
	var bedText, pestText, dateText string
	pestWord, twoWords := "", false // the row's own word, which the rows of a visit share
	for i := range r.res.Columns {
		c := &r.res.Columns[i]
		if !c.Read() {
			continue
		}
		text, isDay := get(c)
		if (c.Role == Infested || c.Role == Looked) && strings.EqualFold(text, storedWord) {
			text = ""
		}
		if row.struck(c.Col) && !struck {
			switch c.Role {
			case Bed, Pest, Date, Unit, Number, Count:
				struck = true
				fail(c, text, bad("write what holds in plain type; if the row does not hold, delete it", "%s is struck out or raised", quote(text)))
			}
		}
		switch c.Role {
		case Bed:
			hasBed, bedText, bedCol = true, text, c
		case Pest:
			hasPest, pestText, pestCol = true, text, c
		case Date:
			hasDate, dateText, dateCol = true, text, c
			if f := row.sum(c.Col); moves(f) {
				fail(c, text, bad("write the day itself, such as 2026-07-13", "%s is worked out by %s, which gives another day on another day", quote(text), quote(f)))
			}
		case Unit:
			unitWord, unitCol = text, c
		case Number:
			label, labelWord, numberCol = r.label(text, c.Word), c.Word, c
			if strings.HasPrefix(text, "=") {
				fail(c, text, bad("write the number; in a workbook that another program made, let your spreadsheet work it out and save it again", "%s is a formula without its value", quote(text)))
			}
			if isDay || r.words.wide[text] {
				fail(c, text, manyUnits(text, isDay))
			}
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
			if ref := row.joined(c.Col); ref != "" {
				fail(c, text, bad("part the cells, and write the count of each unit in its own", "the count is joined over the cells %s, and may be the sum of several units", ref))
			}
			if f := row.sum(c.Col); f != "" && !c.Stated && addsUp(f) {
				fail(c, text, bad("write the count of each unit; if it is that of one unit, write the number itself, or say in a map file that the column is a count (see --save-map)", "%s is worked out by %s, and may be the sum or the mean of several units", quote(text), quote(f)))
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
		r.noCount(row)
		return nil
	}
	r.title = 0
	if r.Map.Blank != "" && r.Map.Blank != blankNone && bedText+pestText+dateText == "" && !slices.ContainsFunc(counts, func(o obs) bool { return o.text != "" }) {
		r.res.NoCount++
		return nil
	}
	r.counts = counts
	if row.hidden {
		r.res.Hidden++
	}
	if bedText == "" && pestText == "" && dateText == "" && unitWord == "" && label == "" && (hasBed || hasPest || hasDate) {
		if r.otherHeadings(row) {
			return nil
		}
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
			base.pest, pestWord = a.key, a.word
		}
	} else {
		base.pest = r.Map.Pest
	}
	if hasDate {
		if a := r.date(dateText); a.w != nil {
			fail(dateCol, dateText, a.w)
		} else {
			if row.book != nil || a.order {
				r.swap.add(row, dateCol, dateText, a)
			}
			base.date = a.d
			if a.moved {
				r.res.Moved++
			}
		}
	} else {
		base.date = r.Map.Date
	}

	touched := r.touched[:0]
	var twice []*build
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
					if at = c; numberCol != nil && c.Word == "" && c.Pest == "" {
						at = numberCol
					}
					text = at.Heading
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
		if r.finding {
			h := k.hash()
			r.ends[h] = end{int32(row.N), r.ends[h].cells + 1}
			return nil
		}
		b := r.last
		if b == nil || b.key != k {
			if b = r.open[k]; b == nil {
				b = &build{}
				if n := len(r.spare); n > 0 {
					b, r.spare = r.spare[n-1], r.spare[:n-1]
				}
				b = b.empty(k, row.N, c.Col)
				if r.ends != nil {
					known := r.ends[k.hash()]
					b.end, b.units = known.row, slices.Grow(b.units, min(int(known.cells), farm.MaxUnits))
				}
				r.open[k] = b
			}
			r.last = b
		}
		if b.word == "" {
			b.word = pestWord
		} else if b.word != pestWord && pestWord != "" && !twoWords {
			twoWords = true
			fail(pestCol, pestText, bad("add up the counts of each unit and write them in one row, or write one word if they are the same animals", "%s is called %s in row %d: counts of both would be taken for those of two units, or of one that stands twice", b.words(), quote(b.word), b.first))
		}
		b.last = row.N
		if r.Rest {
			if rows := b.more().rows; len(rows) == 0 || rows[len(rows)-1] != row.N {
				b.aside.rows = append(rows, row.N)
			}
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
		if r.finding {
			continue
		}
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
	r.labels, r.touched = labels, touched
	if columns && len(counts) > 0 {
		c, text := counts[0].col, counts[0].text
		fail(c, text, bad("write the counts of units in one row, such as 4 0 2, and how many of those looked at were infested in another; or leave the count blank, or set its column to \"ignore\" in a map file (see --save-map)", "%s stands beside infested and looked, and may be the sum over all that were looked at", quote(text)))
	}
	if columns {
		b := visit(infCol, cmp.Or(infCol.Word, labelWord))
		if p, c, text, w := shareOf(infCol, infested, lookCol, looked); w != nil {
			spot(b, c, text, w)
		} else if b != nil {
			if w := b.share(p); w != nil {
				spot(b, infCol, infested, w)
			}
		}
	}
	if len(r.said) > 0 || r.Map.Observer != "" {
		r.conditions(touched, twice, get, fail)
	}
	if len(r.watches) > 0 {
		r.watch(touched, get, fail)
	}
	if len(wrongs) > 0 && r.otherHeadings(row) {
		return nil
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
	if len(wrongs) == 0 && !missed {
		r.like.set(row, r.res, touched)
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
			return r.before(row.N)
		}
	}
	return r.flush(slices.DeleteFunc(touched, func(b *build) bool { return int(b.end) != row.N }))
}

func (b *build) share(p farm.Presence) *wrong {
	said := b.more()
	if said.presence != nil {
		return bad("add them up, or keep one", "%s has a presence sample already: %d/%d", b.words(), said.presence.Infested, said.presence.Looked)
	}
	said.presence = &p
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
