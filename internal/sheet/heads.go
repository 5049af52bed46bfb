package sheet

import (
	"cmp"
	"slices"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/ingest"
	"leafturn/internal/pattern"
	"leafturn/internal/record"
)

// Role is what a column holds.
type Role string

// The roles, in the words of map files.
const (
	Bed       Role = "bed"
	Pest      Role = "pest"
	Date      Role = "date"
	Unit      Role = "unit"        // the kind of sample unit: trap, leaf
	Number    Role = "unit number" // which trap or leaf of the visit
	Count     Role = "count"       // "count of X" where X is a pest, a date, a bed or a unit's number
	Infested  Role = "infested"
	Looked    Role = "looked"
	Damage    Role = "damage"
	Where     Role = "where" // random, edge or hot spot
	Nights    Role = "nights"
	Air       Role = "air"
	SoilTemp  Role = "soil temperature"
	Soil      Role = "soil"
	Foliage   Role = "foliage"
	Disturbed Role = "disturbed"
	Observer  Role = "observer"
	Note      Role = "note"
	Weather   Role = "weather"
	Enemy     Role = "+"
	Ignore    Role = "ignore"
	total     Role = "total" // sums: not read
	unknown   Role = ""
)

// Column is one column and how it is read.
type Column struct {
	Col     int // 1 for A
	Heading string
	Role    Role
	Pest    string     // of Count, where the heading names it
	Bed     string     // of Count
	Date    civil.Date // of Count
	Number  string     // of Count: which unit
	Word    string     // the kind of unit that the heading names, such as trap
	Enemy   string     // of Enemy
	Scale   string     // of Air and SoilTemp: C, F or ""
	Stated  bool       // in the map file, not guessed
	Example string     // the first value
	Refused bool       // its heading is: how the column is meant is not known
	Numbers bool       // of a column with an unknown heading: its first values are whole numbers
	group   int        // columns of one group go to the same visit in a row
}

// Words says how the column is read, as map files write it.
func (c Column) Words() string {
	switch c.Role {
	case Count:
		switch {
		case c.Pest != "" && c.Number != "":
			return strings.Join(strings.Fields("count of "+c.Pest+" "+c.Word+" "+c.Number), " ")
		case c.Pest != "":
			return "count of " + c.Pest
		case !c.Date.IsZero():
			return "count of " + c.Date.String()
		case c.Bed != "":
			return "count of " + c.Bed
		case c.Number != "":
			return strings.TrimSpace("count of " + strings.TrimSpace(c.Word+" "+c.Number))
		}
	case Number:
		if c.Word != "" {
			return "unit number of " + c.Word
		}
	case Enemy:
		return "+" + c.Enemy
	case Air, SoilTemp:
		return strings.TrimSpace(string(c.Role) + " " + c.Scale)
	}
	if !c.Read() {
		return string(Ignore)
	}
	return string(c.Role)
}

// Read reports whether the column is read at all.
func (c Column) Read() bool {
	return c.Role != Ignore && c.Role != total && c.Role != unknown && !c.watched()
}

// Map is how a kind of sheet is to be read, as far as it was stated: the rest
// is guessed from the headings.
type Map struct {
	Dates    Order
	Sheet    string
	Blank    string // what a blank count means: "" or none, lost, zero
	Bed      string // for what the sheet does not say
	Pest     string
	Unit     string
	Date     civil.Date
	Observer string
	Columns  map[string]string // heading → role
	Beds     map[string]string // the sheet's word → the farm's bed
	Pests    map[string]string // the sheet's word → a pest
}

// plain writes a heading in lower case with a blank for what is no letter or
// digit.
var notWord = pattern.New(`[^\pL\pN]+`)

func plainHead(s string) string {
	return strings.TrimSpace(notWord().ReplaceAllString(strings.ToLower(s), " "))
}

// mapHead is how a heading is looked up in a map: Infested % is not Infested.
func mapHead(s string) string {
	h := plainHead(s)
	if h != "" && strings.Contains(s, "%") {
		h += " %"
	}
	return h
}

