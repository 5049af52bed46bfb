package app

import (
	"encoding/binary"

	"leafturn/internal/farm"
	"leafturn/internal/store"
)

// savedCounts are the single counts of visits, which never change once they are
// stored. Read from their own file they are at hand in a tenth of the time that
// the store takes. They are known by all else that the store holds of a visit.
type savedCounts struct{ *partFile }

// all gives the visits of a season with these numbers their counts, as far as
// they are saved, and returns the numbers of the others.
func (s *savedCounts) all(season *bareSeason, ids []int64) (left []int64) {
	got := make([]*farm.Visit, len(ids))
	chunk := (len(ids) + 31) / 32
	_ = inParallel(32, func(i int) error {
		for n := i * chunk; n < min((i+1)*chunk, len(ids)); n++ {
			if v, ok := s.with(season.bare[ids[n]]); ok {
				got[n] = &v
			}
		}
		return nil
	})
	for n, id := range ids {
		if got[n] != nil {
			season.counted[id] = got[n]
		} else {
			left = append(left, id)
		}
	}
	return left
}

// with is a bare visit with its counts, observer and note, if they are saved.
func (s *savedCounts) with(b *store.Bare) (farm.Visit, bool) {
	rest, ok := s.bytesOf(s.key("counts", []byte(b.Row)))
	if !ok {
		return farm.Visit{}, false
	}
	v := b.Visit
	whole := func() int {
		n, size := binary.Uvarint(rest)
		if size <= 0 || n > 1<<62 {
			rest = nil
			return -1
		}
		rest = rest[size:]
		return int(n)
	}
	text := func() string {
		n := whole()
		if n < 0 || n > len(rest) {
			rest = nil
			return ""
		}
		out := string(rest[:n])
		rest = rest[n:]
		return out
	}
	v.Observer, v.Note = text(), text()
	n, seen, total := whole(), 0, int64(0)
	if n < 0 || n > len(rest) {
		return v, false
	}
	if n > 0 {
		v.Counts = make([]farm.UnitCount, n)
	}
	for i := range v.Counts {
		if c := whole(); c > 0 { // 0 is of a unit that was not looked at
			v.Counts[i] = farm.UnitCount{Count: c - 1, Seen: true}
			seen, total = seen+1, total+int64(c-1)
		}
	}
	return v, len(rest) == 0 && seen == b.N && total == b.Sum
}

// put saves what with gives back.
func (s *savedCounts) put(b *store.Bare, v *farm.Visit) {
	out := make([]byte, 0, 4+len(v.Observer)+len(v.Note)+len(v.Counts))
	for _, t := range []string{v.Observer, v.Note} {
		out = append(binary.AppendUvarint(out, uint64(len(t))), t...)
	}
	out = binary.AppendUvarint(out, uint64(len(v.Counts)))
	for _, u := range v.Counts {
		c := 0
		if u.Seen {
			c = u.Count + 1
		}
		out = binary.AppendUvarint(out, uint64(c))
	}
	s.putBytes(s.key("counts", []byte(b.Row)), out)
}
