// Package filter reckons how loaded the gas filter is.
package filter

import (
	"errors"
	"fmt"
	"math"
	"time"

	"charwarden/sensors"
)

// Channel is the name of the channel of the reading, unless another is given.
const Channel = "filter_loading"

// Clean is what the clean filter showed, at any one steady load.
type Clean struct {
	Drop    float64 // Pa across the filter; above 0
	Suction float64 // Pa at the reactor at the same time; MinSuction or more
}

// MinSuction is the suction in Pa below which there is too little flow to
// judge a filter by: twice what a zeroed sensor may be off (common practice,
// no source).
const MinSuction = 50.0

// lag smooths the gusts and the engine's hunting (common practice, no source).
const lag = 10 * time.Second

// Loading is the filter's resistance to flow, as a ratio to the clean one's: 1
// is clean, 2 takes twice the pressure at the same flow, well below 1 is a hole
// or a lid that is off.
//
// Nozzle and bed take the square of the flow and the filter its first power,
// so that drop over the root of suction is the filter's resistance at every
// load: no flow meter is needed (orifice equation, ISO 5167; filter drag,
// S = Se + K2 W, EPA Air Pollution Control Cost Manual, section 6, chapter 1,
// from memory). A narrower nozzle, fines in the bed or much exhaust return
// change what suction says of the flow, and with it the ratio.
type Loading struct {
	channel string
	clean   float64 // drop over the root of suction, Pa^0.5

	have  bool
	at    time.Time // of the last step that had flow
	value float64
}

// New returns the loading of a filter as a reading of channel; "" is Channel.
func New(channel string, c Clean) (*Loading, error) {
	if channel == "" {
		channel = Channel
	}
	if !(c.Drop > 0) || math.IsInf(c.Drop, 0) {
		return nil, fmt.Errorf("filter: clean drop %g Pa: must be above 0", c.Drop)
	}
	if !(c.Suction >= MinSuction) || math.IsInf(c.Suction, 0) {
		return nil, fmt.Errorf("filter: clean suction %g Pa: must be %g or more; take it with the engine loaded", c.Suction, MinSuction)
	}
	return &Loading{channel: channel, clean: c.Drop / math.Sqrt(c.Suction)}, nil
}

var errNoFlow = fmt.Errorf("filter: suction is below %g Pa: no flow to judge the filter by", MinSuction)

// Step reckons the loading from the readings of a tick, in Pa. Raw is that of
// now, Value the same after a first-order lag of 10 s, which begins anew after
// 10 s without flow. Uncertainty is that of the two readings, taken as
// independent (JCGM 100:2008, 5.1.2); that of Clean is not in it, and the lag
// does not lessen it, because a pressure is mostly wrong by its zero.
//
// At is the older reading's. Without flow the status is Unknown, which is no
// fault. Otherwise it is suction's or, if that is good, drop's; a clipped drop
// gives a clipped loading, reckoned from full scale and not smoothed, and a
// clipped suction is Unknown: it bounds the loading on the wrong side.
func (l *Loading) Step(now time.Time, drop, suction *sensors.Reading) sensors.Reading {
	at := suction.At
	if drop.At.Before(at) {
		at = drop.At
	}
	clipped := drop.Status == sensors.ClippedHigh || drop.Status == sensors.ClippedLow
	switch {
	case suction.Status == sensors.ClippedLow:
		return sensors.Bad(l.channel, at, sensors.Unknown, errNoFlow)
	case suction.Status == sensors.ClippedHigh:
		return sensors.Bad(l.channel, at, sensors.Unknown, cause("suction", suction))
	case suction.Status != sensors.Good:
		return sensors.Bad(l.channel, at, suction.Status, cause("suction", suction))
	case drop.Status != sensors.Good && !clipped:
		return sensors.Bad(l.channel, at, drop.Status, cause("drop", drop))
	case !(suction.Value >= MinSuction):
		return sensors.Bad(l.channel, at, sensors.Unknown, errNoFlow)
	}
	per := 1 / (math.Sqrt(suction.Value) * l.clean) // of loading to drop
	raw := drop.Value * per
	r := sensors.Reading{
		Channel: l.channel, At: at, Value: raw, Raw: raw, Cold: math.NaN(), Status: drop.Status,
		Uncertainty: math.Hypot(drop.Uncertainty*per, raw*suction.Uncertainty/(2*suction.Value)),
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

// cause says which of the two readings is not good, and why.
func cause(of string, r *sensors.Reading) error {
	if r.Err == nil {
		return errors.New("filter: " + of + ": " + r.Status.String())
	}
	return fmt.Errorf("filter: %s: %w", of, r.Err)
}
