package siren

import (
	"fmt"
	"log/slog"
	"time"

	"periph.io/x/conn/v3/gpio"
)

// Press is what somebody did to a Button.
type Press uint8

const (
	NoPress    Press = iota
	ShortPress       // let go within 1 s: silence the horn
	LongPress        // held for 3 s or longer: reset the run permit
)

const (
	shortPress = time.Second
	longPress  = 3 * time.Second
	stuckAfter = 30 * time.Second
)

// Button is a make contact to ground on a pin that pulls up. It belongs to one
// goroutine.
//
// A press counts when it ends: a contact that is shorted, or a pin that cannot
// be read (which reads as pressed), never resets anything. Held between 1 and
// 3 s it does nothing: somebody thought better of it.
type Button struct {
	pin                   gpio.PinIn // nil: not fitted
	log                   *slog.Logger
	last                  bool      // the newest sample: pressed
	down                  bool      // the debounced state
	from                  time.Time // of the newest samples that are alike
	since                 time.Time // of down
	begun, ignored, stuck bool
}

// NewButton makes the pin an input with pull-up. Nil is a button that is not
// fitted and never pressed.
func NewButton(pin gpio.PinIn, log *slog.Logger) (*Button, error) {
	if pin != nil {
		if err := pin.In(gpio.PullUp, gpio.NoEdge); err != nil {
			return nil, fmt.Errorf("siren: button: pin %s: %w", pin.Name(), err)
		}
	}
	return &Button{pin: pin, log: log}, nil
}

// Tick looks at the pin and returns the press that has just ended. A level
// counts when two ticks have seen it. A button that is down at the first tick
// is ignored until it is let go, and so is one that is down for 30 s, which is
// said once.
func (b *Button) Tick(now time.Time) Press {
	if b.pin == nil {
		return NoPress
	}
	low := b.pin.Read() == gpio.Low
	if !b.begun {
		b.begun = true
		b.last, b.down, b.ignored = low, low, low
		b.from, b.since = now, now
		return NoPress
	}
	if low != b.last {
		b.last, b.from = low, now
		return NoPress
	}
	if low == b.down {
		if b.down && !b.stuck && now.Sub(b.since) > stuckAfter {
			b.stuck, b.ignored = true, true
			b.log.Warn("button down for 30 s: ignored until it is let go; look for something that leans on it, or a short", "pin", b.pin.Name())
		}
		return NoPress
	}
	held, ignored := b.from.Sub(b.since), b.ignored
	b.down, b.since = low, b.from
	if low {
		return NoPress
	}
	b.ignored, b.stuck = false, false
	switch {
	case ignored:
	case held < shortPress:
		return ShortPress
	case held >= longPress:
		return LongPress
	}
	return NoPress
}

// Stuck reports whether the button is down for too long to be pressed.
func (b *Button) Stuck() bool { return b.stuck }
