package sensors_test

import (
	"math"
	"syscall"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c"

	"charwarden/sensors"
	"charwarden/sensors/ads1115"
	"charwarden/sensors/cocell"
	"charwarden/sensors/sim"
)

const (
	i2c1    = "/dev/i2c-1"
	adcAddr = 0x48
)

// SPEC ULPSM-CO at 4.75 nA/ppm into 100 kohm: 0.475 mV/ppm (SPEC-Sensors/ULPSM,
// ULP.cpp and the library's README). Rails and clean air are this test's own.
var specCell = cocell.Cell{NanoampPerPPM: 4.75, Ohms: 100e3, CleanAirV: 1, FullScalePPM: 1000, MaxV: 3.3}

// converter counts what an ADS1115 is asked for and disturbs what it answers.
// A flip stays for all reads of one conversion, as one in the chip would.
type converter struct {
	conversions int
	flip        map[int]uint16 // by conversion, counted from 1
	readFlip    uint16         // in the next read of a result only
	mux         map[int]uint16 // of the settings read back
	refuse      map[int]bool   // the start of a conversion
}

func (c *converter) tx(next i2c.Bus, addr uint16, w, r []byte) error {
	start := len(w) == 3 && w[0] == 1 && w[1]&0x80 != 0
	if start {
		if c.conversions++; c.refuse[c.conversions] {
			return syscall.EREMOTEIO
		}
	}
	if err := next.Tx(addr, w, r); err != nil || len(r) != 2 {
		return err
	}
	mask := c.mux[c.conversions]
	if w[0] == 0 {
		mask = c.flip[c.conversions] ^ c.readFlip
		c.readFlip = 0
	}
	r[0] ^= byte(mask >> 8)
	r[1] ^= byte(mask)
	return nil
}

// coBench is a CO cell on AIN0 of a simulated ADS1115.
type coBench struct {
	*converter
	chip *sim.ADS1115
	cell *sensors.COCell
}

func newCO(b *sim.Board, cell cocell.Cell, ppm func(time.Time) float64) *coBench {
	c := &coBench{converter: &converter{flip: map[int]uint16{}, mux: map[int]uint16{}, refuse: map[int]bool{}}}
	c.chip = &sim.ADS1115{}
	c.chip.AIN[0] = func(t time.Time) float64 { return cell.Volts(ppm(t), math.NaN()) }
	b.AddI2C(i2c1, adcAddr, c.chip)
	bus := sensors.NewI2CBus(&disturbed{b, c.tx}, i2c1)
	c.cell = &sensors.COCell{Channel: "co", ADC: &sensors.ADC{Bus: bus, Addr: adcAddr, Sleep: time.Sleep},
		Input: ads1115.AIN0, Range: ads1115.V4_096, Rate: ads1115.SPS128, Cell: cell, Limits: []float64{30, 60, 200}}
	return c
}

// sense returns a reading and how many conversions it took.
func (c *coBench) sense(t *testing.T) (sensors.Reading, int) {
	t.Helper()
	before := c.conversions
	r := once(t, c.cell)
	time.Sleep(250 * time.Millisecond)
	return r, c.conversions - before
}

// Whichever bit of a conversion flips, in clean air the reading stays good and
// below the lowest limit, and the next one is untouched.
func TestCOFlippedBitRaisesNothing(t *testing.T) {
	for bit := range 16 {
		onBoard(t, func(t *testing.T, b *sim.Board) {
			c := newCO(b, specCell, steady(0))
			c.sense(t)
			c.flip[c.conversions+1] = 1 << bit
			r, n := c.sense(t)
			wantValue(t, "flipped", r, 0, 29.9)
			if n > 3 {
				t.Errorf("bit %d: %d conversions", bit, n)
			}
			r, n = c.sense(t)
			wantValue(t, "next", r, 0, 0.3)
			if n != 1 {
				t.Errorf("bit %d: next took %d conversions", bit, n)
			}
		})
	}
}

// The end of the range is a limit of its own: one conversion that clips is
// outvoted also where the reading is above every other limit.
func TestCOFlippedIntoClip(t *testing.T) {
	for _, ppm := range []float64{0, 250} {
		onBoard(t, func(t *testing.T, b *sim.Board) {
			c := newCO(b, specCell, steady(ppm))
			c.sense(t)
			c.flip[c.conversions+1] = 0x4000
			r, n := c.sense(t)
			wantValue(t, "one conversion clips", r, ppm, 0.3)
			if n != 3 {
				t.Errorf("%d conversions, want 3", n)
			}
		})
	}
}

// A bit that flips on the bus in one of the reads of a result is corrected.
func TestCOFlipOnTheBus(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		c := newCO(b, specCell, steady(20))
		for bit := range 16 {
			c.readFlip = 1 << bit
			r, n := c.sense(t)
			wantValue(t, "reading", r, 20, 0.3)
			if n != 1 {
				t.Errorf("bit %d: %d conversions", bit, n)
			}
		}
	})
}

