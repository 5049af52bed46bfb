package app_test

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/render"
	"leafturn/internal/report"
	"leafturn/internal/store"
	"leafturn/internal/units"
)

var ctx = context.Background()

func p(s string) *string { return &s }

// newFarm makes a farm at path and opens it at the instant now.
func newFarm(t *testing.T, path string, now time.Time, o app.FarmOptions) *app.App {
	t.Helper()
	if o.Name == nil {
		o.Name = p("Test field")
	}
	if o.Zone == nil {
		o.Zone = p("UTC")
	}
	_, err := app.NewFarm(ctx, path, o, "farm new", "", now)
	require.NoError(t, err)
	a, err := app.Open(ctx, path, now)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, a.Close()) })
	return a
}

func testPath(t *testing.T) string { return filepath.Join(t.TempDir(), "farm.leafturn") }

// summer is a Wednesday in a season.
var summer = time.Date(2026, time.July, 22, 9, 0, 0, 0, time.UTC)

func TestFarmOptions_Refused(t *testing.T) {
	good := app.FarmOptions{Name: p("A"), Zone: p("Europe/London")}
	for name, c := range map[string]struct {
		change func(*app.FarmOptions)
		want   []string // each in the message
	}{
		"no name":        {func(o *app.FarmOptions) { o.Name = p("  ") }, []string{"the farm has no name", "--name"}},
		"no zone":        {func(o *app.FarmOptions) { o.Zone = nil }, []string{"no time zone", "--zone"}},
		"wrong zone":     {func(o *app.FarmOptions) { o.Zone = p("Mars/Base") }, []string{`"Mars/Base" is not a time zone`, "Area/City"}},
		"local zone":     {func(o *app.FarmOptions) { o.Zone = p("Local") }, []string{"is not a time zone"}},
		"country":        {func(o *app.FarmOptions) { o.Country = p("England") }, []string{`"England" is not a country code`, "two letters"}},
		"hardiness":      {func(o *app.FarmOptions) { o.Hardiness = p("14a") }, []string{`"14a" is not a USDA zone`, "1a to 13b"}},
		"hardiness zero": {func(o *app.FarmOptions) { o.Hardiness = p("0") }, []string{"is not a USDA zone"}},
		"frost words":    {func(o *app.FarmOptions) { o.LastFrost = p("25 April") }, []string{"--last-frost", "MM-DD"}},
		"frost day":      {func(o *app.FarmOptions) { o.FirstFrost = p("11-31") }, []string{"--first-frost"}},
		"units":          {func(o *app.FarmOptions) { o.Units = p("imperial") }, []string{`"imperial" is not known`, "metric or us"}},
		"organic":        {func(o *app.FarmOptions) { o.Organic = p("maybe") }, []string{"is not an answer", "yes or no"}},
		"pest":           {func(o *app.FarmOptions) { o.Pests = p("slug,mitte") }, []string{`unknown pest "mitte"`, `did you mean "mite"`}},
		"several at once": {func(o *app.FarmOptions) { o.Units, o.Organic, o.Pests = p("x"), p("x"), p("yeti") },
			[]string{"--units", "--organic", "--pests"}},
	} {
		t.Run(name, func(t *testing.T) {
			o := good
			c.change(&o)
			path := testPath(t)
			_, err := app.NewFarm(ctx, path, o, "farm new", "", summer)
			require.Error(t, err)
			require.Equal(t, diag.CodeUsage, diag.Code(err), "it was used wrongly")
			for _, w := range c.want {
				require.Contains(t, err.Error(), w)
			}
			require.NoFileExists(t, path, "nothing was made")
		})
	}
}

