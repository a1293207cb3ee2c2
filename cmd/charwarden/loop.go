package main

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
)

// frame is what one tick knows; outputs copy what they keep.
type frame struct {
	now         time.Time
	readings    []sensors.Reading   // of every channel, in the order of the configuration
	alarms      []alarms.Alarm      // every rule, in order
	transitions []alarms.Transition // of this tick
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
// person how it went. A transition beside an error does not count.
type request func(now time.Time, e *alarms.Engine) (alarms.Transition, error)

// loop is the one owner of readings and alarms. It ticks on an absolute grid
// whatever the buses and the outputs do.
type loop struct {
	clock    sensors.Clock
	tick     time.Duration
	rig      *rig
	engine   *alarms.Engine
	requests chan request
	outputs  []output // in the order in which they are served
	alive    *notifier
	state    *stateFile
	log      *slog.Logger

	frame frame
	made  []alarms.Transition // by requests, before the step
}

// Run ticks until ctx ends.
func (l *loop) Run(ctx context.Context) error {
	next := l.clock.Now().Add(l.tick)
	for {
		l.clock.Sleep(ctx, next.Sub(l.clock.Now()))
		if ctx.Err() != nil {
			return nil
		}
		now := l.clock.Now()
		if late := now.Sub(next); late >= l.tick {
			n := late / l.tick
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
	f.now = now
	l.made = l.made[:0]
	l.take()
	f.readings = l.rig.sweep.Tick(now)
	l.carryOut(now)
	f.transitions = append(l.made, l.engine.Step(now, f.readings)...)
	l.made = f.transitions
	f.alarms = l.engine.Alarms(f.alarms[:0])
	f.health.ticks++
	f.health.dropped, f.health.skipped = 0, 0
	for _, o := range l.rig.owners {
		f.health.dropped += o.Dropped()
		f.health.skipped += o.Missed()
	}
	for i := range f.transitions {
		logTransition(l.log, &f.transitions[i])
	}
	for _, out := range l.outputs {
		out(f)
	}
	if err := l.rig.sweep.Refused(); err != nil {
		l.log.Warn("zero not taken", "err", err)
	}
	if zeros := l.rig.sweep.Zeros(); zeros != nil {
		l.state.put(saved{Zeros: zeros})
	}
	l.alive.tick(now, l.rig.sweep.Answered())
	f.health.step = l.clock.Now().Sub(now)
	f.health.stepMax = max(f.health.stepMax, f.health.step)
}

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
			if t, err := r(now, l.engine); err == nil {
				l.made = append(l.made, t)
			}
		default:
			return
		}
	}
}

func logTransition(log *slog.Logger, t *alarms.Transition) {
	level := slog.LevelInfo
	if t.State == alarms.Unacknowledged && t.Rule.Priority > alarms.Notice {
		level = slog.LevelWarn
	}
	log.Log(context.Background(), level, "alarm", "alarm", t.Rule.Name, "priority", t.Rule.Priority,
		"from", t.From, "to", t.State, "value", fmt.Sprintf("%.4g", t.Value), "seq", t.Seq)
}
