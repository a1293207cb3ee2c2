package sensors

import (
	"math"
	"time"
)

// Reading is one measurement of one channel. Value, Raw and Uncertainty are in
// the channel's unit. Unless Status is Good, Value is not a number that anyone
// may use: NaN, or full scale where Status is ClippedHigh or ClippedLow.
type Reading struct {
	Channel     string
	At          time.Time // when the bus was asked; carries the monotonic clock
	Value       float64   // after zero, offset and gain
	Raw         float64   // before zero, offset and gain; NaN where nothing was measured
	Uncertainty float64   // half width; 0 where none is stated
	Cold        float64   // degC of the cold junction; NaN for other sensors
	AtLeast     bool      // Value is a lower bound: part of what it is made of is not known
	Status      Status
	Err         error // why Status is not Good
}

var nan = math.NaN()

// Bad returns a reading of channel that is not a value: Value and Raw are NaN.
func Bad(channel string, at time.Time, s Status, err error) Reading {
	return Reading{Channel: channel, At: at, Value: nan, Raw: nan, Cold: nan, Status: s, Err: err}
}
