package gas

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// table reads testdata/published/name, one map a row. Whether it is published
// or made by a second implementation stands in its first line.
func table(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "..", "testdata", "published", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil || len(all) < 2 {
		t.Fatalf("%s: %d rows, %v", name, len(all), err)
	}
	var rows []map[string]string
	for _, rec := range all[1:] {
		row := map[string]string{}
		for i, v := range rec {
			row[all[0][i]] = v
		}
		rows = append(rows, row)
	}
	return rows
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

var symbols = map[string]Species{"CO": CO, "CO2": CO2, "H2": H2, "H2O": H2O, "CH4": CH4, "N2": N2, "Ar": Ar, "O2": O2}

// mix reads the mole fractions of a row that has a column for each species.
func mix(t *testing.T, row map[string]string) Mix {
	var m Mix
	for name, s := range symbols {
		m[s] = number(t, row[name])
	}
	return m
}

// near fails the test unless got is within part of want, or within digit of it.
func near(t *testing.T, what string, got, want, part, digit float64) {
	t.Helper()
	if !(math.Abs(got-want) <= part*math.Abs(want)+digit) {
		t.Errorf("%s: %.6g, want %.6g (%+.2f %%)", what, got, want, 100*(got/want-1))
	}
}
