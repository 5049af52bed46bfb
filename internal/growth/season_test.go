package growth_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/growth"
)

// The rule of 14 hours and 15 °C (common practice), and DYN-19's 13 hours.
func TestMiteRest(t *testing.T) {
	nan := math.NaN()
	for _, x := range []struct {
		hours, night, critical, cold float64
		want                         growth.Answer
	}{
		{13, 12, 14, 15, growth.Yes},
		{13, 12, 12.5, 15, growth.No}, // DYN-19: the kanzawai strain of Hokkaido goes at 12.5 h
		{14, 12, 14, 15, growth.No},   // not under 14
		{13, 15, 14, 15, growth.No},   // not under 15
		{16, nan, 14, 15, growth.No},
		{nan, 18, 14, 15, growth.No},
		{13, nan, 14, 15, growth.Unknown},
		{nan, 12, 14, 15, growth.Unknown},
		{13, 12, 14, nan, growth.Unknown},
	} {
		require.Equal(t, x.want, growth.MiteRest(x.hours, x.night, x.critical, x.cold), "%+v", x)
	}
}

// Bait counts are valid at soil of 8 °C or more, and moist (common practice).
func TestSoilBait(t *testing.T) {
	yes, no := true, false
	nan := math.NaN()
	for _, x := range []struct {
		soil  float64
		moist *bool
		want  growth.Answer
	}{
		{8, &yes, growth.Yes}, {7.9, &yes, growth.No}, {12, &no, growth.No}, {nan, &no, growth.No},
		{6, nil, growth.No}, {12, nil, growth.Unknown}, {nan, &yes, growth.Unknown}, {nan, nil, growth.Unknown},
	} {
		require.Equal(t, x.want, growth.SoilBait(x.soil, x.moist, 8), "%+v", x)
	}
}
