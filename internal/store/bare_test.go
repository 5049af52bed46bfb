package store_test

import (
	"slices"
	"testing"

	"leafturn/internal/farm"
	"leafturn/internal/store"

	"github.com/stretchr/testify/require"
)

// A bare visit is the visit without its counts, observer and note; its row tells
// any two visits apart.
func TestBareVisits(t *testing.T) {
	s := newStore(t)
	update(t, s, fillAll)
	require.NoError(t, s.View(ctx, func(tx *store.Tx) error {
		whole, err := tx.Visits(store.Filter{IncludeVoided: true})
		require.NoError(t, err)
		require.NotEmpty(t, whole)
		bare, err := tx.BareVisits(store.Filter{IncludeVoided: true})
		require.NoError(t, err)
		require.Len(t, bare, len(whole))
		rows := map[string]bool{}
		for _, v := range whole {
			i := slices.IndexFunc(bare, func(b store.Bare) bool { return b.Visit.ID == v.ID })
			n, sum := 0, int64(0)
			for _, c := range v.Seen() {
				n, sum = n+1, sum+int64(c)
			}
			v.Counts, v.Observer, v.Note = nil, "", ""
			require.Equal(t, v, bare[i].Visit)
			require.Equal(t, [2]int64{int64(n), sum}, [2]int64{int64(bare[i].N), bare[i].Sum})
			require.False(t, rows[bare[i].Row])
			rows[bare[i].Row] = true
		}
		ids := []int64{whole[0].ID}
		one, err := tx.VisitsOf(ids)
		require.NoError(t, err)
		require.Equal(t, []farm.Visit{whole[0]}, one)
		return nil
	}))
}

// A visit whose bed is not there is damage, and told as such.
func TestBareVisits_NoBed(t *testing.T) {
	s := newStore(t)
	update(t, s, fillAll)
	require.NoError(t, s.Close())
	rawExec(t, s.Path(), "UPDATE visit SET bed_id = 99 WHERE id = 1")
	s, err := store.Open(ctx, s.Path())
	require.NoError(t, err)
	defer s.Close()
	err = s.View(ctx, func(tx *store.Tx) error { _, err := tx.BareVisits(store.Filter{IncludeVoided: true}); return err })
	require.ErrorIs(t, err, store.ErrDamaged)
	require.ErrorContains(t, err, "do: keep this file, and go on with the newest backup")
}
