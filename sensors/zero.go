package sensors

import (
	"fmt"
	"math"
	"time"
)

// ZeroBand says what a zero of a pressure channel may be, in Pa.
type ZeroBand struct {
	MaxPa      float64 // largest error that a sound sensor can have
	UnzeroedPa float64 // uncertainty before a zero was taken
	ZeroedPa   float64 // uncertainty after
}

// Zero is what a pressure channel reads with no pressure on it.
type Zero struct {
	Pa float64   `json:"pa"`
	At time.Time `json:"at"` // wall clock, which may have been wrong
}

// A zero is taken when the engine has been off and the line flat for this
// long: common practice, no source. flatPa allows for the noise of sensor and
// converter (0.2 % of a 10 kPa span).
const (
	zeroSettle = 10 * time.Second
	flatPa     = 20.0
	coldDegC   = 60.0 // a rig without a tacho is known to be off only when cold
)

// zeroing is the part of a channel's state that finds its zero. One zero is
// taken in each engine-off period, so that a blower that draws gas through the
// rig before the start cannot be zeroed away once the first zero is taken.
type zeroing struct {
	have  bool
	zero  Zero
	done  bool // in this engine-off period
	since time.Time
	lo    float64
	hi    float64
	sum   float64
	n     int
	why   error // why the last attempt was refused
}

// restart begins a new window of flatness at now.
func (z *zeroing) restart(now time.Time) {
	z.since, z.lo, z.hi, z.sum, z.n = now, math.Inf(1), math.Inf(-1), 0, 0
}

// step looks at one raw reading taken while the engine is off and reports
// whether a zero was taken.
func (z *zeroing) step(now time.Time, raw float64, band *ZeroBand) bool {
	if z.done {
		return false
	}
	if z.n == 0 {
		z.restart(now)
	}
	z.lo, z.hi, z.sum, z.n = min(z.lo, raw), max(z.hi, raw), z.sum+raw, z.n+1
	if z.hi-z.lo > flatPa {
		z.restart(now)
		return false
	}
	if now.Sub(z.since) < zeroSettle {
		return false
	}
	mean := z.sum / float64(z.n)
	z.restart(now)
	switch {
	case math.Abs(mean) > band.MaxPa:
		z.why = fmt.Errorf("zero: %.0f Pa with the engine off: more than a sound sensor can be off (%.0f Pa); see that both taps are open and the sensor is the one configured", mean, band.MaxPa)
		return false
	case z.have && math.Abs(mean-z.zero.Pa) > band.ZeroedPa:
		z.why = fmt.Errorf("zero: %.0f Pa with the engine off, but %.0f Pa on %s: kept the old one; see that nothing draws on the line", mean, z.zero.Pa, z.zero.At.Format(time.DateOnly))
		z.done = true
		return false
	}
	z.have, z.done, z.why = true, true, nil
	z.zero = Zero{Pa: mean, At: now}
	return true
}
