package cooldown

import (
	"errors"
	"math"
	"time"

	"charwarden/sensors"
)

// Names of the channels.
const (
	TauChannel    = "cooldown_tau"
	ColdChannel   = "wall_cold_time"
	HealthChannel = "seal_health"
	AgainChannel  = "reignition"
)

// Own choices, no source.
const (
	every      = time.Minute // one point of the curve
	window     = 30          // points that the time constant is of
	fewest     = 10          // before there is one
	cool       = 60.0        // degC, a wall that can be touched for a moment (ISO 13732-1: bare metal, 1 s, some 65)
	leastLift  = 15.0        // K above air, below which air's own moves are as large
	soak       = 20          // points in which heat still spreads from the bed
	curveError = 0.25        // half width of the time to cool, a share: a wall that radiates less cools slower
	assumedAir = 20.0        // degC, where the air is not measured
	sunlit     = 70.0        // degC that the sun can make of dark steel: no fire
)

// Watch follows the walls after the rig was sealed.
//
// A real wall is no single exponential: it radiates less as it cools, and the
// bed behind it is another mass. So the time constant is that of the last half
// hour, tau = -(T - Ta)/(dT/dt) by the regression of ln(T - Ta) over time on the
// hottest wall, and it is compared with the rig's best at the same T - Ta only,
// in bins of a factor of 1.28.
//
// Which wall is the hottest may change; which of them can be read must not: a
// curve begins anew when a wall is lost or comes back, and what had burnt again
// until then stays a lower bound.
//
// One goroutine owns it.
type Watch struct {
	sealed bool
	began  time.Time
	read   int // how many walls were good
	lost   bool
	floor  float64 // K that it had become hotter again before the curve began anew
	gasLow float64 // least lift of the gas outlet since the heat has spread
	gas    float64 // its lift now, NaN if not known

	minute struct {
		from time.Time
		sum  float64
		n    float64
	}
	points [window]struct{ at, ln float64 } // s since began, ln(T - Ta)
	n      int
	low    float64 // least lift since the heat has spread, K
	last   float64 // lift of the last point
	wall   float64 // degC of the last point
	air    float64

	bin  int // of the best, -1: none
	here line
	best [bins]float64 // s; 0: not known

	tau, cold, health, again sensors.Reading
}

const bins = 16

// binOf is where a lift in K belongs: from 15 K in steps of a factor of 1.28.
func binOf(lift float64) int {
	if !(lift >= leastLift) {
		return -1
	}
	return min(bins-1, int(math.Log(lift/leastLift)/0.25))
}

// New returns a Watch of a rig of which no cooling is known.
func New() *Watch {
	w := &Watch{bin: -1, air: assumedAir}
	w.clear(time.Time{}, errRuns)
	return w
}

var (
	errRuns  = errors.New("cooldown: the rig is not sealed")
	errEarly = errors.New("cooldown: it was sealed a short while ago: wait")
	errNone  = errors.New("cooldown: a wall's temperature is not known")
	errFirst = errors.New("cooldown: no earlier cooling of this rig at this temperature to compare with")
	errSlow  = errors.New("cooldown: it does not cool")
	errLow   = errors.New("cooldown: too near to the air's temperature to tell")
)

// Channels returns what Readings will be, in the same order.
func Channels() []sensors.Channel {
	return []sensors.Channel{
		{Name: TauChannel, Quantity: sensors.Age, Period: time.Second},
		{Name: ColdChannel, Quantity: sensors.Age, Period: time.Second},
		{Name: HealthChannel, Quantity: sensors.Ratio, Period: time.Second},
		{Name: AgainChannel, Quantity: sensors.Difference, Period: time.Second},
	}
}

func (w *Watch) clear(now time.Time, why error) {
	w.tau, w.cold = sensors.Bad(TauChannel, now, sensors.Unknown, why), sensors.Bad(ColdChannel, now, sensors.Unknown, why)
	w.health, w.again = sensors.Bad(HealthChannel, now, sensors.Unknown, why), sensors.Bad(AgainChannel, now, sensors.Unknown, why)
}

