package ingest_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leafturn/internal/farm"
	"leafturn/internal/ingest"
)

// twelve writes a file of invented months.
func twelve(head string, row func(m int) string) string {
	out := head + "\n"
	for m := range 12 {
		out += row(m) + "\n"
	}
	return out
}

func TestParseNormals(t *testing.T) {
	n, err := ingest.ParseNormals(strings.NewReader(twelve("month,min_c,max_c", func(m int) string { return fmt.Sprintf("%d,%d,%d", 12-m, m, m+8) })), "n.csv")
	require.NoError(t, err)
	require.Equal(t, farm.MonthNormal{MinC: 11, MaxC: 19}, n[0])
	require.Equal(t, farm.MonthNormal{MinC: 0, MaxC: 8}, n[11])
	names := []string{"Jan", "february", "MAR.", "Apr", "May", "june", "Jul", "Aug", "Sept", "Oct", "nov", "December"}
	n, err = ingest.ParseNormals(strings.NewReader(twelve("Max (F);Min (F);Month", func(m int) string { return "68;50;" + names[m] })), "n.csv")
	require.NoError(t, err)
	for _, x := range n {
		require.InDelta(t, 10, x.MinC, 1e-9)
		require.InDelta(t, 20, x.MaxC, 1e-9)
	}
}

func TestParseNormals_Problems(t *testing.T) {
	good := func(m int) string { return fmt.Sprintf("%d,2,12", m+1) }
	with := func(at int, text string) string {
		return twelve("month,min_c,max_c", func(m int) string {
			if m == at {
				return text
			}
			return good(m)
		})
	}
	for text, want := range map[string]string{
		"":                                 "n.csv: the file is empty",
		"month,min_c\n1,2":                 `n.csv:1:1: the column "max" is missing`,
		"month,min,max_c\n1,2,3":           `n.csv:1:7: the column "min" does not give its unit`,
		"month,min_c,max_c,rain_mm\n1,2,3": `n.csv:1:19: unknown column "rain_mm"`,
		with(3, ""):                        "n.csv: missing: April",
		with(3, "13,2,12"):                 `n.csv:5:1: "13" is no month`,
		with(3, ",2,12"):                   "n.csv:5:1: the row has no month",
		with(3, "3,2,12"):                  "n.csv:5:1: March is already on row 4",
		with(3, "4,,12"):                   "n.csv:5:3: April has no min",
		with(3, "4,13,12"):                 "n.csv:5:3: the minimum of April is above its maximum",
		with(3, "4,cold,12"):               `n.csv:5:3: "cold" is no min`,
		with(3, "4,2,53"):                  `n.csv:1:13: the mean maximum of 1 months below "max_c" is above 38 °C`,
	} {
		n, err := ingest.ParseNormals(strings.NewReader(text), "n.csv")
		require.ErrorContains(t, err, want, text)
		require.Nil(t, n)
	}
}

func FuzzParseNormals(f *testing.F) {
	f.Add(twelve("month,min_c,max_c", func(m int) string { return fmt.Sprintf("%d,2,12", m+1) }))
	f.Add("month,min_f,max_f\nMay,,3\n")
	f.Fuzz(func(t *testing.T, text string) {
		n, err := ingest.ParseNormals(strings.NewReader(text), "n.csv")
		if err == nil && len(n) != 12 {
			t.Fatal(n)
		}
		for _, m := range n {
			if !(m.MinC <= m.MaxC) {
				t.Fatalf("%+v", m)
			}
		}
	})
}
