package wall

import (
	"math"
	"time"
)

// How walls are compared at equal load (common practice, no source).
const (
	perFold  = 6   // bins per e-fold of flow: each 18 % wide
	bins     = 36  // so that they cover a factor of 400
	leastGas = 0.5 // Nm3/h, where the first begins
	leastPa  = 50.0

	quick   = 20 * time.Second // a lag of the load,
	slow    = 3 * time.Minute  // and another: it is steady while the two agree
	apart   = 0.08             // within so much, of the load
	still   = 2.0 / 60         // K/s that a settled wall moves at most
	settled = 3 * time.Minute  // in a bin, steady and still, that make it count
	memory  = 10 * time.Minute // that the mean of a bin looks back
)

// Bin is what a wall was like at one load while it was settled.
type Bin struct {
	Load    float64 `json:"load"`   // mean logarithm of the flow, see Watch
	Temp    float64 `json:"degc"`   // mean, mostly of the last 10 min
	Seconds float64 `json:"stayed"` // s settled in it
}

func (b *Bin) counts() bool { return b.Seconds >= settled.Seconds() }

func (b *Bin) add(load, temp, dt float64) {
	b.Seconds += dt
	part := dt / min(b.Seconds, memory.Seconds())
	b.Load += (load - b.Load) * part
	b.Temp += (temp - b.Temp) * part
}

// place is the bin of the logarithm of a load; ok is false outside of all.
func place(load float64) (i int, ok bool) {
	f := load * perFold
	return int(f), f >= 0 && f < bins
}

// pull follows the load.
type pull struct {
	begun       bool
	at, from    time.Time // of the last; of the first in a row
	quick, slow float64   // logarithm of the load over the least, lagging
}

// see takes a load above its least.
func (p *pull) see(now time.Time, load float64) {
	dt := now.Sub(p.at)
	if !p.begun || dt < 0 || dt > patience {
		*p = pull{begun: true, from: now, quick: load, slow: load}
	} else {
		p.quick += (load - p.quick) * -math.Expm1(-dt.Seconds()/quick.Seconds())
		p.slow += (load - p.slow) * -math.Expm1(-dt.Seconds()/slow.Seconds())
	}
	p.at = now
}

func (p *pull) steady(now time.Time) bool {
	return p.begun && p.at.Equal(now) && now.Sub(p.from) >= slow && math.Abs(p.quick-p.slow) < apart
}

// between is the temperature of last at a load near that of its bin i: on the
// line to its neighbour on that side, if that counts and is not just beside it.
func between(last *[bins]Bin, i int, load float64) (temp float64, drawn bool) {
	b, j := &last[i], i+1
	if load < b.Load {
		j = i - 1
	}
	if j < 0 || j >= bins || !last[j].counts() || math.Abs(last[j].Load-b.Load) < 0.3/perFold {
		return b.Temp, false
	}
	return b.Temp + (last[j].Temp-b.Temp)/(last[j].Load-b.Load)*(load-b.Load), true
}