func TestFarmOptions_SetAndCleared(t *testing.T) {
	path := testPath(t)
	a := newFarm(t, path, summer, app.FarmOptions{
		Name: p(" Hill field "), Place: p("a valley"), Country: p("gb"), Zone: p("Europe/London"), Hardiness: p("8B"),
		LastFrost: p("04-25"), FirstFrost: p("10-20"), Units: p("US"), Organic: p("Yes"), Pests: p("mite, slug,,"),
	})
	show := func() app.FarmData {
		doc, err := a.ShowFarm(ctx)
		require.NoError(t, err)
		return doc.Data.(app.FarmData)
	}
	d := show()
	require.Equal(t, app.FarmData{
		Name: "Hill field", Place: "a valley", Country: "GB", TimeZone: "Europe/London", HardinessZone: "8b", LastFrost: d.LastFrost, FirstFrost: d.FirstFrost,
		Units: "us", Organic: true, Pests: []string{"spider_mite", "slug"}, Area: []string{}, Normals: []app.NormalData{}, File: path,
	}, d)
	require.Equal(t, "04-25", d.LastFrost.String())
	require.Equal(t, "10-20", d.FirstFrost.String())

	// What is not given stays; an empty word clears.
	_, err := a.SetFarm(ctx, app.FarmOptions{Country: p(""), LastFrost: p(""), Organic: p("no"), Pests: p("")})
	require.NoError(t, err)
	d = show()
	require.Equal(t, "Hill field", d.Name)
	require.Equal(t, "8b", d.HardinessZone)
	require.Empty(t, d.Country)
	require.True(t, d.LastFrost.IsZero())
	require.False(t, d.Organic)
	require.Equal(t, []string{}, d.Pests)

	// A refused change changes nothing.
	_, err = a.SetFarm(ctx, app.FarmOptions{Place: p("elsewhere"), Units: p("stone")})
	require.Error(t, err)
	require.Equal(t, d, show())

	// A farm is not made twice over the same file.
	_, err = app.NewFarm(ctx, path, app.FarmOptions{Name: p("Other"), Zone: p("UTC")}, "farm new", "", summer)
	require.Error(t, err)
	require.Equal(t, d, show())
}

func TestBeds_Refused(t *testing.T) {
	a := newFarm(t, testPath(t), summer, app.FarmOptions{})
	good := app.BedOptions{Code: "B3", Size: "80 ft x 4 ft", Site: "outdoor"}
	for name, c := range map[string]struct {
		change func(*app.BedOptions)
		want   string
	}{
		"a number for a code": {func(o *app.BedOptions) { o.Code = "12" }, "cannot name a bed"},
		"no size":             {func(o *app.BedOptions) { o.Size = "" }, "amounts follow from it"},
		"one side":            {func(o *app.BedOptions) { o.Size = "25 m" }, "not a length and a width"},
		"bare numbers":        {func(o *app.BedOptions) { o.Size = "25 x 1.2" }, "write it with its unit"},
		"no width":            {func(o *app.BedOptions) { o.Size = "25 m x 0 m" }, "cannot be the side of a bed"},
		"huge":                {func(o *app.BedOptions) { o.Size = "25 m x 20000 m" }, "at most 10000 m"},
		"weight for a side":   {func(o *app.BedOptions) { o.Size = "25 m x 3 kg" }, "--size"},
		"at":                  {func(o *app.BedOptions) { o.At = "3 m" }, "not two distances"},
		"plants":              {func(o *app.BedOptions) { o.Plants = "-3" }, "not a number of plants"},
		"water":               {func(o *app.BedOptions) { o.Irrigation = "rain" }, "drip, overhead, hand or none"},
		"site":                {func(o *app.BedOptions) { o.Site = "roof" }, "outdoor or house"},
	} {
		o := good
		c.change(&o)
		_, err := a.AddBed(ctx, o)
		require.ErrorContains(t, err, c.want, name)
		require.Equal(t, diag.CodeUsage, diag.Code(err), name)
	}
	doc, err := a.Beds(ctx, a.Today())
	require.NoError(t, err)
	require.Equal(t, []app.BedData{}, doc.Data, "nothing of all that was stored")

	_, err = a.AddBed(ctx, app.BedOptions{Code: "B3", Size: "80 ft x 4 ft", At: "0 m, 12 m", Plants: "100", Site: "outdoor"})
	require.NoError(t, err)
	doc, err = a.Beds(ctx, a.Today())
	require.NoError(t, err)
	b := doc.Data.([]app.BedData)[0]
	require.InDelta(t, 80*4*0.3048*0.3048, b.AreaM2, 1e-12) // NIST SP 811: 1 ft = 0.3048 m
	require.EqualValues(t, 0, *b.EastM)
	require.EqualValues(t, 12, *b.NorthM)
	require.Equal(t, "preplant", b.Stage)
	require.True(t, b.Since.IsZero())

	// A bed's code is unique whatever the case of its letters.
	_, err = a.AddBed(ctx, app.BedOptions{Code: "b3", Size: "10 m x 1 m", Site: "outdoor"})
	require.Error(t, err)
}

