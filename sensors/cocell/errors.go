package cocell

import "fmt"

// ClipError says that the cell or its amplifier is at its end: there is no
// number, only a direction.
type ClipError struct {
	Volts        float64
	FullScalePPM float64
	high         bool
}

// High reports the direction in terms of gas, whichever way the amplifier
// goes: true counts as at least full scale.
func (e *ClipError) High() bool { return e.high }

func (e *ClipError) Error() string {
	if e.high {
		return fmt.Sprintf("cocell: %.3f V: above range, %g ppm or more: leave first; bump test the cell before it is used again",
			e.Volts, e.FullScalePPM)
	}
	return fmt.Sprintf("cocell: %.3f V: output at the rail on the side of no gas: check cell, wiring and supply", e.Volts)
}

// DriftError says that the cell reads below zero by more than noise can
// explain (the trade's downscale fault): its zero has moved, was taken in
// gas, or the wiring is at fault.
type DriftError struct {
	Volts float64
	PPM   float64 // negative; not a value
}

func (e *DriftError) Error() string {
	return fmt.Sprintf("cocell: %.3f V: %.1f ppm, below zero: set the zero anew in clean air, then bump test", e.Volts, e.PPM)
}
