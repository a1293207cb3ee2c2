// Package blast reckons what the hearth makes of what is blown into it, air and
// exhaust that is led back, and what a little more of the exhaust would do.
package blast

import (
	"errors"
	"fmt"
	"math"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/engine"
	"charwarden/sensors/derive/gas"
	"charwarden/sensors/derive/hearth"
)

// Opts of a Blast.
type Opts struct {
	Hearth   hearth.Input // as configured: fuel, moisture, loss, the usual return; the rest holds where nothing is measured. Zero: hearth.Default
	WallArea float64      // m2 of the hearth's bare steel, whose temperature gives the loss instead of Hearth.Loss; 0: not known
	Engine   engine.Spec  // Displacement 0: not known
}

// Inputs of a tick. nil is a reading that is not fitted.
type Inputs struct {
	Flow     *sensors.Reading   // Nm3/h of gas, wet
	Speed    *sensors.Reading   // rpm
	Return   *sensors.Reading   // degC in the line that leads the exhaust back
	Air      *sensors.Reading   // degC
	Pressure *sensors.Reading   // Pa absolute of the air
	Humidity *sensors.Reading   // of the air, ratio
	Walls    []*sensors.Reading // degC of the hearth's
}

// channels of Readings.
const (
	bedExit = iota
	gasHeat
	airNeed
	shaftPower
	channels
)

var names = [channels]string{"bed_exit", "gas_heat", "air_need", "shaft_power"}

// Channels returns what Readings will be, in the same order: the last only if
// the engine is known. Heat and air need are those of wet gas, so that gas_flow
// times gas_heat is power; air is moist.
func Channels(o Opts) []sensors.Channel {
	all := []sensors.Channel{
		{Name: names[bedExit], Quantity: sensors.Temperature, Period: time.Second},
		{Name: names[gasHeat], Quantity: sensors.HeatingValue, Period: time.Second},
		{Name: names[airNeed], Quantity: sensors.Ratio, Period: time.Second},
		{Name: names[shaftPower], Quantity: sensors.Power, Period: time.Second},
	}
	if o.Engine.Displacement == 0 {
		return all[:shaftPower]
	}
	return all
}

// Blast follows the hearth of a running rig. The hearth is solved once a second,
// its uncertainties and the Advice every 10 s: between, they stand.
//
// The bed is taken to be in equilibrium and at its heat: what it reckons for a
// hearth that is just lit is a best case. How much exhaust is led back is not
// measured: it is the usual return, or none while the engine stands, or while the
// line that leads it is as cold as the air: then it is shut or plugged.
//
// One goroutine owns it.
type Blast struct {
	in     hearth.Input // as configured
	area   float64
	spec   engine.Spec
	solver hearth.Solver
	other  hearth.Solver // for what is not so
	hot    bool          // the return line

	have   bool
	at     time.Time // of the last solution
	asked  hearth.Input
	state  hearth.State
	judged time.Time // when spread and advice were reckoned
	spread [shaftPower]float64
	advice Advice

	readings [channels]sensors.Reading
	n        int
}

// New returns the blast of a rig.
func New(o Opts) (*Blast, error) {
	if o.Hearth == (hearth.Input{}) {
		o.Hearth = hearth.Default()
	}
	b := &Blast{in: o.Hearth, area: o.WallArea, spec: o.Engine, n: shaftPower}
	var err error
	if b.state, err = b.solver.Solve(o.Hearth); err != nil {
		return nil, fmt.Errorf("blast: %w", err)
	}
	if o.Hearth.Imposed {
		return nil, errors.New("blast: the bed's exit is imposed: give the heat loss instead")
	}
	if !(o.WallArea == 0 || o.WallArea >= 0.01 && o.WallArea <= 10) {
		return nil, fmt.Errorf("blast: wall area %g m2: must be 0.01 to 10", o.WallArea)
	}
	if o.Engine.Displacement != 0 {
		if err := o.Engine.Check(); err != nil {
			return nil, fmt.Errorf("blast: %w", err)
		}
		b.n = channels
	}
	for i := range b.readings {
		b.readings[i] = sensors.Bad(names[i], time.Time{}, sensors.Unknown, errNothing)
	}
	return b, nil
}

// How often.
const (
	solveEvery = time.Second
	judgeEvery = 10 * time.Second
)

// MinFlow is that below which nothing is blown that makes gas, Nm3/h: half of
// what the smallest engine idles on (common practice, no source).
const MinFlow = 0.5

var (
	errNothing = errors.New("blast: neither gas flow nor speed is measured")
	errStill   = errors.New("blast: no gas flows")
	errStands  = errors.New("blast: the engine stands")
	errNoFlow  = errors.New("blast: gas flow is not measured")
	errNoSpeed = errors.New("blast: speed is not measured")
)

