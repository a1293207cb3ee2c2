package flow

import (
	"errors"
	"fmt"
	"math"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/engine"
	"charwarden/sensors/derive/gas"
)

// Half widths, k = 2, as shares of the flow (assumptions).
const (
	boreError     = 0.15 // a bore that burns and a discharge from a book
	pointError    = 0.03 // a measured flow
	manifoldError = 0.05 // volumetric efficiency and the charge's temperature
	fullError     = 0.10 // what is lost at full throttle, besides
)

// A governed throttle is anywhere from shut to open, all equally likely: the
// half width, k = 2, of a rectangle is 2/sqrt(3) of its own (JCGM 100:2008, 4.3.7).
const (
	shut     = 0.25
	middle   = (1 + shut) / 2
	anywhere = (1 - shut) / 2 * 1.1547005
)

// leastDoubt is the half width in Pa that no suction is known better than.
const leastDoubt = 1.0

// warming is what a manifold adds to the charge, K (an assumption).
const warming = 10.0

// What holds where a reading is not fitted or not good, and its half width.
const (
	assumedAir, assumedAirError           = 20.0, 15.0 // degC
	assumedPressure, assumedPressureError = gas.Atm, 3000.0
)

// estimate is a flow by one of the two ways.
type estimate struct {
	good    bool
	open    bool // by speed: where the throttle stands is not known
	flow    float64
	doubt   float64 // half width, k = 2
	full    float64 // by speed: at full throttle
	ceiling float64 // by speed: the most there can be
}

// among returns the reading's value and half width if it is good and in
// lo..hi, else what is assumed.
func among(r *sensors.Reading, lo, hi, assumed, doubt float64) (v, u float64) {
	if r != nil && r.Status == sensors.Good && r.Value >= lo && r.Value <= hi {
		return r.Value, r.Uncertainty
	}
	return assumed, doubt
}

// byNozzle is the gas by suction. One that is clipped gives that of full scale,
// which is not good.
func (f *Flow) byNozzle(in *Inputs) (e estimate) {
	s := in.Suction
	if s == nil || f.doubt == 0 || !(s.Status == sensors.Good || clipped(s)) {
		return e
	}
	air, uAir := among(in.Air, -40, 80, assumedAir, assumedAirError)
	p, uP := among(in.Pressure, 50e3, 115e3, assumedPressure, assumedPressureError)
	hot, _ := among(in.Return, 0, 600, f.state.hot, 0)
	blast := f.state.fluid(air, hot, p)
	gasAt := func(drop float64) float64 { return f.state.ratio * f.nozzle.Flow(&blast, drop) }
	e.good, e.flow = s.Status == sensors.Good, gasAt(s.Value)
	u := max(s.Uncertainty, leastDoubt)
	measured := (gasAt(s.Value+u) - gasAt(s.Value-u)) / 2
	// At a given drop the flow takes (p/T)^(1/2).
	density := math.Hypot(uAir/(blast.Temp+gas.ZeroC), uP/p) / 2
	e.doubt = math.Hypot(measured, e.flow*math.Hypot(math.Hypot(f.doubt, f.state.doubt), density))
	return e
}

// byEngine is the gas by speed, good if the engine turns.
func (f *Flow) byEngine(in *Inputs) (e estimate) {
	n := in.Speed
	if n == nil || f.spec.Displacement == 0 || n.Status != sensors.Good || n.Value < engine.Slowest {
		return e
	}
	p, _ := among(in.Pressure, 50e3, 115e3, assumedPressure, 0)
	suction, _ := among(in.Suction, 0, 10e3, 0, 0)
	spec := f.spec.Drawing(p, suction)
	temp := f.charge(in)
	share := 1 / (1 + f.state.gas.AirNeed)
	full := share * spec.Mixture(n.Value, spec.ManifoldPressure, temp)
	e = estimate{good: true, open: true, full: full, flow: middle * full, doubt: math.Hypot(anywhere, middle*fullError) * full, ceiling: (1 + fullError) * full}
	if m := in.Manifold; m != nil && m.Status == sensors.Good && m.Value >= 10e3 && m.Value <= 120e3 {
		e.open = false
		e.flow = share * spec.Mixture(n.Value, m.Value, temp)
		e.doubt = e.flow * math.Hypot(manifoldError, m.Uncertainty/m.Value)
	}
	e.flow = min(e.flow, e.ceiling)
	return e
}

// charge is the temperature in the manifold, degC: that of gas and air with what
// the engine adds. What is not measured is what makes Spec's.
func (f *Flow) charge(in *Inputs) float64 {
	usual := f.spec.ManifoldTemp - warming
	air, _ := among(in.Air, -40, 80, usual, 0)
	of, _ := among(in.Gas, -40, 150, usual, 0)
	return f.state.gas.Blend(of, air) + warming
}

func clipped(r *sensors.Reading) bool {
	return r.Status == sensors.ClippedHigh || r.Status == sensors.ClippedLow
}

var (
	errNothing = errors.New("flow: neither suction nor speed is measured")
	errStands  = errors.New("flow: the engine stands: without suction nobody knows whether a blower draws")
)

// none is the reading of a tick in which neither suction nor speed will do.
func (f *Flow) none(now time.Time, in *Inputs, n estimate) sensors.Reading {
	s, v := in.Suction, in.Speed
	if f.doubt == 0 {
		s = nil
	}
	if f.spec.Displacement == 0 {
		v = nil
	}
	bad, of := s, "suction"
	if s == nil || s.Status == sensors.Unknown && v != nil && v.Status != sensors.Good {
		bad, of = v, "speed"
	}
	switch {
	case bad == nil:
		return sensors.Bad(Channel, now, sensors.Unknown, errNothing)
	case bad.Status == sensors.Good:
		return sensors.Bad(Channel, bad.At, sensors.Unknown, errStands)
	}
	at := bad.At
	if s != nil && v != nil {
		at = older(s.At, v.At)
	}
	r := sensors.Bad(Channel, at, bad.Status, cause(of, bad))
	if bad == v && clipped(v) { // says nothing of a flow
		r.Status = sensors.Unknown
	}
	if bad == s && clipped(s) {
		r.Value, r.Raw, r.Uncertainty = max(0, n.flow), n.flow, n.doubt
	}
	return r
}

// cause says which of the readings is not good, and why. One that is Unknown
// says so itself, for as long as the engine is off, and nothing is allocated.
func cause(of string, r *sensors.Reading) error {
	if r.Status == sensors.Unknown && r.Err != nil {
		return r.Err
	}
	if r.Err == nil {
		return errors.New("flow: " + of + ": " + r.Status.String())
	}
	return fmt.Errorf("flow: %s: %w", of, r.Err)
}
