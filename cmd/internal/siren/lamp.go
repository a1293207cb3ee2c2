package siren

import (
	"time"

	"charwarden/alarms"
)

// watchFor is how long after the last tick the green lamp still says that
// somebody is watching.
const watchFor = 2 * time.Second

// lampOf is how a lamp shows an alarm in state s: after the state diagram of
// ISA-18.2, fast flash for what calls (unacknowledged, latched), slow flash for
// what went by itself and was not seen, steady for what was seen. What cannot
// call (shelved, suppressed, out of service) is listed elsewhere.
func lampOf(s alarms.State) Pattern {
	switch s {
	case alarms.Normal, alarms.Shelved, alarms.Suppressed, alarms.OutOfService:
		return Off
	case alarms.Acknowledged, alarms.LatchedAcknowledged:
		return Steady
	case alarms.Returned:
		return Slow
	}
	return Fast
}

// lampOrder is the order in which a lamp that stands for several alarms shows
// them: whatever still waits for somebody first.
var lampOrder = [...]Pattern{Fast, Slow, Steady, Off}

// urgent returns whichever of two patterns a lamp shows first.
func urgent(a, b Pattern) Pattern {
	for _, p := range lampOrder {
		if a == p || b == p {
			return p
		}
	}
	return Fast
}

// Colours after IEC 60073: red is danger, yellow a warning or an abnormal
// state, green normal.
//
// show sets red to the most urgent of priority alarm and evacuate, yellow to
// that of caution and notice. Green is for a rig of which everything is watched
// and nothing stands: what a person has shelved or taken out of service makes
// no other lamp light, but withholds green.
func (s *Siren) show(as []alarms.Alarm, now time.Time) {
	red, yellow := Off, Off
	s.stands = false
	for i := range as {
		state := as[i].State
		if state.Standing() || state == alarms.Shelved || state == alarms.OutOfService {
			s.stands = true
		}
		if as[i].Rule.Priority >= alarms.High {
			red = urgent(red, lampOf(state))
		} else {
			yellow = urgent(yellow, lampOf(state))
		}
	}
	s.red.play(red, now)
	s.yellow.play(yellow, now)
	s.watched = now
}
