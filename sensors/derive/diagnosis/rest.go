package diagnosis

import (
	"math"

	"charwarden/sensors/derive/phase"
)

// resting takes the signs of a rig that stands.
func (f *Finder) resting(dt float64, p phase.Phase, learn bool) {
	f.compare(COStopped, 0, math.Log(max(0, f.in[inCO].value())+5), dt, learn)
	if p == phase.Lighting || !f.ran {
		return
	}
	air := f.air()
	far := f.in[inFar].value() - air
	for _, w := range [...]struct {
		s Sign
		v float64
	}{{KeepsNear, f.in[inNear].value() - air}, {KeepsFar, far}} {
		if !(w.v > 20) {
			continue
		}
		v := math.Log(w.v)
		behind := f.lagged[w.s].see(v, dt, cool) - v
		y := -math.Log(max(2e-5, behind/cool))
		f.compare(w.s, v, y, dt, learn)
	}
	if far > 20 {
		f.compare(Holds, math.Log(far), -f.in[inSuction].value(), dt, learn)
	}
}

// cool is the time over which a wall's cooling is taken, s: a wall that cools
// with rate k is k*cool behind its value smoothed over cool.
const cool = 120.0
