package alarms

import (
	"errors"
	"fmt"
	"strings"
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

// wish sends what a person asks for through the table. before may refuse it.
func (e *Engine) wish(now time.Time, name string, on event, before func(*Rule, *track) error) (Transition, error) {
	var change Transition
	i, ok := e.byName[name]
	err := error(ErrUnknownAlarm)
	if ok {
		err = before(&e.rules[i], &e.tracks[i])
	}
	if err == nil {
		change, err = e.turn(now, i, on)
	}
	if err != nil {
		return Transition{}, fmt.Errorf("alarms: %s: %w", name, err)
	}
	return change, nil
}

// Acknowledge notes that a person has seen occurrence seq of the alarm; seq 0
// is whatever stands, for a person who stands before it. While it
// stands, another occurrence than the newest is refused with a *SeqError; the
// other refusals are ErrNormal, ErrAcknowledged, ErrHidden and ErrUnknownAlarm.
func (e *Engine) Acknowledge(now time.Time, name string, seq uint64) (Transition, error) {
	return e.wish(now, name, acknowledging, func(_ *Rule, t *track) error {
		if t.state.Standing() && seq != 0 && seq != t.seq {
			return &SeqError{seq, t.seq}
		}
		return nil
	})
}

// Reset releases a latched alarm that was acknowledged and whose condition the
// newest reading proves gone. It refuses with ErrUnacknowledged, ErrPresent,
// ErrUnproved, ErrNotLatched, ErrHidden or ErrUnknownAlarm. Only a person at
// the rig may call for it.
func (e *Engine) Reset(now time.Time, name string) (Transition, error) {
	return e.wish(now, name, resetting, func(_ *Rule, t *track) error {
		if t.state == LatchedAcknowledged && t.now != gone {
			return ErrUnproved
		}
		return nil
	})
}

// Shelve puts an alarm aside for d, at most MaxShelf. It refuses with ErrNever,
// ErrLatched, ErrHidden or ErrUnknownAlarm, or because of d. Only a person at
// the rig may call for it.
func (e *Engine) Shelve(now time.Time, name string, d time.Duration) (Transition, error) {
	return e.wish(now, name, shelving, func(r *Rule, t *track) error {
		switch {
		case r.Never:
			return ErrNever
		case d <= 0 || d > MaxShelf:
			return fmt.Errorf("%v: an alarm is shelved for more than 0 and at most %v", d, MaxShelf)
		}
		if _, err := next(t.state, shelving, facts{}); err != nil {
			return err
		}
		t.left = d
		return nil
	})
}

// Unshelve takes a shelved alarm back before its time is up. It refuses with
// ErrNotShelved or ErrUnknownAlarm.
func (e *Engine) Unshelve(now time.Time, name string) (Transition, error) {
	return e.wish(now, name, unshelving, func(*Rule, *track) error { return nil })
}

// Remove takes an alarm out of service until Return. It refuses with ErrNever,
// ErrHidden or ErrUnknownAlarm, or for want of a reason. Only a person at the
// rig may call for it.
func (e *Engine) Remove(now time.Time, name, reason string) (Transition, error) {
	return e.wish(now, name, removing, func(r *Rule, t *track) error {
		switch {
		case r.Never:
			return ErrNever
		case strings.TrimSpace(reason) == "":
			return errors.New("a reason is wanted, for whoever finds it out of service")
		}
		if _, err := next(t.state, removing, facts{}); err != nil {
			return err
		}
		t.reason = reason
		return nil
	})
}

// Return puts an alarm back into service. It refuses with ErrInService or
// ErrUnknownAlarm.
func (e *Engine) Return(now time.Time, name string) (Transition, error) {
	return e.wish(now, name, returning, func(*Rule, *track) error { return nil })
}
