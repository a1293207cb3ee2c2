package gas

import "testing"

// Charcoal gases, and a wood gas (e5).
var (
	e1 = Mix{CO: 0.30, H2: 0.05, CH4: 0.01, CO2: 0.02, N2: 0.62}
	e2 = Mix{CO: 0.347, N2: 0.653}
	e3 = Mix{CO: 0.28, H2: 0.04, CO2: 0.03, N2: 0.65}
	e4 = Mix{CO: 0.32, H2: 0.10, CH4: 0.02, CO2: 0.01, N2: 0.55}
	e5 = Mix{CO: 0.195, H2: 0.16, CH4: 0.025, CO2: 0.12, N2: 0.50}
)

func leaky(m Mix, air float64) Mix {
	m[O2] += air * AirOxygen
	m[N2] += air * (1 - AirOxygen)
	return m.Fractions()
}

// Lower heating values at 25 degC in kJ/mol: ISO 6976:1995, table 3 (from memory).
func TestHeatingValueISO(t *testing.T) {
	for s, kJ := range map[Species]float64{CO: 282.98, H2: 241.81, CH4: 802.60} {
		var m Mix
		m[s] = 1
		near(t, "heat", m.HeatingValue()*Volume, kJ*1e3, 1e-4, 0)
	}
	if h := (&DryAir).HeatingValue(); h != 0 {
		t.Errorf("air has %g J/Nm3", h)
	}
}

// Standard densities in kg/Nm3 and the air that the burnable gases need, of a
// second, independent implementation (Python), to its last digit.
func TestCharcoalGas(t *testing.T) {
	for _, c := range []struct {
		name                               string
		m                                  Mix
		heat, air, mixture, carbon, weight float64 // MJ/Nm3, ratio, MJ/Nm3, kg/Nm3, kg/Nm3
	}{
		{"E1", e1, 4.685, 0.9308, 2.426, 0.1768, 1.2007},
		{"E2", e2, 4.381, 0.8282, 2.396, 0.1859, 1.2498},
		{"E3", e3, 3.967, 0.7637, 2.249, 0.1661, 1.2248},
		{"E4", e4, 5.835, 1.1933, 2.660, 0.1876, 1.1302},
		{"E5", e5, 5.083, 1.0859, 2.437, 0.1822, 1.1365},
		{"E6", leaky(e1, 0.1), 4.259, 0.7553, 2.426, 0.1608, 1.2086},
	} {
		heat, air := c.m.HeatingValue()/1e6, c.m.AirNeed(AirOxygen)
		near(t, c.name+" sum", c.m.Sum(), 1, 1e-12, 0)
		near(t, c.name+" heat", heat, c.heat, 5e-4, 5e-4)
		near(t, c.name+" air", air, c.air, 0, 5.1e-5)
		near(t, c.name+" mixture", heat/(1+air), c.mixture, 5e-4, 5e-4)
		near(t, c.name+" carbon", c.m.Carbon(), c.carbon, 0, 5.1e-5)
		near(t, c.name+" density", c.m.Density(Atm, ZeroC), c.weight, 1e-4, 5e-5)
	}
}

// A leak on the cold side leaves the mixture as strong as before it once the
// engine's own air is trimmed back.
func TestLeakLeavesMixture(t *testing.T) {
	strength := func(m Mix) float64 { return m.HeatingValue() / (1 + m.AirNeed(AirOxygen)) }
	for _, m := range []Mix{e1, e2, e3, e4, e5} {
		for _, air := range []float64{0.01, 0.1, 0.3} {
			near(t, "mixture", strength(leaky(m, air)), strength(m), 1e-12, 0)
		}
	}
}

// The pure gases at 0 degC and 101.325 kPa, ideal, of their molar masses:
// g/mol by the CRC Handbook's table of the inorganic compounds (from memory).
func TestMolarMass(t *testing.T) {
	for s, g := range map[Species]float64{CO: 28.010, CO2: 44.009, H2: 2.016, H2O: 18.015, CH4: 16.043, N2: 28.014, Ar: 39.948, O2: 31.998} {
		var m Mix
		m[s] = 1
		near(t, "molar mass", m.MolarMass(), g/1e3, 0, 1.01e-6)
	}
	// U.S. Standard Atmosphere 1976, table 1: 28.9644 g/mol.
	near(t, "dry air", (&DryAir).MolarMass(), 28.9644e-3, 1e-4, 0)
}

func TestDry(t *testing.T) {
	wet := Mix{CO: 0.3, H2O: 0.2, N2: 0.5}
	dry := wet.Dry()
	near(t, "CO", dry[CO], 0.375, 1e-12, 0)
	near(t, "sum", dry.Sum(), 1, 1e-12, 0)
	if dry[H2O] != 0 || wet[H2O] != 0.2 {
		t.Errorf("steam: %g of %g", dry[H2O], wet[H2O])
	}
}

// Second, independent implementation (Python).
func TestVolume(t *testing.T) {
	co := Mix{CO: 1}
	for _, row := range table(t, "volume_conversion.csv") {
		T, p := number(t, row["T_C"])+ZeroC, 1e3*number(t, row["p_kPa_abs"])
		near(t, "m3 per Nm3", R*T/p/Volume, number(t, row["actual_m3_per_Nm3"]), 0, 1e-6)
		near(t, "CO mg/m3 per ppm", co.Density(p, T), number(t, row["CO_mg_m3_per_ppm"]), 2e-5, 0)
	}
}
