package hearth

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"charwarden/sensors/derive/gas"
)

// table reads testdata/published/name, one map a row. Whether it is published
// or made by a second implementation stands in its first line.
func table(t testing.TB, name string) (rows []map[string]string) {
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
	for _, rec := range all[1:] {
		row := map[string]string{}
		for i, v := range rec {
			row[all[0][i]] = v
		}
		rows = append(rows, row)
	}
	return rows
}

func number(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// columns of the second implementation's files, with what they are here and
// how far two implementations with the same constants may differ.
var columns = []struct {
	name string
	of   func(*State) float64
	tol  float64
}{
	{"T_red_C", func(s *State) float64 { return s.BedExit }, 0.5},
	{"CO_dry", func(s *State) float64 { return 100 * s.Dry[gas.CO] }, 0.02},
	{"H2_dry", func(s *State) float64 { return 100 * s.Dry[gas.H2] }, 0.02},
	{"CO2_dry", func(s *State) float64 { return 100 * s.Dry[gas.CO2] }, 0.02},
	{"CH4_dry", func(s *State) float64 { return 100 * s.Dry[gas.CH4] }, 0.002},
	{"N2_dry", func(s *State) float64 { return 100 * s.Dry[gas.N2] }, 0.02},
	{"Ar_dry", func(s *State) float64 { return 100 * s.Dry[gas.Ar] }, 0.02},
	{"H2O_wet", func(s *State) float64 { return 100 * s.Wet[gas.H2O] }, 0.02},
	{"LHV_dry_MJ_Nm3", func(s *State) float64 { return s.HeatDry / 1e6 }, 0.005},
	{"LHV_wet_MJ_Nm3", func(s *State) float64 { return s.HeatWet / 1e6 }, 0.005},
	{"yield_dry_Nm3_kg", func(s *State) float64 { return s.YieldDry }, 0.005},
	{"yield_wet_Nm3_kg", func(s *State) float64 { return s.YieldWet }, 0.005},
	{"CGE_pct", func(s *State) float64 { return 100 * s.ColdGasEfficiency }, 0.05},
	{"air_gas_ratio_dry", func(s *State) float64 { return s.AirNeedDry }, 0.001},
	{"air_gas_ratio_wet", func(s *State) float64 { return s.AirNeedWet }, 0.001},
	{"Hmix_dry_kJ_Nm3", func(s *State) float64 { return s.MixtureDry / 1e3 }, 2},
	{"Hmix_wet_kJ_Nm3", func(s *State) float64 { return s.MixtureWet / 1e3 }, 2},
	{"blast_Nm3_kg", func(s *State) float64 { return s.Blast }, 0.005},
	{"air_moist_Nm3_kg", func(s *State) float64 { return s.Air }, 0.005},
	{"exh_total_Nm3_kg", func(s *State) float64 { return s.ExhaustTotal }, 0.005},
	{"exh_CO2_pct", func(s *State) float64 { return 100 * s.Exhaust[gas.CO2] }, 0.02},
	{"exh_H2O_pct", func(s *State) float64 { return 100 * s.Exhaust[gas.H2O] }, 0.02},
	{"exh_N2_pct", func(s *State) float64 { return 100 * s.Exhaust[gas.N2] }, 0.02},
	{"T_ox_fuel_C", func(s *State) float64 { return s.OxidationFuel }, 1.5},
	{"T_ox_carbon_dissoc_C", func(s *State) float64 { return s.Oxidation }, 1.5},
}

func compare(t *testing.T, row map[string]string, s *State) {
	t.Helper()
	for _, c := range columns {
		if got, want := c.of(s), number(t, row[c.name]); !(math.Abs(got-want) <= c.tol) {
			t.Errorf("return %s moisture %s loss %s: %s %.5g, want %.5g", row["r_pct"], row["moisture_pct"], row["q_pct"], c.name, got, want)
		}
	}
}

// The whole grid of a second, independent implementation (Python, scipy, the
// same NASA-9 data).
func TestSecondGrid(t *testing.T) {
	rows := table(t, "hearth_grid.csv")
	var warm Solver
	for _, row := range rows {
		in := Default()
		in.Return, in.Moisture, in.Loss = number(t, row["r_pct"])/100, number(t, row["moisture_pct"])/100, number(t, row["q_pct"])/100
		s, err := Solve(in)
		if err != nil {
			t.Fatal(err)
		}
		compare(t, row, &s)
		if s, err = warm.Solve(in); err != nil {
			t.Fatal(err)
		}
		compare(t, row, &s)
		// At that temperature, imposed, the loss comes out.
		loss := in.Loss
		in.Imposed, in.BedExit, in.Loss = true, s.BedExit, math.NaN()
		if s, err = Solve(in); err != nil || math.Abs(s.Loss-loss) > 1e-9 {
			t.Errorf("imposed %.2f degC: loss %.9f, want %g (%v)", in.BedExit, s.Loss, loss, err)
		}
		compare(t, row, &s)
	}
	if len(rows) != 56 {
		t.Errorf("%d rows", len(rows))
	}
}

// Pure carbon in dry air, the same second implementation; outside the box, and
// without any hydrogen where no exhaust brings steam.
func TestSecondPureCarbon(t *testing.T) {
	n := 0
	for _, row := range table(t, "pure_carbon_dry_air.csv") {
		std := gas.CO2.Enthalpy(298.15)
		in := Default()
		in.Fuel = Fuel{Carbon: 1, HHV: -std / molC}
		in.Humidity, in.Moisture = 0, 0
		in.Return, in.Loss = number(t, row["r_pct"])/100, number(t, row["q_pct"])/100
		if in.Return == 0 && number(t, row["H2_dry"]) != 0 {
			t.Fatalf("%v", row)
		}
		f := newFeed(&in)
		var b Solver
		s := b.solve(&f, &in)
		compare(t, row, &s)
		n++
	}
	if n < 10 {
		t.Errorf("%d rows", n)
	}
}

// Two states worked through to every enthalpy, by the same second implementation.
func TestSecondWorkedStates(t *testing.T) {
	inputs := map[string]Input{}
	for name, x := range map[string][3]float64{"r=0 w=0 q=0.05": {0, 0, 0.05}, "r=0.2 w=0.1 q=0.15": {0.2, 0.1, 0.15}} {
		in := Default()
		in.Return, in.Moisture, in.Loss = x[0], x[1], x[2]
		inputs[name] = in
	}
	symbols := map[string]gas.Species{"CO": gas.CO, "CO2": gas.CO2, "H2": gas.H2, "H2O": gas.H2O, "CH4": gas.CH4, "N2": gas.N2, "Ar": gas.Ar, "O2": gas.O2}
	seen := 0
	for _, row := range table(t, "worked_states.csv") {
		in, ok := inputs[row["case"]]
		if !ok {
			t.Fatalf("case %s", row["case"])
		}
		f := newFeed(&in)
		s, err := Solve(in)
		if err != nil {
			t.Fatal(err)
		}
		b := f.blast(&s.Exhaust)
		blast, wet, exhaust := s.Blast/gas.Volume, s.YieldWet/gas.Volume, s.ExhaustTotal/gas.Volume
		th := gas.At(s.BedExit + gas.ZeroC)
		what, of, _ := strings.Cut(row["quantity"], " ")
		var got float64
		switch what {
		case "HHV":
			got = in.Fuel.hhv()
		case "LHV":
			if got = s.LHV; of == "dry" {
				dry := in
				dry.Moisture = 0
				g := newFeed(&dry)
				got = g.lhv
			}
		case "fuel":
			got = f.heat
		case "nC":
			got = f.c
		case "nH":
			got = f.h
		case "nO":
			got = f.o
		case "nW":
			got = in.Moisture / molW
		case "stoichiometric":
			got = f.need * f.air[gas.O2]
		case "x_air":
			got = f.air[symbols[of]]
		case "h_moist_air(298.15)":
			got = f.hAir
		case "n_blast":
			if got = blast; of != "" {
				got *= b[symbols[of]]
			}
		case "T_out":
			got = s.BedExit + gas.ZeroC
		case "n_gas":
			got = wet * s.Wet[symbols[of]]
		case "n_exhaust":
			got = exhaust * s.Exhaust[symbols[of]]
		case "n_engine_air":
			got = wet * s.AirNeedWet
		case "h_exhaust(423.15)":
			got = s.Exhaust.Enthalpy(423.15)
		case "sum":
			got = wet * th.Of(&s.Wet)
		case "blast":
			got = blast * ((1-in.Return)*f.hAir + in.Return*s.Exhaust.Enthalpy(in.ExhaustTemp+gas.ZeroC))
		case "heat":
			got = s.Loss * s.LHV
		case "ln":
			got = map[byte]float64{'b': th.LnK(&gas.Boudouard), 'w': th.LnK(&gas.WaterGas), 'm': th.LnK(&gas.Methane)}[of[2]]
		case "Tox_fuel":
			got = s.OxidationFuel + gas.ZeroC
		case "Tox_C_diss":
			got = s.Oxidation + gas.ZeroC
		case "Tox_fuel_diss", "Tox_C": // not reckoned here
			continue
		default:
			t.Fatalf("quantity %q", row["quantity"])
		}
		seen++
		if want := number(t, row["value"]); !(math.Abs(got-want) <= 2e-5*math.Abs(want)+1e-6) {
			t.Errorf("%s: %s %.8g, want %.8g", row["case"], row["quantity"], got, want)
		}
	}
	if seen < 80 {
		t.Errorf("only %d quantities", seen)
	}
}
