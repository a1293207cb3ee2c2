package hearth

import "fmt"

func (e *RangeError) Error() string {
	if e.Why != "" {
		return fmt.Sprintf("hearth: %s %g: %s", e.Input, e.Value, e.Why)
	}
	return fmt.Sprintf("hearth: %s %g: out of range (allowed: %g to %g)", e.Input, e.Value, e.Low, e.High)
}
