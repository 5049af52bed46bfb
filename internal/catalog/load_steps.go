package catalog

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Lengths that fit a line of the week's list.
const (
	maxText = 90
	maxWhy  = 100
	maxLine = 72
)

func (w row) short(col string, limit int) string {
	v := w.must(col)
	if n := utf8.RuneCountInString(v); n > limit {
		w.bad(col, fmt.Sprintf("has %d characters, at most %d fit", n, limit), "say it in fewer words")
	}
	return v
}

func (l *loader) safety() {
	l.table("safety.csv", columns("key,word,line,detail,when,actives"), func(w row) {
		s := Safety{Key: w.key("key"), Word: w.must("word"), Lines: strings.Split(w.must("line"), "|"), Detail: w.must("detail"),
			When: w.oneOf("when", "step", "product", "bees", "water", "active", "unless", "spray"), Actives: w.words("actives"), Provenance: w.provenance()}
		for _, line := range s.Lines {
			if n := utf8.RuneCountInString(line); len(s.Lines) > 2 || n > maxLine || n == 0 {
				w.bad("line", "is not one or two short lines", fmt.Sprintf("at most two lines of %d characters, separated by |", maxLine))
				break
			}
		}
		if (s.When == "active" || s.When == "unless") != (len(s.Actives) > 0) {
			w.bad("actives", "goes with the kinds active and unless, and only with them", "name the actives, or say when the caution is shown")
		}
		l.safetyKeys = unique(w, "key", s.Key, l.safetyKeys)
		l.c.safety = append(l.c.safety, s)
	})
}

func (l *loader) agents() {
	l.table("agents.csv", columns("key,name,latin,agent_group,targets,first_choice,permit,not_in,check_days,check_how,success,if_not,success_pct,repeats"), func(w row) {
		a := Agent{Key: w.key("key"), Name: w.must("name"), Latin: w.str("latin"), Group: w.oneOf("agent_group", agentGroups[:6]...), Targets: w.refs("targets", l.pestKeys),
			FirstChoice: w.str("first_choice"), Permit: w.str("permit"), NotIn: w.words("not_in"), CheckHow: w.str("check_how"), Success: w.str("success"), IfNot: w.str("if_not"),
			SuccessPct: w.atLeast("success_pct", 0), Repeats: w.whole("repeats", 0, 5, 0), Provenance: w.provenance()}
		for _, d := range w.words("check_days") {
			n, err := strconv.Atoi(d)
			if err != nil || n < 1 {
				w.bad("check_days", fmt.Sprintf("%q is not a number of days", d), "write whole days, separated by semicolons")
			}
			a.CheckDays = append(a.CheckDays, n)
		}
		if !slices.IsSorted(a.CheckDays) {
			w.bad("check_days", "are not in order", "put the earlier day first")
		}
		if p := a.SuccessPct; p != nil && (*p == 0 || *p > 100 || len(a.CheckDays) == 0) {
			w.bad("success_pct", "is no share of what is looked at after a release", "write a percentage above 0 and up to 100, with the days on which to look")
		}
		l.agentKeys = unique(w, "key", a.Key, l.agentKeys)
		l.c.agents = append(l.c.agents, a)
	})
}

func (l *loader) actions() {
	var keys []string
	l.table("actions.csv", columns("key,pest_key,rung,text,amount,when,within_days,stage_from,stage_to,level,why,safety,agent_key"), func(w row) {
		a := Action{Key: w.key("key"), Pest: w.oneOf("pest_key", l.pestKeys...), Rung: w.whole("rung", 1, 4, 0), Text: w.short("text", maxText),
			Amount: w.str("amount"), When: w.str("when"), Level: w.oneOf("level", "prevent", "watch", "act"), Why: w.short("why", maxWhy),
			Safety: w.oneOfOrNone("safety", l.safetyKeys...), Agent: w.oneOfOrNone("agent_key", l.agentKeys...), Provenance: w.provenance()}
		if d := w.whole("within_days", 0, 60, -1); d >= 0 {
			a.WithinDays = &d
		}
		a.From, a.To = w.stages("stage_from", "stage_to")
		switch {
		case a.Rung == 0 && w.str("rung") == "":
			w.bad("rung", "is empty", "1 prevention, 2 cultural, 3 biological, 4 product")
		case (a.Rung == 3) != (a.Agent != ""):
			w.bad("agent_key", "goes with rung 3 and only with it", "name the agent of a biological step")
		case a.Rung == 4 && (a.Level != "act" || a.Safety == "" || !strings.Contains(a.Text, "label allows") && !strings.Contains(a.Text, "label and local law allow")):
			w.bad("text", "a product step that does not defer to its label, or has no caution", `say "as its label allows", name the caution and offer it at act only`)
		case a.Level != "prevent" && a.WithinDays == nil:
			w.bad("within_days", "is empty", "say how many days the step may wait")
		}
		keys = unique(w, "key", a.Key, keys)
		l.c.actions = append(l.c.actions, a)
	})
}

