package sim

import (
	"sync"
	"time"

	"periph.io/x/conn/v3/gpio"
)

const (
	bridgePeriod = 100 * time.Millisecond // RATE low: 10 conversions a second
	bridgeSettle = 4                      // conversions after a reset or another input: 400 ms at 10 Hz
	bridgeSleep  = 60 * time.Microsecond  // clock high for longer: power down
)

// HX711 is a converter for the bridge of a load cell (Avia Semiconductor data
// sheet; "Serial Interface", p. 4, and "Reset and Power-Down", p. 5). Set the
// exported fields before it is added to a board and leave them alone after that.
//
// Data is high while it converts and low when a frame is ready. Each rising edge
// of the clock shifts out one bit, the most significant first:
//
//	pulse     data                    next conversion
//	1..24     the count, two's complement, 0x7FFFFF and 0x800000 at the ends
//	25        high                    channel A, gain 128
//	26        high                    channel B, gain 32
//	27        high                    channel A, gain 64
//
//	00 54 60   21600 counts: 1 kg, with a Zero of 0 and 21600 PerKilogram
//
// A clock that stays high for longer than 60 us powers it down; it resets when
// the clock falls and begins with channel A at gain 128. After that, and after
// another input was chosen, data stays high for 4 conversions.
//
// Nothing hangs on channel B: it reads 0. A clock that nobody drives is high
// here, so that the chip sleeps until somebody does. Where the data sheet is
// silent: a conversion that ends within a frame is lost, and a frame without its
// 25th pulse is dropped after the time of a conversion.
type HX711 struct {
	Weight      func(time.Time) float64 // kg on the cell
	PerKilogram float64                 // counts at gain 128; below 0: wired the other way
	Zero        float64                 // counts at gain 128 with nothing on it
	Noise       float64                 // counts rms
	Period      time.Duration           // of a conversion; 0 is 100 ms, at 80 Hz it is 12.5 ms
	Sleep       time.Duration           // clock high for longer powers it down; 0 is 60 us. A clock faster than real time needs more

	mu     sync.Mutex
	line   Line
	seed   uint64
	high   bool      // the clock
	rose   time.Time // when it did
	input  uint8     // pulses beyond 24 of the last whole frame: 1, 2, 3
	origin time.Time // of the conversions: of the last reset or change of input
	taken  int64     // conversion that was read, or ended before that
	was    uint8     // input at the beginning of the frame
	began  time.Time // origin at the beginning of the frame
	pulses int       // in this frame, 0 if there is none
	last   time.Time // pulse
	frame  uint32
}

// AddHX711 wires c to two pins and powers it, long enough ago that a frame is
// ready if the clock is low, and that it sleeps if it is high.
func (b *Board) AddHX711(clock, data string, c *HX711) {
	b.mu.Lock()
	defer b.mu.Unlock()
	past := b.clock.Now().Add(-time.Second)
	c.mu.Lock()
	c.seed = b.seedOf(clock, data)
	c.reset(past)
	c.high, c.rose = !b.pin(clock).selected(), past
	c.mu.Unlock()
	b.pin(clock).drives(c.clock)
	b.pin(data).shows(c.data)
}

// SetLine changes the state of the data wire at once.
func (c *HX711) SetLine(l Line) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.line = l
}

// Reset breaks the chip's supply for a moment.
func (c *HX711) Reset(now time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.reset(now)
}

func (c *HX711) reset(now time.Time) {
	c.input, c.origin, c.taken, c.pulses = 1, now, -1, 0
}

func (c *HX711) period() time.Duration {
	if c.Period > 0 {
		return c.Period
	}
	return bridgePeriod
}

func (c *HX711) sleeps(now time.Time) bool {
	limit := c.Sleep
	if limit == 0 {
		limit = bridgeSleep
	}
	return c.high && now.Sub(c.rose) > limit
}

// newest is the number of the last conversion that has ended, -1 if none has.
func (c *HX711) newest(now time.Time) int64 {
	if n := int64(now.Sub(c.origin) / c.period()); n >= bridgeSettle {
		return n
	}
	return -1
}

// clock is an edge on PD_SCK.
func (c *HX711) clock(l gpio.Level, now time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case l == gpio.Low && c.sleeps(now):
		c.high = false
		c.reset(now)
	case l == gpio.Low:
		c.high = false
	case !c.high:
		c.high, c.rose = true, now
		c.pulse(now)
	}
}

// left says that a frame in work was given up a conversion ago.
func (c *HX711) left(now time.Time) bool {
	return c.pulses >= 1 && c.pulses <= 24 && now.Sub(c.last) > c.period()
}

// pulse begins a frame if one is ready, or goes on with that in work.
func (c *HX711) pulse(now time.Time) {
	if c.left(now) {
		c.pulses = 0
	}
	c.last = now
	if c.pulses == 0 || c.pulses >= 25 {
		n := c.newest(now)
		switch {
		case n > c.taken:
			c.pulses, c.taken = 0, n
			c.was, c.began = c.input, c.origin
			c.frame = c.convert(c.origin.Add(time.Duration(n) * c.period()))
		case c.pulses == 0:
			return // nothing to shift
		}
	}
	c.pulses++
	if extra := c.pulses - 24; extra >= 1 && extra <= 3 {
		c.input, c.origin = uint8(extra), c.began
		if c.input != c.was {
			c.origin = now
		}
		c.taken = c.newest(now)
	}
}

// data is the level of DOUT.
func (c *HX711) data(now time.Time) gpio.Level {
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case c.line == StuckHigh:
		return gpio.High
	case c.line == StuckLow:
		return gpio.Low
	case c.sleeps(now):
		return gpio.High
	case c.pulses >= 1 && c.pulses <= 24 && !c.left(now):
		return c.frame>>(24-c.pulses)&1 == 1
	}
	return gpio.Level(c.newest(now) <= c.taken)
}

// convert is the count of the conversion that ends at t.
func (c *HX711) convert(t time.Time) uint32 {
	v := 0.0
	if c.input != 2 {
		v = c.Zero + c.PerKilogram*c.Weight(t)
	}
	if c.Noise > 0 {
		v += c.Noise * gauss(c.seed, t, 0)
	}
	if c.input == 3 {
		v /= 2
	}
	return field(v, 1, 24)
}
