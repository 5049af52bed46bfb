package record_test

import (
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/record"
)

// A text keeps its letters exactly, and no cell begins with what a spreadsheet
// runs, also behind blanks.
func TestText(t *testing.T) {
	for in, want := range map[string]string{
		"": "", "plain": "plain", "=1": "'=1", "-3": "'-3", "+7": "'+7", "@x": "'@x", "\tx": "'\tx", "\rx": "'\rx", "\nx": "'\nx",
		" =1": "' =1", "\u00a0=1": "'\u00a0=1", "＝1": "'＝1", "'=1": "''=1", "' =1": "'' =1", "'": "'", "''": "''", "'tis": "'tis", "a\r\nb": "a\r\nb", "\xff": "\xff",
	} {
		require.Equal(t, want, record.Text(in), "%q", in)
		require.Equal(t, in, record.FromText(want), "%q", in)
	}
	for _, s := range []string{"=1", " =1", "' =1"} { // the cells of `records --csv`
		require.True(t, strings.HasPrefix(record.Guard(s), "'"))
		require.Equal(t, s, record.Plain(record.Guard(s)))
	}
}

func all(r *record.Reader) (rows [][]string, numbers []int, errs []string) {
	for {
		cells, row, err := r.Read()
		if err == io.EOF {
			return rows, numbers, errs
		}
		if err != nil {
			errs = append(errs, err.Error())
			continue
		}
		rows, numbers = append(rows, append([]string{}, cells...)), append(numbers, row)
	}
}

// RFC 4180, with LF for CRLF and a byte order mark tolerated.
func TestReader(t *testing.T) {
	rows, _, errs := all(record.NewReader(strings.NewReader("\ufeffa,\"b\r\nc\",\"say \"\"x\"\"\"\r\n,,\n\"\",\"\"\"\",z")))
	require.Empty(t, errs)
	require.Equal(t, [][]string{{"a", "b\r\nc", `say "x"`}, {"", "", ""}, {"", `"`, "z"}}, rows)
	rows, numbers, errs := all(record.NewReader(strings.NewReader("a,b\nx\"y,\"\n1,2\n\"p\"q,3\n4,5\n")))
	require.Equal(t, []string{`row 2, column 1: a quote in a cell that does not begin with one`, `row 4, column 1: text behind a quote that is closed`}, errs)
	require.Equal(t, [][]string{{"a", "b"}, {"1", "2"}, {"4", "5"}}, rows)
	require.Equal(t, []int{1, 3, 5}, numbers)
	_, _, errs = all(record.NewReader(strings.NewReader("a\n\"open,1\n2\n")))
	require.Equal(t, []string{"row 2, column 1: a quote that is not closed"}, errs)
	broken := errors.New("pulled out")
	_, _, err := record.NewReader(io.MultiReader(strings.NewReader("a,b"), &failing{broken})).Read()
	require.ErrorIs(t, err, broken)
}

type failing struct{ err error }

func (f *failing) Read([]byte) (int, error) { return 0, f.err }

// Whatever the cells hold, they come back, and none begins with what is run.
func FuzzExact(f *testing.F) {
	for _, s := range []string{"", "=1", "a\r\nb", "\r", "\n", "\"", ",", "' ", "\xff", "\ufeff"} {
		f.Add(s, "z")
	}
	f.Fuzz(func(t *testing.T, x, y string) {
		line := record.AppendCell(record.AppendCell(nil, record.Text(x)), "")
		line = append(record.AppendCell(append(line, ','), record.Text(y)), "\r\n"...)
		rows, _, errs := all(record.NewReader(strings.NewReader("h,i\r\n" + string(line))))
		require.Empty(t, errs)
		require.Equal(t, []string{x, y}, []string{record.FromText(rows[1][0]), record.FromText(rows[1][1])})
		for _, c := range rows[1] {
			if c = strings.TrimLeft(c, " "); c != "" && strings.ContainsAny(c[:1], "=+-@\t\r\n") {
				t.Fatalf("%q would be run", c)
			}
		}
	})
}

// Any bytes are read to their end, row by row.
func FuzzReader(f *testing.F) {
	for _, s := range []string{"", "\"", "a,b\r\n\"c\nd\",e", "\ufeff\"\"\"", "a\"b\n\n,\r", "\xff,\x00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		rows, numbers, errs := all(record.NewReader(strings.NewReader(s)))
		require.LessOrEqual(t, len(rows)+len(errs), strings.Count(s, "\n")+1)
		for i := 1; i < len(numbers); i++ {
			require.Greater(t, numbers[i], numbers[i-1])
		}
	})
}
