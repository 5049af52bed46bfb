package app

import (
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
