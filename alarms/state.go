package alarms

import (
	"fmt"
	"time"
)

// State of an alarm, after ISA-18.2 / IEC 62682 (letters in brackets).
type State uint8

const (
	Normal              State = iota // [A]
	Unacknowledged                   // [B] condition present
	Acknowledged                     // [C] condition present
	Returned                         // [D] condition gone, not acknowledged
	Latched                          // [E] condition gone, kept, not acknowledged
	LatchedAcknowledged              // [F] condition gone, kept, waits for reset
	Shelved                          // [G] put aside by a person, for a bounded time
	Suppressed                       // [H] by design: what its rule says of While does not hold
	OutOfService                     // [I] by a person at the rig, with a reason
	states
)

var stateWords = [states]string{
	"normal", "unacknowledged", "acknowledged", "returned", "latched", "latched_acknowledged",
	"shelved", "suppressed", "out_of_service",
}

// String returns the word that the outside sees.
func (s State) String() string {
	if s >= states {
		return fmt.Sprintf("state(%d)", uint8(s))
	}
	return stateWords[s]
}

// ParseState is the inverse of String.
func ParseState(word string) (State, error) {
	for i, w := range stateWords {
		if w == word {
			return State(i), nil
		}
	}
	return 0, fmt.Errorf("state: %q: unknown word (allowed: %v)", word, stateWords)
}

// States lists every state, for tables and metrics.
func States() []State {
	all := make([]State, states)
	for i := range all {
		all[i] = State(i)
	}
	return all
}

// Standing reports whether an alarm in this state calls for a person: it is,
// or was and waits for somebody. What is no state at all stands.
func (s State) Standing() bool { return s != Normal && !s.Hidden() }

// Hidden reports whether an alarm in this state cannot call. It is listed all
// the same, and remembers whether it would have called.
func (s State) Hidden() bool { return s == Shelved || s == Suppressed || s == OutOfService }

// Alarm is one rule with its present state; a copy that the caller may keep.
type Alarm struct {
	Rule   *Rule // never changed after New
	State  State
	Value  float64       // newest that the rule judged by, in the unit of its Limit; NaN before the first
	Since  time.Time     // of the present state; zero if it never changed
	Seq    uint64        // number of the newest occurrence, from 1; 0 = none yet; a re-alarm is no new one
	Order  uint64        // of the newest occurrence among those of all alarms: the lowest was first out
	Hidden uint64        // occurrences while it could not call, since it last could
	Left   time.Duration // shelved: until it comes back
	Reason string        // out of service: why
	Test   bool          // raised by test gas, in a bump test
}

// Transition is one change of state, with the alarm as it is after the change.
type Transition struct {
	At       time.Time
	From     State
	Restored bool // nothing changed: it stood before a restart and stands again
	Alarm
}

// Annunciates reports whether this change calls the person: the horn or chirp
// of its priority begins.
func (t Transition) Annunciates() bool {
	return t.State == Unacknowledged || t.State == Latched && (t.Restored || t.From.Hidden())
}
