package hearth

import (
	"math"

	"charwarden/sensors/derive/gas"
)

// fire is the adiabatic temperature in degC before the nozzle: all oxygen of
// the blast burns graphite of 25 degC to CO2, which splits into CO and O2, as
// steam does into H2 and O2, as far as equilibrium at that temperature wants.
// No other species: radicals would take 20 to 30 K more from a fire rich in
// hydrogen, and nothing from this one.
func (f *feed) fire(blast *gas.Mix, hBlast float64) float64 {
	carbon, steam := blast[gas.CO2]+blast[gas.O2], blast[gas.H2O]
	rest := carbon + steam + blast[gas.N2] + blast[gas.Ar]
	return root(2000, 400, 5900, func(t float64) float64 {
		th := gas.At(t)
		kC, kH := math.Exp(th.LnK(&gas.SplitCO2)), math.Exp(th.LnK(&gas.SplitH2O))
		// With s the root of the oxygen's pressure in bar, k/(s+k) of each splits.
		var co, h2 float64
		root(0.1, 0, math.Sqrt(f.p), func(s float64) float64 {
			co, h2 = carbon*kC/(s+kC), steam*kH/(s+kH)
			o2 := (co + h2) / 2
			return o2/(rest+o2)*f.p - s*s
		})
		out := gas.Mix{gas.CO: co, gas.CO2: carbon - co, gas.H2: h2, gas.H2O: steam - h2, gas.N2: blast[gas.N2], gas.Ar: blast[gas.Ar], gas.O2: (co + h2) / 2}
		return hBlast - th.Of(&out)
	}) - gas.ZeroC
}

// flame is the adiabatic temperature in degC of the whole charcoal, with its
// water, burnt to CO2 and steam in the blast without splitting.
func (f *feed) flame(blast *gas.Mix, hBlast float64) float64 {
	n := f.need * f.air[gas.O2] / blast[gas.O2] // mol of blast per kg
	out := gas.Mix{gas.CO2: f.c + n*blast[gas.CO2], gas.H2O: f.h/2 + n*blast[gas.H2O], gas.N2: n * blast[gas.N2], gas.Ar: n * blast[gas.Ar]}
	sum := out.Sum()
	heat := (f.heat + n*hBlast) / sum
	out = out.Fractions()
	return root(2000, 400, 5900, func(t float64) float64 { return heat - out.Enthalpy(t) }) - gas.ZeroC
}
