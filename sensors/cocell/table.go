package cocell

import (
	"fmt"
	"math"
	"sort"
)

// Point is one point of a temperature table: the cell's signal at TempC in
// degC, as a factor of its signal at 20 degC.
type Point struct{ TempC, Factor float64 }

// TGS5042 is the Figaro cell's table in steps of 1 degC (Application Notes for
// TGS5xxx series, rev. 12/25, appendix 2, as quoted in a public sensor module).
var TGS5042 = everyDegree(-10,
	0.752, 0.761, 0.771, 0.780, 0.789, 0.799, 0.808, 0.817, 0.826, 0.835,
	0.844, 0.852, 0.861, 0.870, 0.878, 0.887, 0.895, 0.903, 0.911, 0.919,
	0.927, 0.935, 0.943, 0.950, 0.958, 0.965, 0.972, 0.980, 0.987, 0.994,
	1.000, 1.007, 1.013, 1.020, 1.026, 1.032, 1.038, 1.044, 1.050, 1.055,
	1.060, 1.066, 1.071, 1.076, 1.080, 1.085, 1.089, 1.094, 1.098, 1.101,
	1.105, 1.109, 1.112, 1.115, 1.118, 1.121, 1.124, 1.126, 1.128, 1.130,
	1.132, 1.134, 1.135, 1.136, 1.137, 1.138,
)

// TGS5141 is the Figaro cell's factor, straight lines between these points
// (ST code in the public repository antoninus96/Air_Quality_Monitoring_IoT).
var TGS5141 = []Point{{-10, 0.6745}, {19, 0.9906}, {20, 1}, {50, 1.225}}

// CN0396 is the CO cell of Analog Devices' reference design CN0396, table
// S(T) of its public code.
var CN0396 = []Point{
	{-30, 0.299}, {-20, 0.388}, {-10, 0.537}, {0, 0.696}, {10, 0.849},
	{20, 1}, {30, 1.127}, {40, 1.237}, {50, 1.331},
}

// SPEC is the line 1 + 0.007 (T - 20) of the ULPSM modules (SPEC-Sensors,
// public library ULPSM, ULP.cpp). The ends, where it is held, are ours.
var SPEC = []Point{{-20, 0.72}, {50, 1.21}}

// Table returns a temperature table by name: TGS5042, TGS5141, CN0396 or SPEC.
// The caller does not change it.
func Table(name string) ([]Point, error) {
	switch name {
	case "TGS5042":
		return TGS5042, nil
	case "TGS5141":
		return TGS5141, nil
	case "CN0396":
		return CN0396, nil
	case "SPEC":
		return SPEC, nil
	}
	return nil, fmt.Errorf("cocell: temperature table %q: unknown (known: TGS5042, TGS5141, CN0396, SPEC)", name)
}

// factor interpolates linearly and holds the ends. It is 1 without a table and
// for a temperature that is not known (NaN).
func factor(table []Point, tempC float64) float64 {
	if len(table) == 0 || math.IsNaN(tempC) {
		return 1
	}
	i := sort.Search(len(table), func(i int) bool { return table[i].TempC >= tempC })
	switch {
	case i == len(table):
		return table[i-1].Factor
	case i == 0 || table[i].TempC == tempC:
		return table[i].Factor
	}
	a, b := table[i-1], table[i]
	return a.Factor + (b.Factor-a.Factor)*(tempC-a.TempC)/(b.TempC-a.TempC)
}

// worstFactor returns the largest relative error of a reading whose factor is
// taken as 1 although the cell is somewhere between coldest and hottest.
func worstFactor(table []Point) float64 {
	worst := max(math.Abs(1/factor(table, coldest)-1), math.Abs(1/factor(table, hottest)-1))
	for _, p := range table {
		if p.TempC > coldest && p.TempC < hottest {
			worst = max(worst, math.Abs(1/p.Factor-1))
		}
	}
	return worst
}

func checkTable(table []Point) error {
	for i, p := range table {
		if !(p.Factor > 0) || math.IsInf(p.Factor, 0) || math.IsNaN(p.TempC) || math.IsInf(p.TempC, 0) {
			return fmt.Errorf("cocell: temperature table: point %d (%v degC, factor %v): must be finite, the factor above 0", i+1, p.TempC, p.Factor)
		}
		if i > 0 && p.TempC <= table[i-1].TempC {
			return fmt.Errorf("cocell: temperature table: point %d (%v degC): temperatures must rise", i+1, p.TempC)
		}
	}
	return nil
}

func everyDegree(from float64, factors ...float64) []Point {
	table := make([]Point, len(factors))
	for i, f := range factors {
		table[i] = Point{from + float64(i), f}
	}
	return table
}
