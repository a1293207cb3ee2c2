// Package phase infers what the rig is doing from speed, temperatures and
// suction.
package phase

import "fmt"

// Phase is what the rig is doing. The zero value is Cold.
type Phase uint8

const (
	Cold     Phase = iota // no fire: everything near the air's temperature
	Lighting              // the fire is lit and drawn by a blower; the engine stands
	Warming               // the engine turns on gas, the hearth is not yet at its heat
	Running               // the engine turns and the hearth is hot
	Stopping              // the engine stands, and the rig is hot and not yet proved sealed
	Sealed                // the engine stands, nothing is drawn, the rig cools
	phases

	Unknown Phase = 0xff // nothing is known of the rig yet
)

var words = [phases]string{"cold", "lighting", "warming", "running", "stopping", "sealed"}

// String returns the word that the outside sees.
func (p Phase) String() string {
	switch {
	case p == Unknown:
		return "unknown"
	case p >= phases:
		return fmt.Sprintf("phase(%d)", uint8(p))
	}
	return words[p]
}

// Parse is the inverse of String.
func Parse(word string) (Phase, error) {
	for i, w := range words {
		if w == word {
			return Phase(i), nil
		}
	}
	return 0, fmt.Errorf("phase: %q: unknown word (allowed: %v)", word, words)
}
