package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	ics "github.com/arran4/golang-ical"
	"github.com/rogpeppe/go-internal/testscript"

	"leafturn/internal/store"
)

const scripts = "../../testdata/script"

var ctx = context.Background()

// TestMain makes this test binary the programs that scripts run: leafturn, lt
// (leafturn at the instant $NOW), and those of programs.
func TestMain(m *testing.M) {
	testscript.Main(m, programs)
}

var programs = map[string]func(){
	"leafturn": main,
	"lt":       func() { atNow(); main() },
	"holdlock": func() { os.Exit(holdLock(os.Args[1], os.Args[2])) },
}

// atNow puts the hidden clock flag before the words of the command line.
func atNow() {
	os.Args = append([]string{"leafturn", "--now", os.Getenv("NOW")}, os.Args[1:]...)
}

// holdLock keeps the store at path locked for writing for as long as the file
// mark, which it makes, is there.
func holdLock(path, mark string) int {
	err := func() error {
		s, err := store.Open(ctx, path)
		if err != nil {
			return err
		}
		defer s.Close()
		return s.Update(ctx, func(tx *store.Tx) error {
			if err := os.WriteFile(mark, nil, 0o644); err != nil {
				return err
			}
			for range 6000 { // a minute at most: an orphan ends itself
				if _, err := os.Stat(mark); err != nil {
					return nil
				}
				time.Sleep(10 * time.Millisecond)
			}
			return errors.New("nobody let go")
		})
	}()
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

// TestScripts runs every file of the folder of scripts against the program.
//
// Beside the usual commands of testscript they know:
//
//	lt WORD...              leafturn at the instant $NOW
//	field                   makes the invented farm of most scripts: see field
//	refuses CODE COMMAND... the command fails with exit code CODE, says why on
//	                        standard error and nothing on standard output, and
//	                        every file of $WORK is as it was before
//	json FILE PATH [VALUE]  FILE (stdout too) is one JSON document; what stands
//	                        at PATH (a.b.0.c, len for a length) is VALUE, or there
//	calendar FILE [TO]      FILE is a sound iCalendar file with events; TO gets it
//	                        with its folded lines joined
//	picture FILE...         each is a sound, non-empty .png, .svg or .pdf
//	fits FILE WIDTH         no line of FILE is wider than WIDTH columns
//	sheets FILE LINES N     FILE has N pages of at most LINES lines, with the same
//	                        title and warnings
//	waitfor FILE            waits until FILE is there
//	newer FILE N            marks the store FILE as of schema version N
//	flip FILE OFFSET BYTES  overwrites bytes of FILE
//	cut FILE TO N           copies the first N bytes of FILE to TO
//	many FILE N             writes N lines of invented notes
//	fill FOLDER             fills the disk of FOLDER with FOLDER/filler
//	open FILE               gives everybody all rights on FILE and the folders
//	                        above it, up to and above $WORK
//	smalldisk FOLDER SIZE   puts a disk of SIZE in FOLDER, where [smalldisk] holds
//
// and the programs holdlock (see holdLock) and, on Unix, nobody.
func TestScripts(t *testing.T) {
	path := os.Getenv("PATH")
	if race {
		path = plainPrograms(t) + string(filepath.ListSeparator) + path
	}
	testscript.Run(t, testscript.Params{
		Dir:                scripts,
		UpdateScripts:      os.Getenv("UPDATE_GOLDEN") != "",
		RequireUniqueNames: true,
		Setup: func(e *testscript.Env) error {
			e.Setenv("HOME", filepath.Join(e.WorkDir, "home"))
			e.Setenv("XDG_DATA_HOME", filepath.Join(e.WorkDir, "home", "data"))
			e.Setenv("LEAFTURN_DB", filepath.Join(e.WorkDir, "farm.leafturn"))
			e.Setenv("NOW", "2026-07-20T18:00:00Z")
			e.Setenv("NO_COLOR", "1")
			e.Setenv("PATH", path)
			e.Setenv("TZ", "UTC")
			e.Setenv("COLUMNS", "")
			return nil
		},
		Condition: condition,
		Cmds:      commands,
	})
}

// plainPrograms makes the programs of the scripts without the race detector
// and returns their folder. The scripts start hundreds of them one after the
// other, each with one goroutine to speak of; the detector makes that eight
// times as slow and has nothing to see. Package cli runs the same commands in
// the process of its tests, under the detector.
func plainPrograms(t *testing.T) string {
	dir, suffix := t.TempDir(), ""
	if runtime.GOOS == "windows" {
		suffix = ".exe"
	}
	first := filepath.Join(dir, "leafturn"+suffix)
	if out, err := exec.Command("go", "test", "-c", "-o", first, ".").CombinedOutput(); err != nil {
		t.Fatalf("the programs do not build: %v\n%s", err, out)
	}
	for name := range programs {
		if to := filepath.Join(dir, name+suffix); to != first {
			if err := os.Link(first, to); err != nil {
				t.Fatal(err)
			}
		}
	}
	return dir
}

var commands = map[string]func(ts *testscript.TestScript, neg bool, args []string){
	"field":     field,
	"refuses":   refuses,
	"json":      jsonAt,
	"calendar":  calendar,
	"picture":   picture,
	"fits":      fits,
	"sheets":    sheets,
	"waitfor":   waitFor,
	"newer":     newer,
	"flip":      flip,
	"respell":   respell,
	"wide":      wide,
	"cut":       cutShort,
	"many":      many,
	"fill":      fill,
	"open":      openToAll,
	"smalldisk": smallDisk,
}

// usage stops a script whose command is written wrongly.
func usage(ts *testscript.TestScript, neg bool, ok bool, words string) {
	if neg || !ok {
		ts.Fatalf("usage: %s", words)
	}
}

// field makes a farm with three beds that emerged on 1 June.
func field(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, len(args) == 0, "field")
	for _, line := range [][]string{
		{"farm", "new", "--name", "Test field (invented)", "--zone", "UTC", "--country", "GB", "--hardiness", "8a", "--last-frost", "04-25", "--first-frost", "10-20"},
		{"bed", "add", "B3", "--block", "B", "--size", "25 m x 1.2 m", "--plants", "100", "--irrigation", "hand", "--at", "0 m, 0 m"},
		{"bed", "add", "B4", "--block", "B", "--size", "25 m x 1.2 m", "--plants", "100", "--irrigation", "hand", "--at", "0 m, 2 m"},
		{"bed", "add", "C1", "--block", "C", "--size", "20 m x 1 m", "--plants", "60", "--irrigation", "drip"},
		{"stage", "planted", "B3", "B4", "C1", "--date", "2026-05-10"},
		{"stage", "emerged", "B3", "B4", "C1", "--date", "2026-06-01"},
	} {
		if err := ts.Exec("lt", line...); err != nil {
			ts.Fatalf("lt %s: %v", strings.Join(line, " "), err)
		}
	}
}

