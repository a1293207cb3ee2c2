package mqtt

import "charwarden/alarms"

// maxQueue is how many transitions wait while the broker is away: more than
// a bad hour has.
const maxQueue = 256

// ring is a queue of transitions. When it is full the oldest goes: the newest
// matter more, and the daemon's log has them all.
type ring struct {
	slots   [maxQueue]alarms.Transition
	head, n int
}

// push appends tr and reports whether the oldest had to go.
func (r *ring) push(tr alarms.Transition) bool {
	full := r.n == maxQueue
	if full {
		r.head = (r.head + 1) % maxQueue
		r.n--
	}
	r.slots[(r.head+r.n)%maxQueue] = tr
	r.n++
	return full
}

// pop removes the oldest; false if there is none.
func (r *ring) pop() (alarms.Transition, bool) {
	if r.n == 0 {
		return alarms.Transition{}, false
	}
	tr := r.slots[r.head]
	r.slots[r.head] = alarms.Transition{}
	r.head = (r.head + 1) % maxQueue
	r.n--
	return tr, true
}
