package testkit

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"
)

// DayTemps are a day's date, lowest and highest temperature in °C.
type DayTemps struct {
	Date      string
	Low, High float64
}

// Seattle reads the two years of daily weather in the reference data.
func Seattle(t *testing.T) []DayTemps {
	t.Helper()
	f, err := os.Open("../../testdata/reference/weather_seattle_2012_2013.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []DayTemps
	for _, r := range rows[1:] {
		low, err := strconv.ParseFloat(r[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		high, err := strconv.ParseFloat(r[2], 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, DayTemps{r[0], low, high})
	}
	return out
}
