package store

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// WriteCounts writes every single count as CSV, visit by visit: the number of
// the visit's record, the unit and its count, an empty cell where the unit was
// not looked at. Voided visits are among them. Little is held in memory.
func (t *Tx) WriteCounts(w io.Writer) error {
	out := bufio.NewWriterSize(w, 1<<16)
	out.WriteString("visit,unit,count\r\n")
	// One row a count would cost three times as much as one a visit.
	err := t.each(func(scan func(dest ...any) error) error {
		var id, units, last int64
		var counts string
		if err := scan(&id, &units, &last, &counts); err != nil {
			return err
		}
		if units != last {
			return damaged(t.s.path, fmt.Errorf("visit %d has %d units, the last of them number %d", id, units, last))
		}
		visit := strconv.FormatInt(id, 10)
		var line []byte
		unit := int64(0)
		for count := range strings.SplitSeq(counts, " ") {
			unit++
			line = append(append(line[:0], visit...), ',')
			line = append(strconv.AppendInt(line, unit, 10), ',')
			line = append(append(line, count...), '\r', '\n')
			if _, err := out.Write(line); err != nil {
				return err
			}
		}
		return nil
	}, `SELECT visit_id, count(*), max(seq), group_concat(ifnull(count, ''), ' ')
FROM (SELECT visit_id, seq, count FROM unit_count ORDER BY visit_id, seq) GROUP BY visit_id`)
	if err != nil {
		return err
	}
	return out.Flush()
}

// each reads row after row, and ends at an error of f.
func (t *Tx) each(f func(scan func(dest ...any) error) error, query string, args ...any) error {
	if err := t.flush(); err != nil {
		return err
	}
	if err := t.before(query, args...); err != nil {
		return t.fail("read", err)
	}
	rows, err := t.tx.QueryContext(t.ctx, query, args...)
	if err != nil {
		return t.fail("read", err)
	}
	defer rows.Close()
	for rows.Next() {
		if err := f(rows.Scan); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil {
		return t.fail("read", err)
	}
	return nil
}
