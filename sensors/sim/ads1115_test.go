package sim

import (
	"math"
	"testing"
	"time"
)

const bus1 = "/dev/i2c-1"

// adc is an ADS1115 on a board and the little that a test says to it.
type adc struct {
	t *testing.T
	h *hand
	b *Board
	d *ADS1115
}

func newADC(t *testing.T, d *ADS1115) *adc {
	a := &adc{t, newHand(), nil, d}
	a.b = NewBoard(a.h, 7)
	a.b.AddI2C(bus1, 0x48, d)
	return a
}

func (a *adc) tx(w []byte, n int) []byte {
	a.t.Helper()
	bus, err := a.b.I2C(bus1)
	if err != nil {
		a.t.Fatal(err)
	}
	r := make([]byte, n)
	if err := bus.Tx(0x48, w, r); err != nil {
		a.t.Fatal(err)
	}
	return r
}

func (a *adc) reg(p byte) uint16 {
	r := a.tx([]byte{p}, 2)
	return uint16(r[0])<<8 | uint16(r[1])
}

func (a *adc) config(v uint16) { a.tx([]byte{1, byte(v >> 8), byte(v)}, 0) }

// convert runs one single shot and returns its code.
func (a *adc) convert(v uint16) int16 {
	a.config(v | 0x8100)
	a.h.pass(200 * time.Millisecond)
	return int16(a.reg(0))
}

// Reset values: ADS1115 datasheet SBAS444, "Register Maps".
func TestADS1115Reset(t *testing.T) {
	a := newADC(t, &ADS1115{})
	for p, want := range []uint16{0, 0x8583, 0x8000, 0x7fff} {
		if got := a.reg(byte(p)); got != want {
			t.Errorf("register %d: %04x, want %04x", p, got, want)
		}
	}
	if got := a.tx([]byte{1}, 4); got[2] != 0xff || got[3] != 0xff {
		t.Errorf("beyond the register: % x", got)
	}
	if a.tx([]byte{0, 0x12, 0x34}, 0); a.reg(0) != 0 {
		t.Error("the conversion register took a write")
	}
}

// Codes: SBAS444 table "Input Signal versus Ideal Output Code": FS = 7FFF and
// above, 1 LSB = FS/2^15, -FS = 8000. Ranges of the PGA field, SBAS444 table
// "Full-Scale Range and Corresponding LSB Size".
func TestADS1115Codes(t *testing.T) {
	lsb := []float64{187.5e-6, 125e-6, 62.5e-6, 31.25e-6, 15.625e-6, 7.8125e-6, 7.8125e-6, 7.8125e-6}
	for pga, l := range lsb {
		for _, c := range []struct {
			volts float64
			want  int16
		}{
			{0, 0}, {l, 1}, {-l, -1}, {0.5 * l * 32768, 16384}, {l * 32767, 0x7fff}, {l * 32768, 0x7fff},
			{l * 40000, 0x7fff}, {-l * 32768, -0x8000}, {-l * 40000, -0x8000},
		} {
			a := newADC(t, &ADS1115{AIN: [4]func(time.Time) float64{steady(c.volts)}})
			if got := a.convert(0x4083 | uint16(pga)<<9); got != c.want {
				t.Errorf("PGA %d, %g V: %d, want %d", pga, c.volts, got, c.want)
			}
		}
	}
}

func TestADS1115Mux(t *testing.T) {
	in := [4]float64{1.0, 0.7, 0.4, 0.2}
	d := &ADS1115{}
	for i, v := range in {
		d.AIN[i] = steady(v)
	}
	a := newADC(t, d)
	// SBAS444, MUX field: 000 0-1, 001 0-3, 010 1-3, 011 2-3, 100.. single.
	for mux, want := range []float64{0.3, 0.8, 0.5, 0.2, 1.0, 0.7, 0.4, 0.2} {
		if got := float64(a.convert(0x0283|uint16(mux)<<12)) * 125e-6; math.Abs(got-want) > 63e-6 {
			t.Errorf("mux %d: %g V, want %g", mux, got, want)
		}
	}
	d.Force(0, 3.3)
	if got := float64(a.convert(0x4283)) * 125e-6; math.Abs(got-3.3) > 1e-9 {
		t.Errorf("forced: %g V", got)
	}
	d.Free(0)
	if got := float64(a.convert(0x4283)) * 125e-6; math.Abs(got-1) > 1e-9 {
		t.Errorf("freed: %g V", got)
	}
}

