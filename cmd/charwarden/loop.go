package main

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// frame is what one tick knows; outputs copy what they keep.
type frame struct {
	now         time.Time
	readings    []sensors.Reading   // of every channel, in the order of the configuration
	alarms      []alarms.Alarm      // every rule, in order
	transitions []alarms.Transition // of this tick
	phase       phase.Phase
	health      health
}

// health is how the loop itself does.
type health struct {
	ticks, missed uint64
	step, stepMax time.Duration // the last completed tick's work, and the longest
	dropped       uint64        // readings that found the queue full
	skipped       uint64        // readings that a bus was too slow to take
}

// output takes a frame. It never blocks and keeps none of its slices.
type output func(*frame)

// request is a wish of a person that only the loop may carry out; it tells its
// person how it went, without waiting for anyone.
type request func(now time.Time, c *core)

// loop is the one owner of readings and alarms. It ticks on an absolute grid
// whatever the buses and the outputs do.
type loop struct {
	clock    sensors.Clock
	tick     time.Duration
	rig      *rig
	grain    *grain
	core     *core
	book     *logbook // nil: no run log
	requests chan request
	away     func(time.Time) time.Duration // how long the broker has been away
	outputs  []output                      // in the order in which they are served
	alive    *notifier
	state    *stateFile
	log      *slog.Logger

	frame             frame
	elapsed           time.Duration // at this tick, since the core was made
	late              time.Duration // how late this tick came
	saved             saved         // what the state file was given last
	unsaved, unlogged lasting
	outputFault       lasting
	saveAt            time.Time // when it is due again without a change
}

// saveEvery bounds how much of a dose, or of a shelf's time, a power cut costs.
const saveEvery = time.Minute

// Run ticks until ctx ends.
func (l *loop) Run(ctx context.Context) error {
	next := l.clock.Now().Add(l.tick)
	for {
		l.clock.Sleep(ctx, next.Sub(l.clock.Now()))
		if ctx.Err() != nil {
			l.alive.stopping()
			return nil
		}
		now := l.clock.Now()
		l.late = max(0, now.Sub(next))
		if l.late >= l.tick {
			n := l.late / l.tick
			l.frame.health.missed += uint64(n)
			next = next.Add(n * l.tick)
		}
		l.step(now)
		next = next.Add(l.tick)
	}
}

// step is one tick: readings in, alarms judged, outputs served, watchdog fed.
func (l *loop) step(now time.Time) {
	f := &l.frame
	// Whole milliseconds, no two ticks in the same one, as the run log has them.
	since := now.Sub(l.core.base)
	l.elapsed = max(since.Truncate(time.Millisecond), l.elapsed+time.Millisecond)
	now = now.Add(l.elapsed - since)
	f.now = now
	l.take()
	readings := l.grain.take(now, l.rig.sweep.Tick(now))
	l.carryOut(now)
	was := f.phase
	f.transitions = l.core.step(now, readings, l.grain.self(l.self(now)))
	f.readings, f.phase = l.core.readings, l.core.phase()
	f.alarms = l.core.engine.Alarms(f.alarms[:0])
	f.health.ticks++
	f.health.dropped, f.health.skipped = 0, 0
	for _, o := range l.rig.owners {
		f.health.dropped += o.Dropped()
		f.health.skipped += o.Missed()
	}
	l.core.signals.update(f) // before anything that could be slow
	l.remember(now)          // before anybody is told
	if l.book != nil {
		l.book.update(f)
	} else {
		l.core.forget()
	}
	for i := range f.transitions {
		logTransition(l.log, &f.transitions[i])
	}
	if f.phase != was {
		l.log.Info("phase", "from", was, "to", f.phase, "forced", l.core.finder.Forced())
	}
	for _, out := range l.outputs {
		out(f)
	}
	if err := l.rig.sweep.Refused(); err != nil {
		l.log.Warn("zero not taken", "err", err)
	}
	l.core.signals.beat(l.rig.sweep.Answered())
	l.alive.tick(f, l.rig.sweep.Answered())
	f.health.step = l.clock.Now().Sub(now)
	f.health.stepMax = max(f.health.stepMax, f.health.step)
}

// self is what the loop knows of the daemon itself.
func (l *loop) self(now time.Time) instrument {
	s := instrument{tickLate: l.late}
	for _, o := range l.rig.owners {
		s.busStall = max(s.busStall, o.Stuck(now))
	}
	if l.away != nil {
		s.brokerAway = l.away(now)
	}
	if l.book != nil {
		s.logUnsaved = l.unlogged.lasts(now, l.book.w.Fault())
	}
	s.stateUnsaved = l.unsaved.lasts(now, l.state.Fault())
	s.outputFault = l.outputFault.lasts(now, l.core.signals.fault())
	return s
}

// lasting is how long something has been wrong.
type lasting struct{ since time.Time }

func (l *lasting) lasts(now time.Time, err error) time.Duration {
	switch {
	case err == nil:
		l.since = time.Time{}
		return 0
	case l.since.IsZero():
		l.since = now
	}
	return now.Sub(l.since)
}

// remember hands over what must outlive the process: at once when an alarm
// changed, before anybody is told of it, and now and then.
func (l *loop) remember(now time.Time) {
	zeros := l.rig.sweep.Zeros()
	changed := zeros != nil || len(l.frame.transitions) > 0 || l.core.dirty
	l.core.dirty = false
	if !changed && now.Before(l.saveAt) {
		return
	}
	if zeros != nil {
		l.saved.Zeros = zeros
	}
	l.saveAt = now.Add(saveEvery)
	s := l.saved
	l.core.kept(&s)
	if changed {
		l.state.store(s, storeWait)
	} else {
		l.state.put(s)
	}
}

// storeWait is how long a tick with a change waits at most for the state to be
// written; see stateFile.store.
const storeWait = 20 * time.Millisecond

func (l *loop) take() {
	for {
		select {
		case r := <-l.rig.in:
			l.rig.sweep.Put(r)
		default:
			return
		}
	}
}

// perTick bounds how many requests a tick carries out, so that a flood of them
// cannot hold it.
const perTick = 16

func (l *loop) carryOut(now time.Time) {
	for range perTick {
		select {
		case r := <-l.requests:
			r(now, l.core)
		default:
			return
		}
	}
}

func logTransition(log *slog.Logger, t *alarms.Transition) {
	level := slog.LevelInfo
	switch {
	case t.Annunciates() && t.Rule.Priority > alarms.Notice:
		level = slog.LevelWarn
	case t.State == alarms.Suppressed, t.State == alarms.Normal && t.From == alarms.Suppressed:
		level = slog.LevelDebug // comes with every change of phase, which is logged
	}
	log.Log(context.Background(), level, "alarm", "alarm", t.Rule.Name, "priority", t.Rule.Priority,
		"from", t.From, "to", t.State, "value", fmt.Sprintf("%.4g", t.Value), "seq", t.Seq,
		"test", t.Test, "restored", t.Restored)
}