func TestParseDay(t *testing.T) {
	today := civil.MustParse("2026-03-01")
	for in, want := range map[string]string{"": "2026-03-01", "today": "2026-03-01", "yesterday": "2026-02-28", "2024-02-29": "2024-02-29"} {
		d, err := app.ParseDay(in, today)
		require.NoError(t, err, in)
		require.Equal(t, want, d.String(), in)
	}
	for _, in := range []string{"2026-02-29", "01/03/2026", "tomorrow-ish", "2026-13-01"} {
		_, err := app.ParseDay(in, today)
		require.Error(t, err, in)
		require.Equal(t, diag.CodeUsage, diag.Code(err), in)
	}
}

// Today is the farm's day, not the machine's: at 02:00 UTC it is still the day
// before in Los Angeles, and already the next in Auckland at 13:00 UTC.
func TestToday_IsTheFarms(t *testing.T) {
	a := newFarm(t, testPath(t), time.Date(2026, 7, 22, 2, 0, 0, 0, time.UTC), app.FarmOptions{Zone: p("America/Los_Angeles")})
	require.Equal(t, "2026-07-21", a.Today().String())
	b := newFarm(t, testPath(t), time.Date(2026, 7, 22, 13, 0, 0, 0, time.UTC), app.FarmOptions{Zone: p("Pacific/Auckland")})
	require.Equal(t, "2026-07-23", b.Today().String())
	_, err := a.Week(ctx, civil.MustParse("2026-07-22"))
	require.ErrorContains(t, err, "lies in the future")
}

// busyFarm is a small farm with something of everything in it.
func busyFarm(t *testing.T) *app.App { return busyFarmAt(t, testPath(t)) }

func busyFarmAt(t *testing.T, path string) *app.App {
	t.Helper()
	a := newFarm(t, path, summer, app.FarmOptions{
		Country: p("US"), Zone: p("America/Los_Angeles"), Hardiness: p("8a"), LastFrost: p("04-25"), FirstFrost: p("10-20"), Pests: p("slug,mite,aphid,mosaic"),
	})
	for _, code := range []string{"A1", "A2", "B1"} {
		_, err := a.AddBed(ctx, app.BedOptions{Code: code, Block: code[:1], Size: "25 m x 1.2 m", Plants: "100", Site: "outdoor"})
		require.NoError(t, err)
	}
	for day, stage := range map[string]string{"2026-05-15": "planted", "2026-05-28": "emerged", "2026-06-15": "pinched", "2026-07-05": "budding"} {
		_, err := a.Stage(ctx, civil.MustParse(day), stage, []string{"A1", "A2", "B1"}, "")
		require.NoError(t, err)
	}
	count := func(day, line string) {
		t.Helper()
		_, err := a.CountWords(ctx, strings.Fields(line), app.CountOptions{Date: civil.MustParse(day)})
		require.NoError(t, err, line)
	}
	count("2026-07-13", "A1 mite foliage=dry 20*9 20*13 +predatory_mite=2")
	count("2026-07-20", "A1 mite foliage=dry 20*12 20*16 +predatory_mite=2 by=MT")
	count("2026-07-20", "A2 mite foliage=dry 40*0")
	count("2026-07-20", "A1 slug soil=moist air=12C 4 0 - 7 5 2 8 1 3 damage=4/50")
	count("2026-07-20", "B1 mosaic 2/100")
	l := exampleLabel(t)
	_, err := a.AddLabel(ctx, strings.NewReader(l), "bait.toml", civil.MustParse("2026-07-01"), false)
	require.NoError(t, err)
	return a
}

// exampleLabel fills the program's own template with an invented product.
func exampleLabel(t *testing.T) string {
	t.Helper()
	text := app.LabelTemplate()
	for field, value := range map[string]string{
		"key": `"bait"`, "product": `"Test Bait (invented)"`, "registration": `"TEST-1"`, "use_class": `"general"`, "signal_word": `"caution"`,
		"formulation": `"granule"`, "sites": `["outdoor ornamentals"]`, "pests": `["slug"]`, "method": `"scatter by hand"`,
		"rate_min": `"10 kg/ha"`, "rate_max": `"25 kg/ha"`, "min_interval": `"7 days"`, "max_applications": `"6"`, "max_in_window": `"3 in 30 days"`,
		"max_amount": `"none stated"`, "rei": `"4 hours"`, "phi": `"0 days"`, "bees": `"none stated"`, "water_buffer": `"10 m"`, "no_water": `"none stated"`, "expiry": `2028-05-31`, "rainfast": `"none stated"`, "min_temp": `"none stated"`, "max_temp": `"none stated"`, "max_wind": `"none stated"`,
		"animals": `"none stated"`, "ppe": `""`, "keep_apart": `"none stated"`, "name": `"ferric phosphate"`, "percent": `"1.0"`, "group": `"none stated"`, "max": `"none stated"`, "max_per": `"season"`,
		"registrant": `"none stated"`, "jurisdiction": `"none stated"`, "label_version": `"none stated"`, "excluded_crops": `"none stated"`, "only_pests": `"none stated"`, "forbidden_methods": `"none stated"`, "more_maxima": `"none stated"`, "season": `"none stated"`, "phi_event": `"none stated"`, "plant_back": `"none stated"`, "early_ppe": `"none stated"`, "double_notification": `"none stated"`, "first_aid": `"none stated"`, "storage": `"none stated"`, "disposal": `"none stated"`, "lot": `"none stated"`, "opened_life": `"none stated"`, "opened": `"none stated"`, "g_per_l": `"none stated"`,
	} {
		lines := strings.Split(text, "\n")
		done := false
		for i, l := range lines {
			name, _, ok := strings.Cut(l, "=")
			if ok && strings.TrimSpace(name) == field {
				lines[i] = field + " = " + value
				done = true
			}
		}
		require.True(t, done, "the template has no field %q", field)
		text = strings.Join(lines, "\n")
	}
	return text
}

