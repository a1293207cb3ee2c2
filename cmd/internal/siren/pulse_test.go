package siren

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/gpio"

	"charwarden/alarms"
	"charwarden/sensors/sim"
)

func quietLog() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// detector models the missing-pulse detector with its relay: closed by an edge
// of either direction, open once none has come for its time.
type detector struct {
	board  *sim.Board
	pin    string
	holds  time.Duration
	edges  int
	at     time.Time // of the newest edge
	opened time.Time // when it last opened; zero: never
	opens  int
	closed bool
}

// look is to be called more often than anything happens.
func (d *detector) look(now time.Time) {
	_, n := d.board.Output(d.pin)
	if n != d.edges {
		d.edges, d.at, d.closed = n, now, true
	}
	if d.closed && now.Sub(d.at) >= d.holds {
		d.closed, d.opened = false, now
		d.opens++
	}
}

// detectors are the two ends of what a sound detector may be: one that bears
// hardly more than 0.5 s without an edge, and one that takes 1 s to drop.
func detectors(b *sim.Board, pin string) []*detector {
	return []*detector{{board: b, pin: pin, holds: 501 * ms}, {board: b, pin: pin, holds: time.Second}}
}

// While the loop ticks, however unevenly, the relay is closed; when it stops,
// whatever level is left on the pin, the relay is open within 1 s.
func TestPulseIntoDetector(t *testing.T) {
	for _, ticks := range []int{100, 101} { // an end on either level
		synctest.Test(t, func(t *testing.T) {
			board := sim.NewBoard(system{}, 1)
			pin, err := board.Pin("GPIO20")
			if err != nil {
				t.Fatal(err)
			}
			ds := detectors(board, "GPIO20")
			watch := func(long time.Duration) {
				for range int(long / ms) {
					time.Sleep(ms)
					synctest.Wait()
					for _, d := range ds {
						d.look(time.Now())
					}
				}
			}
			p := NewPulse("watch pulse", pin, quietLog())
			watch(2 * time.Second)
			for _, d := range ds {
				if d.closed || d.opens > 0 {
					t.Error("closed before the first tick")
				}
			}
			for i := range ticks {
				p.Tick()
				watch([]time.Duration{100, 100, 20, 180, 100, 450}[i%6] * ms)
			}
			ended := ds[0].at
			for _, d := range ds {
				if !d.closed || d.opens > 0 || d.edges != ticks {
					t.Errorf("holds %v: closed %v, opened %d times, %d edges of %d ticks", d.holds, d.closed, d.opens, d.edges, ticks)
				}
			}
			watch(time.Hour / 60)
			left, _ := board.Output("GPIO20")
			if left != gpio.Level(ticks%2 == 1) {
				t.Errorf("left %v after %d ticks", left, ticks)
			}
			for _, d := range ds {
				if dropped := d.opened.Sub(ended); d.closed || d.opens != 1 || dropped > time.Second {
					t.Errorf("left %v, holds %v: closed %v, dropped after %v", left, d.holds, d.closed, dropped)
				}
			}
		})
	}
}

// A loop as the daemon's: siren, permit, edges, in this order. The permit's
// relay drops within 1 s of the first reading that trips it, while the watch
// goes on; when the loop hangs both drop, while the horn goes on; a reset
// brings the permit back.
func TestLoopIntoDetectors(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		board := sim.NewBoard(system{}, 1)
		pin := func(name string) gpio.PinOut {
			p, err := board.Pin(name)
			if err != nil {
				t.Fatal(err)
			}
			return p
		}
		s := New(Opts{Horn: pin("GPIO5"), Clock: system{}, Log: quietLog()})
		watching, permitted := NewPulse("watch pulse", pin("GPIO20"), quietLog()), NewPulse("run permit", pin("GPIO21"), quietLog())
		var permit Permit
		rules := rules()
		as := make([]alarms.Alarm, len(rules))
		for i := range rules {
			as[i].Rule = &rules[i]
		}
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- s.Run(ctx) }()

		relays := append(detectors(board, "GPIO20"), detectors(board, "GPIO21")...)
		look := func(long time.Duration, hangs bool) {
			for at := range int(long / ms) {
				if at%100 == 0 && !hangs {
					now := time.Now()
					permit.Step(now, as, false)
					s.Update(now, as, nil)
					watching.Tick()
					if held, _ := permit.Held(); held {
						permitted.Tick()
					}
				}
				time.Sleep(ms)
				synctest.Wait()
				for _, d := range relays {
					d.look(time.Now())
				}
			}
		}
		want := func(what string, watch, permit bool) {
			t.Helper()
			for i, d := range relays {
				if d.closed != []bool{watch, permit}[i/2] {
					t.Errorf("%s: %s, holds %v: closed %v", what, d.pin, d.holds, d.closed)
				}
			}
		}
		look(5*time.Second, false)
		want("watching", true, true)
		as[wallStop].State = alarms.Unacknowledged
		look(time.Second, false)
		want("tripped for 1 s", true, false)
		as[wallStop].State = alarms.Normal
		look(5*time.Second, false)
		want("gone, not reset", true, false)
		if err := permit.Reset(time.Now()); err != nil {
			t.Error(err)
		}
		look(200*ms, false)
		want("reset", true, true)
		as[coEvacuate].State = alarms.Unacknowledged
		as[coEvacuate].Test = true
		look(3*time.Second, false)
		want("test gas", true, true)
		look(time.Second, true)
		want("hung for 1 s", false, false)
		_, before := board.Output("GPIO5")
		look(57*time.Second, true)
		want("hung for a minute", false, false)
		if _, after := board.Output("GPIO5"); after-before != 80 { // temporal-4: 8 edges every 5.7 s
			t.Errorf("%d edges of the horn in 57 s while the loop hangs", after-before)
		}
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
}

// A refused edge is made by the next tick; the log sees two lines.
func TestRefusedPulse(t *testing.T) {
	d := newDesk(t)
	w := newWire(t, "GPIO20")
	p := NewPulse("watch pulse", w, d.s.log)
	p.Tick()
	w.refuse(errWire)
	for range 5 {
		p.Tick()
	}
	if !errors.Is(p.Fault(), errWire) || p.Failures() != 5 || !w.on() {
		t.Errorf("fault %v, %d failures, pin %v", p.Fault(), p.Failures(), w.on())
	}
	w.refuse(nil)
	if p.Tick(); p.Fault() != nil || w.on() {
		t.Errorf("fault %v, pin %v", p.Fault(), w.on())
	}
	NewPulse("run permit", nil, d.s.log).Tick() // not fitted
}
