// Package record writes tables of records as CSV (RFC 4180) that a
// spreadsheet opens without running anything.
//
// Lines end in CRLF, text is UTF-8, and what is not known is an empty cell:
// a blank is never a zero. A cell that a spreadsheet would run as a formula
// gets an apostrophe in front (OWASP, CSV Injection); Plain takes it off
// again.
//
// Not here: what stands in a record.
package record

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strings"
	"unicode/utf8"

	"leafturn/internal/pattern"
)

// number is a plain number: it may begin with a sign and is no formula.
var number = pattern.New(`^[+-]?[0-9]+(\.[0-9]+)?$`)

// risky reports whether a spreadsheet might run a cell: it begins with = + - @,
// also in the wide forms of East Asian text, a tab or a line break, after any
// apostrophes and blanks.
func risky(s string) bool {
	first, _ := utf8.DecodeRuneInString(strings.TrimLeft(s, "' \u00a0\u3000"))
	return strings.ContainsRune("=+-@＝＋－＠\t\r\n", first)
}

// runs is risky for a cell that may hold a number, which no spreadsheet runs.
func runs(s string) bool {
	return risky(s) && !number().MatchString(strings.TrimLeft(s, "' "))
}

// Guard makes a cell harmless to a spreadsheet. Line breaks become single
// line feeds and what is no UTF-8 the replacement character, so that readers
// agree on the cell.
func Guard(s string) string {
	s = strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(strings.ToValidUTF8(s, "\uFFFD"))
	if runs(s) {
		return "'" + s
	}
	return s
}

// Plain undoes Guard's apostrophe.
func Plain(s string) string {
	if rest, ok := strings.CutPrefix(s, "'"); ok && runs(rest) {
		return rest
	}
	return s
}

// CSV writes a header and rows, each of the header's length.
func CSV(header []string, rows [][]string) ([]byte, error) {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.UseCRLF = true
	for i, row := range append([][]string{header}, rows...) {
		if len(row) != len(header) {
			return nil, fmt.Errorf("row %d has %d cells for %d columns", i, len(row), len(header))
		}
		safe := make([]string, len(row))
		for j, cell := range row {
			safe[j] = Guard(cell)
		}
		if err := w.Write(safe); err != nil {
			return nil, fmt.Errorf("write row %d: %w", i, err)
		}
	}
	w.Flush()
	if err := w.Error(); err != nil {
		return nil, fmt.Errorf("write table: %w", err)
	}
	return out.Bytes(), nil
}
