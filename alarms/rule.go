package alarms

import (
	"fmt"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// Kind says what a rule watches for.
type Kind uint8

const (
	Above     Kind = iota // the value is at Limit or above
	Below                 // the value is at Limit or below
	Fault                 // the channel has no usable value
	Zeroing               // the channel has no zero (status unzeroed)
	Rate                  // over Window it rises by Limit a minute or faster
	Projected             // going on as over Window, it is at Limit or above within Within
	Deviation             // it differs from Other by Limit or more, to either side
	Exceeds               // it is above Other by Limit or more
	SlowFall              // over Window it fell by Limit or less
	Frozen                // over Window it moved by Limit or less, while Other moved by OtherMoved or more
	kinds
)

var kindWords = [kinds]string{
	"above", "below", "fault", "unzeroed", "rate", "projected", "deviation", "exceeds", "slow_fall", "frozen",
}

// String returns the word that a configuration file uses.
func (k Kind) String() string {
	if k >= kinds {
		return fmt.Sprintf("kind(%d)", uint8(k))
	}
	return kindWords[k]
}

// ParseKind is the inverse of String.
func ParseKind(word string) (Kind, error) {
	for i, w := range kindWords {
		if w == word {
			return Kind(i), nil
		}
	}
	return 0, fmt.Errorf("kind: %q: unknown word (allowed: %v)", word, kindWords)
}

// Limited reports whether the kind has a Limit: all but Fault and Zeroing.
func (k Kind) Limited() bool { return k < kinds && k != Fault && k != Zeroing }

// compares reports whether the kind looks at a second channel.
func (k Kind) compares() bool { return k == Deviation || k == Exceeds || k == Frozen }

// windowed reports whether the kind looks back over Window.
func (k Kind) windowed() bool {
	return k == Rate || k == Projected || k == SlowFall || k == Frozen
}

// Hazard chooses the sound of a rule of priority alarm or above.
type Hazard uint8

const (
	NoHazard Hazard = iota
	Gas             // carbon monoxide in the air
	Fire            // something burns, or is about to, that must not
)

// While is what must hold for a rule to watch: one of Phases, or a channel
// above or below Limit. It is proved not to hold only by a phase that is not
// among them, or by a good value on the other side of Limit by more than
// Deadband; a channel without a value suppresses nothing.
type While struct {
	Phases   []phase.Phase
	Channel  string
	Kind     Kind // Above or Below
	Limit    float64
	Deadband float64
}

// Rule is one alarm as data. The zero value is no rule: New refuses it.
//
// An Above rule's condition begins when the value is at Limit or greater and
// ends when it is Limit - Deadband or less; between the two it stays what it
// was. Below is the mirror image, and so are SlowFall and Frozen; the others
// are as Above with what they watch for in place of the value.
type Rule struct {
	Name     string // channel + "_" + what: "wall_near_stop"; a-z, 0-9, _
	Channel  string
	Kind     Kind
	Priority Priority
	Limit    float64       // in the channel's unit, of Rate per minute; 0 for kinds that have none
	Deadband float64       // the condition ends only this far past the limit, in the unit of Limit
	OnDelay  time.Duration // the condition holds this long before the alarm comes; 0 = at once
	OffDelay time.Duration // the condition is proved gone this long before it clears; 0 = at once
	ReAlarm  time.Duration // acknowledged and still there this long: calls again; 0 = never
	Latch    bool          // stays until reset after the condition is gone
	Stops    bool          // drops the engine's run permit while it stands; needs Latch
	Never    bool          // can be neither shelved, suppressed nor taken out of service
	Hazard   Hazard
	Means    string // for the person: what it means
	DoFirst  string // for the person: what to do first

	Other      string        // the channel that Deviation, Exceeds and Frozen compare with
	OtherMoved float64       // Frozen: in Other's unit
	Window     time.Duration // Rate, Projected, SlowFall, Frozen
	Within     time.Duration // Projected

	While []While // suppressed by design unless all of them hold
	Cause string  // Fault: what takes the channel down together with others, its bus; "" = nothing
}

// Unit returns the unit of Limit, Deadband and an alarm's Value, where the
// channel measures q; "" for a kind without a limit.
func (r *Rule) Unit(q sensors.Quantity) string {
	switch {
	case !r.Kind.Limited():
		return ""
	case r.Kind == Rate:
		return q.Unit() + "/min"
	}
	return q.Unit()
}

// Words say what kind of figure the alarm's value is: "wall_near" or "rise of
// wall_near".
func (r *Rule) Words() string {
	switch r.Kind {
	case Rate:
		return "rise of " + r.Channel
	case Deviation:
		return "distance of " + r.Channel + " from " + r.Other
	case Exceeds:
		return "lead of " + r.Channel + " over " + r.Other
	case SlowFall:
		return fmt.Sprintf("fall of %s in %v", r.Channel, r.Window)
	case Frozen:
		return fmt.Sprintf("movement of %s in %v", r.Channel, r.Window)
	}
	return r.Channel
}
