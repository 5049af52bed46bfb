package render

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/report"
)

func asJSON(t require.TestingT, d report.Document) []byte {
	var b bytes.Buffer
	require.NoError(t, JSON(&b, d))
	return b.Bytes()
}

func withData(data any) report.Document {
	return report.Document{Title: "t", AsOf: civil.MustParse("2026-07-13"), Data: data}
}

// dataOf returns the compact JSON of a document's data field.
func dataOf(t *testing.T, data any) string {
	var doc map[string]json.RawMessage
	require.NoError(t, json.Unmarshal(asJSON(t, withData(data)), &doc))
	var b bytes.Buffer
	require.NoError(t, json.Compact(&b, doc["data"]))
	return b.String()
}

func TestJSONGolden(t *testing.T) {
	js := asJSON(t, sampleWeek())
	golden(t, "week.json", js)
	require.True(t, json.Valid(js))
	require.True(t, bytes.HasPrefix(js, []byte("{\n  \"schema\": 1,\n  \"title\": ")))
	require.Contains(t, string(js), "C1 <north & south>", "no HTML escaping")
	require.NotRegexp(t, regexp.MustCompile(`: -?(NaN|Inf)|: -0(\.0+)?[,\n]`), string(js))
	require.Equal(t, js, asJSON(t, sampleWeek()), "same bytes twice")
}

// Every field of the layout is described in SCHEMA.md, and nothing else is.
func TestSchemaDescribesEveryField(t *testing.T) {
	require.Empty(t, Undocumented(SchemaDoc, jsonDocument{}))
	objects := objectsOf(reflect.TypeFor[jsonDocument]())
	require.Len(t, objects, 12)
	for object, fields := range schemaRows(SchemaDoc) {
		require.Contains(t, objects, object)
		for f := range fields {
			require.Contains(t, objects[object], f, "SCHEMA.md describes %s.%s, which is not written", object, f)
		}
	}
	// The order of the tables is the order of the keys.
	for object, fields := range objects {
		at := strings.Index(SchemaDoc, "## "+object+"\n")
		for _, f := range fields {
			i := strings.Index(SchemaDoc[at:], "| `"+f+"` |")
			require.Positive(t, i, "%s.%s out of order", object, f)
			at += i
		}
	}
}

func TestUndocumentedFindsGaps(t *testing.T) {
	type inner struct {
		Known   int `json:"known"`
		Missing int `json:"missing"`
	}
	type payload struct {
		inner
		List  []inner      `json:"list"`
		Value report.Value `json:"value"`
		Blank string       `json:"blank"`
		Date  civil.Date   `json:"date"`
		skip  int
	}
	schema := "## payload\n| `known` | int | k |\n| `list` | l | m |\n| `value` | v | w |\n| `blank` | | |\n| `date` | d | e |\n## inner\n| `known` | int | k |\n"
	got := Undocumented(schema+SchemaDoc, payload{skip: 1})
	require.Equal(t, []string{"inner.missing", "payload.blank", "payload.missing"}, got)
}

func TestJSONUnknowns(t *testing.T) {
	type cell struct {
		K    float64 `json:"k"`
		PreK float64 `json:"taylor_k"`
		V    float64 `json:"v"`
		W    float64 `json:"w"`
		Why  string  `json:"w_reason"`
	}
	inf := math.Inf(1)
	require.Equal(t, `{"k":null,"k_reason":"Poisson limit","taylor_k":null,"taylor_k_reason":"Poisson limit","v":null,"v_reason":"could not be computed","w":null,"w_reason":"own"}`,
		dataOf(t, cell{inf, inf, math.NaN(), inf, "own"}))
	require.Equal(t, `{"k":null,"k_reason":"no lower limit","taylor_k":1.5,"v":0,"w":null,"w_reason":""}`, dataOf(t, cell{-inf, 1.5, math.Copysign(0, -1), inf, ""}))
	require.Equal(t, `null`, dataOf(t, math.NaN()))
	require.Equal(t, `{"data":[1,null],"data_reason":"no upper limit"}`, dataOf(t, map[string][]float64{"data": {1, inf}}))
}

