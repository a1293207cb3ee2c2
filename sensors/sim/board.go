package sim

import (
	"fmt"
	"hash/fnv"
	"io/fs"
	"sync"
	"syscall"
	"time"

	"charwarden/sensors"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"
)

// Chip is a chip on an I2C bus. Tx is one transaction at its address: the
// bytes written, then, after a repeated start, the bytes read; w or r may be
// empty, not both. An error stands for a refused transaction.
type Chip interface {
	Tx(now time.Time, w, r []byte) error
}

// Board is a machine with simulated buses and pins. All its methods may be
// called from any goroutine at any time.
type Board struct {
	clock sensors.Clock
	seed  uint64

	mu    sync.Mutex
	ports map[string]*port
	buses map[string]*bus
	pins  map[string]*pin
}

var _ sensors.Board = (*Board)(nil)

// NewBoard returns a board without chips: a port or bus exists from the first
// Add or IdleMISO that names it, a pin from the first use of its name.
func NewBoard(c sensors.Clock, seed uint64) *Board {
	return &Board{clock: c, seed: seed, ports: map[string]*port{}, buses: map[string]*bus{}, pins: map[string]*pin{}}
}

// AddMAX31855 puts c on an SPI port and powers it, long enough ago that its
// first frame is ready. selectPin is the GPIO that selects it, active low and
// pulled up; "" is the port's own select. It panics if no such part is made
// for c.Type (B).
func (b *Board) AddMAX31855(port, selectPin string, c *MAX31855) {
	c.attach(b.clock.Now(), b.seedOf(port, selectPin))
	b.mu.Lock()
	defer b.mu.Unlock()
	p := b.port(port)
	s := slot{chip: c}
	if selectPin != "" {
		s.pin = b.pin(selectPin)
		s.pin.selects(c)
	}
	p.mu.Lock()
	p.slots = append(p.slots, s)
	p.mu.Unlock()
}

// AddI2C puts c on a bus at a 7 bit address, in place of a chip that is there.
func (b *Board) AddI2C(name string, addr uint16, c Chip) {
	if s, ok := c.(interface{ setSeed(uint64) }); ok {
		s.setSeed(b.seedOf(name, fmt.Sprint(addr)))
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	u, ok := b.buses[name]
	if !ok {
		u = &bus{board: b, chips: map[uint16]Chip{}}
		u.init(name, b.seedOf(name, "faults"))
		b.buses[name] = u
	}
	u.mu.Lock()
	u.chips[addr] = c
	u.mu.Unlock()
}

// AddPulses feeds a pin with hz(now) pulses per second; NaN and negative
// rates are none.
func (b *Board) AddPulses(name string, hz func(time.Time) float64) {
	b.mu.Lock()
	p := b.pin(name)
	b.mu.Unlock()
	p.feed(hz)
}

// IdleMISO sets the level that a port's input has while no chip drives it; Low
// until set. High is a pull-up on the wire.
func (b *Board) IdleMISO(name string, l gpio.Level) {
	b.mu.Lock()
	p := b.port(name)
	b.mu.Unlock()
	p.mu.Lock()
	p.idle = l
	p.mu.Unlock()
}

// SPI opens a port. One without chips is fs.ErrNotExist, as for a device file
// that is not there.
func (b *Board) SPI(name string) (spi.PortCloser, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	p, ok := b.ports[name]
	if !ok {
		return nil, noFile(name)
	}
	return &spiPort{port: p}, nil
}

// I2C opens a bus. One without chips is fs.ErrNotExist.
func (b *Board) I2C(name string) (i2c.BusCloser, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	u, ok := b.buses[name]
	if !ok {
		return nil, noFile(name)
	}
	return &i2cBus{bus: u}, nil
}

// Pin returns the pin of any name; two calls return the same pin.
func (b *Board) Pin(name string) (gpio.PinIO, error) {
	if name == "" {
		return nil, fmt.Errorf("sim: pin without a name")
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.pin(name), nil
}

// Output returns what the daemon drives a pin with and how often that level
// has changed. A pin that was never driven, or was made an input, is Low here.
func (b *Board) Output(name string) (l gpio.Level, edges int) {
	b.mu.Lock()
	p := b.pin(name)
	b.mu.Unlock()
	return p.output()
}

// port returns the port of that name, made if need be. Needs b.mu.
func (b *Board) port(name string) *port {
	p, ok := b.ports[name]
	if !ok {
		p = &port{board: b}
		p.init(name, b.seedOf(name, "faults"))
		b.ports[name] = p
	}
	return p
}

// pin returns the pin of that name, made if need be. Needs b.mu.
func (b *Board) pin(name string) *pin {
	p, ok := b.pins[name]
	if !ok {
		p = newPin(b.clock, name)
		b.pins[name] = p
	}
	return p
}

// seedOf derives a seed that depends on the place of a chip and on nothing
// else, so that one more chip does not change the others' noise.
func (b *Board) seedOf(bus, place string) uint64 {
	h := fnv.New64a()
	fmt.Fprintf(h, "%d %s %s", b.seed, bus, place)
	return h.Sum64()
}

func noFile(name string) error {
	return fmt.Errorf("sim: %w", &fs.PathError{Op: "open", Path: name, Err: syscall.ENOENT})
}
