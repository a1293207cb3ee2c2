package sim

import (
	"fmt"
	"math"
	"sync"
	"time"

	"charwarden/sensors/its90"
)

// Couple is the state of a thermocouple's wires at a MAX31855.
type Couple uint8

const (
	Whole    Couple = iota // measures
	Open                   // broken: fault bit D0 (OC)
	ToGND                  // touches ground: fault bit D1 (SCG)
	ToVCC                  // touches the supply: fault bit D2 (SCV)
	Shorted                // wires touch each other: reads the cold junction, no fault bit
	Reversed               // wires swapped: reads below the cold junction when hot, no fault bit
)

// Line is what happens to a chip's data output on its way.
type Line uint8

const (
	Intact    Line = iota
	StuckLow       // all zeros
	StuckHigh      // all ones
)

const (
	typicalConversion = 70 * time.Millisecond  // datasheet: 100 ms at most; 70 typical from memory
	powerUp           = 200 * time.Millisecond // until the first frame
)

// gain is the chip's own linear law in uV/degC, by the letter that the part is
// trimmed for: MAX31855 datasheet 19-5793, table 1 (p. 8). No part for B.
var gain = map[its90.Type]float64{
	its90.K: 41.276, its90.J: 57.953, its90.N: 36.256, its90.S: 9.587,
	its90.T: 52.18, its90.E: 76.373, its90.R: 10.506,
}

// MAX31855 is a thermocouple converter (datasheet 19-5793). Set the exported
// fields before it is added to a board and leave them alone after that.
//
//	bits      meaning (p. 10, table 2)
//	31..18    couple, signed, 0.25 degC
//	17        0
//	16        any fault
//	15..4     cold junction, signed, 0.0625 degC
//	3         0
//	2, 1, 0   SCV, SCG, OC
//
//	3E 80 19 00   1000 degC, cold junction 25 degC
//
// It is not linearised: the couple field is cold + E/G, E the ITS-90 voltage
// between the junctions and G the part's gain. Selecting the chip stops its
// conversion and releasing it starts a new one, so that a reader faster than
// the conversion gets one frozen frame.
type MAX31855 struct {
	Type       its90.Type
	Hot        func(time.Time) float64 // degC at the couple's tip; outside ITS-90 the couple counts as broken
	Cold       func(time.Time) float64 // degC at the chip
	Conversion time.Duration           // 0 is 70 ms
	Noise      float64                 // degC rms at the tip

	mu      sync.Mutex
	couple  Couple
	line    Line
	off     bool
	seed    uint64
	ready   time.Time // no conversion ends before this
	started time.Time // when the chip was last released
	frame   uint32
	sent    int // bytes since the chip was selected
}

// SetCouple changes the state of the couple's wires from the next conversion on.
func (c *MAX31855) SetCouple(s Couple) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.couple = s
}

// SetLine changes the state of the data output at once.
func (c *MAX31855) SetLine(l Line) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.line = l
}

// Power switches the chip's supply. Without it the chip pulls the data wire
// low; after it comes back the frame is all zeros for 200 ms.
func (c *MAX31855) Power(on bool, now time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if on && c.off {
		c.ready = now.Add(powerUp)
		c.started = c.ready.Add(-c.conversion())
		c.frame = 0
	}
	c.off = !on
}

func (c *MAX31855) attach(now time.Time, seed uint64) {
	if _, ok := gain[c.Type]; !ok {
		panic(fmt.Sprintf("sim: max31855: no part is made for type %s", c.Type))
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.seed = seed
	c.started = now.Add(-c.conversion())
}

func (c *MAX31855) conversion() time.Duration {
	if c.Conversion > 0 {
		return c.Conversion
	}
	return typicalConversion
}

// selectLow latches the newest complete conversion.
func (c *MAX31855) selectLow(now time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.sent = 0
	n := now.Sub(c.started) / c.conversion()
	if end := c.started.Add(n * c.conversion()); n > 0 && !end.Before(c.ready) && !c.off {
		c.frame = c.convert(end)
	}
}

// selectHigh starts the next conversion.
func (c *MAX31855) selectHigh(now time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.started = now
	if first := c.ready.Add(-c.conversion()); c.started.Before(first) {
		c.started = first
	}
}

// shift clocks out len(bus) bytes and pulls the zeros among them low on the
// bus. After the frame's 32 bits the output stays low (the datasheet is silent).
func (c *MAX31855) shift(bus []byte) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for i := range bus {
		var b byte
		switch {
		case c.line == StuckHigh:
			b = 0xff
		case c.off, c.line == StuckLow, c.sent > 3:
		default:
			b = byte(c.frame >> (24 - 8*c.sent))
		}
		bus[i] &= b
		c.sent++
	}
}

// convert returns the frame of a conversion that ends at t.
func (c *MAX31855) convert(t time.Time) uint32 {
	cold := c.Cold(t)
	internal := field(cold, 0.0625, 12) << 4
	switch c.couple {
	case Open:
		return openFrame | internal
	case ToGND:
		return 1<<16 | 1<<1 | internal
	case ToVCC:
		return 1<<16 | 1<<2 | internal
	case Shorted:
		return field(cold, 0.25, 14)<<18 | internal
	}
	hot := c.Hot(t)
	if c.Noise > 0 {
		hot += c.Noise * gauss(c.seed, t, 0)
	}
	e, errHot := c.Type.EMF(hot)
	e0, errCold := c.Type.EMF(cold)
	if errHot != nil || errCold != nil {
		return openFrame | internal
	}
	e -= e0
	if c.couple == Reversed {
		e = -e
	}
	return field(cold+e*1000/gain[c.Type], 0.25, 14)<<18 | internal
}

// openFrame has the fault and OC bits and a couple field at full scale, which
// means nothing.
const openFrame = 0x1fff<<18 | 1<<16 | 1

// field rounds v to steps and returns it in two's complement, clipped to bits.
func field(v, step float64, bits int) uint32 {
	top := float64(int(1) << (bits - 1))
	n := math.Round(v / step)
	if math.IsNaN(n) {
		n = 0
	}
	return uint32(int32(max(-top, min(top-1, n)))) & (1<<bits - 1)
}
