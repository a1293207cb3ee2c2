package sim

import (
	"errors"
	"fmt"
	"io/fs"
	"sync/atomic"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
)

// maxSPI is the largest transfer that spidev takes by default: one page.
const maxSPI = 4096

// slot is a chip on a port; pin is nil where the port's own select is used.
type slot struct {
	chip *MAX31855
	pin  *pin
}

// port is one SPI port: clock, data and one select of its own.
type port struct {
	wires
	board *Board
	slots []slot     // guarded by wires.mu
	idle  gpio.Level // guarded by wires.mu
}

// transfer clocks len(r) bytes. own asks for the port's own select; begin and
// end say whether that falls before and rises after the bytes.
func (p *port) transfer(r []byte, own, begin, end bool) error {
	if err := p.enter(p.board.clock); err != nil {
		return err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	now := p.board.clock.Now()
	bus, driven := make([]byte, len(r)), false
	for i := range bus {
		bus[i] = 0xff
	}
	for _, s := range p.slots {
		switch {
		case s.pin == nil && own:
			if begin {
				s.chip.selectLow(now)
			}
			s.chip.shift(bus)
			driven = true
			if end {
				s.chip.selectHigh(now)
			}
		case s.pin != nil && s.pin.selected():
			s.chip.shift(bus)
			driven = true
		}
	}
	if !driven && p.idle == gpio.Low {
		clear(bus)
	}
	p.disturb(bus)
	copy(r, bus)
	return nil
}

// spiPort is one opened handle. It behaves like sysfs.SPI of periph's host
// v3.8.5: Connect exactly once, 100 Hz..1 GHz.
type spiPort struct {
	port      *port
	connected atomic.Bool
	closed    atomic.Bool
}

func (s *spiPort) String() string { return s.port.name }

func (s *spiPort) Close() error {
	if s.closed.Swap(true) {
		return s.port.errorf(fs.ErrClosed)
	}
	return nil
}

func (s *spiPort) LimitSpeed(f physic.Frequency) error {
	if f < 100*physic.Hertz || f > physic.GigaHertz {
		return fmt.Errorf("sim: %s: speed %s: not in 100Hz..1GHz", s.port.name, f)
	}
	return nil
}

func (s *spiPort) Connect(f physic.Frequency, mode spi.Mode, bits int) (spi.Conn, error) {
	if err := s.LimitSpeed(f); err != nil {
		return nil, err
	}
	if mode&^(spi.Mode3|spi.HalfDuplex|spi.NoCS|spi.LSBFirst) != 0 || bits != 8 {
		return nil, fmt.Errorf("sim: %s: mode %s, %d bits: not supported", s.port.name, mode, bits)
	}
	if s.connected.Swap(true) {
		return nil, s.port.errorf(errors.New("connected twice"))
	}
	return &spiConn{spiPort: s, mode: mode}, nil
}

// spiConn belongs to one goroutine at a time, as a bus does to its owner.
type spiConn struct {
	*spiPort
	mode spi.Mode
	low  bool // own select kept low by the last packet
}

var _ conn.Limits = (*spiConn)(nil)

func (c *spiConn) MaxTxSize() int { return maxSPI }

func (c *spiConn) Duplex() conn.Duplex {
	if c.mode&spi.HalfDuplex != 0 {
		return conn.Half
	}
	return conn.Full
}

func (c *spiConn) Tx(w, r []byte) error {
	return c.TxPackets([]spi.Packet{{W: w, R: r}})
}

func (c *spiConn) TxPackets(packets []spi.Packet) error {
	if c.closed.Load() {
		return c.port.errorf(fs.ErrClosed)
	}
	total := 0
	for _, p := range packets {
		if len(p.W) != len(p.R) && len(p.W) != 0 && len(p.R) != 0 {
			return fmt.Errorf("sim: %s: %d bytes to write and %d to read: not the same", c.port.name, len(p.W), len(p.R))
		}
		total += max(len(p.W), len(p.R))
	}
	if total == 0 || total > maxSPI {
		return fmt.Errorf("sim: %s: transfer of %d bytes: not in 1..%d", c.port.name, total, maxSPI)
	}
	own := c.mode&spi.NoCS == 0
	for _, p := range packets {
		r := p.R
		if len(r) == 0 {
			r = make([]byte, len(p.W))
		}
		begin := !c.low
		c.low = own && p.KeepCS
		if err := c.port.transfer(r, own, begin, !c.low); err != nil {
			return err
		}
	}
	return nil
}
