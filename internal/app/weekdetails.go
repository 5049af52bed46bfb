package app

import (
	"strings"

	"leafturn/internal/week"
)

// agentDetail says first what an agent is that the line names in Latin.
func (a *App) agentDetail(l week.Line, details []string) []string {
	for _, g := range a.cat.Agents(l.Pest) {
		if g.Latin != "" && strings.Contains(l.Head, g.Latin) {
			return append([]string{"what it is: " + g.Name}, details...)
		}
	}
	return details
}

// sharedDetails puts details together that are the same for several beds of a
// line: "A1 A2, each (30 m²): 73 g", or "each bed (30 m²): 73 g" for all of them.
func sharedDetails(details, beds []string) []string {
	var out []string
	at := map[string]int{}   // by what is said
	of := map[int][]string{} // beds of a line of out
	said := map[int]string{} // and its words without them
	for _, d := range details {
		bed, rest := "", ""
		for _, b := range beds {
			if r, ok := strings.CutPrefix(d, b); ok && (strings.HasPrefix(r, ": ") || strings.HasPrefix(r, " (")) {
				bed, rest = b, r
			}
		}
		i, ok := at[rest]
		if !ok || bed == "" {
			if bed != "" {
				at[rest], of[len(out)], said[len(out)] = len(out), []string{bed}, rest
			}
			out = append(out, d)
			continue
		}
		of[i] = append(of[i], bed)
		out[i] = strings.Join(of[i], " ") + ", each" + said[i]
		if len(of[i]) == len(beds) {
			out[i] = "each bed" + said[i]
		}
	}
	return out
}