// OS reads 0 while a conversion is under way; a written OS then has no effect
// and the conversion keeps its configuration (SBAS444, "OS").
func TestADS1115Busy(t *testing.T) {
	d := &ADS1115{AIN: [4]func(time.Time) float64{steady(1), steady(2)}}
	a := newADC(t, d)
	start := a.h.Now()
	a.config(0xc383) // AIN0, 4.096 V, 128 SPS: 7.8125 ms
	if a.reg(1) != 0x4383 {
		t.Fatalf("config %04x, want OS 0", a.reg(1))
	}
	a.h.pass(4 * time.Millisecond)
	a.config(0xd383) // AIN1: too early
	a.h.pass(3 * time.Millisecond)
	if a.reg(1)>>15 != 0 || a.reg(0) != 0 {
		t.Errorf("7 ms: config %04x, conversion %04x, want busy and old", a.reg(1), a.reg(0))
	}
	a.h.pass(start.Add(7838 * time.Microsecond).Sub(a.h.Now()))
	if a.reg(1) != 0xd383 {
		t.Errorf("7.838 ms: config %04x, want idle", a.reg(1))
	}
	if got := a.reg(0); got != 8000 {
		t.Errorf("conversion %d, want AIN0's 8000", got)
	}
	a.h.pass(time.Second)
	if got := a.reg(0); got != 8000 {
		t.Errorf("conversion %d: the ignored OS started one", got)
	}
}

// The data rate is good to 10 % (SBAS444, electrical characteristics).
func TestADS1115ClockError(t *testing.T) {
	for _, slow := range []float64{-0.1, 0, 0.1} {
		a := newADC(t, &ADS1115{})
		a.d.SetClockError(slow)
		a.config(0xc303) // 8 SPS
		period := time.Duration((1+slow)*125e6) * time.Nanosecond
		a.h.pass(period + 24*time.Microsecond)
		if a.reg(1)>>15 != 0 {
			t.Errorf("%+g: idle too early", slow)
		}
		a.h.pass(2 * time.Microsecond)
		if a.reg(1)>>15 != 1 {
			t.Errorf("%+g: still busy after its period", slow)
		}
	}
}

func TestADS1115Continuous(t *testing.T) {
	start := newHand().Now()
	ms := func(t time.Time) float64 { return float64(t.Sub(start).Milliseconds()) * 1e-3 }
	a := newADC(t, &ADS1115{AIN: [4]func(time.Time) float64{ms}})
	a.config(0x4203) // AIN0, continuous, 8 SPS
	for _, c := range []struct {
		at   time.Duration
		want float64
	}{{100, 0}, {130, 0.125}, {240, 0.125}, {260, 0.250}, {10060, 10.000}} {
		a.h.pass(start.Add(c.at * time.Millisecond).Sub(a.h.Now()))
		if got := float64(int16(a.reg(0))) * 125e-6; c.at < 4000 && math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%d ms: %g, want %g", c.at, got, c.want)
		}
		if a.reg(1)>>15 != 0 {
			t.Errorf("%d ms: OS 1 in continuous mode", c.at)
		}
	}
	if got := a.reg(0); got != 0x7fff {
		t.Errorf("10 s: %04x, want clipped", got)
	}
	a.config(0x4303) // single: the conversion under way ends, then no more
	a.h.pass(time.Second)
	if a.reg(1)>>15 != 1 {
		t.Error("single mode: not idle")
	}
}

func TestADS1115Noise(t *testing.T) {
	run := func() (sum, squares float64, first int16) {
		a := newADC(t, &ADS1115{AIN: [4]func(time.Time) float64{steady(1)}, Noise: 1e-3})
		for i := range 400 {
			code := a.convert(0x4283)
			if i == 0 {
				first = code
			}
			v := float64(code)*125e-6 - 1
			sum, squares = sum+v, squares+v*v
		}
		return sum / 400, math.Sqrt(squares / 400), first
	}
	mean, rms, first := run()
	if math.Abs(mean) > 2e-4 || rms < 0.85e-3 || rms > 1.15e-3 { // 4 and 4 standard errors
		t.Errorf("mean %g V, rms %g V, want 0 and 1e-3", mean, rms)
	}
	if _, _, again := run(); again != first {
		t.Error("one seed, two answers")
	}
}
