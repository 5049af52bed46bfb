package app

import (
	"bytes"
	"crypto/sha256"
	"fmt"

	"leafturn/internal/farm"
	"leafturn/internal/store"
)

// savedRows are the rows of a season's visits, and a hash of all else that the
// store holds, as they were read from its file as the system told it then. While
// it tells the same, as on a new day on which nothing was entered yet, they need
// not be read again.
type savedRows struct {
	a       *App
	program string
	load    func() []byte // what is saved
	fresh   []byte        // to be saved, nil for nothing
}

// seasonRows are the rows of a season, see store.Bare, and the hash.
type seasonRows struct {
	text   string
	around []byte
}

// worthRows is how many bytes of rows take longer to read from the store than
// from a file of their own.
const worthRows = 4 << 10

// read returns the rows of a season. The transaction has read already: what it
// sees is the file as it was then or before.
func (r *savedRows) read(tx *store.Tx, year farm.Season) (seasonRows, error) {
	now, err := seeStore(r.a.st.File())
	known := err == nil && now == r.a.opened
	key := sha256.Sum256(fmt.Append(nil, r.program, " ", r.a.opened, " ", year))
	if b := r.load(); known && len(b) > 2*len(key) && bytes.Equal(b[:len(key)], key[:]) {
		return seasonRows{string(b[2*len(key):]), b[len(key) : 2*len(key)]}, nil
	}
	h := sha256.New()
	if err := tx.Around(h); err != nil {
		return seasonRows{}, err
	}
	s := seasonRows{around: h.Sum(nil)}
	if s.text, err = tx.BareRows(store.Filter{From: year.First, To: year.Last}); err != nil {
		return s, err
	}
	if known && len(s.text) >= worthRows && year == r.a.farm.Season(r.a.Today()) {
		r.fresh = append(append(bytes.Clone(key[:]), s.around...), s.text...)
	}
	return s, nil
}
