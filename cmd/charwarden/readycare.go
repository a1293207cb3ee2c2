package main

import (
	"math"
	"time"

	"charwarden/alarms"
	"charwarden/config"
	"charwarden/sensors"
	"charwarden/sensors/derive/filter"
	"charwarden/sensors/derive/fuel"
)

// dust: the clean filter is known, and it will not be due before the hopper is
// empty.
func (l *readyList) dust() {
	if l.loading == nil {
		l.add("filter", readySee, "its pressure drop is not measured: look whether it is clean")
		return
	}
	known := l.loading.Keep()
	if known.Learning {
		l.add("filter", readyOK, "cleaned; what it takes clean is learned in the first 10 minutes of running")
		return
	}
	if known.At.IsZero() && l.cfg.Roles.CleanDrop == 0 {
		l.add("filter", readyMissing, "what the clean filter takes is not known: clean it, then `charwarden cleaned`")
		return
	}
	last, limit := l.lastLoading()
	left := l.reading(filter.MassChannel)
	charcoal := 0.0
	if x := l.reading(fuel.LeftChannel); x != nil && x.Status == sensors.Good {
		charcoal = x.Value
	}
	const clean = "clean it when it is cold, from upwind, then `charwarden cleaned`"
	switch {
	case last >= limit:
		l.add("filter", readyMissing, "as loaded as this when it was last seen: "+clean).of(last, limit, "percent")
	case left == nil:
		l.add("filter", readySee, "how loaded it is is not followed: look at its drop in the first minutes of running")
	case left.Status != sensors.Good:
		l.add("filter", readySee, "%s: look at its loading in the first minutes of running", reason(left))
	case left.Value <= charcoal:
		l.add("filter", readyMissing, "due after this much charcoal, and the hopper holds as much as the limit: "+clean).of(left.Value, charcoal, "kg")
	default:
		l.add("filter", readyOK, "charcoal until it is due, as the last runs went; the limit is what the hopper holds").of(left.Value, charcoal, "kg")
	}
}

// lastLoading is what the filter's first level was judged by last, in percent, NaN
// if nothing was since the start, and that level. Below it, it proves nothing:
// what a blower draws through a cold rig reads low.
func (l *readyList) lastLoading() (last, limit float64) {
	last, limit = math.NaN(), math.Inf(1)
	l.list = l.engine.Alarms(l.list)
	for i := range l.list {
		if a := &l.list[i]; a.Rule.Channel == l.cfg.Roles.FilterLoading && a.Rule.Kind == alarms.Above && a.Rule.Limit < limit {
			last, limit = a.Value, a.Rule.Limit
		}
	}
	return last, limit
}

// enough is the part of the hopper that should be full before the fire: own
// choice.
const enough = 0.5

// fill: the charcoal is known, and it is enough to begin with.
func (l *readyList) fill() {
	x := l.reading(fuel.LeftChannel)
	if x == nil {
		l.add("charcoal", readySee, "it is not counted: see that the hopper is full")
		return
	}
	least := max(l.cfg.Charcoal.Heel, enough*l.cfg.Charcoal.Hopper)
	switch {
	case x.Status != sensors.Good:
		l.add("charcoal", readyMissing, "not known: weigh what is in hopper and bed, then `charwarden weighed KILOGRAMS`").of(math.NaN(), least, "kg")
	case x.Value < least:
		l.add("charcoal", readyMissing, "too little to begin with: fill it, then `charwarden filled KILOGRAMS`").of(x.Value, least, "kg")
	default:
		l.add("charcoal", readyOK, "").of(x.Value, least, "kg")
	}
}

// seals: a hold test was made and found them tight.
func (l *readyList) seals() {
	h := l.holding
	switch {
	case h == nil:
		l.add("seals", readySee, "no suction is measured: look at gaskets, lid and hoses")
	case h.Running:
		l.add("seals", readyMissing, "a hold test runs: wait for its end")
	case math.IsNaN(h.Leak):
		l.add("seals", readyMissing, "no hold test with a result: charwarden holdtest")
	case !h.Tight:
		l.add("seals", readyMissing, "%s", h.Verdict()).of(h.Leak, math.NaN(), "Pa/min")
	case h.Ran:
		l.add("seals", readyMissing, "tight before the last run, and may have been opened since: charwarden holdtest").of(h.Leak, math.NaN(), "Pa/min")
	default:
		ago := config.Display{}.Format(sensors.Age, max(0, l.now.Sub(h.Ended)).Round(time.Minute).Seconds())
		l.add("seals", readyOK, "tight in the hold test %s ago; make another if anything was opened since", ago).of(h.Leak, math.NaN(), "Pa/min")
	}
}

// records: what must be remembered is stored, and there is room for it.
func (l *readyList) records() {
	if x := l.reading("disk_free"); x != nil {
		limit := 0.0
		for _, r := range l.cfg.Rules {
			if r.Channel == x.Channel && r.Kind == alarms.Below {
				limit = max(limit, r.Limit)
			}
		}
		const room = "copy old runs elsewhere and delete them from the board"
		switch {
		case x.Status != sensors.Good:
			l.add("disk", readyMissing, "%s", reason(x)).of(math.NaN(), 100*limit, "percent")
		case x.Value <= limit:
			l.add("disk", readyMissing, "nearly full: "+room).of(100*x.Value, 100*limit, "percent")
		default:
			l.add("disk", readyOK, "free").of(100*x.Value, 100*limit, "percent")
		}
	}
	for _, of := range []struct{ item, channel string }{{"state", "state_unsaved"}, {"run log", "log_unsaved"}} {
		x := l.reading(of.channel)
		switch {
		case x == nil:
		case x.Status == sensors.Good && x.Value == 0:
			l.add(of.item, readyOK, "stored")
		default:
			l.add(of.item, readyMissing, "not stored, a power cut would lose it: see the board's disk and the daemon's log").of(x.Value, 0, "s")
		}
	}
}

// time: the clock is right, or set at least.
func (l *readyList) time() {
	x := l.reading("clock_unsynced")
	if x == nil {
		return
	}
	const layout = "2006-01-02 15:04"
	local := l.now.Local().Format(layout)
	switch {
	case x.Status == sensors.Good && x.Value == 0:
		l.add("clock", readyOK, "synchronised, %s", local)
	case l.now.Before(l.newestDate()):
		l.add("clock", readyMissing, "says %s, which is past: let the board reach a network, or set it with `date -s`", local)
	default:
		l.add("clock", readySee, "not synchronised, and says %s: if that is wrong, set it with `date -s`", local)
	}
}

// newestDate is one that a right clock is not before: when the program was
// built, and when a cell was last cared for.
func (l *readyList) newestDate() time.Time {
	t := built()
	for i := range l.cares {
		t = newer(t, l.cares[i].Done)
	}
	return t
}
