package workbook

import (
	"bytes"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leafturn/internal/civil"
)

// made writes a book and opens it again.
func made(t *testing.T, rows int, f func(b *Book)) *excelize.File {
	t.Helper()
	b, err := New()
	require.NoError(t, err)
	defer b.Close()
	if rows > 0 {
		b.rows = rows
	}
	f(b)
	var out bytes.Buffer
	_, err = b.WriteTo(&out)
	require.NoError(t, err)
	book, err := excelize.OpenReader(&out)
	require.NoError(t, err)
	t.Cleanup(func() { _ = book.Close() })
	return book
}

// Values keep their types, and no text becomes a formula.
func TestRow(t *testing.T) {
	values := []any{"=1+1", "+1", "-1", "@x", "0012", int64(-3), -2.5, true, civil.MustParse("2026-07-13"), time.Date(2026, 7, 13, 18, 30, 5, 0, time.UTC), nil, civil.MustParse("1850-01-02")}
	book := made(t, 0, func(b *Book) {
		cols := make([]Column, len(values))
		for i := range cols {
			cols[i] = Column{"C", 12}
		}
		s, err := b.Sheet("One", cols)
		require.NoError(t, err)
		require.NoError(t, s.Row(values...))
		parts, err := s.End()
		require.NoError(t, err)
		require.Equal(t, 1, parts)
		require.Equal(t, int64(1), s.Rows)
	})
	rows, err := book.GetRows("One")
	require.NoError(t, err)
	require.Equal(t, []string{"=1+1", "+1", "-1", "@x", "0012", "-3", "-2.5", "TRUE", "2026-07-13", "2026-07-13 18:30", "", "1850-01-02"}, rows[1])
	raw, err := book.GetRows("One", excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	// 46216 days from 1899-12-30 to 2026-07-13: 126 years of 365 days and 31
	// leap days (1904 to 2024) from 1900-01-01, which is day 2, to 2026-01-01,
	// and 193 days to 13 July: 2 + 45990 + 31 + 193.
	require.Equal(t, "46216", raw[1][8])
	for i := range values {
		at, err := excelize.CoordinatesToCellName(i+1, 2)
		require.NoError(t, err)
		f, err := book.GetCellFormula("One", at)
		require.NoError(t, err)
		require.Empty(t, f)
	}
	panes, err := book.GetPanes("One")
	require.NoError(t, err)
	require.True(t, panes.Freeze)
	require.Equal(t, 1, panes.YSplit)
}

// What is longer than a sheet goes on in the next, with its header.
func TestSheet_GoesOn(t *testing.T) {
	book := made(t, 4, func(b *Book) {
		s, err := b.Sheet("Counts", []Column{{"Count", 9}})
		require.NoError(t, err)
		for i := range 7 {
			require.NoError(t, s.Row(int64(i)))
		}
		parts, err := s.End()
		require.NoError(t, err)
		require.Equal(t, 3, parts)
		require.Equal(t, int64(7), s.Rows)
	})
	require.Equal(t, []string{"Counts", "Counts 2", "Counts 3"}, book.GetSheetList())
	var all []string
	for _, name := range book.GetSheetList() {
		rows, err := book.GetRows(name)
		require.NoError(t, err)
		require.LessOrEqual(t, len(rows), 4)
		require.Equal(t, "Count", rows[0][0])
		for _, r := range rows[1:] {
			all = append(all, r[0])
		}
	}
	require.Equal(t, strings.Split("0123456", ""), all)
}

// A text is cut at the length that a cell takes, counted as a spreadsheet does,
// never within a letter.
func TestFit(t *testing.T) {
	for _, letter := range []string{"x", "é", "畑", "🐌"} {
		one := len(utf16.Encode([]rune(letter)))
		b := &Book{}
		whole := strings.Repeat(letter, MaxCell/one)
		require.Equal(t, whole, b.fit(whole))
		require.Zero(t, b.Cut)
		long := whole + letter
		got := b.fit(long)
		require.Equal(t, 1, b.Cut)
		require.LessOrEqual(t, len(utf16.Encode([]rune(got))), MaxCell)
		require.Greater(t, len(utf16.Encode([]rune(got))), MaxCell-3)
		require.True(t, strings.HasSuffix(got, "…") && strings.HasPrefix(long, strings.TrimSuffix(got, "…")))
	}
}
