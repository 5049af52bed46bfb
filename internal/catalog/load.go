package catalog

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/farm"
)

const ending = ",basis,source,url,note"

// loader fills a Catalog table by table. Keys are gathered on the way, so a
// table is read after those that it refers to.
type loader struct {
	*reader
	c *Catalog

	pestKeys, measureKeys, enemyKeys, agentKeys, safetyKeys []string
}

func columns(s string) []string { return strings.Split(s+ending, ",") }

// unique reports a key that stands twice and returns the grown list.
func unique(w row, col, key string, seen []string) []string {
	if key != "" && slices.Contains(seen, key) {
		w.bad(col, fmt.Sprintf("%q stands twice", key), "give each row its own "+col)
		return seen
	}
	return append(seen, key)
}

// refs reports keys of a list that are not known.
func (w row) refs(col string, known []string) []string {
	out := w.words(col)
	for _, k := range out {
		if !slices.Contains(known, k) {
			w.bad(col, fmt.Sprintf("unknown word %q", k), "use keys of the catalogue, separated by semicolons")
		}
	}
	return out
}

// typed registers what people may type for the thing with index i.
func typed(w row, words map[string]int, i int, key string, aliases []string) {
	for _, a := range append([]string{key}, aliases...) {
		if a != Word(a) {
			w.bad("aliases", fmt.Sprintf("%q is not in the form of a key", a), "use lower-case letters, digits and underscores")
		}
		if old, ok := words[a]; ok && old != i {
			w.bad("aliases", fmt.Sprintf("%q already names another row", a), "let each word name one thing")
			continue
		}
		words[a] = i
	}
}

func (l *loader) pests() {
	l.c.pestWords = map[string]int{}
	var vectors []row
	l.table("pests.csv", columns("key,name,latin,eppo,kind,aliases,soil,vector,scout_from,scout_to,scout2_from,scout2_to,preplant_weeks,every_days,critical_from,critical_to,critical_days,stale_days,damage,lookalikes,favoured_by,enemy_rule,growth,text_source,text_url"), func(w row) {
		p := Pest{Key: w.key("key"), Name: w.must("name"), Latin: w.must("latin"), EPPO: w.str("eppo"),
			Kind: w.oneOf("kind", "animal", "disease", "vertebrate"), Aliases: w.words("aliases"), Soil: w.flag("soil"), Vector: w.str("vector"),
			PrePlantWeeks: w.whole("preplant_weeks", 0, 26, 0), EveryDays: w.whole("every_days", 1, 60, 0), CriticalDays: w.whole("critical_days", 1, 60, 0),
			StaleDays: w.whole("stale_days", 1, 120, 0), Damage: w.must("damage"), LookAlikes: w.must("lookalikes"), FavouredBy: w.must("favoured_by"),
			EnemyRule: w.str("enemy_rule"), Growth: w.str("growth"), TextSource: w.str("text_source"), TextURL: w.str("text_url"), Provenance: w.provenance()}
		p.Scout.From, p.Scout.To = w.stages("scout_from", "scout_to")
		if p.Scout.From == "" {
			w.bad("scout_from", "is empty", "give the stages at which the pest is looked for")
		}
		if a, b := w.stages("scout2_from", "scout2_to"); a != "" {
			p.Scout2 = &Span{a, b}
		}
		if a, b := w.stages("critical_from", "critical_to"); a != "" {
			p.Critical = &Span{a, b}
		}
		if p.EveryDays == 0 || p.StaleDays < p.EveryDays {
			w.bad("stale_days", fmt.Sprintf("%d is below the interval of %d days", p.StaleDays, p.EveryDays), "a count cannot be stale before the next one is due")
		}
		if (p.Critical == nil) != (p.CriticalDays == 0) {
			w.bad("critical_days", "stages and days of the shorter interval must come together", "give both or neither")
		}
		l.pestKeys = unique(w, "key", p.Key, l.pestKeys)
		typed(w, l.c.pestWords, len(l.c.pests), p.Key, p.Aliases)
		l.c.pests = append(l.c.pests, p)
		vectors = append(vectors, w)
	})
	for _, w := range vectors {
		w.oneOfOrNone("vector", l.pestKeys...)
	}
}