// pointerOnly writes itself, but only through a pointer.
type pointerOnly struct{ n int }

func (p *pointerOnly) MarshalText() ([]byte, error) { return fmt.Appendf(nil, "n%d", p.n), nil }

func TestJSONOfManyTypes(t *testing.T) {
	type embedded struct {
		A int `json:"a"`
	}
	type all struct {
		embedded
		*time.Location
		B     *float64           `json:"b"`
		C     []byte             `json:"c"`
		D     civil.Date         `json:"d"`
		E     civil.MonthDay     `json:"e"`
		F     time.Time          `json:"f"`
		G     map[int]string     `json:"g"`
		H     map[civil.Date]int `json:"h"`
		I     any                `json:"i"`
		J     [2]bool            `json:"j"`
		K     json.RawMessage    `json:"raw"`
		L     string             `json:"l,omitempty"`
		M     civil.Date         `json:"m,omitzero"`
		N     report.Value       `json:"n"`
		O     report.Line        `json:"o"`
		P     []string           `json:"p"`
		Q     int                `json:"-"`
		R     uint8
		Dates []civil.Date `json:"dates"`
		Ptr   *pointerOnly `json:"ptr"`
	}
	d := civil.MustParse("2026-07-16")
	require.JSONEq(t, `{"a":1,"b":null,"c":"AQI=","d":null,"e":null,"f":null,"g":{"1":"<x>","2":"y"},"h":{"2026-07-16":3},"i":2.5,"j":[true,false],
		"raw":{"x":1},"n":{"kind":"count","value":4},"o":{"text":"on Thu 16 Jul","values":[{"kind":"date","value":"2026-07-16","in_days":3}],"sources":[7]},
		"p":[],"R":9,"dates":["2026-07-16",null],"ptr":"n3"}`,
		dataOf(t, all{embedded: embedded{1}, C: []byte{1, 2}, G: map[int]string{2: "y", 1: "<x>"}, H: map[civil.Date]int{d: 3}, I: 2.5, J: [2]bool{true, false},
			K: json.RawMessage(`{"x":1}`), N: report.Count(4), O: report.Say("on {}", d).Cite(7), Q: 3, R: 9, Dates: []civil.Date{d, {}}, Ptr: &pointerOnly{3}}))
}

func TestJSONRefusesWhatItCannotHold(t *testing.T) {
	type loop struct{ Next *loop }
	endless := &loop{}
	endless.Next = endless
	for _, bad := range []any{endless, map[float64]int{1: 1}, struct{ F func() }{}, struct{ C chan int }{}} {
		var b bytes.Buffer
		require.Error(t, JSON(&b, withData(bad)))
		require.Zero(t, b.Len(), "nothing written")
	}
}

// For data without special values the encoder agrees with encoding/json.
func TestEncoderAgreesWithStandardLibrary(t *testing.T) {
	type leaf struct {
		Name  string             `json:"name"`
		Mean  float64            `json:"mean"`
		N     *int               `json:"n,omitempty"`
		Map   map[string]float32 `json:"map,omitempty"`
		Flags []bool             `json:"flags"`
	}
	type tree struct {
		leaf
		Leaves []leaf `json:"leaves"`
		Any    any    `json:"any"`
	}
	genLeaf := rapid.Custom(func(t *rapid.T) leaf {
		return leaf{rapid.String().Draw(t, "name"), rapid.Float64().Filter(func(f float64) bool { return f != 0 }).Draw(t, "mean"), rapid.Ptr(rapid.Int(), true).Draw(t, "n"),
			rapid.MapOf(rapid.String(), rapid.Float32().Filter(func(f float32) bool { return f > 0 })).Draw(t, "map"), rapid.SliceOfN(rapid.Bool(), 1, 3).Draw(t, "flags")}
	})
	rapid.Check(t, func(t *rapid.T) {
		x := tree{genLeaf.Draw(t, "own"), rapid.SliceOfN(genLeaf, 1, 3).Draw(t, "leaves"), rapid.SampledFrom([]any{nil, 1, "a", []any{1.5, "b"}}).Draw(t, "any")}
		want, err := json.Marshal(x)
		require.NoError(t, err)
		e := &encoder{}
		_, err = e.value(reflect.ValueOf(x), "", 0)
		require.NoError(t, err)
		require.JSONEq(t, string(want), e.buf.String())
	})
}

