package diagnosis

import (
	"fmt"
	"math"
)

// Times in which a Reference learns, in s; own choice.
const (
	ready     = 300.0 // of points before a sign is compared with its usual
	readyRest = 120.0 // the same for one of a rig at rest
	settle    = 900.0 // in which this run's level follows
	fills     = 900.0 // in which the filter's resistance and its growth follow
	coasts    = 40 * 60.0
	fastest   = 0.02 / 60 // growth of ln resistance per s that dust can make
)

// Reference is how this rig behaves when it is well: each sign's line over the
// load (the logarithm of the flow, see Finder), how far it strays from it, and
// how far this run is off that line. A sign's line holds 2 h of points.
type Reference struct {
	lines  [signs]Line
	stray  [signs]float64 // mean square from line and level
	level  [signs]float64 // of this run, from the line
	filter Resistance
	flow   Line // ln of a flow meter's reading less the load, at x = 0
}

// Resistance is ln(drop/flow) of the filter, which grows as it fills: level and
// growth after Holt (International Journal of Forecasting 20 (2004) 5, from
// memory), critically damped.
type Resistance struct {
	N        float64 `json:"n"`        // s of points
	Level    float64 `json:"level"`    // ln
	Growth   float64 `json:"growth"`   // per s
	Cleanest float64 `json:"cleanest"` // lowest level ever
}

func (r *Resistance) learn(y, spread, dt float64) {
	if r.N == 0 {
		r.Level, r.Cleanest = y, y
	}
	off := max(-0.3, min(y-r.Level, 0.3))
	if r.N >= ready {
		dt *= doubt(off / spread)
	}
	r.N = min(r.N+dt, memory)
	tau := min(fills, 60+r.N)
	r.Level += off*2*dt/tau + r.Growth*dt
	if r.N > fills {
		r.Growth = max(0, min(r.Growth+off*dt/(tau*tau), fastest))
	}
	if r.N > ready {
		r.Cleanest = min(r.Cleanest, r.Level)
	}
}

// begin takes the filter as it is at the start of a run: it may have been
// cleaned, down to three quarters of the cleanest it ever was, and it may hold
// the dust of a start.
func (r *Resistance) begin(y float64) {
	if r.N > 0 {
		r.Level = max(r.Cleanest+math.Log(0.75), min(y, r.Level+0.3))
	}
}

// usual is what sign s is at x, how far that may be off for never having been at
// such a load, and whether it is known.
func (r *Reference) usual(s Sign, x float64) (y, beyond float64, known bool) {
	l := &r.lines[s]
	least := ready
	if s >= KeepsNear {
		least = readyRest
	}
	y, beyond = l.at(x)
	y += r.level[s]
	return y, beyond, l.N >= least && y == y
}

// spread is how far s may be off its usual for no reason: what it strayed,
// and no less than its floor nor more than 2.5 times that.
func (r *Reference) spread(s Sign) float64 {
	floor := tellings[s].floor
	return max(floor, min(math.Sqrt(r.stray[s]), 2.5*floor))
}

// mark compares y at x with the usual.
func (r *Reference) mark(s Sign, x, y float64) mark {
	usual, beyond, known := r.usual(s, x)
	if off := y - usual; known && off == off {
		return mark{off: off, z: clip(off / (r.spread(s) + beyond))}
	}
	return unknown
}

// learn takes dt seconds of y at x as healthy. What is far off the usual counts
// little, so that a fault that nobody has named yet is not soon the usual.
func (r *Reference) learn(s Sign, x, y, dt float64) {
	if x != x || y != y {
		return
	}
	l := &r.lines[s]
	weight := dt
	if usual, beyond, known := r.usual(s, x); known {
		spread := r.spread(s) + beyond
		off := y - usual
		weight *= doubt(off / spread)
		far := 2 * tellings[s].floor
		r.level[s] = max(-far, min(r.level[s]+off*weight/settle, far))
		r.stray[s] += (min(off*off, 2*spread*spread) - r.stray[s]) * weight / settle
	}
	l.add(x, y, weight)
}

// doubt is how much counts what is z spreads off: a half at 1.5, a quarter at 2,
// a seventeenth at 3.
func doubt(z float64) float64 { return 1 / (1 + z*z*z*z/5) }

// Kept is a Reference as it is kept from run to run.
type Kept struct {
	Signs  map[string]KeptSign `json:"signs"` // by word
	Filter Resistance          `json:"filter"`
	Flow   Line                `json:"flow"`
}

// KeptSign is one sign of Kept.
type KeptSign struct {
	Line  Line    `json:"line"`
	Stray float64 `json:"stray"` // mean square from the line
}

// Keep returns what the next run is to be compared with.
func (r *Reference) Keep() Kept {
	k := Kept{Signs: map[string]KeptSign{}, Filter: r.filter, Flow: r.flow}
	for s := range signs {
		if l := r.lines[s]; l.N > 0 {
			k.Signs[s.String()] = KeptSign{l, r.stray[s]}
		}
	}
	return k
}

// Restore takes what was kept. What cannot be is left out, sign by sign.
func (r *Reference) Restore(k Kept) {
	for s := range signs {
		got, ok := k.Signs[s.String()]
		if ok && got.Line.N > 0 && got.Line.sound() && got.Stray >= 0 && !math.IsInf(got.Stray, 0) {
			r.lines[s], r.stray[s], r.level[s] = got.Line, got.Stray, 0
		}
	}
	if f := k.Filter; f.N >= 0 && f.N <= memory+1 && f.Growth >= 0 && f.Growth <= fastest && math.Abs(f.Level) < 50 && math.Abs(f.Cleanest) < 50 {
		r.filter = f
	}
	if k.Flow.sound() {
		r.flow = k.Flow
	}
}

// anew forgets all but what no rig needs to learn: an operator's air is clean,
// and a filter is no colder at its inlet than at its outlet.
func (r *Reference) anew() {
	*r = Reference{}
	r.lines[COBeside] = Line{N: ready, Y: math.Log(8)}
	r.lines[COStopped] = Line{N: ready, Y: math.Log(10)}
	r.lines[Heat] = Line{N: ready, Y: -4}
}

func clip(z float64) float64 { return max(-8, min(z, 8)) }

var signWords = [signs]string{
	"suction", "drop", "throttle", "quick", "wall_near", "wall_far", "lean", "gas_out", "gas_rate",
	"cooling", "heat", "return_rise", "hunting", "co_beside", "step", "low", "filled", "damp", "hopper",
	"puffs", "collapse", "stuck", "alone", "keeps_near", "keeps_far", "co_stopped", "holds",
}

// String returns the word of a sign, as it is kept.
func (s Sign) String() string {
	if s >= signs {
		return fmt.Sprintf("sign(%d)", uint8(s))
	}
	return signWords[s]
}