// Inputs of a tick. nil is a reading that is not fitted.
type Inputs struct {
	Sealed bool               // the rig is shut, and nothing is drawn
	Air    *sensors.Reading   // degC; nil or not good: the last that was, or 20
	GasOut *sensors.Reading   // degC where the gas leaves
	Walls  []*sensors.Reading // degC
}

// Step takes the readings of a tick. A minute without a good wall is no point.
func (w *Watch) Step(now time.Time, in Inputs) {
	switch {
	case !in.Sealed:
		if w.sealed {
			w.finish()
		}
		w.sealed = false
		w.clear(now, errRuns)
		return
	case !w.sealed:
		w.sealed, w.floor, w.gasLow = true, 0, math.Inf(1)
		w.read, w.lost = 0, false
		w.anew(now)
	}
	p := survey(in.Walls)
	if p.good != w.read { // a wall was lost, or is back
		w.floor = max(w.floor, w.hotter())
		w.anew(now)
		w.read = p.good
	}
	w.lost = p.status != sensors.Good
	if w.lost {
		w.unread(&p)
		if p.good == 0 {
			return
		}
	}
	hot, at := p.hot, p.at
	if in.Air != nil && in.Air.Status == sensors.Good {
		w.air = in.Air.Value
	}
	w.gas = math.NaN()
	if g := in.GasOut; g != nil && g.Status == sensors.Good {
		w.gas = g.Value - w.air
	}
	m := &w.minute
	m.sum, m.n = m.sum+hot, m.n+1
	if d := now.Sub(m.from); d < 0 || d > 10*every { // the clock jumped, or nobody watched
		m.from, m.sum, m.n = now, hot, 1
	} else if d < every {
		return
	}
	w.point(now, m.sum/m.n)
	m.from, m.sum, m.n = now, 0, 0
	w.show(now, at)
}

// anew begins the curve anew.
func (w *Watch) anew(now time.Time) {
	w.began, w.n, w.low = now, 0, math.Inf(1)
	w.bin, w.here = -1, line{}
	w.minute.from, w.minute.sum, w.minute.n = now, 0, 0
	w.clear(now, errEarly)
}

// seen is what the walls of a tick show.
type seen struct {
	hot    float64 // degC of the hottest good one
	at     time.Time
	good   int
	status sensors.Status // of one that is not good; Good if all are
	bad    time.Time
}

func survey(walls []*sensors.Reading) (p seen) {
	p.hot, p.status = math.Inf(-1), sensors.Good
	for _, r := range walls {
		switch {
		case r == nil:
		case r.Status != sensors.Good:
			p.status, p.bad = r.Status, r.At
		default:
			p.good++
			p.hot = max(p.hot, r.Value)
			if p.at.IsZero() || r.At.Before(p.at) {
				p.at = r.At
			}
		}
	}
	return p
}

// unread shows what is left to say with a wall that is not good: that nothing is
// known of its cooling, and how much it had become hotter again at least.
func (w *Watch) unread(p *seen) {
	w.cold = sensors.Bad(ColdChannel, p.bad, p.status, errNone)
	if p.good > 0 {
		return
	}
	w.tau, w.health = sensors.Bad(TauChannel, p.bad, p.status, errNone), sensors.Bad(HealthChannel, p.bad, p.status, errNone)
	w.again = sensors.Bad(AgainChannel, p.bad, p.status, errNone)
}

// hotter is by how many K wall or gas outlet have become hotter again over the
// air, 0 where the sun can do it.
func (w *Watch) hotter() float64 {
	if w.n <= soak {
		return w.floor
	}
	k := w.floor
	if w.wall >= sunlit {
		k = max(k, w.last-w.low)
	}
	if w.gas+w.air >= sunlit {
		k = max(k, w.gas-w.gasLow)
	}
	return k
}

