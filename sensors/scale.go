package sensors

import (
	"cmp"
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/devices/v3/hx711"
)

// Bridge is an input of an HX711 and its gain (Avia Semiconductor data sheet,
// table 3). A dip of the supply brings the chip back to A128: with another input
// the next reading is then of the wrong one.
type Bridge uint8

const (
	A128 Bridge = iota // channel A at gain 128, +-20 mV with a supply of 5 V; after a reset
	B32                // channel B at gain 32, +-80 mV
	A64                // channel A at gain 64, +-40 mV
)

func (b Bridge) mode() hx711.InputMode {
	return [...]hx711.InputMode{hx711.CHANNEL_A_GAIN_128, hx711.CHANNEL_B_GAIN_32, hx711.CHANNEL_A_GAIN_64}[b]
}

const (
	// bridgeSettle is how long a conversion takes that follows a reset or another
	// input, at 10 a second (data sheet, "Key Electrical Characteristics").
	bridgeSettle = 400 * time.Millisecond
	// bridgeHigh is how long the clock may be high (data sheet, p. 5, T3): after
	// 60 us the chip powers down and resets.
	bridgeHigh = 50 * time.Microsecond
	// bridgePatience is how long a scale may have no reading before that is a
	// fault. A frame that is late costs up to three periods.
	bridgePatience = 2500 * time.Millisecond

	countHigh, countLow = 1<<23 - 1, -1 << 23 // where the converter saturates (data sheet, p. 4)
)

// Scale is a load cell behind an HX711. It is read by hand on two pins, at any
// period from 200 ms on; the chip converts 10 times a second.
//
// A user's program is a poor clock for this chip. Whenever the kernel puts it
// aside for longer than 60 us while the clock is high, the chip powers down and
// resets: the rest of the frame is ones, which looks like a weight, and the next
// one may be of another input. So each pulse is timed, from before it rises
// until after it has fallen, and a frame with one of more than 50 us is thrown
// away. On a busy board that is now and then a reading less. A board with a
// real-time core or a bus converter does better.
//
// periph's driver clocks the frames. It asks for edges of the data line, of
// which each bit makes some, and its ReadTimeout takes one of those for a new
// frame (its issue 439): here the line is asked for its level instead, pulled
// up, so that a broken wire is no frame, and nothing ever waits.
//
// A reading is in kg. Its uncertainty is 0.2 % of full scale: what a cell of the
// shop has for linearity, and for a drift of its zero by 20 K (from memory).
type Scale struct {
	Channel     string
	Board       Board
	Clock, Data string // pins
	Input       Bridge
	Zero        float64          // counts with nothing in the hopper
	KgPerCount  float64          // not 0; below 0: the cell is wired the other way round
	FullScale   float64          // kg that the cell may bear, above 0
	Now         func() time.Time // for the pulses: the clock by which the pins move; required

	dev   *hx711.Dev
	pulse *pulseTimer
	data  gpio.PinIn
	set   bool      // the chip converts Input
	ready time.Time // when the conversion in work is a sound one

	good time.Time // of the last reading, or of the first look
	why  error     // why there was none since
}

// Why a frame is no reading.
var (
	errBridgeBusy = errors.New("no frame is ready: is the chip powered, are clock and data the right way round?")
	errBridgeLate = errors.New("the board is too busy: the clock was high for too long, which resets the chip")
	errBridgeLow  = errors.New("data stays low after the frame: it is shorted to ground, or clock is not connected")
	errBridgeSet  = errors.New("the chip is still settling")
)

// Sense takes one reading, if a frame is ready; it takes as long as 27 pulses
// do, some 0.2 ms, and never waits. It appends nothing where there is no frame
// or a bad one, and NoAnswer once that has lasted for 2.5 s. A converter at the
// end of its range, and more than full scale on the cell, are clipped; less
// than -10 % of it is OutOfRange: no load does that.
func (s *Scale) Sense(now time.Time, into []Reading) []Reading {
	if s.good.IsZero() {
		s.good = now
	}
	if s.dev == nil {
		if err := s.find(now); err != nil {
			s.dev = nil
			return append(into, Bad(s.Channel, now, NoAnswer, err))
		}
	}
	count, err := s.read(now)
	if err != nil {
		s.why = err
		if now.Sub(s.good) < bridgePatience {
			return into
		}
		return append(into, Bad(s.Channel, now, NoAnswer, fmt.Errorf("hx711: %s, %s: %w", s.Clock, s.Data, s.why)))
	}
	s.good, s.why = now, nil
	return append(into, s.weigh(now, count))
}