// Every command writes the payload that SCHEMA.md says it does, as valid JSON
// without any number that JSON cannot hold.
func TestPayloads_AreWhatCommandsWrite(t *testing.T) {
	a := busyFarm(t)
	day := a.Today()
	days := "date,min_c,max_c,rain_mm,soil_c\n"
	for d := civil.New(day.Year, time.January, 1); !d.After(day); d = d.AddDays(1) {
		days += d.String() + ",7.5,18.5,1.5,11\n"
	}
	_, err := a.WeatherFile(ctx, strings.NewReader(days), "days.csv", app.WeatherFileOptions{}, false)
	require.NoError(t, err)
	back := filepath.Join(t.TempDir(), "back")
	_, _, err = a.Export(ctx, app.ExportOptions{Out: back, Date: day})
	require.NoError(t, err)
	docs := map[string]func() (*report.Document, error){
		"week":         func() (*report.Document, error) { return a.Week(ctx, day) },
		"why NUMBER":   func() (*report.Document, error) { return a.WhyLine(ctx, day, 1) },
		"why BED PEST": func() (*report.Document, error) { return a.WhyBed(ctx, day, "A1", "mite") },
		"due":          func() (*report.Document, error) { return a.Due(ctx, day) },
		"history":      func() (*report.Document, error) { return a.History(ctx, nil, false) },
		"doctor":       func() (*report.Document, error) { return a.Doctor(ctx) },
		"check":        func() (*report.Document, error) { return a.Doctor(ctx) },
		"export": func() (*report.Document, error) {
			doc, _, err := a.Export(ctx, app.ExportOptions{Out: filepath.Join(t.TempDir(), "out"), Date: day})
			return doc, err
		},
		"restore": func() (*report.Document, error) {
			doc, _, err := app.Restore(ctx, filepath.Join(t.TempDir(), "new.leafturn"), app.RestoreOptions{From: back}, summer)
			return doc, err
		},
		"doctor --accept": func() (*report.Document, error) {
			hurt := filepath.Join(t.TempDir(), "hurt.leafturn")
			require.NoError(t, busyFarmAt(t, hurt).Close())
			db, err := sql.Open("sqlite", hurt)
			require.NoError(t, err)
			_, err = db.Exec("UPDATE visit SET sum = sum + 1, sumsq = sumsq + 1 WHERE id = 1")
			require.NoError(t, errors.Join(err, db.Close()))
			doc, _, err := app.Accept(ctx, hurt, "doctor --accept", "", summer)
			return doc, err
		},
		"doctor --rescue FOLDER": func() (*report.Document, error) {
			path := filepath.Join(t.TempDir(), "farm.leafturn")
			require.NoError(t, busyFarmAt(t, path).Close())
			doc, _, err := app.Rescue(ctx, path, filepath.Join(t.TempDir(), "saved"), summer)
			return doc, err
		},
		"backup": func() (*report.Document, error) {
			doc, _, err := a.Backup(ctx, filepath.Join(t.TempDir(), "copy.leafturn"))
			return doc, err
		},
		"amend": func() (*report.Document, error) {
			b := busyFarm(t)
			doc, _, err := b.Amend(ctx, app.AmendOptions{Kind: "visit", Number: "1", Words: strings.Fields("A1 mite 40*2"), Reason: "misread"})
			return doc, err
		},
		"undo": func() (*report.Document, error) {
			doc, _, err := busyFarm(t).Undo(ctx)
			return doc, err
		},
		"redo": func() (*report.Document, error) {
			b := busyFarm(t)
			_, _, err := b.Undo(ctx)
			require.NoError(t, err)
			doc, _, err := b.Redo(ctx)
			return doc, err
		},
		"count": func() (*report.Document, error) {
			b := busyFarm(t)
			said, err := b.CountWords(ctx, strings.Fields("A2 slug 1 2"), app.CountOptions{Date: day})
			return b.Wrote(said, []string{"a warning"}), err
		},
		"visits":   func() (*report.Document, error) { return a.Visits(ctx, day, nil, false) },
		"estimate": func() (*report.Document, error) { return a.Numbers(ctx, day, "A1", "slug") },
		"calc clumping": func() (*report.Document, error) {
			return app.ClumpingOf(bytes.NewReader([]byte("0 3 1 2\n5 0 9 1\n1 0 0 2\n7 30 2 4\n")), "lists.txt", "12/50", day)
		},
		"calc pest-days": func() (*report.Document, error) {
			return app.PestDaysOf([]string{"2026-06-01=2", "2026-06-08=1.5"}, day)
		},
		"calc life-table": func() (*report.Document, error) {
			return app.LifeTableOf([]string{"1=0.9,0", "2=0.5,3"}, day)
		},
		"calc growth": func() (*report.Document, error) {
			return app.GrowthOf(bytes.NewReader([]byte("2026-05-01 0 3 1\n2026-05-08 5 2 9\n2026-05-15 8 30 7\n")), "dated.txt", day)
		},
		"calc efficacy": func() (*report.Document, error) {
			return app.Efficacy(app.EfficacyOptions{TreatedAfter: "1 0 2", UntreatedAfter: "4 9 6"}, day)
		},
		"calc injury-level": func() (*report.Document, error) {
			return app.InjuryLevel(app.InjuryOptions{Cost: "20/acre", Value: "500", Injury: "10%/800", Loss: "1/acre", Doubling: "7", Lead: "7"}, day)
		},
		"sample": func() (*report.Document, error) {
			return a.Sample(ctx, app.SampleOptions{Date: day, Pest: "slug", Stage: "emerged", Needless: "10", Missed: "10", Curve: true, SoFar: []string{"3", "0", "2", "1", "4"}})
		},
		"sample --precision PERCENT": func() (*report.Document, error) {
			return a.Sample(ctx, app.SampleOptions{Date: day, Pest: "slug", Precision: "25"})
		},
		"trend PEST": func() (*report.Document, error) { return a.Trend(ctx, day, "slug") },
		"round":      func() (*report.Document, error) { return a.Round(ctx, day, "5", "") },
		"degree-days": func() (*report.Document, error) {
			return a.DegreeDays(ctx, app.DegreeDaysOptions{Pest: "mite", Reach: "20"}, day)
		},
		"ahead": func() (*report.Document, error) { return a.Ahead(ctx, app.AheadOptions{}, day) },
		"forecast PEST": func() (*report.Document, error) {
			return a.Forecast(ctx, app.ForecastOptions{Pest: "mite", Bed: "A1"}, day)
		},
		"forecast --past": func() (*report.Document, error) {
			return a.Forecast(ctx, app.ForecastOptions{Past: true}, day)
		},
		"import": func() (*report.Document, error) {
			doc, _ := a.Import(ctx, []string{sheetFile(t, "x.csv", "date,bed,pest,trap,count,note", "2026-07-06,A1,slug,1,4,", "2026-07-06,B9,slug,1,4,a", "Total,,,,8,")}, app.ImportOptions{Check: true})
			return doc, nil
		},
		"worked":           func() (*report.Document, error) { return a.Worked(ctx, day, "", "", "") },
		"pest":             func() (*report.Document, error) { return app.PestDocument("", day, units.Metric) },
		"pest PEST":        func() (*report.Document, error) { return app.PestDocument("slug", day, units.Metric) },
		"threshold list":   func() (*report.Document, error) { return a.Thresholds(ctx, day, nil) },
		"label list":       func() (*report.Document, error) { return a.Labels(ctx, day) },
		"label show LABEL": func() (*report.Document, error) { return a.ShowLabel(ctx, day, "bait", "") },
		"bed list":         func() (*report.Document, error) { return a.Beds(ctx, day) },
		"farm show":        func() (*report.Document, error) { return a.ShowFarm(ctx) },
		"plan":             func() (*report.Document, error) { return a.MonthPlan(ctx, day, app.MonthOptions{Harvest: "Mon,Thu"}) },
		"covers":           func() (*report.Document, error) { return a.Covers(ctx, day, app.CoverOptions{Rest: "1"}) },
		"covers --pest PEST": func() (*report.Document, error) {
			return a.Covers(ctx, day, app.CoverOptions{Pest: "wireworm", Rest: "0"})
		},
		"companions": func() (*report.Document, error) {
			doc, _, err := a.Companions(ctx, day, app.CompanionOptions{})
			return doc, err
		},
		"records": func() (*report.Document, error) { return a.Records(ctx, app.RecordOptions{}) },
		"review":  func() (*report.Document, error) { return a.Review(ctx, "", day, false) },
		"board":   func() (*report.Document, error) { return a.Board(ctx, day, "") },
	}
	require.Len(t, docs, len(payloads))
	for command, make := range docs {
		doc, err := make()
		require.NoError(t, err, command)
		require.Equal(t, reflect.TypeOf(payloads[command]), reflect.TypeOf(doc.Data), command)
		var js, text bytes.Buffer
		require.NoError(t, render.JSON(&js, *doc), command)
		require.NoError(t, render.Text(&text, *doc, render.Options{Width: 88}), command)
		page, _, _ := strings.Cut(text.String(), "\nmade ") // an instant is one word in JSON
		missing, err := render.NotInJSON(page, js.Bytes())
		require.NoError(t, err)
		require.Empty(t, missing, command)
		if v := reflect.ValueOf(doc.Data); v.Kind() == reflect.Slice {
			require.Positive(t, v.Len(), "%s has nothing to show here, so it proves little", command)
		}
		require.Less(t, js.Len(), 2_000_000, "%s: nobody can use a file of that size", command)
	}
}

