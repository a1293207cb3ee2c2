package main

import (
	"math"
	"slices"
	"time"

	"charwarden/cmd/internal/runlog"
	"charwarden/config"
	"charwarden/sensors"
)

// grain turns readings into what the run log stores of them before the core
// sees them: what is reckoned and what alarms is then the same when the log is
// replayed. It belongs to the loop.
type grain struct {
	inputs   []runlog.Channel // the sensors' channels, then what the daemon tells of itself
	sensors  int
	old      time.Duration     // from which age on a reading's age is kept
	readings []sensors.Reading // of the sensors, as the core gets them
	cells    []runlog.Cell     // of the newest tick
	came     []came
	bands    []runlog.Band // that changed in the newest tick
}

// came is what was last taken of one input.
type came struct {
	at     time.Time
	status sensors.Status
	count  int64
	band   runlog.Band
	banded bool
}

// selfChannels are what the daemon tells of itself, in the order of parts.
var selfChannels = [...]string{"bus_stall", "broker_away", "tick_late", "state_unsaved", "output_fault", "log_unsaved"}

// parts of an instrument, in the order of selfChannels.
func (s *instrument) parts() [len(selfChannels)]*time.Duration {
	return [...]*time.Duration{&s.busStall, &s.brokerAway, &s.tickLate, &s.stateUnsaved, &s.outputFault, &s.logUnsaved}
}

func newGrain(cfg *config.Config) *grain {
	g := &grain{inputs: loggedInputs(cfg), sensors: len(cfg.Channels), old: 2 * cfg.Tick}
	g.cells = make([]runlog.Cell, len(g.inputs))
	g.came = make([]came, len(g.inputs))
	for _, ch := range cfg.Channels {
		g.readings = append(g.readings, sensors.Bad(ch.Name, time.Time{}, sensors.Unknown, nil))
	}
	return g
}

// loggedInputs are the channels that a replay needs.
func loggedInputs(cfg *config.Config) (list []runlog.Channel) {
	for _, ch := range cfg.Channels {
		list = append(list, logged(ch, true))
	}
	for _, name := range selfChannels {
		ch := sensors.Channel{Name: name, Quantity: sensors.Age}
		list = append(list, logged(ch, true))
	}
	return list
}

func logged(ch sensors.Channel, input bool) runlog.Channel {
	return runlog.Channel{Name: ch.Name, Quantity: ch.Quantity, Unit: ch.Quantity.Unit(), Step: runlog.StepOf(ch.Quantity), Input: input}
}

// loggedReckoned are the channels that the core reckons.
func loggedReckoned(cfg *config.Config) (list []runlog.Channel) {
	for _, ch := range cfg.Derived {
		if !slices.Contains(selfChannels[:], ch.Name) {
			list = append(list, logged(ch, false))
		}
	}
	return list
}

// take returns the sensors' readings as they are logged; the slice is valid
// until the next call.
func (g *grain) take(now time.Time, readings []sensors.Reading) []sensors.Reading {
	g.bands = g.bands[:0]
	for i := range readings {
		r, was := &readings[i], &g.came[i]
		if r.Status == was.status && r.At.Equal(was.at) {
			g.cells[i] = runlog.Cell{}
			continue
		}
		was.at, was.status = r.At, r.Status
		g.cells[i] = cellOf(&g.inputs[i], r)
		if lag := now.Sub(r.At).Truncate(time.Millisecond); !r.At.IsZero() && lag >= g.old {
			g.cells[i].Lag = lag
		}
		g.widen(i, r)
		g.readings[i] = readingOf(&g.inputs[i], g.cells[i], was.band, now)
		g.readings[i].Raw, g.readings[i].Cold, g.readings[i].Err = r.Raw, r.Cold, r.Err
		if r.At.IsZero() {
			g.readings[i].At = r.At
		}
	}
	return g.readings
}

// self returns what the daemon tells of itself as it is logged.
func (g *grain) self(s instrument) instrument {
	for i, d := range s.parts() {
		at := g.sensors + i
		ch := &g.inputs[at]
		count := int64(d.Seconds() / ch.Step)
		g.cells[at] = runlog.Cell{}
		if was := &g.came[at]; count != was.count {
			was.count = count
			g.cells[at] = runlog.Cell{Count: count, Status: sensors.Good}
		}
		*d = seconds(ch.Value(count))
	}
	return s
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// bandKept is by how much, as a share, a half width must change to be one.
const bandKept = 0.1

// widen notes the half width of a reading that has one.
func (g *grain) widen(i int, r *sensors.Reading) {
	b := &g.came[i]
	if !valued(r.Status) || math.IsNaN(r.Uncertainty) {
		return
	}
	if b.banded && r.AtLeast == b.band.AtLeast && math.Abs(r.Uncertainty-b.band.HalfWidth) <= bandKept*b.band.HalfWidth {
		return
	}
	first := !b.banded && r.Uncertainty == 0 && !r.AtLeast // as every channel begins
	b.band, b.banded = runlog.Band{Channel: r.Channel, HalfWidth: r.Uncertainty, AtLeast: r.AtLeast}, true
	if !first {
		g.bands = append(g.bands, b.band)
	}
}

// valued reports whether a reading of this status carries a number.
func valued(s sensors.Status) bool {
	return s == sensors.Good || s == sensors.ClippedHigh || s == sensors.ClippedLow
}

// huge is the count of what is too much for any count.
const huge = 1 << 40

// cellOf is a reading as it is stored.
func cellOf(ch *runlog.Channel, r *sensors.Reading) runlog.Cell {
	c := runlog.Cell{Status: r.Status}
	if !valued(r.Status) {
		return c
	}
	var ok bool
	if c.Count, ok = ch.CountOf(r.Value); ok {
		return c
	}
	switch r.Status {
	case sensors.ClippedHigh:
		c.Count = huge
	case sensors.ClippedLow:
		c.Count = -huge
	default:
		c.Status = sensors.OutOfRange
	}
	return c
}

// readingOf is what a stored cell says at now.
func readingOf(ch *runlog.Channel, c runlog.Cell, b runlog.Band, now time.Time) sensors.Reading {
	r := sensors.Bad(ch.Name, now.Add(-c.Lag), c.Status, nil)
	if valued(c.Status) {
		r.Value = ch.Value(c.Count)
		r.Raw = r.Value
		r.Uncertainty, r.AtLeast = b.HalfWidth, b.AtLeast
	}
	return r
}
