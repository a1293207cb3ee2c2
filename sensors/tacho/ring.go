package tacho

import "time"

// ring holds the newest pulses, oldest first; a full one forgets the oldest.
type ring struct {
	at    []time.Time
	start int
	n     int
}

func (r *ring) clear() { r.start, r.n = 0, 0 }

func (r *ring) push(t time.Time) {
	if r.n == len(r.at) {
		r.drop()
	}
	r.at[(r.start+r.n)%len(r.at)] = t
	r.n++
}

func (r *ring) drop() { r.start, r.n = (r.start+1)%len(r.at), r.n-1 }

func (r *ring) first() time.Time { return r.at[r.start] }
func (r *ring) last() time.Time  { return r.at[(r.start+r.n-1)%len(r.at)] }
