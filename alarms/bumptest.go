package alarms

import (
	"fmt"
	"time"
)

// StartTest marks what a channel raises from now on as raised by test gas,
// until EndTest. It is refused while an alarm of the channel stands: nobody
// could tell the two apart.
func (e *Engine) StartTest(channel string) error {
	for i := range e.rules {
		if r := &e.rules[i]; r.Channel == channel && e.tracks[i].state.Standing() {
			return fmt.Errorf("alarms: test of %s: %s stands (%v): acknowledge and reset it first", channel, r.Name, e.tracks[i].state)
		}
	}
	for c, name := range e.names {
		if name == channel {
			e.testing[c] = true
			return nil
		}
	}
	return fmt.Errorf("alarms: test of %s: no such channel", channel)
}

// EndTest ends the test of a channel. What it raised goes back to normal,
// latched or not; what is still there is from now on a new, real occurrence.
func (e *Engine) EndTest(now time.Time, channel string, into []Transition) []Transition {
	for i := range e.rules {
		c := e.tied[i].own
		if e.names[c] != channel {
			continue
		}
		e.testing[c] = false
		t := &e.tracks[i]
		if !t.test {
			continue
		}
		if t.state.Hidden() { // put aside during the test: only what is still there is real
			t.test, t.was = false, t.active
			continue
		}
		if change, err := e.turn(now, i, testEnding); err == nil {
			into = append(into, change)
		}
	}
	return into
}