func (l *loader) releases() {
	l.table("releases.csv", columns("agent_key,pest_key,rate_kind,offer,offer_why,agent,target_pest,use,rate,rate_max,rate_unit,releases,interval_days,temp_min_c,temp_max_c,temp_basis,rh_min_pct,lead_days,not_when,evidence_crop,outcome"), func(w row) {
		r := ReleaseRate{Agent: w.oneOf("agent_key", l.agentKeys...), Pests: w.refs("pest_key", l.pestKeys),
			RateKind: w.oneOf("rate_kind", "ratio", "per_m2", "per_m2_week", "per_m2_total", "sachet_per_m2", "sachet_per_2m2", "per_acre", "per_pot", "per_spot", "label", "none"),
			Offer:    w.flag("offer"), OfferWhy: w.str("offer_why"), Target: w.must("target_pest"), Use: w.oneOf("use", "curative", "preventive"),
			Rate: w.atLeast("rate", 0), RateMax: w.atLeast("rate_max", 0), RateUnit: w.str("rate_unit"), Releases: w.whole("releases", 1, 52, 0),
			IntervalDays: w.whole("interval_days", 1, 90, 0), MinC: w.num("temp_min_c"), MaxC: w.num("temp_max_c"),
			TempBasis: w.oneOfOrNone("temp_basis", bases...), MinHumidity: w.atLeast("rh_min_pct", 0), LeadDays: w.whole("lead_days", 0, 60, 0),
			NotWhen: w.str("not_when"), EvidenceCrop: w.str("evidence_crop"), Outcome: w.str("outcome"), Provenance: w.provenance()}
		w.ordered("rate", "rate_max", r.Rate, r.RateMax)
		w.ordered("temp_min_c", "temp_max_c", r.MinC, r.MaxC)
		failed := strings.Contains(r.Outcome, "FAILED") || strings.Contains(r.Note, "never recommend")
		switch {
		case r.Offer && (r.Rate == nil || failed || r.RateKind == "per_m2_total" || r.RateKind == "label" || r.RateKind == "none"):
			w.bad("offer", "a row that failed, has no rate or gives a season total is offered", "set offer to 0 and say why")
		case r.Offer == (r.OfferWhy != ""):
			w.bad("offer_why", "goes with rows that are not offered, and only with them", "say in a few words why the row is not offered")
		case (r.Rate == nil) != (r.RateKind == "none" || r.RateKind == "label"):
			w.bad("rate", "does not go with the kind of rate", "an empty rate is of kind none or label")
		case r.Offer && (r.MinC == nil || r.MaxC == nil || len(r.Pests) == 0):
			w.bad("temp_min_c", "an offered row needs a pest and both temperatures", "fill them in or do not offer it")
		}
		l.c.rates = append(l.c.rates, r)
	})
}

func (l *loader) generations() {
	var seen []string
	l.table("generations.csv", columns("pest_key,days,days_max,degree_days,base_c"), func(w row) {
		g := Generation{Pest: w.oneOf("pest_key", l.pestKeys...), Days: w.whole("days", 1, 1000, 0), DaysMax: w.whole("days_max", 1, 1000, 0), Provenance: w.provenance()}
		dd, base := w.num("degree_days"), w.num("base_c")
		if (g.Days > 0) == (dd != nil) || (g.DaysMax > 0) != (g.Days > 0) || g.DaysMax < g.Days || (dd == nil) != (base == nil) || dd != nil && *dd <= 0 {
			w.bad("days", "is no time of a generation", "write the fewest and the most days, or degree-days above 0 with their base")
			return
		}
		if dd != nil {
			g.DegreeDays, g.BaseC = *dd, *base
		}
		seen = unique(w, "pest_key", g.Pest, seen)
		l.c.generations = append(l.c.generations, g)
	})
}

