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
	carbon := blast[gas.CO2] + blast[gas.O2]
	return root(func(t float64) float64 {
		th := gas.At(t)
		kC, kH := math.Exp(th.LnK(&gas.SplitCO2)), math.Exp(th.LnK(&gas.SplitH2O))
		steam := blast[gas.H2O]
		rest := carbon + steam + blast[gas.N2] + blast[gas.Ar]
		// With s the root of the oxygen's pressure, each splits by k/(s+k).
		s := math.Exp(root(func(ln float64) float64 {
			s := math.Exp(ln)
			o2 := (carbon*kC/(s+kC) + steam*kH/(s+kH)) / 2
			return math.Log(o2*f.p/(rest+o2)) - 2*ln
		}, -60, 2, 1e-6))
		co, h2 := carbon*kC/(s+kC), steam*kH/(s+kH)
		out := gas.Mix{gas.CO: co, gas.CO2: carbon - co, gas.H2: h2, gas.H2O: steam - h2, gas.N2: blast[gas.N2], gas.Ar: blast[gas.Ar], gas.O2: (co + h2) / 2}
		return th.Of(&out) - hBlast
	}, 400, 3500, 0.01) - gas.ZeroC
}

// flame is the adiabatic temperature in degC of the whole charcoal, with its
// water, burnt to CO2 and steam in the blast without splitting.
func (f *feed) flame(blast *gas.Mix, hBlast float64) float64 {
	n := f.demand / blast[gas.O2] // mol of blast per kg
	out := gas.Mix{gas.CO2: f.c + n*blast[gas.CO2], gas.H2O: f.h/2 + n*blast[gas.H2O], gas.N2: n * blast[gas.N2], gas.Ar: n * blast[gas.Ar]}
	sum := out.Sum()
	heat := (f.heat + n*hBlast) / sum
	out = out.Fractions()
	return root(func(t float64) float64 { return out.Enthalpy(t) - heat }, 400, 4000, 0.01) - gas.ZeroC
}

// root finds where f, which changes sign once between lo and hi, is 0, to within
// about tol: Illinois' form of the false position. Without a change of sign it
// is the nearer end.
func root(f func(float64) float64, lo, hi, tol float64) float64 {
	a, b := f(lo), f(hi)
	if a*b >= 0 {
		if math.Abs(a) < math.Abs(b) {
			return lo
		}
		return hi
	}
	x, side := lo, 0
	for range 100 {
		was := x
		x = (lo*b - hi*a) / (b - a)
		y := f(x)
		switch {
		case y == 0 || math.Abs(x-was) < tol:
			return x
		case y*a > 0:
			if lo, a = x, y; side == -1 {
				b /= 2
			}
			side = -1
		default:
			if hi, b = x, y; side == 1 {
				a /= 2
			}
			side = 1
		}
	}
	return x
}