// The payload says what was entered: nothing lost, a unit not looked at told
// from a zero, and a value that was not noted told from one that was.
func TestVisitData(t *testing.T) {
	a := busyFarm(t)
	doc, err := a.Visits(ctx, a.Today(), []string{"A1", "slug"}, false)
	require.NoError(t, err)
	v := doc.Data.([]app.VisitData)[0]
	var got []any
	for _, c := range v.Counts {
		if c == nil {
			got = append(got, nil)
		} else {
			got = append(got, *c)
		}
	}
	require.Equal(t, []any{4, 0, nil, 7, 5, 2, 8, 1, 3}, got)
	require.Equal(t, "moist", v.Soil)
	require.EqualValues(t, 12, *v.AirC)
	require.Nil(t, v.SoilC)
	require.Nil(t, v.Nights)
	require.Equal(t, []int{4, 50}, []int{*v.Damaged, *v.DamageOf})
	require.Nil(t, v.Infested)
	require.False(t, v.Voided)

	// A voided visit shows with --all alone, with its reason.
	_, err = a.Void(ctx, "visit", fmt.Sprint(v.ID), "the wrong bed")
	require.NoError(t, err)
	doc, err = a.Visits(ctx, a.Today(), []string{"A1", "slug"}, false)
	require.NoError(t, err)
	require.Empty(t, doc.Data)
	doc, err = a.Visits(ctx, a.Today(), []string{"A1", "slug"}, true)
	require.NoError(t, err)
	v = doc.Data.([]app.VisitData)[0]
	require.True(t, v.Voided)
	require.Equal(t, "the wrong bed", v.VoidReason)

	doc, err = a.Visits(ctx, a.Today(), []string{"B1"}, false)
	require.NoError(t, err)
	v = doc.Data.([]app.VisitData)[0]
	require.Equal(t, []int{2, 100}, []int{*v.Infested, *v.Looked})
	require.Equal(t, []*int{}, v.Counts)
}