// headings are the words that name a column, in plain form.
var headings = func() map[string]Role {
	m := map[string]Role{}
	for role, words := range map[Role]string{
		Bed:       "bed|beds|bed no|bed nr|bed number|bed code|bed id|bed name|plot|location|place|beet|planche|parcelle|parcela|cama|perk|vak",
		Pest:      "pest|pests|insect|species|bug|what|pest name|target|schädling|schaedling|ravageur|plaga|plaag",
		Date:      "date|day|date time|date and time|visit date|date counted|count date|scout date|scouting date|sampling date|date of count|datum|fecha|jour",
		Unit:      "unit|sample unit|unit type|method|counted on",
		Number:    "no|nr|number|unit no|unit number|sample|sample no|sample number|rep|replicate|point|stop|position|sample id|número|numero|numéro|nummer",
		Count:     "count|counts|counted|catch|caught|found|n found|seen|number found|no found|number counted|how many|amount|value|result|anzahl|nombre|comptage|conteo|recuento|cantidad|aantal|telling",
		Infested:  "infested|positive|with pest|units infested|hit|hits|present",
		Looked:    "looked|looked at|examined|units looked at|inspected|checked|sample size|out of|of|n looked",
		Damage:    "damage|damaged|damage share|chewed",
		Where:     "where|stratum|spot|part of bed|zone",
		Nights:    "nights|trap nights|nights out|nights set",
		Air:       "air|air temp|air temperature|temp|temperature|temp air",
		SoilTemp:  "soilc|soil temp|soil temperature|temp soil|soil c|soil f",
		Soil:      "soil|soil moisture|soil wetness|moisture",
		Foliage:   "foliage|leaf wetness|foliage wetness|leaves wet",
		Disturbed: "disturbed",
		Observer:  "observer|by|who|scout|scouted by|recorded by|your name|counted by|name|initials|person|beobachter|observateur|waarnemer",
		Note:      "note|notes|remark|remarks|comment|comments|bemerkung|bemerkungen|remarque|remarques|opmerking|opmerkingen|nota|notas",
		Weather:   "weather|sky|conditions|wetter|météo|meteo|weer",
		Ignore:    "problem|row in the first file|weekday|week|iso week|day of week|year|month|season|id|record|crop|cultivar|variety|photo|total units|plants in bed|plants per bed",
		total:     "total|totals|sum|mean|average|avg|median|max|min|std dev|total count|grand total|summe|gesamt|mittelwert|moyenne|totaal",
	} {
		for _, w := range strings.Split(words, "|") {
			m[w] = role
		}
	}
	return m
}()

// unitNouns name sample units in headings such as "Trap 3" besides those that
// the catalogue knows; generic ones stand for any unit.
var (
	genericUnits = []string{"", "no", "nr", "number", "sample", "rep", "replicate", "point", "stop", "unit", "count", "s", "n"}
	numbered     = pattern.New(`^(\pL*?)[ ]*(?:no |nr |number )?[ ]*(\d{1,4}[a-z]?)$`)
	lettered     = pattern.New(`^(\pL{3,}) ([a-l])$`) // Trap A, but no Traps n and no Plants m
	aYear        = pattern.New(`^(19|20)\d{2}$`)
	aroundPest   = pattern.New(`^(?:number of |no of |n of |count of |counts of |count |no )?(.+?)(?: count| counts| number| found| seen| no)?$`)
)

// guesser knows the words.
type guesser struct {
	names ingest.Names
	m     Map
	units map[string]bool
	by    map[string]string // plain heading → role in words, of the map
}

func newGuesser(names ingest.Names, m Map) *guesser {
	g := &guesser{names: names, m: m, units: map[string]bool{}, by: map[string]string{}}
	for _, w := range strings.Fields("trap traps leaf leaves plant board card shelter tile slate bloom flower tip shoot tray cluster sweep pot roll bait station stem quadrat") {
		g.units[w] = true
	}
	seen := map[string]bool{}
	for _, w := range names.PestWords() {
		if key, ok := names.Pest(w); ok && !seen[key] {
			seen[key] = true
			for _, u := range names.UnitWords(key) {
				g.units[strings.ToLower(u)] = true
			}
		}
	}
	for h, r := range m.Columns {
		g.by[mapHead(h)] = r
	}
	return g
}

