package app

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"leafturn/internal/diag"
	"leafturn/internal/report"
	"leafturn/internal/store"
	"leafturn/internal/tables"
)

// RestoreOptions are the words of `restore`.
type RestoreOptions struct {
	From     string
	Check    bool // look only
	Changed  bool // files of a folder may have been changed by hand
	Progress func(file string, done, total int64)
}

// RestoreData is what `restore` did.
type RestoreData struct {
	From      string   `json:"from"`
	File      string   `json:"file"`
	Kind      string   `json:"kind"` // backup or tables
	Checked   bool     `json:"checked"`
	Look      bool     `json:"look"`
	Aside     string   `json:"aside"`
	Rows      *int64   `json:"rows"`
	Changed   []string `json:"changed"`
	NotRead   []string `json:"not_read"`
	Recounted int64    `json:"recounted"`
}

// Restore puts a checked backup, or a file made of a folder of tables, in the
// place of the farm's file. It returns what it did, and says it.
func Restore(ctx context.Context, path string, o RestoreOptions, now time.Time) (*report.Document, string, error) {
	data := RestoreData{From: o.From, File: path, Kind: "backup", Look: o.Check, Changed: []string{}, NotRead: []string{}}
	var said string
	var err error
	if info, e := os.Stat(o.From); e == nil && info.IsDir() {
		data.Kind = "tables"
		said, err = restoreTables(ctx, path, o, &data)
	} else {
		if o.Check || o.Changed {
			return nil, "", diag.Usagef("leave them out for a backup, which is checked before and after", "--check and --changed are for a folder of tables")
		}
		said = fmt.Sprintf("%s is in the place of %s, checked before and after", o.From, path)
		data.Aside, err = store.Restore(ctx, o.From, path)
	}
	if err != nil {
		return nil, "", err
	}
	if data.Aside != "" {
		said += "\nwhat was there is kept as " + data.Aside
	}
	data.Checked = true
	return fileDocument("Restore", now, data), said, nil
}

const keptNothingChanged = "nothing was changed"

// mostProblems is how many problems of a folder are told one by one.
const mostProblems = 500

// tablesIn is a folder of tables being read.
type tablesIn struct {
	ctx      context.Context
	o        RestoreOptions
	pack     tables.Package
	data     *RestoreData
	problems diag.List
	more     int
	heads    map[string][]string // of the files read, by table
	unread   map[string]bool     // tables that could not be read, which was told
	rows     int64

	beds    map[int64]pointed
	visits  map[int64]pointed
	labels  map[string]bool
	changes map[int64]bool
}

// pointed is what a row that others point to says, as far as they repeat it.
type pointed struct {
	bed, date, pest string
	bad             bool // something of the row is wrong, which was told
}

func (r *tablesIn) file(t tables.Table) string { return filepath.Join(r.o.From, t.File+".csv") }

func (r *tablesIn) add(file string, row, col int, do, format string, args ...any) {
	if len(r.problems.Problems) >= mostProblems {
		r.more++
		return
	}
	r.problems.Add(&diag.Problem{File: file, Row: row, Col: col, What: fmt.Sprintf(format, args...), Do: do, Usage: true, Err: store.ErrInvalid})
}

// restoreTables makes a farm's file of a folder that export wrote.
func restoreTables(ctx context.Context, path string, o RestoreOptions, data *RestoreData) (string, error) {
	name := filepath.Join(o.From, tables.DescriptorName)
	text, err := os.ReadFile(name)
	if err != nil {
		return "", &diag.Problem{What: fmt.Sprintf("the folder %q is no export: %s cannot be read: %v", o.From, tables.DescriptorName, unwrapPath(err)), Do: "give a folder that `leafturn export` wrote, with all its files", Kept: keptNothingChanged, Usage: true, Err: err}
	}
	r := &tablesIn{ctx: ctx, o: o, data: data, heads: map[string][]string{}, unread: map[string]bool{}, beds: map[int64]pointed{}, visits: map[int64]pointed{}, labels: map[string]bool{}, changes: map[int64]bool{}}
	r.problems.Kept = keptNothingChanged
	if r.pack, err = tables.ReadPackage(text); err != nil {
		return "", &diag.Problem{File: name, What: err.Error(), Do: "take the file as it was written", Kept: keptNothingChanged, Usage: true, Err: err}
	}
	if err := store.Unsupported(r.pack.Made.Schema); err != nil {
		var p *diag.Problem
		errors.As(err, &p)
		p.File, p.Kept = name, keptNothingChanged
		return "", p
	}
	r.others()
	var loader *store.Loader
	refuse := func(table string, row int, columns []string, why string) {
		if table == "unit_count" && row == 0 {
			r.add(r.file(tables.ByName(table)), 0, 0, "number the rows of a visit 1, 2, 3, ... in seq; a unit that was not looked at keeps its row, with a blank count", "%s", why)
			return
		}
		if table == "" || row == 0 {
			r.add(o.From, 0, 0, "correct the tables; their numbers must point to each other", "%s", why)
			return
		}
		t := tables.ByName(table)
		col := 0
		if len(columns) > 0 {
			col = slices.Index(r.heads[table], columns[0]) + 1
		}
		do := "correct that row"
		if strings.HasPrefix(why, "another row that is not taken out") {
			do += ", or take one of the two out by its voided_at and void_reason"
		}
		r.add(r.file(t), row, col, do, "%s", why)
	}
	data.Aside, err = store.RestoreTables(ctx, path, r.pack.Made.Schema, o.Check, func(l *store.Loader) error {
		loader = l
		l.Recount = o.Changed
		for _, t := range tables.All {
			if err := r.table(l, t); err != nil {
				return err
			}
		}
		return r.err()
	}, refuse)
	if len(r.problems.Problems) > 0 {
		return "", r.err()
	}
	if err != nil {
		return "", err
	}
	data.Rows, data.Recounted = &r.rows, loader.Recounted
	return r.said(path), nil
}

