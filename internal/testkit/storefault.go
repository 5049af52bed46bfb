// Package testkit holds what tests of several packages share: faults on
// purpose. It is not for the program itself.
package testkit

import (
	"errors"
	"sync/atomic"
)

// ErrFault is what a fault hook fails with.
var ErrFault = errors.New("testkit: fault on purpose")

// Fault fails one statement of a store. Its Hook is for store.WithHook. It is
// safe for concurrent use.
type Fault struct {
	at   atomic.Int64
	seen atomic.Int64
}

// Arm makes statement n from now fail, counted from 1, and the counter start
// anew. With n = 0 none fails.
func (f *Fault) Arm(n int) {
	f.seen.Store(0)
	f.at.Store(int64(n))
}

// Seen returns the number of statements since Arm, BEGIN and COMMIT included.
func (f *Fault) Seen() int { return int(f.seen.Load()) }

// Hook counts a statement and fails it when it is the armed one.
func (f *Fault) Hook(string) error {
	if f.seen.Add(1) == f.at.Load() {
		return ErrFault
	}
	return nil
}
