package diagnosis

import (
	"math"
	"time"

	"charwarden/sensors"
)

// lag smooths gusts and hunting before signs are taken, and live is how long a
// value counts after its last good reading.
const (
	lag  = 30.0 // s
	live = 10 * time.Second
)

// gauge is one input: the mean of its good readings of a second, smoothed.
type gauge struct {
	sum, n float64
	raw    float64 // mean of the last second that had any
	v      float64 // smoothed
	at     time.Time
	have   bool

	fitted bool
	bad    bool      // the last reading is a fault
	since  time.Time // bad since
	status sensors.Status
}

// see takes a tick's reading. Unknown is no fault: not now.
func (g *gauge) see(now time.Time, r *sensors.Reading) {
	g.fitted = r != nil
	if r == nil {
		return
	}
	bad := r.Status != sensors.Good && r.Status != sensors.Unknown
	if bad && !g.bad {
		g.since = now
	}
	g.bad, g.status = bad, r.Status
	if r.Status == sensors.Good && !math.IsNaN(r.Value-r.Value) {
		g.sum += r.Value
		g.n++
	}
}

// settle ends a second.
func (g *gauge) settle(now time.Time, dt float64) {
	if g.n == 0 {
		if g.have && now.Sub(g.at) > live {
			g.have = false
		}
		return
	}
	g.raw = g.sum / g.n
	g.sum, g.n = 0, 0
	if !g.have {
		g.v = g.raw
	}
	g.v += (g.raw - g.v) * min(1, dt/lag)
	g.have, g.at = true, now
}

// value is the smoothed value, NaN when it is not known.
func (g *gauge) value() float64 {
	if !g.have {
		return math.NaN()
	}
	return g.v
}

// wrong reports whether it has been a fault for 5 s of the kinds that only the
// sensor or its place makes.
func (g *gauge) wrong(now time.Time) bool {
	if !g.fitted || !g.bad || now.Sub(g.since) < 5*time.Second {
		return false
	}
	switch g.status {
	case sensors.Open, sensors.ShortGND, sensors.ShortVCC, sensors.Frozen, sensors.Jump:
		return true
	}
	return false
}

// past holds a value every 10 s for 4 min.
type past struct {
	v    [24]float64
	n    int
	next time.Time
}

func (p *past) see(now time.Time, v float64) {
	if v != v {
		p.n = 0
		return
	}
	if p.n > 0 && now.Before(p.next) {
		return
	}
	p.v[p.n%len(p.v)] = v
	p.n++
	p.next = now.Add(10 * time.Second)
}

// change is v against what it was steps of 10 s ago.
func (p *past) change(v float64, steps int) float64 {
	if p.n < steps {
		return math.NaN()
	}
	return v - p.v[(p.n-steps)%len(p.v)]
}

// slow follows within tau seconds; NaN leaves it.
type slow struct {
	v    float64
	have bool
}

func (s *slow) see(v, dt, tau float64) float64 {
	switch {
	case v != v:
	case !s.have:
		s.v, s.have = v, true
	default:
		s.v += (v - s.v) * min(1, dt/tau)
	}
	if !s.have {
		return math.NaN()
	}
	return s.v
}
