package sensors

import (
	"errors"
	"fmt"
	"math"
	"time"

	"charwarden/sensors/ads1115"
	"charwarden/sensors/membrane"
)

// Membrane is a membrane pressure sensor on an input of an ADC.
type Membrane struct {
	Channel string
	ADC     *ADC
	Input   ads1115.Input
	Range   ads1115.Range
	Rate    ads1115.Rate
	Law     membrane.Law
	Divider float64 // volts at the ADC per volt at the sensor
	Supply  *Latest // the sensor's measured supply; nil: taken as nominal
}

// Sense takes one conversion. Uncertainty is that of a zeroed sensor; the
// sweep knows whether it is.
func (m *Membrane) Sense(now time.Time, into []Reading) []Reading {
	s, err := m.ADC.read(m.Input, m.Range, m.Rate)
	if err != nil {
		return append(into, Bad(m.Channel, now, adcStatus(err), err))
	}
	if s.Clip != 0 {
		return append(into, m.clipped(now, s.Clip > 0, fmt.Errorf("adc: %v: input beyond the converter's range", m.Input)))
	}
	volts, u := s.Volts/m.Divider, m.Law.ZeroedPa
	vs, measured := m.Supply.Value(now)
	if !measured {
		vs = m.Law.NominalV
		if m.Law.Ratiometric { // the supply may be anywhere in the datasheet's band
			u += math.Abs(volts/m.Law.Slope) * max(1/m.Law.MinV-1/vs, 1/vs-1/m.Law.MaxV)
		}
	}
	pa, err := m.Law.Pressure(volts, vs)
	if beyond := (*membrane.RangeError)(nil); errors.As(err, &beyond) {
		return append(into, m.clipped(now, beyond.High(), err))
	}
	if err != nil {
		return append(into, Bad(m.Channel, now, OutOfRange, err))
	}
	return append(into, Reading{Channel: m.Channel, At: now, Value: pa, Raw: pa, Cold: nan, Uncertainty: u, Status: Good})
}

func (m *Membrane) clipped(now time.Time, high bool, err error) Reading {
	r := Bad(m.Channel, now, ClippedLow, err)
	r.Value = m.Law.LoPa
	if high {
		r.Status, r.Value = ClippedHigh, m.Law.HiPa
	}
	r.Raw = r.Value
	return r
}
