package main

import (
	"archive/zip"
	"compress/flate"
	"io"
	"os"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/xuri/excelize/v2"
)

func init() { commands["book"] = book }

// book KIND FILE makes a workbook, or what looks like one:
//
//	counts  a sheet of counts whose dates are dates of the spreadsheet
//	two     the same in two sheets, July and August
//	zip     a zip archive that is no workbook
//	bomb    a workbook of a few kilobytes that unpacks to 3 GiB
//	hole    a file of 2 GiB without a line end
func book(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, len(args) == 2, "book KIND FILE")
	path := ts.MkAbs(args[1])
	switch args[0] {
	case "counts", "two":
		ts.Check(countBook(path, args[0] == "two"))
	case "zip":
		ts.Check(archive(path, map[string]int64{"counts.csv": 100}))
	case "bomb":
		ts.Check(archive(path, map[string]int64{"xl/workbook.xml": 100, "xl/worksheets/sheet1.xml": 3 << 30}))
	case "hole":
		ts.Check(os.WriteFile(path, []byte("date,bed,pest,count"), 0o644))
		ts.Check(os.Truncate(path, 2<<30))
	default:
		ts.Fatalf("book does not know %q", args[0])
	}
}

func countBook(path string, two bool) error {
	f := excelize.NewFile()
	defer f.Close()
	names := []string{"Sheet1"}
	if two {
		if err := f.SetSheetName("Sheet1", "July"); err != nil {
			return err
		}
		if _, err := f.NewSheet("August"); err != nil {
			return err
		}
		names = []string{"July", "August"}
	}
	style, err := f.NewStyle(&excelize.Style{NumFmt: 14}) // shown as 07-13-26
	if err != nil {
		return err
	}
	for _, name := range names {
		for i, row := range [][]any{
			{"Date", "Bed", "Pest", "Trap 1", "Trap 2", "Trap 3"},
			{time.Date(2026, 7, 13, 0, 0, 0, 0, time.UTC), "B3", "slug", 4, 0.0, "NA"},
			{time.Date(2026, 7, 14, 0, 0, 0, 0, time.UTC), "B4", "slug", 1, nil, 2},
			{"Total", nil, nil, 5, 0, 2},
		} {
			if err := f.SetSheetRow(name, "A"+string(rune('1'+i)), &row); err != nil {
				return err
			}
		}
		if err := f.SetCellStyle(name, "A2", "A3", style); err != nil {
			return err
		}
	}
	return f.SaveAs(path)
}

type zeros struct{}

func (zeros) Read(b []byte) (int, error) {
	clear(b)
	return len(b), nil
}

// archive makes a zip file with parts of so many bytes, all of them zero. To
// pack 3 GiB takes too long for a test: the bomb's list only says so.
func archive(path string, parts map[string]int64) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	z := zip.NewWriter(f)
	for name, size := range parts {
		h := &zip.FileHeader{Name: name, Method: zip.Deflate, UncompressedSize64: uint64(size)}
		if size < 1<<20 {
			w, err := z.CreateHeader(h)
			if err == nil {
				_, err = io.CopyN(w, zeros{}, size)
			}
			if err != nil {
				return err
			}
			continue
		}
		packed := &counted{}
		c, err := flate.NewWriter(packed, flate.BestSpeed)
		if err == nil {
			_, err = io.CopyN(c, zeros{}, 4<<20)
		}
		if err == nil {
			err = c.Close()
		}
		if err != nil {
			return err
		}
		h.CompressedSize64 = uint64(len(packed.b))
		w, err := z.CreateRaw(h)
		if err == nil {
			_, err = w.Write(packed.b)
		}
		if err != nil {
			return err
		}
	}
	if err := z.Close(); err != nil {
		return err
	}
	return f.Close()
}

type counted struct{ b []byte }

func (c *counted) Write(b []byte) (int, error) {
	c.b = append(c.b, b...)
	return len(b), nil
}