// Two of three conversions agree that it is high: it is.
func TestCORealRiseStands(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		ppm := 0.0
		c := newCO(b, specCell, func(time.Time) float64 { return ppm })
		c.sense(t)
		for _, s := range []struct {
			ppm         float64
			conversions int
		}{{29, 1}, {31, 3}, {59, 1}, {800, 3}, {900, 1}, {150, 1}, {250, 3}, {0, 1}, {45, 3}} {
			ppm = s.ppm
			r, n := c.sense(t)
			wantValue(t, "reading", r, s.ppm, 0.3)
			if n != s.conversions {
				t.Errorf("%v ppm: %d conversions, want %d", s.ppm, n, s.conversions)
			}
		}
		ppm = 0
		c.sense(t)
		ppm = 500 // and a flip in one of the two that confirm
		c.flip[c.conversions+2] = 0x1000
		r, _ := c.sense(t)
		wantValue(t, "one confirmation flipped", r, 500, 0.3)
	})
}

func TestCOFirstReadingIsConfirmed(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		c := newCO(b, specCell, steady(400))
		r, n := c.sense(t)
		wantValue(t, "first", r, 400, 0.3)
		if n != 3 {
			t.Errorf("%d conversions, want 3", n)
		}
	})
}

// Without the two confirmations the high value stands, even if it was a flip.
func TestCODoubtCountsAsGas(t *testing.T) {
	for _, refused := range []int{2, 3} {
		onBoard(t, func(t *testing.T, b *sim.Board) {
			c := newCO(b, specCell, steady(0))
			c.sense(t)
			n := c.conversions
			c.flip[n+1] = 0x0080
			c.refuse[n+refused] = true
			r, _ := c.sense(t)
			wantValue(t, "unconfirmed", r, 128*4.096/32768/0.475e-3, 0.3)
			r, _ = c.sense(t)
			wantValue(t, "next", r, 0, 0.3)
		})
	}
}

func TestCOClips(t *testing.T) {
	inverting := specCell
	inverting.Inverting, inverting.CleanAirV = true, 2.5
	for _, c := range []struct {
		name  string
		cell  cocell.Cell
		volts float64
		want  sensors.Status
	}{
		{"upper rail", specCell, 3.3, sensors.ClippedHigh},
		{"over full scale", specCell, 1.48, sensors.ClippedHigh},
		{"lower rail", specCell, 0, sensors.ClippedLow},
		{"inverting, lower rail", inverting, 0, sensors.ClippedHigh},
		{"inverting, over full scale", inverting, 2.02, sensors.ClippedHigh},
		{"inverting, upper rail", inverting, 3.3, sensors.ClippedLow},
		{"beyond the converter", specCell, 4.2, sensors.ClippedHigh},
		{"inverting, beyond the converter", inverting, 4.2, sensors.ClippedLow},
	} {
		onBoard(t, func(t *testing.T, b *sim.Board) {
			b2 := newCO(b, c.cell, steady(0))
			r, _ := b2.sense(t)
			wantValue(t, c.name+", before", r, 0, 0.3)
			b2.chip.Force(0, c.volts)
			r, n := b2.sense(t)
			wantStatus(t, c.name, r, c.want)
			if c.want == sensors.ClippedHigh && (r.Value != 1000 || n != 3) {
				t.Errorf("%s: value %v after %d conversions, want full scale after 3", c.name, r.Value, n)
			}
			if _, n := b2.sense(t); c.want == sensors.ClippedHigh && n != 1 {
				t.Errorf("%s: a clip that stands took %d conversions", c.name, n)
			}
			b2.chip.Free(0)
			r, _ = b2.sense(t)
			wantValue(t, c.name+", after", r, 0, 0.3)
		})
	}
}

// An amplifier between the two ends of a differential input clips at the
// converter's negative end when it inverts.
func TestCOClipsAtTheNegativeEnd(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		cell := cocell.Cell{NanoampPerPPM: 4.75, Ohms: 100e3, Inverting: true, FullScalePPM: 1000, MinV: -1, MaxV: 1}
		c := newCO(b, cell, steady(0))
		c.cell.Input, c.cell.Range = ads1115.AIN0_1, ads1115.V0_512
		c.chip.AIN[0], c.chip.AIN[1] = steady(0.2), steady(0.4)
		r, _ := c.sense(t)
		wantValue(t, "inside", r, 0.2/0.475e-3, 0.3)
		c.chip.Force(1, 0.9)
		r, _ = c.sense(t)
		wantStatus(t, "code 8000", r, sensors.ClippedHigh)
	})
}
