package app_test

import (
	"os"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/app"
	"leafturn/internal/civil"
	"leafturn/internal/render"
)

// payloads are what `data` holds in the JSON of each command.
var payloads = map[string]any{
	"week":                       app.WeekData{},
	"why NUMBER":                 app.LineData{},
	"why BED PEST":               app.Verdict{},
	"due":                        []app.DueData{},
	"visits":                     []app.VisitData{},
	"import":                     app.ImportData{},
	"estimate":                   app.NumbersData{},
	"calc clumping":              app.ClumpingData{},
	"calc life-table":            app.LifeTableData{},
	"calc pest-days":             app.PestDaysData{},
	"calc growth":                app.GrowthData{},
	"calc efficacy":              app.EfficacyData{},
	"calc injury-level":          app.InjuryData{},
	"sample":                     app.SampleData{},
	"sample --precision PERCENT": app.PrecisionData{},
	"trend PEST":                 app.TrendData{},
	"round":                      app.RoundData{},
	"worked":                     app.WorkedData{},
	"degree-days":                app.DegreeDaysData{},
	"ahead":                      app.AheadData{},
	"forecast PEST":              app.ForecastData{},
	"forecast --past":            app.PastData{},
	"pest":                       []app.PestFacts{},
	"pest PEST":                  app.PestData{},
	"threshold list":             []app.ThresholdData{},
	"label list":                 []app.LabelData{},
	"label show LABEL":           app.LabelData{},
	"bed list":                   []app.BedData{},
	"farm show":                  app.FarmData{},
	"plan":                       app.MonthPlanData{},
	"covers":                     app.CoverPlanData{},
	"covers --pest PEST":         []app.CoverRank{},
	"companions":                 app.CompanionsData{},
	"records":                    app.RecordsData{},
	"review":                     app.ReviewData{},
	"board":                      app.BoardData{},
	"history":                    app.HistoryData{},
	"doctor":                     app.DoctorData{},
	"check":                      app.DoctorData{},
	"export":                     app.ExportData{},
	"restore":                    app.RestoreData{},
	"doctor --accept":            app.AcceptData{},
	"doctor --rescue FOLDER":     app.RescueData{},
	"backup":                     app.BackupData{},
	"amend":                      app.AmendData{},
	"undo":                       app.TurnData{},
	"redo":                       app.TurnData{},
	"count":                      app.WroteData{},
}

func schema(t *testing.T) string {
	t.Helper()
	raw, err := os.ReadFile("SCHEMA.md")
	require.NoError(t, err)
	return string(raw)
}

func TestSchema_DocumentsEveryField(t *testing.T) {
	doc := schema(t)
	for command, v := range payloads {
		require.Empty(t, render.Undocumented(doc, v), "the fields of `%s --json` without a row in SCHEMA.md", command)
	}
	// The check itself bites.
	require.Equal(t, []string{"bedData.code"}, render.Undocumented(strings.Replace(doc, "| `code` |", "| `kode` |", 1), app.BedData{}))
}

// structs lists the structs inside a type by their names in SCHEMA.md.
func structs(t reflect.Type, out map[string]reflect.Type) {
	switch t.Kind() {
	case reflect.Pointer, reflect.Slice, reflect.Map:
		structs(t.Elem(), out)
	case reflect.Struct:
		if t == reflect.TypeFor[civil.Date]() || t == reflect.TypeFor[civil.MonthDay]() {
			return
		}
		out[strings.ToLower(t.Name()[:1])+t.Name()[1:]] = t
		for i := range t.NumField() {
			structs(t.Field(i).Type, out)
		}
	}
}

// jsonNames lists the JSON fields of a struct in order, embedded ones in place.
func jsonNames(t reflect.Type) []string {
	var out []string
	for i := range t.NumField() {
		f := t.Field(i)
		if name := f.Tag.Get("json"); name != "" {
			out = append(out, name)
		} else {
			out = append(out, jsonNames(f.Type)...)
		}
	}
	return out
}

var (
	headRE = regexp.MustCompile("(?m)^## (.+)$")
	rowRE  = regexp.MustCompile("(?m)^\\| `([^`]+)` \\| ([^|]+) \\| ([^|]+) \\|$")
)

// Nothing in the page is stale, the rows are in the order of the output, and
// every field has a type and a meaning.
func TestSchema_IsNotStale(t *testing.T) {
	doc := schema(t)
	types := map[string]reflect.Type{}
	for _, v := range payloads {
		structs(reflect.TypeOf(v), types)
	}
	heads := headRE.FindAllStringSubmatchIndex(doc, -1)
	seen := map[string]bool{}
	for i, h := range heads {
		object := doc[h[2]:h[3]]
		end := len(doc)
		if i+1 < len(heads) {
			end = heads[i+1][0]
		}
		typ, ok := types[object]
		require.True(t, ok, "SCHEMA.md describes %q, which no command writes", object)
		require.False(t, seen[object], "%s stands twice", object)
		seen[object] = true
		var rows []string
		for _, m := range rowRE.FindAllStringSubmatch(doc[h[1]:end], -1) {
			rows = append(rows, m[1])
			require.NotEmpty(t, strings.TrimSpace(m[2]), "%s.%s has no type", object, m[1])
			require.NotEmpty(t, strings.TrimSpace(m[3]), "%s.%s has no meaning", object, m[1])
		}
		require.Equal(t, jsonNames(typ), rows, "the rows of %s", object)
	}
	require.Len(t, seen, len(types))

	// Each command stands in the table at the top with its object.
	for command, v := range payloads {
		typ, list := reflect.TypeOf(v), ""
		if typ.Kind() == reflect.Slice {
			typ, list = typ.Elem(), "list of "
		}
		name := strings.ToLower(typ.Name()[:1]) + typ.Name()[1:]
		require.Contains(t, doc, "| `"+command+"` | "+list+name+" |")
	}
}

// Names are stable words of small letters, digits and underscores, and no
// object has one twice.
func TestPayloads_Names(t *testing.T) {
	types := map[string]reflect.Type{}
	for _, v := range payloads {
		structs(reflect.TypeOf(v), types)
	}
	for object, typ := range types {
		names := jsonNames(typ)
		for _, n := range names {
			require.Regexp(t, `^[a-z][a-z0-9]*(_[a-z0-9]+)*$`, n, object)
		}
		require.Len(t, slices.Compact(slices.Sorted(slices.Values(names))), len(names), "%s names a field twice", object)
	}
}
