package wall

import (
	"math"
	"time"
)

// The law of a steel's scale, see Growth, and how much thicker scale is than
// the metal that it was (wustite, Pilling and Bedworth; from memory).
const (
	growth0    = 6.1         // cm2/s
	activation = 169452      // J/mol
	gasR       = 8.314462618 // J/mol/K, CODATA 2018
	zeroC      = 273.15      // K
	swell      = 1.77
)

// Growth is the parabolic rate constant of the scale on bare carbon steel in
// air at a temperature in degC, in cm2/s: 6.1 exp(-169452/(R T)). Its constants
// are from memory, and steels differ: an estimate. It is 0 below -273.15.
func Growth(temp float64) float64 {
	k := temp + zeroC
	if !(k > 0) {
		return 0
	}
	return growth0 * math.Exp(-activation/(gasR*k))
}

// Stay is a time at a temperature.
type Stay struct {
	Temp float64 // degC
	For  time.Duration
}

// Scale is how thick the scale on bare carbon steel is after stays in any order,
// in mm, as long as none of it falls off: the root of the sum of Growth and time.
func Scale(stays ...Stay) float64 {
	var x2 float64
	for _, s := range stays {
		x2 += Growth(s.Temp) * s.For.Seconds()
	}
	return thick(x2)
}

// thick is the thickness in mm of a scale of x2 cm2.
func thick(x2 float64) float64 { return 10 * math.Sqrt(x2) }

// Loss is the metal in mm that a scale of so many mm was.
func Loss(scale float64) float64 { return scale / swell }