func (l *loader) enemies() {
	l.c.enemyWords = map[string]int{}
	l.table("enemies.csv", columns("key,name,aliases,preys_on,hold_kind,hold_pest,hold_value,hold_effect,text"), func(w row) {
		e := Enemy{Key: w.key("key"), Name: w.must("name"), Aliases: w.words("aliases"), PreysOn: w.refs("preys_on", l.pestKeys),
			HoldKind: w.oneOf("hold_kind", "", "prey_per_enemy", "share_of_infested", "enemies_per_unit"),
			HoldPest: w.str("hold_pest"), HoldEffect: w.oneOf("hold_effect", "", "hold", "hand_first"), Text: w.must("text"), Provenance: w.provenance()}
		v := w.atLeast("hold_value", 0)
		switch given := v != nil; {
		case given != (e.HoldKind != "") || given != (e.HoldPest != "") || given != (e.HoldEffect != ""):
			w.bad("hold_value", "a hold rule needs kind, pest, value and effect", "fill in all four or none")
		case given:
			e.HoldValue = *v
			if !slices.Contains(e.PreysOn, e.HoldPest) {
				w.bad("hold_pest", fmt.Sprintf("%q is not among what it preys on", e.HoldPest), "correct one of the two")
			}
		}
		l.enemyKeys = unique(w, "key", e.Key, l.enemyKeys)
		typed(w, l.c.enemyWords, len(l.c.enemies), e.Key, e.Aliases)
		l.c.enemies = append(l.c.enemies, e)
	})
}

