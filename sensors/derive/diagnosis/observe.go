package diagnosis

import (
	"math"
	"slices"
	"time"

	"charwarden/sensors/derive/phase"
)

// settled is how long a rig runs, or stands, before a sign is compared, in s:
// walls follow the load within minutes.
var settled = [signs]float64{
	Suction: 90, Drop: 90, Throttle: 90, Quick: 300, WallNear: 480, WallFar: 1200, Lean: 1200,
	GasOut: 420, GasRate: 300, Cooling: 420, Heat: 420, ReturnRise: 480, Hunting: 120, COBeside: 120,
	Step: 300, Low: 900, Filled: 120, Damp: 60, Hopper: 60, Alone: 480,
	KeepsNear: 420, KeepsFar: 900, COStopped: 90, Holds: 240,
}

// follows is how long a temperature takes to follow the load, s.
var follows = [signs]float64{WallNear: 240, WallFar: 500, Lean: 240, GasOut: 100, Cooling: 100, Heat: 150, ReturnRise: 80}

// observe takes the signs of this second and, if learn is true, learns from
// them.
func (f *Finder) observe(now time.Time, dt float64, p phase.Phase, learn bool) {
	f.signs = unknownSigns()
	switch {
	case p == phase.Running && f.runsDown():
	case p == phase.Running:
		f.running(now, dt, learn)
	case atRest(p):
		f.resting(dt, p, learn)
	}
	for i := range f.signs {
		g := &f.in[tellings[i].witness]
		switch {
		case f.signs[i].known():
			f.last[i] = f.signs[i]
		case f.last[i].known() && g.fitted && !g.have:
			f.last[i].old = true
			f.signs[i] = f.last[i] // a lost channel takes nothing back
		}
	}
}

// runsDown reports whether the engine is coming to a stop, or has just caught
// its load: nothing then is as at any load.
func (f *Finder) runsDown() bool {
	g := &f.in[inSpeed]
	return g.have && g.raw < 0.95*g.v
}

// compare marks y at x against the usual, once the rig has settled, and learns.
func (f *Finder) compare(s Sign, x, y, dt float64, learn bool) {
	if f.lasted < settled[s] {
		return
	}
	f.signs[s] = f.ref.mark(s, x, y)
	if learn {
		f.ref.learn(s, x, y, dt)
	}
}

// loads are the witnesses of the flow, as logarithms of the root of suction in
// Pa that the rig has at it when well; NaN where one is not known.
type loads struct{ suction, drop, speed, flow float64 }

func (f *Finder) loads() (l loads, speedX float64) {
	nan := math.NaN()
	l = loads{nan, nan, nan, nan}
	speedX = nan
	if v := f.in[inSuction].value(); v > 20 {
		l.suction = math.Log(v) / 2
	}
	if v := f.in[inDrop].value(); v > 3 && f.ref.filter.N >= ready {
		l.drop = math.Log(v) - f.ref.filter.Level
	}
	if v := f.in[inSpeed].value(); v > 300 {
		speedX = 15 * math.Log(v/3000)
		if t := &f.ref.lines[Throttle]; t.N >= 2*ready && t.XX/t.N > 0.01 {
			if u, beyond, known := f.ref.usual(Throttle, speedX); known && beyond < 0.2 {
				l.speed = u
			}
		}
	}
	if v := f.in[inFlow].value(); v > 0.3 && f.ref.flow.N >= ready {
		l.flow = math.Log(v) - f.ref.flow.Y
	}
	return l, speedX
}

// middle is the median of what is known, NaN of nothing.
func middle(v ...float64) float64 {
	var known [4]float64
	n := 0
	for _, x := range v {
		if x == x {
			known[n] = x
			n++
		}
	}
	if n == 0 {
		return math.NaN()
	}
	slices.Sort(known[:n])
	return (known[(n-1)/2] + known[n/2]) / 2
}

// agreed is the load as most witnesses have it: their median. Of two that differ
// by an eighth or more, it is the one that is nearer to the last 10 min: a hole
// moves the drop, a blocked nozzle the suction.
func (f *Finder) agreed(l loads) float64 {
	u := middle(l.suction, l.drop, l.speed, l.flow)
	known, low, high := 0, math.Inf(1), math.Inf(-1)
	for _, v := range [...]float64{l.suction, l.drop, l.speed, l.flow} {
		if v == v {
			known, low, high = known+1, min(low, v), max(high, v)
		}
	}
	if known != 2 || !f.mean.have || high-low < 0.12 {
		return u
	}
	if math.Abs(low-f.mean.v) < math.Abs(high-f.mean.v) {
		return low
	}
	return high
}

