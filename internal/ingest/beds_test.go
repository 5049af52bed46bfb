package ingest_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/farm"
	"leafturn/internal/ingest"
)

func TestParseBeds(t *testing.T) {
	want := []farm.Bed{
		{Code: "B1", Block: "North", X: ptr(0), Y: ptr(1.5), LengthM: 12, WidthM: 1.2192, Plants: 80, Cultivar: "Invented Red, tall", Irrigation: farm.Drip, Site: farm.Outdoor},
		{Code: "H-1", LengthM: 3.048, WidthM: 0.9, Site: farm.House},
	}
	for name, text := range map[string]string{
		"comma": "code,block,x_m,y_m,length_m,width_ft,plants,cultivar,irrigation,site\n" +
			"B1,North,0,1.5,12,4,80,\"Invented Red, tall\",drip,outdoor\nH-1,,,,10 ft,0.9 m,,,,House\n",
		"byte-order mark, CRLF, semicolon, decimal comma": "\uFEFF# a comment\r\nCode;Block;X (m);Y (m);Length m;Width;Plants;Cultivar;Irrigation;Site\r\n" +
			"B1;North;0;1,5;12,0;4 ft;80;Invented Red, tall;DRIP;\r\n;;;;;;;;;\r\nH-1;;;;3.048;0,9 m;;;;house\r\n",
		"tab, other order": "width_m\tbed\tlength_ft\tsite\tblock\tx_m\ty_m\tplants\tcultivar\tirrigation\n" +
			"1.2192\tB1\t12 m\t\tNorth\t0\t1.5\t80\tInvented Red, tall\tdrip\n0.9\tH-1\t10\thouse\t\t\t\t\t\t\n",
	} {
		got, err := ingest.ParseBeds(strings.NewReader(text), "beds.csv")
		require.NoError(t, err, name)
		require.Equal(t, len(want), len(got), name)
		for i := range want {
			require.InDelta(t, want[i].LengthM, got[i].LengthM, 1e-12, name)
			require.InDelta(t, want[i].WidthM, got[i].WidthM, 1e-12, name)
			got[i].LengthM, got[i].WidthM = want[i].LengthM, want[i].WidthM
		}
		require.Equal(t, want, got, name)
	}
}

func TestParseBeds_AllProblems(t *testing.T) {
	const text = `code,length,width_m,x_m,y_m,plants,irrigation,site
B1,12,1.2,,,,,
date,12 m,1.2,,,,,
12,12 m,1.2,,,,,
é B,12 m,1.2,,,,,
B2,"12,5 m",1.2,,,,,
B3,12 kg,0,,,,,
B4,9 km,-1,1,,2.5,dripp,indoors
B5,12 m,1.2
b5,12 m,1.2,,,,,
B5,12 m,1.2,,,,,
,12 m,,,,,,
B6,"12 m,1.2,,,,,
`
	beds, err := ingest.ParseBeds(strings.NewReader(text), "b")
	require.Equal(t, []string{
		`b:2:4: "12" of length has no unit`,
		`b:3:1: "date" cannot name a bed: in notes the word has a meaning of its own`,
		`b:4:1: "12" cannot be the code of a bed`,
		`b:5:1: "é B" cannot be the code of a bed`,
		`b:6:4: "12,5 m" holds a comma`,
		`b:7:4: "12 kg" is no length: units measure different things: "12 kg" is a mass, want a length`,
		`b:7:10: the width is 0`,
		`b:8:1: the bed has only one of x and y`,
		`b:8:4: "9 km" is no length: unknown unit "km"`,
		`b:8:9: width "-1" is -1 m; expected 0 to 2000 m`,
		`b:8:15: "2.5" is not a number of plants`,
		`b:8:19: unknown irrigation "dripp"; did you mean "drip"?`,
		`b:8:25: unknown site "indoors"`,
		`b:9:9: the row has 3 cells, the heading has 8`,
		`b:11:1: the bed "B5" is already on row 10`,
		`b:12:1: the bed has no code`,
		`b:12:7: the bed has no width`,
	}, list(t, err)[:17])
	require.Contains(t, list(t, err)[17], "the quotation marks do not match")
	require.Len(t, beds, 1) // b5 on row 10 alone reads well
	require.Equal(t, `name the column length_m or length_ft, or write the unit in the cell: "12 m", "40 ft"`, does(t, err)[0])
}

