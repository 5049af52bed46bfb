package sheet_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/sheet"
)

// Rows that are alike are read as any others: the same sheet with an empty
// column of notes, in which no row is taken for being like another, gives the
// same visits, faults and numbers.
func TestRowsAlike(t *testing.T) {
	plainDir, wideDir := t.TempDir(), t.TempDir()
	heads := map[string][]string{
		"bed": beds[:2], "pest": {"slug", "slug", "slug", "mite"}, "date": {"2026-07-06", "2026-07-06", "2026-07-13", "soon"},
		"trap": {"1", "2", "3", "4", "0", "1000", "x", "07", ""}, "count": {"0", "1", "2", "12", "-", "", ">50", "3x", "99999", "100000", " 4", "Total"},
		"where": {"random", "random", "edge"}, "ignored": {"", "", "b"},
	}
	rng := rand.New(rand.NewPCG(3, 3))
	from := func(words []string) string { return words[rng.IntN(len(words))] }
	alike := 0
	for n := range 1500 {
		var cols []string
		for c := range heads {
			if rng.IntN(3) > 0 || slices.Contains([]string{"bed", "pest", "date", "count"}, c) {
				cols = append(cols, c)
			}
		}
		slices.Sort(cols)
		rng.Shuffle(len(cols), func(i, j int) { cols[i], cols[j] = cols[j], cols[i] })
		rows := [][]string{cols}
		last := make([]string, len(cols))
		for i, c := range cols {
			last[i] = heads[c][0]
		}
		for k := range 1 + rng.IntN(25) {
			row := slices.Clone(last)
			for i, c := range cols {
				switch {
				case c == "trap" && rng.IntN(8) > 0:
					row[i] = fmt.Sprint(k + 1)
				case c == "count" && rng.IntN(8) > 0:
					row[i] = fmt.Sprint(rng.IntN(20))
				case c == "trap" || c == "count" || rng.IntN(25) == 0:
					row[i] = from(heads[c])
				}
			}
			switch rng.IntN(60) {
			case 0:
				row = slices.Clone(cols)
			case 1:
				row[0] = "Total"
			case 2:
				row = make([]string, len(cols))
			case 3:
				rows = append(rows, row)
			}
			if rows = append(rows, row); row[0] != "Total" && row[0] != cols[0] && row[0] != "" {
				if row[0] == last[0] {
					alike++
				}
				last = row
			}
		}
		wide := make([][]string, len(rows))
		for i, r := range rows {
			note := ""
			if slices.Equal(r, cols) {
				note = "note"
			}
			wide[i] = append(slices.Clone(r), note)
		}
		m := sheet.Map{Columns: map[string]string{"ignored": "ignore"}}
		if !slices.Contains(cols, "ignored") {
			m = sheet.Map{}
		}
		said := func(dir string, rows [][]string) string {
			visits, res, err := read(write(t, dir, "x.csv", rows), m)
			require.NoError(t, err)
			all := told(visits, res)
			if at := strings.Index(all, "\n{Rows"); at >= 0 { // before it stand the columns
				all = all[at:]
			}
			return strings.ReplaceAll(all, ` column "note"`, "")
		}
		a, b := said(plainDir, rows), said(wideDir, wide)
		require.Equal(t, b, a, "sheet %d: %v", n, rows)
	}
	require.Greater(t, alike, 5000)
}