// find takes the pins and wakes the chip.
func (s *Scale) find(now time.Time) error {
	if !(s.FullScale > 0) || s.KgPerCount == 0 || s.Input > A64 {
		return errors.New("hx711: full scale, kg per count and input are required")
	}
	clock, err := s.Board.Pin(s.Clock)
	if err != nil {
		return fmt.Errorf("hx711: clock %s: %w", s.Clock, err)
	}
	data, err := s.Board.Pin(s.Data)
	if err != nil {
		return fmt.Errorf("hx711: data %s: %w", s.Data, err)
	}
	s.pulse, s.data = &pulseTimer{PinOut: clock, now: s.Now}, levelPin{data}
	if s.dev, err = hx711.New(s.pulse, s.data); err != nil {
		return fmt.Errorf("hx711: %s, %s: %w", s.Clock, s.Data, err)
	}
	s.set, s.ready = false, now.Add(bridgeSettle)
	return nil
}

// read takes a frame. The first one is of an input that somebody else chose:
// it only chooses this one's.
func (s *Scale) read(now time.Time) (int32, error) {
	if now.Before(s.ready) {
		return 0, cmp.Or(s.why, errBridgeSet)
	}
	if !s.dev.IsReady() {
		return 0, errBridgeBusy
	}
	s.pulse.longest = 0
	var count int32
	var err error
	first := !s.set
	if first {
		err = s.dev.SetInputMode(s.Input.mode())
	} else {
		sample, e := s.dev.Read()
		count, err = sample.Raw, e
	}
	switch {
	case err != nil:
		s.dev = nil
		return 0, err
	case s.pulse.longest > bridgeHigh:
		// No frame of A128 is long enough to choose another input, whenever the
		// reset came, and the reset chooses A128.
		s.set, s.ready = s.Input == A128, now.Add(bridgeSettle)
		return 0, errBridgeLate
	case s.data.Read() == gpio.Low:
		return 0, errBridgeLow
	case first:
		s.set, s.ready = true, now.Add(bridgeSettle)
		return 0, cmp.Or(s.why, errBridgeSet)
	}
	return count, nil
}

// weigh makes kg of a count.
func (s *Scale) weigh(now time.Time, count int32) Reading {
	kg := (float64(count) - s.Zero) * s.KgPerCount
	r := Reading{Channel: s.Channel, At: now, Value: kg, Raw: kg, Cold: nan, Uncertainty: 0.002 * s.FullScale, Status: Good}
	end := count == countHigh || count == countLow
	up := (count > 0) == (s.KgPerCount > 0)
	switch {
	case end && up:
		r.Status, r.Value, r.Err = ClippedHigh, s.FullScale, errBridgeEnd
	case end:
		r.Status, r.Value, r.Err = ClippedLow, -s.FullScale/10, errBridgeEnd
	case kg > s.FullScale:
		r.Status, r.Value = ClippedHigh, s.FullScale
		r.Err = fmt.Errorf("hx711: %.3g kg: more than the cell may bear, %.3g kg", kg, s.FullScale)
	case kg < -s.FullScale/10:
		r.Status, r.Value = OutOfRange, nan
		r.Err = fmt.Errorf("hx711: %.3g kg: less than an empty hopper: see zero and the sign of the counts per kg", kg)
	}
	return r
}

var errBridgeEnd = errors.New("hx711: the converter is at the end of its range: overloaded, or a wire of the cell is broken")

// pulseTimer notes the longest time that a pin was high, from before it rose
// until after it had fallen: never less than on the wire.
type pulseTimer struct {
	gpio.PinOut
	now     func() time.Time
	rose    time.Time
	longest time.Duration
}

func (p *pulseTimer) Out(l gpio.Level) error {
	if l == gpio.High {
		p.rose = p.now()
		return p.PinOut.Out(l)
	}
	err := p.PinOut.Out(l)
	if !p.rose.IsZero() {
		p.longest = max(p.longest, p.now().Sub(p.rose))
	}
	return err
}

// levelPin is asked for its level only.
type levelPin struct{ gpio.PinIn }

func (p levelPin) In(gpio.Pull, gpio.Edge) error { return p.PinIn.In(gpio.PullUp, gpio.NoEdge) }
