package main

import (
	"encoding/binary"
	"fmt"
	"sync/atomic"
	"time"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
)

// cannedBoard is the reference rig's hardware as bytes from a tin: each chip
// answers at once, with a value that moves by a small step at every reading, so
// that nothing counts as unchanged. What a benchmark sees on it is the daemon's
// cost and not that of a model. The footprint's benchmark also builds this file
// into the daemon itself, so it imports nothing of testing.
type cannedBoard struct {
	hot atomic.Int32 // degC added to every thermocouple
	gas atomic.Int32 // codes added to the CO input
}

// newCannedBoard is in the way of newMachine.
func newCannedBoard() *cannedBoard { return &cannedBoard{} }

func (b *cannedBoard) SPI(string) (spi.PortCloser, error) { return &cannedCouples{board: b}, nil }
func (b *cannedBoard) I2C(string) (i2c.BusCloser, error)  { return newCannedI2C(b), nil }
func (b *cannedBoard) Pin(name string) (gpio.PinIO, error) {
	return &cannedPin{PinIO: gpio.INVALID, name: name}, nil
}

// sway is a small step that differs from reading to reading, and from those 4,
// 10 and 24 readings before.
func sway(n int) int { return n % 7 }

// cannedCouples answers as any MAX31855 at 50 degC and 25 degC cold: bits 31 to
// 18 hot by 0.25 degC, 15 to 4 cold by 0.0625 degC (datasheet 19-5793, table 4).
type cannedCouples struct {
	board *cannedBoard
	n     int
}

func (c *cannedCouples) String() string                    { return "canned" }
func (c *cannedCouples) Close() error                      { return nil }
func (c *cannedCouples) LimitSpeed(physic.Frequency) error { return nil }
func (c *cannedCouples) Duplex() conn.Duplex               { return conn.Full }
func (c *cannedCouples) TxPackets([]spi.Packet) error      { return nil }

func (c *cannedCouples) Connect(physic.Frequency, spi.Mode, int) (spi.Conn, error) { return c, nil }

func (c *cannedCouples) Tx(_, r []byte) error {
	c.n++
	hot := 4*(50+int(c.board.hot.Load())) + 2*sway(c.n)
	binary.BigEndian.PutUint32(r, uint32(hot)<<18|25*16<<4)
	return nil
}

// cannedI2C is a bus with an ADS1115 at 0x48, an INA219 at 0x40 and a BME280 at
// 0x76. The ADS1115 is always done: its driver waits for the conversion anyway.
type cannedI2C struct {
	board   *cannedBoard
	n       int // conversions of all chips
	asked   int // for the supply
	setting uint16
	code    uint16
	air     [256]byte
}

func newCannedI2C(b *cannedBoard) *cannedI2C {
	c := &cannedI2C{board: b}
	c.air[0xd0] = 0x60
	// The worked example of the BMP280 datasheet (BST-BMP280-DS001, section
	// 3.12) and, for humidity, values of real parts, from memory.
	for i, v := range [12]int{27504, 26435, -1000, 36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000} {
		binary.LittleEndian.PutUint16(c.air[0x88+2*i:], uint16(v))
	}
	c.air[0xa1] = 75
	copy(c.air[0xe1:], []byte{370 & 0xff, 370 >> 8, 0, 313 >> 4, 313&15 | 50&15<<4, 50 >> 4, 30})
	return c
}

func (c *cannedI2C) String() string                  { return "canned" }
func (c *cannedI2C) Close() error                    { return nil }
func (c *cannedI2C) SetSpeed(physic.Frequency) error { return nil }

func (c *cannedI2C) Tx(addr uint16, w, r []byte) error {
	switch addr {
	case 0x48:
		c.adc(w, r)
	case 0x40:
		c.supply(w, r)
	case 0x76:
		c.weather(w, r)
	default:
		return fmt.Errorf("canned: nothing at %#x", addr)
	}
	return nil
}

// adc answers the config register as last written with OS set (idle), and a
// code by the input: SBAS444, "Register Maps". At +-4.096 V a volt is 8000
// codes.
func (c *cannedI2C) adc(w, r []byte) {
	switch {
	case len(w) == 3:
		c.n++
		c.setting = binary.BigEndian.Uint16(w[1:])
		switch c.setting >> 12 & 7 {
		case 4: // suction: -100 Pa by an MPXV7002DP behind 0.6
			c.code = uint16(12000 - 480 + 10*sway(c.n))
		case 5: // filter_drop: 100 Pa
			c.code = uint16(12000 + 480 + 10*sway(c.n))
		default: // CO: clean air at 1.65 V, 0.5 ppm a code
			c.code = uint16(13200 + sway(c.n) + int(c.board.gas.Load()))
		}
	case w[0] == 1:
		binary.BigEndian.PutUint16(r, c.setting|1<<15)
	default:
		binary.BigEndian.PutUint16(r, c.code)
	}
}

// supply answers 5.0 V and a little as the bus voltage, 4 mV a step above bit
// 3 (SBOS448), and 0 for shunt, current and power.
func (c *cannedI2C) supply(w, r []byte) {
	if len(r) < 2 {
		return
	}
	clear(r)
	if w[0] == 2 { // asked twice, it says the same
		binary.BigEndian.PutUint16(r, uint16(1250+6*sway(c.asked/2))<<3|2)
		c.asked++
	}
}

// weather is at 25 degC and 1006 hPa: raw values of the BMP280's worked example.
func (c *cannedI2C) weather(w, r []byte) {
	if len(r) == 0 {
		c.n++
		p, t := uint32(415148), uint32(519888+1700*sway(c.n))
		d := c.air[0xf7:]
		d[0], d[1], d[2] = byte(p>>12), byte(p>>4), byte(p<<4)
		d[3], d[4], d[5] = byte(t>>12), byte(t>>4), byte(t<<4)
		d[6], d[7] = 0x70, byte(100*sway(c.n))
		return
	}
	copy(r, c.air[w[0]:])
}

// cannedPin gives an edge 50 times a second, which is 3000 rpm at one pulse a
// turn, and takes any output.
type cannedPin struct {
	gpio.PinIO
	name string
	next time.Time
}

func (p *cannedPin) String() string                { return p.name }
func (p *cannedPin) Name() string                  { return p.name }
func (p *cannedPin) Out(gpio.Level) error          { return nil }
func (p *cannedPin) In(gpio.Pull, gpio.Edge) error { return nil }

func (p *cannedPin) WaitForEdge(limit time.Duration) bool {
	const period = 20 * time.Millisecond
	now := time.Now()
	if p.next.Before(now.Add(-period)) {
		p.next = now.Add(period)
	}
	wait := p.next.Sub(now)
	if wait > limit {
		time.Sleep(limit)
		return false
	}
	time.Sleep(wait)
	p.next = p.next.Add(period)
	return true
}
