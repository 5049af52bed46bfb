package ingest_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
)

func TestParseWeather(t *testing.T) {
	want := []farm.WeatherDay{
		{Date: civil.MustParse("2026-07-12"), MinC: ptr(10), MaxC: ptr(25), RainMM: ptr(0)},
		{Date: civil.MustParse("2026-07-13"), MaxC: ptr(20), RainMM: ptr(12.7), SoilC: ptr(15), Humidity: ptr(65), Source: "own gauge"},
		{Date: civil.MustParse("2026-07-22"), MinC: ptr(-5), MaxC: ptr(-5), Forecast: true},
	}
	for name, text := range map[string]string{
		"metric, newest first": "date,min_c,max_c,rain_mm,soil_c,humidity,forecast,source\n2026-07-22,-5,-5,,,,yes,\n" +
			"2026-07-13,,20,12.7,15,65,no,own gauge\n2026-07-12,10,25,0,,,,\n",
		"US": "Date,Min (°F),Max °F,Rain (in),Soil F,Humidity %,Forecast,Source\n2026-07-12,50,77,0,,,no,\n" +
			"2026-07-13,,68,.5,59,65%,0,own gauge\n2026-07-22,23,23,,,,1,\n",
		"decimal commas": "date;min_c;max_c;rain_mm;soil_c;humidity_pct;forecast;source\n2026-07-12;10,0;25,0;0,0;;;;\n" +
			"2026-07-13;;20,0;12,7;15,0;65,0;;own gauge\n2026-07-22;-5,0;-5;;;;y;\n",
	} {
		got, err := ingest.ParseWeather(strings.NewReader(text), "w", today)
		require.NoError(t, err, name)
		require.Len(t, got, 3)
		for i, d := range got { // inches and °F to the last bit are not the point
			for j, v := range []*float64{d.MinC, d.MaxC, d.RainMM, d.SoilC, d.Humidity} {
				w := []*float64{want[i].MinC, want[i].MaxC, want[i].RainMM, want[i].SoilC, want[i].Humidity}[j]
				require.Equal(t, w == nil, v == nil, "%s: %v %d", name, d.Date, j)
				if v != nil {
					require.InDelta(t, *w, *v, 1e-12)
					*v = *w
				}
			}
		}
		require.Equal(t, want, got, name)
	}
}

func TestParseWeather_AllProblems(t *testing.T) {
	const text = `date,min_c,max_c,rain_mm,humidity,forecast
2026-07-01,12,9,0,,
2026-07-02,12,74,0,,
2026-07-03,12,256,0,,
2026-07-04,-9999,20,-9999,,
2026-07-05,12,20,-1,,
2026-07-06,12,20,501,,
2026-07-07,12,20,T,0.65,
2026-07-08,12,20,0,101,maybe
2026-07-21,12,20,0,,
2026-07-22,12,20,0,,yes
3/4/2026,12,20,0,,
,12,20,0,,
2026-07-22,12,20,0,,yes
2026-07-09,,,,,
yesterday,1,2,,,
2026-07-10,12,20,"1,5",,
2026-07-11,12,104 F,,,
`
	days, err := ingest.ParseWeather(strings.NewReader(text), "w", today)
	require.Equal(t, []string{
		`w:2:12: the minimum "12" is above the maximum "9"`,
		`w:3:15: max "74" cannot be: 74 C`,
		`w:4:15: max "256" cannot be: 256 C`,
		`w:5:12: min "-9999" cannot be: -9999 C`,
		`w:5:21: rain "-9999" looks like a code for a missing value`,
		`w:6:18: rain "-1" is below 0`,
		`w:7:18: rain "501" in one day is 501 mm; at most 500 mm is believed`,
		`w:8:18: "T" is no rain: not a number: "T"`,
		`w:8:20: humidity "0.65" looks like a fraction`,
		`w:9:20: humidity "101" cannot be`,
		`w:9:24: "maybe" does not say whether the row is a forecast`,
		`w:10:1: 2026-07-21 lies in the future; today is 2026-07-20`,
		`w:12:1: "3/4/2026" can be read as two different dates`,
		`w:13:1: the row has no date`,
		`w:14:1: 2026-07-22 is already on row 11`,
		`w:15:1: the row has no reading`,
		`w:16:1: "yesterday" is not a date to keep: its meaning changes from day to day`,
		`w:17:18: "1,5" holds a comma`,
	}, list(t, err))
	do := does(t, err)
	require.Equal(t, "it looks like °F: give it with F (a column named …_f)", do[1])
	require.Equal(t, "it looks like tenths of a degree: divide by 10", do[2])
	require.Equal(t, "it looks like a code for a missing value: leave it blank", do[3])
	require.Len(t, days, 2)
	require.Equal(t, 40.0, *days[0].MaxC) // the cell's own unit: 104 °F = 40 °C
}

