package sensors

import (
	"errors"
	"math"
	"time"

	"charwarden/sensors/its90"
	"charwarden/sensors/max31855"
)

// Couple is a thermocouple behind a MAX31855.
type Couple struct {
	Channel string
	Bus     *SPIBus
	Port    string
	Select  string // GPIO as chip select; "": the port's own
	Type    its90.Type

	dev *max31855.Dev
}

// Sense reads one frame. A chip that is missing is looked for at every call.
func (c *Couple) Sense(now time.Time, into []Reading) []Reading {
	if c.dev == nil {
		dev, err := c.find(now)
		if err != nil {
			return append(into, Bad(c.Channel, now, coupleStatus(err), err))
		}
		c.dev = dev
		return into // the chip's first frame after power-up is no reading
	}
	s, err := c.dev.Sense(now)
	switch {
	case errors.Is(err, max31855.ErrBusy), errors.Is(err, max31855.ErrSettling):
		return into
	case err != nil:
		return append(into, c.bad(now, s, err))
	}
	return append(into, Reading{Channel: c.Channel, At: now, Value: s.HotC, Raw: s.HotC, Cold: s.ColdC,
		Uncertainty: coupleUncertainty(s.HotC), Status: Good})
}

func (c *Couple) find(now time.Time) (*max31855.Dev, error) {
	conn, err := c.Bus.conn(c.Port, c.Select != "")
	if err != nil {
		return nil, err
	}
	return max31855.New(conn, now, &max31855.Opts{Type: c.Type, Select: c.Bus.selects[c.Select]})
}

func (c *Couple) bad(now time.Time, s max31855.Sample, err error) Reading {
	r := Bad(c.Channel, now, coupleStatus(err), err)
	if fault := (*max31855.FaultError)(nil); errors.As(err, &fault) {
		r.Cold = fault.ColdC
	}
	lo, hi := c.Type.Range()
	switch r.Status {
	case ClippedHigh:
		r.Value, r.Raw, r.Cold = hi, hi, s.ColdC
	case ClippedLow:
		r.Value, r.Raw, r.Cold = lo, lo, s.ColdC
	}
	return r
}

func coupleStatus(err error) Status {
	var fault *max31855.FaultError
	var scale *its90.RangeError
	var cold *max31855.ColdError
	switch {
	case errors.As(err, &fault):
		switch {
		case fault.Fault&max31855.Open != 0:
			return Open
		case fault.Fault&max31855.ShortVCC != 0:
			return ShortVCC
		}
		return ShortGND
	case errors.As(err, &scale):
		if scale.High() {
			return ClippedHigh
		}
		return ClippedLow
	case errors.Is(err, max31855.ErrFrame):
		return Checksum
	case errors.As(err, &cold):
		return OutOfRange
	}
	return NoAnswer
}

// coupleUncertainty is that of chip and wire together: 2 degC up to 700 degC
// and 4 degC above for the MAX31855K (datasheet 19-5793; the split from
// memory), with class 2 wire, the larger of 2.5 degC and 0.75 % (IEC 60584-1,
// from memory), added in squares.
func coupleUncertainty(hotC float64) float64 {
	chip := 2.0
	if hotC > 700 {
		chip = 4
	}
	return math.Hypot(chip, max(2.5, 0.0075*math.Abs(hotC)))
}
