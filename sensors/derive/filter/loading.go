// Package filter reckons how loaded the gas filter is, when it is due for
// cleaning, and how far its gas is from dripping.
package filter

import (
	"errors"
	"fmt"
	"math"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/gas"
)

// Channel is the name of the channel of a Loading, unless another is given.
const Channel = "filter_loading"

// Below these there is too little flow to judge a filter by: twice what a
// zeroed sensor may be off, in Pa at the reactor, and half of what the smallest
// engine idles on, in Nm3/h (common practice, no source).
const (
	MinSuction = 50.0
	MinFlow    = 0.5
)

// Full is the resistance at which a filter is due, in that of the clean one at
// the same flow, unless another is given (common practice, no source).
const Full = 3.0

// vague is the half width of a flow, as a share of it, beyond which it does not
// tell a clean filter from one that is due (own choice).
const vague = 0.4

// lag smooths the gusts and the engine's hunting (common practice, no source).
const lag = 10 * time.Second

// Opts of a Loading.
type Opts struct {
	Channel string  // "": Channel
	Clean   Clean   // zero: not known; it is learned after Cleaned
	Full    float64 // resistance when due, in the clean one's, 1.2 to 20; 0: Full
}

// Inputs of a tick. nil is a reading that is not fitted.
type Inputs struct {
	Drop    *sensors.Reading // Pa, before the filter against behind it
	Flow    *sensors.Reading // Nm3/h of gas
	Suction *sensors.Reading // Pa below air at the reactor
	Temp    *sensors.Reading // degC of the gas before the filter; nil or not good: 40 within 30
	Air     *sensors.Reading // Pa absolute; nil or not good: 101325 within 3000
}

// Loading is the part of the dust that the filter may hold, in percent: 0 is
// clean, 100 due for cleaning, below 0 less resistance than clean, which is a
// hole or a lid that is off. With r = resistance/clean resistance at the same
// flow, it is 100 (r - 1)/(Full - 1).
//
// By flow, where that is fitted and the clean filter is known by it: r is that
// of the dust cake and the clean filter at its usual load, cake and filter taken
// as Medium has them. It is the same at every flow, temperature, pressure and gas.
//
// By suction otherwise: nozzle and bed take the square of the flow and the
// filter its first power, so that drop over the root of suction is the filter's
// resistance at every load: no flow meter is needed (orifice equation, ISO
// 5167; filter drag, S = Se + K2 W, EPA Air Pollution Control Cost Manual,
// section 6, chapter 1, from memory). A narrower nozzle, fines in the bed, much
// exhaust return or a hotter filter change what suction says, and with it r.
//
// One goroutine owns it.
type Loading struct {
	channel string
	full    float64
	clean   Clean // as configured
	ref     reference
	learned time.Time // when ref was; zero: it is that of clean
	gas     gas.Mix

	learning bool
	learner  learner

	have  bool
	at    time.Time // of the last step that had flow
	value float64
}

// New returns the loading of a filter.
func New(o Opts) (*Loading, error) {
	if o.Channel == "" {
		o.Channel = Channel
	}
	if o.Full == 0 {
		o.Full = Full
	}
	if !(o.Full >= 1.2 && o.Full <= 20) {
		return nil, fmt.Errorf("filter: full at %g times the clean resistance: must be 1.2 to 20", o.Full)
	}
	if err := o.Clean.check(); err != nil {
		return nil, err
	}
	return &Loading{channel: o.Channel, full: o.Full, clean: o.Clean, ref: o.Clean.reference(), gas: charcoalGas}, nil
}

var (
	errNoDrop    = errors.New("filter: the pressure across the filter is not measured")
	errNoThrough = errors.New("filter: neither gas flow nor suction is measured")
	errNoClean   = errors.New("filter: what the clean filter takes is not known: clean it and say so")
	errSmall     = errors.New("filter: still learning the clean filter: what it takes is too little to measure")
	errNoFlow    = fmt.Errorf("filter: flow is below %g Nm3/h: no flow to judge the filter by", MinFlow)
	errVague     = errors.New("filter: the gas flow is not known well enough to judge the filter by")
	errNoSuction = fmt.Errorf("filter: suction is below %g Pa: no flow to judge the filter by", MinSuction)
)

