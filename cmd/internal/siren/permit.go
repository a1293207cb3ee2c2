package siren

import (
	"errors"
	"fmt"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// Why a reset of the run permit is refused, beside StandsError; for errors.Is.
var (
	ErrNotTripped = errors.New("siren: run permit: it is not tripped: there is nothing to reset")
	ErrUnjudged   = errors.New("siren: run permit: not reset: nothing was judged in the last 2 s, so nobody knows what stands: wait for the watch to run again")
)

// StandsError refuses a reset: an alarm that stops the engine still stands.
type StandsError struct {
	Alarm string
	State alarms.State
}

func (e *StandsError) Error() string {
	first := map[alarms.State]string{
		alarms.Returned: "acknowledge it", alarms.Latched: "acknowledge and reset it", alarms.LatchedAcknowledged: "reset it",
		alarms.Shelved: "unshelve it", alarms.OutOfService: "return it to service",
	}[e.State]
	if first == "" {
		first = "its condition is still there; remove the cause"
	}
	return fmt.Sprintf("siren: run permit: not reset: %s is %v: %s first", e.Alarm, e.State, first)
}

// freshFor is how old the facts of a reset may be.
const freshFor = 2 * time.Second

// standing is the speed below which the engine is known to stand, rpm.
const standing = 1.0

// Permit decides whether the engine may run. It does no I/O: the loop makes one
// edge on the permit's Pulse at the end of each tick in which it is held. It
// belongs to the loop. The zero value is not held: nothing has been judged yet.
//
// It trips when an alarm whose rule Stops is unacknowledged or acknowledged, and
// stays tripped until Reset, whatever becomes of the alarm. Apart from that it
// is withheld from an engine that stands while a channel is at fault that such a
// rule judges by: the rule could not stop the engine. A running engine is not
// stopped by a fault. What test gas raised changes nothing.
type Permit struct {
	tripped bool
	cause   string // the alarm that tripped it
	fault   string // the fault alarm that withholds it; "": none
	blocks  string // an alarm that Stops and is not normal; "": none
	state   alarms.State
	judged  time.Time // the last Step; zero: none
	why     string
}

// Stands reports whether the engine is known to stand: by its tacho, as long as
// the phase does not contradict that (a tacho that has lost its pulses says 0),
// or, where none is fitted, by the phase. The phase is to be the inferred one;
// known is false while it means nothing yet. A tacho that is fitted and has no
// value tells nothing.
func Stands(speed sensors.Reading, fitted bool, ph phase.Phase, known bool) bool {
	turns := known && (ph == phase.Warming || ph == phase.Running)
	if !fitted {
		return known && !turns
	}
	return speed.Status == sensors.Good && speed.Value < standing && !turns
}

// Step judges every alarm; stands is whether the engine is known to stand.
func (p *Permit) Step(now time.Time, as []alarms.Alarm, stands bool) {
	p.judged = now
	p.blocks, p.state = "", alarms.Normal
	var trip *alarms.Alarm
	fault := ""
	for i := range as {
		a := &as[i]
		if a.Rule.Stops {
			if p.blocks == "" && blocks(a.State) {
				p.blocks, p.state = a.Rule.Name, a.State
			}
			if trips(a) && (trip == nil || a.Order < trip.Order) { // first out
				trip = a
			}
		}
		if fault == "" && a.Rule.Kind == alarms.Fault && a.State.Standing() && !a.Test && stopsBy(as, a.Rule.Channel) {
			fault = a.Rule.Name
		}
	}
	if trip != nil && !p.tripped {
		p.tripped, p.cause = true, trip.Rule.Name
		p.say()
	}
	if (fault == "" || stands || p.fault != "") && fault != p.fault {
		p.fault = fault
		p.say()
	}
}

// trips reports whether an alarm that Stops takes the permit. What is no state
// at all is an alarm that nobody has seen.
func trips(a *alarms.Alarm) bool {
	switch a.State {
	case alarms.Returned, alarms.Latched, alarms.LatchedAcknowledged:
		return false
	}
	return a.State.Standing() && !a.Test
}

// blocks reports whether an alarm that Stops refuses a reset. One that a person
// put aside does too, lest a reset be had by putting the cause aside; one
// suppressed by design was normal before.
func blocks(s alarms.State) bool { return s != alarms.Normal && s != alarms.Suppressed }

// stopsBy reports whether a rule that Stops judges by the channel.
func stopsBy(as []alarms.Alarm, channel string) bool {
	for i := range as {
		if r := as[i].Rule; r.Stops && (r.Channel == channel || r.Other == channel) {
			return true
		}
	}
	return false
}

func (p *Permit) say() {
	switch {
	case p.tripped:
		p.why = "tripped by " + p.cause + ": lost until somebody resets it at the rig"
	case p.fault != "":
		p.why = "withheld while " + p.fault + " stands: an alarm that stops the engine would be blind"
	default:
		p.why = ""
	}
}

// Held reports whether the engine may run and, if not, why.
func (p *Permit) Held() (held bool, why string) {
	if p.judged.IsZero() {
		return false, "nothing has been judged yet"
	}
	return p.why == "", p.why
}

// Tripped reports whether the permit waits for a reset.
func (p *Permit) Tripped() bool { return p.tripped }

// Reset ends a trip. It is refused with ErrNotTripped, with a *StandsError while
// an alarm that Stops stands or is put aside, and with ErrUnjudged if the last
// Step is older than 2 s. It restarts nothing. Only a person at the rig may call
// for it, never a phone.
func (p *Permit) Reset(now time.Time) error {
	switch {
	case !p.tripped:
		return ErrNotTripped
	case p.judged.IsZero() || now.Sub(p.judged) > freshFor:
		return ErrUnjudged
	case p.blocks != "":
		return &StandsError{p.blocks, p.state}
	}
	p.tripped, p.cause = false, ""
	p.say()
	return nil
}

// Kept is what must outlive the process about a Permit.
type Kept struct {
	Tripped bool   `json:"tripped"`
	Cause   string `json:"cause,omitempty"`
}

// Keep returns what Restore needs.
func (p *Permit) Keep() Kept { return Kept{p.tripped, p.cause} }

// Restore takes up a trip from before a restart. It never ends one.
func (p *Permit) Restore(k Kept) {
	if !k.Tripped || p.tripped {
		return
	}
	if k.Cause == "" {
		k.Cause = "an alarm before the restart"
	}
	p.tripped, p.cause = true, k.Cause
	p.say()
}