// The three states of a label field stay three in the payload, and quantities
// keep the label's own unit.
func TestLabelData(t *testing.T) {
	a := busyFarm(t)
	doc, err := a.ShowLabel(ctx, a.Today(), "BAIT", "")
	require.NoError(t, err)
	l := doc.Data.(app.LabelData)
	require.Equal(t, app.LabelField{State: "value", Value: 25.0, Unit: "kg/ha"}, l.RateMax)
	require.Equal(t, app.LabelField{State: "none stated"}, l.MaxAmount)
	require.Equal(t, string(farm.NotRead), l.Organic.State)
	require.Nil(t, l.Organic.Value)
	require.Equal(t, app.LabelField{State: "value", Value: 4.0, Unit: "h"}, l.REI)
	require.Equal(t, app.LabelField{State: "value", Value: 0, Unit: "d"}, l.PHI)
	require.Equal(t, app.LabelField{State: "value", Value: 10.0, Unit: "m"}, l.WaterBuffer)
	require.Equal(t, []int{3, 30}, []int{*l.MaxInWindow.Count, *l.MaxInWindow.Days})
	require.Equal(t, "season", l.MaxPer)
	require.Equal(t, civil.MustParse("2028-05-31"), l.Expiry.Value)
	require.Equal(t, "unknown", l.PPE.State)
	require.Len(t, l.Unknown, 1)
	require.Contains(t, l.Unknown[0].Field, "protective")
	_, err = a.ShowLabel(ctx, a.Today(), "baits", "")
	require.ErrorContains(t, err, `did you mean "bait"`)
}

