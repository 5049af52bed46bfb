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

	"golang.org/x/sync/errgroup"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/report"
	"leafturn/internal/store"
	"leafturn/internal/tables"
)

// ExportOptions are the words of `export`.
type ExportOptions struct {
	Out      string
	Program  string // version of the program
	Date     civil.Date
	Pest     string // GeoJSON: with the chance of being over its action level
	Origin   string // GeoJSON: latitude and longitude of the field's south-west corner
	Bearing  string // GeoJSON: of the field's north, in degrees clockwise from true north
	Progress func(file string, done, total int64)
}

// ExportData is what `export` wrote.
type ExportData struct {
	Out    string         `json:"out"`
	Kind   string         `json:"kind"` // tables, workbook or map
	Schema int            `json:"schema"`
	Files  []ExportedData `json:"files"`
	Rows   int64          `json:"rows"`
	Left   []string       `json:"left"`
	Notes  []string       `json:"notes"`
}

// ExportedData is one file of a folder, one sheet of a workbook or one map.
type ExportedData struct {
	Name   string `json:"name"`
	Rows   int64  `json:"rows"`
	Bytes  *int64 `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// The kinds of export.
const (
	exportTables   = "tables"
	exportWorkbook = "workbook"
	exportMap      = "map"
)

// noFolder are the endings of files that are no export of this program.
var noFolder = []string{".csv", ".json", ".xls", ".xlsm", ".ods", ".zip", ".kml", ".gpx", ".shp", ".db", ".sqlite", ".sql", ".leafturn", ".txt", ".tsv", ".toml", ".pdf", ".html", ".xml", ".png", ".svg", ".ics"}

// Export writes the farm's records: a folder of tables, or a workbook or a map of
// the beds where the name ends in .xlsx or .geojson. It returns what it wrote,
// and says it.
func (a *App) Export(ctx context.Context, o ExportOptions) (*report.Document, string, error) {
	ext := strings.ToLower(filepath.Ext(o.Out))
	if ext != ".geojson" && (o.Pest != "" || o.Origin != "" || o.Bearing != "") {
		return nil, "", diag.Usagef("end the name with .geojson, or leave them out", "--pest, --origin and --bearing go with a map of the beds")
	}
	data := ExportData{Out: o.Out, Schema: a.st.Schema(), Files: []ExportedData{}, Left: []string{}, Notes: []string{}}
	var said string
	var err error
	switch {
	case ext == ".xlsx":
		data.Kind = exportWorkbook
		said, err = a.exportWorkbook(ctx, o, &data)
	case ext == ".geojson":
		data.Kind = exportMap
		said, err = a.exportMap(ctx, o, &data)
	case slices.Contains(noFolder, ext):
		return nil, "", diag.Usagef("give a folder for all tables, FILE.xlsx for a workbook or FILE.geojson for a map of the beds; a copy of the farm's file itself is made with `leafturn backup`", "export does not write %s files", ext)
	default:
		data.Kind = exportTables
		said, err = a.exportFolder(ctx, o, &data)
	}
	if err != nil {
		return nil, "", err
	}
	doc := a.document("Export", a.Today())
	doc.Data = data
	return doc, strings.Join(append([]string{said}, data.Notes...), "\n"), nil
}

// exportFolder writes every table into a new folder, all of one state of the
// store. The folder gets its name last.
func (a *App) exportFolder(ctx context.Context, o ExportOptions, data *ExportData) (said string, err error) {
	dir, err := filepath.Abs(o.Out)
	if err != nil {
		return "", err
	}
	if real, err := filepath.EvalSymlinks(dir); err == nil {
		dir = real
	}
	fail := func(err error) error {
		var p *diag.Problem
		if err == nil || errors.As(err, &p) || ctx.Err() != nil {
			return err
		}
		why := err
		if pe := (*os.PathError)(nil); errors.As(err, &pe) {
			why = pe.Err // without the temporary name, which is ours
		} else if le := (*os.LinkError)(nil); errors.As(err, &le) {
			why = le.Err
		}
		return &diag.Problem{What: fmt.Sprintf("the folder %q cannot be written: %v", o.Out, why), Do: "check that there is room, and that the folder above is there and may be written", Kept: "nothing of the export was left", Err: err}
	}
	switch entries, err := os.ReadDir(dir); {
	case err == nil && len(entries) > 0:
		return "", diag.Usagef("give a new folder", "the folder %q is not empty", o.Out)
	case err != nil && !errors.Is(err, os.ErrNotExist):
		return "", diag.Usagef("give a new folder", "%q is no folder that can be read: %v", o.Out, unwrapPath(err))
	}
	tmp, err := os.MkdirTemp(filepath.Dir(dir), ".leafturn-export-*")
	if err != nil {
		return "", fail(err)
	}
	defer os.RemoveAll(tmp) // nothing is there once it has its name
	var disk errgroup.Group // files on their way to the disk, and what is looked at, while others are written
	defer func() { _ = disk.Wait() }()
	disk.Go(func() error { return a.st.Intact(ctx) }) // on another core
	pack := tables.NewPackage(tables.Made{Schema: a.st.Schema(), Program: o.Program, Facts: a.cat.Version})
	err = a.st.View(ctx, func(tx *store.Tx) error {
		for i, t := range tables.All {
			r := &pack.Resources[i]
			if err := writeTable(tx, &disk, filepath.Join(tmp, r.Path), t, r, o.Progress); err != nil {
				return err
			}
			data.Files = append(data.Files, ExportedData{Name: r.Path, Rows: r.Rows, Bytes: &r.Bytes, SHA256: strings.TrimPrefix(r.Hash, "sha256:")})
			data.Rows += r.Rows
		}
		return nil
	})
	if err != nil {
		return "", fail(err)
	}
	text, err := pack.JSON()
	if err == nil {
		err = writeSynced(&disk, filepath.Join(tmp, tables.DescriptorName), func(w io.Writer) error { _, err := w.Write(text); return err })
	}
	if err != nil {
		return "", fail(err)
	}
	if err := disk.Wait(); err != nil {
		return "", fail(err)
	}
	if err := nameFolder(tmp, dir); err != nil {
		return "", fail(err)
	}
	return fmt.Sprintf("everything is in %s: %s in %s, described by %s\n`leafturn restore %s` makes a farm's file of it again",
		o.Out, unitsOf(int(data.Rows), "row"), unitsOf(len(data.Files), "CSV file"), tables.DescriptorName, shellWord(o.Out)), nil
}

// nameFolder gives a folder that is written whole its name, in the place of an
// empty one.
func nameFolder(tmp, dir string) error {
	if err := os.Chmod(tmp, 0o755); err != nil {
		return err
	}
	syncFolder(tmp)
	if err := os.Remove(dir); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if err := os.Rename(tmp, dir); err != nil {
		return err
	}
	syncFolder(filepath.Dir(dir))
	return nil
}

func unwrapPath(err error) error {
	if pe := (*os.PathError)(nil); errors.As(err, &pe) {
		return pe.Err
	}
	return err
}

// writeTable writes one file and what the descriptor says of it.
func writeTable(tx *store.Tx, disk *errgroup.Group, file string, t tables.Table, r *tables.Resource, tell func(string, int64, int64)) error {
	return writeSynced(disk, file, func(w io.Writer) error {
		sum := sha256.New()
		size := &sized{w: io.MultiWriter(w, sum)}
		var told func(int64)
		if tell != nil {
			told = func(rows int64) { tell(r.Path, rows, 0) }
		}
		out := writeBehind(size)
		var err error
		r.Rows, err = tx.WriteTable(out, t, told)
		if err2 := out.end(); err == nil {
			err = err2
		}
		if err != nil {
			return err
		}
		r.Bytes, r.Hash = size.n, "sha256:"+hex.EncodeToString(sum.Sum(nil))
		return nil
	})
}

// sized counts what is written.
type sized struct {
	w io.Writer
	n int64
}

func (c *sized) Write(p []byte) (int, error) {
	n, err := c.w.Write(p)
	c.n += int64(n)
	return n, err
}

// behind writes on a goroutine of its own, so that reading the store and writing
// and hashing share two cores. An error of writing is told at the end.
type behind struct {
	full, free chan []byte
	done       chan error
}

func writeBehind(w io.Writer) *behind {
	b := &behind{make(chan []byte, 4), make(chan []byte, 4), make(chan error, 1)}
	for range cap(b.free) {
		b.free <- nil
	}
	go func() {
		var err error
		for p := range b.full {
			if err == nil {
				_, err = w.Write(p)
			}
			b.free <- p
		}
		b.done <- err
	}()
	return b
}

func (b *behind) Write(p []byte) (int, error) {
	b.full <- append((<-b.free)[:0], p...)
	return len(p), nil
}

func (b *behind) end() error {
	close(b.full)
	return <-b.done
}

// writeSynced makes a file, which is on the disk when disk has ended.
func writeSynced(disk *errgroup.Group, file string, write func(io.Writer) error) error {
	f, err := os.OpenFile(file, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	if err := write(f); err != nil {
		return errors.Join(err, f.Close())
	}
	disk.Go(func() error { return errors.Join(f.Sync(), f.Close()) })
	return nil
}

// syncFolder makes the names in a folder durable; not every system can.
func syncFolder(dir string) {
	if d, err := os.Open(dir); err == nil {
		_ = d.Sync()
		_ = d.Close()
	}
}

func hashOf(raw []byte) string {
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:])
}
