package app

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"leafturn/internal/report"
	"leafturn/internal/store"
)

// WroteData is what a command that enters or changes something writes as JSON.
type WroteData struct {
	Changes  []int64     `json:"changes"`
	Records  []RangeData `json:"records"`
	Said     []string    `json:"said"`
	Warnings []string    `json:"warnings"`
}

// RangeData is records of one kind with consecutive numbers.
type RangeData struct {
	Kind  string `json:"kind"`
	First int64  `json:"first"`
	Last  int64  `json:"last"`
}

// Wrote is a document of what this command stored, with what is said of it.
func (a *App) Wrote(said string, warnings []string) *report.Document {
	doc := a.document("Stored", a.Today())
	doc.Data = wroteData(a.st.Wrote(), said, warnings)
	return doc
}

// StoredAs says on a line of its own by which numbers `amend` and `void` know what
// this command stored, or "". Visits and treatments are named with theirs.
func (a *App) StoredAs() string {
	var list []string
	for _, w := range a.st.Wrote() {
		for _, r := range w.Added {
			if r.Kind != store.KindVisit && r.Kind != store.KindTreatment {
				list = append(list, string(r.Kind)+" "+rangeWords(r))
			}
		}
	}
	if len(list) == 0 {
		return ""
	}
	return "\nnumber for `leafturn amend` and `leafturn void`: " + strings.Join(list, ", ")
}

// rangeWords is "4" or "4 to 6".
func rangeWords(r store.Range) string {
	if r.First == r.Last {
		return strconv.FormatInt(r.First, 10)
	}
	return fmt.Sprintf("%d to %d", r.First, r.Last)
}

// WroteFarm is Wrote for a farm that was made just now.
func WroteFarm(said string, now time.Time) *report.Document {
	return fileDocument("Stored", now, wroteData([]store.Wrote{{Change: 1}}, said, nil))
}

func wroteData(all []store.Wrote, said string, warnings []string) WroteData {
	out := WroteData{Changes: []int64{}, Records: []RangeData{}, Said: strings.Split(said, "\n"), Warnings: append([]string{}, warnings...)}
	for _, w := range all {
		out.Changes = append(out.Changes, w.Change)
		for _, r := range w.Added {
			out.Records = append(out.Records, RangeData{string(r.Kind), r.First, r.Last})
		}
	}
	return out
}
