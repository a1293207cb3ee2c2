package max31855

import (
	"encoding/binary"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/gpio"

	"charwarden/sensors/its90"
)

var errBus = errors.New("bus broken")

// bus is a port with one chip on it, at the level of Tx. It answers with frame,
// with err, or, when mute, without touching the buffer.
type bus struct {
	frame Frame
	err   error
	mute  bool
	log   []string // "tx" and what the select pin did
}

func (b *bus) String() string      { return "bus" }
func (b *bus) Duplex() conn.Duplex { return conn.Full }
func (b *bus) Tx(w, r []byte) error {
	b.log = append(b.log, "tx")
	if w != nil || len(r) != 4 {
		return errors.New("not a 4-byte read")
	}
	if b.err == nil && !b.mute {
		binary.BigEndian.PutUint32(r, uint32(b.frame))
	}
	return b.err
}

// pin records what is done to it in the bus's log, and fails on demand.
type pin struct {
	gpio.PinOut
	bus       *bus
	low, high error
}

func (p *pin) String() string { return "GPIO5" }

func (p *pin) Out(l gpio.Level) error {
	p.bus.log = append(p.bus.log, l.String())
	if l == gpio.Low {
		return p.low
	}
	return p.high
}

// TestSelect: the pin falls before and rises after each transfer, whatever
// happens in between; a busy chip is not selected.
func TestSelect(t *testing.T) {
	errPin := errors.New("pin broken")
	for name, tt := range map[string]struct {
		busErr, low, high error
		want              []error
		log               []string
	}{
		"good":         {nil, nil, nil, nil, []string{"Low", "tx", "High"}},
		"bus error":    {errBus, nil, nil, []error{errBus}, []string{"Low", "tx", "High"}},
		"no select":    {nil, errPin, nil, []error{errPin}, []string{"Low", "High"}},
		"no release":   {nil, nil, errPin, []error{errPin}, []string{"Low", "tx", "High"}},
		"both at once": {errBus, nil, errPin, []error{errBus, errPin}, []string{"Low", "tx", "High"}},
	} {
		b := &bus{frame: good}
		p := &pin{bus: b}
		d, err := New(b, start, &Opts{Type: its90.K, Select: p})
		if err != nil || !slices.Equal(b.log, []string{"Low", "tx", "High"}) {
			t.Fatalf("New: %v, %v", err, b.log)
		}
		b.log, b.err, p.low, p.high = nil, tt.busErr, tt.low, tt.high
		s, err := d.Sense(start.Add(PowerUp))
		if (err == nil) != (tt.want == nil) || blank(s) != (err != nil) {
			t.Errorf("%s: %+v, %v", name, s, err)
		}
		if err != nil && strings.Contains(err.Error(), "%!") {
			t.Errorf("%s: message %q", name, err)
		}
		for _, want := range tt.want {
			if !errors.Is(err, want) {
				t.Errorf("%s: %v, want %v", name, err, want)
			}
		}
		if !slices.Equal(b.log, tt.log) {
			t.Errorf("%s: %v, want %v", name, b.log, tt.log)
		}
		b.log = nil
		if _, err := d.Sense(start.Add(PowerUp)); !errors.Is(err, ErrBusy) || b.log != nil {
			t.Errorf("%s: busy chip selected: %v, %v", name, err, b.log)
		}
	}
}

func TestNoAllocation(t *testing.T) {
	b := &bus{}
	d, at := ready(t, b, Opts{Select: &pin{bus: b}})
	b.log = make([]string, 0, 1000) // room for all calls, so that only Sense could allocate
	if n := testing.AllocsPerRun(100, func() {
		if _, err := d.Sense(at); err != nil {
			t.Error(err)
		}
		at = at.Add(Conversion)
	}); n != 0 {
		t.Errorf("%v allocations on the good path", n)
	}
}

// FuzzSense: whatever the wire carries, a temperature comes without an error,
// inside the couple's range and with a believable cold junction, or not at all.
func FuzzSense(f *testing.F) {
	for _, v := range []uint32{0, math.MaxUint32, uint32(good), uint32(open), 0x64007F00, 0xF060C900, 0x57803C00, 0x01501790} {
		f.Add(byte('K'), v)
		f.Add(byte('S'), v)
	}
	f.Fuzz(func(t *testing.T, letter byte, v uint32) {
		b := &bus{frame: good}
		typ := its90.Type(letter)
		d, err := New(b, start, &Opts{Type: typ})
		if (err == nil) != slices.Contains(parts, typ) {
			t.Fatalf("New for %v: %v", typ, err)
		}
		if err != nil {
			return
		}
		b.frame = Frame(v)
		s, err := d.Sense(start.Add(PowerUp))
		if coldOK := s.ColdC >= MinCold && s.ColdC <= MaxCold; !coldOK && !math.IsNaN(s.ColdC) {
			t.Fatalf("%v: %+v, %v", b.frame, s, err)
		}
		if err != nil {
			if !blank(s) {
				t.Fatalf("%v: a number beside an error: %+v, %v", b.frame, s, err)
			}
			return
		}
		lo, hi := typ.Range()
		if !(lo <= s.HotC && s.HotC <= hi) || math.IsNaN(s.ChipC) || math.IsNaN(s.ColdC) || s.Fault != 0 {
			t.Fatalf("%v: %+v", b.frame, s)
		}
	})
}

func BenchmarkSense(b *testing.B) {
	port := &bus{frame: good}
	d, err := New(port, start, &Opts{Type: its90.K})
	if err != nil {
		b.Fatal(err)
	}
	at := start.Add(PowerUp)
	b.ReportAllocs()
	for b.Loop() {
		port.log = port.log[:0]
		d.Sense(at)
		at = at.Add(Conversion)
	}
}
