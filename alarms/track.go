package alarms

import (
	"time"

	"charwarden/sensors"
)

// track is what the engine remembers of one rule.
type track struct {
	state   State
	seq     uint64
	since   time.Time
	value   float64   // newest usable one, NaN before the first
	now     condition // of the newest reading
	present bool      // the last proved condition
	turn    timer     // on-delay or off-delay, whichever the state waits for
	again   timer     // re-alarm time
}

// due takes the newest reading and returns what it and the passed time do to
// the alarm. An on-delay and the re-alarm time run on through readings that
// prove nothing; an off-delay starts over after them, and after a step back in
// time.
func (t *track) due(r *Rule, x *sensors.Reading, passed lapse) event {
	c := r.judge(x, t.present)
	t.now = c
	// What proves a limit without being usable is the full scale on its side.
	if usable(x) || r.Kind.limited() && c == present && finite(x.Value) {
		t.value = x.Value
	}
	if c != unproved {
		t.present = c == present
	}
	switch t.state {
	case Normal, Returned:
		if !t.present {
			t.turn.stop()
		} else if t.turn.run(passed, r.OnDelay) {
			return raising
		}
	case Latched, LatchedAcknowledged:
		if t.present {
			return raising
		}
	case Unacknowledged, Acknowledged:
		if c != gone || passed.back {
			t.turn.stop()
		} else if t.turn.run(passed, r.OffDelay) {
			return clearing
		}
		if t.state == Acknowledged && r.ReAlarm > 0 && t.again.run(passed, r.ReAlarm) {
			return reAlarming
		}
	default: // no state at all: the table makes an alarm of it
		return raising
	}
	return nothing
}

// turned notes the change to state to.
func (t *track) turned(now time.Time, on event, to State) {
	if to == Unacknowledged && t.state != Acknowledged {
		t.seq++
	}
	if on == raising || on == clearing {
		t.turn.stop()
	}
	t.again.stop()
	t.state, t.since = to, now
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

func (t *timer) stop() { *t = timer{} }
