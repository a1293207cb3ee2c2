package sensors

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"time"
)

// Sweep holds the newest reading of every channel and decides which of them
// may be believed. It belongs to the loop: Put what the owners send, then Tick
// once. It does no I/O and reads no clock.
type Sweep struct {
	start    time.Time
	channels []Channel
	index    map[string]int
	state    []channelState
	readings []Reading
	offSince time.Time // engine known to be off since, zero: running or unknown
	zeroed   bool      // a zero was taken since Zeros was last asked
	refused  error     // a zero was refused since Refused was last asked
}

type channelState struct {
	fresh  bool // a reading came since the last Tick
	step   stepCheck
	frozen frozenCheck
	couple coupleCheck
	zero   zeroing
	shift  float64 // taken off by a calibration, in the channel's unit
	span   float64 // and then multiplied; 0 is 1
	hotIdx []int
}

// unseen forgets what only holds while readings come: that nothing changed.
func (st *channelState) unseen() {
	st.frozen.since, st.couple.shortSince, st.zero.n = time.Time{}, time.Time{}, 0
}

// NewSweep makes a sweep of the channels, in this order, with zeros that were
// stored earlier. Until its first reading a channel is Unknown, later NoAnswer.
func NewSweep(channels []Channel, zeros map[string]Zero, start time.Time) (*Sweep, error) {
	s := &Sweep{
		start: start, channels: channels, index: make(map[string]int, len(channels)),
		state: make([]channelState, len(channels)), readings: make([]Reading, len(channels)),
	}
	var errs []error
	for i, c := range channels {
		if _, dup := s.index[c.Name]; dup {
			errs = append(errs, fmt.Errorf("channel %s: named twice", c.Name))
		}
		s.index[c.Name] = i
		s.readings[i] = Bad(c.Name, time.Time{}, Unknown, nil)
		s.state[i].frozen.others = make([]float64, len(channels))
		if z, ok := zeros[c.Name]; ok && c.Zero != nil && math.Abs(z.Pa) <= c.Zero.MaxPa {
			s.state[i].zero.have, s.state[i].zero.zero = true, z
		}
	}
	for i, c := range channels {
		for _, other := range c.HotWith {
			j, ok := s.index[other]
			if !ok || j == i {
				errs = append(errs, fmt.Errorf("channel %s: hot_with: %q is not another channel", c.Name, other))
				continue
			}
			s.state[i].hotIdx = append(s.state[i].hotIdx, j)
		}
	}
	return s, errors.Join(errs...)
}

// Channels returns the channels in the order of Tick's readings.
func (s *Sweep) Channels() []Channel { return s.channels }

// Put takes a reading as an owner made it, corrects it (zero, gain, offset)
// and judges its step. It returns false for a channel that it does not know.
func (s *Sweep) Put(r Reading) bool {
	i, ok := s.index[r.Channel]
	if !ok {
		return false
	}
	c, st := &s.channels[i], &s.state[i]
	if r.Status == Good && !(finite(r.Value) && finite(r.Raw)) {
		r.Status, r.Err = OutOfRange, errNoNumber
	}
	if r.Status == Good && c.Zero != nil {
		if !s.offSince.IsZero() {
			known := st.zero.why != nil
			if st.zero.step(r.At, r.Raw, c.Zero) {
				s.zeroed = true
			} else if st.zero.why != nil && !known {
				s.refused = fmt.Errorf("%s: %w", c.Name, st.zero.why)
			}
		}
		// The sensor reckons itself as zeroed and may have added to that.
		r.Uncertainty = max(r.Uncertainty, c.Zero.ZeroedPa)
		if st.zero.have {
			r.Value = r.Raw - st.zero.zero.Pa
		} else {
			r.Status, r.Err = Unzeroed, cmp.Or(st.zero.why, errUnzeroed)
			r.Uncertainty += c.Zero.UnzeroedPa - c.Zero.ZeroedPa
		}
	}
	switch r.Status {
	case Good, ClippedHigh, ClippedLow:
		gain := c.gain() * cmp.Or(st.span, 1)
		r.Value = gain*(r.Value-st.shift) + c.Offset
		r.Uncertainty *= gain
		if c.MaxRate > 0 && c.Quantity != CO {
			st.step.judge(&r, c)
		}
		if r.Status == Good && !finite(r.Value) {
			r.Status, r.Value, r.Err = OutOfRange, math.NaN(), errNoNumber
		}
	default:
		r.Value = math.NaN()
	}
	s.readings[i], st.fresh = r, true
	return true
}

