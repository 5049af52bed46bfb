package sheet_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/sheet"
)

// What stands where the number of a trap does and may be several traps: the count would
// be their sum, stored as that of one. Common practice.
func TestNumbersOfSeveralUnits(t *testing.T) {
	for number, several := range map[string]bool{
		"1-9": true, "1,2,3": true, "1+2+3": true, "1;2;3": true, "1 2": true, "1 and 2 and 3": true, "1-3 5": true,
		"1 to 4": true, "1 through 9": true, "1..4": true, "traps 1 to 4": true, "trap 1-4": true,
		"T1-T4": true, "T1 T2": true, "T1&T2": true, "T1, T2": true,
		"all": true, "several": true, "pooled": true, "rest": true, "4 traps": true, "4 leaves": true, "n=4": true, "3x": true,
		"1": false, "07": false, "T12": false, "trap 3": false, "#3": false, "3a": false, "north": false,
		"A1-1": false, "A2-T3": false, "1/4": false, "1 of 4": false, "rest area": false, "12 north": false, "x4": false,
	} {
		text := "date,bed,pest,trap,count\n2026-07-13,B3,slug,\"" + number + "\",12\n"
		_, res, err := read(put(t, "x.csv", text), sheet.Map{})
		require.NoError(t, err)
		if !several {
			require.Empty(t, res.Problems, number)
			continue
		}
		require.Len(t, res.Problems, 1, number)
		require.Contains(t, res.Problems[0].Diag().What, "may be several units", number)
	}
}
