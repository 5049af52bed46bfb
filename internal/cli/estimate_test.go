package cli_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The presence cases and the bounds of nothing found, through `estimate`.
func TestEstimate_MethodCases(t *testing.T) {
	f, cases := newField(t, "2026-06-15T18:00:00Z"), methodCases(t)
	type presence struct {
		WilsonLow  float64 `json:"wilson95_low"`
		WilsonHigh float64 `json:"wilson95_high"`
		ExactLow   float64 `json:"exact95_low"`
		ExactHigh  float64 `json:"exact95_high"`
		Mean       float64 `json:"mean_zero_term"`
		Low        float64 `json:"mean_zero_term95_low"`
		High       float64 `json:"mean_zero_term95_high"`
		K          float64 `json:"k"`
		Random     float64 `json:"mean_if_at_random"`
		Clumped    float64 `json:"mean_if_k_0_3"`
	}
	var got struct {
		Presence *presence `json:"presence"`
		BCaLow   float64   `json:"mean_bca95_low"`
		BCaHigh  float64   `json:"mean_bca95_high"`
		Zero     float64   `json:"none_found_upper95_poisson"`
		ZeroNB   float64   `json:"none_found_upper95_clumped"`
		ZeroK    float64   `json:"none_found_k"`
	}
	c := cases["CI-03"]
	var wl, wh, el, eh []float64
	for _, s := range []string{"81/263", "15/148", "0/20", "1/29"} {
		f.data(&got, "estimate", "--counts", s)
		p := got.Presence
		wl, wh, el, eh = append(wl, p.WilsonLow), append(wh, p.WilsonHigh), append(el, p.ExactLow), append(eh, p.ExactHigh)
	}
	c.holds(t, "wilson_lower", wl...)
	c.holds(t, "wilson_upper", wh...)
	c.holds(t, "cp_lower", el...)
	c.holds(t, "cp_upper", eh...)

	// PA-01 backwards: at the share that the case gives for a mean of 1 at
	// k 0.3 (0.3559) and at random (0.6321) the command finds that mean again.
	f.data(&got, "estimate", "--counts", "3559/10000")
	require.InDelta(t, 1, got.Presence.Clumped, 2e-4)
	f.data(&got, "estimate", "--counts", "6321/10000")
	require.InDelta(t, 1, got.Presence.Random, 2e-4)
	// PA-03 backwards: spider mites by a 3.30, b 1.49: a share of 0.404942 is 1 a leaf.
	f.data(&got, "estimate", "--counts", "4049/10000", "--pest", "mite")
	require.InDelta(t, 1, got.Presence.Mean, 3e-4)
	require.Less(t, got.Presence.Low, 1.0)
	require.Greater(t, got.Presence.High, 1.0)

	// CI-06: the exact bootstrap.
	c = cases["CI-06"]
	f.data(&got, "estimate", "--counts", "2", "0", "5", "1", "9", "0", "3", "0", "14", "1", "4", "2")
	c.holds(t, "bca", got.BCaLow, got.BCaHigh)

	// CI-02: nothing on 20 units. With slugs (k 0.8) the formula of the case.
	c = cases["CI-02"]
	f.data(&got, "estimate", "--counts", "20*0", "--pest", "slug")
	c.holds(t, "upper_poisson", got.Zero)
	require.InEpsilon(t, got.ZeroK*(math.Pow(0.05, -1/(20*got.ZeroK))-1), got.ZeroNB, 1e-9)
	require.Greater(t, got.ZeroNB, got.Zero)
	// With Taylor's law the k is that of the law at the limit itself.
	f.data(&got, "estimate", "--counts", "20*0", "--pest", "mite")
	m := got.ZeroNB
	require.InEpsilon(t, m*m/(3.30*math.Pow(m, 1.49)-m), got.ZeroK, 1e-6)
	require.InEpsilon(t, got.ZeroK*(math.Pow(0.05, -1/(20*got.ZeroK))-1), m, 1e-6)
}

// A visit's interval with clumping from outside is the one that `why` gives,
// for counts and for counts with a presence sample.
func TestEstimate_AgreesWithWhy(t *testing.T) {
	f := newField(t, "2026-06-15T18:00:00Z")
	f.run("farm", "new", "--name", "Reference field", "--zone", "UTC", "--pests", "mite")
	for bed, sample := range map[string]string{"M1": "4 0 2 7 1 0 0 3 5 1 0 2 0 6 1 0 0 2 3 1", "M2": "1 0 2 0 0 1 12/50", "M3": "12/50"} {
		f.run("bed", "add", bed, "--size", "25 m x 1.2 m")
		f.run("stage", "planted", "--date", "2026-05-15", bed)
		f.run("stage", "emerged", "--date", "2026-06-01", bed)
		f.run(append([]string{"count", bed, "mite", "foliage=dry"}, strings.Fields(sample)...)...)
		var got struct {
			Mean *float64 `json:"mean"`
			Low  *float64 `json:"mean_outside_k95_low"`
			High *float64 `json:"mean_outside_k95_high"`
			Both *struct {
				Mean float64  `json:"mean"`
				Low  float64  `json:"low_95"`
				High *float64 `json:"high_95"`
			} `json:"counts_and_presence"`
			Presence *struct {
				Low  *float64 `json:"mean_zero_term95_low"`
				High *float64 `json:"mean_zero_term95_high"`
			} `json:"presence"`
		}
		var v verdict
		f.data(&got, "estimate", bed, "mite")
		f.data(&v, "why", bed, "mite")
		switch {
		case got.Both != nil:
			require.InEpsilon(t, *v.Value, got.Both.Mean, 1e-9, bed)
			require.InEpsilon(t, *v.Low, got.Both.Low, 1e-9, bed)
			require.InEpsilon(t, *v.High, *got.Both.High, 1e-9, bed)
		case got.Presence != nil:
			require.InEpsilon(t, *v.Low, *got.Presence.Low, 1e-9, bed)
			require.InEpsilon(t, *v.High, *got.Presence.High, 1e-9, bed)
		default:
			require.InEpsilon(t, *v.Value, *got.Mean, 1e-9, bed)
			require.InEpsilon(t, *v.Low, *got.Low, 1e-9, bed)
			require.InEpsilon(t, *v.High, *got.High, 1e-9, bed)
		}
	}
}
