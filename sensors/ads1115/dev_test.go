package ads1115

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"
)

func TestNew(t *testing.T) {
	c := newChip()
	for _, addr := range []uint16{0, 0x47, 0x4c} {
		if _, err := New(c, addr, &Opts{Sleep: c.sleep}); err == nil {
			t.Errorf("address %#x accepted", addr)
		}
	}
	if _, err := New(c, 0x49, &Opts{Sleep: c.sleep}); !errors.Is(err, errNACK) || !strings.Contains(err.Error(), "0x49") {
		t.Errorf("absent chip: %v", err)
	}
	if _, err := New(c, 0x48, nil); err == nil {
		t.Error("no sleep accepted")
	}
	if s := open(t, c).String(); s != "ads1115{fake(0x48)}" {
		t.Errorf("String: %s", s)
	}
}

// The example transaction of the package comment, byte by byte.
func TestWire(t *testing.T) {
	c := newChip()
	c.k = 1.05
	c.codes[AIN0.mux()] = 0x3453
	d := open(t, c)
	var wire []string
	c.onTx = func(_ *chip, _ int, w, _ []byte) { wire = append(wire, hex(w)) }
	s, err := d.Read(AIN0, V4_096, SPS128)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := strings.Join(wire, " | "), "01 | 01c387 | 01 | 01 | 00 | 00"; got != want {
		t.Errorf("wire %s, want %s", got, want)
	}
	if s.Code != 13395 || math.Abs(s.Volts-1.674375) > 1e-12 || s.Clip != 0 {
		t.Errorf("sample %+v", s)
	}
}

func hex(b []byte) string {
	const digits = "0123456789abcdef"
	var s strings.Builder
	for _, v := range b {
		s.WriteByte(digits[v>>4])
		s.WriteByte(digits[v&15])
	}
	return s.String()
}

func TestBusErrorNamesChipAndInput(t *testing.T) {
	c := newChip()
	d := open(t, c)
	for at := 2; at <= 6; at++ {
		c.tx = 1
		c.fault = func(tx int) error {
			if tx == at {
				return errNACK
			}
			return nil
		}
		s, err := d.Read(AIN0_1, V2_048, SPS860)
		if !errors.Is(err, errNACK) || !strings.HasPrefix(err.Error(), "ads1115: 0x48: AIN0-AIN1: ") {
			t.Errorf("transfer %d: %v", at, err)
		}
		if !math.IsNaN(s.Volts) {
			t.Errorf("transfer %d: %v V beside an error", at, s.Volts)
		}
		c.now += time.Second
	}
}

func TestNotReady(t *testing.T) {
	for rate := range rates {
		c := newChip()
		c.k = 1000
		d := open(t, c)
		began := c.now
		_, err := d.Read(AIN0, V2_048, rate)
		if !errors.Is(err, ErrNotReady) {
			t.Fatalf("%v: %v", rate, err)
		}
		if got, want := c.now-began, rate.Period()*3/2+5*time.Millisecond; got > want || got < want-time.Microsecond {
			t.Errorf("%v: gave up after %v, want %v", rate, got, want)
		}
		// Still busy: the next read waits for the old conversion, then gives up.
		if _, err := d.Read(AIN1, V2_048, rate); !errors.Is(err, ErrNotReady) {
			t.Errorf("%v: second read of a busy chip: %v", rate, err)
		}
		c.now += 1000 * time.Second
		c.k = 1
		if s, err := d.Read(AIN1, V2_048, rate); err != nil || s.Code != int16(c.codes[AIN1.mux()]) {
			t.Errorf("%v: read after the chip came to rest: %+v, %v", rate, s, err)
		}
	}
}

// Every single bit error in the settings is seen, except in OS: an idle chip
// whose start bit was lost looks like one that is done (package comment).
func TestBitErrorInSettings(t *testing.T) {
	for bit := range 15 {
		c := newChip()
		d := open(t, c)
		c.onWrite = func(_ int, cfg uint16) uint16 { return cfg ^ 1<<bit }
		s, err := d.Read(AIN2, V2_048, SPS128)
		if !errors.Is(err, ErrMux) && !errors.Is(err, ErrNotReady) {
			t.Errorf("bit %d flipped: %+v, %v", bit, s, err)
		}
		// Whatever it did to the chip, continuous mode included, is over.
		c.onWrite = nil
		if s, err := d.Read(AIN1, V2_048, SPS128); err != nil || s.Code != int16(c.codes[AIN1.mux()]) {
			t.Errorf("read after bit %d flipped: %+v, %v", bit, s, err)
		}
	}
}

// A bit flipped in the result is seen, whichever and however often.
func TestBitErrorInResult(t *testing.T) {
	want := func(c *chip) int16 { return int16(c.codes[AIN2.mux()]) }
	for bad := 1; bad <= 4; bad++ {
		for bit := range 16 {
			c := newChip()
			d := open(t, c)
			reads := 0
			c.onRead = func(reg byte, v uint16) uint16 {
				if reg == regConversion {
					if reads++; reads <= bad {
						return v ^ 1<<((bit+reads)%16)
					}
				}
				return v
			}
			s, err := d.Read(AIN2, V2_048, SPS128)
			if bad <= 2 && (err != nil || s.Code != want(c)) || bad > 2 && !errors.Is(err, ErrBits) {
				t.Errorf("%d bad reads, bit %d: %+v, %v", bad, bit, s, err)
			}
		}
	}
}

// A chip that restarts during the conversion has a result of 0: not a value.
// AIN0-AIN1 at 2.048 V and 128 SPS are its settings after power-up.
func TestRestartedChip(t *testing.T) {
	c := newChip()
	d := open(t, c)
	c.onTx = func(c *chip, tx int, _, _ []byte) {
		if tx == 4 {
			c.reset()
		}
	}
	if s, err := d.Read(AIN0_1, V2_048, SPS128); !errors.Is(err, ErrMux) {
		t.Errorf("%+v, %v", s, err)
	}
}

// A chip that another program left in continuous mode.
func TestContinuousChip(t *testing.T) {
	for _, latch := range []bool{false, true} {
		c := newChip()
		c.latch = latch
		c.write(0x0483) // MODE 0
		d := open(t, c)
		s, err := d.Read(AIN3, V2_048, SPS128)
		if err != nil || s.Code != int16(c.codes[AIN3.mux()]) {
			t.Errorf("%+v, %v", s, err)
		}
	}
}

func TestUnknownSettings(t *testing.T) {
	d := open(t, newChip())
	for _, err := range []error{
		second(d.Read(inputs, V2_048, SPS8)),
		second(d.Read(AIN0, ranges, SPS8)),
		second(d.Read(AIN0, V2_048, rates)),
	} {
		if err == nil {
			t.Error("accepted")
		}
	}
}

func second(_ Sample, err error) error { return err }

func TestReadDoesNotAllocate(t *testing.T) {
	c := newChip()
	c.k = 1.1
	d := open(t, c)
	if n := testing.AllocsPerRun(100, func() {
		if _, err := d.Read(AIN0, V4_096, SPS128); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

func BenchmarkRead(b *testing.B) {
	c := newChip()
	d := open(b, c)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := d.Read(AIN0, V4_096, SPS128); err != nil {
			b.Fatal(err)
		}
	}
}
