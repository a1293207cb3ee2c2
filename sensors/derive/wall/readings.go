package wall

import (
	"fmt"
	"math"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// Readings appends those of the last Step, in the order of Channels.
//
//   - over: s above the limit in this run, or in the last one while none is on. A
//     lower bound if the wall was not read for some of the run, until the next.
//   - reaches: s until the wall is at Reach, on the line of the last 2.5 min; 0 if
//     it is there. Unknown, which is no fault, if it does not rise for certain
//     or is more than 1 h from there. Its half width, k = 2, is that of the line's slope.
//   - hotter: K above the last run at the same load, see Watch. Unknown until both
//     have settled there. Hotter air is in it.
//   - scale: mm of scale that all time at heat has made, if none fell off: an
//     estimate, its half width is half of it. It never gets less. A lower bound for
//     good once the wall was hot and not read for more than 1 min.
func (w *Watch) Readings(into []sensors.Reading) []sensors.Reading {
	if !w.o.Scale {
		return append(into, w.out[:3]...)
	}
	return append(into, w.out[:]...)
}

// reckon makes the readings of a step.
func (w *Watch) reckon(now time.Time, wall, load *sensors.Reading) {
	w.out[0] = w.good(0, now, w.over, 0)
	w.out[0].AtLeast = w.overLow
	w.out[3] = w.good(3, now, thick(w.x2), law*thick(w.x2))
	w.out[3].AtLeast = w.x2Low || w.blind && w.temp > warm
	if !w.ran {
		w.out[0] = w.bad(0, now, sensors.Unknown, errNoRun)
	}
	if !w.seen && w.x2 == 0 {
		w.out[3] = w.bad(3, now, sensors.Unknown, errNone)
	}
	w.out[1] = w.reaches(now, wall)
	w.out[2] = w.hotter(now, wall, load)
}

func (w *Watch) good(i int, at time.Time, v, u float64) sensors.Reading {
	return sensors.Reading{Channel: w.names[i], At: at, Value: v, Raw: v, Uncertainty: u, Cold: math.NaN(), Status: sensors.Good}
}

func (w *Watch) bad(i int, at time.Time, s sensors.Status, err error) sensors.Reading {
	return sensors.Bad(w.names[i], at, s, err)
}

// cause says why a reading is not good, without a new error in every tick.
func cause(r *sensors.Reading) error {
	if r.Err != nil {
		return r.Err
	}
	return faults[min(int(r.Status), len(faults)-1)]
}

// faults are the errors of readings that are bad and do not say why.
var faults = func() (all []error) {
	for _, s := range sensors.Statuses() {
		all = append(all, fmt.Errorf("wall: its reading is %v", s))
	}
	return all
}()

// reaches is the time to the limit.
func (w *Watch) reaches(now time.Time, wall *sensors.Reading) sensors.Reading {
	switch {
	case wall == nil:
		return w.bad(1, now, sensors.Unknown, errNone)
	case wall.Status == sensors.ClippedHigh:
		return w.bad(1, wall.At, sensors.Unknown, cause(wall))
	case wall.Status != sensors.Good:
		return w.bad(1, wall.At, wall.Status, cause(wall))
	case wall.Value >= w.o.Reach:
		return w.good(1, wall.At, 0, 0)
	case !w.slope.live(now):
		return w.bad(1, wall.At, sensors.Unknown, errNoSlope)
	}
	s := &w.slope
	left := max(0, w.o.Reach-s.temp(now))
	v := left / s.rate
	switch {
	case !(s.rate > k*s.doubt) || s.rate == 0:
		return w.bad(1, wall.At, sensors.Unknown, errFalls)
	case v > horizon.Seconds():
		return w.bad(1, wall.At, sensors.Unknown, errFar)
	}
	return w.good(1, wall.At, v, math.Hypot(k*v*s.doubt/s.rate, k*s.scatter/s.rate))
}

// hotter compares with the last run.
func (w *Watch) hotter(now time.Time, wall, load *sensors.Reading) sensors.Reading {
	switch {
	case wall == nil:
		return w.bad(2, now, sensors.Unknown, errNone)
	case wall.Status == sensors.ClippedHigh:
		return w.bad(2, wall.At, sensors.Unknown, cause(wall))
	case wall.Status != sensors.Good:
		return w.bad(2, wall.At, wall.Status, cause(wall))
	case load == nil:
		return w.bad(2, wall.At, sensors.Unknown, errNoLoad)
	}
	at := wall.At
	if load.At.Before(at) {
		at = load.At
	}
	i, inside := place(w.pull.quick)
	switch {
	case w.phase != phase.Running:
		return w.bad(2, at, sensors.Unknown, errStands)
	case load.Status == sensors.ClippedHigh:
		return w.bad(2, at, sensors.Unknown, errWide)
	case load.Status == sensors.ClippedLow, load.Status == sensors.Good && load.Value < w.least():
		return w.bad(2, at, sensors.Unknown, errIdle)
	case load.Status != sensors.Good:
		return w.bad(2, at, load.Status, cause(load))
	case !(load.Value >= w.least()):
		return w.bad(2, at, sensors.Unknown, errUnknown)
	case !inside:
		return w.bad(2, at, sensors.Unknown, errWide)
	case !w.still(now, wall):
		return w.bad(2, at, sensors.Unknown, errMoves)
	case !w.this[i].counts():
		return w.bad(2, at, sensors.Unknown, errThis)
	case !w.last[i].counts():
		return w.bad(2, at, sensors.Unknown, errLast)
	}
	was, drawn := between(&w.last, i, w.this[i].Load)
	u := wall.Uncertainty
	if !drawn {
		u = math.Hypot(u, perLoad*(w.this[i].Load-w.last[i].Load))
	}
	return w.good(2, at, w.this[i].Temp-was, u)
}
