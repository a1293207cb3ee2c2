package siren

import (
	"time"

	"charwarden/alarms"
)

const (
	// silence is how long a silenced alarm keeps quiet.
	silence = 2 * time.Minute
	// silenceEvacuate is the same for evacuate: a group a minute is the least that
	// a carbon monoxide alarm may sound (temporal-4 after its first 4 min; alarm
	// manuals, second hand).
	silenceEvacuate = time.Minute
	// chirpAgain is how often an alarm without a signal of its own chirps: alarms
	// for homes sound again about 4 min after they were silenced (one maker's
	// manual).
	chirpAgain = 4 * time.Minute
)

// call is what one alarm asks of the horn.
type call struct {
	rule   *alarms.Rule
	sound  Pattern   // Temporal4, Temporal3, Chirp for one that repeats, or Off
	silent time.Time // silenced until then; zero: not
	again  time.Time // of a Chirp: when it is due
}

// follow takes the alarm as it is now.
func (c *call) follow(a *alarms.Alarm, now time.Time) {
	if c.rule != a.Rule {
		*c = call{rule: a.Rule}
	}
	sound := soundOf(a)
	if sound == Chirp && c.sound != Chirp {
		c.again = now
	}
	c.sound = sound
}

// calls reports whether the call wants to be heard now.
func (c *call) calls(now time.Time) bool { return c.sound != Off && !c.silent.After(now) }

// hush silences the call for its time.
func (c *call) hush(now time.Time) {
	c.silent = now.Add(silence)
	if c.rule.Priority >= alarms.Evacuate {
		c.silent = now.Add(silenceEvacuate)
	}
}

// soundOf is the sound that an alarm asks for as long as it is as it is.
// Priority alarm asks for it while it is unacknowledged, evacuate until it is
// acknowledged even if its condition has gone. What is no state at all is an
// alarm that nobody has seen. An alarm without a hazard chirps; an evacuate
// without one has the evacuation signal.
func soundOf(a *alarms.Alarm) Pattern {
	evacuate := a.Rule.Priority >= alarms.Evacuate
	switch s := a.State; {
	case a.Rule.Priority < alarms.High, !s.Standing(), s == alarms.Acknowledged, s == alarms.LatchedAcknowledged:
		return Off
	case !evacuate && (s == alarms.Returned || s == alarms.Latched):
		return Off
	}
	switch {
	case a.Rule.Hazard == alarms.Gas:
		return Temporal4
	case a.Rule.Hazard == alarms.Fire || evacuate:
		return Temporal3
	}
	return Chirp
}
