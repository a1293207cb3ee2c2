package alarms

import (
	"fmt"
	"time"
)

// SeqError says that an acknowledgement was meant for another occurrence of
// the alarm than the newest: the person has not seen this one.
type SeqError struct {
	Asked, Newest uint64
}

func (e *SeqError) Error() string {
	return fmt.Sprintf("occurrence %d is not the newest: look at occurrence %d and acknowledge that", e.Asked, e.Newest)
}

// Acknowledge notes that a person has seen occurrence seq of the alarm; seq 0
// is whatever stands, for a person who stands before it. While it
// stands, another occurrence than the newest is refused with a *SeqError; the
// other refusals are ErrNormal, ErrAcknowledged and ErrUnknownAlarm.
func (e *Engine) Acknowledge(now time.Time, name string, seq uint64) (Transition, error) {
	i, ok := e.byName[name]
	if !ok {
		return Transition{}, fmt.Errorf("alarms: acknowledge %q: %w", name, ErrUnknownAlarm)
	}
	if t := &e.tracks[i]; t.state.Standing() && seq != 0 && seq != t.seq {
		return Transition{}, fmt.Errorf("alarms: acknowledge %s: %w", name, &SeqError{seq, t.seq})
	}
	change, err := e.turn(now, i, acknowledging)
	if err != nil {
		return Transition{}, fmt.Errorf("alarms: acknowledge %s: %w", name, err)
	}
	return change, nil
}

// Reset releases a latched alarm that was acknowledged and whose condition the
// newest reading proves gone. It refuses with ErrUnacknowledged, ErrPresent,
// ErrUnproved, ErrNotLatched or ErrUnknownAlarm. Only a person at the rig may
// call for it.
func (e *Engine) Reset(now time.Time, name string) (Transition, error) {
	i, ok := e.byName[name]
	if !ok {
		return Transition{}, fmt.Errorf("alarms: reset %q: %w", name, ErrUnknownAlarm)
	}
	if t := &e.tracks[i]; t.state == LatchedAcknowledged && t.now != gone {
		return Transition{}, fmt.Errorf("alarms: reset %s: %w", name, ErrUnproved)
	}
	change, err := e.turn(now, i, resetting)
	if err != nil {
		return Transition{}, fmt.Errorf("alarms: reset %s: %w", name, err)
	}
	return change, nil
}
