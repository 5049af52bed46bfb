package render

import (
	"leafturn/internal/civil"
	"leafturn/internal/report"
)

// What follows serves the outputs that lay text out by themselves: paper and
// pages to read. A no-break space (U+00A0) stands where a line should not
// break.

// Sentence is a line in words, with its references as [1, 2].
func Sentence(l report.Line, asOf civil.Date) string { return hold(citedWords(l, asOf)) }

// DueWords says when an item is due, "" for no date and no condition.
func DueWords(d report.Due, asOf civil.Date) string { return hold(clean(dueWords(d, asOf))) }

// Grid is a table in words.
type Grid struct {
	Heads [][2]string // title and unit of each column
	Rows  [][]string
	Right []bool   // the column is set to the right
	Notes []string // "(a) reason" of the unknown cells that refer to it
}

// Cells words a table as Text does.
func Cells(t *report.Table, asOf civil.Date) Grid {
	p := printer{asOf: asOf}
	g := p.grid(t)
	return Grid{Heads: g.heads, Rows: g.rows, Right: g.right, Notes: g.notes}
}
