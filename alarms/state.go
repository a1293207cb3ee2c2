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
	states
)

var stateWords = [states]string{
	"normal", "unacknowledged", "acknowledged", "returned", "latched", "latched_acknowledged",
}

// String returns the word that the outside sees.
func (s State) String() string {
	if s >= states {
		return fmt.Sprintf("state(%d)", uint8(s))
	}
	return stateWords[s]
}

// States lists every state, for tables and metrics.
func States() []State {
	all := make([]State, states)
	for i := range all {
		all[i] = State(i)
	}
	return all
}

// Standing reports whether an alarm in this state is shown to the person.
func (s State) Standing() bool { return s != Normal }

// Alarm is one rule with its present state; a copy that the caller may keep.
type Alarm struct {
	Rule  *Rule // never changed after New
	State State
	Value float64   // newest usable value, or full scale clipped on the limit's side; NaN before the first
	Since time.Time // of the present state; zero if it never changed
	Seq   uint64    // number of the newest occurrence, from 1; 0 = none yet; a re-alarm is no new one
}

// Transition is one change of state, with the alarm as it is after the change.
type Transition struct {
	At   time.Time
	From State
	Alarm
}
