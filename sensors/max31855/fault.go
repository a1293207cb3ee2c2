package max31855

import (
	"fmt"
	"strings"
)

// Fault is a set of the chip's fault bits, as bits 2..0 of a Frame. Zero is no
// fault that the chip can see.
type Fault uint8

const (
	Open     Fault = 1 << 0 // broken wire or couple, D0
	ShortGND Fault = 1 << 1 // couple shorted to GND, D1
	ShortVCC Fault = 1 << 2 // couple shorted to VCC, D2
)

// Words returns one word for each bit that is set, lowest first; nil for none.
func (f Fault) Words() []string {
	var words []string
	for i, w := range [...]string{"open", "short_gnd", "short_vcc"} {
		if f&(1<<i) != 0 {
			words = append(words, w)
		}
	}
	return words
}

// String returns the words joined, as "open|short_gnd", or "none".
func (f Fault) String() string {
	if f == 0 {
		return "none"
	}
	return strings.Join(f.Words(), "|")
}

// FaultError means that the chip sees something wrong with the thermocouple:
// there is no temperature.
type FaultError struct {
	Fault Fault   // what is wrong; never zero
	ColdC float64 // cold junction in degC, which stays valid; NaN outside its rating
}

func (e *FaultError) Error() string {
	return fmt.Sprintf("thermocouple: %v (cold junction %.4f degC)", e.Fault, e.ColdC)
}
