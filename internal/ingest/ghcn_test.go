package ingest_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/civil"
	"leafturn/internal/diag"
	"leafturn/internal/farm"
	"leafturn/internal/ingest"
	"leafturn/internal/testkit"
)

const weatherDir = "../../testdata/reference/"

func station(t *testing.T, name string, o ingest.StationOptions) ingest.Station {
	t.Helper()
	raw, err := os.ReadFile(weatherDir + name)
	require.NoError(t, err)
	require.True(t, ingest.LooksLikeGHCN(raw))
	s, err := ingest.ParseGHCN(bytes.NewReader(raw), name, o)
	require.NoError(t, err)
	return s
}

// TestGHCN_Golden reads the station files of NOAA NCEI and finds what
// golden.json says of them: days, sums, flags, missing days.
func TestGHCN_Golden(t *testing.T) {
	datasets := testkit.Golden(t)
	s := station(t, "weather_centralpark.dly", ingest.StationOptions{})
	got := map[string]any{"station": s.ID}
	flagged := map[string]float64{}
	for _, f := range s.Flagged {
		w := strings.Fields(f) // 9:12: TMAX 17.2 of 1869-06-22 has the quality flag I
		flagged[w[1]+"_"+w[4][:4]]++
		got[w[1]+"_"+w[4]+"_flag"] = w[len(w)-1]
		var v float64
		_, err := fmt.Sscan(w[2], &v)
		require.NoError(t, err)
		got[w[1]+"_"+w[4]+"_flagged_value"] = v
	}
	count, sum := map[string]float64{}, map[string]float64{}
	for _, d := range s.Days {
		for name, v := range map[string]*float64{"TMAX": d.MaxC, "TMIN": d.MinC, "PRCP": d.RainMM} {
			if v != nil {
				k := fmt.Sprintf("%s_%d", name, d.Date.Year)
				count[k], sum[k] = count[k]+1, sum[k]+*v
			}
		}
	}
	checked := 0
	for _, c := range datasets["weather_centralpark.dly"] {
		for q, want := range c.Quantities {
			k := q[:min(9, len(q))]
			var v any
			switch {
			case strings.HasSuffix(q, "_present_unflagged"):
				v = count[k]
			case strings.HasSuffix(q, "_sum_unflagged"):
				v = sum[k]
			case strings.HasSuffix(q, "_flagged"):
				v = flagged[k]
			default:
				v = got[q]
			}
			if strings.HasPrefix(q, "SN") || v == nil || strings.HasPrefix(c.Case, "degree") || strings.HasSuffix(q, "_missing_in_lines") {
				continue // snow is not read; lines and gaps are not of this reader
			}
			if f, ok := v.(float64); ok {
				require.InDelta(t, want.Value, f, want.TolAbs+1e-6, q)
			} else {
				require.Equal(t, want.Value, v, q)
			}
			checked++
		}
	}
	require.Greater(t, checked, 25)

	old := station(t, "weather_seatac_2014_ghcn.csv", ingest.StationOptions{From: civil.MustParse("2014-01-01"), To: civil.MustParse("2014-12-31")})
	require.Equal(t, "USW00024233", old.ID)
	for _, c := range datasets["weather_seatac_2014_ghcn.csv"] {
		if !strings.HasPrefix(c.Case, "weather") && !strings.HasPrefix(c.Case, "reading") {
			continue
		}
		var low, high, rain float64
		for _, d := range old.Days {
			low, high, rain = low+*d.MinC, high+*d.MaxC, rain+*d.RainMM
		}
		n := float64(len(old.Days))
		for q, v := range map[string]float64{"days": n, "mean_min": low / n, "mean_max": high / n, "rain_total": rain} {
			if want, ok := c.Quantities[q]; ok {
				require.InDelta(t, want.Value, v, want.TolAbs+1e-6, q)
				checked++
			}
		}
	}
	t.Logf("%d values", checked)
}

