package gas

import (
	"math"
	"testing"
)

// All at once is what they are one by one.
func TestAt(t *testing.T) {
	for _, T := range []float64{200, 298.15, 600, 1000, 1000.001, 2300, 6000} {
		th := At(T)
		for s := range Count {
			near(t, "capacity", th.Capacity[s], s.HeatCapacity(T), 1e-15, 0)
			near(t, "enthalpy", th.Enthalpy[s], s.Enthalpy(T), 1e-15, 0)
			near(t, "Gibbs", th.Gibbs[s], s.Enthalpy(T)-T*s.Entropy(T), 1e-15, 0)
		}
		near(t, "graphite", th.GraphiteEnthalpy, GraphiteEnthalpy(T), 1e-15, 0)
		near(t, "graphite", th.GraphiteGibbs, GraphiteEnthalpy(T)-T*GraphiteEntropy(T), 1e-15, 0)
		near(t, "mixture", th.Of(&e5), e5.Enthalpy(T), 1e-12, 1e-9)
	}
}

// Heat capacity is the slope of the enthalpy, and of the entropy over ln T, also
// across the seams of the segments.
func TestSlopes(t *testing.T) {
	type property func(float64) float64
	check := func(what string, cp, h, s property) {
		for T := 305.0; T < 5900; T += 47 {
			near(t, what, (h(T+1)-h(T-1))/2, cp(T), 2e-4, 0)
			near(t, what, T*(s(T+1)-s(T-1))/2, cp(T), 2e-4, 0)
		}
	}
	for name, s := range symbols {
		check(name, s.HeatCapacity, s.Enthalpy, s.Entropy)
	}
	check("graphite", GraphiteHeatCapacity, GraphiteEnthalpy, GraphiteEntropy)
	check("mixture", e5.HeatCapacity, e5.Enthalpy, func(T float64) float64 {
		var sum float64
		for s, x := range e5 {
			sum += x * Species(s).Entropy(T)
		}
		return sum
	})
}

// What CO2 and steam split into in the fire, by the constants of formation of
// NIST-JANAF (SRD 13, tables C-093, C-095, H-064): 0.006 in log10.
func TestSplitting(t *testing.T) {
	formed := map[string]map[float64]float64{}
	for _, row := range table(t, "janaf_reference.csv") {
		if formed[row["species"]] == nil {
			formed[row["species"]] = map[float64]float64{}
		}
		formed[row["species"]][number(t, row["T_K"])] = number(t, row["logKf"])
	}
	for _, T := range []float64{1500, 1800, 2000, 2200, 2500} {
		th := At(T)
		near(t, "CO2", th.LnK(&SplitCO2)/math.Ln10, formed["CO"][T]-formed["CO2"][T], 0, 0.006)
		near(t, "steam", th.LnK(&SplitH2O)/math.Ln10, -formed["H2O"][T], 0, 0.006)
		// Shift is the one less the other.
		near(t, "shift", th.Heat(&Shift), th.Heat(&SplitH2O)-th.Heat(&SplitCO2), 1e-9, 0)
	}
}

// Outside of the data nothing is known.
func TestThermoEnds(t *testing.T) {
	for _, T := range []float64{math.Nextafter(200, 0), math.Nextafter(6000, 1e4), 0, -1, math.NaN(), math.Inf(1), math.Inf(-1)} {
		th := At(T)
		for s := range Count {
			for _, v := range []float64{s.HeatCapacity(T), s.Enthalpy(T), s.Entropy(T), th.Capacity[s], th.Enthalpy[s], th.Gibbs[s]} {
				if !math.IsNaN(v) {
					t.Errorf("species %d at %g K: %g", s, T, v)
				}
			}
		}
		for _, v := range []float64{GraphiteHeatCapacity(T), GraphiteEnthalpy(T), GraphiteEntropy(T), th.GraphiteEnthalpy, th.GraphiteGibbs,
			e1.Enthalpy(T), e1.HeatCapacity(T), th.LnK(&Boudouard), th.Heat(&Shift)} {
			if !math.IsNaN(v) {
				t.Errorf("at %g K: %g", T, v)
			}
		}
	}
}

func TestThermoNoAllocation(t *testing.T) {
	if n := testing.AllocsPerRun(100, func() { th := At(1100); _ = th.LnK(&Methane) + e1.Enthalpy(400) }); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

func BenchmarkAt(b *testing.B) {
	for b.Loop() {
		At(1100)
	}
}
