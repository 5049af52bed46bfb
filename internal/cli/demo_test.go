package cli_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	ical "github.com/arran4/golang-ical"
	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/demo"
	"leafturn/internal/render"
	"leafturn/internal/testkit"
)

const demoNow = "2026-11-10T18:00:00Z"

// TestDemo plays the invented season once, through `leafturn demo` and so
// through the commands that a person would type, and asks it things.
func TestDemo(t *testing.T) {
	f := newField(t, demoNow)
	folder := filepath.Join(f.dir, "demo")
	out := f.run("demo", "--keep", folder, "--quiet")
	f.db = filepath.Join(folder, "farm.leafturn")

	in := func(t *testing.T) *field { return &field{t, f.dir, f.db, f.now} }
	t.Run("prints the week", func(t *testing.T) {
		f := in(t)
		week := f.run("week", "--date", demo.Week.String())
		require.True(t, strings.HasPrefix(out, week), "the demo prints the week's list of %s", demo.Week)
		goldenFile(t, "demo-week.txt", week)
	})
	t.Run("is a whole farm", func(t *testing.T) { demoFarm(in(t)) })
	t.Run("has a page to read", func(t *testing.T) { demoPage(in(t)) })
	t.Run("draws pictures", func(t *testing.T) { demoPictures(t, folder) })
	t.Run("says the same to machines", func(t *testing.T) { demoParity(in(t)) })
	t.Run("writes a calendar", func(t *testing.T) { demoCalendar(in(t), folder) })
	t.Run("earlier lists stand", func(t *testing.T) { demoAsOf(in(t)) })
}

// goldenFile compares with testdata/name; UPDATE_GOLDEN=1 rewrites it. The
// version of the facts is left out: it changes with every fact.
func goldenFile(t *testing.T, name, got string) {
	t.Helper()
	got = regexp.MustCompile(`facts \d{4}-\d\d-\d\d\+[0-9a-f]+`).ReplaceAllString(got, "facts FACTS")
	path := filepath.Join("testdata", name)
	if os.Getenv("UPDATE_GOLDEN") != "" {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "UPDATE_GOLDEN=1 writes it")
	require.Equal(t, string(want), got)
}

// demoPage opens the week and the season as pages in a real browser, wide and
// narrow.
func demoPage(f *field) {
	t := f.t
	for file, command := range map[string][]string{"week.html": {"week", "--date", demo.Week.String()}, "season.html": {"review"}} {
		path := filepath.Join(f.dir, file)
		f.run(append(command, "--html", path)...)
		raw, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Contains(t, string(raw), "<p>made 20", "the page says when it was made")
		for _, width := range []int{1200, 500} {
			s := testkit.Browser(t, raw, width)
			require.Empty(t, s.Faults, "%s, %d points", file, width)
			require.Empty(t, s.Loaded)
			require.LessOrEqual(t, s.Wide, s.Width, "%s, %d points", file, width)
			require.Greater(t, s.Pictures, 5)
			require.Greater(t, s.Texts, 300)
		}
		require.NotEmpty(t, testkit.BrowserPrint(t, raw))
	}
}