func (l *loader) dayLengths() {
	seen := map[string]bool{}
	l.table("daylength.csv", columns("agent_key,pest_key,hours,nights_below_c,text"), func(w row) {
		d := DayLength{Agent: w.oneOfOrNone("agent_key", l.agentKeys...), Pest: w.oneOfOrNone("pest_key", l.pestKeys...), NightsBelow: w.num("nights_below_c"), Text: w.must("text"), Provenance: w.provenance()}
		if h := w.num("hours"); h == nil || *h <= 0 || *h >= 24 {
			w.bad("hours", "is no length of a day", "write hours above 0 and under 24")
		} else {
			d.Hours = *h
		}
		if (d.Agent == "") == (d.Pest == "") {
			w.bad("agent_key", "a row is of an agent or of a pest", "fill in one of agent_key and pest_key")
		}
		if k := d.Agent + "|" + d.Pest; seen[k] {
			w.bad("agent_key", "stands twice", "keep one length of day, the longer where sources differ")
		} else {
			seen[k] = true
		}
		l.c.dayLengths = append(l.c.dayLengths, d)
	})
}

func (l *loader) sideEffects() {
	var timed []string
	l.table("minutes.csv", columns("unit,setup_min,each_min"), func(w row) {
		m := Minutes{Unit: w.key("unit"), Provenance: w.provenance()}
		setup, each := w.num("setup_min"), w.num("each_min")
		if setup == nil || each == nil || *setup < 0 || *each <= 0 || *setup > 60 || *each > 60 {
			w.bad("each_min", "is no time that a unit takes", "write minutes, above 0 and up to 60")
			return
		}
		m.Setup, m.Each = *setup, *each
		timed = unique(w, "unit", m.Unit, timed)
		l.c.minutes = append(l.c.minutes, m)
	})
	l.c.activeKeys = map[string]string{}
	var actives []string
	l.table("actives.csv", columns("key,mode_group,aliases"), func(w row) {
		a := Active{Key: w.must("key"), ModeGroup: w.str("mode_group"), Aliases: w.words("aliases"), Provenance: w.provenance()}
		actives = unique(w, "key", a.Key, actives)
		for _, n := range append([]string{a.Key}, a.Aliases...) {
			if n != activeName(n) {
				w.bad("aliases", fmt.Sprintf("%q is not in lower case", n), "write actives in lower case")
			}
			if old, ok := l.c.activeKeys[n]; ok && old != a.Key {
				w.bad("aliases", fmt.Sprintf("%q already names %s", n, old), "let each name mean one active")
			}
			l.c.activeKeys[n] = a.Key
		}
		l.c.actives = append(l.c.actives, a)
	})
	l.table("apart.csv", columns("a,b,days"), func(w row) {
		x := Apart{A: w.oneOf("a", actives...), B: w.oneOf("b", actives...), Days: w.whole("days", 1, 400, 0), Provenance: w.provenance()}
		if x.A == x.B {
			w.bad("b", "an active is not kept apart from itself", "name two actives")
		}
		l.c.aparts = append(l.c.aparts, x)
	})
	l.looks(actives)
	seen := map[string]bool{}
	l.table("side_effects.csv", columns("active_key,agent_group,active,irac_or_frac_group,agent,life_stage,iobc_class,class_basis,residual_days,bee_note,test,effect_pct,other_rating"), func(w row) {
		s := SideEffect{Active: w.oneOf("active_key", actives...), Groups: w.refs("agent_group", agentGroups), ActiveText: w.must("active"), ModeGroup: w.str("irac_or_frac_group"),
			AgentText: w.must("agent"), LifeStage: w.str("life_stage"), Class: w.whole("iobc_class", 1, 4, 0), ClassBasis: w.oneOf("class_basis", "source", "derived", "none"),
			BeeNote: w.str("bee_note"), Test: w.str("test"), EffectPct: w.num("effect_pct"), Rating: w.str("other_rating"), Provenance: w.provenance()}
		if d := w.whole("residual_days", 0, 400, -1); d >= 0 {
			s.ResidualDays = &d
		}
		if len(s.Groups) == 0 {
			w.bad("agent_group", "is empty", "say which natural enemies the row speaks of")
		}
		if (s.Class == 0) != (s.ClassBasis == "none") {
			w.bad("class_basis", "does not go with the class", "none goes with an empty class, and only with it")
		}
		k := strings.Join([]string{s.ActiveText, s.AgentText, s.LifeStage, s.Source, s.Test}, "|")
		if seen[k] {
			w.bad("active_key", "the same row stands twice", "remove one")
		}
		seen[k] = true
		l.c.sideEffects = append(l.c.sideEffects, s)
	})
	pairs := map[string]bool{}
	l.table("default_waits.csv", columns("active_key,agent_group,days,text"), func(w row) {
		d := DefaultWait{Active: w.oneOf("active_key", actives...), Group: w.oneOfOrNone("agent_group", agentGroups...), Text: w.must("text"), Provenance: w.provenance()}
		if n := w.whole("days", 0, 400, -1); n >= 0 {
			d.Days = &n
		}
		if k := d.Active + "|" + d.Group; pairs[k] {
			w.bad("active_key", "the same pair stands twice", "keep one wait for each active and group")
		} else {
			pairs[k] = true
		}
		l.c.waits = append(l.c.waits, d)
	})
}

