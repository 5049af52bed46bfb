package app

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/store"
)

// closedNote says which of the beds were closed for re-entry when work in them
// was noted: today as of now, an earlier day when they were closed until its
// end. What was done is stored as it happened; the note comes after it. A
// failure to read is no reason to lose the answer, and gives no note.
func (a *App) closedNote(ctx context.Context, day civil.Date, beds []string) string {
	var s snapshot // of what tells which beds are closed
	err := a.st.View(ctx, func(tx *store.Tx) (err error) {
		if s.beds, err = tx.Beds(); err != nil {
			return err
		}
		if s.treatments, err = tx.Treatments(store.Filter{To: day}); err != nil {
			return err
		}
		s.versions, err = labelsThen(tx, s.treatments, day)
		return err
	})
	if err != nil {
		return ""
	}
	from, to := a.now, a.now
	if day != a.Today() {
		from, to = day.In(a.loc), day.AddDays(1).In(a.loc)
	}
	before := slices.DeleteFunc(slices.Clone(s.treatments), func(t farm.Treatment) bool { return t.End.After(from) })
	var out strings.Builder
	for _, o := range a.openings(before, s.versions, s.beds, to) {
		if !o.Open && slices.Contains(beds, o.Bed) {
			fmt.Fprintf(&out, "\nnote: %s: nobody works or counts in it; who did washes, and goes to a doctor with the label when ill", o.Words)
		}
	}
	return out.String()
}
