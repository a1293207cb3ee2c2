package alarms

import (
	"math"
	"strings"
	"time"
)

// naive is a second implementation of one alarm, to compare the engine with.
// It has no timers: it keeps every sample, judges each by itself, and looks
// back over all of them each time. Its state is a few yes-or-noes.
type naive struct {
	Rule
	*world
	past   []look
	noted  []int // windowed: the samples that count, since the last break
	before bool  // what was proved before the first sample
	from   int   // the on-delay counts from this sample on

	active  bool  // the alarm's condition stands, after the delays
	seen    bool  // acknowledged
	kept    bool  // latched
	called  bool  // not normal
	aside   State // Shelved, Suppressed or OutOfService; Normal = none of them
	was     bool  // something to remember when it comes back
	test    bool
	hidden  uint64
	shelf   time.Duration
	shelvAt int // newest sample when it was shelved
	ackedAt int // samples before the acknowledgement
	reason  string
	seq     uint64
	order   uint64
	since   time.Time
}

// world is what the alarms of one engine have in common.
type world struct {
	order   uint64
	testing map[string]bool
}

func (n *naive) state() State {
	switch {
	case n.aside != Normal:
		return n.aside
	case n.active && n.called && n.seen:
		return Acknowledged
	case n.active && n.called:
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

// lasted adds up the time from sample i to the newest, without steps back.
func (n *naive) lasted(i int) (d time.Duration) {
	for i = max(i, 0) + 1; i < len(n.past); i++ {
		d += n.past[i].passed
	}
	return d
}

// run is the first sample of the unbroken row up to the newest for which is
// holds; -1 if there is none.
func (n *naive) run(from int, is func(int) bool) int {
	first := -1
	for i := len(n.past) - 1; i >= from && is(i); i-- {
		first = i
	}
	return first
}

// due says that the condition has stood for the on-delay: without a break, and
// of a fault for so much longer than the values between, which count two thirds.
func (n *naive) due() bool {
	if n.Kind != Fault {
		first := n.run(n.from, func(i int) bool { return n.past[i].proved })
		return first >= 0 && n.lasted(first) >= n.OnDelay
	}
	stood, there := time.Duration(0), false
	for i := n.from; i < len(n.past); i++ {
		switch p := n.past[i]; {
		case p.proved && there:
			stood += p.passed
		case p.proved:
			there = true
		default:
			stood -= p.passed / 3 * 2
			there = stood > 0
		}
		stood = max(0, stood)
	}
	return there && stood >= n.OnDelay && n.past[len(n.past)-1].proved
}

// absent says that sample i is itself a value that counts toward clearing.
func (n *naive) absent(i int) bool {
	return n.gone(i) && (i == 0 || !n.past[i].at.Before(n.past[i-1].at))
}

func (n *naive) step(s *sample) {
	state := n.state()
	i := len(n.past)
	n.past = append(n.past, look{sample: s, muted: state == Suppressed})
	if i > 0 {
		n.past[i].passed = max(0, s.at.Sub(n.past[i-1].at))
	}
	fails := n.fails()
	if fails && n.Kind == SlowFall {
		n.noted = nil
	}
	n.past[i].says, n.past[i].figure = n.judge(i)
	n.past[i].proved = n.proves(i)

	stood := n.active
	if !stood {
		n.active = n.due()
	} else if first := n.run(0, n.absent); first >= 0 && n.lasted(first) >= n.OffDelay {
		n.active, n.from = false, len(n.past)
	}
	if n.active && !stood && n.aside != Normal {
		n.hidden, n.was = n.hidden+1, true
	}
	switch state {
	case Normal, Returned:
		if state == Normal && fails {
			n.hide(Suppressed)
		} else if n.active {
			n.raise()
		}
	case Unacknowledged, Acknowledged:
		if !n.active {
			n.kept, n.called = n.Latch, n.Latch || !n.seen
			n.seen = n.seen && n.called
		} else if n.seen && n.ReAlarm > 0 && n.ackedAt < len(n.past) && n.lasted(n.ackedAt) >= n.ReAlarm {
			n.seen = false
		}
	case Latched, LatchedAcknowledged:
		if n.past[i].proved {
			n.active = true
			n.raise()
		}
	case Shelved:
		if n.lasted(n.shelvAt) >= n.shelf {
			n.back()
		}
	case Suppressed:
		if !fails {
			if n.OnDelay > 0 {
				n.active, n.from = false, len(n.past)
			}
			n.back()
		}
	}
	n.changed(state, s.at)
}

func (n *naive) changed(from State, now time.Time) {
	if n.state() == from {
		return
	}
	n.since = now
	if n.state() == Normal {
		n.test = false
	}
}

// raise is a new occurrence.
func (n *naive) raise() {
	n.seen, n.kept, n.called = false, false, true
	n.seq++
	n.world.order++
	n.order, n.test = n.world.order, n.testing[n.Channel]
}

func (n *naive) hide(as State) {
	n.was, n.hidden = n.active || n.kept, 0
	n.aside, n.seen, n.kept, n.called = as, false, false, false
}

// back ends what hid it.
func (n *naive) back() {
	from := n.aside
	n.aside, n.reason, n.shelf = Normal, "", 0
	if n.active {
		n.raise()
	} else if n.Latch && n.was && from != Suppressed {
		n.kept, n.called = true, true
	}
}

func (n *naive) left() time.Duration {
	if n.aside != Shelved {
		return 0
	}
	return max(0, n.shelf-n.lasted(n.shelvAt))
}

func (n *naive) acknowledge(now time.Time, seq uint64) error {
	state := n.state()
	switch {
	case n.aside != Normal:
		return ErrHidden
	case !n.called:
		return ErrNormal
	case seq != 0 && seq != n.seq:
		return &SeqError{seq, n.seq}
	case n.seen:
		return ErrAcknowledged
	}
	n.seen, n.ackedAt = true, len(n.past)
	if !n.active && !n.kept {
		n.called, n.seen = false, false
	}
	n.changed(state, now)
	return nil
}

func (n *naive) reset(now time.Time) error {
	last := len(n.past) - 1
	switch {
	case n.aside != Normal:
		return ErrHidden
	case n.active:
		return ErrPresent
	case !n.kept:
		return ErrNotLatched
	case !n.seen:
		return ErrUnacknowledged
	case last < 0 || !n.gone(last):
		return ErrUnproved
	}
	n.kept, n.called, n.seen = false, false, false
	n.changed(LatchedAcknowledged, now)
	return nil
}

func (n *naive) shelve(now time.Time, d time.Duration) error {
	state := n.state()
	switch {
	case n.Never:
		return ErrNever
	case d <= 0, d > MaxShelf:
		return errUnfit
	case n.aside != Normal:
		return ErrHidden
	case n.kept:
		return ErrLatched
	}
	n.hide(Shelved)
	n.shelf, n.shelvAt = d, len(n.past)-1
	n.changed(state, now)
	return nil
}

func (n *naive) remove(now time.Time, reason string) error {
	state := n.state()
	switch {
	case n.Never:
		return ErrNever
	case strings.TrimSpace(reason) == "":
		return errUnfit
	case n.aside != Normal:
		return ErrHidden
	}
	n.hide(OutOfService)
	n.reason = reason
	n.changed(state, now)
	return nil
}

func (n *naive) bring(now time.Time, from State, otherwise error) error {
	if n.aside != from {
		return otherwise
	}
	n.back()
	n.changed(from, now)
	return nil
}

// endTest reports whether something came of it.
func (n *naive) endTest(now time.Time) bool {
	was := n.test
	n.test = false
	switch {
	case !was:
		return false
	case n.aside != Normal: // nobody heard it, and nothing real is to be remembered
		n.was = n.active
		return false
	}
	n.called, n.seen, n.kept = false, false, false
	if n.active {
		n.raise()
	}
	n.since, n.test = now, false
	return true
}

// restart is what another process knows of it.
func (n *naive) restart() {
	left := n.left()
	switch {
	case n.aside == Suppressed:
		n.aside, n.active, n.called = Normal, false, false
	case n.state() == Normal && n.seq == 0:
		n.since, n.hidden, n.was = time.Time{}, 0, false
	}
	n.past, n.noted, n.from, n.ackedAt, n.shelvAt, n.test = nil, nil, 0, 0, 0, false
	n.before, n.shelf = n.active, left
}

// value is the newest that it was judged by.
func (n *naive) value() float64 {
	for i := len(n.past) - 1; i >= 0; i-- {
		if math.Abs(n.past[i].figure) <= math.MaxFloat64 {
			return n.past[i].figure
		}
	}
	return math.NaN()
}
