package ads1115

import (
	"errors"
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/i2c"
)

// What a caller may branch on beside the bus's own errors, which are wrapped.
var (
	// ErrNotReady: the chip did not finish in one and a half conversion times.
	ErrNotReady = errors.New("conversion does not end")
	// ErrMux: the settings do not read back as asked, so nobody knows which
	// input the result belongs to.
	ErrMux = errors.New("settings read back differently: another master, a bit error or a restarted chip")
	// ErrBits: the result reads differently each time.
	ErrBits = errors.New("result reads differently each time: bit errors on the bus")
)

const (
	regConversion = 0x00
	regConfig     = 0x01

	bitOS    = 1 << 15
	bitMode  = 1 << 8
	shiftMux = 12
	shiftPGA = 9
	shiftDR  = 5
	compOff  = 0b111 // COMP_LAT as our mark, COMP_QUE off
)

// Opts are the parts that the chip's owner brings.
type Opts struct {
	// Sleep waits for the given time; required. It may wait longer.
	Sleep func(time.Duration)
}

// Dev is one ADS1115. Only the goroutine that owns the bus may use it.
type Dev struct {
	bus   i2c.Bus
	addr  uint16
	sleep func(time.Duration)
	w     [3]byte // buffers live here so that a read does not allocate
	r     [2]byte
}

// New returns the chip at addr, 0x48..0x4b by its ADDR pin, after its config
// register has been read once: an absent chip is an error. The settings that
// it finds there are of no matter.
func New(b i2c.Bus, addr uint16, o *Opts) (*Dev, error) {
	if addr < 0x48 || addr > 0x4b {
		return nil, fmt.Errorf("ads1115: address %#x: not one of 0x48, 0x49, 0x4a, 0x4b", addr)
	}
	if b == nil || o == nil || o.Sleep == nil {
		return nil, fmt.Errorf("ads1115: %#x: a bus and Opts.Sleep are required", addr)
	}
	d := &Dev{bus: b, addr: addr, sleep: o.Sleep}
	if _, err := d.register(regConfig); err != nil {
		return nil, fmt.Errorf("ads1115: %#x: %w", addr, err)
	}
	return d, nil
}

// String returns "ads1115{bus(0x48)}".
func (d *Dev) String() string { return fmt.Sprintf("ads1115{%v(%#x)}", d.bus, d.addr) }

// Read makes one conversion and returns it. It sleeps for one conversion time
// and then in tenths of it until the chip is done, 1.5 conversion times plus
// 5 ms at most, and as long again before it if the chip is still busy with a
// conversion that was given up. Errors name chip and input; they wrap the
// bus's error, ErrNotReady, ErrMux or ErrBits, and come with Volts NaN.
func (d *Dev) Read(in Input, r Range, rate Rate) (Sample, error) {
	s, err := d.read(in, r, rate)
	if err != nil {
		return Sample{Volts: math.NaN()}, fmt.Errorf("ads1115: %#x: %v: %w", d.addr, in, err)
	}
	return s, nil
}

func (d *Dev) read(in Input, r Range, rate Rate) (Sample, error) {
	if in >= inputs || r >= ranges || rate >= rates {
		return Sample{}, fmt.Errorf("%v at %v: no such setting", r, rate)
	}
	want := in.mux()<<shiftMux | uint16(r)<<shiftPGA | bitMode | uint16(rate)<<shiftDR | compOff

	if err := d.idle(); err != nil {
		return Sample{}, fmt.Errorf("before the conversion: %w", err)
	}
	if err := d.configure(want | bitOS); err != nil {
		return Sample{}, err
	}
	d.sleep(rate.Period())
	got, err := d.await(rate, rate.Period())
	if err != nil {
		return Sample{}, err
	}
	if got &^= bitOS; got != want {
		return Sample{}, fmt.Errorf("asked for %04x, got %04x: %w", want, got, ErrMux)
	}
	code, err := d.result()
	if err != nil {
		return Sample{}, err
	}
	return sample(int16(code), r), nil
}

// resultReads is how often the result is read at most. The bus has no checksum,
// but a finished result stays as it is: two reads in a row that agree are it.
const resultReads = 4

func (d *Dev) result() (uint16, error) {
	last, err := d.register(regConversion)
	for range resultReads - 1 {
		if err != nil {
			return 0, err
		}
		var again uint16
		if again, err = d.register(regConversion); err == nil && again == last {
			return again, nil
		}
		last = again
	}
	if err != nil {
		return 0, err
	}
	return 0, ErrBits
}

// idle leaves the chip at rest in single-shot mode. A start is ignored while a
// conversion runs, and its end would then be taken for the end of ours.
// Continuous mode, the work of a bit error or of another program, never comes
// to rest by itself and is switched off.
func (d *Dev) idle() error {
	cfg, err := d.register(regConfig)
	if err != nil {
		return err
	}
	if cfg&bitMode == 0 {
		if err := d.configure(cfg&^bitOS | bitMode); err != nil {
			return err
		}
	} else if cfg&bitOS != 0 {
		return nil
	}
	_, err = d.await(Rate(cfg>>shiftDR&7), 0)
	return err
}

// await returns the config register once it says that no conversion runs.
// slept is what the conversion was already given.
func (d *Dev) await(rate Rate, slept time.Duration) (uint16, error) {
	period := rate.Period()
	limit := period + period/2 + 5*time.Millisecond
	for {
		cfg, err := d.register(regConfig)
		if err != nil || cfg&bitOS != 0 {
			return cfg, err
		}
		if slept >= limit {
			return cfg, fmt.Errorf("busy after %v at %v: %w", slept, rate, ErrNotReady)
		}
		step := min(period/10, limit-slept)
		d.sleep(step)
		slept += step
	}
}

func (d *Dev) configure(cfg uint16) error {
	d.w = [3]byte{regConfig, byte(cfg >> 8), byte(cfg)}
	if err := d.bus.Tx(d.addr, d.w[:], nil); err != nil {
		return fmt.Errorf("write config: %w", err)
	}
	return nil
}

func (d *Dev) register(reg byte) (uint16, error) {
	d.w[0] = reg
	if err := d.bus.Tx(d.addr, d.w[:1], d.r[:]); err != nil {
		return 0, fmt.Errorf("read register %d: %w", reg, err)
	}
	return uint16(d.r[0])<<8 | uint16(d.r[1]), nil
}
