package gas

import (
	"math"
	"testing"
)

// Vapour pressure over liquid water in kPa: IAPWS-95, as in the steam tables
// (from memory).
func TestSaturationSteamTables(t *testing.T) {
	for c, kPa := range map[float64]float64{0.01: 0.61166, 10: 1.2282, 20: 2.3393, 25: 3.1699, 40: 7.3849, 60: 19.946, 80: 47.414, 100: 101.418} {
		near(t, "saturation", Saturation(c+ZeroC), 1e3*kPa, 1.5e-3, 0)
	}
}

// Second, independent implementation (Python) of Buck 1996 and of its dew
// point, to its last digit.
func TestHumidity(t *testing.T) {
	for _, row := range table(t, "humidity.csv") {
		c, p, rh := number(t, row["T_C"]), 1e3*number(t, row["p_kPa"]), number(t, row["RH_pct"])/100
		near(t, "saturation", Saturation(c+ZeroC), number(t, row["psat_Pa_Buck1996"]), 0, 0.0051)
		x := rh * Saturation(c+ZeroC) / p
		near(t, "steam", x, number(t, row["x_H2O_mol_frac"]), 0, 5.1e-7)
		moist := DryAir
		for s := range moist {
			moist[s] *= 1 - x
		}
		moist[H2O] = x
		near(t, "O2", 100*moist[O2], number(t, row["O2_mol_pct_moist"]), 0, 5.1e-5)
		near(t, "density", moist.Density(p, c+ZeroC), number(t, row["moist_air_density_kg_m3"]), 0, 2e-5)
		dew := DewPoint(x, p)
		if row["dew_point_C"] == "" {
			if dew != 0 {
				t.Errorf("dry: dew point %g K", dew)
			}
			continue
		}
		near(t, "dew point", dew-ZeroC, number(t, row["dew_point_C"]), 0, 0.0051)
	}
}

// Gas with so much steam at 1 atm, by Magnus's formula (610.94 Pa, 17.625,
// 243.04 degC: Alduchov and Eskridge, J. Appl. Meteor. 35 (1996) 601), and the
// same formula at other pressures.
func TestDewPointMagnus(t *testing.T) {
	for x, c := range map[float64]float64{0.01: 7.2, 0.02: 17.7, 0.03: 24.3, 0.04: 29.2, 0.06: 36.4, 0.08: 41.8, 0.10: 46.1, 0.15: 54.2} {
		near(t, "dew point", DewPoint(x, Atm)-ZeroC, c, 0, 0.1)
		for _, p := range []float64{80e3, 95e3, 110e3} {
			l := math.Log(x * p / 610.94)
			near(t, "dew point", DewPoint(x, p)-ZeroC, 243.04*l/(17.625-l), 0, 0.1)
		}
	}
}

func TestDewPointInverts(t *testing.T) {
	for c := -40.0; c <= 150; c++ {
		p := Saturation(c + ZeroC)
		near(t, "dew point", DewPoint(p/2e6, 2e6), c+ZeroC, 0, 1e-9)
	}
	if c := DewPoint(-0.01, Atm); !math.IsNaN(c) {
		t.Errorf("less than no steam: %g", c)
	}
}

// A dew point is no number or within what water does; it rises with steam and
// with pressure.
func FuzzDewPoint(f *testing.F) {
	f.Add(0.04, 101325.0)
	f.Add(0.0, 0.0)
	f.Fuzz(func(t *testing.T, x, p float64) {
		if !(x >= 0 && x <= 1 && p >= 1 && p <= 1e6) {
			return
		}
		d := DewPoint(x, p)
		if x*p == 0 {
			if d != 0 {
				t.Errorf("dry: %g", d)
			}
			return
		}
		if !(d > 0 && d < 500) || DewPoint(x/2, p) > d || DewPoint(x, p/2) > d {
			t.Errorf("%g of %g Pa: %g K", x, p, d)
		}
	})
}