// known finds a name as written, in lower case, and with "_" for blanks.
func known(word string, find func(string) (string, bool)) (string, bool) {
	low := strings.ToLower(word)
	for _, w := range []string{word, low, strings.ToUpper(word), strings.ReplaceAll(low, " ", "_")} {
		if w == "" {
			continue
		}
		if key, ok := find(w); ok {
			return key, true
		}
	}
	return "", false
}

// column guesses one heading. anchor reports that its word can only be a
// heading, not a value.
func (g *guesser) column(col int, text string, examples []string) (c Column, anchor bool, w *wrong) {
	c, anchor, w = g.guess(col, text, examples)
	if w == nil && !c.Stated && (c.Role == Count || c.Role == Infested) && percent().MatchString(text) {
		w = bad(`write how many were infested and how many were looked at in two columns, "infested" and "looked"; if it is worked out of a column beside it, set it to "ignore" in a map file (see --save-map); if it holds counts all the same, say so there`, "the heading %s says percent: the number looked at is missing", quote(c.Heading))
	}
	if w == nil && !c.Stated && c.Role == Count && strings.HasSuffix(tidy(text), "?") {
		w = bad("write the number that was counted on each unit; if it holds counts, take the question mark away", "the heading %s asks whether there were any, and 1 may stand for yes", quote(c.Heading))
	}
	return c, anchor, w
}

