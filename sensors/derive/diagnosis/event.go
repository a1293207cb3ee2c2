package diagnosis

import (
	"math"
	"time"
)

// events are what lasts seconds: spikes and collapses of suction, pressures that
// stand still.
type events struct {
	level   slow // of suction, while nothing happens
	spike   bool
	spiked  time.Time
	puffs   [8]time.Time
	n       int
	lowFrom time.Time
	isLow   bool
	fallen  time.Time // last second of a collapse
	depth   float64   // percent of the level
	still   [2]stillness
}

// stillness is a pressure within a narrow band.
type stillness struct {
	have   bool
	anchor float64
	since  time.Time
	first  [2]float64 // the two other witnesses of the flow, when it began
	apart  time.Time  // since when both are away from that
}

const (
	eventsLast = 3 * time.Minute
	lidLasts   = 5 * time.Minute
)

// tick looks at one reading of suction, Pa, with the engine turning.
func (e *events) tick(now time.Time, v float64) {
	if !e.level.have || e.level.v < 60 {
		return
	}
	l := e.level.v
	if e.spike {
		switch since := now.Sub(e.spiked); {
		case since > 15*time.Second:
			e.spike = false
		case since > 300*time.Millisecond && math.Abs(v/l-1) < 0.4:
			e.spike = false
			e.puffs[e.n%len(e.puffs)] = now
			e.n++
		}
		return
	}
	if v < -0.1*l-5 || v > 2*l+50 {
		e.spike, e.spiked = true, now
	}
}

// second looks at a second's suction, and at suction and drop beside the load
// as the other witnesses have it.
// lost is how much less flow suction tells than they do, as ln.
func (e *events) second(now time.Time, dt float64, suction *gauge, lost float64, running bool) {
	if !running || !suction.have {
		e.isLow = false
		return
	}
	v := suction.raw
	if e.level.have && e.level.v > 60 && v < 0.3*e.level.v {
		if !e.isLow {
			e.isLow, e.lowFrom = true, now
		}
		if now.Sub(e.lowFrom) >= 4*time.Second && lost > 0.35 {
			e.fallen, e.depth = now, max(0, 100*v/e.level.v)
		}
		if now.Sub(e.lowFrom) < 10*time.Minute {
			return
		}
	}
	e.isLow = false
	if !e.spike {
		e.level.see(v, dt, 60)
	}
}

// stop forgets what only a running engine shows.
func (e *events) stop() { e.level.have, e.spike, e.isLow = false, false, false }

func (e *events) puffMark(now time.Time) mark {
	count := 0.0
	for i := range min(e.n, len(e.puffs)) {
		if now.Sub(e.puffs[i]) < eventsLast {
			count++
		}
	}
	if count == 0 {
		return mark{off: 0, z: 0}
	}
	return mark{off: count, z: clip(3 + count)}
}

func (e *events) collapseMark(now time.Time) mark {
	if e.fallen.IsZero() || now.Sub(e.fallen) > lidLasts {
		return mark{off: 0, z: 0}
	}
	return mark{off: e.depth, z: 6}
}

// moves is by how much the flow, as ln, moves before a pressure that does not is
// stuck.
const moves = 0.1

// stands watches one pressure against the load by the others, ln of the flow,
// and returns for how many seconds it has stood still although that moved.
func (s *stillness) stands(now time.Time, g *gauge, a, b float64) float64 {
	if !g.have {
		s.have = false
		return 0
	}
	if !s.have || math.Abs(g.v-s.anchor) > 1.5+0.01*math.Abs(s.anchor) {
		s.have, s.anchor, s.since, s.first, s.apart = true, g.v, now, [2]float64{a, b}, now
		return 0
	}
	if !(math.Abs(a-s.first[0]) > moves && math.Abs(b-s.first[1]) > moves) { // not known counts as not moved
		s.apart = now
	}
	if d := now.Sub(s.since); d >= 90*time.Second && now.Sub(s.apart) >= time.Minute {
		return d.Seconds()
	}
	return 0
}