func refuses(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, len(args) > 1, "refuses CODE COMMAND...")
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	before := tree(ts)
	err = ts.Exec(args[1], args[2:]...)
	var exit *exec.ExitError
	switch {
	case err == nil:
		ts.Fatalf("it was done; exit code %d was wanted", want)
	case !errors.As(err, &exit):
		ts.Fatalf("%v", err)
	case exit.ExitCode() != want:
		ts.Fatalf("exit code %d; %d was wanted", exit.ExitCode(), want)
	}
	if out := ts.ReadFile("stdout"); out != "" {
		ts.Fatalf("a refusal wrote to standard output: %q", out)
	}
	msg := ts.ReadFile("stderr")
	if !strings.HasPrefix(msg, "leafturn: ") || !strings.HasSuffix(msg, "\n") {
		ts.Fatalf("the refusal is no line of leafturn's: %q", msg)
	}
	if strings.Contains(msg, "panic:") || strings.Contains(msg, "goroutine") || strings.Contains(msg, "%!") {
		ts.Fatalf("the refusal is no sentence: %q", msg)
	}
	after := tree(ts)
	for _, name := range slices.Sorted(maps.Keys(before)) {
		if now, ok := after[name]; !ok {
			ts.Fatalf("the refused command removed %s", name)
		} else if now != before[name] {
			ts.Fatalf("the refused command changed %s", name)
		}
		delete(after, name)
	}
	for _, name := range slices.Sorted(maps.Keys(after)) {
		ts.Fatalf("the refused command made %s", name)
	}
}

