// Package its90 holds the reference functions of the eight letter-designated
// thermocouples on the International Temperature Scale of 1990: millivolts
// from degrees Celsius and back. The reference junction is at 0 degC
// throughout; with a cold junction at c the voltage between the junctions is
// EMF(hot) - EMF(c).
//
// Source: NIST SRD 60, ITS-90 Thermocouple Database (NIST Monograph 175,
// Burns et al., 1993). The functions describe the ideal couple; a real wire
// adds its tolerance class on top.
package its90

import (
	"fmt"
	"math"
)

// rounding is half of the last digit that the published tables print, in mV.
// A voltage that passes the end of the range by no more counts as the end, so
// that the printed end points are inside.
const rounding = 0.0005

// EMF returns the voltage in mV of a couple whose measuring junction is at
// tempC, from the published reference function. A temperature outside Range,
// NaN included, is a *RangeError; the voltage is then NaN.
func (t Type) EMF(tempC float64) (mV float64, err error) {
	mV, _, err = t.at(tempC)
	return mV, err
}

// Seebeck returns the slope of EMF at tempC in mV per degC. Where two pieces
// of the reference function meet it is the lower piece's. Type B's slope is
// negative below 21 degC. Errors are those of EMF.
func (t Type) Seebeck(tempC float64) (mVPerC float64, err error) {
	_, mVPerC, err = t.at(tempC)
	return mVPerC, err
}

// Temperature returns the measuring junction's temperature in degC for the
// voltage mV. The published inverse polynomial, good to a few hundredths of a
// degree, only seeds Newton steps on EMF itself: the result is EMF's inverse
// to 1e-6 degC, without the steps of up to 0.07 degC between the inverse's
// pieces and down to the end of Range, where for types E, K, N and T no
// inverse is published.
//
// A voltage outside EMF(Range), NaN included, is a *RangeError; so is one
// below 0.291 mV (250 degC) for type B, where two temperatures can give the
// same voltage. The temperature is then NaN.
func (t Type) Temperature(mV float64) (tempC float64, err error) {
	c := t.curve()
	if c == nil {
		return math.NaN(), fmt.Errorf("its90: %v: %w", t, ErrType)
	}
	lo, hi := c.spanMV()
	if t == B {
		lo = c.inverse[0].loMV
	}
	if !(lo-rounding <= mV && mV <= hi+rounding) {
		return math.NaN(), &RangeError{Type: t, Value: mV, Unit: "mV", Lo: lo, Hi: hi}
	}
	return c.solve(mV), nil
}

// at returns voltage and slope at tempC, NaN with an error.
func (t Type) at(tempC float64) (mV, slope float64, err error) {
	c := t.curve()
	if c == nil {
		return math.NaN(), math.NaN(), fmt.Errorf("its90: %v: %w", t, ErrType)
	}
	if lo, hi := c.span(); !(lo <= tempC && tempC <= hi) {
		return math.NaN(), math.NaN(), &RangeError{Type: t, Value: tempC, Unit: "degC", Lo: lo, Hi: hi}
	}
	mV, slope = c.at(tempC)
	return mV, slope, nil
}

// RangeError means that a temperature or voltage is outside what the type's
// reference function, or its inverse, is defined for.
type RangeError struct {
	Type   Type
	Value  float64 // what was asked for; may be NaN or infinite
	Unit   string  // of Value, Lo and Hi: "degC" or "mV"
	Lo, Hi float64
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("its90: type %v: %.6g %s: outside %.6g to %.6g %s",
		e.Type, e.Value, e.Unit, e.Lo, e.Hi, e.Unit)
}

// High reports whether the value is above the range. It is false for NaN, as
// for a value below.
func (e *RangeError) High() bool { return e.Value > e.Hi }