func (l *loader) protocols() {
	words := map[string]Measure{"": {}}
	l.table("measures.csv", columns("key,words,express,one"), func(w row) {
		m := Measure{Key: w.key("key"), Words: w.must("words"), Percent: w.oneOf("express", "mean", "pct") == "pct", One: w.str("one"), Provenance: w.provenance()}
		if m.Percent != (m.One == "") {
			w.bad("one", "a mean says here what stands behind 1, and a percentage nothing", "write such as \"slug per board\"")
		}
		l.measureKeys = unique(w, "key", m.Key, l.measureKeys)
		l.c.measures = append(l.c.measures, m)
		words[m.Key] = m
	})
	var keys []string
	defaults := map[string]bool{}
	unitWords := map[string]map[string]int{}
	for _, file := range []string{"protocols.csv", "protocols_ours.csv"} {
		l.table(file, columns("key,pest_key,enemy_key,unit,unit_aliases,unit_label,measure,damage_measure,sample_kind,tally,units_total,min_units,whole_bed,per_nights,nights,needs_soil,needs_foliage,temp_of,must_note,default,how,pest,unit_name,method,units_per_stop,stops,exposure_hours,valid_temp_min_c,valid_temp_max_c,valid_conditions,best_time"), func(w row) {
			p := Protocol{Key: w.key("key"), Pest: w.oneOfOrNone("pest_key", l.pestKeys...), Enemy: w.oneOfOrNone("enemy_key", l.enemyKeys...),
				Unit: w.key("unit"), UnitAliases: w.words("unit_aliases"), UnitLabel: w.must("unit_label"), Measure: w.oneOfOrNone("measure", l.measureKeys...),
				DamageMeasure: w.oneOfOrNone("damage_measure", l.measureKeys...), Presence: w.oneOf("sample_kind", "count", "presence") == "presence",
				Tally: w.whole("tally", 1, 100, 1), UnitsTotal: w.whole("units_total", 0, 1000, 0), MinUnits: w.whole("min_units", 1, 1000, 0), WholeBed: w.flag("whole_bed"),
				PerNights: w.whole("per_nights", 0, 7, 0), Nights: w.whole("nights", 0, 60, 0),
				NeedsSoil: farm.Wetness(w.oneOf("needs_soil", "", "moist")), NeedsFoliage: farm.Wetness(w.oneOf("needs_foliage", "", "dry")),
				TempOf: w.oneOf("temp_of", "", "air", "soil"), MinC: w.num("valid_temp_min_c"), MaxC: w.num("valid_temp_max_c"),
				Default: w.flag("default"), How: w.must("how"), Method: w.must("method"), Conditions: w.str("valid_conditions"), BestTime: w.str("best_time"), Provenance: w.provenance()}
			p.MustNote = w.refs("must_note", []string{"soil", "foliage", "temp"})
			for _, m := range []struct {
				word   string
				needed bool
			}{{"soil", p.NeedsSoil != ""}, {"foliage", p.NeedsFoliage != ""}, {"temp", p.TempOf != ""}} {
				if slices.Contains(p.MustNote, m.word) && !m.needed {
					w.bad("must_note", fmt.Sprintf("%q is no condition of this protocol", m.word), "name only what makes a count valid")
				}
			}
			p.Words = words[p.Measure].Words
			w.ordered("valid_temp_min_c", "valid_temp_max_c", p.MinC, p.MaxC)
			if (p.TempOf == "") != (p.MinC == nil && p.MaxC == nil) {
				w.bad("temp_of", "does not go with the temperature limits", "say which temperature is meant, or leave both empty")
			}
			if p.Pest != "" && p.Measure == "" {
				w.bad("measure", "is empty", "say what the result is expressed in")
			}
			if p.Measure != "" && words[p.Measure].Percent != p.Presence {
				w.bad("measure", fmt.Sprintf("%q does not go with this kind of sample", p.Measure), "a presence sample gives a percentage, a count a mean")
			}
			if (p.UnitsTotal == 0) != (p.WholeBed || p.Presence && p.MinUnits == 1) || p.UnitsTotal > 0 && p.MinUnits > p.UnitsTotal || p.MinUnits == 0 {
				w.bad("min_units", "does not go with the number of units asked for", "give at least 1 and at most units_total; 0 units in all only where the whole bed is walked")
			}
			if p.PerNights > 0 && p.Nights == 0 {
				w.bad("nights", "a measure per time needs the nights of the protocol", "give the nights that the unit stands")
			}
			if a, b := w.atLeast("units_per_stop", 1), w.atLeast("stops", 1); a != nil && b != nil && file == "protocols.csv" &&
				float64(p.UnitsTotal) != *a**b && float64(p.UnitsTotal) != *b {
				w.bad("units_total", fmt.Sprintf("%d is neither units_per_stop times stops nor the number of stops", p.UnitsTotal), "correct the number")
			}
			w.atLeast("exposure_hours", 0)
			keys = unique(w, "key", p.Key, keys)
			if p.Pest != "" {
				if unitWords[p.Pest] == nil {
					unitWords[p.Pest] = map[string]int{}
				}
				for _, u := range append([]string{p.Unit}, p.UnitAliases...) {
					if _, ok := unitWords[p.Pest][u]; ok || u != Word(u) {
						w.bad("unit_aliases", fmt.Sprintf("%q already names a unit of this pest or is not in the form of a key", u), "let each word name one unit")
					}
					unitWords[p.Pest][u] = len(l.c.protocols)
				}
				if p.Default && defaults[p.Pest] {
					w.bad("default", "a second usual protocol for "+p.Pest, "keep one")
				}
				defaults[p.Pest] = defaults[p.Pest] || p.Default
			}
			l.c.protocols = append(l.c.protocols, p)
		})
	}
}

// factor reads 1, 1/9, 20 or any.
func (w row) factor(col string) (f float64, anyFind bool) {
	v := w.must(col)
	if v == "any" {
		return 1, true
	}
	num, den, frac := strings.Cut(v, "/")
	a, err := strconv.Atoi(num)
	b := 1
	if err == nil && frac {
		b, err = strconv.Atoi(den)
	}
	if v != "" && (err != nil || a <= 0 || b <= 0) {
		w.bad(col, fmt.Sprintf("%q is not a factor", v), "write a whole number, a fraction such as 1/9, or any")
		return 1, false
	}
	return float64(a) / float64(max(b, 1)), false
}

