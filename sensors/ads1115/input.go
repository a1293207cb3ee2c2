package ads1115

import "fmt"

// Input is what the chip measures: one input against ground or the difference
// of two. The zero value is AIN0 against ground.
type Input uint8

const (
	AIN0   Input = iota // AIN0 - GND
	AIN1                // AIN1 - GND
	AIN2                // AIN2 - GND
	AIN3                // AIN3 - GND
	AIN0_1              // AIN0 - AIN1
	AIN0_3              // AIN0 - AIN3
	AIN1_3              // AIN1 - AIN3
	AIN2_3              // AIN2 - AIN3
	inputs
)

var inputNames = [inputs]string{
	"AIN0", "AIN1", "AIN2", "AIN3",
	"AIN0-AIN1", "AIN0-AIN3", "AIN1-AIN3", "AIN2-AIN3",
}

// String returns the pins as printed on a board: "AIN0", "AIN0-AIN1".
func (in Input) String() string {
	if in >= inputs {
		return fmt.Sprintf("input(%d)", uint8(in))
	}
	return inputNames[in]
}

// ParseInput is the inverse of String.
func ParseInput(s string) (Input, error) {
	for i, name := range inputNames {
		if name == s {
			return Input(i), nil
		}
	}
	return 0, fmt.Errorf("ads1115: input %q: unknown (allowed: %v)", s, inputNames)
}

// mux returns the MUX field. The chip counts the differences first.
func (in Input) mux() uint16 { return uint16(in) ^ 4 }
