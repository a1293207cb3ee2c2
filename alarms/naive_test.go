package alarms

import (
	"math"
	"time"

	"charwarden/sensors"
)

// naive is a second implementation of one alarm, to compare the engine with.
// It has no timers and no remembered condition: it keeps every sample and
// looks back over all of them each time. Its state is three yes-or-noes.
type naive struct {
	Rule
	past    []sample
	active  bool // the alarm's condition stands, after the delays
	seen    bool // acknowledged
	kept    bool // latched
	called  bool // not normal
	ackedAt int  // samples before the acknowledgement
	seq     uint64
	since   time.Time
}

type sample struct {
	at     time.Time
	status sensors.Status
	value  float64
}

func (s sample) number() bool {
	return s.status == sensors.Good && math.Abs(s.value) <= math.MaxFloat64
}

// verdict of sample i alone: +1 proves the condition, -1 disproves it, 0 says
// nothing.
func (n *naive) verdict(i int) int {
	s := n.past[i]
	sign := 1.0
	own := sensors.ClippedHigh
	switch n.Kind {
	case Fault:
		if s.number() || s.status == sensors.Unzeroed {
			return -1
		}
		return 1
	case Zeroing:
		if s.number() {
			return -1
		}
		if s.status == sensors.Unzeroed {
			return 1
		}
		return 0
	case Below:
		sign, own = -1, sensors.ClippedLow
	}
	if s.status == own {
		return 1
	}
	if s.number() && sign*s.value >= sign*n.Limit {
		return 1
	}
	if s.number() && sign*s.value <= sign*n.Limit-n.Deadband {
		return -1
	}
	return 0
}

// proved is the newest verdict up to sample i.
func (n *naive) proved(i int) bool {
	for ; i >= 0; i-- {
		if v := n.verdict(i); v != 0 {
			return v > 0
		}
	}
	return false
}

// value is the newest that may be shown for the alarm.
func (n *naive) value() float64 {
	for i := len(n.past) - 1; i >= 0; i-- {
		s := n.past[i]
		full := n.Kind == Above && s.status == sensors.ClippedHigh || n.Kind == Below && s.status == sensors.ClippedLow
		if s.number() || full && math.Abs(s.value) <= math.MaxFloat64 {
			return s.value
		}
	}
	return math.NaN()
}

// absent says that sample i is itself a value that counts toward clearing.
func (n *naive) absent(i int) bool {
	if i > 0 && n.past[i].at.Before(n.past[i-1].at) {
		return false
	}
	usable := n.past[i].number() || n.verdict(i) != 0
	return usable && !n.proved(i)
}

// lasted adds up the time from sample i to the newest, without steps back.
func (n *naive) lasted(i int) (d time.Duration) {
	for i++; i < len(n.past); i++ {
		d += max(0, n.past[i].at.Sub(n.past[i-1].at))
	}
	return d
}

// run is the first sample of the unbroken row up to the newest for which is
// holds; -1 if there is none.
func (n *naive) run(is func(int) bool) int {
	first := -1
	for i := len(n.past) - 1; i >= 0 && is(i); i-- {
		first = i
	}
	return first
}

func (n *naive) state() State {
	switch {
	case n.active && n.seen:
		return Acknowledged
	case n.active:
		return Unacknowledged
	case n.kept && n.seen:
		return LatchedAcknowledged
	case n.kept:
		return Latched
	case n.called:
		return Returned
	}
	return Normal
}

func (n *naive) step(s sample) {
	n.past = append(n.past, s)
	before := n.state()
	if !n.active {
		first := n.run(n.proved)
		if first >= 0 && (n.kept || n.lasted(first) >= n.OnDelay) {
			n.active, n.seen, n.kept, n.called = true, false, false, true
			n.seq++
		}
	} else if first := n.run(n.absent); first >= 0 && n.lasted(first) >= n.OffDelay {
		n.active = false
		n.kept = n.Latch
		n.called = n.Latch || !n.seen
	} else if n.seen && n.ReAlarm > 0 && n.ackedAt < len(n.past) && n.lasted(n.ackedAt) >= n.ReAlarm {
		n.seen = false
	}
	if n.state() != before {
		n.since = s.at
	}
}

func (n *naive) acknowledge(now time.Time, seq uint64) error {
	switch {
	case !n.called:
		return ErrNormal
	case seq != 0 && seq != n.seq:
		return &SeqError{seq, n.seq}
	case n.seen:
		return ErrAcknowledged
	}
	n.seen, n.since, n.ackedAt = true, now, len(n.past)
	if !n.active && !n.kept {
		n.called, n.seen = false, false
	}
	return nil
}

func (n *naive) reset(now time.Time) error {
	switch {
	case n.active:
		return ErrPresent
	case !n.kept:
		return ErrNotLatched
	case !n.seen:
		return ErrUnacknowledged
	}
	if last := len(n.past) - 1; !n.past[last].number() && n.verdict(last) == 0 {
		return ErrUnproved
	}
	n.kept, n.called, n.seen, n.since = false, false, false, now
	return nil
}
