package ingest_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
)

func seen(counts ...int) (out []farm.UnitCount) {
	for _, c := range counts {
		out = append(out, farm.UnitCount{Count: c, Seen: c >= 0})
		if c < 0 {
			out[len(out)-1].Count = 0
		}
	}
	return out
}

func ptr(v float64) *float64 { return &v }

func TestParseNotes(t *testing.T) {
	const text = "\uFEFF# Monday's round\r\n" +
		"B3 slug 4 0 2 7 1\r\n" +
		"by Ana\r\n" +
		"b3 MITE 12/50\r\n" +
		"2026-07-13 B3 mite 0 0 3 12 - 5 +predatory_mite=2 by=Bo # webbing low down\r\n" +
		"\r\n" +
		"date 2026-07-14 # a Tuesday\r\n" +
		"  B4\tearwig 3, 0, 6 , 9 damage=4/50 unit=shelter nights=1 air=50F soilc=12C soil=moist foliage=dry disturbed\r\n" +
		"B1 slug 3*0 – 2x- 70×1 Unit=Board hot-spot by=\"Ana Lopez\"\r\n" +
		"B1 slugs 0 edge +lady_beetle=0 #"
	notes, sum, err := ingest.ReadNotes(strings.NewReader(text), "notes.txt", opt)
	require.NoError(t, err)
	require.Equal(t, ingest.Summary{Lines: 10, Visits: 6, Settings: 2, Skipped: 2, Units: 5 + 50 + 5 + 4 + 73 + 1}, sum)
	d13, d14 := civil.MustParse("2026-07-13"), civil.MustParse("2026-07-14")
	ones := seen(0, 0, 0, -1, -1, -1)
	for range 70 {
		ones = append(ones, farm.UnitCount{Count: 1, Seen: true})
	}
	require.Equal(t, []ingest.Note{
		{farm.Visit{Bed: "B3", Date: today, Pest: "slug", Unit: "trap", Stratum: farm.Random, Counts: seen(4, 0, 2, 7, 1)}, 2},
		{farm.Visit{Bed: "B3", Date: today, Pest: "mite", Unit: "leaf", Stratum: farm.Random, Presence: &farm.Presence{Infested: 12, Looked: 50}, Observer: "Ana"}, 4},
		{farm.Visit{Bed: "B3", Date: d13, Pest: "mite", Unit: "leaf", Stratum: farm.Random, Counts: seen(0, 0, 3, 12, -1, 5),
			Enemies: []farm.EnemyCount{{Enemy: "predatory_mite", Count: 2}}, Observer: "Bo", Note: "webbing low down"}, 5},
		{farm.Visit{Bed: "B4", Date: d14, Pest: "earwig", Unit: "shelter", Stratum: farm.Random, Counts: seen(3, 0, 6, 9), Damage: &farm.Damage{Hurt: 4, Looked: 50},
			Conditions: farm.Conditions{Soil: farm.Moist, Foliage: farm.Dry, AirC: ptr(10), SoilC: ptr(12), Nights: 1, Disturbed: true}, Observer: "Ana"}, 8},
		{farm.Visit{Bed: "B1", Date: d14, Pest: "slug", Unit: "trap", Stratum: farm.HotSpot, Counts: ones, Observer: "Ana Lopez"}, 9},
		{farm.Visit{Bed: "B1", Date: d14, Pest: "slug", Unit: "trap", Stratum: farm.Edge, Counts: seen(0), Enemies: []farm.EnemyCount{{Enemy: "ladybird"}}, Observer: "Ana"}, 10},
	}, notes)
}

