package app

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"sync"

	"leafturn/internal/report"
	"leafturn/internal/store"
)

// partFile is a file of parts, each known by a hash of what it was made from.
type partFile struct {
	program partHash            // of what names the program, whose facts are in it
	load    func()              // reads what had holds, once
	had     map[partKey]oldPart // of earlier runs
	journal []byte              // of the store, see of
	mu      sync.Mutex
	made    map[partKey][]byte // of this run
}

type (
	partKey  [16]byte
	partHash [sha256.Size]byte
)

// oldPart is a part of an earlier run, and how many runs that made new ones have
// not asked for it.
type oldPart struct {
	b     []byte
	age   byte
	asked bool // in this run
}

// mostIdle is how many such runs a part outlives.
const mostIdle = 1

// newPartFile takes a file for the parts that a program makes.
func newPartFile(program, file string) *partFile {
	p := &partFile{program: sha256.Sum256([]byte(program)), made: map[partKey][]byte{}}
	p.load = sync.OnceFunc(func() {
		if b, ok := readKept(file); ok {
			p.had = partsOf(b)
		}
	})
	return p
}

// journalKey is of no part, but of the journal of the store that they were made of.
var journalKey partKey

// journalOf is the last change that a store's journal holds, with the sum of it
// and of those before it.
func journalOf(tx *store.Tx) ([]byte, error) {
	sum, last, err := tx.JournalSum(0)
	return append(binary.AppendVarint(nil, last), sum...), err
}

// of takes the store that the parts are of, and its journal. Those of another one
// are not taken: it may hold a visit of the same number, sums and second whose
// counts are others.
func (p *partFile) of(tx *store.Tx, journal []byte) error {
	p.load()
	p.mu.Lock()
	defer p.mu.Unlock()
	p.journal = journal
	was := p.had[journalKey].b
	if len(p.had) == 0 || bytes.Equal(was, journal) {
		return nil
	}
	last, size := binary.Varint(was)
	if size <= 0 || last <= 0 {
		p.had = nil
		return nil
	}
	sum, _, err := tx.JournalSum(last)
	if !bytes.Equal(sum, was[size:]) {
		p.had = nil
	}
	return err
}

// key hashes what a part is made from.
func (p *partFile) key(kind string, from ...[]byte) partKey {
	b := make([]byte, 0, 512) // most need no more
	b = append(append(b, p.program[:]...), kind...)
	for _, x := range from {
		b = append(binary.AppendUvarint(b, uint64(len(x))), x...)
	}
	sum := sha256.Sum256(b)
	return partKey(sum[:16])
}

func sumOf(b []byte) []byte {
	sum := sha256.Sum256(b)
	return sum[:]
}

// bytesOf is a part as it was written down.
func (p *partFile) bytesOf(key partKey) ([]byte, bool) {
	p.load()
	p.mu.Lock()
	defer p.mu.Unlock()
	if b, ok := p.made[key]; ok {
		return b, true
	}
	old, ok := p.had[key]
	if ok && !old.asked {
		old.asked = true
		p.had[key] = old
	}
	return old.b, ok
}

func (p *partFile) putBytes(key partKey, b []byte) {
	p.mu.Lock()
	p.made[key] = b
	p.mu.Unlock()
}

// get reads a part into what into points to.
func (p *partFile) get(key partKey, into any) bool {
	b, ok := p.bytesOf(key)
	return ok && report.Kept(b, into) == nil
}

func (p *partFile) put(key partKey, v any) {
	if b, err := report.Keep(v); err == nil {
		p.putBytes(key, b)
	}
}

// fresh reports whether something was made in this run.
func (p *partFile) fresh() bool { return len(p.made) > 0 }

// bytes writes the parts of this run and those of earlier ones down.
func (p *partFile) bytes() []byte {
	p.load()
	const around = len(partKey{}) + 1 + binary.MaxVarintLen64
	size := len(p.journal) + around
	for _, b := range p.made {
		size += len(b) + around
	}
	for _, old := range p.had {
		size += len(old.b) + around
	}
	out := make([]byte, 0, size)
	add := func(key partKey, age byte, b []byte) {
		out = append(append(out, key[:]...), age)
		out = append(binary.AppendUvarint(out, uint64(len(b))), b...)
	}
	if p.journal != nil {
		add(journalKey, 0, p.journal)
	}
	for key, b := range p.made {
		add(key, 0, b)
	}
	for key, old := range p.had {
		switch _, again := p.made[key]; {
		case again, key == journalKey:
		case old.asked:
			add(key, 0, old.b)
		case old.age < mostIdle:
			add(key, old.age+1, old.b)
		}
	}
	return out
}

// partsOf reads what bytes wrote.
func partsOf(b []byte) map[partKey]oldPart {
	next := func(b []byte) (key partKey, old oldPart, rest []byte, ok bool) {
		if len(b) <= len(key) {
			return key, old, nil, false
		}
		key, old.age = partKey(b), b[len(key)]
		b = b[len(key)+1:]
		n, size := binary.Uvarint(b)
		if size <= 0 || n > uint64(len(b)-size) {
			return key, old, nil, false
		}
		old.b = b[size : size+int(n)]
		return key, old, b[size+int(n):], true
	}
	n := 0
	for _, _, rest, ok := next(b); ok; _, _, rest, ok = next(rest) {
		n++
	}
	out := make(map[partKey]oldPart, n)
	for key, old, rest, ok := next(b); ok; key, old, rest, ok = next(rest) {
		out[key] = old
	}
	return out
}
