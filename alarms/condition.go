package alarms

import (
	"math"
	"slices"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// condition is what the readings say about a rule. The zero value is
// unproved: nothing was read yet.
type condition uint8

const (
	unproved condition = iota // the readings say nothing: neither raise nor clear
	present
	gone
)

// usable reports whether the value of x is one. A Good reading without a
// finite number is a defect of whoever made it; it counts as a fault.
func usable(x *sensors.Reading) bool {
	return x.Status == sensors.Good && !math.IsNaN(x.Value) && !math.IsInf(x.Value, 0)
}

// evidence is what a rule is judged by in one step.
type evidence struct {
	now   time.Time
	own   *sensors.Reading
	other *sensors.Reading // of kinds that compare; else nil
	past  *history         // of windowed kinds; else nil
	was   bool             // the last proved condition, which a value inside the deadband leaves as it is
}

// judge gives the three-valued condition, and the figure that it was judged by
// (NaN where there is none). A channel that is not Good proves nothing, with
// one exception that points the safe way: clipped on the dangerous side of a
// limit, whatever the limit, is past it.
func (r *Rule) judge(e evidence) (condition, float64) {
	x := e.own
	switch r.Kind {
	case Fault:
		switch {
		case usable(x):
			return gone, x.Value
		case x.Status == sensors.Unzeroed:
			return gone, math.NaN()
		}
		return present, math.NaN()
	case Zeroing:
		switch {
		case x.Status == sensors.Unzeroed:
			return present, math.NaN()
		case usable(x):
			return gone, x.Value
		}
		return unproved, math.NaN()
	case Above, Projected:
		if x.Status == sensors.ClippedHigh {
			return present, x.Value
		}
	case Below:
		if x.Status == sensors.ClippedLow {
			return present, x.Value
		}
	}
	if e.other != nil && !usable(e.other) {
		return unproved, math.NaN()
	}
	if x.Status == sensors.ClippedHigh && finite(x.Value) && (r.Kind == Exceeds || r.Kind == Deviation) {
		if c, v := r.measure(e); c == present {
			return c, v
		}
	}
	if !usable(x) {
		return unproved, math.NaN()
	}
	if e.past != nil {
		other := math.NaN()
		if e.other != nil {
			other = e.other.Value
		}
		e.past.note(e.now, x.Value, other, r.Window)
	}
	return r.measure(e)
}

// measure judges usable values.
func (r *Rule) measure(e evidence) (condition, float64) {
	v, full := e.own.Value, e.past == nil || e.past.full(e.now, r.Window)
	switch r.Kind {
	case Above:
		c := r.over(v, e.was)
		if c == gone && e.own.AtLeast { // it may be more
			c = unproved
		}
		return c, v
	case Below:
		c := r.under(v, e.was)
		if c == present && e.own.AtLeast {
			c = unproved
		}
		return c, v
	case Deviation:
		v = math.Abs(v - e.other.Value)
		return r.over(v, e.was), v
	case Exceeds:
		v -= e.other.Value
		return r.over(v, e.was), v
	case Projected: // at the limit already needs no projection
		ahead := v
		if full {
			ahead += max(0, e.past.slope()) * r.Within.Seconds()
		}
		if c := r.over(ahead, e.was); full || c == present {
			return c, v
		}
		return unproved, v
	}
	if !full {
		return unproved, math.NaN()
	}
	switch r.Kind {
	case Rate:
		v = e.past.slope() * 60
		return r.over(v, e.was), v
	case SlowFall:
		v = e.past.own[e.past.head] - v
		return r.under(v, e.was), v
	default: // Frozen
		own, other := e.past.spans()
		c := r.under(own, e.was)
		if c == present && other < r.OtherMoved { // nothing moved, so nothing is proved
			c = unproved
		}
		return c, own
	}
}

// over holds v against a limit that is passed upwards; at the limit is past it.
func (r *Rule) over(v float64, was bool) condition {
	return beyond(v >= r.Limit, v <= r.Limit-r.Deadband, was)
}

// under is the mirror image.
func (r *Rule) under(v float64, was bool) condition {
	return beyond(v <= r.Limit, v >= r.Limit+r.Deadband, was)
}

func beyond(past, back, was bool) condition {
	if past || was && !back {
		return present
	}
	return gone
}

// fails reports whether w is proved not to hold. was is whether it failed in
// the last step, which a value inside the deadband leaves as it is.
func (w *While) fails(ph phase.Phase, x *sensors.Reading, was bool) bool {
	if len(w.Phases) > 0 {
		return ph != phase.Unknown && !slices.Contains(w.Phases, ph)
	}
	if !usable(x) || x.AtLeast && w.Kind == Above { // it may be more
		return false
	}
	v, limit := x.Value, w.Limit
	if w.Kind == Below {
		v, limit = -v, -limit
	}
	// Once it fails it must come back to the limit; once it holds it must leave
	// by more than the deadband.
	if was {
		return v < limit
	}
	return v < limit-w.Deadband
}
