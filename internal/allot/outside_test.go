package allot_test

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/allot"
)

// asLP writes the problem in the CPLEX LP format, which GLPK and CBC read.
func asLP(p allot.Problem) []byte {
	var b bytes.Buffer
	n := len(p.Beds[0].Value[0])
	x := func(i, w, c int) string { return fmt.Sprintf("x_%d_%d_%d", i, w, c) }
	open := func(i, w, c int) bool { return !math.IsNaN(p.Beds[i].Value[w][c]) }
	term := func(v float64, name string) {
		if v != 0 {
			fmt.Fprintf(&b, " %+.10g %s\n", v, name)
		}
	}
	next := func(i int) bool { return i+1 < len(p.Beds) && p.Beds[i+1].Row == p.Beds[i].Row }
	var binary []string
	fmt.Fprintln(&b, "Maximize\n value:")
	for i, bed := range p.Beds {
		for w := range allot.Windows {
			for c := range n {
				if open(i, w, c) {
					term(bed.Value[w][c], x(i, w, c))
					binary = append(binary, x(i, w, c))
					if c > 0 && next(i) && open(i+1, w, c) && p.Together[w] > 0 {
						term(p.Together[w], fmt.Sprintf("z_%d_%d_%d", i, w, c))
					}
				}
			}
		}
	}
	fmt.Fprintln(&b, "Subject To")
	rows := 0
	row := func(sense string, rhs float64) {
		fmt.Fprintf(&b, " %s %.10g\n", sense, rhs)
	}
	begin := func() { rows++; fmt.Fprintf(&b, " r%d: 0 dummy\n", rows) }
	for i, bed := range p.Beds {
		for w := range allot.Windows {
			begin()
			for c := range n {
				if open(i, w, c) {
					term(1, x(i, w, c))
				}
			}
			row("=", 1)
		}
		// Choices that the same ones stay apart from share a row.
		sets := map[uint64]bool{}
		for c := range n {
			if set := bed.Apart[c]; set != 0 && !sets[set] {
				sets[set] = true
				begin()
				for d := range n {
					if bed.Apart[d] == set && open(i, 0, d) {
						term(1, x(i, 0, d))
					}
					if set>>d&1 != 0 && open(i, 1, d) {
						term(1, x(i, 1, d))
					}
				}
				row("<=", 1)
			}
		}
		if next(i) {
			for w := range allot.Windows {
				for c := 1; c < n; c++ {
					if open(i, w, c) && open(i+1, w, c) && p.Together[w] > 0 {
						z := fmt.Sprintf("z_%d_%d_%d", i, w, c)
						for _, j := range []int{i, i + 1} {
							begin()
							term(1, z)
							term(-1, x(j, w, c))
							row("<=", 0)
						}
					}
				}
			}
		}
		for w := range allot.Windows {
			begin()
			term(1, fmt.Sprintf("bare_%d", i))
			if open(i, w, 0) {
				term(-1, x(i, w, 0))
			}
			row("<=", 0)
		}
	}
	if p.MaxLots > 0 {
		begin()
		for c := 1; c < n; c++ {
			y := fmt.Sprintf("y_%d", c)
			term(1, y)
			binary = append(binary, y)
		}
		row("<=", float64(p.MaxLots))
		for i := range p.Beds {
			for w := range allot.Windows {
				for c := 1; c < n; c++ {
					if open(i, w, c) {
						begin()
						term(1, x(i, w, c))
						term(-1, fmt.Sprintf("y_%d", c))
						row("<=", 0)
					}
				}
			}
		}
	}
	for _, l := range p.Limits {
		begin()
		for i := range p.Beds {
			for w := range allot.Windows {
				for c := range n {
					if open(i, w, c) {
						term(l.Use[i][w][c], x(i, w, c))
					}
				}
			}
			if l.Bare != nil {
				term(l.Bare[i], fmt.Sprintf("bare_%d", i))
			}
		}
		row("<=", l.Most)
	}
	fmt.Fprintln(&b, "Bounds\n dummy = 0")
	for i := range p.Beds {
		fmt.Fprintf(&b, " 0 <= bare_%d <= 1\n", i)
	}
	fmt.Fprintln(&b, "Binary")
	for _, name := range binary {
		fmt.Fprintln(&b, " "+name)
	}
	fmt.Fprintln(&b, "End")
	return b.Bytes()
}

var cbcValue = regexp.MustCompile(`Objective value:\s+(-?[0-9.]+)`)

// cbc returns the best value by CBC and the seconds it took.
func cbc(t testing.TB, p allot.Problem) (value, seconds float64) {
	path := filepath.Join(t.TempDir(), "m.lp")
	require.NoError(t, os.WriteFile(path, asLP(p), 0o600))
	begin := time.Now()
	out, err := exec.Command("cbc", path, "-ratioGap", "0", "-allowableGap", "0", "-sec", "120", "-solve").CombinedOutput()
	require.NoError(t, err, "%s", out)
	seconds = time.Since(begin).Seconds()
	m := cbcValue.FindSubmatch(out)
	require.NotNil(t, m, "%s", out)
	value, err = strconv.ParseFloat(string(m[1]), 64)
	require.NoError(t, err)
	if value < 0 { // CBC minimises
		value = -value
	}
	return value, seconds
}

func TestTmp(t *testing.T) {
	for _, n := range []int{20, 60, 200} {
		for seed := range uint64(4) {
			p := instance(rand.New(rand.NewPCG(seed, 2)), n, 24, true)
			ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
			begin := time.Now()
			got, err := allot.Solve(ctx, p, allot.Options{})
			ours := time.Since(begin).Seconds()
			cancel()
			require.NoError(t, err)
			v, s := cbc(t, p)
			fmt.Printf("%d %d ours %.6f bound %.6f %v nodes %d %.3f s, cbc %.6f %.2f s, ratio %.3f\n", n, seed, got.Value, got.Bound, got.Proved, got.Nodes, ours, v, s, ours/s)
		}
	}
}