// cause says which of the readings is not good, and why. One that is Unknown
// says so itself, for as long as the engine is off, and nothing is allocated.
func cause(of string, r *sensors.Reading) error {
	if r.Status == sensors.Unknown && r.Err != nil {
		return r.Err
	}
	if r.Err == nil {
		return errors.New("filter: " + of + ": " + r.Status.String())
	}
	return fmt.Errorf("filter: %s: %w", of, r.Err)
}

// Step reckons the loading from the readings of a tick. Raw is that of now,
// Value the same after a first-order lag of 10 s, which begins anew after 10 s
// without flow. Uncertainty is that of the readings, taken as independent (JCGM
// 100:2008, 5.1.2); that of the clean filter is not in it, and the lag does not
// lessen it, because a pressure is mostly wrong by its zero.
//
// At is the older one's of drop and flow (or suction); what only corrects them
// has no say in it, nor in the status. Without flow, with one that is hardly
// known, and while it learns, the status is Unknown, which is no fault. Otherwise it is the flow's or, if that
// is good, the drop's; a clipped drop gives a clipped loading, reckoned from
// full scale and not smoothed, and a clipped flow or suction is Unknown: it
// bounds the loading on the wrong side.
func (l *Loading) Step(now time.Time, in Inputs) sensors.Reading {
	byFlow := in.Flow != nil && (l.learning || l.ref.viscous > 0 || l.ref.root == 0 || in.Suction == nil)
	drop, through, name, least, none := in.Drop, in.Suction, "suction", MinSuction, errNoSuction
	if byFlow {
		through, name, least, none = in.Flow, "flow", MinFlow, errNoFlow
	}
	switch {
	case drop == nil:
		return sensors.Bad(l.channel, now, sensors.Unknown, errNoDrop)
	case through == nil:
		return sensors.Bad(l.channel, now, sensors.Unknown, errNoThrough)
	}
	at := through.At
	if drop.At.Before(at) {
		at = drop.At
	}
	clipped := drop.Status == sensors.ClippedHigh || drop.Status == sensors.ClippedLow
	switch {
	case through.Status == sensors.ClippedLow:
		return sensors.Bad(l.channel, at, sensors.Unknown, none)
	case through.Status == sensors.ClippedHigh:
		return sensors.Bad(l.channel, at, sensors.Unknown, cause(name, through))
	case through.Status != sensors.Good:
		return sensors.Bad(l.channel, at, through.Status, cause(name, through))
	case drop.Status != sensors.Good && !clipped:
		return sensors.Bad(l.channel, at, drop.Status, cause("drop", drop))
	case !(through.Value >= least):
		return sensors.Bad(l.channel, at, sensors.Unknown, none)
	case byFlow && through.Uncertainty > vague*through.Value:
		return sensors.Bad(l.channel, at, sensors.Unknown, errVague)
	}
	m := l.measure(in, byFlow)
	if l.learning {
		if small := max(minDrop, 2*drop.Uncertainty); !clipped && !(drop.Value >= small) {
			return sensors.Bad(l.channel, at, sensors.Unknown, errSmall)
		}
		if !clipped && l.learner.add(now, m.point, through.Value) {
			l.learn(now, byFlow)
		}
		if l.learning {
			return sensors.Bad(l.channel, at, sensors.Unknown, errLearning[l.learner.n])
		}
		m = l.measure(in, byFlow)
	}
	whole := l.ref.root
	if byFlow {
		whole = l.ref.total()
	}
	if whole == 0 {
		return sensors.Bad(l.channel, at, sensors.Unknown, errNoClean)
	}
	percent := 100 / (l.full - 1) / whole
	raw := m.cake * percent
	r := sensors.Reading{
		Channel: l.channel, At: at, Value: raw, Raw: raw, Cold: math.NaN(), Status: drop.Status,
		Uncertainty: m.uncertain * percent,
	}
	if clipped {
		r.Err = cause("drop", drop)
		return r
	}
	if dt := now.Sub(l.at); !l.have || dt < 0 || dt > lag {
		l.value = raw
	} else {
		l.value += (raw - l.value) * -math.Expm1(-dt.Seconds()/lag.Seconds())
	}
	l.have, l.at = true, now
	r.Value = l.value
	return r
}
