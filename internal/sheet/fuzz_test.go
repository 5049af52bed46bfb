package sheet_test

import (
	"archive/zip"
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"leafturn/internal/farm"
	"leafturn/internal/sheet"
)

// sound checks what must hold of any sheet: each visit is valid and of a known
// bed, pest and day; each problem says where, what and what to do; what the
// faults touch is not given out in the second reading; and the good ones read
// again from their rest file make no new faults of another kind.
func sound(t *testing.T, path string, m sheet.Map) {
	s, err := sheet.Open(path, nil)
	if err != nil {
		if err.Error() == "" {
			t.Fatal("an error without words")
		}
		return
	}
	defer s.Close()
	visits, res, err := readSource(s, m, nil)
	if err != nil {
		if errors.Is(err, sheet.ErrScattered) {
			t.Fatal("still scattered after gathering")
		}
		return
	}
	seen := map[string]bool{}
	for _, v := range visits {
		if err := farm.ValidateVisit(v); err != nil {
			t.Fatalf("%+v: %v", v, err)
		}
		if _, ok := (farmNames{}).Bed(v.Bed); !ok || v.Date.After(today) || v.Date.IsZero() {
			t.Fatalf("%+v", v)
		}
		key := v.Bed + v.Pest + v.Unit + v.Date.String() + string(v.Stratum)
		if seen[key] {
			t.Fatalf("%s is given out twice", key)
		}
		seen[key] = true
	}
	for _, p := range res.Problems {
		if p.What == "" || p.Do == "" || p.File == "" {
			t.Fatalf("%+v", p)
		}
	}
	if len(res.Problems) == 0 && len(res.Rest) > 0 {
		t.Fatal("rows to correct, and no problem told")
	}
	good, second, err := readSource(s, m, res)
	if err != nil {
		t.Fatalf("the second reading: %v", err)
	}
	if len(good) > len(visits) {
		t.Fatalf("%d visits at first, %d with faults held back", len(visits), len(good))
	}
	var b bytes.Buffer
	if n, err := sheet.WriteRest(&b, s, m, second); err != nil || n != len(second.Rest) {
		t.Fatalf("%d of %d rows in the rest: %v", n, len(second.Rest), err)
	}
}

func FuzzSheetCSV(f *testing.F) {
	files, _ := filepath.Glob("testdata/*.[ct][sx][vt]")
	for _, name := range files {
		if strings.HasSuffix(name, ".golden.txt") {
			continue
		}
		text, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text, uint8(0))
		f.Add(text, uint8(1))
	}
	path := filepath.Join(f.TempDir(), "x.csv")
	f.Fuzz(func(t *testing.T, text []byte, how uint8) {
		if err := os.WriteFile(path, text, 0o644); err != nil {
			t.Fatal(err)
		}
		m := sheet.Map{Dates: []sheet.Order{"", "dmy", "mdy", "ymd"}[how%4], Blank: []string{"", "none", "lost", "zero"}[how/4%4]}
		if how >= 128 {
			m.Pest, m.Bed = "slug", "B3"
		}
		sound(t, path, m)
	})
}

func FuzzHeaderMap(f *testing.F) {
	f.Add([]byte("dates = \"dmy\"\n[columns]\n\"Bed\" = \"bed\"\n\"x\" = \"count of trap 1\"\n[beds]\n\"top\" = \"B3\"\n"), "Bed,x,Date,Pest\ntop,4,2026-07-13,slug\n")
	f.Add([]byte("[columns]\n\"a \\\"b\\\"\" = \"+predatory_mite\"\n"), "date,bed,slugs,\"a \"\"b\"\"\"\n")
	f.Add([]byte("blank = \"zero\"\nunit = \"board\"\n"), "date,bed,pest,trap 1\n2026-07-13,B3,slug,\n")
	path := filepath.Join(f.TempDir(), "x.csv")
	f.Fuzz(func(t *testing.T, data []byte, text string) {
		m, err := sheet.ParseMap(data, "m.toml")
		if err != nil {
			return
		}
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		if m, err = m.Resolve(farmNames{}); err != nil {
			return
		}
		sound(t, path, m)
		_, res, err := read(path, m)
		if err != nil || len(res.Columns) == 0 || len(res.Problems) > 0 {
			return
		}
		saved := sheet.FormatMap(&res.Layout, m)
		again, err := sheet.ParseMap(saved, "saved.toml")
		if err != nil {
			t.Fatalf("%v\n%s", err, saved)
		}
		_, res2, err := read(path, again)
		if err != nil || len(res2.Problems) > 0 || res2.Visits != res.Visits {
			t.Fatalf("a saved map reads otherwise: %v %+v %+v\n%s", err, res.Summary, res2, saved)
		}
	})
}

func FuzzXLSXMap(f *testing.F) {
	part := func(book []byte, name string) []byte {
		z, err := zip.NewReader(bytes.NewReader(book), int64(len(book)))
		if err != nil {
			f.Fatal(err)
		}
		r, err := z.Open(name)
		if err != nil {
			f.Fatal(err)
		}
		var b bytes.Buffer
		_, _ = b.ReadFrom(r)
		return b.Bytes()
	}
	book, err := os.ReadFile(workbook(f, [][]any{{"Date", "Bed", "Pest", "Trap 1", "Trap 2"}, {46216, "B3", "slug", 4, "NA"}, {"2026-07-13", "B4", "slug", 2.5, nil}}, map[string]string{"A2": "d/m/yyyy"}, nil))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(part(book, "xl/worksheets/sheet1.xml"), part(book, "xl/sharedStrings.xml"))
	f.Add([]byte(`<worksheet><sheetData><row r="3"><c r="XFD3" t="s"><v>9</v></c></row><row r="1048576"><c><v>1</v></c></row></sheetData></worksheet>`), []byte("<sst/>"))
	f.Add([]byte(`<worksheet><sheetData><row><c t="inlineStr"><is><t>date</t></is></c></row></sheetData>`), []byte(""))
	path := filepath.Join(f.TempDir(), "x.xlsx")
	f.Fuzz(func(t *testing.T, sheet1, strs []byte) {
		z, err := zip.NewReader(bytes.NewReader(book), int64(len(book)))
		if err != nil {
			t.Fatal(err)
		}
		var out bytes.Buffer
		w := zip.NewWriter(&out)
		for _, p := range z.File {
			text := part(book, p.Name)
			switch p.Name {
			case "xl/worksheets/sheet1.xml":
				text = sheet1
			case "xl/sharedStrings.xml":
				text = strs
			}
			h, err := w.Create(p.Name)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := h.Write(text); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, out.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		sound(t, path, sheet.Map{})
	})
}
