package testkit

import (
	"encoding/json"
	"os"
	"testing"
)

// GoldenCase is what golden.json says of a part of a dataset, by quantity.
type GoldenCase struct {
	Case, Select string
	Quantities   map[string]struct {
		Value  any
		TolRel float64 `json:"tol_rel"`
		TolAbs float64 `json:"tol_abs"`
	}
}

// Golden reads golden.json of the reference data: the cases by dataset.
func Golden(t testing.TB) map[string][]GoldenCase {
	t.Helper()
	raw, err := os.ReadFile("../../testdata/reference/golden.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Datasets map[string][]GoldenCase }
	if err := json.Unmarshal(raw, &file); err != nil {
		t.Fatal(err)
	}
	return file.Datasets
}