// One slip a line: the place and the words of each message.
func TestParseNotes_Refuses(t *testing.T) {
	for _, c := range []struct{ line, what, do string }{
		{"B33 slug 4", `1:1: unknown bed "B33"; did you mean "B3"?`, ""},
		{"Z99 slug 4", `1:1: unknown bed "Z99"`, "write one of: B1, B2, B3, B4, North-1"},
		{"B3 mitte 4", `1:4: unknown pest "mitte"; did you mean "mite"?`, ""},
		{"é B3 slug 4", `1:1: unknown bed "é"`, ""}, // the next word then is no pest
		{"B3 slug 4 unit=bord", `1:16: unknown unit of slug "bord"; did you mean "board"?`, ""},
		{"B3 slug 4 +predatorymite=2", `1:12: unknown natural enemy "predatorymite"; did you mean "predatory_mite"?`, ""},
		{"B3 slug 4 untt=trap", `1:11: unknown option "untt"; did you mean "unit"?`, ""},
		{"B3 slug 4 hotspt", `1:11: unknown word "hotspt"; did you mean "hotspot"?`, ""},
		{"B3 slug", `1:8: no counts for slug in bed B3`, ""},
		{"B3 slug soil=wet", `1:17: no counts for slug in bed B3`, ""},
		{"B3 slug - -", `1:1: the visit has no unit that was looked at`, ""},
		{"B3", `1:1: nothing after the bed "B3"`, ""},
		{"B3 4 0 2", `1:4: "4" stands where a pest should`, ""},
		{"slug 4 0 2", `1:1: no bed before "slug"`, ""},
		{"4 0 2", `1:1: "4" stands where a bed should`, ""},
		{"13jul B3 slug 4", `1:1: unknown bed "13jul"`, "write a date as 2026-07-13"},
		{"B3 slug -3", `1:9: the count -3 is negative`, ""},
		{"B3 slug 2.5", `1:9: "2.5" is not a whole number`, "write the count of each unit, not their average"},
		{"B3 slug 4,5", `1:9: "4,5" can be read as one number or as several counts`, "put a space between two counts, and no comma inside a number"},
		{"B3 slug 100001", `1:9: the count 100001 is above 100000 and is taken for a slip`, ""},
		{"B3 slug 4 o 2", `1:11: "o" is a letter`, "write the digit 0"},
		{"B3 mite 60/50", `1:9: 60/50: the first number cannot be above the second`, ""},
		{"B3 mite 51/50", `1:9: 51/50: the first number cannot be above the second`, ""},
		{"B3 mite 12/0", `1:9: 12/0: nothing was looked at`, ""},
		{"B3 mite 12 / 50", `1:12: "/" is not a presence sample`, "write infested/looked without blanks, such as 12/50"},
		{"B3 mite 1/5 2/5", `1:13: a line has one presence sample; 1/5 came before`, ""},
		{"B3 slug 0*4", `1:9: "0*4" repeats a count 0 times; give 1 to 10000`, ""},
		{"B3 slug 70*", `1:9: "70*" is not a repeated count`, ""},
		{"B3 slug 9000*0 1001*1", `1:16: more than 10000 units in one visit are taken for a slip`, ""},
		{"2026-07-21 B3 slug 4", `1:1: 2026-07-21 lies in the future; today is 2026-07-20`, ""},
		{"3/4/2026 B3 slug 4", `1:1: "3/4/2026" can be read as two different dates`, "write 2026-04-03 or 2026-03-04"},
		{"yesterday B3 slug 4", `1:1: "yesterday" is not a date to keep: its meaning changes from day to day`, ""},
		{"B3 slug 2026-07-13 4", `1:9: the date "2026-07-13" stands among the counts`, ""},
		{"2026-07-13", `1:1: a date alone is no count`, ""},
		{"date", `1:1: the line gives no date`, ""},
		{"date 2026-07-13 B3", `1:17: "B3" after the date of a date line`, ""},
		{"by", `1:1: the observer has no name`, ""},
		{"B3 slug 4 by=", `1:14: by= has no value`, ""},
		{`B3 slug 4 by="Ana`, `1:14: the quotation mark is not closed`, ""},
		{"B3 slug 4 soil=wet soil=dry", `1:20: soil= is given twice`, ""},
		{"B3 slug 4 edge edge", `1:16: edge is given twice`, ""},
		{"B3 slug 4 edge hotspot", `1:16: a line has one of hotspot, edge and random`, ""},
		{"B3 slug 4 +ladybird=1 +lady_beetle=2", `1:23: +ladybird is given twice`, ""},
		{"B3 slug 4 +ladybird", `1:11: "+ladybird" is not a count of a natural enemy`, ""},
		{"B3 slug 4 +ladybird=-1", `1:21: the count -1 is negative`, ""},
		{"B3 slug 4 air=14", `1:15: "14" has no unit`, "write air=14C or air=14F"},
		{"B3 slug 4 air=74C", `1:15: "74C" is not a temperature of air or soil`, "it looks like °F: give it with F (a column named …_f)"},
		{"B3 slug 4 soil=damp", `1:16: unknown condition "damp"`, "write one of: dry, moist, wet"},
		{"B3 slug 4 foliage=moist", `1:19: unknown condition "moist"`, "write one of: dry, wet"},
		{"B3 slug 4 nights=0", `1:18: "0" is not a number of nights`, ""},
		{"B3 slug 4 damage=4", `1:18: "4" is not a damage sample`, ""},
		{"B3 slug 4 damage=9/5", `1:18: 9/5: the first number cannot be above the second`, ""},
		{"B3 slug 4 damage", `1:11: "damage" has no value`, ""},
		{"B3 cutworm 4", `1:12: cutworm has no usual sample unit; add unit=`, "write one of: plant"},
		{"B3 slug 4 # ok\x07", `1:15: control character U+0007`, ""},
		{"B3 slug 4 # caf\xe9", `1:16: byte 0xE9 is not UTF-8 text`, ""},
		{"B3 slug 1\x00", `1:10: holds a NUL byte; this is not a text file`, ""},
		{"\xff\xfeB\x003\x00", `1:1: is saved as UTF-16 text`, ""},
		{"B\x003\x00 \x00s\x00l\x00u\x00g\x00 \x001\x00\n\x00", `1:1: is saved as UTF-16 text`, `save the file again with the encoding "UTF-8"`},
		{"\x00B\x003\x00 \x00s\x00l\x00u\x00g\x00 \x001\x00\n", `1:1: is saved as UTF-16 text`, ""},
		{"B3 slug " + strings.Repeat("0 ", 40_000), `1:1: the line has 80008 bytes; at most 65536 are read`, ""},
		{"", "no counts in it", ""},
		{"# only a comment\n\ndate 2026-07-13\n", "no counts in it", ""},
	} {
		_, err := ingest.ParseNotes(strings.NewReader(c.line), "n", opt)
		got := list(t, err)
		require.NotEmpty(t, got, c.line)
		want := "n:" + c.what
		if strings.HasPrefix(c.what, "no counts in") {
			want = "n: " + c.what
		}
		require.Equal(t, want, got[0], c.line)
		if c.do != "" {
			require.Equal(t, c.do, does(t, err)[0], c.line)
		}
	}
	noDate := opt
	noDate.Date = civil.Date{}
	_, err := ingest.ParseNotes(strings.NewReader("B3 slug 4"), "n", noDate)
	require.Equal(t, []string{"n:1:1: the line has no date"}, list(t, err))
}

