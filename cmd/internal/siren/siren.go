package siren

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"time"

	"periph.io/x/conn/v3/gpio"

	"charwarden/alarms"
	"charwarden/sensors"
)

// idle bounds how long the player sleeps while no edge is to come.
const idle = time.Hour

// Opts are what a Siren drives. A pin that is nil is not fitted.
type Opts struct {
	Horn, Red, Yellow, Green gpio.PinOut
	Clock                    sensors.Clock
	Log                      *slog.Logger
}

// Siren owns the horn and the lamps. Update drives them as of its now; between
// two updates Run makes the edges, so that a loop that hangs leaves the horn
// sounding and puts the green lamp out. All methods may be called from any
// goroutine; every now is of the same clock, with its monotonic part.
//
// The horn sounds temporal-4 while an alarm of hazard Gas and priority alarm or
// evacuate is unacknowledged; else temporal-3 for one of hazard Fire, and for
// an evacuate without a hazard; an evacuate until it is acknowledged even if its
// condition has gone. Every other call of priority caution or above is one chirp,
// repeated every 4 min by priority alarm while it is unacknowledged. Notices and
// what is shelved, suppressed or out of service make no sound. What test gas
// raised sounds as if it were real.
type Siren struct {
	clock sensors.Clock
	log   *slog.Logger

	mu      sync.Mutex
	lines   [outputs]line
	calls   []call // of every alarm
	chirp   bool   // one is due
	horn    voice
	red     voice
	yellow  voice
	stands  bool      // something that withholds green
	watched time.Time // the last Update; zero: none
	testing time.Time // since when a test runs; zero: none
	now     time.Time // to which the outputs were brought
	planned time.Time // when the player wakes
	wake    context.CancelFunc
	ended   bool // Run has switched the outputs off
}

// New returns a Siren that has not touched its pins.
func New(o Opts) *Siren {
	s := &Siren{clock: o.Clock, log: o.Log}
	for i, pin := range [outputs]gpio.PinOut{o.Horn, o.Red, o.Yellow, o.Green} {
		s.lines[i] = line{name: outputNames[i], pin: pin, log: o.Log}
	}
	return s
}

// Update brings horn and lamps to what stands at now, before it returns. as is
// every alarm, in an order that stays the same; ts are the changes since the
// last Update. It keeps neither, does not wait and, unless a pin fails, does not
// allocate after the first call.
func (s *Siren) Update(now time.Time, as []alarms.Alarm, ts []alarms.Transition) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.calls) != len(as) {
		s.calls = make([]call, len(as))
	}
	for i := range as {
		s.calls[i].follow(&as[i], now)
	}
	for i := range ts {
		t := &ts[i]
		if !t.Annunciates() {
			continue
		}
		s.testing = time.Time{}
		if t.Rule.Priority >= alarms.Caution {
			s.chirp = true // unless a signal sounds
		}
		if t.Rule.Priority >= alarms.High {
			s.unhush()
		}
	}
	s.show(as, now)
	s.refresh(now)
}

// Silence puts off what sounds at now, for the person by: the horn is quiet for
// 2 min, an evacuate for 1 min. It reports whether anything was put off. What
// has been silenced already is not put off further, so that however often
// somebody asks, an evacuate is heard every minute. An alarm of priority alarm
// or evacuate that is newly raised, or calls again, ends every silence; a new
// caution is heard as its chirp.
func (s *Siren) Silence(now time.Time, by string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	n := 0
	for i := range s.calls {
		if c := &s.calls[i]; c.calls(now) {
			c.hush(now)
			n++
		}
	}
	chirping, _ := s.horn.at(now)
	cut := chirping && s.horn.Pattern == Chirp || !s.testing.IsZero()
	if cut {
		s.horn, s.testing = voice{}, time.Time{}
	}
	if n > 0 {
		s.log.Info("horn silenced", "person", by, "alarms", n)
	}
	s.refresh(now)
	return n > 0 || cut
}

// unhush ends every silence.
func (s *Siren) unhush() {
	for i := range s.calls {
		s.calls[i].silent = time.Time{}
	}
}

// Test plays every sound and every lamp for a short time, TestTime in all. A
// call of any alarm ends it at once; it is refused with ErrCalls while an alarm
// sounds or is silenced. The lamps of what stands stay lit, and the green one
// is not tested while something stands.
func (s *Siren) Test(now time.Time) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i := range s.calls {
		if s.calls[i].sound != Off {
			return ErrCalls
		}
	}
	s.testing = now
	s.refresh(now)
	return nil
}

// Fault returns what is wrong with the outputs, nil if each took its last write.
func (s *Siren) Fault() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	var all error
	for i := range s.lines {
		if err := s.lines[i].err; err != nil {
			all = errors.Join(all, err)
		}
	}
	return all
}

// Failures is how many writes to the pins were refused so far.
func (s *Siren) Failures() (n uint64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i := range s.lines {
		n += s.lines[i].failures
	}
	return n
}
