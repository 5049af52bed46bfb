package main_test

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/cli"
	"leafturn/internal/demo"
)

// readmeNow is the day on which the README's walk is taken.
var readmeNow = time.Date(2026, time.May, 25, 18, 0, 0, 0, time.UTC)

// TestReadmeWalk types the commands of the README's console blocks, in order,
// and compares what the program prints with what the README shows. With
// UPDATE_GOLDEN=1 it writes the README anew.
func TestReadmeWalk(t *testing.T) {
	const readme = "../../README.md"
	raw, err := os.ReadFile(readme)
	require.NoError(t, err)
	want, got := string(raw), ""
	t.Chdir(t.TempDir())

	env := map[string]string{}
	inBlock := false
	lines := strings.SplitAfter(want, "\n")
	for i := 0; i < len(lines); i++ {
		line := strings.TrimRight(lines[i], "\n")
		switch {
		case line == "```console":
			inBlock = true
		case line == "```":
			inBlock = false
		case inBlock && strings.HasPrefix(line, "$ "):
			got += lines[i]
			shown := ""
			for i+1 < len(lines) && !strings.HasPrefix(lines[i+1], "$ ") && lines[i+1] != "```\n" {
				i++
				shown += lines[i]
			}
			got += typed(t, env, strings.TrimPrefix(line, "$ "), shown)
			continue
		}
		got += lines[i]
	}
	require.False(t, inBlock, "a console block is not closed")
	if os.Getenv("UPDATE_GOLDEN") != "" && got != want {
		require.NoError(t, os.WriteFile(filepath.Join(origDir, readme), []byte(got), 0o644))
		return
	}
	require.Equal(t, want, got, "the README shows something else than the program prints; UPDATE_GOLDEN=1 rewrites it")
}

var origDir, _ = os.Getwd()

// typed runs one line of the walk and returns what it prints.
func typed(t *testing.T, env map[string]string, line, shown string) string {
	t.Helper()
	if kv, ok := strings.CutPrefix(line, "export "); ok {
		k, v, _ := strings.Cut(kv, "=")
		env[k] = v
		return ""
	}
	if name, ok := strings.CutPrefix(line, "cat "); ok {
		require.NoError(t, os.WriteFile(name, []byte(shown), 0o644))
		return shown
	}
	words, err := demo.Split(line)
	require.NoError(t, err)
	require.Equal(t, "leafturn", words[0], "the walk knows leafturn, cat and export only")
	var out bytes.Buffer
	cli.Main(context.Background(), words, cli.Streams{
		In: strings.NewReader(""), Out: &out, Err: &out,
		Now: func() time.Time { return readmeNow }, Getenv: func(k string) string { return env[k] },
	})
	return strings.TrimRight(out.String(), "\n") + "\n"
}
