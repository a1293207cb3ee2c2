package alarms

import (
	"fmt"
	"time"
)

// Kept is what must outlive the process about one alarm that is not normal.
type Kept struct {
	Name   string        `json:"name"`
	State  string        `json:"state"`
	Seq    uint64        `json:"seq"`
	Order  uint64        `json:"order"`
	Since  time.Time     `json:"since"`
	Active bool          `json:"active,omitempty"` // the condition stood, after its delays
	Hidden uint64        `json:"hidden,omitempty"`
	Was    bool          `json:"was,omitempty"`
	Left   time.Duration `json:"left_ns,omitempty"`
	Reason string        `json:"reason,omitempty"`
}

// Keep appends to into[:0] what Restore needs: every alarm that has occurred
// or is not normal.
func (e *Engine) Keep(into []Kept) []Kept {
	into = into[:0]
	for i := range e.rules {
		t := &e.tracks[i]
		if t.state == Normal && t.seq == 0 {
			continue
		}
		into = append(into, Kept{
			Name: e.rules[i].Name, State: t.state.String(), Seq: t.seq, Order: t.order, Since: t.since,
			Active: t.active, Hidden: t.hidden, Was: t.was, Left: max(0, t.left), Reason: t.reason,
		})
	}
	return into
}

// Restore sets the alarms to what was kept before a restart; only before the
// first Step. What stood stands, until its condition is proved gone; what a
// bump test had raised counts as real. It returns a transition for each alarm
// that stands again, and an error for each that cannot be restored. What is
// suppressed by design is judged anew.
func (e *Engine) Restore(kept []Kept) (stands []Transition, errs []error) {
	for _, k := range kept {
		i, known := e.byName[k.Name]
		state, err := ParseState(k.State)
		switch {
		case err != nil:
			state = Unacknowledged // unknown is alarm
			errs = append(errs, fmt.Errorf("alarms: restore %s: %w", k.Name, err))
		case state == Suppressed:
			state = Normal
		}
		if !known {
			if state.Standing() {
				errs = append(errs, fmt.Errorf("alarms: restore %s: it was %v: %w", k.Name, state, ErrUnknownAlarm))
			}
			continue
		}
		t := &e.tracks[i]
		t.state, t.seq, t.order, t.since = state, k.Seq, k.Order, k.Since
		t.active = state == Unacknowledged || state == Acknowledged ||
			k.Active && k.State != Suppressed.String()
		t.present = t.active
		t.hidden, t.was, t.reason = k.Hidden, k.Was, k.Reason
		t.left = min(max(k.Left, 0), MaxShelf)
		if e.rules[i].Never && state.Hidden() { // the rule has changed since
			t.state = Normal
		}
		e.order = max(e.order, k.Order)
		if t.state.Standing() {
			stands = append(stands, Transition{At: k.Since, From: t.state, Restored: true, Alarm: e.alarm(i)})
		}
	}
	return stands, errs
}
