package cocell

import "time"

// learnMoves is how often the code must move in one Learn window: one step may
// be gas, several are noise.
const learnMoves = 3

// Stuck watches the ADC's code for standing still, which a living amplifier's
// noise does not do: a dead ADC, a frozen bus or a broken wire. It judges only
// where it has seen noise: the code must first have moved several times within
// one Learn window, else it never fires. It says nothing about a dead cell,
// whose amplifier goes on making noise. Memory is fixed; one goroutine owns it.
type Stuck struct {
	After time.Duration // standing still so long is a fault; above 0
	Learn time.Duration // window in which noise must show itself; above 0

	started bool
	noisy   bool
	moves   int
	code    int16
	window  time.Time // start of the learning window
	moved   time.Time // when the code last moved
}

// Step takes the code read at now and reports whether it has stood still for
// After. It takes its report back as soon as the code moves again.
func (s *Stuck) Step(now time.Time, code int16) bool {
	if !s.started {
		s.started, s.code, s.window, s.moved = true, code, now, now
		return false
	}
	if !s.noisy && now.Sub(s.window) > s.Learn {
		s.moves, s.window = 0, now
	}
	if code != s.code {
		s.code, s.moved = code, now
		s.moves++
		s.noisy = s.noisy || s.moves >= learnMoves
	}
	return s.noisy && now.Sub(s.moved) >= s.After
}
