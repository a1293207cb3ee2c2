package alarms

import "errors"

// event is what can happen to an alarm.
type event uint8

const (
	nothing       event = iota
	raising             // the condition was true for the on-delay (from E and F: is true)
	clearing            // the condition was proved false for the off-delay
	acknowledging       // a person has seen it
	resetting           // a person at the rig releases a latched alarm
	reAlarming          // acknowledged, still there, and the re-alarm time has passed
	events
)

// Why Acknowledge and Reset refuse; for errors.Is.
var (
	ErrNormal         = errors.New("nothing stands: there is nothing to acknowledge")
	ErrAcknowledged   = errors.New("it is acknowledged already")
	ErrUnacknowledged = errors.New("it is not acknowledged: acknowledge it first")
	ErrPresent        = errors.New("its condition is still there")
	ErrUnproved       = errors.New("its channel gives no value that proves the condition gone: repair the channel first")
	ErrNotLatched     = errors.New("it is not latched: there is nothing to reset")
	ErrUnknownAlarm   = errors.New("there is no alarm of this name")

	errNoChange = errors.New("this event changes nothing in this state")
)

// arrow is one edge of the diagram, from its tail.
type arrow struct {
	from State
	on   event
}

// next is the transition table, after the alarm state diagram of ISA-18.2 and
// IEC 62682: every pair of state and event stands in it, the refused ones with
// the reason. It returns from itself beside an error.
//
//	            raise  clear      acknowledge  reset    re-alarm
//	A normal    B      -          refused      refused  -
//	B unack.    -      D, latch E C            refused  -
//	C acked     -      A, latch F refused      refused  B
//	D returned  B      -          A            refused  -
//	E latched   B      -          F            refused  -
//	F l. acked  B      -          refused      A        -
//
// What is no state at all is treated as an alarm that nobody has seen.
func next(from State, on event, latch bool) (State, error) {
	switch (arrow{from, on}) {
	case arrow{Normal, raising},
		arrow{Returned, raising},
		arrow{Latched, raising},
		arrow{LatchedAcknowledged, raising},
		arrow{Acknowledged, reAlarming}:
		return Unacknowledged, nil

	case arrow{Unacknowledged, clearing}:
		if latch {
			return Latched, nil
		}
		return Returned, nil
	case arrow{Acknowledged, clearing}:
		if latch {
			return LatchedAcknowledged, nil
		}
		return Normal, nil

	case arrow{Unacknowledged, acknowledging}:
		return Acknowledged, nil
	case arrow{Returned, acknowledging}:
		return Normal, nil
	case arrow{Latched, acknowledging}:
		return LatchedAcknowledged, nil
	case arrow{Normal, acknowledging}:
		return from, ErrNormal
	case arrow{Acknowledged, acknowledging}, arrow{LatchedAcknowledged, acknowledging}:
		return from, ErrAcknowledged

	case arrow{LatchedAcknowledged, resetting}:
		return Normal, nil
	case arrow{Latched, resetting}:
		return from, ErrUnacknowledged
	case arrow{Unacknowledged, resetting}, arrow{Acknowledged, resetting}:
		return from, ErrPresent
	case arrow{Normal, resetting}, arrow{Returned, resetting}:
		return from, ErrNotLatched

	case arrow{Unacknowledged, raising},
		arrow{Acknowledged, raising},
		arrow{Normal, clearing},
		arrow{Returned, clearing},
		arrow{Latched, clearing},
		arrow{LatchedAcknowledged, clearing},
		arrow{Normal, reAlarming},
		arrow{Unacknowledged, reAlarming},
		arrow{Returned, reAlarming},
		arrow{Latched, reAlarming},
		arrow{LatchedAcknowledged, reAlarming}:
		return from, errNoChange
	}
	if from < states {
		return from, errNoChange // no such event
	}
	return Unacknowledged, nil // no such state
}

// Annunciates reports whether this change calls the person: the horn or chirp
// of its priority begins.
func (t Transition) Annunciates() bool { return t.State == Unacknowledged }
