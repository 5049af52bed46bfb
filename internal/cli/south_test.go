package cli_test

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/demo"
)

// halfYear turns the demo's days into those of a farm of the south: 26 weeks, so
// that days of the week stay.
const halfYear = 182

var isoDay = regexp.MustCompile(`\b20\d\d-\d\d-\d\d`)

func later(text string) string {
	return isoDay.ReplaceAllStringFunc(text, func(s string) string { return civil.MustParse(s).AddDays(halfYear).String() })
}

var plainDay = regexp.MustCompile(`\b\d{1,2} (?:January|February|March|April|May|June|July|August|September|October|November|December)\b(?: 20\d\d)?`)

// laterDays moves days without a year, such as 20 July.
func laterDays(text string, by int) string {
	return plainDay.ReplaceAllStringFunc(text, func(s string) string {
		d, err := time.Parse("2 January 2006", strings.Join(strings.Fields(s)[:2], " ")+" 2026")
		if err != nil {
			return s
		}
		return civil.DateIn(d, time.UTC).AddDays(by).Time().Format("2 January")
	})
}

// mirrored plays the demo's season, in the south with all days half a year
// later and with the mirrored latitude.
func mirrored(t *testing.T, south bool) *field {
	t.Helper()
	f := newField(t, "2027-01-21T02:00:00Z") // 20 January, 18:00 there
	if south {
		f.now = "2027-07-21T06:00:00Z" // 21 July, 18:00 there
	}
	in := filepath.Join(f.dir, "in")
	require.NoError(t, demo.Write(in))
	if south {
		from := in
		in = filepath.Join(f.dir, "south")
		require.NoError(t, filepath.Walk(from, func(path string, info os.FileInfo, err error) error {
			if err != nil || info.IsDir() {
				return err
			}
			raw, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			text := string(raw)
			if filepath.Ext(path) != ".toml" {
				text = later(text)
			}
			to := later(filepath.Join(in, strings.TrimPrefix(path, from)))
			if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
				return err
			}
			return os.WriteFile(to, []byte(text), 0o644)
		}))
	}
	script, err := demo.Script()
	require.NoError(t, err)
	for _, line := range script {
		switch {
		case line.Words[0] == "plot", len(line.Words) > 1 && line.Words[1] == "--normals":
			continue // usual days go by calendar months, which are not 26 weeks apart
		}
		var words []string
		for _, w := range line.Words {
			if name, ok := strings.CutPrefix(w, demo.InFolder); ok {
				w = filepath.Join(in, name)
			}
			if south {
				switch w = laterDays(later(w), halfYear); w {
				case "America/Los_Angeles":
					w = "Pacific/Auckland"
				case "04-25":
					w = "10-24"
				case "10-20":
					w = "04-20"
				}
			}
			words = append(words, w)
		}
		f.run(words...)
	}
	place := "47.5, -122"
	if south {
		place = "-47.5, 178"
	}
	f.run("farm", "set", "--at", place)
	return f
}

var (
	shortDay = regexp.MustCompile(`\b(Mon|Tue|Wed|Thu|Fri|Sat|Sun) (\d{1,2} [A-Z][a-z]{2})\b( 20\d\d)?`)
	isoWeek  = regexp.MustCompile(`\b(20\d\d)-W(\d\d)\b`)
	zones    = regexp.MustCompile(`\b(PDT|PST|NZDT|NZST)\b|America/Los_Angeles|Pacific/Auckland|[-+]\d\d:00\b`)
	of       = regexp.MustCompile(`"(made|facts|uid|revised)": "[^"]*"|"(start|end)": "[^"]*Z"|made 20.*`)
)

// moved reads what the farm of the north was told as of half a year later, and
// takes off what may differ: years behind days, zones, names of seasons.
func moved(text string, south bool) string {
	by := 0
	if !south {
		by = halfYear
	}
	text = of.ReplaceAllString(text, "")
	text = zones.ReplaceAllString(text, "ZONE")
	text = isoDay.ReplaceAllStringFunc(text, func(s string) string { return civil.MustParse(s).AddDays(by).String() })
	text = isoWeek.ReplaceAllStringFunc(text, func(s string) string {
		for d := civil.New(2025, time.December, 1); ; d = d.AddDays(7) {
			if d.WeekString() == s {
				return d.AddDays(by).WeekString()
			}
		}
	})
	text = shortDay.ReplaceAllStringFunc(text, func(s string) string {
		m := shortDay.FindStringSubmatch(s)
		for year := 2026; ; year++ { // within some years a day has each day of the week
			d, err := time.Parse("2 Jan 2006", fmt.Sprint(m[2], " ", year))
			if err == nil && d.Format("Mon") == m[1] {
				return strings.ReplaceAll(civil.DateIn(d, time.UTC).AddDays(by).Short(), " ", "_")
			}
		}
	})
	// A day in a fact of another crop, which stays as its source has it.
	text = strings.ReplaceAll(text, "to about 1 July", "to about midsummer")
	text = strings.ReplaceAll(laterDays(text, by), " (months of the north)", "")
	// 1 September in the facts is 1 March in the south, a day less than 26 weeks on.
	text = strings.NewReplacer("2027-03-01", "2027-03-02", "Mon_1_Mar", "Tue_2_Mar", "Mon Mar 1", "Tue Mar 2").Replace(text)
	return strings.ReplaceAll(text, "2026/27", "2026")
}

