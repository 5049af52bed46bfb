package cover_test

import (
	"errors"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/cover"
	"leafturn/internal/diag"
)

// Dates that the planning table prints for its reference site, and the last
// sowing days of its worked example.
func TestSowWindows_ReferenceSite(t *testing.T) {
	for _, c := range []struct{ rel, want string }{
		{"FF-45..FF+21", "2026-09-05..2026-11-10"},
		{"LF-60..LF-20", "2026-02-24..2026-04-05"}, // oats: window 24 Feb-5 Apr
		{"LF+15..FF-65", "2026-05-10..2026-08-16"}, // buckwheat: last sowing 16 Aug
		{"FF-60..FF-42", "2026-08-21..2026-09-08"}, // crimson clover: ends 8 Sep
		{"FF-40..FF+12|LF-60..LF-25", "2026-09-10..2026-11-01 2026-02-24..2026-03-31"},
		{"FF..FF+0", "2026-10-20..2026-10-20"},
		{" LF+30 .. LF+75 ", "2026-05-25..2026-07-09"},
	} {
		ws, err := cover.SowWindows(c.rel, lastFrost, firstFrost, 2026)
		require.NoError(t, err, c.rel)
		var got []string
		for _, w := range ws {
			got = append(got, w.From.String()+".."+w.To.String())
		}
		require.Equal(t, c.want, strings.Join(got, " "), c.rel)
	}
}

// A leap day moves dates counted across February.
func TestSowWindows_LeapYear(t *testing.T) {
	ws, err := cover.SowWindows("LF-60..LF-20", lastFrost, firstFrost, 2028)
	require.NoError(t, err)
	require.Equal(t, "2028-02-25", ws[0].From.String())
}

func TestSowWindows_Southern(t *testing.T) {
	lf, ff := civil.MonthDay{Month: time.October, Day: 10}, civil.MonthDay{Month: time.April, Day: 30}
	ws, err := cover.SowWindows("LF+15..FF-65", lf, ff, 2026)
	require.NoError(t, err)
	require.Equal(t, "2026-10-25", ws[0].From.String())
	require.Equal(t, "2027-02-24", ws[0].To.String())
}

func TestSowWindows_EveryCrop(t *testing.T) {
	for id, c := range crops(t) {
		ws, err := cover.SowWindows(c.SowRel, lastFrost, firstFrost, 2026)
		require.NoError(t, err, id)
		for _, w := range ws {
			require.Contains(t, c.SowRel, w.Text, id)
		}
	}
}

func TestSowWindows_Refuses(t *testing.T) {
	none := civil.MonthDay{}
	for _, c := range []struct {
		rel    string
		lf, ff civil.MonthDay
		col    int
		is     error
	}{
		{"", lastFrost, firstFrost, 1, cover.ErrSyntax},
		{"FF-45", lastFrost, firstFrost, 1, cover.ErrSyntax},
		{"FF-45..XX+2", lastFrost, firstFrost, 8, cover.ErrSyntax},
		{"FF-45..FF+2x", lastFrost, firstFrost, 12, cover.ErrSyntax},
		{"FF-45..FF+2|", lastFrost, firstFrost, 13, cover.ErrSyntax},
		{"FF-45..FF+2|LF-3..LFé", lastFrost, firstFrost, 21, cover.ErrSyntax},
		{"FF-45..FF2", lastFrost, firstFrost, 10, cover.ErrSyntax},
		{"FF-45..FF+", lastFrost, firstFrost, 10, cover.ErrSyntax},
		{"FF-45..FF+367", lastFrost, firstFrost, 10, cover.ErrSyntax},
		{"FF-45..FF+9999", lastFrost, firstFrost, 10, cover.ErrSyntax},
		{"ff-45..ff+2", lastFrost, firstFrost, 1, cover.ErrSyntax},
		{"FF+21..FF-45", lastFrost, firstFrost, 1, cover.ErrOrder},
		{"FF-45..LF+2", lastFrost, firstFrost, 1, cover.ErrOrder},
		{"LF-60..LF-20", none, firstFrost, 1, cover.ErrFrost},
		{"LF+15..FF-65", lastFrost, none, 8, cover.ErrFrost},
	} {
		_, err := cover.SowWindows(c.rel, c.lf, c.ff, 2026)
		require.ErrorIs(t, err, c.is, c.rel)
		var p *diag.Problem
		require.ErrorAs(t, err, &p, c.rel)
		require.Equal(t, c.col, p.Col, c.rel)
		require.NotEmpty(t, p.Do, c.rel)
	}
	_, err := cover.SowWindows("FF..FF", lastFrost, firstFrost, 0)
	require.ErrorIs(t, err, cover.ErrSyntax)
	// A frost date that the text does not use may be unknown.
	_, err = cover.SowWindows("FF-45..FF+21", none, firstFrost, 2026)
	require.NoError(t, err)
}

// Accepted text round-trips through Window.Text, windows are in order and no
// longer than two offsets and a year; a refusal points into the text.
func FuzzSowWindows(f *testing.F) {
	for _, s := range []string{"FF-45..FF+21|LF-60..LF-20", "LF+15..FF-65", "FF..LF", "|", "..", "FF-..FF+", "LF-366..FF+366", "FF-é..FF+1", "FF+1..FF-1", " FF .. FF "} {
		f.Add(s, 4, 25, 10, 20, 2026)
	}
	f.Add("LF+15..FF-65", 10, 10, 4, 30, 2027)
	f.Fuzz(func(t *testing.T, rel string, lm, ld, fm, fd, year int) {
		md := func(m, d int) civil.MonthDay {
			return civil.MonthDay{Month: time.Month(1 + (m%12+12)%12), Day: 1 + (d%28+28)%28}
		}
		lf, ff := md(lm, ld), md(fm, fd)
		ws, err := cover.SowWindows(rel, lf, ff, year)
		if err != nil {
			var p *diag.Problem
			if !errors.As(err, &p) {
				t.Fatalf("%T is not a problem", err)
			}
			if p.Col < 0 || p.Col > utf8.RuneCountInString(rel)+1 {
				t.Fatalf("column %d outside %q", p.Col, rel)
			}
			return
		}
		if len(ws) != strings.Count(rel, "|")+1 {
			t.Fatalf("%d windows from %q", len(ws), rel)
		}
		var text []string
		for _, w := range ws {
			if w.To.Before(w.From) || w.To.Sub(w.From) > 3*366 {
				t.Fatalf("window %v", w)
			}
			text = append(text, w.Text)
		}
		again, err := cover.SowWindows(strings.Join(text, "|"), lf, ff, year)
		if err != nil {
			t.Fatalf("%q does not read back: %v", text, err)
		}
		for i := range ws {
			if ws[i] != again[i] {
				t.Fatalf("%v became %v", ws[i], again[i])
			}
		}
	})
}
