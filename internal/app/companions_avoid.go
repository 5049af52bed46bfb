package app

import (
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/assess"
	"leafturn/internal/companion"
	"leafturn/internal/cover"
)

// avoidLine is one thing to avoid on this farm.
type avoidLine struct {
	Kind   string // virus, gap, weed, pets, family, mix or pest
	Text   string
	Plants []string
	Refs   []assess.Ref
}

// virusFound are the beds in which signs of a virus were found in any of the
// seasons, by virus.
func virusFound(seasons []seasonCounts) map[string][]string {
	out := map[string][]string{}
	for _, s := range seasons {
		for _, x := range s.list {
			if !slices.Contains([]string{"tospovirus", "dahlia_mosaic"}, x.Pest.Key) {
				continue
			}
			for _, r := range x.Readings {
				if r.Valid() && r.Value > 0 && !slices.Contains(out[x.Pest.Key], x.Bed.Code) {
					out[x.Pest.Key] = append(out[x.Pest.Key], x.Bed.Code)
				}
			}
		}
	}
	for _, beds := range out {
		slices.Sort(beds)
	}
	return out
}

// avoidLines gathers what to avoid: hosts of viruses, weeds, what poisons
// pets, the dahlia's own family, and plants that make a pest worse.
func (a *App) avoidLines(p *companionPlan, seasons []seasonCounts, infected map[string][]string) []avoidLine {
	var out []avoidLine
	out = append(out, a.avoidVirus(p, infected)...)
	out = append(out, a.avoidWeeds(p)...)
	out = append(out, a.avoidPets(p, seasons[0])...)
	var family []string
	for _, x := range p.chosen {
		if x.placed() && strings.Contains(x.Family, cover.Asteraceae) {
			family = append(family, x.Plant)
		}
	}
	if len(family) > 0 {
		out = append(out, avoidLine{Kind: "family", Plants: family, Text: "of the dahlia's own family, so they share its pests and viruses; not in or against the beds: " + strings.Join(family, ", ")})
	}
	placed := func(name string) bool {
		return slices.ContainsFunc(p.chosen, func(x chosenPlant) bool { return x.Plant == name && x.placed() })
	}
	for _, m := range a.cat.CompanionMixes() {
		if placed(m.Plant) && placed(m.Beside) {
			out = append(out, avoidLine{
				Kind: "mix", Plants: []string{m.Plant, m.Beside}, Refs: []assess.Ref{{Basis: m.Basis, Source: m.Source, URL: m.URL}},
				Text: m.Plant + " together with " + m.Beside + ": " + m.Finding + ". " + strings.Replace(m.Note, "CONTESTED", "Contested", 1),
			})
		}
	}
	return append(out, avoidWorse(p)...)
}

func (a *App) avoidVirus(p *companionPlan, infected map[string][]string) []avoidLine {
	var out []avoidLine
	found := ""
	for _, v := range []struct{ key, name string }{
		{"tospovirus", "a tospovirus"}, {"dahlia_mosaic", "dahlia mosaic"}} {
		if beds := infected[v.key]; len(beds) > 0 {
			if found != "" {
				found += "; "
			}
			found += "signs of " + v.name + " in " + strings.Join(beds, ", ")
		}
	}
	if found != "" {
		out = append(out, avoidLine{Kind: "virus", Text: "this farm has noted " + found + ": plant none of the hosts below within " + a.farm.Units.Length(virusApartM) + " of the beds. The infected dahlias themselves are the likeliest source: take them out first"})
	}
	var hosts []string
	for _, x := range p.chosen {
		if x.placed() && len(x.facts.Viruses) > 0 {
			hosts = append(hosts, fmt.Sprintf("%s (%s; %s)", x.Plant, strings.Join(x.facts.Viruses, ", "), x.facts.VirusBasis.Basis))
		}
	}
	if len(hosts) > 0 {
		out = append(out, avoidLine{Kind: "virus", Plants: hosts, Text: "of the plants planned here these host a virus of dahlia; pull any that is mottled: " + strings.Join(hosts, ", ")})
	}
	garden := avoidLine{Kind: "virus"}
	viruses := map[string][]string{}
	host := func(plant string, of []string, r assess.Ref) {
		if viruses[plant] == nil {
			garden.Plants = append(garden.Plants, plant)
		}
		viruses[plant] = append(viruses[plant], of...)
		garden.Refs = append(garden.Refs, r)
	}
	for _, h := range a.cat.VirusHosts() {
		host(h.Plant, []string{h.Virus}, assess.Ref{Basis: h.Basis, Source: h.Source, URL: h.URL})
	}
	for _, c := range a.cat.CompanionPlants() {
		if slices.Contains(c.Viruses, "INSV") || slices.Contains(c.Viruses, "CMV") {
			host(c.Plant, c.Viruses, assess.Ref{Basis: c.VirusBasis.Basis, Source: c.VirusBasis.Source, URL: c.VirusBasis.URL})
		}
	}
	var words []string
	for _, plant := range garden.Plants {
		words = append(words, plant+" ("+strings.Join(viruses[plant], ", ")+")")
	}
	garden.Text = "hosts of the dahlia's viruses that stand in many gardens: " + strings.Join(words, ", ") + ". The list is not whole: TSWV alone has hundreds of hosts"
	out = append(out, garden, avoidLine{Kind: "gap", Refs: []assess.Ref{{Basis: "common practice"}},
		Text: "for the two weeks before the dahlias come up keep a gap of " + a.farm.Units.Length(virusApartM) + " round the beds free of living hosts (covers, weeds and companions), unless you scout them weekly"})
	return out
}

