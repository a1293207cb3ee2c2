package sensors

import (
	"context"
	"sync/atomic"
	"time"
)

// Sensor is one thing that an Owner asks on schedule.
type Sensor interface {
	// Sense takes one reading of each of its channels and appends them. It may
	// take as long as the bus does, and append nothing where a chip is not
	// ready yet. now is the time at the call.
	Sense(now time.Time, into []Reading) []Reading
}

// Owner is the one goroutine that touches a bus. It asks its sensors on an
// absolute grid, the most overdue first, and hands every reading to the loop.
// periph's calls have no time-out: a call that hangs hangs the owner, whose
// channels then age into faults in the loop; it goes on when the call returns.
type Owner struct {
	name  string
	clock Clock
	out   chan<- Reading
	tasks []task

	inCall  atomic.Int64 // Unix ns at which the present Sense began, 0 between calls
	dropped atomic.Uint64
	missed  atomic.Uint64
}

type task struct {
	sensor Sensor
	every  time.Duration
	due    time.Time
}

// NewOwner makes the owner of the bus called name. Readings go to out, which
// must have room for a tick's worth: a reading that finds it full is dropped
// and counted, because an owner never waits for anyone but its bus.
func NewOwner(name string, c Clock, out chan<- Reading) *Owner {
	return &Owner{name: name, clock: c, out: out}
}

// Add schedules a sensor; only before Run.
func (o *Owner) Add(s Sensor, every time.Duration) {
	o.tasks = append(o.tasks, task{sensor: s, every: every})
}

// Name returns the bus's name.
func (o *Owner) Name() string { return o.name }

// Stuck returns how long the present call has lasted; safe from any goroutine.
func (o *Owner) Stuck(now time.Time) time.Duration {
	if t := o.inCall.Load(); t != 0 {
		return max(0, time.Duration(now.UnixNano()-t))
	}
	return 0
}

// Dropped counts readings that found the loop's queue full.
func (o *Owner) Dropped() uint64 { return o.dropped.Load() }

// Missed counts readings that were not taken because the bus was too slow.
func (o *Owner) Missed() uint64 { return o.missed.Load() }

// Run asks until ctx ends. It returns nil, as soon as the call that the owner
// is in returns.
func (o *Owner) Run(ctx context.Context) error {
	start := o.clock.Now()
	for i := range o.tasks {
		o.tasks[i].due = start
	}
	var buf []Reading
	for ctx.Err() == nil && len(o.tasks) > 0 {
		t := o.mostOverdue()
		if wait := t.due.Sub(o.clock.Now()); wait > 0 {
			o.clock.Sleep(ctx, wait)
			continue
		}
		now := o.clock.Now()
		if n := now.Sub(t.due) / t.every; n > 0 { // keep the grid, skip whole periods
			o.missed.Add(uint64(n))
			t.due = t.due.Add(n * t.every)
		}
		t.due = t.due.Add(t.every)
		o.inCall.Store(now.UnixNano())
		buf = t.sensor.Sense(now, buf[:0])
		o.inCall.Store(0)
		for _, r := range buf {
			o.hand(r)
		}
	}
	return nil
}

func (o *Owner) mostOverdue() *task {
	first := &o.tasks[0]
	for i := range o.tasks[1:] {
		if t := &o.tasks[i+1]; t.due.Before(first.due) {
			first = t
		}
	}
	return first
}

func (o *Owner) hand(r Reading) {
	select {
	case o.out <- r:
	default:
		o.dropped.Add(1)
	}
}