// All problems in one run, in file order; what read well comes back, and a
// wrong date line is reported once, not on every line below it.
func TestParseNotes_AllProblems(t *testing.T) {
	const text = `B9 slog 4 2.5 -1 untt=x
B3 slug 4
date 3/4/2026
B1 slug 1
date 2026-07-01
B1 slug 1
B3 slug 1
2026-07-20 b3 slugs 9 unit=board
B3 slug 9 edge
`
	notes, sum, err := ingest.ReadNotes(strings.NewReader(text), "n", opt)
	require.Equal(t, []string{
		`n:1:1: unknown bed "B9"; did you mean "B1"?`,
		`n:1:4: unknown pest "slog"; did you mean "slug"?`,
		`n:1:11: "2.5" is not a whole number`,
		`n:1:15: the count -1 is negative`,
		`n:1:18: unknown option "untt"; did you mean "unit"?`,
		`n:3:6: "3/4/2026" can be read as two different dates`,
		`n:8:1: bed B3, slug, 2026-07-20 is already on row 2 with the same unit and stratum`,
	}, list(t, err))
	require.Equal(t, ingest.Summary{Lines: 9, Visits: 4, Rejected: 4, Settings: 1, Units: 4}, sum)
	require.Equal(t, []int{2, 6, 7, 9}, []int{notes[0].Row, notes[1].Row, notes[2].Row, notes[3].Row})
	require.Equal(t, diag.CodeFailed, diag.Code(err))
}

func TestParseNotes_ReadFails(t *testing.T) {
	_, err := ingest.ParseNotes(failing{}, "n", opt)
	require.Equal(t, []string{"n: could not be read: disk gone"}, list(t, err))
}

func TestParseWords(t *testing.T) {
	v, err := ingest.ParseWords([]string{"yesterday", "B3", "slug", "4", "0", "by=Ana Lopez", "# under the\nboard"}, opt)
	require.NoError(t, err)
	require.Equal(t, farm.Visit{Bed: "B3", Date: civil.MustParse("2026-07-19"), Pest: "slug", Unit: "trap", Stratum: farm.Random,
		Counts: seen(4, 0), Observer: "Ana Lopez", Note: "under the board"}, v)
	v, err = ingest.ParseWords([]string{"B3", "mite", "50/50", "damage=0/1"}, opt)
	require.NoError(t, err)
	require.Equal(t, &farm.Presence{Infested: 50, Looked: 50}, v.Presence)
	v, err = ingest.ParseWords([]string{"B3 slug 4 0"}, opt) // the line in quotation marks
	require.NoError(t, err)
	require.Equal(t, seen(4, 0), v.Counts)

	_, err = ingest.ParseWords([]string{"B3", "slog", "4"}, opt)
	require.Equal(t, []string{`column 4: unknown pest "slog"; did you mean "slug"?`}, list(t, err))
	require.Equal(t, diag.CodeUsage, diag.Code(err))
	for _, words := range [][]string{nil, {"by", "Ana"}, {"# x"}} {
		_, err = ingest.ParseWords(words, opt)
		require.Equal(t, []string{"no counts given"}, list(t, err))
	}
}