// One station's days in three forms are the same days.
func TestGHCN_FormsAgree(t *testing.T) {
	o := ingest.StationOptions{From: civil.MustParse("2019-03-01"), To: civil.MustParse("2019-04-30")}
	want := station(t, "weather_centralpark.dly", o).Days
	require.Len(t, want, 61)
	tenths := func(v *float64) string {
		if v == nil {
			return "-9999"
		}
		return fmt.Sprintf("%.0f", *v*10)
	}
	var rows, wide strings.Builder
	wide.WriteString(`"STATION","DATE","LATITUDE","NAME","PRCP","PRCP_ATTRIBUTES","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"` + "\r\n")
	for _, d := range want {
		day := strings.ReplaceAll(d.Date.String(), "-", "")
		fmt.Fprintf(&wide, "\"USW00094728\",\"%s\",\"40.7\",\"A CITY, IN ITS PARK\",\"%5s\",\",,W\",\"%5s\",\",,W\",\"%5s\",\",,W\"\r\n", d.Date, tenths(d.RainMM), tenths(d.MaxC), tenths(d.MinC))
		for _, e := range []struct {
			name string
			v    *float64
		}{{"TMAX", d.MaxC}, {"TMIN", d.MinC}, {"PRCP", d.RainMM}} {
			fmt.Fprintf(&rows, "USW00094728,%s,%s,%s,,,W,2400\n", day, e.name, tenths(e.v))
		}
	}
	for name, text := range map[string]string{
		"rows": rows.String(), "rows with a heading": "ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME\n" + rows.String(), "wide": wide.String(), "with a mark": "\ufeff" + wide.String(),
	} {
		require.True(t, ingest.LooksLikeGHCN([]byte(text)), name)
		s, err := ingest.ParseGHCN(strings.NewReader(text), "x.csv", ingest.StationOptions{})
		require.NoError(t, err, name)
		require.Equal(t, want, s.Days, name)
	}
}

func month(element, from string, values ...int) string {
	s := "USW00094728" + from + element
	for i := range 31 {
		v := -9999
		if i < len(values) {
			v = values[i]
		}
		s += fmt.Sprintf("%5d  W", v)
		if v == -9999 {
			s = s[:len(s)-3] + "   "
		}
	}
	return s + "\n"
}

// A file of the wrong station is one problem, not one for each of its lines.
func TestGHCN_WrongStationIsToldOnce(t *testing.T) {
	_, err := ingest.ParseGHCN(strings.NewReader(month("TMAX", "202001", 110)+month("TMIN", "202001", 10)), "a.dly", ingest.StationOptions{Station: "USW00024233"})
	var list *diag.List
	require.ErrorAs(t, err, &list)
	require.Len(t, list.Problems, 1)
}

// Every mistake of the issue: found and told with its row and column, and
// nothing of the file is given back.
func TestGHCN_Mistakes(t *testing.T) {
	good := month("TMAX", "202001", 110, 120, 130) + month("TMIN", "202001", 10, 20, 30)
	for name, x := range map[string]struct {
		text     string
		o        ingest.StationOptions
		row, col int
		says     string
	}{
		"minimum above maximum": {month("TMAX", "202001", 110, 20, 130) + month("TMIN", "202001", 10, 90, 30), ingest.StationOptions{}, 2, 30, "TMIN 9 of 2020-01-02 is above TMAX 2"},
		"another station":       {good, ingest.StationOptions{Station: "USW00024233"}, 1, 1, "the station is USW00094728, not USW00024233"},
		"two stations":          {good + strings.Replace(month("PRCP", "202001", 5), "USW00094728", "USW00024233", 1), ingest.StationOptions{}, 3, 1, "above it was USW00094728"},
		"a month twice":         {good + month("TMAX", "202001", 110), ingest.StationOptions{}, 3, 22, "already stands on row 1"},
		"a whole month twice":   {good + month("TMIN", "202001", 10, 20, 30), ingest.StationOptions{}, 3, 22, "already stands on row 2"},
		"out of order":          {good + month("TMAX", "201912", 110), ingest.StationOptions{}, 3, 22, "comes after that of 2020-01-31"},
		"31 February":           {month("TMAX", "202002", make([]int, 30)...), ingest.StationOptions{}, 1, 22 + 29*8, "has no day 30"},
		"month 13":              {month("TMAX", "202013", 1), ingest.StationOptions{}, 1, 12, "is not a year and month"},
		"hot beyond belief":     {month("TMAX", "202001", 990), ingest.StationOptions{}, 1, 22, "TMAX 99 °C"},
		"cut line":              {"USW00094728202001TMAX  11\n", ingest.StationOptions{}, 1, 1, "too short"},
		"not in tenths":         {"STATION,DATE,TMAX,TMIN\nUSW00094728,2020-01-01,11.2,3.4\n", ingest.StationOptions{}, 2, 24, "is not in tenths"},
		"a date that is none":   {"STATION,DATE,TMAX,TMIN\nUSW00094728,2020-02-30,112,34\n", ingest.StationOptions{}, 2, 13, "is not a date"},
		"the future":            {"STATION,DATE,TMAX,TMIN\nUSW00094728,2020-03-03,112,34\n", ingest.StationOptions{Today: civil.MustParse("2020-03-02")}, 2, 13, "lies in the future"},
		"a month to come":       {good, ingest.StationOptions{Today: civil.MustParse("2020-01-02")}, 1, 22 + 2*8, "2020-01-03 lies in the future"},
		"a short row":           {"STATION,DATE,TMAX,TMIN\nUSW00094728,2020-03-03,112\n", ingest.StationOptions{}, 2, 1, "3 cells, the heading has 4"},
		"a day twice":           {"STATION,DATE,TMAX,TMIN\nUSW00094728,20200303,112,34\nUSW00094728,20200303,112,34\n", ingest.StationOptions{}, 3, 22, "already stands on row 2"},
		"a column twice":        {"STATION,DATE,TMAX,TMAX\nUSW00094728,20200303,112,34\n", ingest.StationOptions{}, 1, 19, "stands twice"},
		"no such days":          {good, ingest.StationOptions{From: civil.MustParse("2021-01-01")}, 0, 0, "no weather in it"},
		"no such form":          {"date;min;max\n", ingest.StationOptions{}, 1, 1, "none of the forms"},
		"empty":                 {"\n", ingest.StationOptions{}, 0, 0, "the file is empty"},
	} {
		s, err := ingest.ParseGHCN(strings.NewReader(x.text), "a.dly", x.o)
		require.Error(t, err, name)
		require.Empty(t, s.Days, name)
		require.Contains(t, err.Error(), x.says, name)
		var list *diag.List
		require.True(t, errors.As(err, &list), name)
		require.Equal(t, [2]int{x.row, x.col}, [2]int{list.Problems[0].Row, list.Problems[0].Col}, name)
		require.NotEmpty(t, list.Problems[0].Do, name)
	}
}

