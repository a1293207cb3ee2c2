package max31855

import (
	"errors"
	"fmt"
	"math"
)

// Frame is what the chip clocks out, most significant bit first. It is
// read-only (datasheet 19-5793 p.10 tables 2 and 3):
//
//	bits    meaning
//	31..18  thermocouple temperature, signed, 0.25 degC a bit
//	17      reserved, reads 0
//	16      fault: 1 when any of bits 2..0 is
//	15..4   cold-junction (chip) temperature, signed, 0.0625 degC a bit
//	3       reserved, reads 0
//	2       thermocouple short to VCC
//	1       thermocouple short to GND
//	0       thermocouple open
//
// For example 06 4C 64 90: thermocouple 100.75 degC, cold junction
// 100.5625 degC, no fault. The thermocouple temperature is linear in voltage
// and therefore wrong by up to tens of degrees: see Linearise.
type Frame uint32

const (
	reservedHigh Frame = 1 << 17
	faulty       Frame = 1 << 16
	reservedLow  Frame = 1 << 3
	reasons      Frame = 1<<2 | 1<<1 | 1<<0

	chipLSB = 0.25   // degC
	coldLSB = 0.0625 // degC
)

var (
	// ErrNoChip means a frame of all ones or all zeros: nothing drives MISO. A
	// chip at exactly 0 degC with its couple at exactly 0 degC sends the same
	// zeros and is taken for absent.
	ErrNoChip = errors.New("no chip answers (check the supply, the select line and MISO)")

	// ErrFrame means a frame that contradicts itself: disturbed on the bus, or
	// sent by something else.
	ErrFrame = errors.New("not a frame of this chip (check the wiring, lower the clock)")
)

// Decode splits a frame into the chip's own numbers in degC. A frame with
// fault bits is a good frame: its chipC means nothing then, coldC stays valid.
//
// Errors wrap ErrNoChip or ErrFrame; both numbers are then NaN. Clear fault
// bits do not prove a healthy couple: one that is shorted to itself reads as
// the cold junction.
func (f Frame) Decode() (chipC, coldC float64, fault Fault, err error) {
	nan := math.NaN()
	switch {
	case f == 0 || f == math.MaxUint32:
		return nan, nan, 0, fmt.Errorf("frame %v: %w", f, ErrNoChip)
	case f&(reservedHigh|reservedLow) != 0:
		return nan, nan, 0, fmt.Errorf("frame %v: a reserved bit is set: %w", f, ErrFrame)
	case (f&faulty != 0) != (f&reasons != 0):
		return nan, nan, 0, fmt.Errorf("frame %v: fault bit and reasons disagree: %w", f, ErrFrame)
	}
	chipC = float64(int32(f)>>18) * chipLSB
	coldC = float64(int32(f<<16)>>20) * coldLSB
	return chipC, coldC, Fault(f & reasons), nil
}

// Encode is the frame for the chip's own numbers in degC, each rounded to the
// nearest code and clamped to its field: -2048 to 2047.75 for the
// thermocouple, -128 to 127.9375 for the cold junction. NaN becomes the
// field's top, which is what an open couple shows.
func Encode(chipC, coldC float64, fault Fault) Frame {
	f := Frame(code(chipC/chipLSB, 14))<<18 | Frame(code(coldC/coldLSB, 12))<<4 | Frame(fault)&reasons
	if f&reasons != 0 {
		f |= faulty
	}
	return f
}

// code is v as a signed number of the given width, in the low bits.
func code(v float64, bits int) uint32 {
	top := float64(int32(1)<<(bits-1) - 1)
	if math.IsNaN(v) {
		v = top
	}
	n := int32(min(max(math.Round(v), -top-1), top))
	return uint32(n) & (1<<bits - 1)
}

// String returns the frame in hexadecimal.
func (f Frame) String() string { return fmt.Sprintf("0x%08X", uint32(f)) }