func (l *loader) thresholds() {
	pct := map[string]bool{}
	for _, m := range l.c.measures {
		pct[m.Key] = m.Percent
	}
	seen := map[string]bool{}
	l.table("thresholds.csv", columns("pest_key,measure,factor,stage_from,stage_to,season,season_kind,needs_damage_pct,or_damage_pct,kind,requires,confirm,confirm_how,confirm_by,confirm_if,pest,eppo,crop,stage,unit,method,level,value,operator,conditions"), func(w row) {
		t := Threshold{Pest: w.oneOf("pest_key", l.pestKeys...), Measure: w.oneOf("measure", l.measureKeys...),
			Kind:     w.oneOf("kind", "act", "watch", "hold_ratio", "release_trigger", "report", "disease", "reference"),
			Requires: w.oneOf("requires", "", "tospovirus_confirmed", "no_tospovirus", "potato_leafhopper", "no_potato_leafhopper", "japanese_beetle_established", "japanese_beetle_absent"),
			EPPO:     w.str("eppo"), Crop: w.must("crop"), StageWords: w.must("stage"), Unit: w.must("unit"), Method: w.str("method"),
			Level: w.oneOf("level", "act", "watch"), Value: w.atLeast("value", 0), Operator: w.oneOf("operator", ">=", ">", "<=", "none"),
			Conditions: w.str("conditions"), Provenance: w.provenance()}
		t.Factor, t.Any = w.factor("factor")
		t.From, t.To = w.stages("stage_from", "stage_to")
		t.Season, t.SeasonKind = w.season("season"), w.oneOf("season_kind", "", "level", "signs")
		t.Confirm, t.ConfirmHow, t.ConfirmIf = w.str("confirm"), w.str("confirm_how"), w.oneOf("confirm_if", "", "always", "elsewhere")
		t.ConfirmBy = w.refs("confirm_by", l.measureKeys)
		for _, d := range []struct {
			col string
			to  *float64
		}{{"needs_damage_pct", &t.NeedsDamagePct}, {"or_damage_pct", &t.OrDamagePct}} {
			if v := w.atLeast(d.col, 0); v != nil {
				*d.to = *v
				if *v > 100 {
					w.bad(d.col, fmt.Sprintf("%v is above 100 %%", *v), "give a percentage")
				}
			}
		}
		switch {
		case (t.Operator == "none") != (t.Value == nil):
			w.bad("value", "value and operator do not agree", "none goes with an empty value, and only with it")
		case t.Any && (!pct[t.Measure] && t.Kind != "report" || *t.Value != 1):
			w.bad("factor", "any goes with a value of 1, and a percentage or a report", "correct the factor or the measure")
		case pct[t.Measure] && !t.Any && t.Value != nil && *t.Value*t.Factor > 100:
			w.bad("value", fmt.Sprintf("%v %% is above 100 %%", *t.Value*t.Factor), "correct the value")
		}
		if (t.Season == nil) != (t.SeasonKind == "") {
			w.bad("season_kind", "season and season_kind do not agree", "write level where the level holds in those dates only, signs where what is looked for shows well then, and nothing where there are no dates")
		}
		if (t.Confirm == "") != (t.ConfirmHow == "") || (t.Confirm == "") != (t.ConfirmIf == "") || t.Confirm == "" && t.ConfirmBy != nil {
			w.bad("confirm", "confirm, confirm_how and confirm_if do not agree", "say what must be seen, how to look and when that is asked for, or leave all of them empty")
		}
		if t.Confirm != "" && (t.Transferred() || t.Level != "act") {
			w.bad("confirm", "a row that never acts has nothing to confirm", "leave confirm empty")
		}
		if t.ConfirmIf == "elsewhere" && t.Requires == "" {
			w.bad("confirm_if", "a row for every area has no elsewhere", "write always")
		}
		if t.Season != nil && t.Transferred() {
			w.bad("season", "dates on a row for another crop", "leave the season empty: it is never used to act")
		}
		if t.From != "" && t.Transferred() {
			w.bad("stage_from", "stages of a bed on a row for another crop", "leave the stages empty")
		}
		k := strings.Join([]string{t.Pest, t.EPPO, t.Crop, t.StageWords, t.Unit, t.Level, t.Method, t.Conditions}, "|")
		if seen[k] {
			w.bad("pest_key", "the same row stands twice", "remove one")
		}
		seen[k] = true
		l.c.thresholds = append(l.c.thresholds, t)
	})
}