func TestParseWeather_Heading(t *testing.T) {
	for text, want := range map[string][]string{
		"date,min,max,rain\n2026-07-01,1,2,3": {`w:1:6: the column "min" does not give its unit`, `w:1:10: the column "max" does not give its unit`, `w:1:14: the column "rain" does not give its unit`},
		"date,min_k\n2026-07-01,1":            {`w:1:6: unknown column "min_k"; did you mean "min_c"?`},
		"min_c,max_c\n1,2":                    {`w:1:1: the column "date" is missing`},
		"date,min_c,min_f\n2026-07-01,1,":     {`w:1:12: the column "min_f" stands twice; the first is "min_c" at column 6`},
		"date,min_c\n":                        {"w: no weather in it"},
	} {
		_, err := ingest.ParseWeather(strings.NewReader(text), "w", today)
		require.Equal(t, want, list(t, err), text)
	}
}

func TestFormatWeather_RoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		maybe := func(low, high float64, label string) *float64 {
			if !rapid.Bool().Draw(t, label+"?") {
				return nil
			}
			return ptr(rapid.Float64Range(low, high).Draw(t, label))
		}
		var days []farm.WeatherDay
		for i := range rapid.IntRange(1, 20).Draw(t, "days") {
			d := farm.WeatherDay{Date: today.AddDays(i - 10), Forecast: i > 10, MinC: maybe(-60, 0, "min"), MaxC: maybe(0, 60, "max"), RainMM: maybe(0, 500, "rain"),
				SoilC: ptr(rapid.Float64Range(-60, 60).Draw(t, "soil")), Humidity: maybe(1.5, 100, "rh"), Source: drawText(t, "source")}
			days = append(days, d)
		}
		text := ingest.FormatWeather(days)
		got, err := ingest.ParseWeather(strings.NewReader(text), "w", today)
		require.NoError(t, err, text)
		require.Equal(t, days, got)
	})
}

func FuzzWeather(f *testing.F) {
	for _, s := range []string{
		"date,min_c,max_c,rain_mm,soil_c,humidity,forecast,source\n2026-07-22,-5,-5,,,,yes,x\n2026-07-12,10,25,0,,,,\n",
		"Date;Min (°F);Rain (in)\r\n2026-07-12;50,5;.5\r\n", "date,min_c\n2026-07-01,74\n2026-07-01,-9999", "date\thumidity_pct\n2026-07-01\t65%", "date,rain_cm\n\"2026-07-01\n\",1",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		days, err := ingest.ParseWeather(strings.NewReader(text), "w", today)
		inside(t, text, err)
		if err == nil && len(days) == 0 {
			t.Fatal("no days and no problem")
		}
		if len(days) == 0 {
			return
		}
		back := ingest.FormatWeather(days)
		again, err := ingest.ParseWeather(strings.NewReader(back), "w", today)
		if err != nil {
			t.Fatalf("%q was written %q: %v", text, back, err)
		}
		require.Equal(t, days, again)
	})
}

func TestParseWeather_OutOfOrder(t *testing.T) {
	_, err := ingest.ParseWeather(strings.NewReader("date,rain_mm\n2026-07-10,1\n2026-07-12,0\n2026-07-11,0\n2026-07-13,0\n"), "w", today)
	require.ErrorContains(t, err, "w:4:1: 2026-07-11 is out of order after 2026-07-12")
}