// demoFarm checks that the invented farm is of the size that the program is
// for, and that its season leaves nothing out.
func demoFarm(f *field) {
	t := f.t
	var beds []struct {
		Code   string  `json:"code"`
		Plants int     `json:"plants"`
		Area   float64 `json:"area_m2"`
		Stage  string  `json:"stage"`
	}
	f.data(&beds, "bed", "list", "--date", "2026-07-20")
	require.InDelta(t, 20, len(beds), 2)
	plants := 0
	for _, b := range beds {
		plants += b.Plants
		require.Positive(t, b.Area, b.Code)
	}
	require.InDelta(t, 2000, plants, 100)

	var visits []struct {
		Bed  string     `json:"bed"`
		Date civil.Date `json:"date"`
		Pest string     `json:"pest"`
	}
	f.data(&visits, "visits", "--all")
	pests, months := map[string]int{}, map[time.Month]int{}
	for _, v := range visits {
		pests[v.Pest]++
		months[v.Date.Month]++
	}
	require.GreaterOrEqual(t, len(pests), 6, "%v", pests)
	for m := time.April; m <= time.November; m++ {
		require.Positive(t, months[m], "no counts in %s", m)
	}

	// Every stage of a season is passed through by the beds.
	stages := map[string]bool{}
	for _, day := range []string{"2026-04-20", "2026-05-18", "2026-06-08", "2026-06-22", "2026-07-13", "2026-08-10", "2026-11-09"} {
		f.data(&beds, "bed", "list", "--date", day)
		for _, b := range beds {
			stages[b.Stage] = true
		}
	}
	for _, s := range []string{"preplant", "planted", "emerged", "pinched", "budding", "bloom", "dug"} {
		require.True(t, stages[s], "no bed was ever %s on the days looked at: %v", s, stages)
	}

	// Nothing in it can be taken for a real farm or product.
	var farm struct {
		Name string `json:"name"`
	}
	f.data(&farm, "farm", "show")
	require.Contains(t, farm.Name, "invented")
	var labels []struct {
		Product string `json:"product"`
	}
	f.data(&labels, "label", "list")
	require.NotEmpty(t, labels)
	for _, l := range labels {
		require.Contains(t, l.Product, "invented")
	}
	require.Contains(t, f.run("check"), "is whole")
}

// demoPictures checks that each picture the script asks for was drawn and is
// of its kind.
func demoPictures(t *testing.T, folder string) {
	script, err := demo.Script()
	require.NoError(t, err)
	magic := map[string]string{".png": "\x89PNG\r\n\x1a\n", ".svg": "<?xml", ".pdf": "%PDF-"}
	drawn := 0
	for _, l := range script {
		if l.Words[0] != "plot" {
			continue
		}
		name, ok := strings.CutPrefix(l.Words[slices.Index(l.Words, "--out")+1], demo.InFolder)
		require.True(t, ok)
		ext := filepath.Ext(name)
		pages, err := filepath.Glob(filepath.Join(folder, strings.TrimSuffix(name, ext)+"*"+ext)) // name.png, or name-1.png on
		require.NoError(t, err)
		require.NotEmpty(t, pages, name)
		for _, page := range pages {
			raw, err := os.ReadFile(page)
			require.NoError(t, err)
			require.True(t, strings.HasPrefix(string(raw), magic[ext]), page)
			require.Greater(t, len(raw), 2000, page)
		}
		drawn++
	}
	require.GreaterOrEqual(t, drawn, 3)
}

// demoParity checks, page by page, that every number that a person reads is in
// the JSON of the same page.
func demoParity(f *field) {
	for _, args := range [][]string{
		{"week", "--date", "2026-05-11"}, {"week", "--date", "2026-07-20"}, {"week", "--date", "2026-09-28"}, {"week", "--date", "2026-11-10"},
		{"why", "1", "--date", "2026-07-20"}, {"why", "8", "--date", "2026-07-20"}, {"why", "D5", "mite", "--date", "2026-07-20"},
		{"why", "A2", "slug", "--date", "2026-06-08"}, {"why", "B4", "mosaic", "--date", "2026-07-20"},
		{"due", "--date", "2026-07-20"}, {"visits", "D5", "mite"}, {"visits", "--all"}, {"pest"}, {"pest", "slug"}, {"pest", "mite"}, {"pest", "tospovirus"},
		{"threshold", "list"}, {"label", "list"}, {"label", "show", "ironbait"}, {"label", "show", "demosulfur"},
		{"bed", "list"}, {"farm", "show"}, {"estimate", "D5", "mite", "--date", "2026-07-13"}, {"calc", "clumping", "mite", "--share", "12/50"}, {"calc", "pest-days", "C2", "mite"}, {"calc", "growth", "C2", "mite", "--from", "2026-06-22"},
		{"companions"}, {"companions", "slug"}, {"covers"}, {"covers", "--pest", "wireworm"},
	} {
		text := f.run(args...)
		js := f.run(append(args, "--json")...)
		missing, err := render.NotInJSON(text, []byte(js))
		require.NoError(f.t, err)
		require.Empty(f.t, missing, "leafturn %s", strings.Join(args, " "))
		require.NotContains(f.t, js, "NaN")
	}
}

