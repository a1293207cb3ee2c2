package siren

import (
	"math"
	"time"
)

// Never is the time of an edge that does not come.
const Never time.Duration = math.MaxInt64

// Pattern is how an output goes on and off: groups of Pulses, each On long and
// Off apart, with Pause between the end of a group's last pulse and the next
// group. Pause 0 is one group only. The zero value is always off.
type Pattern struct {
	On, Off time.Duration
	Pulses  int
	Pause   time.Duration
}

const ms = time.Millisecond

// The sounds. Temporal-3 is the evacuation signal of ISO 8201; its pause takes
// the place of the third gap, so that it comes round every 4 s. Temporal-4 is
// the signal of carbon monoxide alarms (NFPA 72). The chirp is our own.
//
// The lamps' flashes have the rates of IEC 60073 (normal 1.4 to 2.8 Hz, slow
// 0.4 to 0.8 Hz) and are on for half of the time.
var (
	Off       = Pattern{}
	Temporal4 = Pattern{On: 100 * ms, Off: 100 * ms, Pulses: 4, Pause: 5000 * ms}
	Temporal3 = Pattern{On: 500 * ms, Off: 500 * ms, Pulses: 3, Pause: 1500 * ms}
	Chirp     = Pattern{On: 150 * ms, Pulses: 1}
	Fast      = Pattern{On: 250 * ms, Pulses: 1, Pause: 250 * ms} // 2 Hz
	Slow      = Pattern{On: time.Second, Pulses: 1, Pause: time.Second}
	Steady    = Pattern{On: Never, Pulses: 1}
)

// Group is how long one group lasts, from its first edge to its last.
func (p Pattern) Group() time.Duration {
	return time.Duration(p.Pulses)*p.On + time.Duration(max(p.Pulses-1, 0))*p.Off
}

// At returns whether the output is on when the pattern has run for t, and when
// in the same time its next edge comes: later than t, or Never. At an edge, it
// is what the edge makes it. A negative t counts as 0.
func (p Pattern) At(t time.Duration) (on bool, next time.Duration) {
	if p.Pulses == 0 {
		return false, Never
	}
	t = max(t, 0)
	group, start := p.Group(), time.Duration(0)
	if p.Pause > 0 {
		start = t - t%(group+p.Pause)
	}
	switch into := t - start; {
	case into < group:
		pulse := into / (p.On + p.Off) * (p.On + p.Off)
		if into-pulse < p.On {
			return true, start + pulse + p.On
		}
		return false, start + pulse + p.On + p.Off
	case p.Pause > 0:
		return false, start + group + p.Pause
	}
	return false, Never
}

// voice is a pattern that plays since a time.
type voice struct {
	Pattern
	since time.Time
}

// play begins p, unless it plays already.
func (v *voice) play(p Pattern, now time.Time) {
	if v.Pattern != p {
		*v = voice{p, now}
	}
}

// at is Pattern.At in time; an edge that never comes has the zero time.
func (v *voice) at(now time.Time) (on bool, next time.Time) {
	on, edge := v.At(now.Sub(v.since))
	if edge != Never {
		next = v.since.Add(edge)
	}
	return on, next
}

// sooner returns the earlier of two times; the zero time is none.
func sooner(a, b time.Time) time.Time {
	if a.IsZero() || !b.IsZero() && b.Before(a) {
		return b
	}
	return a
}