// Step takes the readings of a tick.
//
// Where an engine turns or gas flows, the first three channels are good, At
// being that of the reading that says so. Where neither does they are Unknown,
// which is no fault; where nobody knows, they have the flow's status. Shaft power
// needs flow and speed and has the status of the one that is not good, and the
// older's At.
func (b *Blast) Step(now time.Time, in Inputs) {
	draws, why := running(&in)
	if why.Status != sensors.Good {
		b.still(now, &why)
		return
	}
	if dt := now.Sub(b.at); !b.have || dt < 0 || dt >= solveEvery {
		b.solve(now, &in, draws)
	}
	if !b.have {
		return
	}
	for i, v := range [shaftPower]float64{b.state.BedExit, b.state.HeatWet / 1e6, b.state.AirNeedWet} {
		b.readings[i] = sensors.Reading{Channel: names[i], At: why.At, Value: v, Raw: v, Uncertainty: b.spread[i], Cold: math.NaN(), Status: sensors.Good}
	}
	b.readings[shaftPower] = b.shaft(now, &in)
}

// solve reckons the hearth of now.
func (b *Blast) solve(now time.Time, in *Inputs, draws bool) {
	asked := b.input(in, draws)
	s, err := b.solver.Solve(asked)
	if err != nil { // input keeps it inside its box
		bad := sensors.Bad("", now, sensors.OutOfRange, fmt.Errorf("blast: %w", err))
		b.still(now, &bad)
		return
	}
	if dt := now.Sub(b.judged); !b.have || dt < 0 || dt >= judgeEvery || asked.Return != b.asked.Return {
		b.judge(&asked, &s, b.load(in))
		b.judged = now
	}
	b.have, b.at, b.asked, b.state = true, now, asked, s
}

// still says of every channel that it is not known, and why.
func (b *Blast) still(now time.Time, why *sensors.Reading) {
	b.have, b.advice = false, Advice{}
	for i := range b.readings {
		b.readings[i] = sensors.Bad(names[i], why.At, why.Status, why.Err)
	}
}

// running says whether the engine may draw, and whether the bed is blown: the
// reading that says so is good; or else it is what the channels have to be.
func running(in *Inputs) (draws bool, why sensors.Reading) {
	n, q := in.Speed, in.Flow
	speed := n != nil && n.Status == sensors.Good
	switch {
	case speed && n.Value >= engine.Slowest:
		return true, *n
	case q == nil && n == nil:
		return false, sensors.Reading{Err: errNothing}
	case q == nil && speed:
		return false, sensors.Bad("", n.At, sensors.Unknown, errStands)
	case q == nil:
		return false, notGood("speed", n)
	case q.Status != sensors.Good && q.Status != sensors.ClippedHigh:
		return false, notGood("flow", q)
	case q.Status == sensors.Good && q.Value < MinFlow:
		return false, sensors.Bad("", q.At, sensors.Unknown, errStill)
	}
	r := *q
	r.Status = sensors.Good // one above full scale flows
	return !speed, r        // or else a blower draws, and no exhaust comes
}

// notGood is the reading that cannot be told from r.
func notGood(of string, r *sensors.Reading) sensors.Reading {
	s := r.Status
	if s == sensors.ClippedHigh || s == sensors.ClippedLow {
		s = sensors.Unknown
	}
	err := r.Err
	switch {
	case err == nil:
		err = errors.New("blast: " + of + ": " + r.Status.String())
	case r.Status != sensors.Unknown: // which says so itself, and nothing is allocated
		err = fmt.Errorf("blast: %s: %w", of, err)
	}
	return sensors.Bad("", r.At, s, err)
}

// Readings appends those of the last Step, in the order of Channels.
func (b *Blast) Readings(into []sensors.Reading) []sensors.Reading {
	return append(into, b.readings[:b.n]...)
}

// State is the hearth's at the last Step, and whether it is known.
func (b *Blast) State() (hearth.State, bool) { return b.state, b.have }

// Input is what State was solved for.
func (b *Blast) Input() hearth.Input { return b.asked }

// Advice of the last Step: zero if nothing is known.
func (b *Blast) Advice() Advice { return b.advice }

// atmosphere of the rig where a reading is good and possible, else as configured.
func (b *Blast) atmosphere(in *Inputs, x *hearth.Input) {
	x.AirTemp = within(in.Air, -20, 80, x.AirTemp)
	x.Pressure = within(in.Pressure, 70e3, 110e3, x.Pressure)
	if rh := within(in.Humidity, 0, 1, -1); rh >= 0 {
		// Input's is relative at 25 degC.
		x.Humidity = min(1, rh*gas.Saturation(x.AirTemp+gas.ZeroC)/gas.Saturation(298.15))
	}
}

// within is the reading's value if it is good and in lo..hi, else def.
func within(r *sensors.Reading, lo, hi, def float64) float64 {
	if r != nil && r.Status == sensors.Good && r.Value >= lo && r.Value <= hi {
		return r.Value
	}
	return def
}
