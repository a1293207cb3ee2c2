package sensors

import (
	"errors"

	"periph.io/x/conn/v3/i2c"
)

// I2CBus opens one I2C bus when it is first needed, so that a bus that is not
// there at the start is a fault that heals. Only the bus's owner calls it.
type I2CBus struct {
	board Board
	name  string
	bus   i2c.BusCloser
}

// NewI2CBus makes the bus without opening it.
func NewI2CBus(b Board, name string) *I2CBus { return &I2CBus{board: b, name: name} }

func (b *I2CBus) open() (i2c.Bus, error) {
	if b.bus == nil {
		bus, err := b.board.I2C(b.name)
		if err != nil {
			return nil, err
		}
		b.bus = bus
	}
	return b.bus, nil
}

// Close closes the bus; only after the owner has ended.
func (b *I2CBus) Close() error {
	if b.bus == nil {
		return nil
	}
	return b.bus.Close()
}

// shortOf is a bus that answers only so many transfers. periph's BMx280 driver
// asks a chip whether it is idle without end: a chip that always says no would
// hold the owner, and with it the CO cell on the same bus.
type shortOf struct {
	i2c.Bus
	left int
}

var errBusy = errors.New("the chip never says that it is idle")

func (s *shortOf) Tx(addr uint16, w, r []byte) error {
	if s.left--; s.left < 0 {
		return errBusy
	}
	return s.Bus.Tx(addr, w, r)
}
