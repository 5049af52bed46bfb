package app

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/paper"
	"leafturn/internal/report"
	"leafturn/internal/sampling"
	"leafturn/internal/units"
)

// RoundSheets is the scouting round for a clipboard: what Round plans, with a
// line to fill in for each look and the totals at which to stop early.
func (a *App) RoundSheets(ctx context.Context, day civil.Date, minutes, start string) (paper.Round, error) {
	r, err := a.planRound(ctx, day, minutes, start)
	if err != nil {
		return paper.Round{}, err
	}
	s, err := a.snapshot(ctx, day)
	if err != nil {
		return paper.Round{}, err
	}
	out := paper.Round{Farm: a.farm.Name, Date: day, Made: a.now.In(a.loc), Zone: a.farm.TimeZone, Facts: a.cat.Version, US: a.farm.Units == units.US,
		Subtitle: capital(r.startWords) + "."}
	data := RoundData{}
	walkSection(a.farm.Units, &data, r.choice, r.walk, r.items, r.infected)
	out.Subtitle += fmt.Sprintf(" %s min", minuteWords(data.Minutes))
	if data.WalkM > 0 { // else the beds have no place on the map
		out.Subtitle += fmt.Sprintf(", %s on foot", a.farm.Units.Length(data.WalkM))
	}
	out.Subtitle += "."
	if len(mustOutSection(&data, r.choice, r.items)) > 0 {
		out.Warnings = append(out.Warnings, fmt.Sprintf("Not enough time: %s that must be looked at do not fit; %d more minutes are needed.", unitsOf(len(data.MustOut), "look"), data.ShortBy))
	}
	out.Left = notesOf(firstOutSection(&data, r.items, r.choice.Keep))
	out.Closed = notesOf(a.closedSection(&data, r.in.Beds, r.shut, r.closed))
	seen, rules := map[string]bool{}, map[string]bool{}
	for _, b := range r.walk {
		stop := paper.Stop{Bed: b.Code, Where: strings.Join(nonEmpty(blockWords(b), b.Cultivar), ", ")}
		if r.infected[b.Code] {
			stop.Note = "signs of disease were found here: clean hands and tools after it"
		}
		for i, it := range r.items {
			if !r.choice.Keep[i] || it.due.Assessment.Bed.Code != b.Code {
				continue
			}
			look, err := a.sheetLook(s, it)
			if err != nil {
				return paper.Round{}, err
			}
			if rules[look.Name+look.Rule] { // said at the first bed
				look.Rule = ""
			}
			rules[look.Name+look.Rule] = true
			stop.Looks = append(stop.Looks, look)
			if p, ok := a.cat.Pest(it.due.Assessment.Pest.Key); ok && !seen[p.Key] {
				seen[p.Key] = true
				out.Cues = append(out.Cues, a.cue(p, it))
			}
		}
		out.Stops = append(out.Stops, stop)
	}
	if len(out.Stops) == 0 && len(out.Closed) == 0 {
		return paper.Round{}, diag.Failf(nil, "see `leafturn due` for when the next look is", "nothing is to be looked at this week, so there is no sheet to print")
	}
	return out, nil
}

// notesOf are the notes of sections that are words only.
func notesOf(sections []report.Section) []string {
	var out []string
	for _, s := range sections {
		for _, n := range s.Notes {
			out = append(out, n.Parts()[0].Words())
		}
	}
	return out
}

// pestWord is the word that a grower types for a pest.
func (a *App) pestWord(key string) string {
	if p, ok := a.cat.Pest(key); ok && len(p.Aliases) > 0 {
		return p.Aliases[0]
	}
	return key
}

func blockWords(b farm.Bed) string {
	if b.Block == "" {
		return ""
	}
	return "block " + b.Block
}

func nonEmpty(words ...string) []string {
	return slices.DeleteFunc(words, func(s string) bool { return s == "" })
}

// decidingUnit is the unit of the deciding count, else the pest's usual one.
func decidingUnit(x *assess.Assessment) assess.Unit {
	if x.Decider != nil {
		return *x.Decider.Unit
	}
	return x.Pest.Units[0]
}

