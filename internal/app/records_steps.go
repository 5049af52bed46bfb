package app

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"leafturn/internal/farm"
	"leafturn/internal/report"
	"leafturn/internal/store"
)

func (a *App) releaseRecords(ctx context.Context, f store.Filter) ([]ReleaseData, error) {
	out := []ReleaseData{}
	err := a.st.View(ctx, func(tx *store.Tx) error {
		list, err := tx.Releases(f)
		if err != nil {
			return err
		}
		records, err := tx.Records(store.KindRelease, f)
		if err != nil {
			return err
		}
		meta, counts := map[int64]store.Record{}, map[int64]string{}
		for _, r := range records {
			meta[r.ID] = r
		}
		for _, r := range list {
			if err := a.visitCounts(tx, r.Visit, counts); err != nil {
				return err
			}
			m := meta[r.ID]
			out = append(out, ReleaseData{
				ID: r.ID, Date: r.Date, At: stamp(r.At, a.loc), Bed: r.Bed, Part: r.Part, Agent: r.Agent, Pest: r.Pest, Amount: r.Amount, Who: r.Who,
				Visit: optID(r.Visit), VisitCounts: counts[r.Visit], Note: r.Note,
				Entered: stamp(m.EnteredAt, a.loc), VoidedOn: stamp(m.VoidedAt, a.loc), VoidReason: m.VoidReason,
			})
		}
		return nil
	})
	return out, err
}

func (a *App) releaseSection(list []ReleaseData) report.Section {
	s := report.Section{Key: "releases", Title: "Releases of natural enemies", Lead: report.Plain("None is stored.")}
	if len(list) > 0 {
		s.Lead = report.Line{}
	}
	for _, r := range list {
		words := fmt.Sprintf("Release %d: %s %s in %s", r.ID, strconv.FormatFloat(r.Amount, 'f', -1, 64), a.agentName(r.Agent), r.Bed)
		if r.Part != "" {
			words += " (" + r.Part + ")"
		}
		words += " on " + r.Date.String()
		if r.At != "" {
			words = strings.TrimSuffix(words, " on "+r.Date.String()) + " at " + long(r.At, a.farm.TimeZone)
		}
		words += ", against " + a.pestName(r.Pest) + ", by " + orWords(r.Who, "(not noted)")
		if r.Visit != nil {
			words += fmt.Sprintf("; visit %d: %s", *r.Visit, r.VisitCounts)
		}
		s.Notes = append(s.Notes, report.Plain(words+tail(r.Note, r.VoidReason, long(r.VoidedOn, a.farm.TimeZone))))
	}
	return s
}

func tail(note, void, on string) string {
	words := ""
	if note != "" {
		words += "; " + note
	}
	if void != "" {
		words += "; VOIDED " + on + ": " + void
	}
	return words
}

func (a *App) stepRecords(ctx context.Context, f store.Filter) ([]StepData, error) {
	out := []StepData{}
	err := a.st.View(ctx, func(tx *store.Tx) error {
		list, err := tx.Dones(f)
		if err != nil {
			return err
		}
		records, err := tx.Records(store.KindDone, f)
		if err != nil {
			return err
		}
		meta := map[int64]store.Record{}
		for _, r := range records {
			meta[r.ID] = r
		}
		for _, x := range list {
			m := meta[x.ID]
			out = append(out, StepData{
				ID: x.ID, Date: x.Date, Bed: x.Bed, Pest: x.Pest, Step: x.Action, Who: x.Who, Outcome: outcomeOf(x), Note: x.Note,
				Entered: stamp(m.EnteredAt, a.loc), VoidedOn: stamp(m.VoidedAt, a.loc), VoidReason: m.VoidReason,
			})
		}
		return nil
	})
	return out, err
}

func (a *App) stepSection(list []StepData) report.Section {
	s := report.Section{Key: "steps", Title: "Steps carried out", Lead: report.Plain("None is stored.")}
	if len(list) > 0 {
		s.Lead = report.Line{}
	}
	for _, x := range list {
		words := fmt.Sprintf("Done %d: %s in %s on %s against %s", x.ID, shortStep(x.Step), x.Bed, x.Date, a.pestName(x.Pest))
		if x.Pest == farm.Flowers {
			words = fmt.Sprintf("Done %d: open flowers in or beside %s on %s: %s", x.ID, x.Bed, x.Date, x.Step)
		}
		if w := a.confirmedWords(x); w != "" {
			words = w
		}
		if x.Who != "" {
			words += ", by " + x.Who
		}
		switch {
		case strings.HasPrefix(x.Step, farm.Settled):
			words += ": " + x.Outcome
		case x.Outcome != "":
			words += "; it was " + x.Outcome
		}
		s.Notes = append(s.Notes, report.Plain(words+tail(x.Note, x.VoidReason, long(x.VoidedOn, a.farm.TimeZone))))
	}
	return s
}