// point takes a minute's mean of the hottest wall.
func (w *Watch) point(now time.Time, hot float64) {
	w.wall, w.last = hot, hot-w.air
	if w.last < 1 {
		w.last = 1
	}
	p := &w.points[w.n%window]
	p.at, p.ln = now.Sub(w.began).Seconds(), math.Log(w.last)
	w.n++
	if w.n > soak {
		w.low = min(w.low, w.last)
		if !math.IsNaN(w.gas) {
			w.gasLow = min(w.gasLow, w.gas)
		}
	}
	bin := binOf(w.last)
	if bin != w.bin {
		w.finish()
		w.bin = bin
	}
	if w.n > soak {
		w.here.add(p.at, p.ln)
	}
}

// finish takes what a bin has shown into the best, a tenth of the way at most
// in one run: a windy day is no better seal.
func (w *Watch) finish() {
	if b, se := w.here.slope(); w.bin >= 0 && w.here.n >= fewest && b < 0 && se < 0.1*-b {
		tau := -1 / b
		switch old := w.best[w.bin]; {
		case old == 0:
			w.best[w.bin] = tau
		case tau < old:
			w.best[w.bin] = max(tau, 0.9*old)
		}
	}
	w.here = line{}
}

// show makes the readings after a new point.
func (w *Watch) show(now, at time.Time) {
	good := func(channel string, v, u float64) sensors.Reading {
		return sensors.Reading{Channel: channel, At: at, Value: v, Raw: v, Uncertainty: u, Cold: math.NaN(), Status: sensors.Good}
	}
	if w.n > soak || w.floor > 0 {
		w.again = good(AgainChannel, w.hotter(), 2)
		w.again.AtLeast = w.lost
	}
	var l line
	for i := range min(w.n, window) {
		l.add(w.points[i].at, w.points[i].ln)
	}
	b, se := l.slope()
	tau := -1 / b
	unknown := func(why error) {
		w.tau, w.health = sensors.Bad(TauChannel, at, sensors.Unknown, why), sensors.Bad(HealthChannel, at, sensors.Unknown, why)
	}
	switch {
	case w.n < soak+fewest:
		unknown(errEarly)
	case w.last < leastLift:
		unknown(errLow)
	case !(b < -1e-7): // a time constant of four months
		w.tau = sensors.Bad(TauChannel, at, sensors.Unknown, errSlow)
		w.health = good(HealthChannel, 0, 0.1) // a plateau is no seal
	default:
		w.tau = good(TauChannel, tau, 2*se*tau*tau)
		w.health = sensors.Bad(HealthChannel, at, sensors.Unknown, errFirst)
		if best := w.best[max(0, binOf(w.last))]; best > 0 {
			w.health = good(HealthChannel, best/tau, best*2*se)
		}
	}
	switch v := Until(w.wall, w.air, tau, cool); {
	case w.lost: // said already
	case w.wall <= cool:
		w.cold = good(ColdChannel, 0, 0)
	case w.tau.Status != sensors.Good || math.IsInf(v, 0):
		w.cold = sensors.Bad(ColdChannel, at, sensors.Unknown, w.tau.Err)
		if w.cold.Err == nil {
			w.cold.Err = errSlow
		}
	default:
		w.cold = good(ColdChannel, v, curveError*v)
	}
}

// Readings appends those of the last Step, in the order of Channels: the time
// constant in s; the time in s until the hottest wall is at 60 degC; the seals'
// health, the rig's best time constant at this temperature over this one, so
// that 1 is as tight as ever and less is air that gets in and burns; and by how
// many K the hottest wall has become hotter again, over the air. None of them is
// a release: see Caution.
func (w *Watch) Readings(into []sensors.Reading) []sensors.Reading {
	return append(into, w.tau, w.cold, w.health, w.again)
}
