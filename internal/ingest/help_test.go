package ingest_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/ingest"
)

// names is an invented farm with a small invented catalogue.
type names struct{}

var (
	bedCodes = []string{"B1", "B2", "B3", "B4", "North-1"}
	pestKeys = map[string]string{"slug": "slug", "slugs": "slug", "mite": "mite", "spider_mite": "mite", "earwig": "earwig", "cutworm": "cutworm"}
	enemies  = map[string]string{"predatory_mite": "predatory_mite", "ladybird": "ladybird", "lady_beetle": "ladybird"}
	unitKeys = map[string]map[string]string{
		"slug":   {"": "trap", "trap": "trap", "board": "trap", "quadrat": "quadrat"},
		"mite":   {"": "leaf", "leaf": "leaf"},
		"earwig": {"": "shelter", "shelter": "shelter"},
		// cutworm has no usual unit
		"cutworm": {"plant": "plant"},
	}
)

func find(m map[string]string, w string) (string, bool) {
	k, ok := m[strings.ToLower(w)]
	return k, ok
}

func keys(m map[string]string) (out []string) {
	for k := range m {
		if k != "" {
			out = append(out, k)
		}
	}
	return out
}

func (names) Bed(w string) (string, bool) {
	for _, c := range bedCodes {
		if strings.EqualFold(c, w) {
			return c, true
		}
	}
	return "", false
}
func (names) BedCodes() []string                 { return bedCodes }
func (names) Pest(w string) (string, bool)       { return find(pestKeys, w) }
func (names) PestWords() []string                { return keys(pestKeys) }
func (names) Unit(pest, w string) (string, bool) { return find(unitKeys[pest], w) }
func (names) UnitWords(pest string) []string     { return keys(unitKeys[pest]) }
func (names) Enemy(w string) (string, bool)      { return find(enemies, w) }
func (names) EnemyWords() []string               { return keys(enemies) }

var (
	today = civil.MustParse("2026-07-20")
	opt   = ingest.Options{Today: today, Date: today, Names: names{}}
)

// list returns the problems of err, one line each: place and what.
func list(t testing.TB, err error) []string {
	t.Helper()
	if err == nil {
		return nil
	}
	var l *diag.List
	require.True(t, errors.As(err, &l), "%T is no list", err)
	var out []string
	for _, p := range l.Problems {
		out = append(out, p.Place()+p.What)
	}
	return out
}

// does returns the advice of the problems.
func does(t testing.TB, err error) []string {
	t.Helper()
	var l *diag.List
	require.True(t, errors.As(err, &l), "%T is no list", err)
	var out []string
	for _, p := range l.Problems {
		out = append(out, p.Do)
	}
	return out
}

// inside fails unless every problem of err is placed inside the text.
func inside(t testing.TB, text string, err error) {
	t.Helper()
	if err == nil {
		return
	}
	var l *diag.List
	if !errors.As(err, &l) {
		t.Fatalf("%T is no list: %v", err, err)
	}
	text = strings.ReplaceAll(strings.ReplaceAll(strings.TrimPrefix(text, "\uFEFF"), "\r\n", "\n"), "\r", "\n")
	lines := strings.Split(text, "\n")
	for _, p := range l.Problems {
		if p.What == "" {
			t.Fatalf("a problem without words: %+v", p)
		}
		if p.Row == 0 && p.Col == 0 {
			continue
		}
		if p.Row < 1 || p.Row > len(lines) || p.Col < 1 || p.Col > len([]rune(lines[p.Row-1]))+1 {
			t.Fatalf("%v lies outside the text of %d lines", p, len(lines))
		}
	}
}

type failing struct{}

func (failing) Read([]byte) (int, error) { return 0, fmt.Errorf("disk gone") }

func drawText(t *rapid.T, label string) string {
	s := rapid.StringMatching(`[A-Za-z0-9é"#=\\'%,;. -]{0,30}`).Draw(t, label)
	return strings.Join(strings.Fields(s), " ")
}

func mustZone(t testing.TB, name string) *time.Location {
	loc, err := time.LoadLocation(name)
	require.NoError(t, err)
	return loc
}
