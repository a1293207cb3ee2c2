package sim

import (
	"fmt"
	"io/fs"
	"sync/atomic"
	"syscall"

	"periph.io/x/conn/v3/physic"
)

// bus is one I2C bus.
type bus struct {
	wires
	board *Board
	chips map[uint16]Chip // guarded by wires.mu
}

// i2cBus is one opened handle. It behaves like sysfs.I2C of periph's host
// v3.8.5, except that its errors can be unwrapped.
type i2cBus struct {
	bus    *bus
	closed atomic.Bool
}

func (h *i2cBus) String() string { return h.bus.name }

func (h *i2cBus) Close() error {
	if h.closed.Swap(true) {
		return h.bus.errorf(fs.ErrClosed)
	}
	return nil
}

// SetSpeed always fails, as on a Raspberry Pi: there the speed is set by
// dtparam=i2c_arm_baudrate in config.txt.
func (h *i2cBus) SetSpeed(physic.Frequency) error {
	return fmt.Errorf("sim: %s: speed: set it in config.txt (dtparam=i2c_arm_baudrate)", h.bus.name)
}

// Tx does nothing at all where both buffers are empty, as sysfs.I2C does. An
// address without a chip wraps syscall.EREMOTEIO.
func (h *i2cBus) Tx(addr uint16, w, r []byte) error {
	u := h.bus
	switch {
	case h.closed.Load():
		return u.errorf(fs.ErrClosed)
	case addr >= 0x80:
		return fmt.Errorf("sim: %s: address %#x: not in 7 bits", u.name, addr)
	case len(w) == 0 && len(r) == 0:
		return nil
	}
	if err := u.enter(u.board.clock); err != nil {
		return err
	}
	u.mu.Lock()
	defer u.mu.Unlock()
	chip := u.chips[addr]
	if chip == nil || u.refused(addr) {
		return fmt.Errorf("sim: %s: address %#x: %w", u.name, addr, syscall.EREMOTEIO)
	}
	if err := chip.Tx(u.board.clock.Now(), w, r); err != nil {
		return fmt.Errorf("sim: %s: address %#x: %w", u.name, addr, err)
	}
	u.disturb(r)
	return nil
}