// demoCalendar reads the week's calendar with a library of its own (RFC 5545).
func demoCalendar(f *field, folder string) {
	t := f.t
	export := func(day string) string { return f.run("week", "--date", day, "--ics", "-") }
	raw := export(demo.Week.String())
	require.Equal(t, raw, export(demo.Week.String()), "two exports are the same bytes")
	kept, err := os.ReadFile(filepath.Join(folder, "week.ics"))
	require.NoError(t, err)
	require.Equal(t, raw, string(kept), "and so is the one that the demo wrote")

	// Section 3.1: lines end in CRLF and have at most 75 octets before it.
	require.True(t, strings.HasSuffix(raw, "\r\n"))
	for _, line := range strings.Split(strings.TrimSuffix(raw, "\r\n"), "\r\n") {
		require.LessOrEqual(t, len(line), 75, "%q", line)
		require.NotContains(t, line, "\n")
		require.NotContains(t, line, "\r")
	}

	cal, err := ical.ParseCalendar(strings.NewReader(raw))
	require.NoError(t, err)
	property := func(name string) string {
		for _, p := range cal.CalendarProperties {
			if p.IANAToken == name {
				return p.Value
			}
		}
		return ""
	}
	require.Equal(t, "2.0", property("VERSION")) // section 3.7.4
	require.NotEmpty(t, property("PRODID"))      // section 3.7.3

	var list struct {
		Lines []struct {
			Section string     `json:"section"`
			By      civil.Date `json:"by"`
		} `json:"lines"`
	}
	f.data(&list, "week", "--date", demo.Week.String())
	dated := 0
	for _, l := range list.Lines {
		if !l.By.IsZero() && l.Section != "must not" && l.Section != "left undone" {
			dated++
		}
	}
	require.Positive(t, dated)

	utc := regexp.MustCompile(`^\d{8}T\d{6}Z$`)
	uids, closures := map[string]bool{}, 0
	for _, e := range cal.Events() {
		get := func(p ical.ComponentProperty) string {
			x := e.GetProperty(p)
			require.NotNil(t, x, "an event lacks %s", p)
			require.NotEmpty(t, x.Value)
			return x.Value
		}
		uid := get(ical.ComponentPropertyUniqueId)
		require.False(t, uids[uid], "the UID %s stands twice", uid)
		uids[uid] = true
		require.Regexp(t, utc, get(ical.ComponentPropertyDtstamp), "section 3.8.7.2: DTSTAMP is in UTC")
		get(ical.ComponentPropertySummary)
		start := get(ical.ComponentPropertyDtStart)
		if strings.HasPrefix(uid, "rei-") {
			closures++
			require.Regexp(t, utc, start, "a re-entry interval is elapsed time, so it is given in UTC")
			require.Regexp(t, utc, get(ical.ComponentPropertyDtEnd))
			continue
		}
		require.Regexp(t, `^\d{8}$`, start, "a step is due on a day")
	}
	require.Equal(t, dated+closures, len(uids), "each line with a day is one entry")
	// Demo sulfur ended on Sunday 19 July at 20:30 in Los Angeles (UTC-7) with
	// a re-entry interval of 24 hours.
	require.Equal(t, 1, closures)
	require.Contains(t, raw, "DTSTART:20260720T033000Z\r\nDTEND:20260721T033000Z\r\n")

	// An export on the next day changes the same entries, and so does one of the
	// week after: what still stands keeps its UID, and what is new has its own.
	later, err := ical.ParseCalendar(strings.NewReader(export(demo.Week.AddDays(1).String())))
	require.NoError(t, err)
	same := 0
	for _, e := range later.Events() {
		if uids[e.Id()] {
			same++
		}
	}
	require.Greater(t, same, dated/2)
	next, err := ical.ParseCalendar(strings.NewReader(export(demo.Week.AddDays(7).String())))
	require.NoError(t, err)
	stands, fresh := 0, 0
	for _, e := range next.Events() {
		if uids[e.Id()] {
			stands++
		} else {
			fresh++
		}
	}
	require.Positive(t, stands)
	require.Positive(t, fresh)
}

