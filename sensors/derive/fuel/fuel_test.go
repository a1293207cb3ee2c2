package fuel

import (
	"math"
	"testing"

	"charwarden/sensors/derive/gas"
)

func near(t *testing.T, what string, got, want, part float64) {
	t.Helper()
	if !(math.Abs(got-want) <= part*math.Abs(want)) {
		t.Errorf("%s: %g, want %g", what, got, want)
	}
}

// A second, independent calculation: gas of CO 30, H2 5, CH4 1, CO2 2, N2 62 %
// from charcoals of 75, 80 and 85 % carbon, 2 % of it lost.
func TestSecondYield(t *testing.T) {
	g := gas.Mix{gas.CO: 0.30, gas.H2: 0.05, gas.CH4: 0.01, gas.CO2: 0.02, gas.N2: 0.62}
	for carbon, want := range map[float64]float64{0.75: 4.156, 0.80: 4.433, 0.85: 4.711} {
		near(t, "yield", Yield(carbon, 0.02, &g), want, 5e-4)
	}
}

// A second, independent calculation of hoppers, full and with a heel of 30 %.
func TestSecondRunTime(t *testing.T) {
	for _, c := range []struct{ litres, density, use, full, heel float64 }{
		{19, 180, 1.41, 2.43, 1.70}, {19, 150, 1.13, 2.52, 1.77}, {57, 200, 3.37, 3.38, 2.37}, {200, 208, 1.41, 29.5, 20.7},
	} {
		near(t, "full", RunTime(c.litres/1000, c.density, 0, c.use), c.full, 3e-3)
		near(t, "to the heel", RunTime(c.litres/1000, c.density, 0.3, c.use), c.heel, 3e-3)
	}
}
