package store

import (
	"bufio"
	"fmt"
	"strconv"
	"strings"

	"leafturn/internal/record"
	"leafturn/internal/tables"
)

// writeCounts writes the single counts visit by visit, an empty cell where the
// unit was not looked at. One row a count would cost three times as much.
func (t *Tx) writeCounts(out *bufio.Writer, _ tables.Table, did func(int64)) error {
	var line, head []byte
	var rows, all int64
	err := t.each(func(scan func(dest ...any) error) error {
		var id, last int64
		var bed, date, pest, counts string
		if err := scan(&id, &bed, &date, &pest, &last, &counts); err != nil {
			return err
		}
		head = strconv.AppendInt(head[:0], id, 10)
		for _, cell := range []string{bed, date, pest} {
			head = record.AppendCell(append(head, ','), record.Text(cell))
		}
		head = append(head, ',')
		unit := int64(0)
		for more := true; more; {
			var count string
			count, counts, more = strings.Cut(counts, " ")
			unit++
			line = append(line[:0], head...)
			line = append(strconv.AppendInt(line, unit, 10), ',')
			line = append(append(line, count...), '\r', '\n')
			if _, err := out.Write(line); err != nil {
				return err
			}
		}
		if unit != last {
			return damaged(t.s.path, fmt.Errorf("visit %d has %d units, the last of them number %d", id, unit, last))
		}
		rows += unit
		did(unit)
		return nil
	}, `SELECT v.id, b.code, v.date, v.pest, (SELECT max(seq) FROM unit_count WHERE visit_id = v.id),
iif(v.n = v.units, (SELECT group_concat(count, ' ') FROM unit_count WHERE visit_id = v.id),
 (SELECT group_concat(ifnull(count, ''), ' ') FROM unit_count WHERE visit_id = v.id))
FROM visit v JOIN bed b ON b.id = v.bed_id WHERE v.units > 0 ORDER BY v.id`)
	if err != nil {
		return err
	}
	if _, err := t.get(&all, "SELECT count(*) FROM unit_count"); err != nil {
		return err
	}
	if rows != all {
		return damaged(t.s.path, fmt.Errorf("%d counts belong to visits that tell of them, and there are %d", rows, all))
	}
	return nil
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