func (a *App) avoidWeeds(p *companionPlan) []avoidLine {
	kinds := map[string][]string{}
	for _, x := range p.chosen {
		if !x.placed() {
			continue
		}
		kinds[x.facts.Weed] = append(kinds[x.facts.Weed], x.Plant)
	}
	var out []avoidLine
	for _, k := range []struct{ weed, text string }{
		{"listed", "a listed or invasive weed in some areas; check your local noxious-weed list before you sow: "},
		{"self-sows", "sow themselves out; cut before the seed is ripe: "},
		{"spreads", "spread by roots or sod; keep them off the beds: "},
	} {
		if names := kinds[k.weed]; len(names) > 0 {
			out = append(out, avoidLine{Kind: "weed", Plants: names, Text: k.text + strings.Join(names, ", ")})
		}
	}
	return out
}

func (a *App) avoidPets(p *companionPlan, s seasonCounts) []avoidLine {
	var poison, unknown, beds []string
	ref := []assess.Ref{}
	for _, x := range p.chosen {
		switch f := x.facts; {
		case !x.placed():
		case f.Dog == "yes" || f.Cat == "yes":
			var who []string
			if f.Dog == "yes" {
				who = append(who, "dogs")
			}
			if f.Cat == "yes" {
				who = append(who, "cats")
			}
			poison = append(poison, x.Plant+" ("+strings.Join(who, ", ")+")")
			ref = append(ref, assess.Ref{Basis: f.PetsBasis})
		case f.Dog == "" || f.Cat == "":
			unknown = append(unknown, x.Plant)
		}
	}
	for _, b := range s.beds {
		if w := strings.TrimSpace(b.Animals); w != "" && !strings.EqualFold(w, "none") {
			beds = append(beds, b.Code+" ("+w+")")
		}
	}
	come := ""
	if len(beds) > 0 {
		come = "; animals come to " + strings.Join(beds, ", ")
	}
	var out []avoidLine
	if len(poison) > 0 {
		out = append(out, avoidLine{Kind: "pets", Plants: poison, Refs: ref, Text: "poisonous to pets: " + strings.Join(poison, ", ") + come})
	}
	if len(unknown) > 0 {
		text := "whether these are poisonous to pets is not known; ask before animals can reach them: " + strings.Join(unknown, ", ")
		if len(poison) == 0 {
			text += come
		}
		out = append(out, avoidLine{Kind: "pets", Plants: unknown, Text: text})
	}
	return out
}

// avoidWorse names what makes a pest worse that presses here.
func avoidWorse(p *companionPlan) []avoidLine {
	var out []avoidLine
	for _, g := range p.advice.Suggestions {
		var worse []string
		var refs []assess.Ref
		for _, e := range g.Effects {
			if e.Points < 0 {
				worse = append(worse, fmt.Sprintf("%s (%+d, evidence %s)", e.Row.Pest, e.Row.Score, e.Grade))
				refs = append(refs, assess.Ref{Basis: e.Row.Basis, Source: e.Row.Source, URL: e.Row.URL})
			}
		}
		if len(worse) == 0 {
			continue
		}
		text := g.Plant + " makes worse: " + strings.Join(worse, ", ")
		if g.Verdict == companion.Avoid {
			text += ". " + g.Placement
		}
		out = append(out, avoidLine{Kind: "pest", Plants: []string{g.Plant}, Refs: refs, Text: text})
	}
	return out
}
