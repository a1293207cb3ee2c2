package sensors

import (
	"context"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// bubbleClock is the system's clock, which a synctest bubble fakes.
type bubbleClock struct{}

func (bubbleClock) Now() time.Time { return time.Now() }
func (bubbleClock) Sleep(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}

// scripted is a sensor of one channel; take says how long a call lasts.
type scripted struct {
	channel string
	calls   atomic.Int64
	take    func(call int64) time.Duration
}

func (s *scripted) Sense(now time.Time, into []Reading) []Reading {
	call := s.calls.Add(1)
	if s.take != nil {
		time.Sleep(s.take(call))
	}
	return append(into, Reading{Channel: s.channel, At: now, Value: float64(call), Status: Good})
}

func TestOwnerKeepsItsGrid(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		out := make(chan Reading, 1000)
		o := NewOwner("bus", bubbleClock{}, out)
		fast, slow := &scripted{channel: "fast"}, &scripted{channel: "slow"}
		o.Add(fast, 100*time.Millisecond)
		o.Add(slow, time.Second)
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second-time.Millisecond)
		defer cancel()
		start := time.Now()
		if err := o.Run(ctx); err != nil {
			t.Fatal(err)
		}
		if fast.calls.Load() != 100 || slow.calls.Load() != 10 {
			t.Errorf("%d and %d calls in 10 s, want 100 and 10", fast.calls.Load(), slow.calls.Load())
		}
		close(out)
		for r := range out {
			if r.Channel == "fast" {
				if off := r.At.Sub(start) % (100 * time.Millisecond); off != 0 {
					t.Fatalf("reading off the grid by %v", off)
				}
			}
		}
		if o.Missed() != 0 || o.Dropped() != 0 {
			t.Errorf("missed %d, dropped %d, want none", o.Missed(), o.Dropped())
		}
	})
}

// A call that hangs is never doubled; the owner says for how long it has been
// stuck and goes on, on its grid, when the call returns.
func TestOwnerHangsAndHeals(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		out := make(chan Reading, 1000)
		o := NewOwner("bus", bubbleClock{}, out)
		s := &scripted{channel: "c", take: func(call int64) time.Duration {
			if call == 11 {
				return time.Minute
			}
			return 0
		}}
		o.Add(s, 100*time.Millisecond)
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		go o.Run(ctx)
		time.Sleep(31 * time.Second)
		synctest.Wait()
		if s.calls.Load() != 11 {
			t.Errorf("%d calls while the bus hangs, want 11", s.calls.Load())
		}
		if stuck := o.Stuck(time.Now()); stuck != 30*time.Second {
			t.Errorf("stuck for %v, want 30s", stuck)
		}
		time.Sleep(31 * time.Second) // heals at 61 s; now 62 s
		synctest.Wait()
		if s.calls.Load() < 20 || s.calls.Load() > 22 {
			t.Errorf("%d calls a second after it healed, want about 21", s.calls.Load())
		}
		if o.Missed() < 590 {
			t.Errorf("%d readings counted as missed in a minute at 10 Hz", o.Missed())
		}
		if o.Stuck(time.Now()) != 0 {
			t.Error("still stuck")
		}
	})
}

func TestOwnerNeverWaitsForTheLoop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		out := make(chan Reading, 5) // nobody reads
		o := NewOwner("bus", bubbleClock{}, out)
		s := &scripted{channel: "c"}
		o.Add(s, 100*time.Millisecond)
		ctx, cancel := context.WithTimeout(t.Context(), 2*time.Second-time.Millisecond)
		defer cancel()
		o.Run(ctx)
		if s.calls.Load() != 20 || o.Dropped() != 15 {
			t.Errorf("%d calls and %d dropped, want 20 and 15", s.calls.Load(), o.Dropped())
		}
	})
}

func TestOwnerServesTheMostOverdue(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		out := make(chan Reading, 1000)
		o := NewOwner("bus", bubbleClock{}, out)
		long := func(int64) time.Duration { return 40 * time.Millisecond }
		a, b, c := &scripted{channel: "a", take: long}, &scripted{channel: "b", take: long}, &scripted{channel: "c", take: long}
		for _, s := range []*scripted{a, b, c} { // 120 ms of work each 100 ms
			o.Add(s, 100*time.Millisecond)
		}
		ctx, cancel := context.WithTimeout(t.Context(), 12*time.Second)
		defer cancel()
		o.Run(ctx)
		for _, s := range []*scripted{a, b, c} {
			if s.calls.Load() < 50 {
				t.Errorf("%s: %d calls of 120: an overloaded bus must starve nobody", s.channel, s.calls.Load())
			}
		}
	})
}
