package siren

import (
	"errors"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"
)

// contact is the pin of a button.
type contact struct {
	gpio.PinIO
	down bool
	pull gpio.Pull
	edge gpio.Edge
	err  error
}

func (c *contact) In(p gpio.Pull, e gpio.Edge) error { c.pull, c.edge = p, e; return c.err }
func (c *contact) Read() gpio.Level                  { return gpio.Level(!c.down) }

func newButton(t *testing.T, d *desk, down bool) (*contact, *Button) {
	c := &contact{PinIO: gpio.INVALID, down: down}
	b, err := NewButton(c, d.s.log)
	if err != nil || c.pull != gpio.PullUp || c.edge != gpio.NoEdge {
		t.Fatalf("%v, %v, %v", err, c.pull, c.edge)
	}
	return c, b
}

// hold ticks at 10 Hz with the contact down or up, and collects the presses.
func hold(d *desk, c *contact, b *Button, down bool, long time.Duration) (out []Press) {
	c.down = down
	for range int(long / (100 * ms)) {
		d.now = d.now.Add(100 * ms)
		if p := b.Tick(d.now); p != NoPress {
			out = append(out, p)
		}
	}
	return out
}

func TestButton(t *testing.T) {
	for long, want := range map[time.Duration]Press{
		100 * ms:         NoPress, // one tick is bounce
		200 * ms:         ShortPress,
		900 * ms:         ShortPress,
		time.Second:      NoPress,
		2900 * ms:        NoPress,
		3 * time.Second:  LongPress,
		30 * time.Second: LongPress,
	} {
		d := newDesk(t)
		c, b := newButton(t, d, false)
		for range 3 {
			hold(d, c, b, false, time.Second)
			if got := hold(d, c, b, true, long); got != nil {
				t.Errorf("%v: %v before it is let go", long, got)
			}
			got := hold(d, c, b, false, time.Second)
			if want == NoPress && got != nil || want != NoPress && (len(got) != 1 || got[0] != want) {
				t.Errorf("%v: %v, want %v", long, got, want)
			}
		}
		if b.Stuck() || d.log.Len() > 0 {
			t.Errorf("%v: stuck %v, log %s", long, b.Stuck(), d.log.String())
		}
	}
}

// A contact that bounces for a tick, in or out, is one press.
func TestButtonBounce(t *testing.T) {
	d := newDesk(t)
	c, b := newButton(t, d, false)
	var got []Press
	for _, s := range []struct {
		down bool
		long time.Duration
	}{{false, 1000}, {true, 100}, {false, 100}, {true, 1500}, {false, 100}, {true, 1700}, {false, 100}, {true, 100}, {false, 1000}} {
		got = append(got, hold(d, c, b, s.down, s.long*ms)...)
	}
	if len(got) != 1 || got[0] != LongPress {
		t.Errorf("%v, want one long press", got)
	}
}

func TestButtonDownAtStart(t *testing.T) {
	for _, long := range []time.Duration{300 * ms, 5 * time.Second, time.Minute} {
		d := newDesk(t)
		c, b := newButton(t, d, true)
		got := append(hold(d, c, b, true, long), hold(d, c, b, false, time.Second)...)
		if got != nil {
			t.Errorf("down for %v at the start: %v", long, got)
		}
		hold(d, c, b, true, 500*ms)
		if got := hold(d, c, b, false, time.Second); len(got) != 1 || got[0] != ShortPress {
			t.Errorf("the first press after it: %v", got)
		}
	}
}

// Down for more than 30 s is a fault that is said once, and no press; after it
// the button works again.
func TestButtonStuck(t *testing.T) {
	d := newDesk(t)
	c, b := newButton(t, d, false)
	hold(d, c, b, false, time.Second)
	for round := 1; round <= 2; round++ {
		if got := hold(d, c, b, true, time.Hour); got != nil || !b.Stuck() {
			t.Errorf("%v, stuck %v", got, b.Stuck())
		}
		if n := strings.Count(d.log.String(), "button down for 30 s"); n != round {
			t.Errorf("said %d times in round %d", n, round)
		}
		if got := hold(d, c, b, false, time.Second); got != nil || b.Stuck() {
			t.Errorf("let go: %v, stuck %v", got, b.Stuck())
		}
		hold(d, c, b, true, 4*time.Second)
		if got := hold(d, c, b, false, time.Second); len(got) != 1 || got[0] != LongPress {
			t.Errorf("after it: %v", got)
		}
	}
}

func TestNoButton(t *testing.T) {
	d := newDesk(t)
	b, err := NewButton(nil, d.s.log)
	if err != nil || b.Tick(d.now) != NoPress {
		t.Errorf("not fitted: %v", err)
	}
	if _, err := NewButton(&contact{PinIO: gpio.INVALID, err: errWire}, d.s.log); !errors.Is(err, errWire) {
		t.Errorf("refused: %v", err)
	}
}
