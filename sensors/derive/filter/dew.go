package filter

import (
	"errors"
	"math"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/gas"
)

// DewChannel is the name of the channel of DewMargin.
const DewChannel = "filter_dew_margin"

// steamError is the half width of the gas's steam, of its share: charcoal's
// moisture is seldom known better (an assumption).
const steamError = 0.3

var (
	errNoTemp  = errors.New("filter: the gas before the filter has no thermometer")
	errUnsure  = errors.New("filter: whether gas flows is not known")
	errNoSteam = errors.New("filter: the gas's steam is not known")
)

// Margin is how many K a gas at temp in degC, with the mole fraction steam of it
// above 0, is above its dew point at p in Pa absolute; below 0 it drips.
func Margin(temp, steam, p float64) float64 {
	return temp + gas.ZeroC - gas.DewPoint(steam, p)
}

// DewMargin is the reading of Margin before the filter, of wet gas m as mole
// fractions, at the pressure of the line: air less suction. Its uncertainty is
// that of the thermometer and of the steam, taken as known to 30 %.
//
// At is the thermometer's, and so is a status that is not good. It is Unknown,
// which is no fault, where no gas flows: a cold filter at rest says nothing; and
// where m has no steam.
func DewMargin(now time.Time, in Inputs, m *gas.Mix) sensors.Reading {
	t := in.Temp
	if t == nil {
		return sensors.Bad(DewChannel, now, sensors.Unknown, errNoTemp)
	}
	steam := m[gas.H2O]
	switch {
	case t.Status == sensors.ClippedHigh || t.Status == sensors.ClippedLow:
		return sensors.Bad(DewChannel, t.At, sensors.Unknown, cause("temperature", t))
	case t.Status != sensors.Good:
		return sensors.Bad(DewChannel, t.At, t.Status, cause("temperature", t))
	case !(steam > 0 && steam <= 1):
		return sensors.Bad(DewChannel, t.At, sensors.Unknown, errNoSteam)
	}
	if why := in.still(); why != nil {
		return sensors.Bad(DewChannel, t.At, sensors.Unknown, why)
	}
	p, _ := in.pressure() // 3 kPa of it are 0.6 K at most
	v := Margin(t.Value, steam, p)
	more := v - Margin(t.Value, (1+steamError)*steam, p)
	return sensors.Reading{Channel: DewChannel, At: t.At, Value: v, Raw: v, Cold: math.NaN(), Status: sensors.Good,
		Uncertainty: math.Hypot(t.Uncertainty, more)}
}

// still returns why a gas does not flow or may not; nil if it does or nothing
// that shows it is fitted. What is in fault says nothing.
func (in *Inputs) still() (why error) {
	for _, f := range [2]struct {
		r     *sensors.Reading
		least float64
		none  error
	}{{in.Flow, MinFlow, errNoFlow}, {in.Suction, MinSuction, errNoSuction}} {
		switch r := f.r; {
		case r == nil:
		case r.Status == sensors.ClippedHigh, r.Status == sensors.Good && r.Value >= f.least:
			return nil
		case r.Status == sensors.Unknown && r.Err != nil:
			return r.Err
		case r.Status == sensors.Good, r.Status == sensors.ClippedLow:
			return f.none
		default:
			why = errUnsure
		}
	}
	return why
}
