package main

import (
	"container/heap"
	"context"
	"sync"
	"time"
)

// fastClock is the time of `demo`. It starts with the system's and runs up to
// speed times as fast, for the whole daemon alike. It jumps from one sleeper's
// time to the next and, before each jump, lets those that it has woken go back
// to sleep: where the machine is too slow for the speed that was asked for,
// time runs slower instead of making every reading late.
type fastClock struct {
	start    time.Time
	speed    float64
	patience time.Duration

	mu      sync.Mutex
	now     time.Time
	asleep  sleepers
	awake   int           // woken and not yet asleep again
	changed chan struct{} // asleep or awake changed; one place
}

// catchUp is how far time may have fallen behind and still be made up for.
const catchUp = 500 * time.Millisecond

// usualPatience is how long in real time the clock waits for those that it woke.
// One that waits for something else, such as a bus that hangs, is then left out.
const usualPatience = 50 * time.Millisecond

func newFastClock(speed float64) *fastClock {
	now := time.Now()
	return &fastClock{start: now, now: now, speed: speed, patience: usualPatience, changed: make(chan struct{}, 1)}
}

func (c *fastClock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *fastClock) Sleep(ctx context.Context, d time.Duration) {
	c.mu.Lock()
	c.awake = max(0, c.awake-1)
	s := &sleeper{at: c.now.Add(max(0, d)), wake: make(chan struct{})}
	heap.Push(&c.asleep, s)
	c.mu.Unlock()
	c.signal()
	select {
	case <-s.wake: // Run counted us as awake
	case <-ctx.Done():
		c.mu.Lock()
		if s.index >= 0 {
			heap.Remove(&c.asleep, s.index)
			c.awake++
		}
		c.mu.Unlock()
		c.signal()
	}
}

func (c *fastClock) signal() {
	select {
	case c.changed <- struct{}{}:
	default:
	}
}

// Run drives the clock until ctx ends.
func (c *fastClock) Run(ctx context.Context) error {
	began := time.Now() // real time of start; moves on while time runs slower
	for ctx.Err() == nil {
		next, busy, any := c.next()
		switch {
		case !any:
			c.await(ctx, time.Hour)
		case busy:
			if !c.await(ctx, c.patience) {
				c.giveUp()
			}
		default:
			due := began.Add(time.Duration(float64(next.Sub(c.start)) / c.speed))
			if ahead := time.Until(due); ahead > time.Millisecond {
				c.await(ctx, ahead)
				continue
			} else if behind := -ahead - catchUp; behind > 0 {
				began = began.Add(behind)
			}
			c.jump(next)
		}
	}
	return nil
}

func (c *fastClock) next() (at time.Time, busy, any bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.asleep) == 0 {
		return at, false, false
	}
	return c.asleep[0].at, c.awake > 0, true
}

// await waits for a change and reports whether one came within the time.
func (c *fastClock) await(ctx context.Context, limit time.Duration) bool {
	t := time.NewTimer(limit)
	defer t.Stop()
	select {
	case <-c.changed:
		return true
	case <-t.C:
	case <-ctx.Done():
	}
	return false
}

func (c *fastClock) giveUp() {
	c.mu.Lock()
	c.awake = 0
	c.mu.Unlock()
}

// jump makes it t and wakes whoever waits for that.
func (c *fastClock) jump(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if t.After(c.now) {
		c.now = t
	}
	for len(c.asleep) > 0 && !c.asleep[0].at.After(c.now) {
		close(heap.Pop(&c.asleep).(*sleeper).wake)
		c.awake++
	}
}

// sleeper waits for a time; index is its place in the heap, -1 when woken.
type sleeper struct {
	at    time.Time
	wake  chan struct{}
	index int
}

// sleepers is a heap, the earliest first.
type sleepers []*sleeper

func (s sleepers) Len() int           { return len(s) }
func (s sleepers) Less(i, j int) bool { return s[i].at.Before(s[j].at) }
func (s sleepers) Swap(i, j int) {
	s[i], s[j] = s[j], s[i]
	s[i].index, s[j].index = i, j
}
func (s *sleepers) Push(x any) {
	n := x.(*sleeper)
	n.index = len(*s)
	*s = append(*s, n)
}
func (s *sleepers) Pop() any {
	old := *s
	n := old[len(old)-1]
	n.index = -1
	*s = old[:len(old)-1]
	return n
}
