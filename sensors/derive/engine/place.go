package engine

import (
	"math"

	"charwarden/sensors/derive/gas"
)

// Altitude is the pressure in Pa at so many metres above the sea, 0 to 11000
// (U.S. Standard Atmosphere, 1976: equations 18 and 33a).
func Altitude(m float64) float64 {
	const (
		radius = 6356766.0   // m
		t0     = 288.15      // K
		lapse  = 6.5e-3      // K/m
		power  = 5.255876113 // g0 M/(R lapse)
	)
	h := radius * m / (radius + m) // geopotential
	return gas.Atm * math.Pow(1-lapse*h/t0, power)
}

// Drawing returns s, which is for sea level, where the air is at p in Pa and
// the engine draws its gas from suction Pa below that: full throttle then gives
// less in proportion to the pressure. On petrol there is no such suction.
func (s Spec) Drawing(p, suction float64) Spec {
	s.ManifoldPressure = s.ManifoldPressure*p/gas.Atm - suction
	s.PetrolPressure *= p / gas.Atm
	return s
}