// The list, reasons, review, sheets and pictures of a farm of the south say half
// a year later what those of the north say: no season is cut at new year.
func TestSouth_MirrorsNorth(t *testing.T) {
	north, south := mirrored(t, false), mirrored(t, true)
	same := func(t *testing.T, command string) {
		t.Helper()
		words, err := demo.Split(command)
		require.NoError(t, err)
		mirror, err := demo.Split(later(command))
		require.NoError(t, err)
		want, got := moved(north.run(words...), false), moved(south.run(mirror...), true)
		sameLines(t, want, got, "leafturn "+later(command))
	}
	// Before planting, in each part of the season and around its end: in the south
	// 31 August, 26 October, ..., 28 June and 5 July.
	for _, day := range []string{"2026-03-02", "2026-04-27", "2026-05-25", "2026-06-29", "2026-07-06", "2026-07-20", "2026-10-26", "2026-11-23", "2026-12-28", "2027-01-04"} {
		for _, command := range []string{"week", "due", "bed list", "round", "board", "worked"} {
			t.Run(command+" "+day, func(t *testing.T) { same(t, command+" --json --date "+day) })
		}
	}
	for _, command := range []string{
		"why 1 --json --date 2026-07-20", "why 20 --json --date 2026-07-20", "why D5 thrips --json --date 2026-07-20", "why A2 slug --json --date 2026-06-15",
		"visits D5 mite --json --date 2026-07-20", "trend mite --json --date 2026-07-20", "calc clumping mite --json",
		"sample slug B3 --json --date 2026-06-08", "degree-days mite --json --date 2026-07-20 --from 2026-06-15",
		"plot --date 2026-10-31 --out all.svg", "plot mite --date 2026-10-31 --out mites.svg", "plot mite --bed D5 --date 2026-10-31 --out D5.svg",
		"plot mite --bed D5 --date 2026-07-06 --out D5.svg", "plot mite --map --date 2026-07-20 --out map.svg", "plot slug --bed A2 --date 2026-10-31 --out A2.svg", "plot slug --date 2026-10-31 --out slugs.svg",
	} {
		t.Run(command, func(t *testing.T) {
			if strings.Contains(command, "--out") {
				t.Chdir(t.TempDir())
			}
			same(t, command)
		})
	}
	t.Run("review", func(t *testing.T) { southReview(t, *north, *south) })
	t.Run("covers", func(t *testing.T) { southCovers(t, north, south) })
	t.Run("companions", func(t *testing.T) { southCompanions(t, north, south) })
}

// sameLines compares line by line and shows the first that differs.
func sameLines(t *testing.T, want, got, what string) {
	t.Helper()
	w, g := strings.Split(want, "\n"), strings.Split(got, "\n")
	for i := range min(len(w), len(g)) {
		require.Equal(t, w[i], g[i], "%s, line %d", what, i+1)
	}
	require.Equal(t, len(w), len(g), what)
}

// southReview compares looks back on a part of the season and on more of it. What
// is left of a label's maximum is not compared: the years that it is counted over
// are calendar years in both halves of the earth.
func southReview(t *testing.T, north, south field) {
	for _, now := range [][2]string{{"2026-07-22T01:00:00Z", "2027-01-19T05:00:00Z"}, {"2026-12-29T02:00:00Z", "2027-06-28T06:00:00Z"}} {
		look := func(f field, year string, in bool) string {
			var doc struct {
				Title    string
				Subtitle string
				Sections []map[string]any
				Data     map[string]any
			}
			require.NoError(t, json.Unmarshal([]byte(f.run("review", "--json", "--year", year)), &doc))
			delete(doc.Data["records"].(map[string]any), "allowances")
			kept := doc.Sections[:0]
			for _, s := range doc.Sections {
				if s["key"] != "allowances" {
					kept = append(kept, s)
				}
			}
			require.Len(t, kept, len(doc.Sections)-1)
			doc.Sections = kept
			raw, err := json.MarshalIndent(doc, "", " ")
			require.NoError(t, err)
			return moved(string(raw), in)
		}
		north.now, south.now = now[0], now[1]
		for _, year := range [][2]string{{"2026", "2026/27"}, {"2026", "2026-27"}, {"2026", "2026"}, {"", ""}} {
			sameLines(t, look(north, year[0], false), look(south, year[1], true), now[1]+", review of "+year[1])
		}
	}
}

// southCovers compares what is sown and ended when.
func southCovers(t *testing.T, north, south *field) {
	for _, day := range []string{"2026-07-20", "2026-10-25", "2027-01-18"} {
		plan := func(f *field, day string, in bool) string {
			var d struct {
				Beds []struct {
					Bed    string
					Free   civil.Date
					Plant  civil.Date
					Winter struct {
						Cover     string
						Sow, Kill *civil.Date
						Points    float64
					}
				}
				Works []struct {
					Task        string
					Beds        []string
					First, Last *civil.Date
				}
			}
			f.data(&d, "covers", "--date", day)
			require.NotEmpty(t, d.Works)
			raw, err := json.Marshal(d)
			require.NoError(t, err)
			return moved(string(raw), in)
		}
		require.Equal(t, plan(north, day, false), plan(south, later(day), true), day)
	}
}

// southCompanions compares the sowing list and the weeks of bloom and need.
func southCompanions(t *testing.T, north, south *field) {
	for _, day := range []string{"2026-04-10", "2026-07-20", "2026-10-31", "2027-01-18"} {
		plan := func(f *field, day string, in bool) (string, int) {
			var d struct {
				Sowing []struct {
					Date        civil.Date
					Plant, Work string
				} `json:"sowing_list"`
				Calendar []struct {
					From              civil.Date
					Needed, Gap, Bare any
					InBloom           []string `json:"in_bloom"`
				}
			}
			f.data(&d, "companions", "--date", day)
			raw, err := json.Marshal(d)
			require.NoError(t, err)
			return moved(string(raw), in), len(d.Sowing)
		}
		want, n := plan(north, day, false)
		got, _ := plan(south, later(day), true)
		require.Equal(t, want, got, day)
		require.Equal(t, day != "2026-04-10", n > 0, day)
	}
}