func (g *guesser) guess(col int, text string, examples []string) (c Column, anchor bool, w *wrong) {
	text = record.Plain(tidy(text))
	c = Column{Col: col, Heading: text}
	for _, e := range examples {
		if c.Example = tidy(e); c.Example != "" {
			break
		}
	}
	h := plainHead(text)
	if role, ok := g.by[mapHead(text)]; ok && h != "" {
		w = g.stated(&c, role)
		return c, true, w
	}
	if role, ok := headings[h]; ok {
		c.Role = role
		if role == Date && weekdaysOnly(examples) {
			c.Role = Ignore
		}
		if role == Unit && numbersOnly(examples) {
			c.Role = Number
		}
		if role == SoilTemp || role == Air {
			c.Scale = scale(text, h)
		}
		return c, true, nil
	}
	if role := temperatureHead(h); role != unknown {
		c.Role, c.Scale = role, scale(text, h)
		return c, true, nil
	}
	if role, word := g.bracketed(text); role != unknown {
		c.Role, c.Word = role, word
		return c, true, nil
	}
	if dated(text) {
		d, bad := parseDate(text, g.m.Dates)
		c.Role, c.Date = Count, d
		return c, false, bad
	}
	if what, _, _ := strings.Cut(h, " per "); g.howMany(what) { // leaves per sample
		return c, false, bad(`write the count of each unit, such as 4 0 2 7 in one cell; if it numbers the units, head it "number"; else set it to "ignore" in a map file (see --save-map)`, "the heading %s may say how many units there were: the count beside it would be the sum of several", quote(text))
	}
	if g.units[h] {
		c.Role, c.Word = Number, h
		return c, true, nil
	}
	if word, ok := strings.CutSuffix(h, " no"); ok && g.units[word] || okNumber(h, &word) && g.units[word] {
		c.Role, c.Word = Number, word
		return c, true, nil
	}
	for _, word := range []string{text, cutFold(text, "bed ")} {
		if key, ok := known(word, g.names.Bed); ok {
			c.Role, c.Bed = Count, key
			return c, false, nil
		}
	}
	if aYear().MatchString(h) {
		c.Role = Count
		return c, false, bad("write the dates of the counts whole, such as 2026-07-13; if it is a number of a trap, write it as trap 1", "the heading %s is a year", quote(text))
	}
	if word, number, ok := unitHead(h); ok && (g.units[word] || slices.Contains(genericUnits, word) && !lettered().MatchString(h)) {
		c.Role, c.Number = Count, number
		if g.units[word] {
			c.Word = word
		}
		return c, word != "", nil
	}
	if g.pestUnit(&c, h) {
		return c, true, nil
	}
	if strings.Contains(h, " per ") || g.perUnit(text) || strings.HasPrefix(h, "mean ") || strings.HasPrefix(h, "average ") || strings.HasPrefix(h, "total ") || strings.HasPrefix(h, "avg ") {
		c.Role = total
		return c, false, nil
	}
	if m := aroundPest().FindStringSubmatch(h); m != nil {
		if key, ok := g.pest(m[1]); ok {
			c.Role, c.Pest = Count, key
			return c, m[1] != h, nil
		}
		if key, ok := known(m[1], g.names.Enemy); ok {
			c.Role, c.Enemy = Enemy, key
			return c, m[1] != h, nil
		}
	}
	if noYear(text) {
		c.Role = Count
		return c, false, bad("write the date whole, such as 2026-07-13", "the heading %s is a date without a year", quote(text))
	}
	if monthAlone(text) {
		c.Role = Count
		return c, false, bad("write the dates of the counts whole, such as 2026-07-13", "the heading %s is a month without a day", quote(text))
	}
	if c.Role = watchedRole(h, examples); c.Role != unknown {
		return c, false, nil
	}
	if g.unitsTold(examples) {
		return c, false, bad(`write the count of each unit, such as 4 0 2 7 in one cell; else set the column to "ignore" in a map file (see --save-map)`, "the column %s says of how many units a count is, such as %s: it would be stored as that of one", quote(text), quote(c.Example))
	}
	if numbersOnly(examples) && g.namesUnits(h) {
		return c, false, bad(`if it holds counts, head it as a numbered unit alone, such as trap 4 or slugs trap 4; if it is how many were looked at for a count of infested ones, set it to "looked" in a map file (see --save-map); else set it to "ignore" there`, "the heading %s may be of counts, or say how many units there were: the count beside it would be the sum of several", quote(text))
	}
	if near := g.near(h); near != "" {
		return c, false, bad("write "+quote(near)+`, or set the column to "ignore" in a map file (see --save-map)`, "unknown heading %s; did you mean %q?", quote(text), near)
	}
	return c, false, nil
}

func okNumber(h string, word *string) bool {
	for _, end := range []string{" number", " nr", " id"} {
		if w, ok := strings.CutSuffix(h, end); ok {
			*word = w
			return true
		}
	}
	return false
}

func (g *guesser) pest(word string) (string, bool) {
	if key, ok := known(word, g.names.Pest); ok {
		return key, true
	}
	if one, ok := strings.CutSuffix(strings.ToLower(word), "s"); ok {
		return known(one, g.names.Pest)
	}
	return "", false
}

// near is a heading word that a slip of a letter turns into h, "" for none.
func (g *guesser) near(h string) string {
	if len([]rune(h)) < 4 {
		return ""
	}
	var words []string
	for w := range headings {
		if len(w) >= 4 && headings[w] != Ignore && headings[w] != total {
			words = append(words, w)
		}
	}
	for _, w := range g.names.PestWords() {
		if len(w) >= 4 {
			words = append(words, strings.ReplaceAll(w, "_", " "))
		}
	}
	n := diag.Nearest(h, words)
	if n == "" || abs(len(n)-len(h)) > 1 || diag.Nearest(h[:min(len(h), 5)], []string{n[:min(len(n), 5)]}) == "" {
		return ""
	}
	return n
}

// nearBed is the bed that a slip of a letter turns into a heading, "" for none.
func (g *guesser) nearBed(text string) string {
	return diag.Nearest(text, g.names.BedCodes())
}

func abs(n int) int { return max(n, -n) }

