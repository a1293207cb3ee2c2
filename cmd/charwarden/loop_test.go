package main

import (
	"bufio"
	"context"
	"net"
	"testing"
	"testing/synctest"
	"time"

	"charwarden/alarms"
	"charwarden/config"
	"charwarden/sensors"
)

// wantPunctual fails unless every tick of a run of d came, and on time.
func wantPunctual(t *testing.T, b *benchRig, d time.Duration) {
	t.Helper()
	h := b.loop.frame.health
	if want := uint64(d/b.cfg.Tick) - 1; h.ticks < want || h.missed != 0 {
		t.Errorf("%d ticks and %d missed in %v, want %d and none", h.ticks, h.missed, d, want)
	}
}

func TestHungBusDoesNotStopTheLoop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBenchRig(t, nil)
		start := time.Now()
		var held string
		b.play(t, 2*time.Minute, func() {
			time.Sleep(30 * time.Second)
			b.sim.board.Hang("/dev/i2c-1", -1)
			time.Sleep(time.Minute)
			synctest.Wait()
			held = b.status("co") + " " + b.status("wall_near")
			b.sim.board.Heal("/dev/i2c-1")
		})
		wantPunctual(t, b, 2*time.Minute)
		if held != "stale good" {
			t.Errorf("co and wall_near while I2C hangs: %s, want stale and good", held)
		}
		at, ok := b.came("co_fault", start)
		if !ok || at < 32*time.Second || at > 36*time.Second {
			t.Errorf("co_fault came %v after the start (%v), want 3 to 5 s after the hang at 30 s", at, ok)
		}
		if at, ok := b.came("wall_near_fault", start); ok {
			t.Errorf("wall_near_fault came at %v: SPI does not hang", at)
		}
		if got := b.status("co"); got != "good" {
			t.Errorf("co is %s half a minute after the bus healed", got)
		}
	})
}

func TestAbsentChipHeals(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBenchRig(t, nil)
		b.sim.board.NACK("/dev/i2c-1", 0x48, -1)
		start := time.Now()
		var before string
		b.play(t, time.Minute, func() {
			time.Sleep(30 * time.Second)
			synctest.Wait()
			before = b.status("co") + " " + b.status("supply")
			b.sim.board.NACK("/dev/i2c-1", 0x48, 0)
		})
		wantPunctual(t, b, time.Minute)
		if before != "no_answer good" {
			t.Errorf("co and supply without the ADC: %s, want no_answer and good", before)
		}
		if at, ok := b.came("co_fault", start); !ok || at > 4*time.Second {
			t.Errorf("co_fault came at %v (%v), want within 4 s", at, ok)
		}
		if got := b.status("co"); got != "good" {
			t.Errorf("co is %s after the ADC came back", got)
		}
	})
}

// A full queue: the loop is slow, the owners are not held, and what was
// dropped is counted.
func TestFullQueue(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBenchRig(t, nil)
		small := make(chan sensors.Reading, 3)
		b.rig.in = small
		for _, o := range b.rig.owners {
			*o = *sensors.NewOwner(o.Name(), b.clock, small)
		}
		r := &loud{}
		b.rig.owners[0].Add(r, time.Millisecond)
		b.play(t, 10*time.Second, nil)
		wantPunctual(t, b, 10*time.Second)
		if r.calls < 9900 {
			t.Errorf("%d calls of 10000: the owner waited for the loop", r.calls)
		}
		if b.loop.frame.health.dropped < 9000 {
			t.Errorf("%d dropped are counted, want nearly all", b.loop.frame.health.dropped)
		}
	})
}

type loud struct{ calls int }

func (l *loud) Sense(now time.Time, into []sensors.Reading) []sensors.Reading {
	l.calls++
	return append(into, sensors.Reading{Channel: "wall_near", At: now, Value: 20, Status: sensors.Good})
}

// A broker that accepts and never answers, in real time: the network cannot be
// in a bubble.
func TestDeafBrokerDoesNotStopTheLoop(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go bufio.NewReader(c).WriteTo(discard{})
		}
	}()
	b := newBenchRig(t, func(c *config.Config) { c.MQTT.Broker = "tcp://" + l.Addr().String() })
	b.parts = append(b.parts, part{"mqtt", b.mqtt.Run})
	ctx, cancel := context.WithTimeout(t.Context(), 4*time.Second)
	defer cancel()
	if err := b.start(ctx); err != nil {
		t.Fatal(err)
	}
	h := b.loop.frame.health
	if h.ticks < 35 {
		t.Errorf("%d ticks and %d missed in 4 s", h.ticks, h.missed)
	}
	if h.stepMax > 50*time.Millisecond {
		t.Errorf("the longest tick took %v", h.stepMax)
	}
}

type discard struct{}

func (discard) Write(p []byte) (int, error) { return len(p), nil }

func TestClippedCellRaisesEvacuate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBenchRig(t, nil)
		start := time.Now()
		b.play(t, 30*time.Second, func() {
			time.Sleep(10 * time.Second)
			b.sim.adcs["adc"].Force(2, 3.3)
		})
		at, ok := b.came("co_evacuate", start)
		if !ok || at < 10*time.Second || at > 10*time.Second+3*b.cfg.Tick {
			t.Errorf("co_evacuate came at %v (%v), want within 3 ticks after 10 s", at, ok)
		}
		if got := b.status("co"); got != "clipped_high" {
			t.Errorf("co is %s", got)
		}
	})
}

// One flipped bit in twenty transfers for ten minutes: faults may come, false
// limit alarms may not.
func TestBitFlipsRaiseNoLimitAlarm(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBenchRig(t, nil)
		b.play(t, 10*time.Minute, func() {
			time.Sleep(20 * time.Second) // zeros are taken
			b.sim.board.Flip("/dev/i2c-1", 0.05)
			b.sim.board.Flip("/dev/spidev0.0", 0.05)
		})
		for _, f := range b.frames {
			for _, tr := range f.transitions {
				if tr.Rule.Kind == alarms.Above && tr.Annunciates() && tr.Rule.Priority > alarms.Notice {
					t.Errorf("%s came at %.4g by flipped bits", tr.Rule.Name, tr.Value)
				}
			}
		}
		wantPunctual(t, b, 10*time.Minute)
	})
}