// Winter days of 38 to 48 could each be a day in Celsius; a fortnight of them
// is a column of Fahrenheit.
func TestParseWeather_FahrenheitInACelsiusColumn(t *testing.T) {
	var f, c strings.Builder
	f.WriteString("date,min_c,max_c\n")
	c.WriteString("date,min_c,max_c\n")
	for i := range 14 {
		d := today.AddDays(i - 20)
		fmt.Fprintf(&f, "%s,%d,%d\n", d, 29+i%3, 40+i%9)
		fmt.Fprintf(&c, "%s,%d,%d\n", d, 14+i%3, 30+i%9) // a heat wave
	}
	_, err := ingest.ParseWeather(strings.NewReader(f.String()), "w", today)
	require.ErrorContains(t, err, `w:1:12: the middle one of the 14 readings below "max_c" is 43 °C`)
	require.ErrorContains(t, err, "name it min_f")
	_, err = ingest.ParseWeather(strings.NewReader(c.String()), "w", today)
	require.NoError(t, err)

	// A frosty week in Fahrenheit: nights of 21 to 28, which no week of a cool
	// temperate climate has in Celsius.
	f.Reset()
	f.WriteString("date,tmin_c,tmax_c\n")
	for i := range 8 {
		fmt.Fprintf(&f, "%s,%d,%d\n", today.AddDays(i-180), 21+i, 31+i)
	}
	_, err = ingest.ParseWeather(strings.NewReader(f.String()), "w", today)
	require.ErrorContains(t, err, `w:1:6: the middle one of the 8 readings below "tmin_c" is 25 °C`)
}

// A file with its two columns swapped says so three times, not on every row.
func TestParseWeather_ManyOfOneKindAreFolded(t *testing.T) {
	var f strings.Builder
	f.WriteString("date,min_c,max_c\n")
	for i := range 40 {
		fmt.Fprintf(&f, "%s,20,10\n", today.AddDays(i-50))
	}
	_, err := ingest.ParseWeather(strings.NewReader(f.String()), "w", today)
	require.Equal(t, []string{
		`w:2:12: the minimum "20" is above the maximum "10"`,
		`w:3:12: the minimum "20" is above the maximum "10"`,
		`w:41:12: the minimum "20" is above the maximum "10" (and so in 37 more places between)`,
	}, list(t, err))
}

// Nights of 10 and days of 26 in Fahrenheit are -12 and -3 in Celsius; as
// Celsius each could be, but not next to a frosty day nor in such a January.
func TestParseWeather_FahrenheitBesideOtherDays(t *testing.T) {
	first := civil.MustParse("2026-01-10")
	frost := "date,min_c,max_c\n2026-01-08,-11,-3\n2026-01-09,-12,-4\n"
	var f strings.Builder
	for i := range 8 {
		fmt.Fprintf(&f, "%s,%d,%d\n", first.AddDays(i), 10+i%2, 26+i%3)
	}
	said := "the mean of 2026-01-10 is 18.0 °C, and that of 2026-01-09 is -8.0 °C"
	_, err := ingest.ParseWeather(strings.NewReader(frost+f.String()), "w", today)
	require.ErrorContains(t, err, "w:4:15: "+said)
	require.ErrorContains(t, err, "name the columns min_f and max_f")

	text := "date,min_c,max_c\n" + f.String()
	_, err = ingest.ParseWeather(strings.NewReader(text), "w", today)
	require.NoError(t, err)
	_, err = ingest.ParseWeatherBeside(strings.NewReader(text), "w", today, ingest.WeatherBeside{
		Measured: func(d civil.Date) (float64, bool) { return -8, d == first.AddDays(-1) }})
	require.ErrorContains(t, err, said)
	usual := func(mean float64) ingest.WeatherBeside {
		return ingest.WeatherBeside{Usual: func(time.Month) (float64, bool) { return mean, true }}
	}
	_, err = ingest.ParseWeatherBeside(strings.NewReader(text), "w", today, usual(-6))
	require.ErrorContains(t, err, "w:1:6: the middle one of 8 days is 25.0 °C warmer than what is usual here")
	_, err = ingest.ParseWeatherBeside(strings.NewReader(text), "w", today, usual(5)) // 14 °C over: no other unit
	require.NoError(t, err)
	// The first thaw after a frost, of 15 degrees in a day, is weather.
	_, err = ingest.ParseWeather(strings.NewReader("date,min_c,max_c\n2026-01-08,-11,-3\n2026-01-09,3,13\n"), "w", today)
	require.NoError(t, err)
}