func drawVisit(t *rapid.T) farm.Visit {
	count := rapid.IntRange(0, farm.MaxCount)
	v := farm.Visit{
		Bed:      rapid.SampledFrom(bedCodes).Draw(t, "bed"),
		Date:     today.AddDays(-rapid.IntRange(0, 40_000).Draw(t, "back")),
		Pest:     rapid.SampledFrom([]string{"slug", "mite", "earwig", "cutworm"}).Draw(t, "pest"),
		Stratum:  rapid.SampledFrom(farm.Strata).Draw(t, "stratum"),
		Observer: strings.ReplaceAll(drawText(t, "who"), `"`, ""),
		Note:     drawText(t, "note"),
	}
	v.Observer = strings.Join(strings.Fields(v.Observer), " ")
	v.Unit = map[string]string{"slug": "quadrat", "mite": "leaf", "earwig": "shelter", "cutworm": "plant"}[v.Pest]
	if rapid.Bool().Draw(t, "counts") {
		for range rapid.IntRange(1, 12).Draw(t, "runs") {
			c := farm.UnitCount{}
			if rapid.Bool().Draw(t, "looked") {
				c = farm.UnitCount{Count: count.Draw(t, "n") / rapid.SampledFrom([]int{1, 1000, 100_000}).Draw(t, "small"), Seen: true}
			}
			for range rapid.IntRange(1, 9).Draw(t, "same") {
				v.Counts = append(v.Counts, c)
			}
		}
	}
	if len(v.Seen()) == 0 || rapid.Bool().Draw(t, "presence") {
		n := rapid.IntRange(1, farm.MaxUnits).Draw(t, "looked at")
		v.Presence = &farm.Presence{Infested: rapid.IntRange(0, n).Draw(t, "infested"), Looked: n}
	}
	for _, e := range rapid.SampledFrom([][]string{nil, {"ladybird"}, {"predatory_mite", "ladybird"}}).Draw(t, "enemies") {
		v.Enemies = append(v.Enemies, farm.EnemyCount{Enemy: e, Count: count.Draw(t, "e")})
	}
	if rapid.Bool().Draw(t, "damage") {
		n := rapid.IntRange(1, 10_000).Draw(t, "parts")
		v.Damage = &farm.Damage{Hurt: rapid.IntRange(0, n).Draw(t, "hurt"), Looked: n}
	}
	temp := func(label string) *float64 {
		if !rapid.Bool().Draw(t, label+"?") {
			return nil
		}
		return ptr(rapid.Float64Range(-60, 60).Draw(t, label))
	}
	v.Conditions = farm.Conditions{
		Soil:      rapid.SampledFrom([]farm.Wetness{farm.Unknown, farm.Dry, farm.Moist, farm.Wet}).Draw(t, "soil"),
		Foliage:   rapid.SampledFrom([]farm.Wetness{farm.Unknown, farm.Dry, farm.Wet}).Draw(t, "foliage"),
		AirC:      temp("air"),
		SoilC:     temp("soilc"),
		Nights:    rapid.IntRange(0, 60).Draw(t, "nights"),
		Disturbed: rapid.Bool().Draw(t, "disturbed"),
	}
	return v
}

func TestFormatNote_RoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := drawVisit(t)
		line := ingest.FormatNote(v)
		notes, err := ingest.ParseNotes(strings.NewReader(line+"\n"), "n", ingest.Options{Today: today, Names: names{}})
		require.NoError(t, err, line)
		require.Equal(t, []ingest.Note{{v, 1}}, notes, line)
		got, err := ingest.ParseWords([]string{line}, ingest.Options{Today: today, Names: names{}})
		require.NoError(t, err, line)
		require.Equal(t, v, got)
	})
}

// The canonical line repeats a count only where that is shorter.
// A temperature comes back in the unit that it was written in.
func TestFormatNote_Fahrenheit(t *testing.T) {
	for _, want := range []string{"57F", "14C", "13.5C", "56.7F", "-4C"} {
		v, err := ingest.ParseWords([]string{"2026-07-13 B3 mite 1 0 air=" + want}, ingest.Options{Today: today, Names: names{}})
		require.NoError(t, err)
		require.Contains(t, ingest.FormatNote(v), " air="+want)
	}
}

