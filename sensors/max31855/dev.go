// Package max31855 reads thermocouples through the MAX31855 converter: a
// read-only SPI chip with cold-junction compensation, sold in a version for
// each letter type and linear only on paper. A Dev does not sleep, keep a
// clock or repeat a value.
//
// Connect its port as Connect(MaxClock, Mode, 8), or slower for long wires
// (LimitSpeed); with Opts.Select add spi.NoCS to the mode.
//
// Datasheet: Maxim 19-5793, Rev 5 of 1/15.
package max31855

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"charwarden/sensors/its90"
)

// How the port must be connected, and the chip's pace. The figures are the
// datasheet's as authors of other drivers quote them.
const (
	MaxClock   = 5 * physic.MegaHertz
	Mode       = spi.Mode0
	Conversion = 100 * time.Millisecond // at most; begins when chip select rises
	PowerUp    = 200 * time.Millisecond // from power to a usable frame
)

var (
	// ErrBusy means that a conversion may still be running, which a read would
	// stop. The bus was not touched.
	ErrBusy = errors.New("conversion still running (read it no faster than every 100 ms)")

	// ErrSettling means that the chip is there but may just have got its power:
	// its first frame is dropped and the next is read PowerUp later.
	ErrSettling = errors.New("settling after power-up")
)

// Opts says which part is fitted and how it is selected. It is required.
type Opts struct {
	// Type is the letter that the part is trimmed for and that the wire must
	// have: MAX31855K is K.
	Type its90.Type
	// Select is the pin that selects the chip; nil if the port's own line does.
	// Whoever owns the bus raises the select pins of all its chips before the
	// first New, or two of them answer at once.
	Select gpio.PinOut
}

// Sample is one reading, all in degC. With an error from Sense HotC and ChipC
// are NaN; ColdC is NaN unless the frame shows one within MinCold to MaxCold.
type Sample struct {
	HotC  float64 // hot junction, linearised
	ColdC float64 // cold junction: the chip itself
	ChipC float64 // thermocouple as the chip reports it, linear
	Fault Fault
	Frame Frame // as read; zero where nothing was
}

// Dev is one chip. Only the goroutine that owns the bus may use it.
type Dev struct {
	c    conn.Conn
	pin  gpio.PinOut
	typ  its90.Type
	buf  [4]byte
	next time.Time // no read before
	wait error     // why not
	lost bool      // the last answer was ErrNoChip
}

var _ conn.Resource = (*Dev)(nil)

// New reads one frame to prove that the chip is there; its fault bits do not
// matter. That frame is dropped: the first Sense that can succeed is PowerUp
// after now.
//
// Errors: *TypeError for a letter without a part, such as B; the bus's own;
// ErrNoChip and ErrFrame.
func New(c conn.Conn, now time.Time, o *Opts) (*Dev, error) {
	if gain(o.Type) == 0 {
		return nil, &TypeError{Type: o.Type}
	}
	d := &Dev{c: c, pin: o.Select, typ: o.Type}
	f, err := d.read(now)
	if err == nil {
		_, _, _, err = f.Decode()
	}
	if err != nil {
		return nil, fmt.Errorf("%v: %w", d, err)
	}
	d.settle(now)
	return d, nil
}

// Sense reads one frame; now is the time at which it is called. Poll every
// 200 ms or slower.
//
// Errors, all wrapped: ErrBusy and ErrSettling before the chip is due, without
// touching the bus; the bus's own; ErrFrame; ErrNoChip, after which the next
// good frame is dropped as a first one after power-up (ErrSettling); *FaultError;
// *ColdError; *its90.RangeError for a temperature that the type cannot have.
func (d *Dev) Sense(now time.Time) (Sample, error) {
	s := Sample{HotC: math.NaN(), ColdC: math.NaN(), ChipC: math.NaN()}
	if now.Before(d.next) {
		return s, fmt.Errorf("%v: %w", d, d.wait)
	}
	var err error
	if s.Frame, err = d.read(now); err == nil {
		err = d.convert(&s, now)
	}
	if err != nil {
		return s, fmt.Errorf("%v: %w", d, err)
	}
	return s, nil
}

// convert fills s from its frame. Temperatures stay NaN unless they may be used.
func (d *Dev) convert(s *Sample, now time.Time) error {
	chip, cold, fault, err := s.Frame.Decode()
	if err != nil {
		d.lost = d.lost || errors.Is(err, ErrNoChip)
		return err
	}
	if d.lost {
		d.settle(now)
		return ErrSettling
	}
	s.Fault = fault
	if MinCold <= cold && cold <= MaxCold {
		s.ColdC = cold
	}
	if fault != 0 {
		return &FaultError{Fault: fault, ColdC: s.ColdC}
	}
	hot, err := Linearise(d.typ, chip, cold)
	if err != nil {
		return err
	}
	s.HotC, s.ChipC = hot, chip
	return nil
}

// settle takes the frame just read as the first one after power-up.
func (d *Dev) settle(now time.Time) {
	d.lost, d.next, d.wait = false, now.Add(PowerUp), ErrSettling
}

// read clocks one frame out. Chip select falls and rises whatever happens, so
// that a new conversion begins.
func (d *Dev) read(now time.Time) (Frame, error) {
	d.next, d.wait = now.Add(Conversion), ErrBusy
	clear(d.buf[:]) // a bus that fills nothing must not repeat the last frame
	if err := d.transact(); err != nil {
		return 0, err
	}
	return Frame(binary.BigEndian.Uint32(d.buf[:])), nil
}

func (d *Dev) transact() error {
	if d.pin == nil {
		return d.c.Tx(nil, d.buf[:])
	}
	err := d.pin.Out(gpio.Low)
	if err == nil {
		err = d.c.Tx(nil, d.buf[:])
	}
	up := d.pin.Out(gpio.High)
	switch {
	case up == nil:
		return err
	case err == nil:
		return fmt.Errorf("%v: chip stays selected: %w", d.pin, up)
	}
	return fmt.Errorf("%w; %v: chip stays selected: %w", err, d.pin, up)
}

// String names the part and its bus.
func (d *Dev) String() string { return fmt.Sprintf("MAX31855%v{%v}", d.typ, d.c) }

// Halt does nothing: the chip converts for as long as it has power.
func (d *Dev) Halt() error { return nil }
