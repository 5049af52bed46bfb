package store

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/jmoiron/sqlx"

	"leafturn/internal/diag"
)

// RescuedTable is what could still be read of one table of a damaged file.
type RescuedTable struct {
	Name    string
	Columns []string
	Rows    [][]any
	Whole   bool // every row was read, as far as can be told
}

// Rescue reads what can still be read of a damaged store, table by table,
// from a copy: the file itself is not touched. A file of which nothing can be
// read is ErrDamaged.
func Rescue(ctx context.Context, path string) ([]RescuedTable, error) {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return nil, &diag.Problem{What: fmt.Sprintf("there is no store at %q", path), Do: "check the path", Usage: true, Err: ErrMissing}
	case err != nil:
		return nil, diskProblem(path, "open", err)
	case !info.Mode().IsRegular():
		return nil, &diag.Problem{What: fmt.Sprintf("%q is not an ordinary file", path), Do: "give the path of a store", Usage: true, Err: ErrNotOurs}
	}
	dir, err := os.MkdirTemp("", "leafturn-rescue-*")
	if err != nil {
		return nil, diskProblem(path, "make a copy", err)
	}
	defer os.RemoveAll(dir)
	tmp := filepath.Join(dir, "copy.db")
	for _, suffix := range []string{"", "-wal"} {
		if err := copyPlain(path+suffix, tmp+suffix); err != nil && !(suffix != "" && errors.Is(err, os.ErrNotExist)) {
			return nil, diskProblem(path, "make a copy", err)
		}
	}
	version, err := mend(tmp)
	if err != nil {
		return nil, beyondRescue(path, err)
	}
	tables, err := shapes(version)
	if err != nil {
		return nil, err
	}
	// writable_schema lets the tables that are well be read when the list of
	// tables is not; a defensive connection would not take it.
	u := url.URL{Scheme: "file", Path: tmp, RawQuery: "mode=rw&_pragma=writable_schema(1)&_pragma=cell_size_check(1)"}
	db, err := sqlx.Open("sqlite", u.String())
	if err != nil {
		return nil, damaged(path, err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	var first int
	_ = db.GetContext(ctx, &first, "SELECT count(*) FROM sqlite_schema") // the first read may fail over that list
	var out []RescuedTable
	rows := 0
	for _, x := range tables {
		t := rescueTable(ctx, db, x)
		if err := ctx.Err(); err != nil {
			return nil, problem(path, "rescue", err)
		}
		rows += len(t.Rows)
		out = append(out, t)
	}
	if rows == 0 {
		return nil, beyondRescue(path, errors.New("no row of any table could be read"))
	}
	return out, nil
}

// beyondRescue says that not even a part can be read.
func beyondRescue(path string, err error) error {
	return &diag.Problem{
		What: fmt.Sprintf("nothing can be read of %q", path),
		Do:   "check that it is the farm's file; if it is, keep it, and go on with the newest backup that opens (`leafturn restore FILE`)",
		Kept: "nothing was changed",
		Err:  fmt.Errorf("%w: %w", ErrDamaged, err),
	}
}

// rescuedShape is a table by name with its columns.
type rescuedShape struct {
	name    string
	columns []string
	key     []int // the columns that tell rows apart
}

func (x rescuedShape) keyOf(row []any) string {
	out := ""
	for _, i := range x.key {
		out += fmt.Sprintf("%v\t", row[i])
	}
	return out
}

// shapes are the tables of a version of the schema, by name.
func shapes(version int) ([]rescuedShape, error) {
	db, err := memoryWith(embedded[:version])
	if err != nil {
		return nil, err
	}
	defer db.Close()
	var names []string
	if err := db.Select(&names, "SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name"); err != nil {
		return nil, err
	}
	var out []rescuedShape
	for _, name := range names {
		var cols []string
		if err := db.Select(&cols, "SELECT name FROM pragma_table_info(?) ORDER BY cid", name); err != nil {
			return nil, err
		}
		var key []int
		if err := db.Select(&key, "SELECT cid FROM pragma_table_info(?) WHERE pk > 0", name); err != nil {
			return nil, err
		}
		out = append(out, rescuedShape{name, cols, key})
	}
	return out, nil
}

func copyPlain(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// mend puts right what would keep SQLite from opening a copy at all: its first
// 16 bytes, and a file that ends before its last page, which gets empty ones.
// It returns the version of the tables, the latest where that cannot be.
func mend(file string) (version int, err error) {
	f, err := os.OpenFile(file, os.O_RDWR, 0)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	h := make([]byte, 100)
	if _, err := io.ReadFull(f, h); err != nil {
		return 0, errors.New("the file is shorter than its header")
	}
	if magic := []byte("SQLite format 3\x00"); !bytes.Equal(h[:16], magic) {
		if _, err := f.WriteAt(magic, 0); err != nil {
			return 0, err
		}
	}
	page := int64(binary.BigEndian.Uint16(h[16:]))
	if page == 1 {
		page = 65536
	}
	if page < 512 || page&(page-1) != 0 {
		page = 4096 // as the program makes them
		if _, err := f.WriteAt([]byte{0x10, 0}, 16); err != nil {
			return 0, err
		}
	}
	info, err := f.Stat()
	if err != nil {
		return 0, err
	}
	// Of a page that is cut, the end is missing, where its rows are.
	if err := f.Truncate(info.Size() / page * page); err != nil {
		return 0, err
	}
	size := min(int64(binary.BigEndian.Uint32(h[28:]))*page, info.Size()+1<<30)
	if size > info.Size()/page*page {
		err = f.Truncate(size)
	}
	version = int(binary.BigEndian.Uint32(h[60:]))
	if version < 1 || version > len(embedded) {
		version = len(embedded)
	}
	return version, err
}

// rescueTable reads what can be read of a table and, where that is not all, adds
// what stands in its second copy alone.
func rescueTable(ctx context.Context, db *sqlx.DB, shape rescuedShape) RescuedTable {
	t := RescuedTable{Name: shape.name, Columns: shape.columns}
	list := "SELECT " + strings.Join(shape.columns, ", ") + " FROM " + shape.name
	t.Rows, t.Whole = rescueRows(ctx, db, shape, list)
	if t.Whole {
		return t
	}
	have := map[string]bool{}
	for _, r := range t.Rows {
		have[shape.keyOf(r)] = true
	}
	second, _, _ := readRows(ctx, db, list+" INDEXED BY "+shape.name+"_copy")
	for _, r := range second {
		if !have[shape.keyOf(r)] {
			t.Rows = append(t.Rows, r)
		}
	}
	return t
}

// readRows reads rows up to an error, without those that an empty page in the
// place of a missing one makes; lost tells that there were such.
func readRows(ctx context.Context, db *sqlx.DB, query string, args ...any) (out [][]any, lost bool, err error) {
	rows, err := db.QueryxContext(ctx, query, args...)
	if err != nil {
		return nil, false, err
	}
	defer rows.Close()
	for rows.Next() {
		row, err := rows.SliceScan()
		if err != nil {
			return out, lost, err
		}
		if row[0] == nil || slices.ContainsFunc(row, torn) {
			lost = true
			continue
		}
		out = append(out, row)
	}
	return out, lost, rows.Err()
}

// rescueRows reads a table up to the damage, and what lies behind it by its
// numbers, one after the other.
func rescueRows(ctx context.Context, db *sqlx.DB, shape rescuedShape, list string) (out [][]any, whole bool) {
	read := func(query string, args ...any) (lost bool, err error) {
		rows, lost, err := readRows(ctx, db, query, args...)
		out = append(out, rows...)
		return lost, err
	}
	if lost, err := read(list + " " + itself(shape.name)); err == nil {
		return out, !lost
	}
	key := ""
	for _, k := range []string{"id", "visit_id", "change_id"} {
		if key == "" && slices.Contains(shape.columns, k) {
			key = k
		}
	}
	if key == "" {
		return out, false // a key of letters: what came before the damage is all
	}
	at, next := slices.Index(shape.columns, key), int64(1)
	for failed := 0; failed < rescueFails && ctx.Err() == nil; failed++ {
		if failed == rescueTries && len(out) == 0 {
			return out, false // the way into the table is lost
		}
		before := len(out)
		if before > 0 {
			if last, ok := out[before-1][at].(int64); ok {
				next = max(next, last+1)
			}
		}
		if _, err := read(list+" WHERE "+key+" >= ? ORDER BY "+key, next); err == nil {
			return out, false // the end of the table
		}
		if len(out) == before {
			next++ // what is at this number cannot be reached
		} else {
			failed = 0
		}
	}
	return out, false
}

// torn reports whether a value is a text with zero bytes, which the program
// never writes: the page that held its end is missing.
func torn(v any) bool {
	switch x := v.(type) {
	case string:
		return strings.ContainsRune(x, 0)
	case []byte:
		return bytes.ContainsRune(x, 0)
	}
	return false
}

// How many numbers in a row are passed over before the rest of a table is given
// up, and before all of one of which nothing could be read.
const (
	rescueFails = 2_000
	rescueTries = 100
)
