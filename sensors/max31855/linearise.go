package max31855

import (
	"fmt"
	"math"

	"charwarden/sensors/its90"
)

// Rating of the cold junction, which is the chip's own ambient, in degC
// (datasheet 19-5793 p.2).
const (
	MinCold = -40
	MaxCold = 125
)

// gain returns the slope in mV per degC by which the part for type t turns
// voltage into temperature (datasheet 19-5793 p.8 table 1, there in uV), or
// zero where there is no such part. Each is the type's mean slope from 0 to
// 1000 degC (T: 400 degC).
func gain(t its90.Type) float64 {
	switch t {
	case its90.E:
		return 0.076373
	case its90.J:
		return 0.057953
	case its90.K:
		return 0.041276
	case its90.N:
		return 0.036256
	case its90.R:
		return 0.010506
	case its90.S:
		return 0.009587
	case its90.T:
		return 0.05218
	}
	return 0
}

// TypeError means a thermocouple type that no part is trimmed for.
type TypeError struct{ Type its90.Type }

func (e *TypeError) Error() string {
	return fmt.Sprintf("max31855: type %v: no such part (allowed: E J K N R S T)", e.Type)
}

// ColdError means a cold junction outside MinCold to MaxCold: the chip is too
// cold or too hot to be believed, or the frame is not its own.
type ColdError struct{ ColdC float64 }

func (e *ColdError) Error() string {
	return fmt.Sprintf("cold junction %g degC: outside the chip's %d to %d degC", e.ColdC, MinCold, MaxCold)
}

// Linearise turns what the part for type t reports into the hot junction's
// temperature, all in degC. The chip assumes V = G*(hot - cold) with one
// constant gain (datasheet 19-5793 p.8, which leaves the correction to the
// user); the type-K part is thus 6.9 degC too high at 800 degC and 29.5 too low
// at 1300 degC. Undone by ITS-90:
//
//	e = G*(chip - cold) + E(cold)    hot = inverse of E at e
//
// Errors: *TypeError; *ColdError; a wrapped *its90.RangeError when e is outside
// what the type can deliver, whose High tells the side. The temperature is
// NaN with any of them.
func Linearise(t its90.Type, chipC, coldC float64) (hotC float64, err error) {
	g := gain(t)
	if g == 0 {
		return math.NaN(), &TypeError{Type: t}
	}
	if !(MinCold <= coldC && coldC <= MaxCold) {
		return math.NaN(), &ColdError{ColdC: coldC}
	}
	cold, err := t.EMF(coldC)
	if err != nil {
		return math.NaN(), err
	}
	hotC, err = t.Temperature(g*(chipC-coldC) + cold)
	if err != nil {
		return math.NaN(), fmt.Errorf("chip %g degC, cold junction %g degC: %w", chipC, coldC, err)
	}
	return hotC, nil
}

// Delinearise is the chip's side of Linearise, for simulation: what the part
// for type t reports, in degC and before rounding to its code, when its
// junctions are at hotC and coldC. Errors: *TypeError, *its90.RangeError; the
// result is then NaN.
func Delinearise(t its90.Type, hotC, coldC float64) (chipC float64, err error) {
	g := gain(t)
	if g == 0 {
		return math.NaN(), &TypeError{Type: t}
	}
	hot, err := t.EMF(hotC)
	if err != nil {
		return math.NaN(), fmt.Errorf("hot junction: %w", err)
	}
	cold, err := t.EMF(coldC)
	if err != nil {
		return math.NaN(), fmt.Errorf("cold junction: %w", err)
	}
	return (hot-cold)/g + coldC, nil
}