// Correct puts a calibration of a channel into force: shift is taken off what
// the sensor shows, in the channel's unit, and the rest multiplied by span,
// before the configuration's gain and offset.
func (s *Sweep) Correct(channel string, shift, span float64) {
	if i, ok := s.index[channel]; ok {
		s.state[i].shift, s.state[i].span = shift, span
	}
}

// Tick ages the readings and compares channels with each other. The slice has
// one reading a channel, in order, and is valid until the next call.
func (s *Sweep) Tick(now time.Time) []Reading {
	for i := range s.readings {
		s.age(now, i)
	}
	s.engine(now)
	for i := range s.channels {
		c, st := &s.channels[i], &s.state[i]
		if !st.fresh {
			continue // judged already
		}
		st.fresh = false
		if c.Quantity == CO {
			continue
		}
		if c.FrozenAfter > 0 {
			st.frozen.judge(now, i, s)
		}
		if len(st.hotIdx) > 0 {
			st.couple.judge(now, i, s)
		}
	}
	return s.readings
}

// age turns what is too old, or never came, into a fault.
func (s *Sweep) age(now time.Time, i int) {
	r, limit := &s.readings[i], s.channels[i].StaleAfter()
	switch {
	case r.At.IsZero():
		if now.Sub(s.start) > limit {
			r.Status, r.Value, r.Err = NoAnswer, math.NaN(), errNever
		}
	case r.Status != Stale && now.Sub(r.At) > limit:
		was := r.Status
		r.Status, r.Value = Stale, math.NaN()
		s.state[i].unseen()
		if was == Good {
			r.Err = errStale
		}
	}
}

var (
	errNever = errors.New("no reading since the start: see that the chip is powered and wired, then run `charwarden check`")
	errStale = errors.New("no newer reading: the bus may hang or the chip may be gone")

	errNoNumber = errors.New("the sensor gave something that is not a number")
	errUnzeroed = errors.New("no zero yet: the running daemon takes one by itself when the engine has been off and the line flat for 10 s")
)

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// engine keeps track of whether the engine is known to be off: every speed
// channel at 0 or, on a rig without one, every thermocouple cold. An engine
// that is not known to run does not end the period in which it was off.
func (s *Sweep) engine(now time.Time) {
	shows, limit := Temperature, coldDegC
	for _, c := range s.channels {
		if c.Quantity == Speed {
			shows, limit = Speed, 1 // rpm
		}
	}
	off, runs, n := true, false, 0
	for i, c := range s.channels {
		if c.Quantity != shows {
			continue
		}
		r := &s.readings[i]
		off = off && r.Status == Good && r.Value < limit
		runs = runs || r.Status == Good && r.Value >= limit
		n++
	}
	switch {
	case !off || n == 0:
		s.offSince = time.Time{}
		for i := range s.state {
			z := &s.state[i].zero
			z.n, z.done = 0, z.done && !runs
		}
	case s.offSince.IsZero():
		s.offSince = now
	}
}

// Answered reports whether every channel has had a reading or is a reported
// fault: the first sweep is complete.
func (s *Sweep) Answered() bool {
	for i := range s.readings {
		if s.readings[i].Status == Unknown && s.readings[i].At.IsZero() {
			return false
		}
	}
	return true
}

// Refused returns why a zero was refused, if one was since the last call.
func (s *Sweep) Refused() error {
	err := s.refused
	s.refused = nil
	return err
}

// Zeros returns the zeros in force if one was taken since the last call, for
// the caller to store; nil otherwise.
func (s *Sweep) Zeros() map[string]Zero {
	if !s.zeroed {
		return nil
	}
	s.zeroed = false
	zeros := make(map[string]Zero)
	for i, c := range s.channels {
		if s.state[i].zero.have {
			zeros[c.Name] = s.state[i].zero.zero
		}
	}
	return zeros
}
