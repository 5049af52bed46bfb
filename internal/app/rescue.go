package app

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"leafturn/internal/diag"
	"leafturn/internal/record"
	"leafturn/internal/report"
	"leafturn/internal/store"
)

// RescueData is what `doctor --rescue` could read.
type RescueData struct {
	File   string        `json:"file"`
	Folder string        `json:"folder"`
	Tables []RescuedData `json:"tables"`
}

// RescuedData is a table that was read.
type RescuedData struct {
	Name  string `json:"name"`
	Rows  int    `json:"rows"`
	Whole bool   `json:"whole"`
}

// Rescue writes what can still be read of a damaged farm's file into a new
// folder, a CSV file for each table. The folder gets its name last. It returns
// what was read, and says it.
func Rescue(ctx context.Context, path, folder string, now time.Time) (*report.Document, string, error) {
	if entries, err := os.ReadDir(folder); err == nil && len(entries) > 0 {
		return nil, "", diag.Usagef("give a new folder", "the folder %q is not empty", folder)
	}
	list, err := store.Rescue(ctx, path)
	if err != nil {
		return nil, "", err
	}
	dir, err := filepath.Abs(folder)
	if err != nil {
		return nil, "", err
	}
	if real, err := filepath.EvalSymlinks(dir); err == nil {
		dir = real
	}
	fail := func(err error) error {
		return &diag.Problem{What: fmt.Sprintf("the folder %q cannot be written: %v", folder, unwrapPath(err)), Do: "give a folder on a disk that has room and may be written", Kept: "nothing was left there; the farm's file was not touched", Err: err}
	}
	if err := os.MkdirAll(filepath.Dir(dir), 0o755); err != nil {
		return nil, "", fail(err)
	}
	tmp, err := os.MkdirTemp(filepath.Dir(dir), ".leafturn-rescue-*")
	if err != nil {
		return nil, "", fail(err)
	}
	defer os.RemoveAll(tmp) // nothing is there once it has its name
	data := RescueData{File: path, Folder: folder, Tables: []RescuedData{}}
	said := fmt.Sprintf("of %s this could be read, into %s:", path, folder)
	for _, t := range list {
		rows := make([][]string, len(t.Rows))
		for i, r := range t.Rows {
			rows[i] = make([]string, len(r))
			for j, v := range r {
				rows[i][j] = cellText(v)
			}
		}
		raw, err := record.CSV(t.Columns, rows)
		if err != nil {
			return nil, "", err
		}
		if err := os.WriteFile(filepath.Join(tmp, t.Name+".csv"), raw, 0o644); err != nil {
			return nil, "", fail(err)
		}
		words := ""
		if !t.Whole {
			words = "; the table is damaged, so some may be missing"
		}
		said += fmt.Sprintf("\n%s.csv: %s%s", t.Name, unitsOf(len(rows), "row"), words)
		data.Tables = append(data.Tables, RescuedData{Name: t.Name, Rows: len(rows), Whole: t.Whole})
	}
	if err := nameFolder(tmp, dir); err != nil {
		return nil, "", fail(err)
	}
	return fileDocument("Rescue", now, data), said + "\nthe file itself was not touched", nil
}

// cellText is a value of a table as text; nothing for what is not known.
func cellText(v any) string {
	switch x := v.(type) {
	case nil:
		return ""
	case []byte:
		return string(x)
	case float64:
		return unitText(&x, "")
	}
	return fmt.Sprint(v)
}
