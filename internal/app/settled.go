package app

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/store"
	"leafturn/internal/week"
)

// SettledOptions answer whether natural enemies have settled.
type SettledOptions struct {
	Agent           string
	Beds            []string
	Pest            string // "" where the agent was let out against one pest only
	Date            civil.Date
	Found, NotFound bool
	Count           string // "7/20": seen on 7 of 20 looked at; "" is not counted
	Who, Note       string
}

// Settled stores the answer for beds, and says what it means for each.
func (a *App) Settled(ctx context.Context, o SettledOptions) (Said, error) {
	agent, err := a.findAgent(o.Agent)
	if err != nil {
		return Said{}, err
	}
	beds, err := a.names.findBeds(o.Beds)
	if err != nil {
		return Said{}, err
	}
	if err := a.happened(ctx, "--date", o.Date); err != nil {
		return Said{}, err
	}
	more, err := settledMore(o)
	if err != nil {
		return Said{}, err
	}
	s, err := a.snapshot(ctx, o.Date)
	if err != nil {
		return Said{}, err
	}
	pest := ""
	if o.Pest != "" {
		p, err := a.names.findPest(o.Pest)
		if err != nil {
			return Said{}, err
		}
		pest = p.Key
	}
	var list []farm.Done
	for _, b := range beds {
		r, err := lastRelease(s.releases, agent, b.Code, pest, o.Date)
		if err != nil {
			return Said{}, err
		}
		list = append(list, farm.Done{Bed: b.Code, Pest: r.Pest, Action: farm.Settled + agent.Key, Date: o.Date, Note: o.Note, DoneMore: more})
	}
	err = a.st.Update(ctx, func(tx *store.Tx) error {
		for i := range list {
			id, err := tx.AddDone(list[i], a.now)
			if err != nil {
				return err
			}
			list[i].ID = id
		}
		return nil
	})
	if err != nil {
		return Said{}, kept(err, "nothing was stored")
	}
	w, err := a.weekInput(ctx, o.Date)
	if err != nil {
		return Said{}, err
	}
	res := Said{Said: fmt.Sprintf("noted: %s in %s: %s", agent.Latin, strings.Join(codesOf(beds), ", "), outcomeOf(list[0]))}
	for _, d := range list {
		res.Said += "\n" + week.SettledWords(w, d.Bed, d.Pest, agent.Key)
	}
	return res, nil
}

func codesOf(beds []farm.Bed) []string {
	var out []string
	for _, b := range beds {
		out = append(out, b.Code)
	}
	return out
}

// settledMore reads what was seen.
func settledMore(o SettledOptions) (farm.DoneMore, error) {
	m := farm.DoneMore{Who: strings.TrimSpace(o.Who)}
	if o.Found && o.NotFound {
		return m, diag.Usagef("give one of them", "--found and --not-found cannot both be")
	}
	if o.Count != "" {
		left, right, ok := strings.Cut(o.Count, "/")
		with, err1 := strconv.Atoi(strings.TrimSpace(left))
		looked, err2 := strconv.Atoi(strings.TrimSpace(right))
		if !ok || err1 != nil || err2 != nil || looked < 1 || looked > 10000 || with < 0 || with > looked {
			return m, diag.Usagef("write it as 7/20: seen on 7 of 20 looked at", "--count %q is not so many of those looked at", o.Count)
		}
		m.Seen = &farm.Share{With: with, Looked: looked}
		if o.Found && with == 0 || o.NotFound && with > 0 {
			return m, diag.Usagef("leave out --found and --not-found, the count tells it", "--count %s does not go with the other flag", o.Count)
		}
		o.Found, o.NotFound = with > 0, with == 0
	}
	switch {
	case o.Found:
		m.Outcome = farm.Found
	case o.NotFound:
		m.Outcome = farm.NotFound
	default:
		return m, diag.Usagef("give --count 7/20, --found or --not-found", "it is not said what was seen")
	}
	return m, nil
}

// lastRelease is the release that an answer is about.
func lastRelease(all []farm.Release, agent catalog.Agent, bed, pest string, on civil.Date) (farm.Release, error) {
	var out farm.Release
	var pests []string
	for _, r := range all {
		if r.Bed != bed || r.Agent != agent.Key || r.Date.After(on) || pest != "" && r.Pest != pest {
			continue
		}
		if !slices.Contains(pests, r.Pest) {
			pests = append(pests, r.Pest)
		}
		if out.ID == 0 || r.Date.After(out.Date) {
			out = r
		}
	}
	switch {
	case len(pests) == 0:
		return out, diag.Usagef("record the release first: `leafturn release "+agent.Key+" "+bed+" --amount N --date DAY`", "no release of %s in %s this season, up to %s, is stored", agent.Latin, bed, on)
	case len(pests) > 1:
		return out, diag.Usagef("say which with --pest, one of: "+strings.Join(pests, ", "), "%s was let out in %s against several pests", agent.Latin, bed)
	}
	return out, nil
}

// outcomeOf says what came of a step, or what was seen at a look.
func outcomeOf(d farm.Done) string {
	if d.Seen != nil {
		return fmt.Sprintf("%s (on %d of %d looked at)", d.Outcome, d.Seen.With, d.Seen.Looked)
	}
	return string(d.Outcome)
}