func (r *tablesIn) err() error {
	if r.more > 0 {
		r.problems.Kept = fmt.Sprintf("and %d more problems; %s", r.more, keptNothingChanged)
	}
	return r.problems.Err()
}

func (r *tablesIn) said(path string) string {
	said := fmt.Sprintf("%s is made of the tables in %s: %s, checked", path, r.o.From, unitsOf(int(r.rows), "row"))
	if r.o.Check {
		said = fmt.Sprintf("a farm's file can be made of the tables in %s: %s, checked; nothing was changed", r.o.From, unitsOf(int(r.rows), "row"))
	}
	if len(r.data.Changed) > 0 {
		said += "\nchanged since they were exported: " + strings.Join(r.data.Changed, ", ")
	}
	if r.data.Recounted > 0 {
		said += fmt.Sprintf("\nthe sums of %s were made anew from the counts", unitsOf(int(r.data.Recounted), "visit"))
	}
	if len(r.data.NotRead) > 0 {
		said += "\nnot read: " + strings.Join(r.data.NotRead, ", ")
	}
	return said
}

// others tells of files that are no table.
func (r *tablesIn) others() {
	entries, err := os.ReadDir(r.o.From)
	if err != nil {
		return
	}
	for _, e := range entries {
		if e.Name() != tables.DescriptorName && !slices.ContainsFunc(tables.All, func(t tables.Table) bool { return t.File+".csv" == e.Name() }) {
			r.data.NotRead = append(r.data.NotRead, e.Name())
		}
	}
}

// table reads one file into the new store. What is wrong with it is gathered; an
// error is one that ends everything.
func (r *tablesIn) table(l *store.Loader, t tables.Table) error {
	columns, err := l.Columns(t.Name)
	if err != nil {
		return err
	}
	if len(columns) == 0 {
		return nil // a table that this version did not have
	}
	file := r.file(t)
	in, err := os.Open(file)
	if err != nil {
		r.unread[t.Name] = true
		r.add(file, 0, 0, "export again, or take the file from a copy of the folder; a table without rows has its header all the same", "the table is missing: %v", unwrapPath(err))
		return nil
	}
	defer in.Close()
	sum := sha256.New()
	x := newTableIn(r, t, columns, io.TeeReader(in, sum))
	if !x.header() {
		r.unread[t.Name] = true
	} else if err := l.Table(t.Name, columns, x.next); err != nil {
		return err
	}
	x.end()
	if t.Name == "farm" && x.rows != 1 && !r.unread["farm"] {
		r.add(file, 0, 0, "leave the one row of the farm as it was written", "the farm has %s", unitsOf(int(x.rows), "row"))
	}
	if _, err := io.Copy(sum, in); err != nil {
		r.add(file, 0, 0, "check the disk", "the file cannot be read: %v", unwrapPath(err))
	}
	r.rows += x.rows
	r.hash(t, file, "sha256:"+hex.EncodeToString(sum.Sum(nil)), x.rows)
	return nil
}

// hash compares a file with what the descriptor says of it.
func (r *tablesIn) hash(t tables.Table, file, found string, rows int64) {
	said, ok := r.pack.Resource(t)
	switch {
	case !ok:
		r.add(filepath.Join(r.o.From, tables.DescriptorName), 0, 0, "take that file as it was written", "it does not describe %s.csv", t.File)
	case said.Hash == found:
	case r.o.Changed:
		r.data.Changed = append(r.data.Changed, t.File+".csv")
	default:
		words := "its SHA-256 differs"
		if said.Rows != rows && !r.unread[t.Name] {
			words = fmt.Sprintf("it has %s, and %d were exported", unitsOf(int(rows), "row"), said.Rows)
		}
		r.add(file, 0, 0, "if it was corrected by hand, add --changed; else take the folder from a copy", "the file is not as it was exported: %s", words)
	}
}
