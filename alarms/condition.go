package alarms

import (
	"math"

	"charwarden/sensors"
)

// condition is what one reading says about a rule. The zero value is
// unproved: nothing was read yet.
type condition uint8

const (
	unproved condition = iota // the reading says nothing: neither raises nor clears
	present
	gone
)

// usable reports whether the value of x is one. A Good reading without a
// finite number is a defect of whoever made it; it counts as a fault.
func usable(x *sensors.Reading) bool {
	return x.Status == sensors.Good && !math.IsNaN(x.Value) && !math.IsInf(x.Value, 0)
}

// judge holds x against the rule. was is the last proved condition, which a
// value inside the deadband leaves as it is.
func (r *Rule) judge(x *sensors.Reading, was bool) condition {
	switch r.Kind {
	case Above:
		return judgeLimit(x, sensors.ClippedHigh, was, x.Value >= r.Limit, x.Value <= r.Limit-r.Deadband)
	case Below:
		return judgeLimit(x, sensors.ClippedLow, was, x.Value <= r.Limit, x.Value >= r.Limit+r.Deadband)
	case Zeroing:
		switch {
		case x.Status == sensors.Unzeroed:
			return present
		case usable(x):
			return gone
		}
		return unproved
	default: // Fault
		if usable(x) || x.Status == sensors.Unzeroed {
			return gone
		}
		return present
	}
}

// judgeLimit gives the three-valued condition of a limit; a value at the limit
// is past it. clipped is the
// status that means "at least full scale" on the limit's own side, whatever
// the limit; clipped on the other side proves nothing, because a channel that
// is not Good never clears an alarm.
func judgeLimit(x *sensors.Reading, clipped sensors.Status, was, past, back bool) condition {
	switch {
	case x.Status == clipped:
		return present
	case !usable(x):
		return unproved
	case past:
		return present
	case back:
		return gone
	case was:
		return present
	}
	return gone
}
