package main_test

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/testkit"
)

// The memory of an import does not grow with its sheet: ten times as many rows
// take at most 11 MB more (6 to 7 as measured), which is what the caches of the store and the rhythm
// of the collector take up. (40 bytes held for each row would be more.)
func TestImportMemory(t *testing.T) {
	exe, empty, dir := built(t), sixtyBeds(t), t.TempDir()
	file := filepath.Join(dir, "counts.csv")
	peak := func(rows int) float64 {
		countRows(t, file, rows, false)
		least := 0.0
		for range 2 {
			mb := importPeak(t, exe, testkit.Fresh(t, empty, filepath.Join(dir, "farm.leafturn")), file)
			if least == 0 || mb < least {
				least = mb
			}
		}
		require.Positive(t, least)
		return least
	}
	few, many := peak(30_000), peak(300_000)
	t.Logf("30,000 rows: %.1f MB at most, 300,000: %.1f", few, many)
	require.Less(t, many, few+11)
}
