package alarms

import "time"

// track is what the engine remembers of one rule.
type track struct {
	state   State
	seq     uint64
	order   uint64
	since   time.Time
	value   float64   // newest that it was judged by, NaN before the first
	now     condition // of the newest readings
	present bool      // the last proved condition
	active  bool      // the same after on-delay and off-delay
	turn    timer     // on-delay or off-delay, whichever active waits for
	again   timer     // re-alarm time

	failed []bool        // each While, in the last step
	past   *history      // of windowed kinds
	hidden uint64        // occurrences while hidden
	was    bool          // active or latched when it was hidden, or active since
	left   time.Duration // of the shelf
	reason string        // out of service
	test   bool          // raised in a bump test
}

// settle takes the newest condition and lets it act through the delays. An
// on-delay and the re-alarm time run on through readings that prove nothing;
// an off-delay starts over after them, and after a step back in time. Values
// in between only let a fault's on-delay ebb: a wire that touches ground again
// and again watches nothing either.
func (t *track) settle(r *Rule, c condition, passed lapse) {
	t.now = c
	switch {
	case c != unproved:
		t.present = c == present
	case t.state == Suppressed: // what it said before it stopped watching says nothing now
		t.present = false
	}
	was := t.active
	switch {
	case t.active && (c != gone || passed.back):
		t.turn.stop()
	case t.active:
		t.active = !t.turn.run(passed, r.OffDelay)
	case t.present:
		t.active = t.turn.run(passed, r.OnDelay)
	case r.Kind == Fault:
		t.turn.ebb(passed)
	default:
		t.turn.stop()
	}
	if t.active != was {
		t.turn.stop()
	}
	if t.state.Hidden() && t.active && !was {
		t.hidden++
		t.was = true
	}
}

// due returns what the condition and the passed time do to the alarm.
func (t *track) due(r *Rule, passed lapse, suppressed bool) event {
	switch t.state {
	case Normal:
		if suppressed {
			return suppressing
		}
		if t.active {
			return raising
		}
	case Returned:
		if t.active {
			return raising
		}
	case Latched, LatchedAcknowledged:
		if t.present {
			t.active = true
			t.turn.stop()
			return raising
		}
	case Unacknowledged, Acknowledged:
		if !t.active {
			return clearing
		}
		if t.state == Acknowledged && r.ReAlarm > 0 && t.again.run(passed, r.ReAlarm) {
			return reAlarming
		}
	case Shelved:
		if t.left -= passed.Duration; t.left <= 0 {
			return unshelving
		}
	case Suppressed:
		if !suppressed {
			if r.OnDelay > 0 { // it counts only while the rule watches
				t.active = false
				t.turn.stop()
			}
			return unsuppressing
		}
	case OutOfService:
	default: // no state at all: the table makes an alarm of it
		return raising
	}
	return nothing
}

// turned notes the change to state to.
func (t *track) turned(now time.Time, on event, to State) (occurred bool) {
	occurred = to == Unacknowledged && t.state != Acknowledged
	if on == testEnding {
		occurred, t.test = to == Unacknowledged, false
	}
	if occurred {
		t.seq++
	}
	switch {
	case to.Hidden():
		t.hidden, t.was = 0, t.active || t.state == Latched || t.state == LatchedAcknowledged
	case t.state.Hidden():
		t.left, t.reason = 0, ""
	}
	if to == Normal {
		t.test = false
	}
	t.again.stop()
	t.state, t.since = to, now
	return occurred
}

// lapse is the time between two steps. A clock that went back gives none.
type lapse struct {
	time.Duration
	back bool
}

// between returns the lapse from one step to the next; none from the zero
// time, before the first step.
func between(from, to time.Time) lapse {
	if from.IsZero() {
		return lapse{}
	}
	d := to.Sub(from)
	return lapse{max(d, 0), d < 0}
}

// timer adds up lapses from the step that started it.
type timer struct {
	running bool
	held    time.Duration // never more than the delay, so it cannot overflow
}

// run starts the timer, or adds passed to one that runs, and reports whether
// it has reached delay.
func (t *timer) run(passed lapse, delay time.Duration) bool {
	switch {
	case !t.running:
		*t = timer{running: true}
	case passed.Duration >= delay-t.held:
		t.held = delay
	default:
		t.held += passed.Duration
	}
	return t.held >= delay
}

// ebb runs the timer back at two thirds of its pace, and stops it at nothing:
// what is there for more than two fifths of the time gets through in the end. Own
// choice: a wire that touches ground half of the time must, and a cell so noisy
// that a third of its readings are refused must not.
func (t *timer) ebb(passed lapse) {
	if t.held -= passed.Duration / 3 * 2; t.held <= 0 {
		t.stop()
	}
}

func (t *timer) stop() { *t = timer{} }
