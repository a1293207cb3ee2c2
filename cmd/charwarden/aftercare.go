package main

import (
	"math"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// afterRows are what the daemon knows of a rig that was stopped.
func afterRows(c *core, now time.Time) []readyRow {
	l := &readyList{core: c, now: now}
	l.alarms()
	l.stopped()
	if x := l.reading("reignition"); x != nil {
		l.burnsAgain(x)
	}
	if x := l.reading("seal_health"); x != nil {
		limit := l.limitOf(x.Channel, alarms.Below)
		switch {
		case x.Status != sensors.Good:
			l.add("seals", readySee, "%s", reason(x))
		case x.Value <= limit:
			l.add("seals", readyMissing, "it cools more slowly than at its best: close everything again, from upwind").of(x.Value, limit, "ratio")
		default:
			l.add("seals", readyOK, "it cools as it did at its best").of(x.Value, limit, "ratio")
		}
	}
	return l.rows
}

// limitOf is the limit of the first rule of a kind on a channel, NaN if there
// is none.
func (l *readyList) limitOf(channel string, k alarms.Kind) float64 {
	for _, r := range l.cfg.Rules {
		if r.Channel == channel && r.Kind == k {
			return r.Limit
		}
	}
	return math.NaN()
}

// stopped: the engine stands and nothing is drawn.
func (l *readyList) stopped() {
	p := l.phase()
	cold := l.reading("wall_cold_time")
	switch {
	case p == phase.Cold:
		l.add("phase", readyOK, "%v", p)
	case p == phase.Sealed && cold != nil && cold.Status == sensors.Good && cold.Value > 0:
		l.add("phase", readyOK, "sealed; its walls are at 60 °C in about this time, and embers and CO remain longer").of(cold.Value, math.NaN(), "s")
	case p == phase.Sealed:
		l.add("phase", readyOK, "%v", p)
	case p == phase.Stopping:
		l.add("phase", readySee, "stopping: in a few minutes it must be sealed; ask again then")
	default:
		l.add("phase", readyMissing, "%v: it is not known to be stopped and shut", p)
	}
}

// burnsAgain: a shut rig does not become hotter again.
func (l *readyList) burnsAgain(x *sensors.Reading) {
	limit := l.limitOf(x.Channel, alarms.Above)
	switch {
	case x.Status != sensors.Good:
		l.add("fire", readySee, "%s; the board watches for it while it has power", reason(x))
	case x.Value >= limit:
		l.add("fire", readyMissing, "it has become hotter again: air gets in; close everything from upwind, do not open it").of(x.Value, limit, "K")
	default:
		l.add("fire", readyOK, "not hotter again; the board watches for it while it has power").of(x.Value, limit, "K")
	}
}