// demoAsOf enters the season again as it went by: on every counting day the
// clock stands at that evening, and nothing later has been entered. The list
// of each day must be, to the last field, the one that the whole season gives
// for it afterwards.
func demoAsOf(whole *field) {
	t := whole.t
	script, err := demo.Script()
	require.NoError(t, err)
	files := t.TempDir()
	require.NoError(t, demo.Write(files))
	f := newField(t, "")
	clock := func(day civil.Date) { f.now = day.String() + "T22:00:00-07:00" }
	list := func(g *field, day civil.Date) string {
		raw := g.run("week", "--date", day.String(), "--json")
		var doc map[string]json.RawMessage
		require.NoError(t, json.Unmarshal([]byte(raw), &doc))
		delete(doc, "made") // when it was printed
		out, err := json.Marshal(doc)
		require.NoError(t, err)
		return string(out)
	}
	// The weather and the stages come in one file each: enter them day by day.
	type entered struct {
		command string
		header  []string
		rows    [][]string
	}
	var tables []entered
	until := civil.New(2026, time.January, 1)
	// upTo enters what the two files say of the days after the last call.
	upTo := func(day civil.Date) {
		clock(day)
		for _, x := range tables {
			var b bytes.Buffer
			w := csv.NewWriter(&b)
			n := 0
			require.NoError(t, w.Write(x.header))
			for _, r := range x.rows {
				d, err := civil.Parse(r[0])
				require.NoError(t, err)
				if d.After(until) && !d.After(day) {
					n++
					require.NoError(t, w.Write(r))
				}
			}
			w.Flush()
			if n > 0 {
				f.run(x.command, "--file", f.file(x.command+".csv", b.String()))
			}
		}
		until = day
	}
	then := map[civil.Date]string{}
	counts := 0
	for _, l := range script {
		words := slices.Clone(l.Words)
		day := until
		for i, w := range words {
			if name, ok := strings.CutPrefix(w, demo.InFolder); ok {
				words[i] = filepath.Join(files, filepath.FromSlash(name))
				if d, err := civil.Parse(strings.TrimSuffix(filepath.Base(name), ".txt")); err == nil {
					day = d
				}
			}
			if i > 0 && (words[i-1] == "--date" || words[i-1] == "--end") {
				d, err := civil.Parse(w[:10])
				require.NoError(t, err)
				day = d
			}
		}
		timeless := words[0] == "farm" || words[0] == "bed" || slices.Contains(words, "--normals")
		switch {
		case words[0] == "plot":
			continue
		case timeless:
			f.now = demoNow
			f.run(words...)
			continue
		case words[0] == "stage", words[0] == "weather":
			raw, err := os.Open(words[len(words)-1])
			require.NoError(t, err)
			r := csv.NewReader(raw)
			r.Comment = '#'
			rows, err := r.ReadAll()
			require.NoError(t, err)
			require.NoError(t, raw.Close())
			require.Equal(t, "date", rows[0][0], "the first column is the day")
			tables = append(tables, entered{words[0], rows[0], rows[1:]})
			continue
		}
		require.False(t, day.Before(until), "line %d of the script goes back in time", l.Number)
		upTo(day)
		f.run(words...)
		if words[0] != "count" {
			continue
		}
		// A list takes a tenth of a second: every third, and the two weeks in
		// which most goes on.
		if counts++; counts%3 == 0 || day == civil.New(2026, time.June, 15) || day == demo.Week {
			then[day] = list(f, day)
		}
	}
	require.GreaterOrEqual(t, len(then), 9)
	for day, was := range then {
		if now := list(whole, day); was != now {
			t.Errorf("the list of %s was changed by what was entered later:\n%s", day, firstDifference(was, now))
		}
	}
}

// firstDifference shows two long texts around the place where they part.
func firstDifference(a, b string) string {
	at := 0
	for at < len(a) && at < len(b) && a[at] == b[at] {
		at++
	}
	around := func(s string) string { return s[max(0, at-200):min(len(s), at+200)] }
	return "then: ..." + around(a) + "...\nnow:  ..." + around(b) + "..."
}