// A verdict's nulls say why: what was never counted has no value, and that is
// not zero.
func TestVerdict_Nulls(t *testing.T) {
	a := busyFarm(t)
	doc, err := a.WhyBed(ctx, a.Today(), "B1", "slug")
	require.NoError(t, err)
	v := doc.Data.(app.Verdict)
	require.Equal(t, "never counted", v.Verdict)
	require.Nil(t, v.Value)
	require.True(t, v.Counted.IsZero())
	require.Equal(t, "never counted this season", v.NullReasons["value"])
	require.Len(t, v.NullReasons, 5)

	doc, err = a.WhyBed(ctx, a.Today(), "A2", "mite")
	require.NoError(t, err)
	v = doc.Data.(app.Verdict)
	require.NotNil(t, v.Value, "forty leaves without a mite are a count")
	require.Zero(t, *v.Value)
	require.Positive(t, *v.High)
	require.Empty(t, v.NullReasons)
}

// nowhere stages a file that is given to nobody.
func nowhere(*report.Document) (app.Staged, error) {
	return app.Staged{Keep: func() error { return nil }, Drop: func() {}}, nil
}

// Entries of the calendar keep their UID for as long as they stand for the
// same need, over weeks and over changes of the farm's name; a change raises
// the sequence, and only a change; what is done is cancelled.
func TestWeekEvents_Calendar(t *testing.T) {
	a := busyFarm(t)
	export := func() map[string]report.Event {
		t.Helper()
		doc, warning, err := a.WeekCalendar(ctx, a.Today(), nowhere)
		require.NoError(t, err)
		require.Empty(t, warning)
		out := map[string]report.Event{}
		for _, e := range doc.Events {
			require.NotContains(t, out, e.UID)
			require.Regexp(t, `^[a-z0-9-]+@[0-9a-f]{16}\.leafturn\.invalid$`, e.UID)
			out[e.UID] = e
		}
		require.NotEmpty(t, out)
		return out
	}
	first := export()
	require.Equal(t, first, export(), "nothing has changed")
	_, err := a.SetFarm(ctx, app.FarmOptions{Name: p("Renamed")})
	require.NoError(t, err)
	require.Equal(t, first, export(), "nor by another name")

	picked := ""
	for uid := range first {
		if strings.Contains(uid, "water-jet") {
			picked = uid
		}
	}
	require.NotEmpty(t, picked)
	_, err = a.Did(ctx, a.Today(), "mite", "water_jet", []string{"A1"}, "", farm.DoneMore{})
	require.NoError(t, err)
	after := export()
	require.Equal(t, report.Cancelled, after[picked].Status)
	require.Equal(t, 1, after[picked].Sequence)
	require.Equal(t, after, export(), "it is cancelled once")

	// A file that cannot be written is not noted: the next one tells the change
	// under the sequence that it would have had.
	_, err = a.CountWords(ctx, strings.Fields("A1 mite foliage=dry 20*30 20*40"), app.CountOptions{Date: a.Today()})
	require.NoError(t, err)
	disk := errors.New("disk full")
	doc, _, err := a.WeekCalendar(ctx, a.Today(), func(*report.Document) (app.Staged, error) { return app.Staged{}, disk })
	require.ErrorIs(t, err, disk)
	failed := map[string]int{}
	for _, e := range doc.Events {
		failed[e.UID] = e.Sequence
	}
	for uid, e := range export() {
		require.Equal(t, failed[uid], e.Sequence, uid)
	}
}

