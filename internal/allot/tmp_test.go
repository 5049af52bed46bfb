package allot

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"
)

var Gen func(seed uint64, n int) Problem

func RootBounds(p Problem, opt float64) {
	s := newSearch(context.Background(), p.field())
	n := s.root()
	s.value = math.Inf(-1)
	b := time.Now()
	for _, st := range []int{100, 200, 300} {
		s.descend(n, st)
		fmt.Printf(" after %d: bound %.3f best %.3f  %.3fs", st, n.bound, s.value, time.Since(b).Seconds())
	}
	fmt.Println(" opt", opt)
}
func TestNothing(t *testing.T) {}