// sheetLook is one look with its line of the notes file.
func (a *App) sheetLook(s snapshot, it roundItem) (paper.Look, error) {
	x := it.due.Assessment
	u := decidingUnit(x)
	proto, _ := a.cat.Protocol(x.Pest.Key, u.Key)
	look := paper.Look{Name: capital(x.Pest.Name), Word: a.pestWord(x.Pest.Key), Ask: it.unit, Why: it.due.Reason, How: proto.How, Share: u.Percent, Boxes: u.Wanted}
	if u.Key != x.Pest.Units[0].Key {
		look.Unit = u.Key
	}
	if it.nights > 0 {
		look.How += fmt.Sprintf(" Set them %s before.", nightsWords(it.nights))
	}
	if u.Wanted == 0 {
		look.Of = max(x.Bed.Plants, 1)
		look.Share = true
	}
	look.Words = a.sheetWords(x, u, proto)
	plan, ok, err := a.sheetPlan(s, x, u, it.nights)
	if err != nil || !ok {
		return look, err
	}
	lines := plan.Deciding()
	look.Boxes = lines[len(lines)-1].N
	for _, l := range lines {
		st := paper.StopLine{After: l.N}
		if l.CanHold() {
			st.Hold = &l.Hold
		}
		if l.CanAct() {
			st.Act = &l.Act
		}
		look.Stop = append(look.Stop, st)
	}
	look.Ask = fmt.Sprintf("at most %d %s", look.Boxes, assess.Plural(u.Label, look.Boxes))
	switch {
	case it.nights > 0:
		look.How += fmt.Sprintf(" Totals: `leafturn sample %s %s --most %d`.", look.Word, x.Bed.Code, look.Boxes)
	case look.Boxes != u.Wanted:
		look.Ask += fmt.Sprintf(" (without the totals: %d)", u.Wanted)
	}
	look.Rule = fewWords(plan, u)
	return look, nil
}

// fewWords says how often a bed is judged wrongly with no more units than are
// looked at, where that is more often than the plan was to keep to.
func fewWords(p sampling.Plan, u assess.Unit) string {
	q := p.Question
	worst := max(p.AtSafe.Act, p.AtAction.Hold)
	if p.Shortfall == "" || q.MaxUnits == 0 || worst <= max(q.Alpha, q.Beta) {
		return ""
	}
	out := fmt.Sprintf("With %d %s up to %.0f %% of such beds are judged wrongly, not %.0f %%", q.MaxUnits, assess.Plural(u.Label, q.MaxUnits), math.Ceil(100*worst), 100*max(q.Alpha, q.Beta))
	if p.NeedUnits > q.MaxUnits {
		out += fmt.Sprintf("; %d would keep to that", p.NeedUnits)
	}
	return out + "."
}

// sheetPlan is the sequential plan of a bed and pest; false where there is
// none.
func (a *App) sheetPlan(s snapshot, x *assess.Assessment, u assess.Unit, nights int) (sampling.Plan, bool, error) {
	act, _, _ := assess.LevelsAt(x.Pest.Levels, u.Measure, x.Stage, a.conditions(s), s.on)
	if u.Wanted == 0 || act == nil || act.Operator == "none" || act.Value <= 0 {
		return sampling.Plan{}, false, nil
	}
	clump, _, err := clumpOf(u, "")
	if err != nil {
		return sampling.Plan{}, false, err
	}
	q := question(asked{unit: u, act: act, clump: clump})
	if nights > 0 { // there are no more than were set
		q.MaxUnits = max(u.Wanted, q.MinUnits)
	}
	plan, err := sampling.MakePlan(q)
	return plan, err == nil && len(plan.Deciding()) > 0, nil
}

// sheetWords are the conditions that a count of the unit needs, damage and the
// natural enemies that can change the verdict.
func (a *App) sheetWords(x *assess.Assessment, u assess.Unit, p catalog.Protocol) []paper.Word {
	degrees := "C"
	if a.farm.Units == units.US {
		degrees = "F"
	}
	var out []paper.Word
	for _, e := range x.Pest.Enemies {
		out = append(out, paper.Word{Name: "+" + e.Enemy + "="})
	}
	if u.Damage != "" {
		out = append(out, paper.Word{Name: "damage=", After: "/____"})
	}
	if p.NeedsSoil != "" {
		out = append(out, paper.Word{Name: "soil=", Choice: []string{"dry", "moist", "wet"}})
	}
	if p.NeedsFoliage != "" {
		out = append(out, paper.Word{Name: "foliage=", Choice: []string{"dry", "wet"}})
	}
	switch p.TempOf {
	case "air":
		out = append(out, paper.Word{Name: "air=", After: degrees})
	case "soil":
		out = append(out, paper.Word{Name: "soilc=", After: degrees})
	}
	if p.PerNights > 0 {
		out = append(out, paper.Word{Name: "nights="})
	}
	return out
}

// cue says what a pest looks like, what it is taken for and when its count
// holds.
func (a *App) cue(p catalog.Pest, it roundItem) paper.Cue {
	u := decidingUnit(it.due.Assessment)
	proto, _ := a.cat.Protocol(p.Key, u.Key)
	valid := strings.TrimSuffix(proto.Conditions, ".")
	if valid == "any" {
		valid = ""
	}
	how := proto.How
	if it.nights > 0 {
		how += fmt.Sprintf(" Set them %s before.", nightsWords(it.nights))
	}
	return paper.Cue{Name: capital(p.Name), How: how, Signs: p.Damage, Alike: p.LookAlikes, Valid: valid}
}

// PaperSize is the usual paper of the farm: US letter for a farm in US units.
func (a *App) PaperSize() paper.Size {
	if a.farm.Units == units.US {
		return paper.Letter
	}
	return paper.A4
}
