package blast

import "fmt"

// Side of the point at which the fire's gas stops being made, on which the bed
// is.
type Side uint8

const (
	Unsaid        Side = iota // not known
	Strong                    // a step more of exhaust is borne
	NearQuenching             // a step more would quench
	Quenched                  // below the fading temperature: less exhaust, less loss, drier charcoal
	sides
)

var sideWords = [sides]string{"unknown", "strong", "near_quenching", "quenched"}

// String returns the word for s.
func (s Side) String() string {
	if s >= sides {
		return fmt.Sprintf("side(%d)", uint8(s))
	}
	return sideWords[s]
}

// Fading is the temperature of the bed's exit, degC, below which making CO slows
// so much that the gas is no longer what equilibrium says (trade judgement: slow
// below about 800, near dead at 700; from memory).
const Fading = 750.0

// Step is one more of exhaust in the blast, by moles.
const Step = 0.05

// most is the largest exhaust in the blast that a hearth is solved for.
const most = 0.4

// Advice is what a step more of exhaust would do, and how much is borne. The
// zero value is: not known.
type Advice struct {
	Side   Side
	Return float64 // exhaust in the blast that is reckoned with now, by moles
	Step   float64 // what is added for the figures below: Step, or less where Return is near 0.4
	Bed    float64 // K that the bed's exit changes by
	Heat   float64 // change of the gas's heat, as a share: -0.03 is 3 % less
	Power  float64 // change at the same throttle, as a share: of the shaft's power if that is known, else of the mixture's heat
	Quench float64 // Return at which the bed's exit is at Fading: 0 if it is below without any, 0.4 if it is above with that
	Margin float64 // Quench less Return: below 0 it is quenched
}
