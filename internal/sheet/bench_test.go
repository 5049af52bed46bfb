package sheet_test

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"leafturn/internal/sheet"
)

// BenchmarkRead reads 200,000 rows in long form.
func BenchmarkRead(b *testing.B) {
	path := filepath.Join(b.TempDir(), "x.csv")
	f, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	w := bufio.NewWriter(f)
	fmt.Fprintln(w, "date,bed,pest,trap,count")
	n := 200_000
	for i := range n {
		v := i / 40
		fmt.Fprintf(w, "%s,%s,slug,%d,%d\n", today.AddDays(-v/len(beds)), beds[v%len(beds)], i%40+1, i%7)
	}
	if err := w.Flush(); err != nil {
		b.Fatal(err)
	}
	f.Close()
	b.ReportAllocs()
	for b.Loop() {
		visits, res, err := read(path, sheet.Map{})
		if err != nil || len(res.Problems) > 0 || len(visits) != n/40 {
			b.Fatal(err, len(visits))
		}
	}
}
