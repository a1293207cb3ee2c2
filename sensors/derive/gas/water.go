package gas

import "math"

// Buck's equation over water (Buck Research CR-1A, appendix 1, 1996; from
// memory): e = e0 exp((b - t/d) t/(c + t)), t in degC.
const (
	buckE0 = 611.21 // Pa
	buckB  = 18.678
	buckC  = 257.14 // degC
	buckD  = 234.5  // degC
)

// Saturation is the vapour pressure in Pa over liquid water at T in K. Within
// 0.15 % of the steam tables from 0 to 100 degC; below 0 degC it is that over
// supercooled water.
func Saturation(T float64) float64 {
	t := T - ZeroC
	return buckE0 * math.Exp((buckB-t/buckD)*t/(buckC+t))
}

// DewPoint is the temperature in K at which a gas with the mole fraction x of
// steam begins to drip, at p in Pa absolute: the exact inverse of Saturation,
// for a vapour pressure x p up to 1 MPa. It is 0 for a gas without steam, which
// never drips, and NaN for what cannot be.
//
// Acids and tar in the gas raise the true dew point; clean water is all that is
// reckoned here.
func DewPoint(x, p float64) float64 {
	e := x * p
	if e == 0 {
		return 0
	}
	// (b - t/d) t = l (c + t) is a quadratic in t, and this its lesser root.
	l := math.Log(e / buckE0)
	half := (buckB - l) * buckD / 2
	return ZeroC + half - math.Sqrt(half*half-l*buckC*buckD)
}
