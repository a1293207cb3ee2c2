// Package engine reckons a four-stroke spark-ignition engine on charcoal gas at
// full throttle: what it draws, burns and gives, against itself on petrol. All
// functions are pure.
package engine

import (
	"fmt"

	"charwarden/sensors/derive/gas"
	"charwarden/sensors/derive/hearth"
)

// Spec of an engine and of what it draws at full throttle. The sensible box is
// in brackets. Manifold figures are assumptions until they are measured.
type Spec struct {
	Displacement         float64 // m3, of all cylinders [20e-6..5e-3]
	VolumetricEfficiency float64 // of the displacement at the manifold's state [0.3..1.2]
	IndicatedEfficiency  float64 // of the gas's heat, before friction [0.1..0.5]
	ManifoldPressure     float64 // Pa absolute, on gas [20e3..120e3]
	ManifoldTemp         float64 // degC, on gas [-20..150]
	PetrolPressure       float64 // Pa absolute, on petrol [20e3..120e3]
	PetrolTemp           float64 // degC, on petrol [-20..150]
}

// Default is a small engine at sea level, its displacement left to be filled
// in. The volumetric efficiency is that of FAO Forestry Paper 72, appendix 1;
// the rest are assumptions: a gas mixer and warm gas take more than a carburettor.
func Default() Spec {
	return Spec{
		VolumetricEfficiency: 0.80, IndicatedEfficiency: 0.30,
		ManifoldPressure: 95e3, ManifoldTemp: 40, PetrolPressure: 98e3, PetrolTemp: 35,
	}
}

// The speeds that an engine of this kind turns at by itself, rpm.
const (
	Slowest = 300.0
	Fastest = 8000.0
)

// RangeError is an input outside the sensible box.
type RangeError struct {
	Input     string  // name of the flag: "displacement", "rpm", "manifold-pressure" ...
	Value     float64 // in Spec's unit
	Low, High float64
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("engine: %s %g: out of range (allowed: %g to %g)", e.Input, e.Value, e.Low, e.High)
}

type bound struct {
	name          string
	value, lo, hi float64
}

func within(bounds ...bound) error {
	for _, b := range bounds {
		if !(b.value >= b.lo && b.value <= b.hi) {
			return &RangeError{Input: b.name, Value: b.value, Low: b.lo, High: b.hi}
		}
	}
	return nil
}

// Check holds that s is inside the sensible box; it returns a *RangeError.
func (s *Spec) Check() error {
	return within(
		bound{"displacement", s.Displacement, 20e-6, 5e-3},
		bound{"volumetric-efficiency", s.VolumetricEfficiency, 0.3, 1.2},
		bound{"indicated-efficiency", s.IndicatedEfficiency, 0.1, 0.5},
		bound{"manifold-pressure", s.ManifoldPressure, 20e3, 120e3},
		bound{"manifold-temp", s.ManifoldTemp, -20, 150},
		bound{"petrol-pressure", s.PetrolPressure, 20e3, 120e3},
		bound{"petrol-temp", s.PetrolTemp, -20, 150},
	)
}

// Gas is what an engine runs on, wet.
type Gas struct {
	Heat    float64 // lower heating value, J/Nm3
	AirNeed float64 // Nm3 moist air per Nm3
	Yield   float64 // Nm3 per kg of charcoal as fired
}

// From is the gas that a hearth makes.
func From(s *hearth.State) Gas {
	return Gas{Heat: s.HeatWet, AirNeed: s.AirNeedWet, Yield: s.YieldWet}
}

// Blend is the temperature in degC of gas with the air that it needs, from
// theirs. A mole of either is taken to hold the same heat, which is right to
// 2 % for charcoal gas.
func (g *Gas) Blend(gasTemp, airTemp float64) float64 {
	return (gasTemp + g.AirNeed*airTemp) / (1 + g.AirNeed)
}

// Result is what an engine does at full throttle.
type Result struct {
	MixtureFlow  float64 // Nm3/h of gas and air
	GasFlow      float64 // Nm3/h, wet
	AirFlow      float64 // Nm3/h, moist
	CharcoalFlow float64 // kg/h as fired

	Heat      float64 // W, of the gas
	Indicated float64 // W on the pistons
	Friction  float64 // W lost to it
	Shaft     float64 // W, the difference: below 0 the engine cannot keep that speed

	Petrol        float64 // W at the shaft, of the same engine on petrol
	ShareOfPetrol float64 // Shaft/Petrol
}

// Run reckons the engine at rpm on g, with just the air that it needs:
//
//	n = eta_v p V/(R T) N/120   (mol/s of mixture, N in rpm, a charge each second turn)
//	P = eta_i n V_N H/(1 + A) - fmep V N/120
//
// with gas's V_N, g's heat H and air need A. It returns a *RangeError that
// names the input that is outside its box.
func Run(s Spec, rpm float64, g Gas) (Result, error) {
	if err := s.Check(); err != nil {
		return Result{}, err
	}
	if err := within(bound{"rpm", rpm, Slowest, Fastest}); err != nil {
		return Result{}, err
	}
	mixture := s.Mixture(rpm, s.ManifoldPressure, s.ManifoldTemp)
	r := Result{MixtureFlow: mixture, GasFlow: mixture / (1 + g.AirNeed), Friction: Friction(s.Displacement, rpm)}
	r.AirFlow = mixture - r.GasFlow
	r.CharcoalFlow = r.GasFlow / g.Yield
	r.Heat = r.GasFlow * g.Heat / hour
	r.Indicated = s.IndicatedEfficiency * r.Heat
	r.Shaft = r.Indicated - r.Friction
	r.Petrol = s.IndicatedEfficiency*s.Mixture(rpm, s.PetrolPressure, s.PetrolTemp)*petrolMixture/hour - r.Friction
	r.ShareOfPetrol = r.Shaft / r.Petrol
	return r, nil
}

const hour = 3600.0 // s

// Mixture is what the engine draws at rpm, in Nm3/h, from a manifold at p in Pa
// absolute and temp in degC. At part throttle p is less, and this still holds.
func (s *Spec) Mixture(rpm, p, temp float64) float64 {
	mol := s.VolumetricEfficiency * p * s.Displacement / (gas.R * (temp + gas.ZeroC)) * rpm / 120
	return mol * gas.Volume * hour
}

// Friction is the power in W that an engine of that displacement in m3 loses to
// friction and pumping at rpm, from its mean pressure
//
//	fmep = 0.97 + 0.15 n + 0.05 n2 bar, n = rpm/1000
//
// (Heywood, Internal Combustion Engine Fundamentals, 1988, from memory: four
// cylinders, wide open). A small engine loses rather more than less.
func Friction(displacement, rpm float64) float64 {
	n := rpm / 1000
	return (0.97 + n*(0.15+0.05*n)) * gas.Bar * displacement * rpm / 120
}

// Petrol with just enough air (all from memory): 43.5 MJ/kg, 14.6 kg of air per
// kg, 105 g/mol as vapour. Books print 3800 kJ/m3 for the mixture.
const (
	petrolHeat  = 43.5e6   // J/kg, lower
	petrolAir   = 14.6     // kg/kg
	petrolMolar = 0.105    // kg/mol
	airMolar    = 0.028966 // kg/mol

	petrolMixture = petrolHeat / ((petrolAir/airMolar + 1/petrolMolar) * gas.Volume) // J/Nm3
)
