// Package flow reckons how much gas the hearth makes, from the suction behind
// its nozzle, from what the engine can draw, or from both.
package flow

import (
	"fmt"
	"math"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/engine"
	"charwarden/sensors/derive/gas"
	"charwarden/sensors/derive/hearth"
)

// Channel is the name of the channel of a Flow.
const Channel = "gas_flow"

// Channels are those that Step has a reading of.
func Channels() []sensors.Channel {
	return []sensors.Channel{{Name: Channel, Quantity: sensors.GasFlow, Period: 100 * time.Millisecond}}
}

// Point is a measured one: what gas flowed at what suction, with everything as
// Opts.Hearth has it. It is better than a bore.
type Point struct {
	Suction float64 // Pa [1..10e3]; 0: not measured
	Gas     float64 // Nm3/h, wet [0.1..1000]
}

// Opts of a Flow. Nozzle, Point or Engine must be known.
type Opts struct {
	Nozzle Nozzle       // Bore 0: not known [1e-3..0.2 m]
	Point  Point        // instead of Nozzle, if that was measured
	Engine engine.Spec  // Displacement 0: not known
	Hearth hearth.Input // the usual one, which holds until Hearth is called; zero: hearth.Default
}

// Inputs of a tick. nil is a reading that is not fitted.
type Inputs struct {
	Suction  *sensors.Reading // Pa below air at the reactor
	Speed    *sensors.Reading // rpm
	Manifold *sensors.Reading // Pa absolute, behind the throttle
	Air      *sensors.Reading // degC of the air
	Pressure *sensors.Reading // Pa absolute of the air
	Return   *sensors.Reading // degC of the exhaust that is led back
	Gas      *sensors.Reading // degC of the gas behind the filter
}

// Flow is the gas that the hearth makes, in Nm3/h wet: what the engine draws
// through the filter or, when a blower draws it to the flare, what goes there.
// Who wants to know what goes through the engine asks whether it turns.
//
// By suction: the nozzle's law gives the blast, and the hearth's balance how
// much gas comes of it. It is good to 15 % by the bore, to 3 % by a measured
// Point (assumptions). A narrower nozzle or fines in the bed make suction say
// too much.
//
// By speed: what the engine draws from the manifold. Its pressure, if that is
// measured, makes this good to 5 %; if not, a governor may hold the throttle
// anywhere: between 25 and 100 % of what the engine can draw at all, so that it
// is little more than a ceiling. A leak behind the nozzle makes speed say more
// than suction. An engine that stands says nothing.
//
// Less than the least that an engine turns on is not believed of suction: with
// the lid open to refuel it collapses. Else both are weighed by their
// uncertainties, and how far they disagree is told by Disagreement. Flow is never
// above what the engine can draw, when that alone draws.
//
// One goroutine owns it.
type Flow struct {
	nozzle Nozzle
	doubt  float64 // half width of what it passes, a share; 0: no nozzle is known
	spec   engine.Spec
	state  state

	have  bool
	at    time.Time // of the last step that had flow
	value float64
	en    float64 // Disagreement
	lid   bool    // open
}

// state is what a Flow knows of the hearth.
type state struct {
	gas   engine.Gas
	ratio float64 // Nm3 gas of a Nm3 blast
	back  float64 // exhaust in the blast, by moles
	hot   float64 // degC of it, as assumed
	blast gas.Mix
	doubt float64 // half width of ratio, a share
}

// How well gas per blast is known: if somebody tells what the hearth does, and
// if not (assumptions: 1.2 is where much exhaust is led back, 1.36 is with none
// and wet charcoal).
const (
	toldError    = 0.02
	assumedError = 0.05
)

// New returns the flow of a rig.
func New(o Opts) (*Flow, error) {
	f := &Flow{nozzle: o.Nozzle, spec: o.Engine, en: math.NaN()}
	if o.Hearth == (hearth.Input{}) {
		o.Hearth = hearth.Default()
	}
	h, err := hearth.Solve(o.Hearth)
	if err != nil {
		return nil, fmt.Errorf("flow: %w", err)
	}
	f.state.hot = o.Hearth.ExhaustTemp
	f.Hearth(&h)
	f.state.doubt = assumedError
	if o.Engine.Displacement != 0 {
		if err := o.Engine.Check(); err != nil {
			return nil, fmt.Errorf("flow: %w", err)
		}
	}
	switch {
	case o.Point != Point{}:
		if !(o.Point.Suction >= 1 && o.Point.Suction <= 10e3 && o.Point.Gas >= 0.1 && o.Point.Gas <= 1000) {
			return nil, fmt.Errorf("flow: %g Nm3/h at %g Pa: a measured flow must be 0.1 to 1000 Nm3/h, and its suction 1 to 10000 Pa", o.Point.Gas, o.Point.Suction)
		}
		f.doubt = pointError
		fluid := f.state.fluid(o.Hearth.AirTemp, o.Hearth.ExhaustTemp, o.Hearth.Pressure)
		f.nozzle = Calibrated(&fluid, o.Point.Gas/f.state.ratio, o.Point.Suction)
	case o.Nozzle.Bore != 0:
		if !(o.Nozzle.Bore >= 1e-3 && o.Nozzle.Bore <= 0.2 && o.Nozzle.Discharge >= 0.4 && o.Nozzle.Discharge <= 1) {
			return nil, fmt.Errorf("flow: nozzle of %g m with the discharge %g: must be 0.001 to 0.2 m with 0.4 to 1", o.Nozzle.Bore, o.Nozzle.Discharge)
		}
		f.doubt = boreError
	case o.Engine.Displacement == 0:
		return nil, fmt.Errorf("flow: neither nozzle nor engine is known: give the nozzle's bore, a measured flow or the engine's displacement")
	}
	return f, nil
}

