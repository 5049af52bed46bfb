package cli_test

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A round of more sheets than a clipboard holds says how to get fewer.
func TestPrintRound_ManySheets(t *testing.T) {
	f := newField(t, "2026-07-20T18:00:00Z")
	f.run("farm", "new", "--name", "Long field (invented)", "--zone", "Europe/London", "--last-frost", "04-25", "--first-frost", "10-20", "--pests", "slug,mite")
	beds, counts := "code,length_m,width_m,plants\n", "date 2026-07-13\n"
	for i := range 70 {
		beds += fmt.Sprintf("K%02d,25,1.2,100\n", i)
		counts += fmt.Sprintf("K%02d mite 4 5 6 5 4 5 6 5 4 5 foliage=dry\n", i)
	}
	write := func(name, text string) string {
		path := filepath.Join(f.dir, name)
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		return path
	}
	f.run("bed", "import", write("beds.csv", beds))
	codes := regexp.MustCompile(`K\d\d`).FindAllString(beds, -1)
	f.run(append(append([]string{"stage", "budding"}, codes...), "--date", "2026-07-01")...)
	f.run("count", "--file", write("notes.txt", counts))
	file := filepath.Join(f.dir, "round.pdf")
	code, out, errs := f.try("print", "round", "--out", file)
	require.Zero(t, code, errs)
	require.Contains(t, out, "printed: ")
	words := strings.Join(strings.Fields(errs), " ")
	require.Regexp(t, `\d\d sheets; for fewer give the time that there is with --minutes`, words)
	require.Contains(t, words, "--compact")
	sheets := func() int {
		raw, err := os.ReadFile(file)
		require.NoError(t, err)
		return len(regexp.MustCompile(`/Type /Page\b`).FindAll(raw, -1))
	}
	full := sheets()
	_, _, errs = f.try("print", "round", "--compact", "--out", file)
	require.NotContains(t, errs, "--compact")
	require.Less(t, sheets(), full)
	_, _, errs = f.try("print", "round", "--minutes", "60", "--out", file)
	require.Empty(t, errs)
	require.LessOrEqual(t, sheets(), 12)
}
