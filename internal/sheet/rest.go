package sheet

import (
	"encoding/csv"
	"io"
	"slices"
	"strconv"

	"leafturn/internal/record"
)

// The headings that WriteRest adds; a sheet that has them is read without them.
const (
	rowHead     = "row in the first file"
	problemHead = "problem"
)

// storedWord stands in a rest file for a count that is in order and stored.
const storedWord = "stored"

// WriteRest writes the headings of a sheet and the rows that are to be
// corrected, each with its number and its reasons, as CSV in UTF-8 with the
// sheet's own separator, so that it can be corrected and imported again.
// Of a row with several visits, the counts of those that were stored are
// written as "stored". Cells
// that a spreadsheet would run get an apostrophe in front, which is taken off
// on the way back.
func WriteRest(w io.Writer, s *Source, m Map, res *Result) (int, error) {
	src, format, err := s.open(m)
	if err != nil {
		return 0, err
	}
	defer src.close()
	if _, err := io.WriteString(w, "\uFEFF"); err != nil { // by which spreadsheets know UTF-8
		return 0, err
	}
	out := csv.NewWriter(w)
	if format.Separator != 0 {
		out.Comma = format.Separator
	}
	skip := map[int]bool{}
	first := -1 // the column with the numbers of the rows, where this is a rest file itself
	for i, h := range res.cells {
		p := plainHead(h)
		if skip[i] = p == rowHead || p == problemHead; p == rowHead {
			first = i
		}
	}
	width := len(fill(res.cells))
	write := func(cells []string, more ...string) error {
		var line []string
		for i := range width {
			if skip[i] {
				continue
			}
			c := ""
			if i < len(cells) {
				c = cells[i]
			}
			line = append(line, record.Guard(c))
		}
		for _, c := range more {
			line = append(line, record.Guard(c))
		}
		return out.Write(line)
	}
	if err := write(res.cells[:width], rowHead, problemHead); err != nil {
		return 0, err
	}
	n := 0
	for {
		row, err := src.next()
		if err == io.EOF {
			break
		}
		if err != nil {
			if row.N > 0 {
				continue
			}
			return n, err
		}
		x := res.Rest[row.N]
		if x == nil {
			continue
		}
		n++
		cells, why := row.Cells, x.Why
		if !x.all {
			cells = slices.Clone(cells)
			for _, c := range res.Columns {
				if (c.Role == Count || c.Role == Infested || c.Role == Looked) && c.Col <= len(cells) && tidy(cells[c.Col-1]) != "" && !slices.Contains(x.groups, c.group) {
					cells[c.Col-1] = storedWord
				}
			}
		}
		if len(fill(cells)) > width {
			why += "; what stood beyond the headings is left out here: see the row in the first file"
		}
		number := strconv.Itoa(row.N)
		if first >= 0 && first < len(row.Cells) && tidy(row.Cells[first]) != "" {
			number = row.Cells[first]
		}
		if err := write(cells, number, why); err != nil {
			return n, err
		}
	}
	out.Flush()
	return n, out.Error()
}