// Hearth says what the hearth does now. One that cannot be is not taken.
func (f *Flow) Hearth(h *hearth.State) {
	if !(h.YieldWet > 0 && h.Blast > 0 && h.Air > 0 && h.Air <= h.Blast && h.AirNeedWet > 0) {
		return
	}
	s := &f.state
	s.gas, s.ratio, s.doubt = engine.From(h), h.YieldWet/h.Blast, toldError
	s.back = 1 - h.Air/h.Blast
	for i := range s.blast {
		s.blast[i] = (1-s.back)*gas.DryAir[i] + s.back*h.Exhaust[i]
	}
}

// fluid is the blast of air and exhaust at their degC, at p in Pa.
func (s *state) fluid(air, exhaust, p float64) Fluid {
	return Fluid{Gas: s.blast, Temp: (1-s.back)*air + s.back*exhaust, Pressure: p}
}

// LidOpen reports whether, in the newest step, the engine turned on more than
// suction can have drawn through the nozzle.
func (f *Flow) LidOpen() bool { return f.lid }

// lag smooths the gusts and the engine's hunting (common practice, no source).
const lag = 10 * time.Second

// Step reckons the flow from the readings of a tick. Raw is that of now, Value
// the same after a first-order lag of 10 s, which begins anew after 10 s without
// flow, and is never below 0. Uncertainty is a half width, k = 2, of independent
// parts (JCGM 100:2008, 5.1.2), and where suction and speed disagree wider by as
// much as they do (Birge's ratio).
//
// At is the oldest of those readings that the flow is reckoned from; what only
// corrects them has no say in it, nor in the status. If one of suction and speed
// is not good, the other does alone. If neither is, the status is suction's or,
// if that is Unknown, speed's; a suction that is clipped gives a flow that is
// clipped. An engine that stands, without suction, leaves it Unknown: a blower
// may draw.
func (f *Flow) Step(now time.Time, in Inputs) sensors.Reading {
	f.en, f.lid = math.NaN(), false
	n, e := f.byNozzle(&in), f.byEngine(&in)
	var q estimate
	at := now
	switch {
	case n.good && e.good && n.flow+n.doubt < shut*e.full:
		f.lid = true
		q, at = e, in.Speed.At // the engine turns on more than that: the lid is open, and suction says nothing
	case n.good && e.good:
		q, at = f.reconcile(n, e), older(in.Suction.At, in.Speed.At)
	case n.good:
		q, at = n, in.Suction.At
	case e.good:
		q, at = e, in.Speed.At
	default:
		return f.none(now, &in, n)
	}
	if e.good && in.Manifold != nil && !e.open {
		at = older(at, in.Manifold.At)
	}
	ceiling := math.Inf(1)
	if e.good {
		ceiling = e.ceiling
	}
	if dt := now.Sub(f.at); !f.have || dt < 0 || dt > lag {
		f.value = q.flow
	} else {
		f.value += (q.flow - f.value) * -math.Expm1(-dt.Seconds()/lag.Seconds())
	}
	f.have, f.at = true, now
	return sensors.Reading{
		Channel: Channel, At: at, Value: max(0, min(f.value, ceiling)), Raw: q.flow, Cold: math.NaN(),
		Status: sensors.Good, Uncertainty: q.doubt,
	}
}

// reconcile weighs both.
func (f *Flow) reconcile(n, e estimate) estimate {
	un, ue := n.doubt*n.doubt, e.doubt*e.doubt
	f.en = (n.flow - e.flow) / math.Sqrt(un+ue)
	return estimate{
		flow:  (n.flow*ue + e.flow*un) / (un + ue),
		doubt: math.Sqrt(un*ue/(un+ue)) * max(1, math.Abs(f.en)),
	}
}

// Disagreement of suction and speed at the last Step, in what their
// uncertainties allow (the En number of ISO 13528): within -1..1 they agree.
// Above 1 suction shows more gas than the engine can have drawn: a nozzle
// grown narrow or fines in the bed. Below -1 the engine draws more than comes
// through the nozzle: a leak or, if the bore is all that is known, a nozzle
// burnt wide. NaN where there are not both.
func (f *Flow) Disagreement() float64 { return f.en }

func older(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}
