package sim

import (
	"math"
	"sync"
	"time"
)

// BMx280 is an air sensor: a BME280 (datasheet BST-BME280-DS002), or a BMP280
// (BST-BMP280-DS001) where Humidity is nil. Set the exported fields before it
// is added to a board.
//
//	write  register value [register value ...]
//	read   value [value ...], counting up from the register last written
//
//	D0 | 58                  BMP280; 60 is a BME280
//	F4 27                    temperature and pressure x1, normal mode
//	F7 | 65 5A C0 7E ED 00   pressure 415148, temperature 519888 (20 bit)
//
// Raw readings are the datasheet's compensation, inverted over the calibration
// of its worked example. A forced measurement takes the typical time and shows
// in status bit 3 until it ends; in normal mode the data show the time of the
// read. The filter is accepted and does nothing.
type BMx280 struct {
	Temperature func(time.Time) float64 // degC
	Pressure    func(time.Time) float64 // Pa
	Humidity    func(time.Time) float64 // ratio, 0..1

	mu       sync.Mutex
	awake    bool
	ptr      byte
	reg      [256]byte
	humidity byte // ctrl_hum as the last write to ctrl_meas took it over
	busy     bool
	done     time.Time
}

const (
	bmxID       = 0xd0
	bmxReset    = 0xe0
	bmxCtrlHum  = 0xf2
	bmxStatus   = 0xf3
	bmxCtrlMeas = 0xf4
	bmxConfig   = 0xf5
	bmxData     = 0xf7
)

// Tx is one transaction.
func (c *BMx280) Tx(now time.Time, w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.awake {
		c.reset()
	}
	c.run(now)
	for ; len(w) > 1; w = w[2:] {
		c.ptr = w[0]
		c.write(now, w[0], w[1])
	}
	if len(w) == 1 {
		c.ptr = w[0]
	}
	for i := range r {
		r[i] = c.reg[c.ptr]
		c.ptr++
	}
	return nil
}

func (c *BMx280) write(now time.Time, reg, v byte) {
	switch reg {
	case bmxReset:
		if v == 0xb6 {
			c.reset()
		}
	case bmxCtrlHum:
		if c.Humidity != nil {
			c.reg[reg] = v & 7
		}
	case bmxConfig:
		if c.reg[bmxCtrlMeas]&3 != 3 { // "may be ignored" in normal mode: it is
			c.reg[reg] = v
		}
	case bmxCtrlMeas:
		c.reg[reg] = v
		c.humidity = c.reg[bmxCtrlHum]
		c.busy = false
		c.reg[bmxStatus] &^= 8
		switch v & 3 {
		case 1, 2: // forced
			c.busy, c.done = true, now.Add(c.duration())
			c.reg[bmxStatus] |= 8
		case 3:
			c.measure(now)
		}
	}
}

func (c *BMx280) run(now time.Time) {
	switch {
	case c.reg[bmxCtrlMeas]&3 == 3:
		c.measure(now)
	case c.busy && !now.Before(c.done):
		c.measure(c.done)
		c.busy = false
		c.reg[bmxStatus] &^= 8
		c.reg[bmxCtrlMeas] &^= 3 // back to sleep
	}
}

// oversampling returns how many samples each measurement takes; 0 skips it.
func (c *BMx280) oversampling() (t, p, h int) {
	samples := func(code byte) int {
		if code == 0 {
			return 0
		}
		return 1 << (min(code, 5) - 1)
	}
	m := c.reg[bmxCtrlMeas]
	if c.Humidity != nil {
		h = samples(c.humidity)
	}
	return samples(m >> 5), samples(m >> 2 & 7), h
}

// duration is the typical measurement time: BME280 datasheet, section 9.1.
func (c *BMx280) duration() time.Duration {
	t, p, h := c.oversampling()
	us := 1000 + 2000*(t+p+h)
	if p > 0 {
		us += 500
	}
	if h > 0 {
		us += 500
	}
	return time.Duration(us) * time.Microsecond
}

// measure fills the data registers. A skipped one reads 80000 or 8000 (section
// "Data readout"); without the filter, temperature and pressure have 16 bits
// and one more for each doubling of the samples.
func (c *BMx280) measure(t time.Time) {
	nT, nP, nH := c.oversampling()
	rawT, rawP, rawH := uint32(0x80000), uint32(0x80000), uint32(0x8000)
	if nT > 0 {
		exact := invert(1<<20-1, c.Temperature(t), func(x float64) float64 { v, _ := bosch.temperature(x); return v })
		_, fine := bosch.temperature(exact)
		rawT = coarse(exact, nT)
		if nP > 0 {
			rawP = coarse(invert(1<<20-1, -c.Pressure(t), func(x float64) float64 { return -bosch.pressure(x, fine) }), nP)
		}
		if nH > 0 {
			rawH = uint32(math.Round(invert(1<<16-1, 100*c.Humidity(t), func(x float64) float64 { return bosch.humidity(x, fine) })))
		}
	}
	d := c.reg[bmxData:]
	for i, v := range [2]uint32{rawP, rawT} {
		d[3*i], d[3*i+1], d[3*i+2] = byte(v>>12), byte(v>>4), byte(v<<4)
	}
	if c.Humidity != nil {
		d[6], d[7] = byte(rawH>>8), byte(rawH)
	}
}

// coarse rounds a 20 bit reading to the bits that n samples give.
func coarse(x float64, n int) uint32 {
	step := float64(max(16/n, 1))
	return uint32(min(math.Round(x/step)*step, 1<<20-step))
}

// invert returns the x in 0..top at which the rising function f reaches v, or
// the end of the range that is nearer to it.
func invert(top, v float64, f func(float64) float64) float64 {
	lo, hi := 0.0, top
	for hi-lo > 0.01 {
		if m := (lo + hi) / 2; f(m) < v {
			lo = m
		} else {
			hi = m
		}
	}
	return (lo + hi) / 2
}

func (c *BMx280) reset() {
	c.awake, c.busy, c.humidity = true, false, 0
	c.reg = [256]byte{bmxID: 0x58}
	bosch.put(&c.reg, c.Humidity != nil)
	if c.Humidity != nil {
		c.reg[bmxID] = 0x60
		c.reg[bmxData+6] = 0x80
	}
	c.reg[bmxData], c.reg[bmxData+3] = 0x80, 0x80
}
