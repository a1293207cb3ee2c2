package cocell

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

func rows(t *testing.T, file string) [][]string {
	t.Helper()
	f, err := os.Open("../../testdata/published/" + file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return all[1:]
}

// scan reads text by format; formats here fix every word of the row.
func scan(t *testing.T, text, format string, into ...any) {
	t.Helper()
	if n, err := fmt.Sscanf(text, format, into...); err != nil || n != len(into) {
		t.Fatalf("%q: %v", text, err)
	}
}

// Computed by a second independent implementation from SPEC's public library
// (ULP.cpp) and Figaro's application notes (rev. 12/25); the file names them.
// Its Winsen rows are frames on a serial line, which is no work of this package.
func TestVectors(t *testing.T) {
	seen := map[string]int{}
	for _, row := range rows(t, "co_cell_vectors.csv") {
		name, _, _ := strings.Cut(row[0], " ")
		var cell Cell
		var mV, want float64
		temp := 20.0
		switch {
		case name == "Winsen":
			seen[name]++
			continue
		case row[0] == "SPEC ULPSM-CO":
			cell = Cell{CleanAirV: 1.65, Table: SPEC}
			scan(t, row[1], "sensitivity_code=%f nA/ppm; TIA=%f V/A; Vgas-Vgas0=%f mV", &cell.NanoampPerPPM, &cell.Ohms, &mV)
		case row[0] == "Figaro TGS5xxx at 20C CF=1":
			cell = Cell{CleanAirV: 2.5, Inverting: true}
			scan(t, row[1], "alpha=%f nA/ppm; Rf=%f ohm; V0-Vout=%f mV (inverting)", &cell.NanoampPerPPM, &cell.Ohms, &mV)
		case row[0] == "Figaro TGS5042 temperature":
			name = "Temperature"
			cell = Cell{CleanAirV: 2.5, Inverting: true, Table: TGS5042}
			var cf, megohm float64
			scan(t, row[1], "t=%fC CF=%f; alpha20=%f nA/ppm; Rf=%fM; |V0-Vout|=%f mV", &temp, &cf, &cell.NanoampPerPPM, &megohm, &mV)
			cell.Ohms = megohm * 1e6
			if got := factor(TGS5042, temp); math.Abs(got-cf) > 1e-12 {
				t.Errorf("%v: factor %v", row, got)
			}
		default:
			t.Fatalf("unknown case %q", row[0])
		}
		scan(t, row[2], "%f ppm", &want)
		cell.FullScalePPM, cell.MaxV = 1001, 3.3 // one ppm over the largest row
		if err := cell.Validate(); err != nil {
			t.Errorf("%v: %v", row, err)
		}
		volts := cell.CleanAirV + mV/1000
		if cell.Inverting {
			volts = cell.CleanAirV - mV/1000
		}
		if got, err := cell.PPM(volts, temp); err != nil || math.Abs(got-want) > 1e-6 {
			t.Errorf("%v: %v ppm, %v", row, got, err)
		}
		if got := cell.Volts(want, temp); math.Abs(got-volts) > 1e-9 {
			t.Errorf("%v: %v V, want %v", row, got, volts)
		}
		seen[name]++
	}
	want := map[string]int{"SPEC": 16, "Figaro": 8, "Temperature": 5, "Winsen": 9}
	if fmt.Sprint(seen) != fmt.Sprint(want) {
		t.Errorf("rows %v, want %v", seen, want)
	}
}

// The two files are quotations of Figaro's table and of ST's code; they say so.
func TestTables(t *testing.T) {
	for _, c := range []struct {
		table, file string
		rows        int
	}{
		{"TGS5042", "tgs5042_temperature_cf.csv", 66},
		{"TGS5141", "tgs5141_temperature_factor.csv", 61},
	} {
		table, err := Table(c.table)
		if err != nil {
			t.Fatal(err)
		}
		all := rows(t, c.file)
		if len(all) != c.rows {
			t.Errorf("%s: %d rows, want %d", c.file, len(all), c.rows)
		}
		for _, row := range all {
			temp, err1 := strconv.ParseFloat(row[0], 64)
			want, err2 := strconv.ParseFloat(row[1], 64)
			if err1 != nil || err2 != nil {
				t.Fatal(err1, err2)
			}
			if got := factor(table, temp); math.Abs(got-want) > 1e-9 {
				t.Errorf("%s at %v degC: %v, want %v", c.table, temp, got, want)
			}
		}
	}
}

// CN0396 public code, S(T) in %; ULPSM's line 1 + 0.007 (T - 20).
func TestOtherTables(t *testing.T) {
	for i, percent := range []float64{29.9, 38.8, 53.7, 69.6, 84.9, 100, 112.7, 123.7, 133.1} {
		temp := float64(10*i - 30)
		if got := factor(CN0396, temp); math.Abs(got-percent/100) > 1e-12 {
			t.Errorf("CN0396 at %v degC: %v", temp, got)
		}
	}
	if got := factor(CN0396, 25); math.Abs(got-1.0635) > 1e-12 {
		t.Errorf("CN0396 at 25 degC: %v", got)
	}
	for temp := -20.0; temp <= 50; temp += 2.5 {
		if got := factor(SPEC, temp); math.Abs(got-(1+0.007*(temp-20))) > 1e-12 {
			t.Errorf("SPEC at %v degC: %v", temp, got)
		}
	}
	for _, name := range []string{"TGS5042", "TGS5141", "CN0396", "SPEC"} {
		table, err := Table(name)
		if err != nil || checkTable(table) != nil || factor(table, 20) != 1 {
			t.Errorf("%s: %v, %v, %v at 20 degC", name, err, checkTable(table), factor(table, 20))
		}
		first, last := table[0], table[len(table)-1]
		if factor(table, -100) != first.Factor || factor(table, 200) != last.Factor || factor(table, math.Inf(1)) != last.Factor {
			t.Errorf("%s: ends not held", name)
		}
		if factor(table, math.NaN()) != 1 {
			t.Errorf("%s: unknown temperature is not factor 1", name)
		}
	}
	if _, err := Table("tgs5042"); err == nil {
		t.Error("unknown table accepted")
	}
}
