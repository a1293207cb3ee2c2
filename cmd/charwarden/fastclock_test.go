package main

import (
	"context"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

// Time does not pass a sleeper that was woken and is still at work, so that a
// slow machine makes no reading late.
func TestFastClockWaitsForWhomItWoke(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newFastClock(60)
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		var wg sync.WaitGroup
		work := func(every, cost time.Duration) {
			for next := c.start; ctx.Err() == nil; {
				next = next.Add(every)
				c.Sleep(ctx, next.Sub(c.Now()))
				time.Sleep(cost) // of real time
				if late := c.Now().Sub(next); late != 0 && ctx.Err() == nil {
					t.Errorf("a sleeper found itself %v late", late)
				}
			}
		}
		wg.Go(func() { work(100*time.Millisecond, time.Millisecond) })
		wg.Go(func() { work(700*time.Millisecond, 30*time.Millisecond) })
		wg.Go(func() { c.Run(ctx) })
		time.Sleep(10 * time.Second)
		cancel()
		wg.Wait()
		ran := c.Now().Sub(c.start)
		if ran < 60*time.Second || ran > 600*time.Second {
			t.Errorf("%v passed in 10 s at 60 times with work that takes longer", ran)
		}
	})
}

// One that never comes back holds time up once only, and for a moment.
func TestFastClockLeavesOutWhoHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newFastClock(30)
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		go func() {
			c.Sleep(ctx, time.Second)
			<-ctx.Done() // a bus that hangs
		}()
		ticks := 0
		go func() {
			for ctx.Err() == nil {
				c.Sleep(ctx, 100*time.Millisecond)
				ticks++
			}
		}()
		go c.Run(ctx)
		time.Sleep(10 * time.Second)
		cancel()
		synctest.Wait()
		if ticks < 2900 || ticks > 3001 {
			t.Errorf("%d ticks of 0.1 s in 10 s at 30 times", ticks)
		}
	})
}