// A week's list needs beds; an unknown line, bed or pest is said with the way out.
func TestAsking_Refused(t *testing.T) {
	empty := newFarm(t, testPath(t), summer, app.FarmOptions{})
	_, err := empty.Week(ctx, empty.Today())
	require.ErrorContains(t, err, "has no beds yet")
	require.Equal(t, diag.CodeFailed, diag.Code(err))

	a := busyFarm(t)
	_, err = a.WhyLine(ctx, a.Today(), 999)
	require.ErrorContains(t, err, "has no line 999")
	_, err = a.WhyBed(ctx, a.Today(), "Z9", "slug")
	require.ErrorContains(t, err, `unknown bed "Z9"`)
	_, err = a.WhyBed(ctx, a.Today(), "A1", "slugg")
	require.ErrorContains(t, err, `did you mean "slug"`)
	_, err = a.Numbers(ctx, a.Today(), "B1", "slug")
	require.ErrorContains(t, err, "has no counts")
	doc, err := a.Numbers(ctx, a.Today(), "B1", "mosaic") // a presence sample has no counts
	require.NoError(t, err)
	require.Nil(t, doc.Data.(app.NumbersData).Mean)
	require.NotNil(t, doc.Data.(app.NumbersData).Presence)
	_, err = a.Visits(ctx, a.Today(), []string{"A1x"}, false)
	require.ErrorContains(t, err, "neither a bed nor a pest")
	for _, bad := range [][]string{{"4", "-3"}, {"4", "2.5"}, {"-"}, {"x"}} {
		_, err = app.NumbersOf(bad, "", a.Today())
		require.Error(t, err, "%v", bad)
		require.Equal(t, diag.CodeUsage, diag.Code(err), "%v", bad)
	}
	_, err = a.Covers(ctx, a.Today(), app.CoverOptions{Rest: "4"})
	require.ErrorContains(t, err, "give 0 to 3")
	_, err = a.Covers(ctx, a.Today(), app.CoverOptions{Rest: "0", Pest: "slug", Keep: true})
	require.ErrorContains(t, err, "not a ranking")
	_, err = a.Covers(ctx, a.Today(), app.CoverOptions{Rest: "0", Dig: "2027-06-01"})
	require.ErrorContains(t, err, "would come before digging")
}

// The farm's own level stands in the catalogue's place from its day on, and
// both are shown.
func TestSetThreshold(t *testing.T) {
	a := busyFarm(t)
	day := a.Today()
	for name, c := range map[string]struct{ pest, level, value, unit, reason, want string }{
		"no reason":    {"slug", "act", "2", "", " ", "without a reason"},
		"zero":         {"slug", "act", "0", "", "x", "cannot be an action level"},
		"far too low":  {"slug", "act", "0.0009", "", "x", "shows so few"},
		"word":         {"slug", "act", "two", "", "x", "cannot be an action level"},
		"level":        {"slug", "now", "2", "", "x", "is not a level"},
		"pest":         {"slugg", "act", "2", "", "x", `did you mean "slug"`},
		"unit":         {"slug", "act", "2", "bucket", "x", `unknown unit "bucket"`},
		"over 100 %":   {"aphid", "act", "120", "", "x", "is not a share"},
		"no such rule": {"slug", "act", "2", "night", "x", "to put yours in the place of"},
	} {
		_, err := a.SetThreshold(ctx, day, c.pest, c.level, c.value, c.unit, c.reason)
		require.ErrorContains(t, err, c.want, name)
		require.Equal(t, diag.CodeUsage, diag.Code(err), name)
	}
	_, err := a.SetThreshold(ctx, day, "mite", "act", "20", "", "strong plants")
	require.NoError(t, err)
	doc, err := a.Thresholds(ctx, day, []string{"mite"})
	require.NoError(t, err)
	found := 0
	for _, l := range doc.Data.([]app.ThresholdData) {
		if l.Level != "act" || l.Measure != "mites_per_leaf" {
			require.False(t, l.Overridden)
			continue
		}
		found++
		require.True(t, l.Overridden)
		require.EqualValues(t, 20, *l.Value)
		require.NotNil(t, l.Catalogue)
		require.Equal(t, "strong plants", l.Reason)
		require.Equal(t, "the farm's own", l.Basis)
	}
	require.Positive(t, found)
	before, err := a.Thresholds(ctx, day.AddDays(-1), []string{"mite"})
	require.NoError(t, err)
	for _, l := range before.Data.([]app.ThresholdData) {
		require.False(t, l.Overridden, "it was not set yet")
	}
}

// Opening what is not there names the way out and makes nothing.
func TestOpen_Missing(t *testing.T) {
	path := testPath(t)
	_, err := app.Open(ctx, path, summer)
	require.ErrorIs(t, err, store.ErrMissing)
	require.ErrorContains(t, err, "farm new")
	require.NoFileExists(t, path)
}
