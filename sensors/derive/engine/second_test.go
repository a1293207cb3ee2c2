package engine

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"charwarden/sensors/derive/gas"
	"charwarden/sensors/derive/hearth"
)

// near holds that got is want within a share of it.
func near(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if !(math.Abs(got-want) <= share*math.Abs(want)) {
		t.Errorf("%s: %.6g, want %.6g", what, got, want)
	}
}

// Every row of a second, independent implementation (Python), from the charcoal
// to the shaft, with that of petrol above its gases'.
func TestSecondImplementation(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "..", "testdata", "published", "engine.csv"))
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
	var petrol float64 // kW
	seen := 0
	for _, rec := range all[1:] {
		row := func(name string) float64 {
			for i, h := range all[0] {
				if h == name {
					v, err := strconv.ParseFloat(rec[i], 64)
					if err != nil {
						t.Fatalf("%s: %v", name, err)
					}
					return v
				}
			}
			t.Fatalf("no column %s", name)
			return 0
		}
		if rec[2] == "petrol" {
			petrol = row("brake_kW")
			continue
		}
		in := hearth.Default()
		in.Return, in.Moisture, in.Loss = row("r_pct")/100, row("moisture_pct")/100, row("q_pct")/100
		h, err := hearth.Solve(in)
		if err != nil {
			t.Fatal(err)
		}
		s := Default()
		s.Displacement = row("engine_cm3") * 1e-6
		s.VolumetricEfficiency, s.IndicatedEfficiency = row("eta_v"), row("eta_i")
		s.ManifoldPressure, s.ManifoldTemp = row("manifold_kPa")*1e3, row("manifold_C")
		got, err := Run(s, row("rpm"), From(&h))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "mixture", got.MixtureFlow, row("mixture_Nm3_h"), 2e-4)
		near(t, "gas", got.GasFlow, row("gas_wet_Nm3_h"), 5e-4)
		near(t, "air", got.AirFlow, row("engine_air_Nm3_h"), 5e-4)
		near(t, "charcoal", got.CharcoalFlow, row("charcoal_kg_h"), 1e-3)
		near(t, "heat", got.Heat/1e3, row("fuel_power_kW"), 1e-3)
		near(t, "indicated", got.Indicated/1e3, row("indicated_kW"), 1e-3)
		near(t, "friction", got.Friction/1e3, row("friction_kW"), 1e-4)
		near(t, "shaft", got.Shaft/1e3, row("brake_kW"), 3e-3)
		near(t, "petrol", got.Petrol/1e3, petrol, 1e-3)
		near(t, "share", got.ShareOfPetrol, row("brake_vs_petrol"), 4e-3)
		seen++
	}
	if seen != 24 {
		t.Errorf("%d rows", seen)
	}
}

// example is CO 30, H2 5, CH4 1, CO2 2, N2 62 %, of which 1 kg of charcoal
// makes 4.43 Nm3.
func example() Gas {
	m := gas.Mix{gas.CO: 0.30, gas.H2: 0.05, gas.CH4: 0.01, gas.CO2: 0.02, gas.N2: 0.62}
	return Gas{Heat: m.HeatingValue(), AirNeed: m.AirNeed(gas.AirOxygen), Yield: 4.43}
}

// Flows, heat and charcoal of small engines on a gas of given make: another
// second, independent implementation, at 25 degC and 101.325 kPa.
func TestSmallEngines(t *testing.T) {
	for _, c := range []struct{ cc, rpm, mixture, gas, heat, charcoal float64 }{
		{163, 3600, 3.67, 6.26, 8.15, 1.41},
		{163, 3000, 3.06, 5.22, 6.79, 1.18},
		{196, 3600, 4.41, 7.53, 9.80, 1.70},
		{389, 3600, 8.75, 14.95, 19.46, 3.37},
		{420, 3600, 9.45, 16.14, 21.01, 3.64},
		{420, 3000, 7.88, 13.45, 17.51, 3.04},
	} {
		s := Default()
		s.Displacement, s.VolumetricEfficiency = c.cc*1e-6, 0.75
		s.ManifoldPressure, s.ManifoldTemp = gas.Atm, 25
		r, err := Run(s, c.rpm, example())
		if err != nil {
			t.Fatal(err)
		}
		near(t, "mixture, L/s", r.MixtureFlow/3.6*298.15/273.15, c.mixture, 3e-3)
		near(t, "gas", r.GasFlow, c.gas, 3e-3)
		near(t, "heat", r.Heat/1e3, c.heat, 3e-3)
		near(t, "charcoal", r.CharcoalFlow, c.charcoal, 5e-3)
	}
}