// numbersOnly reports whether the values are numbers, none of them a word.
func numbersOnly(examples []string) bool {
	some := false
	for _, e := range examples {
		if e = tidy(e); e == "" {
			continue
		}
		if !plainDigits(e) {
			return false
		}
		some = true
	}
	return some
}

func looksISO(s string) bool { _, ok := iso(s); return ok }

// temperatureHead knows headings such as "Air temp (°C)" and "soil_c".
func temperatureHead(h string) Role {
	for _, unit := range []string{" c", " f", " celsius", " fahrenheit", " degc", " degf", " deg c", " deg f"} {
		if base, ok := strings.CutSuffix(h, unit); ok {
			switch headings[base] {
			case Air:
				return Air
			case Soil, SoilTemp:
				return SoilTemp
			}
		}
	}
	return unknown
}

func scale(text, h string) string {
	switch {
	case strings.HasSuffix(h, " c") || strings.HasSuffix(h, "celsius") || strings.HasSuffix(h, "degc") || h == "soilc" || strings.Contains(text, "°C"):
		return "C"
	case strings.HasSuffix(h, " f") || strings.HasSuffix(h, "fahrenheit") || strings.HasSuffix(h, "degf") || strings.Contains(text, "°F"):
		return "F"
	}
	return ""
}

// openRole stands in a saved map for a column whose heading was refused: to write
// down a guess would make a reading of it that nobody chose.
const openRole = "?"

// roleWords are those of a map file.
var roleWords = []string{"bed", "pest", "date", "unit", "unit number", "count", "infested", "looked", "damage", "where", "nights", "air", "air C", "air F", "soil temperature C", "soil temperature F", "soil", "foliage", "disturbed", "observer", "note", "weather", "ignore"}

// stated reads the role that a map file gives a column.
func (g *guesser) stated(c *Column, text string) *wrong {
	c.Stated = true
	low := strings.ToLower(tidy(text))
	if name, ok := strings.CutPrefix(low, "+"); ok {
		key, ok := known(tidy(name), g.names.Enemy)
		if !ok {
			d := ingest.Unknown("natural enemy", name, g.names.EnemyWords())
			return bad(cmp.Or(d.Do, mapRemedy), "the map says %s: %s", quote(text), d.What)
		}
		c.Role, c.Enemy = Enemy, key
		return nil
	}
	if low == openRole {
		return bad("write there what it is, or \"ignore\"", "the map leaves open what the column %s is", quote(c.Heading))
	}
	if word, ok := strings.CutPrefix(low, "unit number of "); ok {
		c.Role, c.Word = Number, word
		return nil
	}
	if x, ok := strings.CutPrefix(low, "count of "); ok {
		c.Role = Count
		x = tidy(x)
		if d, ok := iso(x); ok {
			c.Date = d
			return nil
		}
		if key, ok := g.pest(x); ok {
			c.Pest = key
			return nil
		}
		if key, ok := known(x, g.names.Bed); ok {
			c.Bed = key
			return nil
		}
		if g.pestUnit(c, strings.ReplaceAll(plainHead(x), "_", " ")) {
			return nil
		}
		if word, number, ok := unitHead(plainHead(x)); ok {
			c.Number, c.Word = number, word
			return nil
		}
		return bad("write count of a pest, of a date such as 2026-07-13, of a bed, of a unit such as trap 1 or of both such as slug trap 1", "the map says %s, and %s is none of these", quote(text), quote(x))
	}
	for _, role := range []Role{Air, SoilTemp} {
		if rest, ok := strings.CutPrefix(low, string(role)); ok {
			if s := strings.ToUpper(strings.TrimSpace(rest)); s == "" || s == "C" || s == "F" {
				c.Role, c.Scale = role, s
				return nil
			}
		}
	}
	if slices.Contains(roleWords, low) {
		c.Role = Role(low)
		return nil
	}
	d := ingest.Unknown("role of a column", text, roleWords)
	return bad(cmp.Or(d.Do, mapRemedy), "the map says: %s", d.What)
}

// mapRemedy is what to do about a word of a map that is nearly right.
const mapRemedy = "correct it in the map"
