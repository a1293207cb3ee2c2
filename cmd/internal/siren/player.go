package siren

import (
	"context"
	"time"

	"periph.io/x/conn/v3/gpio"
)

// Run makes the edges between two updates until ctx ends; then it switches horn
// and lamps off, and later updates leave them so.
func (s *Siren) Run(ctx context.Context) error {
	s.mu.Lock()
	s.ended = false
	s.mu.Unlock()
	for ctx.Err() == nil {
		s.mu.Lock()
		now := s.clock.Now()
		s.planned = s.play(now)
		asleep, wake := context.WithCancel(ctx)
		s.wake = wake
		long := s.planned.Sub(now)
		s.mu.Unlock()
		s.clock.Sleep(asleep, long)
		wake()
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.ended, s.wake = true, nil
	for i := range s.lines {
		s.lines[i].drive(gpio.Low)
	}
	return nil
}

// refresh brings the outputs to now, and wakes the player if its next edge has
// come nearer. Needs s.mu.
func (s *Siren) refresh(now time.Time) {
	if s.ended {
		return
	}
	if next := s.play(now); s.wake != nil && next.Before(s.planned) {
		s.planned = next
		s.wake()
	}
}

// play brings the outputs to now and returns when they are to change next, at
// most idle away. It depends on nothing but s and now, so it does not matter
// who calls it. Needs s.mu.
func (s *Siren) play(now time.Time) (next time.Time) {
	if now.Before(s.now) { // the loop took its time before the player took his
		now = s.now
	}
	s.now = now
	next = now.Add(idle)

	due := s.blow(now)
	on, edge := s.horn.at(now)
	next = sooner(sooner(next, due), edge)
	redOn, edge := s.red.at(now)
	next = sooner(next, edge)
	yellowOn, edge := s.yellow.at(now)
	next = sooner(next, edge)

	greenOn := false
	if fresh := s.watched.Add(watchFor); !s.watched.IsZero() && now.Before(fresh) {
		greenOn = !s.stands
		next = sooner(next, fresh)
	}
	if !s.testing.IsZero() {
		output, edge, over := rehearse(now.Sub(s.testing))
		if over {
			s.testing = time.Time{}
		} else {
			next = sooner(next, s.testing.Add(edge))
			on, redOn, yellowOn = on || output == horn, redOn || output == red, yellowOn || output == yellow
			greenOn = output == green && !s.stands
		}
	}
	s.lines[horn].drive(gpio.Level(on))
	s.lines[red].drive(gpio.Level(redOn))
	s.lines[yellow].drive(gpio.Level(yellowOn))
	s.lines[green].drive(gpio.Level(greenOn))
	return next
}

// blow chooses the horn's sound and returns when the choice may change by
// itself. A signal that goes on is not begun anew; a chirp that is due while one
// sounds is part of it. Needs s.mu.
func (s *Siren) blow(now time.Time) (due time.Time) {
	signal, chirp := Off, s.chirp
	s.chirp = false
	for i := range s.calls {
		c := &s.calls[i]
		switch {
		case c.sound == Off:
		case !c.calls(now):
			due = sooner(due, c.silent)
		case c.sound == Chirp:
			if !c.again.After(now) {
				chirp = true
				c.again = now.Add(chirpAgain)
			}
			due = sooner(due, c.again)
		case c.sound == Temporal4 || signal == Off: // gas wins over fire
			signal = c.sound
		}
	}
	switch on, _ := s.horn.at(now); {
	case signal != Off:
		s.horn.play(signal, now)
	case chirp && !(s.horn.Pattern == Chirp && on):
		s.horn = voice{Chirp, now}
	case s.horn.Pattern != Chirp:
		s.horn.play(Off, now)
	}
	return due
}
