package membrane

import "fmt"

// RangeError says that an output belongs to no pressure of the sensor.
type RangeError struct {
	Law   Law
	Volts float64
	Pa    float64 // what the straight line would say; not a value
}

// High reports whether the output lies on the side of high pressure.
func (e *RangeError) High() bool { return e.Pa > (e.Law.LoPa+e.Law.HiPa)/2 }

func (e *RangeError) Error() string {
	side := "below"
	if e.High() {
		side = "above"
	}
	return fmt.Sprintf("membrane: %s: %.3f V: %s the range %g..%g Pa: check wiring, hoses and supply",
		e.Law.Name, e.Volts, side, e.Law.LoPa, e.Law.HiPa)
}

// SupplyError says that the sensor's supply, on which its output depends, is
// outside what it is made for or unknown (NaN).
type SupplyError struct {
	Law     Law
	SupplyV float64
}

func (e *SupplyError) Error() string {
	return fmt.Sprintf("membrane: %s: supply %.3f V: outside %g..%g V: check the 5 V rail",
		e.Law.Name, e.SupplyV, e.Law.MinV, e.Law.MaxV)
}