// Any float anywhere gives valid JSON, and the finite ones come back exactly.
func TestJSONNumbersAreExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		fs := rapid.SliceOfN(rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 0})), 1, 8).Draw(t, "numbers")
		row := make([]report.Value, len(fs))
		for i, f := range fs {
			row[i] = report.Num(f, 1)
		}
		d := withData(fs)
		d.Sections = []report.Section{{Table: &report.Table{Columns: make([]report.Column, len(row)), Rows: [][]report.Value{row}}}}
		var back struct {
			Sections []struct {
				Table struct {
					Rows [][]struct {
						Value  *float64
						Reason string
					}
				}
			}
			Data []*float64
		}
		require.NoError(t, json.Unmarshal(asJSON(t, d), &back))
		for i, f := range fs {
			cell := back.Sections[0].Table.Rows[0][i]
			if math.IsNaN(f) || math.IsInf(f, 0) {
				require.Nil(t, cell.Value)
				require.NotEmpty(t, cell.Reason)
				require.Nil(t, back.Data[i])
				continue
			}
			require.Equal(t, f, *cell.Value)
			require.Equal(t, f, *back.Data[i])
		}
	})
}

// Everything printed for people is in the JSON for machines.
func TestParity(t *testing.T) {
	doc := sampleWeek()
	js := asJSON(t, doc)
	for _, w := range []int{60, 80, 100} {
		missing, err := NotInJSON(text(t, doc, Options{Width: w}), js)
		require.NoError(t, err)
		require.Empty(t, missing)
	}
	// It bites: without the tables, numbers are missing.
	short := sampleWeek()
	for i := range short.Sections {
		short.Sections[i].Table = nil
	}
	missing, err := NotInJSON(text(t, doc, Options{Width: 80}), asJSON(t, short))
	require.NoError(t, err)
	for _, s := range []string{"612", "12,346", "0.45", "-0.24", "170"} {
		require.True(t, slices.Contains(missing, s), "%s in %v", s, missing)
	}
}

func TestNotInJSON(t *testing.T) {
	for _, c := range []struct {
		text, js string
		want     []string
	}{
		{"mean 3.4 and 3.5", `{"v": 3.4166667}`, []string{"3.5"}},
		{"12,346 °C·days", `[12345.67]`, nil},
		{"12,347 °C·days", `[12345.67]`, []string{"12,347"}},
		{"62% <1% >99% 41%", `[0.625, 0.001, 0.999]`, []string{"41%"}},
		{"about 8 in 10", `[0.8431]`, nil},
		{"about 6 in 10", `[0.8431]`, []string{"6", "10"}},
		{"3 days ago", `{"in_days": -3}`, nil},
		{"-0.2 a week", `[0.2]`, []string{"-0.2"}},
		{"-0.2 a week", `[-0.2]`, nil},
		{"Thu 6 Aug 06:40 in B3", `"2026-08-06T06:40:00Z"`, nil},
		{"1.9-6.1", `[1.9, 6.08]`, nil},
		{"bed B77, x2", `{}`, nil},
	} {
		got, err := NotInJSON(c.text, []byte(c.js))
		require.NoError(t, err)
		require.Equal(t, c.want, got, c.text)
	}
	_, err := NotInJSON("", []byte("{"))
	require.Error(t, err)
}
