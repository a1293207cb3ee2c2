package sensors

import (
	"errors"
	"fmt"
	"math"
	"time"

	"charwarden/sensors/ads1115"
	"charwarden/sensors/cocell"
)

// COCell is an electrochemical CO cell on an input of an ADC.
type COCell struct {
	Channel     string
	ADC         *ADC
	Input       ads1115.Input
	Range       ads1115.Range
	Rate        ads1115.Rate
	Cell        cocell.Cell
	Temperature *Latest       // of the air at the cell, degC; nil: taken as 20 degC
	Stuck       *cocell.Stuck // nil: not looked for
	Limits      []float64     // ppm, of the alarms: crossings are confirmed

	last float64 // ppm of the last good or clipped sample
}

// coSample is one conversion; ppm is +Inf where it is clipped high.
type coSample struct {
	ppm  float64
	code int16
	err  error
}

// Sense takes one conversion. One that crosses a limit upwards is confirmed by
// two more at once and the middle of the three counts, so that one flipped bit
// raises nothing. Where the two cannot be had, the high value stands: doubt
// about CO is never resolved by leaving it out.
func (c *COCell) Sense(now time.Time, into []Reading) []Reading {
	s := c.convert(now)
	if s.err == nil && c.crosses(s.ppm) {
		if a, b := c.convert(now), c.convert(now); a.err == nil && b.err == nil {
			s = middle(s, a, b)
		}
	}
	if s.err != nil {
		r := Bad(c.Channel, now, coStatus(s.err), s.err)
		if r.Status == ClippedLow { // full scale on the side of no gas: nobody takes it for clean air
			r.Value, r.Raw = -c.Cell.FullScalePPM, -c.Cell.FullScalePPM
		}
		return append(into, r)
	}
	c.last = s.ppm
	if math.IsInf(s.ppm, 1) {
		r := Bad(c.Channel, now, ClippedHigh, errOverRange)
		r.Value, r.Raw = c.Cell.FullScalePPM, c.Cell.FullScalePPM
		return append(into, r)
	}
	if c.Stuck != nil && c.Stuck.Step(now, s.code) {
		return append(into, Bad(c.Channel, now, Frozen, errStuck))
	}
	_, warm := c.Temperature.Value(now)
	return append(into, Reading{Channel: c.Channel, At: now, Value: s.ppm, Raw: s.ppm, Cold: nan,
		Uncertainty: c.Cell.Uncertainty(s.ppm, warm), Status: Good})
}

var (
	errOverRange = errors.New("the CO cell is over its range: more CO than it can measure; afterwards it needs clean air and a bump test")
	errStuck     = errors.New("the CO cell's output does not move at all: see its wires, then do a bump test")
)

// convert takes a conversion and, where that has no sense, one more: a flipped
// bit is no fault of the cell. A chip that does not answer is asked once.
func (c *COCell) convert(now time.Time) coSample {
	s := c.once(now)
	if s.err != nil && coStatus(s.err) != NoAnswer {
		s = c.once(now)
	}
	return s
}

func (c *COCell) once(now time.Time) coSample {
	s, err := c.ADC.read(c.Input, c.Range, c.Rate)
	if err != nil {
		return coSample{err: err}
	}
	clipHigh := s.Clip > 0
	if c.Cell.Inverting {
		clipHigh = s.Clip < 0
	}
	if clipHigh {
		return coSample{ppm: math.Inf(1), code: s.Code}
	}
	temp, ok := c.Temperature.Value(now)
	if !ok {
		temp = nan
	}
	ppm, err := c.Cell.PPM(s.Volts, temp)
	if clip := (*cocell.ClipError)(nil); errors.As(err, &clip) && clip.High() {
		return coSample{ppm: math.Inf(1), code: s.Code}
	}
	if err != nil {
		return coSample{err: fmt.Errorf("co: %w", err)}
	}
	return coSample{ppm: ppm, code: s.Code}
}

// crosses reports whether ppm is at or above a limit that the last sample was
// below. The range's end is a limit too.
func (c *COCell) crosses(ppm float64) bool {
	for _, l := range c.Limits {
		if c.last < l && ppm >= l {
			return true
		}
	}
	return math.IsInf(ppm, 1) && !math.IsInf(c.last, 1)
}

func middle(a, b, c coSample) coSample {
	if a.ppm > b.ppm {
		a, b = b, a
	}
	switch {
	case c.ppm <= a.ppm:
		return a
	case c.ppm >= b.ppm:
		return b
	}
	return c
}

func coStatus(err error) Status {
	var clip *cocell.ClipError
	var drift *cocell.DriftError
	switch {
	case errors.As(err, &clip):
		return ClippedLow
	case errors.As(err, &drift):
		return OutOfRange
	}
	return adcStatus(err)
}
