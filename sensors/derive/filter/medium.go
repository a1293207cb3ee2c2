package filter

import "charwarden/sensors/derive/gas"

// Stream is the gas that goes through a filter, as it is before it.
type Stream struct {
	Flow     float64 // Nm3/h, wet
	Temp     float64 // degC
	Pressure float64 // Pa absolute
	Gas      gas.Mix // mole fractions, wet
}

// Volume is the flow as it is, not at 0 degC and 1 atm, in m3/s.
func (s *Stream) Volume() float64 {
	return s.Flow / 3600 * gas.Atm / s.Pressure * (s.Temp + gas.ZeroC) / gas.ZeroC
}

func (s *Stream) viscosity() float64 { return s.Gas.Viscosity(s.Temp + gas.ZeroC) }
func (s *Stream) density() float64   { return s.Gas.Density(s.Pressure, s.Temp+gas.ZeroC) }

// Medium is a clean porous filter, foam or fibre. All are above 0; K2 is +Inf
// for one that takes the first power of the flow only.
type Medium struct {
	K1        float64 // m2, Darcy's permeability
	K2        float64 // m, Forchheimer's
	Thickness float64 // m, along the flow
	Area      float64 // m2, across the flow
}

// Drop is the pressure in Pa that the medium takes with a cake of dust on it, of
// the resistance cake in 1/m, 0 if it is clean:
//
//	dp = (L/k1 + Rc) mu v + (L/k2) rho v^2, v = volume flow/area
//
// (Darcy, Forchheimer; the cake is that of filtration theory, Rc = alpha W of
// dust per area.) It holds for a drop that is small against the pressure: below
// 1.5 kPa the isothermal law of a compressible gas gives less than 1 % else.
func (m *Medium) Drop(s *Stream, cake float64) float64 {
	v := s.Volume() / m.Area
	return ((m.Thickness/m.K1+cake)*s.viscosity() + m.Thickness/m.K2*s.density()*v) * v
}

// Resistance is that of the cake in 1/m, from the pressure in Pa that the filter
// takes: the inverse of Drop. It is the same at every flow, temperature,
// pressure and gas, which neither drop nor drop/flow is, and below 0 where
// the filter takes less than clean: a hole. s.Flow must be above 0.
func (m *Medium) Resistance(s *Stream, drop float64) float64 {
	v := s.Volume() / m.Area
	return (drop/v-m.Thickness/m.K2*s.density()*v)/s.viscosity() - m.Thickness/m.K1
}
