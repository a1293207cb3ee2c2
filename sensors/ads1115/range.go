package ads1115

import (
	"fmt"
	"strconv"
)

// Range is the full scale of the amplifier, symmetric about 0 V. It never
// widens what the pins bear: each stays between GND and the chip's supply.
// The zero value is 6.144 V.
type Range uint8

const (
	V6_144 Range = iota
	V4_096
	V2_048
	V1_024
	V0_512
	V0_256
	ranges
)

// SBAS444, Full-Scale Range and Corresponding LSB Size.
var fullScale = [ranges]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256}

// Volts returns the full scale in volts, 0 for a Range that does not exist.
func (r Range) Volts() float64 {
	if r >= ranges {
		return 0
	}
	return fullScale[r]
}

// String returns the full scale as "4.096V".
func (r Range) String() string {
	if r >= ranges {
		return fmt.Sprintf("range(%d)", uint8(r))
	}
	return strconv.FormatFloat(fullScale[r], 'f', 3, 64) + "V"
}

// RangeFor returns the smallest range that holds maxVolts, which is above 0
// and at most 6.144 V.
func RangeFor(maxVolts float64) (Range, error) {
	if maxVolts > 0 {
		for r := ranges; r > 0; r-- {
			if maxVolts <= fullScale[r-1] {
				return r - 1, nil
			}
		}
	}
	return 0, fmt.Errorf("ads1115: range for %v V: outside 0..6.144 V: divide the voltage before the chip", maxVolts)
}

// volts converts a code; one count is full scale / 32768.
func (r Range) volts(code int16) float64 { return float64(code) * (fullScale[r] / 32768) }