func (l *loader) looks(actives []string) {
	var pairs []string
	l.table("looks.csv", columns("active_key,pest_key,fits,fails,question,why,instead,days"), func(w row) {
		k := Look{Active: w.oneOf("active_key", actives...), Pest: w.oneOf("pest_key", l.pestKeys...), Fits: w.key("fits"), Fails: w.words("fails"),
			Question: w.must("question"), Why: w.must("why"), Instead: w.must("instead"), Days: w.whole("days", 1, 60, 0), Provenance: w.provenance()}
		if len(k.Fails) == 0 || slices.Contains(k.Fails, k.Fits) {
			w.bad("fails", "needs answers, none of them the one that fits", "name at least one answer with which the active does not work")
		}
		for _, word := range append([]string{k.Fits}, k.Fails...) {
			if word != Word(word) || slices.ContainsFunc(l.c.actions, func(a Action) bool { return a.Pest == k.Pest && strings.HasSuffix(a.Key, "_"+word) }) {
				w.bad("fails", fmt.Sprintf("%q is not in the form of a key, or is a step against the pest", word), "use lower-case letters, digits and underscores, and no step's name")
			}
		}
		if k.Days == 0 {
			w.bad("days", "is empty", "say for how many days an answer stands")
		}
		pairs = unique(w, "active_key", k.Active+"|"+k.Pest, pairs)
		l.c.looks = append(l.c.looks, k)
	})
}

func (l *loader) taylor() {
	pairs := map[string]bool{}
	units := map[string][]string{}
	for _, p := range l.c.protocols {
		units[p.Pest] = append(units[p.Pest], p.Unit)
	}
	l.table("taylor.csv", columns("pest_key,unit,a,b,k,crop,as_printed"), func(w row) {
		t := Taylor{Pest: w.oneOf("pest_key", l.pestKeys...), Unit: w.str("unit"), A: w.atLeast("a", 0), B: w.atLeast("b", 0), K: w.atLeast("k", 0),
			Crop: w.str("crop"), AsPrinted: w.str("as_printed"), Provenance: w.provenance()}
		// A leaflet and a whole plant are units of the literature that no
		// protocol here uses.
		w.oneOf("unit", append([]string{"", "leaflet", "plant"}, units[t.Pest]...)...)
		law := t.A != nil && t.B != nil
		if law == (t.K != nil) || (t.A != nil) != (t.B != nil) || law && (*t.A == 0 || *t.B == 0) || t.K != nil && *t.K == 0 {
			w.bad("a", "needs a and b, or k, above 0", "give either the law or a dispersion")
		}
		if law && (t.Crop == "" || t.AsPrinted == "") {
			w.bad("as_printed", "a law without its crop or its printed form", "say for which crop and how it was printed")
		}
		if k := t.Pest + "|" + t.Unit; pairs[k] {
			w.bad("unit", "the same pair stands twice", "keep one row for each pest and unit")
		} else {
			pairs[k] = true
		}
		l.c.taylor = append(l.c.taylor, t)
	})
}
