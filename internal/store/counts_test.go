package store_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"testing"

	"leafturn/internal/store"
	"leafturn/internal/tables"
	"leafturn/internal/testkit"

	"github.com/stretchr/testify/require"
)

// The single counts against the visits as they are read, units not looked at and
// voided visits included.
func TestWriteTable_Counts(t *testing.T) {
	s := newStore(t)
	vs := someVisits(testkit.Seeded(5, 5), 150)
	update(t, s, func(tx *store.Tx) error {
		for _, v := range vs {
			_, _ = tx.AddVisit(v, at) // some are there already
		}
		return tx.Void(store.KindVisit, 3, "twice", at)
	})
	want := [][]string{{"visit_id", "bed", "date", "pest", "seq", "count"}}
	all := visits(t, s, store.Filter{IncludeVoided: true})
	for id := int64(1); id <= int64(len(all)); id++ {
		for _, v := range all {
			if v.ID != id {
				continue
			}
			for i, u := range v.Counts {
				count := ""
				if u.Seen {
					count = fmt.Sprint(u.Count)
				}
				want = append(want, []string{fmt.Sprint(id), v.Bed, v.Date.String(), v.Pest, fmt.Sprint(i + 1), count})
			}
		}
	}
	var out bytes.Buffer
	view(t, s, func(tx *store.Tx) error { _, err := tx.WriteTable(&out, tables.ByName("unit_count"), nil); return err })
	got, err := csv.NewReader(&out).ReadAll()
	require.NoError(t, err)
	require.Equal(t, want, got)

	rawExec(t, s.Path(), "INSERT INTO unit_count VALUES (1, 9999, 1)") // a gap in the numbers
	err = s.View(ctx, func(tx *store.Tx) error { _, err := tx.WriteTable(&out, tables.ByName("unit_count"), nil); return err })
	require.ErrorIs(t, err, store.ErrDamaged)
}

// CountsOf leaves single counts of other pests out, and nothing else.
func TestVisits_CountsOf(t *testing.T) {
	s := newStore(t)
	vs := someVisits(testkit.Seeded(5, 6), 150)
	update(t, s, func(tx *store.Tx) error {
		for _, v := range vs {
			_, _ = tx.AddVisit(v, at)
		}
		return nil
	})
	for _, f := range []store.Filter{{}, {Bed: "A1"}, {From: day("2026-06-01"), IncludeVoided: true}} {
		want := visits(t, s, f)
		for i := range want {
			if want[i].Pest != "slug" && want[i].Pest != "mite" {
				want[i].Counts = nil
			}
		}
		f.CountsOf = []string{"mite", "slug"}
		require.Equal(t, want, visits(t, s, f))
	}
}