func TestParseBeds_Heading(t *testing.T) {
	for text, want := range map[string][]string{
		"":                                {"b: the file is empty"},
		"code,length_m,width_m\n":         {"b: no beds in it"},
		",,,\n":                           {"b:1:1: no heading row"},
		"code,lenght_m,width_m\nB1,1,1":   {`b:1:6: unknown column "lenght_m"; did you mean "length_m"?`},
		"code,length_kg,width_m\nB1,1,1":  {`b:1:6: unknown column "length_kg"; did you mean "length_m"?`},
		"code,length_m,,width_m\nB1,1,,1": {"b:1:15: a column without a heading"},
		"code,length_m,width_m,width_ft\nB1,1,1,":     {`b:1:23: the column "width_ft" stands twice; the first is "width_m" at column 15`},
		"block,plants\nN,1":                           {`b:1:1: the column "code" is missing`, `b:1:1: the column "length" is missing`, `b:1:1: the column "width" is missing`},
		"code,length_m,width_m\nB1,1\xff,1":           {"b:2:5: byte 0xFF is not UTF-8 text"},
		"code,block,length_m,width_m\nB1,\"é ü\",x,1": {`b:2:10: "x" is no length: not a number: "x"`}, // columns count characters
		// three digits after a comma could be thousands
		"code;length_m;width_m\nB1;3,048;1": {`b:2:4: "3,048" holds a comma`},
		"code\x00":                          {"b:1:5: holds a NUL byte; this is not a text file"},
		"\"code\nB1":                        {"b:2:3: the quotation marks do not match"},
	} {
		_, err := ingest.ParseBeds(strings.NewReader(text), "b")
		require.Equal(t, want, list(t, err), text)
	}
	_, err := ingest.ParseBeds(failing{}, "b")
	require.Equal(t, []string{"b: could not be read: disk gone"}, list(t, err))
}

func TestFormatBeds_RoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var beds []farm.Bed
		size := rapid.Float64Range(0.01, 2000)
		for _, code := range rapid.SliceOfNDistinct(rapid.StringMatching(`[A-Z][0-9.-]{0,11}`), 1, 6, rapid.ID[string]).Draw(t, "codes") {
			b := farm.Bed{Code: code, Block: drawText(t, "block"), Cultivar: drawText(t, "cultivar"), LengthM: size.Draw(t, "l"), WidthM: size.Draw(t, "w"),
				Plants: rapid.IntRange(0, 500).Draw(t, "plants"), Irrigation: rapid.SampledFrom(append(farm.Irrigations, "")).Draw(t, "irrigation"),
				Site: rapid.SampledFrom([]farm.Site{farm.Outdoor, farm.House}).Draw(t, "site")}
			if rapid.Bool().Draw(t, "placed") {
				b.X, b.Y = ptr(rapid.Float64Range(-9, 2e4).Draw(t, "x")), ptr(rapid.Float64Range(-9, 2e4).Draw(t, "y"))
			}
			beds = append(beds, b)
		}
		text := ingest.FormatBeds(beds)
		got, err := ingest.ParseBeds(strings.NewReader(text), "b")
		require.NoError(t, err, text)
		require.Equal(t, beds, got)
	})
}

func FuzzBeds(f *testing.F) {
	for _, s := range []string{
		"code,block,x_m,y_m,length_m,width_ft,plants,cultivar,irrigation,site\nB1,North,0,1.5,12,4,80,\"Red, tall\",drip,outdoor\n",
		"\uFEFFcode;length;width\r\nB1;12,5 m;4 ft\r\n", "code\tlength_m\twidth_m\nB1\t1\t\"1\n\"\n", "code,length_m,width_m\nB1,1e1,.5\n", ",,\n", "#x\n\"code", "bed,length_in,width_cm\nB-1,99,80\nb-1,1,1",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		beds, err := ingest.ParseBeds(strings.NewReader(text), "b")
		inside(t, text, err)
		if err == nil && len(beds) == 0 {
			t.Fatal("no beds and no problem")
		}
		if len(beds) == 0 {
			return
		}
		back := ingest.FormatBeds(beds)
		again, err := ingest.ParseBeds(strings.NewReader(back), "b")
		if err != nil {
			t.Fatalf("%q was written %q: %v", text, back, err)
		}
		require.Equal(t, beds, again)
	})
}
