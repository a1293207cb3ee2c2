package ads1115

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"periph.io/x/conn/v3/physic"
)

var errNACK = errors.New("remote I/O error")

// chip is an ADS1115 on a bus whose time is moved by sleep and by transfers.
type chip struct {
	addr    uint16
	k       float64       // conversion time / nominal: 1.10 is a clock 10 % slow
	latch   bool          // a chip busy with a single shot takes all of a write but OS; else nothing of it
	txTime  time.Duration // of one transfer
	codes   [8]uint16     // what each MUX setting measures
	config  uint16        // without OS
	result  uint16
	pending uint16
	busy    bool
	ends    time.Duration
	now     time.Duration
	tx      int                                // transfers so far
	fault   func(tx int) error                 // NACK and the like
	onRead  func(reg byte, v uint16) uint16    // bit errors on the way back
	onWrite func(tx int, cfg uint16) uint16    // bit errors on the way to the chip
	onTx    func(c *chip, tx int, w, r []byte) // anything else
}

func newChip() *chip {
	c := &chip{addr: 0x48, k: 1, config: 0x0583}
	for mux := range c.codes {
		c.codes[mux] = uint16(1000 * (mux + 1))
	}
	return c
}

func (c *chip) String() string                  { return "fake" }
func (c *chip) SetSpeed(physic.Frequency) error { return nil }
func (c *chip) sleep(d time.Duration)           { c.now += d }

func (c *chip) Tx(addr uint16, w, r []byte) error {
	c.tx++
	c.now += c.txTime
	if addr != c.addr {
		return errNACK
	}
	if c.fault != nil {
		if err := c.fault(c.tx); err != nil {
			return err
		}
	}
	if c.onTx != nil {
		c.onTx(c, c.tx, w, r)
	}
	c.settle()
	if len(w) == 3 {
		cfg := uint16(w[1])<<8 | uint16(w[2])
		if c.onWrite != nil {
			cfg = c.onWrite(c.tx, cfg)
		}
		c.write(cfg)
		return nil
	}
	v := c.result
	if w[0] == regConfig {
		v = c.config
		if !c.busy {
			v |= bitOS
		}
	}
	if c.onRead != nil {
		v = c.onRead(w[0], v)
	}
	r[0], r[1] = byte(v>>8), byte(v)
	return nil
}

func (c *chip) write(cfg uint16) {
	if c.busy && !c.latch && c.config&bitMode != 0 {
		return
	}
	c.config = cfg &^ bitOS
	if !c.busy && (cfg&bitOS != 0 || cfg&bitMode == 0) {
		c.start(c.now)
	}
}

// start begins a conversion of the input that is set now; a later change of
// the settings does not touch it.
func (c *chip) start(at time.Duration) {
	c.busy = true
	c.pending = c.codes[c.config>>shiftMux&7]
	c.ends = at + time.Duration(c.k*float64(Rate(c.config>>shiftDR&7).Period()))
}

func (c *chip) settle() {
	for c.busy && c.now >= c.ends {
		c.result, c.busy = c.pending, false
		if c.config&bitMode == 0 {
			c.start(c.ends)
		}
	}
}

// reset is what a dip of the supply does: SBAS444, Config register reset 8583.
func (c *chip) reset() { c.config, c.result, c.busy = 0x0583, 0, false }

func open(t testing.TB, c *chip) *Dev {
	t.Helper()
	d, err := New(c, c.addr, &Opts{Sleep: c.sleep})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// naive is the reader that this package replaces: write, sleep 1/DR, read.
func naive(c *chip, in Input, rate Rate) int16 {
	cfg := bitOS | in.mux()<<shiftMux | bitMode | uint16(rate)<<shiftDR | compOff
	if err := c.Tx(c.addr, []byte{regConfig, byte(cfg >> 8), byte(cfg)}, nil); err != nil {
		panic(fmt.Sprint("naive: ", err))
	}
	c.sleep(rate.Period())
	var r [2]byte
	if err := c.Tx(c.addr, []byte{regConversion}, r[:]); err != nil {
		panic(fmt.Sprint("naive: ", err))
	}
	return int16(uint16(r[0])<<8 | uint16(r[1]))
}
