package hearth

import "charwarden/sensors/derive/gas"

// Of fuel and water.
const (
	molC, molH, molO, molW = 12.011e-3, 1.008e-3, 15.999e-3, 18.015e-3 // kg/mol
	liquidWater            = -285830.0                                 // J/mol at 25 degC (CODATA, from memory)
	standard               = 298.15                                    // K
)

// feed is what goes into the hearth, per kg of charcoal as fired where it says.
type feed struct {
	c, h, o float64 // mol/kg, with the moisture's
	heat    float64 // enthalpy with the liquid moisture's, J/kg
	lhv     float64 // J/kg
	need    float64 // mol of moist air per kg that burn it
	burnt   float64 // mol per kg that it burns to
	r       float64
	lambda  float64
	p       float64 // over 1 bar
	air     gas.Mix // moist, mole fractions
	spent   gas.Mix // charcoal burnt in just the air it needs, mole fractions

	hAir, hExcess, hSpent float64 // J/mol of air at its temperature, and of air and spent at the exhaust's
}

// air is moist air: Humidity is relative at 25 degC whatever its temperature
// is, so that preheating does not dry it.
func air(in *Input) gas.Mix {
	w := in.Humidity * gas.Saturation(standard) / in.Pressure
	m := gas.DryAir
	for i := range m {
		m[i] *= 1 - w
	}
	m[gas.H2O] = w
	return m
}

// hhv is the higher heating value of the dry charcoal in J/kg: what is given,
// or by Channiwala and Parikh, Fuel 81 (2002) 1051 (coefficients from memory).
func (f Fuel) hhv() float64 {
	if f.HHV > 0 {
		return f.HHV
	}
	return (34.91*f.Carbon + 117.83*f.Hydrogen - 10.34*f.Oxygen - 2.11*f.Ash) * 1e6
}

func newFeed(in *Input) feed {
	dry := 1 - in.Moisture
	w := in.Moisture / molW
	f := feed{
		c: dry * in.Fuel.Carbon / molC, h: dry*in.Fuel.Hydrogen/molH + 2*w, o: dry*in.Fuel.Oxygen/molO + w,
		r: in.Return, lambda: in.Lambda, p: in.Pressure / gas.Bar, air: air(in),
	}
	std := gas.At(standard)
	hhv := in.Fuel.hhv()
	cDry, hDry := in.Fuel.Carbon/molC, in.Fuel.Hydrogen/molH
	boiled := std.Enthalpy[gas.H2O] - liquidWater
	f.heat = dry*(hhv+cDry*std.Enthalpy[gas.CO2]+hDry/2*liquidWater) + w*liquidWater
	f.lhv = dry*(hhv-hDry/2*boiled) - w*boiled
	oxygen := f.c + f.h/4 - f.o/2
	f.need = oxygen / f.air[gas.O2]
	f.spent = gas.Mix{gas.CO2: f.c, gas.H2O: f.h / 2}
	for i, x := range f.air {
		f.spent[i] += f.need * x
	}
	f.spent[gas.O2] = 0 // all used
	f.burnt = f.spent.Sum()
	f.spent = f.spent.Fractions()
	hot := in.ExhaustTemp + gas.ZeroC
	f.hAir, f.hExcess, f.hSpent = f.air.Enthalpy(in.AirTemp+gas.ZeroC), f.air.Enthalpy(hot), f.spent.Enthalpy(hot)
	return f
}

// blastHeat is the enthalpy of the blast in J/mol, of which so much is spent and
// the rest of the exhaust is air.
func (f *feed) blastHeat(spent float64) float64 {
	return (1-f.r)*f.hAir + (f.r-spent)*f.hExcess + spent*f.hSpent
}

// exhaustOf is what the engine makes of gas, in moles per mole of it: burnt
// completely with lambda times the moist air that it needs.
func (f *feed) exhaustOf(g *gas.Mix) gas.Mix {
	need := 0.5*g[gas.CO] + 0.5*g[gas.H2] + 2*g[gas.CH4]
	n := f.lambda * need / f.air[gas.O2]
	e := gas.Mix{
		gas.CO2: g[gas.CO] + g[gas.CO2] + g[gas.CH4] + n*f.air[gas.CO2],
		gas.H2O: g[gas.H2] + g[gas.H2O] + 2*g[gas.CH4] + n*f.air[gas.H2O],
		gas.N2:  g[gas.N2] + n*f.air[gas.N2],
		gas.Ar:  g[gas.Ar] + n*f.air[gas.Ar],
		gas.O2:  (f.lambda - 1) * need,
	}
	return e
}

// blast is a mole of what goes through the nozzle, with exhaust e of mole
// fractions.
func (f *feed) blast(e *gas.Mix) (b gas.Mix) {
	for i := range b {
		b[i] = (1-f.r)*f.air[i] + f.r*e[i]
	}
	return b
}