// A wide file in whole degrees Fahrenheit is not read as tenths: 72 would be
// 7.2 °C. One of tenths from the same days is.
func TestGHCN_FahrenheitIsNotTenths(t *testing.T) {
	for scale, bad := range map[string]bool{"f": true, "tenths": false} {
		var b strings.Builder
		b.WriteString("STATION,NAME,DATE,TMAX,TMIN\n")
		day := civil.MustParse("2020-05-01")
		for i := range 90 {
			c := 14 + float64(i)/6
			high, low := c*10, (c-9)*10
			if scale == "f" {
				high, low = c*1.8+32, (c-9)*1.8+32
			}
			fmt.Fprintf(&b, "USW00024233,A PLACE,%s,%.0f,%.0f\n", day.AddDays(i), high, low)
		}
		_, err := ingest.ParseGHCN(strings.NewReader(b.String()), "x.csv", ingest.StationOptions{})
		if bad {
			require.ErrorContains(t, err, "whole degrees Fahrenheit")
			_, err := ingest.ParseGHCN(strings.NewReader(b.String()), "x.csv", ingest.StationOptions{Tenths: true})
			require.NoError(t, err)
		} else {
			require.NoError(t, err)
		}
	}
}

// Days that are missing are told; none is filled.
func TestGHCN_MissingDays(t *testing.T) {
	s, err := ingest.ParseGHCN(strings.NewReader("STATION,DATE,TMAX,TMIN\nUSW00094728,20200303,112,34\nUSW00094728,20200305,-9999,40\nUSW00094728,20200307,90,10\n"), "x", ingest.StationOptions{})
	require.NoError(t, err)
	require.Equal(t, []civil.Date{civil.MustParse("2020-03-04"), civil.MustParse("2020-03-05"), civil.MustParse("2020-03-06")}, s.Missing)
	require.Len(t, s.Days, 3)
	require.Nil(t, s.Days[1].MaxC)
	require.Equal(t, 4.0, *s.Days[1].MinC)
	require.Equal(t, []farm.WeatherDay{s.Days[0]}, s.Days[:1])
}

func FuzzGHCN(f *testing.F) {
	f.Add([]byte(month("TMAX", "202001", 110, 120)))
	f.Add([]byte("STATION,DATE,TMAX,TMIN\nUSW00094728,20200303,112,34\n"))
	f.Add([]byte("USW00094728,20180101,TMAX,-71,,,W,2400\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		ingest.LooksLikeGHCN(text)
		s, err := ingest.ParseGHCN(bytes.NewReader(text), "x", ingest.StationOptions{})
		if err != nil {
			return
		}
		last := civil.Date{}
		for _, d := range s.Days {
			if !last.IsZero() && !d.Date.After(last) {
				t.Fatal("days out of order")
			}
			last = d.Date
			if d.MinC != nil && d.MaxC != nil && *d.MinC > *d.MaxC {
				t.Fatal("minimum above maximum")
			}
		}
	})
}
