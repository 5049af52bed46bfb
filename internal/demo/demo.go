// Package demo holds an invented season of an invented farm: its beds, weekly
// counts, weather, label copies of invented products, and a script of
// the commands that enter them. Nothing in it was ever measured.
//
// The counts were drawn from negative binomial distributions around invented
// densities, the weather from an invented climate; both stand here as files,
// as a grower would have them.
package demo

import (
	"bufio"
	"embed"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"leafturn/internal/civil"
)

//go:embed data
var files embed.FS

// Now is the instant at which the demo is played: after its season.
var Now = time.Date(2026, time.November, 10, 18, 0, 0, 0, time.UTC)

// Week is the day whose list the demo shows.
var Week = civil.New(2026, time.July, 20)

// InFolder begins a word of the script that names a file in the demo's folder.
const InFolder = "@/"

// Line is one command of the script.
type Line struct {
	Number int
	Words  []string
}

// Write writes the demo's files into dir.
func Write(dir string) error {
	root, err := fs.Sub(files, "data")
	if err != nil {
		return err
	}
	return fs.WalkDir(root, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		to := filepath.Join(dir, filepath.FromSlash(path))
		if d.IsDir() {
			return os.MkdirAll(to, 0o755)
		}
		data, err := fs.ReadFile(root, path)
		if err != nil {
			return err
		}
		return os.WriteFile(to, data, 0o644)
	})
}

// Script returns the commands that enter the season, in order.
func Script() ([]Line, error) {
	data, err := files.ReadFile("data/season.script")
	if err != nil {
		return nil, err
	}
	var out []Line
	sc := bufio.NewScanner(strings.NewReader(string(data)))
	for n := 1; sc.Scan(); n++ {
		text := strings.TrimSpace(sc.Text())
		if text == "" || text[0] == '#' {
			continue
		}
		words, err := Split(text)
		if err != nil {
			return nil, fmt.Errorf("demo script, line %d: %w", n, err)
		}
		out = append(out, Line{n, words})
	}
	return out, sc.Err()
}

// Split cuts a command line into words; double quotes hold words together.
func Split(s string) ([]string, error) {
	var words []string
	var w strings.Builder
	quoted, has := false, false
	for _, r := range s {
		switch {
		case r == '"':
			quoted, has = !quoted, true
		case r == ' ' && !quoted:
			if has {
				words = append(words, w.String())
				w.Reset()
				has = false
			}
		default:
			w.WriteRune(r)
			has = true
		}
	}
	if quoted {
		return nil, fmt.Errorf("a quote is not closed")
	}
	if has {
		words = append(words, w.String())
	}
	return words, nil
}
