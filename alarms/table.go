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
	shelving            // a person at the rig puts it aside for a time
	unshelving          // that time has passed, or a person takes it back
	suppressing         // what its While asks for is proved not to hold
	unsuppressing       // that is over
	removing            // a person at the rig takes it out of service
	returning           // and returns it
	testEnding          // a bump test that raised it is over
	events
)

// Why a person's wish is refused; for errors.Is.
var (
	ErrNormal         = errors.New("nothing stands: there is nothing to acknowledge")
	ErrAcknowledged   = errors.New("it is acknowledged already")
	ErrUnacknowledged = errors.New("it is not acknowledged: acknowledge it first")
	ErrPresent        = errors.New("its condition is still there")
	ErrUnproved       = errors.New("its channel gives no value that proves the condition gone: repair the channel first")
	ErrNotLatched     = errors.New("it is not latched: there is nothing to reset")
	ErrLatched        = errors.New("it is latched: acknowledge and reset it first")
	ErrHidden         = errors.New("it is shelved, suppressed or out of service: it cannot call now")
	ErrNotShelved     = errors.New("it is not shelved")
	ErrInService      = errors.New("it is in service")
	ErrNever          = errors.New("this alarm can be neither shelved, suppressed nor taken out of service")
	ErrUnknownAlarm   = errors.New("there is no alarm of this name")

	errNoChange = errors.New("this event changes nothing in this state")
)

// arrow is one edge of the diagram, from its tail.
type arrow struct {
	from State
	on   event
}

// facts are what an arrow's head depends on.
type facts struct {
	latch  bool
	active bool // the condition stands, after its delays
	was    bool // it stood, or the alarm was latched, when it was hidden or since
}

// next is the transition table, after the alarm state diagram of ISA-18.2 and
// IEC 62682: every pair of state and event stands in it, the refused ones with
// the reason. It returns from itself beside an error.
//
//	            raise  clear      acknowl. reset   re-alarm  shelve   suppress  remove   test over
//	A normal    B      -          refused  refused -         G        H         I        -
//	B unack.    -      D, latch E C        refused -         G        -         I        B present, else A
//	C acked     -      A, latch F refused  refused B         G        -         I        same
//	D returned  B      -          A        refused -         G        -         I        A
//	E latched   B      -          F        refused -         refused  -         I        A
//	F l. acked  B      -          refused  A       -         refused  -         I        A
//
//	G shelved   time is up or unshelve   } B present; E latch and was present; else A
//	I out       return to service        }
//	H suppr.    suppression over           B present; else A
//
// What is no state at all is treated as an alarm that nobody has seen.
func next(from State, on event, is facts) (State, error) {
	switch (arrow{from, on}) {
	case arrow{Normal, raising},
		arrow{Returned, raising},
		arrow{Latched, raising},
		arrow{LatchedAcknowledged, raising},
		arrow{Acknowledged, reAlarming}:
		return Unacknowledged, nil

	case arrow{Unacknowledged, clearing}:
		if is.latch {
			return Latched, nil
		}
		return Returned, nil
	case arrow{Acknowledged, clearing}:
		if is.latch {
			return LatchedAcknowledged, nil
		}
		return Normal, nil

	case arrow{Unacknowledged, acknowledging}:
		return Acknowledged, nil
	case arrow{Returned, acknowledging}:
		return Normal, nil
	case arrow{Latched, acknowledging}:
		return LatchedAcknowledged, nil
	case arrow{LatchedAcknowledged, resetting}:
		return Normal, nil

	case arrow{Normal, shelving},
		arrow{Unacknowledged, shelving},
		arrow{Acknowledged, shelving},
		arrow{Returned, shelving}:
		return Shelved, nil
	case arrow{Normal, suppressing}:
		return Suppressed, nil
	case arrow{Normal, removing},
		arrow{Unacknowledged, removing},
		arrow{Acknowledged, removing},
		arrow{Returned, removing},
		arrow{Latched, removing},
		arrow{LatchedAcknowledged, removing}:
		return OutOfService, nil

	case arrow{Shelved, unshelving}, arrow{OutOfService, returning}:
		switch {
		case is.active:
			return Unacknowledged, nil
		case is.latch && is.was:
			return Latched, nil
		}
		return Normal, nil
	case arrow{Suppressed, unsuppressing}:
		if is.active {
			return Unacknowledged, nil
		}
		return Normal, nil

	case arrow{Unacknowledged, testEnding}, arrow{Acknowledged, testEnding}:
		if is.active {
			return Unacknowledged, nil
		}
		return Normal, nil
	case arrow{Returned, testEnding},
		arrow{Latched, testEnding},
		arrow{LatchedAcknowledged, testEnding}:
		return Normal, nil
	}
	if from < states {
		return from, refusal(from, on)
	}
	return Unacknowledged, nil // no such state
}

// refusal is why nothing comes of a pair that has no arrow.
func refusal(from State, on event) error {
	switch on {
	case acknowledging:
		switch {
		case from == Normal:
			return ErrNormal
		case from.Hidden():
			return ErrHidden
		}
		return ErrAcknowledged
	case resetting:
		switch {
		case from == Latched:
			return ErrUnacknowledged
		case from == Unacknowledged, from == Acknowledged:
			return ErrPresent
		case from.Hidden():
			return ErrHidden
		}
		return ErrNotLatched
	case shelving:
		if from.Hidden() {
			return ErrHidden
		}
		return ErrLatched
	case unshelving:
		return ErrNotShelved
	case removing:
		return ErrHidden
	case returning:
		return ErrInService
	}
	return errNoChange
}
