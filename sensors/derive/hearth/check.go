package hearth

import "fmt"

func (e *RangeError) Error() string {
	if e.Why != "" {
		return fmt.Sprintf("hearth: %s %g: %s", e.Input, e.Value, e.Why)
	}
	return fmt.Sprintf("hearth: %s %g: out of range (allowed: %g to %g)", e.Input, e.Value, e.Low, e.High)
}

// check holds that in is inside the sensible box.
func (in *Input) check() error {
	bounds := [...]struct {
		name          string
		value, lo, hi float64
		asked         bool
	}{
		{"carbon", in.Fuel.Carbon, 0.75, 0.97, true},
		{"hydrogen", in.Fuel.Hydrogen, 0, 0.04, true},
		{"oxygen", in.Fuel.Oxygen, 0, 0.15, true},
		{"ash", in.Fuel.Ash, 0, 0.25, true},
		{"hhv", in.Fuel.HHV, 20e6, 36e6, in.Fuel.HHV != 0},
		{"moisture", in.Moisture, 0, 0.25, true},
		{"return", in.Return, 0, 0.4, true},
		{"loss", in.Loss, 0, 0.25, !in.Imposed},
		{"air-temp", in.AirTemp, -20, 300, true},
		{"humidity", in.Humidity, 0, 1, true},
		{"exhaust-temp", in.ExhaustTemp, 0, 600, true},
		{"lambda", in.Lambda, 1, 2, true},
		{"pressure", in.Pressure, 70e3, 110e3, true},
		{"imposed-temp", in.BedExit, 400, 1500, in.Imposed},
	}
	for i := range bounds {
		if b := &bounds[i]; b.asked && !(b.value >= b.lo && b.value <= b.hi) {
			return &RangeError{Input: b.name, Value: b.value, Low: b.lo, High: b.hi}
		}
	}
	if sum := in.Fuel.Carbon + in.Fuel.Hydrogen + in.Fuel.Oxygen + in.Fuel.Ash; sum > 1+1e-9 {
		return &RangeError{Input: "carbon", Value: in.Fuel.Carbon, Why: fmt.Sprintf("with hydrogen, oxygen and ash it is %.4g of the dry charcoal: at most 1 in all", sum)}
	}
	return nil
}
