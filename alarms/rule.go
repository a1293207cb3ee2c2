package alarms

import (
	"fmt"
	"time"
)

// Kind says what a rule watches for.
type Kind uint8

const (
	Above   Kind = iota // the value is at Limit or above
	Below               // the value is at Limit or below
	Fault               // the channel has no usable value
	Zeroing             // the channel has no zero (status unzeroed)
	kinds
)

var kindWords = [kinds]string{"above", "below", "fault", "unzeroed"}

// String returns the word that a configuration file uses.
func (k Kind) String() string {
	if k >= kinds {
		return fmt.Sprintf("kind(%d)", uint8(k))
	}
	return kindWords[k]
}

// ParseKind is the inverse of String.
func ParseKind(word string) (Kind, error) {
	for i, w := range kindWords {
		if w == word {
			return Kind(i), nil
		}
	}
	return 0, fmt.Errorf("kind: %q: unknown word (allowed: %v)", word, kindWords)
}

// limited reports whether the kind compares the value with a limit.
func (k Kind) limited() bool { return k == Above || k == Below }

// Rule is one alarm as data. The zero value is no rule: New refuses it.
//
// An Above rule's condition begins when the value is greater than Limit and
// ends when it is Limit - Deadband or less; between the two it stays what it
// was. Below is the mirror image.
type Rule struct {
	Name     string // channel + "_" + what: "wall_near_stop"; a-z, 0-9, _
	Channel  string
	Kind     Kind
	Priority Priority
	Limit    float64       // in the channel's unit; Above and Below only, else 0
	Deadband float64       // the condition ends only this far past the limit, in the channel's unit
	OnDelay  time.Duration // the condition holds this long before the alarm comes; 0 = at once
	OffDelay time.Duration // the condition is proved gone this long before it clears; 0 = at once
	ReAlarm  time.Duration // acknowledged and still there this long: calls again; 0 = never
	Latch    bool          // stays until reset after the condition is gone
	Stops    bool          // drops the engine's run permit while it stands; needs Latch
	Means    string        // for the person: what it means
	DoFirst  string        // for the person: what to do first
}
