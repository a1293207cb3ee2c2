// Package gas holds what is known of the gases in a charcoal gas rig: their
// thermodynamic and transport properties, heating value, need of air and dew
// point. All functions are pure. Inside are J, mol, K, Pa, kg, m; a normal
// cubic metre (Nm3) is at 0 degC and 101.325 kPa (DIN 1343), ideal.
package gas

// Species of gas.
type Species uint8

const (
	CO Species = iota
	CO2
	H2
	H2O
	CH4
	N2
	Ar
	O2
	Count // how many there are
)

// Of all gases.
const (
	R      = 8.314462618     // J/mol/K, CODATA 2018
	ZeroC  = 273.15          // K
	Atm    = 101325.0        // Pa
	Bar    = 1e5             // Pa, the standard state of the tables
	Volume = R * ZeroC / Atm // m3/mol at 0 degC and 101.325 kPa
	molC   = 12.011e-3       // kg/mol, IUPAC abridged atomic weights 2021
	molH   = 1.008e-3        //
	molO   = 15.999e-3       //
	molN   = 14.007e-3       //
	molAr  = 39.948e-3       //
)

// Lower heating values at 25 degC, J/mol: CO, H2 and CH4 to CO2 and steam
// (NASA/TP-2002-211556 enthalpies of formation).
const (
	heatCO  = 282.973e3
	heatH2  = 241.825e3
	heatCH4 = 802.557e3
)

// AirOxygen is O2 in dry air, mole fraction.
const AirOxygen = 0.2095

// Mix is a mixture: mole fractions, or moles where it says so, by Species.
type Mix [Count]float64

var molarMass = Mix{molC + molO, molC + 2*molO, 2 * molH, 2*molH + molO, molC + 4*molH, 2 * molN, molAr, 2 * molO}

// DryAir is N2, O2, Ar and CO2 (U.S. Standard Atmosphere 1976, rounded).
var DryAir = Mix{CO2: 0.0004, N2: 0.7808, Ar: 0.0093, O2: AirOxygen}

// Sum is the moles of all species; 1 for fractions.
func (m *Mix) Sum() float64 {
	var s float64
	for _, x := range m {
		s += x
	}
	return s
}

// Fractions returns the mixture scaled to a sum of 1. Sum must be above 0.
func (m Mix) Fractions() Mix {
	s := m.Sum()
	for i := range m {
		m[i] /= s
	}
	return m
}

// Dry returns the mixture without its steam, as fractions.
func (m Mix) Dry() Mix {
	m[H2O] = 0
	return m.Fractions()
}

// MolarMass is kg per mol of the mixture, of fractions.
func (m *Mix) MolarMass() float64 {
	var s float64
	for i, x := range m {
		s += x * molarMass[i]
	}
	return s
}

// HeatingValue is the lower one at 25 degC in J per Nm3, of fractions.
func (m *Mix) HeatingValue() float64 {
	return (m[CO]*heatCO + m[H2]*heatH2 + m[CH4]*heatCH4) / Volume
}

// AirNeed is how much air with that share of O2 burns a volume of the mixture
// just completely: AirOxygen for dry air. Below 0: it burns in its own O2.
func (m *Mix) AirNeed(o2 float64) float64 {
	return (0.5*m[CO] + 0.5*m[H2] + 2*m[CH4] - m[O2]) / o2
}

// Carbon is kg of carbon per Nm3, of fractions.
func (m *Mix) Carbon() float64 {
	return (m[CO] + m[CO2] + m[CH4]) * molC / Volume
}