// tree sums the content of every file of $WORK. SQLite's shared memory is no
// content, and an empty log is none.
func tree(ts *testscript.TestScript) map[string][32]byte {
	root := ts.Getenv("WORK")
	out := map[string][32]byte{}
	ts.Check(filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir():
			out[path+string(filepath.Separator)] = [32]byte{}
			return nil
		case !d.Type().IsRegular() || strings.HasSuffix(path, "-shm"):
			return nil
		}
		data, err := os.ReadFile(path)
		if errors.Is(err, fs.ErrPermission) { // a script took the right to read it away
			info, err := d.Info()
			if err != nil {
				return err
			}
			data = fmt.Append(nil, info.Size(), info.ModTime())
		} else if err != nil {
			return err
		}
		if len(data) == 0 && strings.HasSuffix(path, "-wal") {
			return nil
		}
		out[path] = sha256.Sum256(data)
		return nil
	}))
	return out
}

func jsonAt(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) != 2 && len(args) != 3 {
		usage(ts, neg, false, "[!] json FILE PATH [VALUE]")
	}
	dec := json.NewDecoder(strings.NewReader(ts.ReadFile(args[0])))
	dec.UseNumber()
	var doc any
	if err := dec.Decode(&doc); err != nil {
		ts.Fatalf("%s is no JSON: %v", args[0], err)
	}
	if _, err := dec.Token(); err != io.EOF {
		ts.Fatalf("%s goes on after the JSON document", args[0])
	}
	got, err := at(doc, args[1])
	if len(args) == 2 {
		switch {
		case neg && err == nil:
			ts.Fatalf("%s is there: %s", args[1], plain(got))
		case !neg && err != nil:
			ts.Fatalf("%v", err)
		}
		return
	}
	if err != nil {
		ts.Fatalf("%v", err)
	}
	if same := plain(got) == args[2]; same == neg {
		ts.Fatalf("%s is %s", args[1], plain(got))
	}
}

// at walks a dotted path down a JSON document.
func at(doc any, path string) (any, error) {
	for step := range strings.SplitSeq(path, ".") {
		switch x := doc.(type) {
		case map[string]any:
			v, ok := x[step]
			if !ok {
				return nil, fmt.Errorf("no %q of %q; there are: %s", step, path, strings.Join(slices.Sorted(maps.Keys(x)), ", "))
			}
			doc = v
		case []any:
			if step == "len" {
				doc = json.Number(strconv.Itoa(len(x)))
				continue
			}
			i, err := strconv.Atoi(step)
			if err != nil || i < 0 || i >= len(x) {
				return nil, fmt.Errorf("no %q of %q: a list of %d", step, path, len(x))
			}
			doc = x[i]
		default:
			return nil, fmt.Errorf("nothing below %q in %q", plain(doc), path)
		}
	}
	return doc, nil
}

// plain writes a value as a script would: text without quotation marks.
func plain(v any) string {
	if s, ok := v.(string); ok {
		return s
	}
	b, err := json.Marshal(v)
	if err != nil {
		return err.Error()
	}
	return string(b)
}

func sheets(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, len(args) == 3, "sheets FILE LINES N")
	lines, err1 := strconv.Atoi(args[1])
	n, err2 := strconv.Atoi(args[2])
	usage(ts, neg, err1 == nil && err2 == nil, "sheets FILE LINES N")
	all := strings.Split(ts.ReadFile(args[0]), "\f")
	if len(all) != n {
		ts.Fatalf("%s has %d pages; %d were wanted", args[0], len(all), n)
	}
	heads := map[string]bool{}
	for i, page := range all {
		if have := strings.Count(page, "\n"); have > lines {
			ts.Fatalf("page %d has %d lines", i+1, have)
		}
		before, after, ok := strings.Cut(page, fmt.Sprintf("\npage %d of %d\n", i+1, n))
		_, warning, _ := strings.Cut(after, "!!")
		warning, _, _ = strings.Cut(warning, "\n\n")
		heads[before+warning] = true
		if !ok || warning == "" || len(heads) > 1 {
			ts.Fatalf("page %d does not have the head of the others", i+1)
		}
	}
}

