package allot_test

import (
	"bytes"
	"fmt"
	"math"
	"math/bits"
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
		for c := range bed.Apart {
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
		begin()
		for w := range allot.Windows {
			if open(i, w, 0) {
				term(1, x(i, w, 0))
			}
		}
		term(-1, fmt.Sprintf("bare_%d", i))
		row("<=", 1)
	}
	if p.MaxLots > 0 {
		all := uint64(0)
		for c := range n {
			all |= lotsOf(p, c)
		}
		begin()
		for l := all; l != 0; l &= l - 1 {
			y := fmt.Sprintf("y_%d", bits.TrailingZeros64(l))
			term(1, y)
			binary = append(binary, y)
		}
		row("<=", float64(p.MaxLots))
		for i := range p.Beds {
			for w := range allot.Windows {
				for l := all; l != 0; l &= l - 1 {
					lot := bits.TrailingZeros64(l)
					begin()
					for c := range n {
						if open(i, w, c) && lotsOf(p, c)>>lot&1 != 0 {
							term(1, x(i, w, c))
						}
					}
					term(-1, fmt.Sprintf("y_%d", lot))
					row("<=", 0)
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

// model writes the problem to a file of its own.
func model(t testing.TB, p allot.Problem) string {
	path := filepath.Join(t.TempDir(), "m.lp")
	require.NoError(t, os.WriteFile(path, asLP(p), 0o600))
	return path
}

var cbcValue = regexp.MustCompile(`Result - Optimal solution found\s+Objective value:\s+(-?[0-9.]+)`)

// cbc returns the best value by CBC, -Inf where it finds that there is no plan,
// and the seconds that it took.
func cbc(t testing.TB, path string) (value, seconds float64) {
	begin := time.Now()
	out, err := exec.Command("cbc", path, "-ratioGap", "0", "-allowableGap", "0", "-solve").CombinedOutput()
	require.NoError(t, err, "%s", out)
	seconds = time.Since(begin).Seconds()
	if bytes.Contains(out, []byte("nfeasible")) && !cbcValue.Match(out) {
		return math.Inf(-1), seconds
	}
	m := cbcValue.FindSubmatch(out)
	require.NotNil(t, m, "%s", out)
	value, err = strconv.ParseFloat(string(m[1]), 64)
	require.NoError(t, err)
	return value, seconds
}

var glpkValue = regexp.MustCompile(`(?m)^s mip \d+ \d+ (\w) (\S+)`)

// glpk returns the best value by GLPK, -Inf where it finds that there is no plan.
func glpk(t testing.TB, path string) float64 {
	out, err := exec.Command("glpsol", "--lp", path, "--mipgap", "0", "-w", path+".sol").CombinedOutput()
	require.NoError(t, err, "%s", out)
	if bytes.Contains(out, []byte("NO PRIMAL FEASIBLE SOLUTION")) || bytes.Contains(out, []byte("NO INTEGER FEASIBLE SOLUTION")) {
		return math.Inf(-1)
	}
	text, err := os.ReadFile(path + ".sol")
	require.NoError(t, err)
	m := glpkValue.FindSubmatch(text)
	require.NotNil(t, m, "%s", text)
	require.Equal(t, "o", string(m[1]), "%s", out)
	value, err := strconv.ParseFloat(string(m[2]), 64)
	require.NoError(t, err)
	return value
}

// Two solvers of integer programmes find the same best value.
func TestSolve_OtherSolvers(t *testing.T) {
	for _, program := range []string{"cbc", "glpsol"} {
		if _, err := exec.LookPath(program); err != nil {
			t.Skipf("%s is not installed: nothing to compare with", program)
		}
	}
	for seed := range uint64(54) {
		t.Run(strconv.Itoa(int(seed)), func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewPCG(seed, 5))
			beds, covers := 4+rng.IntN(9), 3+rng.IntN(4)
			var p allot.Problem
			switch seed % 3 {
			case 0:
				p = instance(rng, beds, covers, true)
			case 1:
				p = coarse(rng, beds/2+2, covers, true) // many ties take them long
			case 2:
				p = mixed(rng, beds, covers)
			}
			path := model(t, p)
			want, _ := cbc(t, path)
			if math.IsInf(want, -1) {
				require.Equal(t, want, glpk(t, path), "CBC and GLPK")
			} else {
				require.InDelta(t, want, glpk(t, path), 1e-5, "CBC and GLPK")
			}
			got, err := allot.Solve(background, p, allot.Options{})
			if math.IsInf(want, -1) {
				require.ErrorIs(t, err, allot.ErrImpossible)
				return
			}
			require.NoError(t, err)
			checkPlan(t, p, got)
			require.True(t, got.Proved)
			require.InDelta(t, want, got.Value, 1e-5)
		})
	}
}
