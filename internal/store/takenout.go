package store

import "leafturn/internal/farm"

// TakenOut returns the visits that somebody voided or amended, giving a reason, by
// date; those that an undo took back are none of them.
func (t *Tx) TakenOut() ([]farm.Visit, error) {
	return t.visits(" WHERE x.voided_at IS NOT NULL AND x.void_reason NOT LIKE ? AND x.id IN (SELECT CAST(item AS INTEGER) FROM change_step WHERE kind = ? AND what IN (?, ?))",
		[]any{TakenBack + "%", string(KindVisit), stepVoid, stepAmend}, nil)
}