func calendar(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, len(args) == 1 || len(args) == 2, "calendar FILE [TO]")
	text := ts.ReadFile(args[0])
	if len(args) == 2 {
		ts.Check(os.WriteFile(ts.MkAbs(args[1]), []byte(strings.ReplaceAll(text, "\r\n ", "")), 0o600))
	}
	for i, line := range strings.SplitAfter(text, "\r\n") {
		if strings.ContainsAny(strings.TrimSuffix(line, "\r\n"), "\r\n") || len(line) > 77 {
			ts.Fatalf("line %d is not folded and ended as RFC 5545, section 3.1, wants: %q", i+1, line)
		}
	}
	cal, err := ics.ParseCalendar(strings.NewReader(text))
	if err != nil {
		ts.Fatalf("%s: %v", args[0], err)
	}
	if len(cal.Events()) == 0 {
		ts.Fatalf("%s has no events", args[0])
	}
	zones := map[string]bool{}
	for _, c := range cal.Components {
		if z, ok := c.(*ics.VTimezone); ok {
			zones[z.GetProperty(ics.ComponentPropertyTzid).Value] = true
			if len(z.Components) == 0 {
				ts.Fatalf("a zone of %s has no offset", args[0])
			}
		}
	}
	seen := map[string]bool{}
	for _, e := range cal.Events() {
		for _, name := range []ics.ComponentProperty{ics.ComponentPropertyDtStart, ics.ComponentPropertyDtEnd} {
			if x := e.GetProperty(name); x != nil && len(x.ICalParameters["TZID"]) > 0 && !zones[x.ICalParameters["TZID"][0]] {
				ts.Fatalf("%s of %s is in a zone that the file does not define: %v", name, e.Id(), x.ICalParameters["TZID"])
			}
		}
		if a, b := e.GetProperty(ics.ComponentPropertyDtStart), e.GetProperty(ics.ComponentPropertyDtEnd); a != nil && b != nil && b.Value <= a.Value {
			ts.Fatalf("%s ends at %s, not after %s", e.Id(), b.Value, a.Value)
		}
		for _, alarm := range e.Alarms() {
			if x := alarm.GetProperty(ics.ComponentPropertyTrigger); x == nil || !strings.Contains(x.Value, "P") {
				ts.Fatalf("an alarm of %s has no trigger", e.Id())
			}
		}
		for _, p := range []ics.ComponentProperty{ics.ComponentPropertyUniqueId, ics.ComponentPropertyDtstamp, ics.ComponentPropertyDtStart, ics.ComponentPropertySummary} {
			if x := e.GetProperty(p); x == nil || x.Value == "" {
				ts.Fatalf("an event of %s has no %s", args[0], p)
			}
		}
		if seen[e.Id()] {
			ts.Fatalf("two events of %s are %s", args[0], e.Id())
		}
		seen[e.Id()] = true
	}
}

func picture(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, len(args) > 0, "picture FILE...")
	for _, name := range args {
		data := []byte(ts.ReadFile(name))
		switch filepath.Ext(name) {
		case ".png":
			img, err := png.Decode(bytes.NewReader(data))
			if err != nil {
				ts.Fatalf("%s: %v", name, err)
			}
			b, first, drawn := img.Bounds(), img.At(0, 0), 0
			for y := b.Min.Y; y < b.Max.Y; y += 2 {
				for x := b.Min.X; x < b.Max.X; x += 2 {
					if img.At(x, y) != first {
						drawn++
					}
				}
			}
			if b.Dx() < 200 || b.Dy() < 100 || drawn < 1000 {
				ts.Fatalf("%s is %v with %d pixels drawn", name, b, drawn)
			}
		case ".svg":
			shapes := 0
			for dec := xml.NewDecoder(bytes.NewReader(data)); ; {
				tok, err := dec.Token()
				if err == io.EOF {
					break
				}
				if err != nil {
					ts.Fatalf("%s: %v", name, err)
				}
				if e, ok := tok.(xml.StartElement); ok && (e.Name.Local == "path" || e.Name.Local == "text") {
					shapes++
				}
			}
			if shapes < 10 {
				ts.Fatalf("%s has %d shapes", name, shapes)
			}
		case ".pdf":
			if !bytes.HasPrefix(data, []byte("%PDF-")) || !bytes.HasSuffix(bytes.TrimSpace(data), []byte("%%EOF")) || len(data) < 1000 {
				ts.Fatalf("%s is no whole PDF file: %d bytes", name, len(data))
			}
		default:
			ts.Fatalf("%s is no picture", name)
		}
	}
}

