package sensors

import (
	"fmt"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
)

// spiClock is far below what the chips can do, because thermocouple boards sit
// on long wires that ring; a frame of 32 bits still takes only 64 us.
const spiClock = 500 * physic.KiloHertz

// SPIBus opens the ports of one SPI bus when they are first needed and keeps
// them, so that several chips with a GPIO as chip select share one port. Only
// the bus's owner calls it, once that runs.
type SPIBus struct {
	board   Board
	ports   map[string]*spiPort
	claimed []string               // in this order, so that the first of a person's file is named first
	selects map[string]gpio.PinOut // of those that are raised
}

type spiPort struct {
	closer spi.PortCloser
	conn   spi.Conn
}

// NewSPIBus makes a bus without opening anything.
func NewSPIBus(b Board) *SPIBus {
	return &SPIBus{board: b, ports: make(map[string]*spiPort), selects: make(map[string]gpio.PinOut)}
}

// Claim names a GPIO that is a chip select on this bus.
func (b *SPIBus) Claim(pin string) { b.claimed = append(b.claimed, pin) }

// conn opens port in mode 0, once every select of the bus is let go of (high):
// one that floats low would answer beside the chip that is asked. With noSelect
// the port's own chip select is left alone where the controller can do that;
// where it cannot, it moves, which harms nothing while no chip is wired to it.
func (b *SPIBus) conn(port string, noSelect bool) (spi.Conn, error) {
	if err := b.raise(); err != nil {
		return nil, err
	}
	if p := b.ports[port]; p != nil {
		return p.conn, nil
	}
	mode := spi.Mode0
	if noSelect {
		mode |= spi.NoCS
	}
	p, err := b.open(port, mode)
	if err != nil && noSelect {
		p, err = b.open(port, spi.Mode0)
	}
	if err != nil {
		return nil, err
	}
	b.ports[port] = p
	return p.conn, nil
}

func (b *SPIBus) raise() error {
	for _, name := range b.claimed {
		if b.selects[name] != nil {
			continue
		}
		p, err := b.board.Pin(name)
		if err != nil {
			return fmt.Errorf("spi: select %s: %w", name, err)
		}
		if err := p.Out(gpio.High); err != nil {
			return fmt.Errorf("spi: select %s: %w", name, err)
		}
		b.selects[name] = p
	}
	return nil
}

func (b *SPIBus) open(port string, mode spi.Mode) (*spiPort, error) {
	pc, err := b.board.SPI(port)
	if err != nil {
		return nil, fmt.Errorf("spi: open %s: %w", port, err)
	}
	c, err := pc.Connect(spiClock, mode, 8)
	if err != nil {
		pc.Close()
		return nil, fmt.Errorf("spi: %s: %w", port, err)
	}
	return &spiPort{closer: pc, conn: c}, nil
}

// Close closes the ports; only after the owner has ended.
func (b *SPIBus) Close() error {
	for name, p := range b.ports {
		p.closer.Close()
		delete(b.ports, name)
	}
	return nil
}
