package app

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/catalog"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/store"
)

// confirmed stores whether what a level asks to be confirmed before acting was
// found in beds.
func (a *App) confirmed(ctx context.Context, day civil.Date, pest catalog.Pest, word string, beds []farm.Bed, note string, more farm.DoneMore) (string, error) {
	i := slices.IndexFunc(a.cat.Thresholds(pest.Key), func(t catalog.Threshold) bool { return t.Confirm != "" })
	if i < 0 {
		return "", diag.Usagef("see `leafturn pest "+pest.Key+"`", "no action level for %s asks for anything to be confirmed", pest.Name)
	}
	if more.Outcome != "" {
		return "", diag.Usagef("leave --enough and --not-enough out", "to confirm is no step against %s", pest.Name)
	}
	where, err := a.noteDone(ctx, farm.Done{Pest: pest.Key, Action: word, Date: day, Note: note, DoneMore: more}, beds)
	if err != nil {
		return "", err
	}
	what := a.cat.Thresholds(pest.Key)[i].Confirm
	if word == farm.NotConfirmed {
		return fmt.Sprintf("noted: looked in %s on %s for %s and not found; it holds for the counts up to 3 days after", where, a.dayOf(day), what), nil
	}
	return fmt.Sprintf("noted: %s, confirmed in %s on %s; it holds for the season", what, where, a.dayOf(day)), nil
}

// looked stores what was seen of the pest in beds, for the products that need
// to know.
func (a *App) looked(ctx context.Context, day civil.Date, pest catalog.Pest, word string, days int, beds []farm.Bed, note string, more farm.DoneMore) (string, error) {
	if more.Outcome != "" {
		return "", diag.Usagef("leave --enough and --not-enough out", "to look is no step against %s", pest.Name)
	}
	where, err := a.noteDone(ctx, farm.Done{Pest: pest.Key, Action: farm.Answer + word, Date: day, Note: note, DoneMore: more}, beds)
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("noted: %s in %s on %s; it holds for that day and the %d after", strings.ReplaceAll(word, "_", " "), where, a.dayOf(day), days), nil
}

// noteDone stores a note in each of beds, all or none, and returns their codes.
func (a *App) noteDone(ctx context.Context, d farm.Done, beds []farm.Bed) (string, error) {
	var codes []string
	err := a.st.Update(ctx, func(tx *store.Tx) error {
		for _, b := range beds {
			d.Bed = b.Code
			if _, err := tx.AddDone(d, a.now); err != nil {
				return err
			}
			codes = append(codes, b.Code)
		}
		return nil
	})
	if err != nil {
		return "", kept(err, "nothing was stored")
	}
	return strings.Join(codes, ", "), nil
}

// confirmedWords says a note on confirming or on what was seen, "" for any
// other.
func (a *App) confirmedWords(x StepData) string {
	if word, ok := strings.CutPrefix(x.Step, farm.Answer); ok {
		return fmt.Sprintf("Done %d: looked at %s in %s on %s: %s", x.ID, a.pestName(x.Pest), x.Bed, x.Date, strings.ReplaceAll(word, "_", " "))
	}
	switch x.Step {
	case farm.Confirmed:
		return fmt.Sprintf("Done %d: %s confirmed in %s on %s", x.ID, a.pestName(x.Pest), x.Bed, x.Date)
	case farm.NotConfirmed:
		return fmt.Sprintf("Done %d: %s looked for in %s on %s and not confirmed", x.ID, a.pestName(x.Pest), x.Bed, x.Date)
	}
	return ""
}