func fits(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, len(args) == 2, "fits FILE WIDTH")
	width, err := strconv.Atoi(args[1])
	ts.Check(err)
	for i, line := range strings.Split(ts.ReadFile(args[0]), "\n") {
		if n := len([]rune(line)); n > width && strings.Contains(strings.TrimSpace(line), " ") { // a long link cannot be broken
			ts.Fatalf("line %d has %d columns: %s", i+1, n, line)
		}
	}
}

func waitFor(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, len(args) == 1, "waitfor FILE")
	for range 1000 {
		if _, err := os.Stat(ts.MkAbs(args[0])); err == nil {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	ts.Fatalf("%s did not come", args[0])
}

// newer writes the user version of the database header, bytes 60 to 63, big
// endian: https://www.sqlite.org/fileformat2.html, section 1.3.
func newer(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, len(args) == 2, "newer FILE N")
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	var b [4]byte
	binary.BigEndian.PutUint32(b[:], uint32(n))
	overwrite(ts, args[0], 60, b[:])
}

func flip(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, len(args) == 3, "flip FILE OFFSET BYTES")
	off, err := strconv.Atoi(args[1])
	ts.Check(err)
	overwrite(ts, args[0], off, []byte(args[2]))
}

func overwrite(ts *testscript.TestScript, name string, off int, b []byte) {
	f, err := os.OpenFile(ts.MkAbs(name), os.O_RDWR, 0)
	ts.Check(err)
	_, err = f.WriteAt(b, int64(off))
	ts.Check(errors.Join(err, f.Close()))
}

// respell puts other letters in the place of the nth that are so in a file.
func respell(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, len(args) == 4 && len(args[2]) == len(args[3]), "respell FILE N OLD NEW")
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	text, off := ts.ReadFile(args[0]), 0
	for range n {
		i := strings.Index(text[off:], args[2])
		if i < 0 {
			ts.Fatalf("%q does not stand in %s so often", args[2], args[0])
		}
		off += i + len(args[2])
	}
	overwrite(ts, args[0], off-len(args[2]), []byte(args[3]))
}

// wide writes a file again as UTF-16 without a mark.
func wide(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, len(args) == 2, "wide FILE TO")
	var b []byte
	for _, u := range utf16.Encode([]rune(ts.ReadFile(args[0]))) {
		b = binary.LittleEndian.AppendUint16(b, u)
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), b, 0o644))
}

func cutShort(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, len(args) == 3, "cut FILE TO N")
	n, err := strconv.Atoi(args[2])
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), []byte(ts.ReadFile(args[0])[:n]), 0o644))
}

// many writes one line a day, each with 60 different counts.
func many(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, len(args) == 2, "many FILE N")
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	var b strings.Builder
	day := time.Date(2020, time.January, 1, 0, 0, 0, 0, time.UTC)
	for i := range n {
		fmt.Fprintf(&b, "%s B3 slug", day.AddDate(0, 0, i).Format(time.DateOnly))
		for j := range 60 {
			fmt.Fprintf(&b, " %d", (i*7+j*j)%53)
		}
		fmt.Fprintln(&b)
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(b.String()), 0o644))
}

func fill(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, len(args) == 1, "fill FOLDER")
	f, err := os.Create(filepath.Join(ts.MkAbs(args[0]), "filler"))
	ts.Check(err)
	for size := 1 << 16; size > 0; {
		if _, err := f.Write(make([]byte, size)); err != nil {
			size /= 2
		}
	}
	f.Close() // it is meant to be short of room
}

func openToAll(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, len(args) == 1, "open FILE")
	for path, top := ts.MkAbs(args[0]), filepath.Dir(filepath.Dir(ts.Getenv("WORK"))); path != top && path != filepath.Dir(path); path = filepath.Dir(path) {
		ts.Check(os.Chmod(path, 0o777))
	}
}

// Every script must be run, and be a script: a file of another kind beside
// them would be passed over in silence.
func TestScripts_NoneForgotten(t *testing.T) {
	entries, err := os.ReadDir(scripts)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if e.IsDir() || filepath.Ext(e.Name()) != ".txtar" {
			t.Errorf("%s/%s is not run: a script ends with .txtar", scripts, e.Name())
		}
	}
	if len(entries) < 25 {
		t.Errorf("only %d scripts in %s", len(entries), scripts)
	}
}
