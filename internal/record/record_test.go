package record_test

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/record"
)

// OWASP, CSV Injection: a cell that begins with one of = + - @, tab or
// carriage return may be run; an apostrophe in front stops it.
func TestGuard(t *testing.T) {
	for in, want := range map[string]string{
		"": "", "0": "0", "12.5": "12.5", "-3": "-3", "-3.5": "-3.5", "+7": "+7",
		"=1+1": "'=1+1", "+cmd": "'+cmd", "-2+3": "'-2+3", "@SUM(A1)": "'@SUM(A1)", "\tx": "'\tx", "\rx": "'\nx", "-": "'-",
		"'=1+1": "''=1+1", "'tis": "'tis", "a=b": "a=b", "\xff=": "\uFFFD=", "＝1+1": "'＝1+1", "＠x": "'＠x", "＋1": "'＋1", "－1": "'－1", "é=": "é=",
	} {
		require.Equal(t, want, record.Guard(in), "%q", in)
		if !strings.ContainsAny(in, "\r") && !strings.Contains(in, "\xff") {
			require.Equal(t, in, record.Plain(want), "%q", in)
		}
	}
	require.Equal(t, "'12", record.Plain("'12"), "Guard never wrote that apostrophe")
}

func TestCSV(t *testing.T) {
	got, err := record.CSV([]string{"a", "b"}, [][]string{{"x,\"y\"", ""}, {"two\r\nlines", "=1"}})
	require.NoError(t, err)
	require.Equal(t, "a,b\r\n\"x,\"\"y\"\"\",\r\n\"two\r\nlines\",'=1\r\n", string(got))
	_, err = record.CSV([]string{"a"}, [][]string{{"x", "y"}})
	require.ErrorContains(t, err, "row 1 has 2 cells for 1 columns")
}

// Whatever stands in a cell: encoding/csv reads the table back to the same
// values, and no cell of it begins with what a spreadsheet runs.
func FuzzCSV(f *testing.F) {
	for _, s := range []string{"", "=1", "''=", "a\r\nb", "\"", ",", "'", "-1", "-1-1", "\n", "é=", "\x00"} {
		f.Add(s, "z")
	}
	f.Fuzz(func(t *testing.T, x, y string) {
		raw, err := record.CSV([]string{"x", "y"}, [][]string{{x, y}})
		require.NoError(t, err)
		rows, err := csv.NewReader(bytes.NewReader(raw)).ReadAll()
		require.NoError(t, err)
		require.Len(t, rows, 2)
		for i, in := range []string{x, y} {
			want := strings.ReplaceAll(strings.ReplaceAll(strings.ToValidUTF8(in, "\uFFFD"), "\r\n", "\n"), "\r", "\n")
			require.Equal(t, want, record.Plain(rows[1][i]))
			if c := rows[1][i]; c != "" && strings.ContainsAny(c[:1], "=@\t\r\n") {
				t.Fatalf("%q would be run", c)
			}
		}
	})
}
