package gas

import (
	"math"
	"testing"
)

// CRC Handbook of Chemistry and Physics, "Viscosity of Gases", at 300 and
// 400 K: 1 %, steam 1.5 %, of a table that has three digits.
func TestViscosityHandbook(t *testing.T) {
	seen := map[Species]bool{}
	for _, row := range table(t, "sutherland_constants.csv") {
		s, ok := symbols[row["species"]]
		if !ok {
			t.Fatalf("species %q", row["species"])
		}
		seen[s] = true
		part := 0.01
		if s == H2O {
			part = 0.015
		}
		near(t, row["species"]+" 300 K", s.Viscosity(300), 1e-6*number(t, row["CRC_300K"]), part, 0)
		near(t, row["species"]+" 400 K", s.Viscosity(400), 1e-6*number(t, row["CRC_400K"]), part, 0)
	}
	if len(seen) != int(Count) {
		t.Errorf("%d of %d species", len(seen), Count)
	}
	// Dry air by the same table: 18.5 and 23.1 uPa s.
	near(t, "air 300 K", (&DryAir).Viscosity(300), 18.5e-6, 0.005, 0)
	near(t, "air 400 K", (&DryAir).Viscosity(400), 23.1e-6, 0.005, 0)
}

// Wilke's viscosity and the ideal gas's density by a second, independent
// implementation (Python); its fits of CEA's viscosities, which have no
// Sutherland in them, agree to 0.35 %.
func TestMixtures(t *testing.T) {
	for _, row := range table(t, "mixture_viscosity_density.csv") {
		m, T := mix(t, row), number(t, row["T_C"])+ZeroC
		name := row["mixture"] + " " + row["T_C"] + " degC"
		near(t, name+" Wilke", 1e6*m.Viscosity(T), number(t, row["mu_Wilke_Sutherland_uPas"]), 1e-4, 0)
		near(t, name+" CEA", 1e6*m.Viscosity(T), number(t, row["mu_Wilke_CEA_uPas"]), 3.5e-3, 0)
		near(t, name+" molar mass", 1e3*m.MolarMass(), number(t, row["molar_mass_g_mol"]), 3e-5, 0)
		near(t, name+" density", m.Density(Atm, T), number(t, row["density_kg_m3_at_101.325kPa"]), 3e-5, 0)
		near(t, name+" density at 95 kPa", m.Density(95e3, T), number(t, row["density_kg_m3_at_95kPa"]), 3e-5, 0)
		near(t, name+" density at 0 degC", m.Density(Atm, ZeroC), number(t, row["density_kg_Nm3"]), 3e-5, 0)
	}
}

// The mean by mole fraction is a trap: in charcoal gas it is 3 to 4 % low.
func TestNotTheMean(t *testing.T) {
	m, T := Mix{CO: 0.31552, H2: 0.07782, CO2: 0.01660, CH4: 0.00031, H2O: 0.00367, N2: 0.57919, Ar: 0.00690}, 20+ZeroC
	var mean float64
	for s, x := range m {
		mean += x * Species(s).Viscosity(T)
	}
	near(t, "mean", 1e6*mean, 16.8111, 1e-4, 0) // second implementation
	if low := 1 - mean/m.Viscosity(T); low < 0.03 || low > 0.04 {
		t.Errorf("the mean is %.1f %% low", 100*low)
	}
}

// A mixture of one is that gas, one of a gas with itself too, and only the
// fractions of what is there count.
func TestViscosityEnds(t *testing.T) {
	for s := range Count {
		var m Mix
		m[s] = 1
		near(t, "alone", m.Viscosity(350), s.Viscosity(350), 1e-12, 0)
	}
	if mu := new(Mix).Viscosity(300); mu != 0 {
		t.Errorf("nothing: %g", mu)
	}
	for T := 250.0; T < 700; T += 10 {
		if !(e1.Viscosity(T+10) > e1.Viscosity(T)) {
			t.Errorf("falls at %g K", T)
		}
	}
	if math.IsNaN(e1.Viscosity(1500)) {
		t.Error("hot")
	}
}

func TestTransportNoAllocation(t *testing.T) {
	m := e1
	if n := testing.AllocsPerRun(100, func() { _ = m.Viscosity(350) + m.Density(Atm, 350) }); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

func BenchmarkViscosity(b *testing.B) {
	m := Mix{CO: 0.3, H2: 0.07, CO2: 0.025, CH4: 0.005, H2O: 0.01, N2: 0.58, Ar: 0.007, O2: 0.003}
	for b.Loop() {
		m.Viscosity(330)
	}
}
