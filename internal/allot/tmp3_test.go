package allot_test

import (
	"context"
	"fmt"
	"leafturn/internal/allot"
	"math/rand/v2"
	"testing"
	"time"
)

func TestOne(t *testing.T) {
	for _, sd := range []uint64{0, 1, 2, 3} {
		p := instance(rand.New(rand.NewPCG(sd, 2)), 200, 24, true)
		ctx, c := context.WithTimeout(context.Background(), 8*time.Second)
		b := time.Now()
		g, _ := allot.Solve(ctx, p, allot.Options{})
		c()
		fmt.Printf("ONE %d %.4f %.4f %v %d %.2fs\n", sd, g.Value, g.Bound, g.Proved, g.Nodes, time.Since(b).Seconds())
	}
}