// running takes the signs of a rig under way.
func (f *Finder) running(now time.Time, dt float64, learn bool) {
	s := &f.signs
	ref := &f.ref
	l, speedX := f.loads()
	u := f.agreed(l)
	others := l.drop == l.drop || l.speed == l.speed || l.flow == l.flow
	f.lost = middle(l.drop, l.speed, l.flow) - l.suction
	if l.suction != l.suction && others {
		f.lost = math.Inf(1)
	}
	enough := f.lasted >= settled[Suction]

	// The pressures, against the load.
	lnDrop := math.NaN()
	if v := f.in[inDrop].value(); v > 3 {
		lnDrop = math.Log(v)
	}
	if enough && !f.begun && lnDrop == lnDrop && u == u {
		f.begun = true
		if w := middle(l.suction, l.speed, l.flow); w == w {
			ref.filter.begin(lnDrop - w)
		}
		l, _ = f.loads()
		u = f.agreed(l)
	}
	if others {
		f.compare(Suction, 0, 2*(l.suction-u), dt, learn)
		if l.drop == l.drop && enough {
			off := l.drop - u
			s[Drop] = mark{off: off, z: clip(off / ref.spread(Drop))}
		}
		if l.speed == l.speed && enough {
			off := l.speed - u
			s[Throttle] = mark{off: off, z: clip(off / ref.spread(Throttle))}
		}
	}
	if learn && enough {
		f.learnLoads(l, speedX, lnDrop, dt)
	} else if f.lasted >= settled[Suction] && f.idle < coasts {
		f.idle += dt
		ref.filter.Level += ref.filter.Growth * dt // it goes on filling
	}
	if learn {
		f.idle = 0
	}

	// What moves within minutes.
	resist := lnDrop - middle(l.suction, l.speed, l.flow)
	change := f.resist.change(resist, 24)
	f.resist.see(now, resist)
	f.compare(Quick, 0, change, dt, learn)
	step := f.flow.change(u, 18)
	f.flow.see(now, u)
	f.compare(Step, 0, step, dt, learn)
	gas := f.in[inGasOut].value()
	rate := f.gas.change(gas, 12)
	f.gas.see(now, gas)
	f.compare(GasRate, 0, rate, dt, learn)

	// Temperatures, against the load as they follow it.
	air := f.air()
	near, far := f.in[inNear].value(), f.in[inFar].value()
	in, out := f.in[inFilterIn].value(), f.in[inFilterOut].value()
	cooling := math.NaN()
	if in-air > 3 && gas-air > 50 {
		cooling = math.Log((in - air) / (gas - air))
	}
	for _, t := range [...]struct {
		s Sign
		y float64
	}{{WallNear, near - air}, {WallFar, far - air}, {Lean, near - far}, {GasOut, gas - air}, {Cooling, cooling}, {Heat, out - in}, {ReturnRise, f.in[inReturn].value() - air}} {
		f.compare(t.s, f.lagged[t.s].see(u, dt, follows[t.s]), t.y, dt, learn)
	}

	f.compare(Hunting, u, f.hunting(dt), dt, learn)
	f.compare(COBeside, 0, math.Log(max(0, f.in[inCO].value())+5), dt, learn)
	mean := f.mean.see(u, dt, 600)
	f.compare(Low, 0, mean, dt, learn)
	s[Low].z = min(s[Low].z, 2) // much flow is no sign; NaN stays
	f.counts(now, l)
}

// learnLoads learns how the witnesses of the flow belong together: each from
// the others.
func (f *Finder) learnLoads(l loads, speedX, lnDrop, dt float64) {
	ref := &f.ref
	off := f.signs[Drop].off
	if w := middle(l.suction, l.speed, l.flow); w == w && lnDrop == lnDrop {
		ref.filter.learn(lnDrop-w, ref.spread(Drop), dt)
		if off == off {
			ref.stray[Drop] += (off*off - ref.stray[Drop]) * dt * doubt(f.signs[Drop].z) / settle
		}
	}
	if w := middle(l.suction, l.drop, l.flow); w == w && speedX == speedX {
		ref.learn(Throttle, speedX, w, dt)
	}
	if v := f.in[inFlow].value(); v > 0.3 {
		if w := middle(l.suction, l.drop, l.speed); w == w {
			ref.flow.add(0, math.Log(v)-w, dt)
		}
	}
}

// hunting is ln of the speed's unrest in rpm, from its raw seconds.
func (f *Finder) hunting(dt float64) float64 {
	g := &f.in[inSpeed]
	if !g.have {
		return math.NaN()
	}
	d := g.raw - g.v
	return math.Log(math.Sqrt(f.unrest.see(d*d, dt, 60)) + 2)
}

// air is the air's temperature, or 20 degC: what differs is in the reference.
func (f *Finder) air() float64 {
	if v := f.in[inAir].value(); v == v {
		return v
	}
	return 20
}
