// Package membrane turns the output of silicon membrane pressure sensors into
// pascals and back. The sensors are ratiometric: every volt of their supply
// counts, so it is measured and handed in, never assumed.
package membrane

import (
	"fmt"
	"math"
	"strings"
)

// railV is how near to ground an output is taken for a broken wire. No sensor
// here gets so low by pressure: the smallest typical output is 0.2 V.
const railV = 0.020

// Law is the straight line of a sensor, Vout = Vs x (Slope x P + Intercept).
// It is plain data: a sensor with better figures on its own sheet is a copy
// with those filled in. The zero value is no law; Pressure refuses it.
type Law struct {
	Name       string
	Slope      float64 // 1/Pa; V/Pa unless Ratiometric; may be negative, never 0
	Intercept  float64 // output at 0 Pa as a share of Vs; V unless Ratiometric
	LoPa, HiPa float64 // rated range

	// Supply in volts. Ignored unless Ratiometric.
	NominalV, MinV, MaxV float64

	UnzeroedPa float64 // half width of the total error band as bought
	ZeroedPa   float64 // half width after a zero with both ports open
	MaxZeroV   float64 // largest zero error to be believed, at NominalV
	// Ratiometric says that the output follows the supply.
	Ratiometric bool
}

// MPX5010DP is the 0..10 kPa part, also sold as MPXV5010DP: Vout = Vs(0.09 P +
// 0.04) with P in kPa, 4.75..5.25 V, error 5 % of 4.5 V span from 0 to 85 degC
// (Motorola/Freescale datasheet MPX5010 Rev 2 and Rev 13, Operating
// Characteristics and transfer function). The pressure side is P1: the part
// does not measure below 0. ZeroedPa is half of the band, in the proportion
// that the sister part's sheet gives with and without a zero (MPxx5004 Rev
// 12.1, Features: 2.5 % against 6.25 %), rounded up. The 0.3 V are judgement:
// above the datasheet's largest offset error of 0.225 V.
var MPX5010DP = Law{
	Name:  "MPX5010DP",
	Slope: 0.09e-3, Intercept: 0.04,
	LoPa: 0, HiPa: 10e3,
	NominalV: 5, MinV: 4.75, MaxV: 5.25,
	UnzeroedPa: 500, ZeroedPa: 250, MaxZeroV: 0.3,
	Ratiometric: true,
}

// MPXV7002DP is the part for -2..2 kPa: Vout = Vs(0.2 P + 0.5) with P in kPa
// (datasheet MPXV7002 p. 6, as public code quotes it). From memory: supply
// 4.75..5.25 V, largest error 6.25 % of 4 V span. ZeroedPa is its typical
// error, 2.5 % of span, also from memory.
var MPXV7002DP = Law{
	Name:  "MPXV7002DP",
	Slope: 0.2e-3, Intercept: 0.5,
	LoPa: -2e3, HiPa: 2e3,
	NominalV: 5, MinV: 4.75, MaxV: 5.25,
	UnzeroedPa: 250, ZeroedPa: 100, MaxZeroV: 0.3,
	Ratiometric: true,
}

// Laws returns the sensors known by part number.
func Laws() []Law { return []Law{MPX5010DP, MPXV7002DP} }

// ByName returns the law of a part number as Laws spells it.
func ByName(name string) (Law, error) {
	var names []string
	for _, l := range Laws() {
		if l.Name == name {
			return l, nil
		}
		names = append(names, l.Name)
	}
	return Law{}, fmt.Errorf("membrane: %q: unknown sensor (known: %s)", name, strings.Join(names, ", "))
}

// Linear returns the law through two points, in Pa and V, of a sensor whose
// output does not follow its supply. The points are also the ends of its
// range. Where its sheet says nothing better, the error is taken as 5 % of
// span, half of that once zeroed, and a zero is believed up to 7.5 % of span:
// the shares of MPX5010DP and MPXV7002DP.
func Linear(pa1, v1, pa2, v2 float64) (Law, error) {
	slope := (v2 - v1) / (pa2 - pa1)
	intercept := v1 - slope*pa1
	if !finite(pa1, v1, pa2, v2, slope, intercept, 1/slope) {
		return Law{}, fmt.Errorf("membrane: linear: (%v Pa, %v V) and (%v Pa, %v V) are not two points of a slope",
			pa1, v1, pa2, v2)
	}
	span := math.Abs(pa2 - pa1)
	return Law{
		Name:  "linear",
		Slope: slope, Intercept: intercept,
		LoPa: min(pa1, pa2), HiPa: max(pa1, pa2),
		UnzeroedPa: 0.05 * span, ZeroedPa: 0.025 * span,
		MaxZeroV: 0.075 * math.Abs(v2-v1),
	}, nil
}

// Pressure returns the pressure in Pa, before any zero, of an output in V at
// the measured supply. A value up to UnzeroedPa beyond the rated range is a
// number. Errors come with NaN: *SupplyError, *RangeError (also for the output
// of a ratiometric sensor at ground, which is a broken wire), or a plain one
// for what is not a number.
func (l Law) Pressure(volts, supplyV float64) (float64, error) {
	nan := math.NaN()
	scale := 1.0
	if l.Ratiometric {
		if !(supplyV >= l.MinV && supplyV <= l.MaxV) {
			return nan, &SupplyError{Law: l, SupplyV: supplyV}
		}
		scale = supplyV
	}
	pa := (volts/scale - l.Intercept) / l.Slope
	if math.IsNaN(pa) || l.Slope == 0 {
		return nan, fmt.Errorf("membrane: %s: %v V: no pressure", l.Name, volts)
	}
	if pa < l.LoPa-l.UnzeroedPa || pa > l.HiPa+l.UnzeroedPa || l.Ratiometric && volts < railV {
		return nan, &RangeError{Law: l, Volts: volts, Pa: pa}
	}
	return pa, nil
}

// Volts returns the output in V at pa and the given supply: what a faultless
// sensor shows, for simulation and tests. It knows no ends of the range.
func (l Law) Volts(pa, supplyV float64) float64 {
	v := l.Slope*pa + l.Intercept
	if l.Ratiometric {
		v *= supplyV
	}
	return v
}

// MaxZeroPa returns the largest zero error that is believable, in Pa. A zero
// beyond it is a broken sensor or a pipe under pressure, not a zero.
func (l Law) MaxZeroPa() float64 {
	pa := l.MaxZeroV / math.Abs(l.Slope)
	if l.Ratiometric {
		pa /= l.NominalV
	}
	return pa
}

func finite(all ...float64) bool {
	for _, v := range all {
		if math.IsInf(v, 0) || math.IsNaN(v) {
			return false
		}
	}
	return true
}
