package filter

import (
	"math"

	"charwarden/sensors"
	"charwarden/sensors/derive/gas"
)

// What holds where a reading is not fitted or not good, and its half widths:
// what a cooler leaves, and the weather.
const (
	assumedTemp, assumedTempError = 40.0, 30.0      // degC, K
	assumedAir, assumedAirError   = gas.Atm, 3000.0 // Pa
)

// viscosityPower is that of T in the viscosity of these gases: nitrogen's by
// Sutherland's law is 0.77 at 20 and 0.72 at 120 degC.
const viscosityPower = 0.75

// charcoalGas is the gas where nobody says better: air-blown, from charcoal
// that was kept dry.
var charcoalGas = gas.Mix{gas.CO: 0.30, gas.H2: 0.06, gas.CH4: 0.005, gas.CO2: 0.02, gas.H2O: 0.01, gas.N2: 0.605}

// Gas says what gas it is now: mole fractions, wet. One that cannot be is not
// taken: the last one stays.
func (l *Loading) Gas(m gas.Mix) {
	sum := m.Sum()
	if !(sum > 0) || math.IsInf(sum, 0) {
		return
	}
	for _, x := range m {
		if !(x >= 0) {
			return
		}
	}
	l.gas = m.Fractions()
}

// temp returns the filter inlet's degC and its half width.
func (in *Inputs) temp() (c, u float64) {
	if r := in.Temp; r != nil && r.Status == sensors.Good && r.Value > -60 && r.Value < 600 {
		return r.Value, r.Uncertainty
	}
	return assumedTemp, assumedTempError
}

// pressure returns that before the filter, Pa absolute, and its half width.
func (in *Inputs) pressure() (p, u float64) {
	p, u = assumedAir, assumedAirError
	if r := in.Air; r != nil && r.Status == sensors.Good && r.Value > 40e3 && r.Value < 120e3 {
		p, u = r.Value, r.Uncertainty
	}
	if r := in.Suction; r != nil && r.Status == sensors.Good {
		p -= max(-10e3, min(r.Value, 10e3))
	}
	return p, u
}

// measure is the resistance of a tick: by flow in 1/m3, by suction in Pa^0.5.
type measure struct {
	point     Point   // load and resistance of filter and cake, see reference; by suction no load
	cake      float64 // what is more than the clean filter's
	uncertain float64 // half width of cake
}

func (l *Loading) measure(in Inputs, byFlow bool) measure {
	drop := in.Drop.Value
	if !byFlow {
		s := in.Suction.Value
		y, per := drop/math.Sqrt(s), 1/math.Sqrt(s)
		return measure{Point{0, y}, y - l.ref.root, math.Hypot(in.Drop.Uncertainty*per, y*in.Suction.Uncertainty/(2*s))}
	}
	t, ut := in.temp()
	p, up := in.pressure()
	s := Stream{Flow: in.Flow.Value, Temp: t, Pressure: p, Gas: l.gas}
	m := measure{point: s.point(1)}
	per := m.point[1]
	m.point[1] *= drop
	y, inertial := m.point[1], l.ref.inertial*m.point[0]
	m.cake = y - l.ref.viscous - inertial
	// Q takes T/p and mu takes T^0.75, so that y takes p/(Q T^1.75) and the other
	// term Q/T^0.75.
	m.uncertain = math.Hypot(
		math.Hypot(in.Drop.Uncertainty*per, (y+inertial)*in.Flow.Uncertainty/in.Flow.Value),
		math.Hypot(((1+viscosityPower)*y-viscosityPower*inertial)*ut/(t+gas.ZeroC), y*up/p))
	return m
}