func TestFormatNote_Line(t *testing.T) {
	v := farm.Visit{Bed: "B3", Date: civil.MustParse("2026-07-13"), Pest: "mite", Unit: "leaf", Stratum: farm.HotSpot,
		Counts: seen(0, 0, 0, 12, 5, 5, -1, -1, -1, -1), Presence: &farm.Presence{Infested: 1, Looked: 5},
		Enemies:    []farm.EnemyCount{{Enemy: "predatory_mite", Count: 2}},
		Damage:     &farm.Damage{Hurt: 4, Looked: 50},
		Conditions: farm.Conditions{Soil: farm.Wet, AirC: ptr(14.5), Nights: 2, Disturbed: true},
		Observer:   "Ana Lopez", Note: "two\nlines"}
	require.Equal(t, `2026-07-13 B3 mite 3*0 12 5 5 4*- 1/5 +predatory_mite=2 damage=4/50 unit=leaf nights=2 air=14.5C soil=wet hotspot disturbed by="Ana Lopez" # two lines`,
		ingest.FormatNote(v))
}

func FuzzNotes(f *testing.F) {
	for _, s := range []string{
		"B3 slug 4 0 2 7 1", "B3 mite 12/50", "2026-07-13 B3 mite 0 0 3 12 - 5 +predatory_mite=2 by=Ana # webbing low down",
		"B4 earwig 3 0 6 9 damage=4/50 unit=shelter nights=1 air=14C soil=moist foliage=dry disturbed", "date 2026-07-13\nby Ana Lopez\nB3 slug 70*0\r\n\n#x",
		"B3 slug 4,5", "\uFEFFB3 slug 1 by=\"a b\"c edge", "B3 slug 4, 0, 2 # é\u00a0", "b3 slug 1\x00", "3/4/2026 B3 slug 1", "B3 slug \xff", "by \"x", "B1 slug by==“=”1 1",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		notes, sum, err := ingest.ReadNotes(strings.NewReader(text), "n", opt)
		inside(t, text, err)
		if sum.Lines != sum.Visits+sum.Rejected+sum.Settings+sum.Skipped || sum.Visits != len(notes) || err == nil && sum.Rejected > 0 {
			t.Fatalf("totals do not balance: %+v, %d notes, %v", sum, len(notes), err)
		}
		units := 0
		var back strings.Builder
		for _, n := range notes {
			if e := farm.ValidateVisit(n.Visit); e != nil {
				t.Fatalf("accepted a visit that %v", e)
			}
			units += n.Visit.UnitsLooked()
			line := ingest.FormatNote(n.Visit)
			if len(line) > ingest.MaxLine {
				return // the canonical line names date and unit, so it can be a little longer
			}
			back.WriteString(line + "\n")
		}
		if units != sum.Units {
			t.Fatalf("%d units, %d in the totals", units, sum.Units)
		}
		if len(notes) == 0 {
			return
		}
		again, err := ingest.ParseNotes(strings.NewReader(back.String()), "n", opt)
		if err != nil {
			t.Fatalf("%q was written %q: %v", text, back.String(), err)
		}
		for i, n := range notes {
			n.Row = i + 1
			require.Equal(t, n, again[i], fmt.Sprintf("%q", back.String()))
		}
	})
}

func FuzzWords(f *testing.F) {
	for _, s := range []string{"2026-07-13", "today", "3/4/2026", "2026-11-01 01:30", "2026-03-08T02:30", "2026-07-13 18:30-04:00", "4,5", "010", "-1", "2.5"} {
		f.Add(s)
	}
	ny := mustZone(f, "America/New_York")
	f.Fuzz(func(t *testing.T, s string) {
		if d, err := ingest.ParseDate(s, today); err == nil {
			back, err := ingest.ParseDate(d.String(), civil.Date{})
			require.NoError(t, err)
			require.Equal(t, d, back)
		}
		if n, err := ingest.ParseCount(s); err == nil {
			require.True(t, n >= 0 && n <= farm.MaxCount)
			back, err := ingest.ParseCount(fmt.Sprint(n))
			require.NoError(t, err)
			require.Equal(t, n, back)
		}
		if c, _, err := ingest.ParseClock(s, today, ny); err == nil {
			back, warning, err := ingest.ParseClock(c.Format("2006-01-02T15:04Z07:00"), civil.Date{}, ny)
			require.NoError(t, err)
			require.Empty(t, warning)
			require.True(t, c.Equal(back), "%v %v", c, back)
		}
	})
}
