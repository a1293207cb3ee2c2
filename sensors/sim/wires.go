package sim

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sync"
	"syscall"
	"time"

	"charwarden/sensors"
)

// kernelLimit is how long a Linux bus adapter waits for its controller before
// it gives up with ETIMEDOUT: 1 s, the default of struct i2c_adapter.timeout
// (drivers/i2c/i2c-core-base.c: adap->timeout = HZ).
const kernelLimit = time.Second

const forEver = 1000 * time.Hour

// wires is what faults act on: one SPI port or one I2C bus.
type wires struct {
	name string

	mu      sync.Mutex
	healed  context.Context // ends when the faults are taken away
	heal    context.CancelFunc
	hanging bool
	hang    time.Duration // < 0: for ever
	fail    error
	failN   int
	nack    map[uint16]int
	flip    float64
	rng     *rand.Rand
}

func (w *wires) init(name string, seed uint64) {
	w.name = name
	w.rng = rand.New(rand.NewPCG(seed, 0))
	w.nack = map[uint16]int{}
	w.healed, w.heal = context.WithCancel(context.Background())
}

// Hang makes every transfer on an SPI port or I2C bus block from now on.
//
//	d < 0         a locked-up controller: until Heal, then ETIMEDOUT
//	0 <= d < 1 s  the bus is held that long or until Heal, then answers
//	d >= 1 s      the kernel gives up after 1 s: ETIMEDOUT; if Heal comes
//	              first, the transfer is answered
//
// Errors wrap syscall.ETIMEDOUT. Transfers that already wait keep the rule
// they started with. Like all faults it panics for a bus that is not there.
func (b *Board) Hang(bus string, d time.Duration) {
	w := b.wires(bus)
	w.mu.Lock()
	defer w.mu.Unlock()
	w.hanging, w.hang = true, d
}

// Heal takes all faults of a bus away and releases the transfers that wait.
func (b *Board) Heal(bus string) {
	w := b.wires(bus)
	w.mu.Lock()
	defer w.mu.Unlock()
	w.hanging, w.fail, w.failN, w.flip = false, nil, 0, 0
	clear(w.nack)
	w.heal()
	w.healed, w.heal = context.WithCancel(context.Background())
}

// NACK makes the chip at addr refuse the next n transactions, n < 0: all, as a
// chip without power or off its bus does; 0 ends it. Errors wrap
// syscall.EREMOTEIO.
func (b *Board) NACK(bus string, addr uint16, n int) {
	w := b.wires(bus)
	w.mu.Lock()
	defer w.mu.Unlock()
	w.nack[addr] = n
}

// Fail makes the next n transfers end with err, n < 0: all; 0 ends it.
func (b *Board) Fail(bus string, err error, n int) {
	w := b.wires(bus)
	w.mu.Lock()
	defer w.mu.Unlock()
	w.fail, w.failN = err, n
}

// Flip inverts one bit of an answer with this probability, 0..1; 0 ends it.
func (b *Board) Flip(bus string, probability float64) {
	w := b.wires(bus)
	w.mu.Lock()
	defer w.mu.Unlock()
	w.flip = probability
}

func (b *Board) wires(name string) *wires {
	b.mu.Lock()
	defer b.mu.Unlock()
	if p, ok := b.ports[name]; ok {
		return &p.wires
	}
	if u, ok := b.buses[name]; ok {
		return &u.wires
	}
	panic(fmt.Sprintf("sim: %s: no such bus", name))
}

// enter waits as long as the bus hangs and returns what hinders the transfer.
func (w *wires) enter(c sensors.Clock) error {
	w.mu.Lock()
	hanging, hang, healed := w.hanging, w.hang, w.healed
	w.mu.Unlock()
	switch {
	case !hanging:
	case hang < 0:
		for healed.Err() == nil { // by the clock, or a fast one would wait for the transfer
			c.Sleep(healed, forEver)
		}
		return w.errorf(syscall.ETIMEDOUT)
	case hang < kernelLimit:
		c.Sleep(healed, hang)
	default:
		c.Sleep(healed, kernelLimit)
		if healed.Err() == nil {
			return w.errorf(syscall.ETIMEDOUT)
		}
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.fail != nil && spend(&w.failN) {
		return w.errorf(w.fail)
	}
	return nil
}

// refused reports whether the chip at addr does not acknowledge. Needs w.mu.
func (w *wires) refused(addr uint16) bool {
	n := w.nack[addr]
	if !spend(&n) {
		return false
	}
	w.nack[addr] = n
	return true
}

// disturb flips a bit of an answer now and then. Needs w.mu.
func (w *wires) disturb(r []byte) {
	if len(r) > 0 && w.flip > 0 && w.rng.Float64() < w.flip {
		bit := w.rng.IntN(8 * len(r))
		r[bit/8] ^= 0x80 >> (bit % 8)
	}
}

func (w *wires) errorf(cause error) error { return fmt.Errorf("sim: %s: %w", w.name, cause) }

// spend takes one of n; fewer than none is no end of them.
func spend(n *int) bool {
	if *n > 0 {
		*n--
		return true
	}
	return *n < 0
}

// gauss returns the n-th of the standard normal numbers that belong to t: a
// function of time, not of how often it was asked.
func gauss(seed uint64, t time.Time, n int) float64 {
	r := rand.New(rand.NewPCG(seed, uint64(t.UnixNano())))
	for range n {
		r.NormFloat64()
	}
	return r.NormFloat64()
}
