// Package wall follows a wall of the hearth: how long it was too hot, when it
// will be, whether it is hotter than in the run before, and what has burnt off it.
package wall

import (
	"errors"
	"fmt"
	"math"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// Opts of a Watch.
type Opts struct {
	Name    string  // channel of the wall; those of the Watch begin with it
	Limit   float64 // degC, from which on time counts; 0: 480, where bare steel begins to scale
	Reach   float64 // degC that the wall is watched to reach; 0: 600, a bare steel's alarm
	Scale   bool    // it is of bare carbon steel, and has the channel of its scale
	Suction bool    // the load is suction in Pa, and not a flow
}

const (
	patience = 3 * time.Second // not read for longer is a gap
	bridge   = time.Minute     // up to which a gap's ends tell what the scale did in it
	warm     = 200.0           // degC, below which no scale grows that counts
	horizon  = time.Hour       // beyond which nobody foretells
	perLoad  = 150.0           // K per e-fold of load that is not made good, in the uncertainty (own choice)
	k        = 2               // coverage factor of an uncertainty
	law      = 0.5             // half width of a scale, of it: a constant within a factor of 2 (own choice)
)

// Watch follows one wall. One goroutine owns it.
//
// A run goes from lighting to sealed: it begins with phase Lighting, or with
// one in which the engine turns and no run is on; it ends with Sealed or Cold. An
// engine that turns again after Sealed, with no Lighting between, goes on with
// the run. phase.Unknown changes nothing: give it until the phase is known.
//
// The load is the gas's flow in Nm3/h, or suction, whose root goes as the flow.
// What is compared is the wall while settled: a load that has been steady within
// 8 % and a wall that moves by less than 2 K/min, for 3 min in all in this run
// and in the last one that had that load. Loads are told apart in bins of 18 %;
// within a bin the last run's is read on the line to the bin beside it.
type Watch struct {
	o     Opts
	names [4]string

	begun bool
	at    time.Time // of the last step
	phase phase.Phase
	run   bool // one is on
	ran   bool // there was one, or is

	seen    bool // a temperature, ever
	read    time.Time
	temp    float64 // last one
	blind   bool    // a gap is open
	over    float64 // s
	overLow bool    // and some of it not known
	x2      float64 // cm2 of scale
	x2Low   bool

	slope      slope
	pull       pull
	this, last [bins]Bin

	out [4]sensors.Reading
}

// New returns the watch of a wall of which nothing is known.
func New(o Opts) (*Watch, error) {
	if o.Name == "" {
		return nil, errors.New("wall: no name")
	}
	if o.Limit == 0 {
		o.Limit = 480
	}
	if o.Reach == 0 {
		o.Reach = 600
	}
	for _, v := range [2]float64{o.Limit, o.Reach} {
		if !(v > 0 && v < 2000) {
			return nil, fmt.Errorf("wall: %s: limit %g degC: must be above 0 and below 2000", o.Name, v)
		}
	}
	w := &Watch{o: o, phase: phase.Unknown}
	for i, c := range Channels(o) {
		w.names[i] = c.Name
	}
	w.reckon(time.Time{}, nil, nil)
	return w, nil
}

// Channels returns what Readings of a Watch with those options will be, in the
// same order; the last one, the scale, only if it has one.
func Channels(o Opts) []sensors.Channel {
	c := []sensors.Channel{
		{Name: o.Name + "_over", Quantity: sensors.Age, Period: time.Second},
		{Name: o.Name + "_reaches", Quantity: sensors.Age, Period: time.Second},
		{Name: o.Name + "_hotter", Quantity: sensors.Difference, Period: time.Second},
		{Name: o.Name + "_scale", Quantity: sensors.Thickness, Period: time.Second},
	}
	if !o.Scale {
		c = c[:3]
	}
	return c
}

var (
	errNone    = errors.New("wall: no temperature yet")
	errNoRun   = errors.New("wall: no run yet")
	errNoSlope = errors.New("wall: read for less than 2 min: its slope is not known")
	errFalls   = errors.New("wall: does not rise towards its limit")
	errFar     = errors.New("wall: more than 1 h from its limit at this slope")
	errStands  = errors.New("wall: the rig does not run: nothing to compare")
	errNoLoad  = errors.New("wall: neither gas flow nor suction is measured: equal loads are not known")
	errIdle    = errors.New("wall: too little flow to compare with")
	errWide    = errors.New("wall: a load beyond all that are compared")
	errUnknown = errors.New("wall: the load is not known")
	errMoves   = errors.New("wall: load or wall is not steady: nothing to compare")
	errThis    = errors.New("wall: less than 3 min settled at this load in this run")
	errLast    = errors.New("wall: no earlier run had settled at this load")
)

// Step takes the readings of a tick: the wall's temperature, the load, and
// what the rig does; nil is not fitted. It does not allocate.
//
// A reading that is clipped high counts as full scale for the time over the
// limit and for the scale, which then is a lower bound.
func (w *Watch) Step(now time.Time, wall, load *sensors.Reading, p phase.Phase) {
	var dt time.Duration
	if w.begun {
		dt = max(0, now.Sub(w.at))
	}
	w.begun, w.at = true, now
	w.enter(p)
	temp, ok := value(wall)
	switch {
	case ok && w.seen:
		w.count(now, temp, wall.Status == sensors.ClippedHigh)
	case !ok && (!w.seen || now.Sub(w.read) > patience):
		w.lose()
	}
	if ok {
		w.seen, w.read, w.temp = true, now, temp
		if wall.Status == sensors.Good {
			w.slope.add(now, temp)
		}
	}
	w.settle(now, wall, load, min(dt, patience).Seconds())
	w.reckon(now, wall, load)
}

// value is a temperature that counts.
func value(r *sensors.Reading) (float64, bool) {
	if r == nil || r.Status != sensors.Good && r.Status != sensors.ClippedHigh || !(r.Value > -zeroC && r.Value < 3000) {
		return 0, false
	}
	return r.Value, true
}

// enter follows the phase from run to run.
func (w *Watch) enter(p phase.Phase) {
	before := w.phase
	if p != phase.Unknown {
		w.phase = p
	}
	switch p {
	case phase.Lighting, phase.Warming, phase.Running:
		if w.run {
			return
		}
		if p == phase.Lighting || before != phase.Sealed || !w.ran {
			w.over, w.overLow = 0, w.blind || before == phase.Unknown && p != phase.Lighting
			for i := range w.this {
				if w.this[i].counts() {
					w.last[i] = w.this[i]
				}
			}
			w.this = [bins]Bin{}
		}
		w.run, w.ran = true, true
	case phase.Cold, phase.Sealed:
		w.run = false
	}
}

// lose says that the wall is not read.
func (w *Watch) lose() {
	w.blind = true
	w.overLow = w.overLow || w.run
}

// count takes what held since the last reading. A gap is not time over the
// limit, and for the scale as hot as its hotter end, if it was short.
func (w *Watch) count(now time.Time, temp float64, clipped bool) {
	gap := max(0, now.Sub(w.read))
	switch {
	case gap > patience:
		w.overLow = w.overLow || w.run
	case w.run && w.temp >= w.o.Limit:
		w.over += gap.Seconds()
	}
	w.x2Low = w.x2Low || clipped
	hot := max(temp, w.temp)
	switch {
	case gap <= patience:
		w.x2 += Growth(w.temp) * gap.Seconds()
	case gap <= bridge:
		w.x2 += Growth(hot) * gap.Seconds()
	case hot > warm:
		w.x2Low = true
	}
	w.blind = false
}

// settle gathers the temperature of the load's bin.
func (w *Watch) settle(now time.Time, wall, load *sensors.Reading, dt float64) {
	if load != nil && load.Status == sensors.Good && load.Value >= w.least() {
		w.pull.see(now, w.share(load.Value))
	}
	if w.phase == phase.Running && w.still(now, wall) {
		if i, ok := place(w.pull.quick); ok {
			w.this[i].add(w.pull.quick, wall.Value, dt)
		}
	}
}

func (w *Watch) least() float64 {
	if w.o.Suction {
		return leastPa
	}
	return leastGas
}

// share is the logarithm of the flow of a load, over that of the least.
func (w *Watch) share(load float64) float64 {
	x := math.Log(load / w.least())
	if w.o.Suction {
		x /= 2
	}
	return x
}

// still reports whether wall and load are settled.
func (w *Watch) still(now time.Time, wall *sensors.Reading) bool {
	return wall != nil && wall.Status == sensors.Good && w.pull.steady(now) &&
		w.slope.live(now) && math.Abs(w.slope.rate) < still
}
