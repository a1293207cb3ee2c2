package sim

import (
	"math"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/bmxx80"
	"periph.io/x/devices/v3/ina219"
)

// BMP280 datasheet BST-BMP280-DS001, section 3.12: readings 519888 and 415148
// give t_fine 128422, 25.08 degC and 100653.27 Pa.
func TestBoschWorkedExample(t *testing.T) {
	degC, fine := bosch.temperature(519888)
	if math.Abs(degC-25.08) > 0.005 || math.Abs(fine-128422) > 1 {
		t.Errorf("temperature %.4f, fine %.1f", degC, fine)
	}
	if p := bosch.pressure(415148, fine); math.Abs(p-100653.27) > 0.05 {
		t.Errorf("pressure %.3f", p)
	}
	// The model goes the other way, to one step of a 20 bit reading.
	c := &BMx280{Temperature: steady(degC), Pressure: steady(100653.27)}
	now := newHand().Now()
	bmxTx(t, c, now, []byte{0xf4, 0xb7}, 0) // x16, x16, normal
	d := bmxTx(t, c, now, []byte{0xf7}, 6)
	p := int(d[0])<<12 | int(d[1])<<4 | int(d[2])>>4
	temp := int(d[3])<<12 | int(d[4])<<4 | int(d[5])>>4
	if abs(p-415148) > 1 || abs(temp-519888) > 1 {
		t.Errorf("raw %d and %d, want 415148 and 519888", p, temp)
	}
}

func abs(n int) int { return max(n, -n) }

func bmxTx(t *testing.T, c Chip, now time.Time, w []byte, n int) []byte {
	t.Helper()
	r := make([]byte, n)
	if err := c.Tx(now, w, r); err != nil {
		t.Fatal(err)
	}
	return r
}

// periph's driver, unmodified. It computes in integers with steps of 0.01
// degC; at x4 the readings have 18 bits: 0.0013 degC, 0.7 Pa and, at 16 bits,
// 0.01 %RH.
func TestBMx280WithDriver(t *testing.T) {
	for _, c := range []struct{ degC, pa, ratio float64 }{
		{-20, 100000, 0.2}, {0, 101325, 0.5}, {19.3, 98765, 0.61}, {40, 70000, 0.05}, {60, 108000, 0.95},
	} {
		for _, humid := range []bool{false, true} {
			synctest.Test(t, func(t *testing.T) {
				b := NewBoard(system{}, 1)
				chip := &BMx280{Temperature: steady(c.degC), Pressure: steady(c.pa)}
				if humid {
					chip.Humidity = steady(c.ratio)
				}
				b.AddI2C(bus1, 0x76, chip)
				bus, err := b.I2C(bus1)
				if err != nil {
					t.Fatal(err)
				}
				dev, err := bmxx80.NewI2C(bus, 0x76, &bmxx80.DefaultOpts)
				if err != nil {
					t.Fatal(err)
				}
				var e physic.Env
				if err := dev.Sense(&e); err != nil {
					t.Fatal(err)
				}
				if got := e.Temperature.Celsius(); math.Abs(got-c.degC) > 0.012 {
					t.Errorf("temperature %.3f, want %g", got, c.degC)
				}
				if got := float64(e.Pressure) / float64(physic.Pascal); math.Abs(got-c.pa) > 3 {
					t.Errorf("%+v: pressure %.2f", c, got)
				}
				if got := float64(e.Humidity) / float64(physic.PercentRH) / 100; humid && math.Abs(got-c.ratio) > 0.001 {
					t.Errorf("%+v: humidity %.4f", c, got)
				}
			})
		}
	}
}

func TestBMx280Registers(t *testing.T) {
	at := newHand().Now()
	c := &BMx280{Temperature: steady(20), Pressure: steady(1e5), Humidity: steady(0.5)}
	// Reset values: BME280 datasheet BST-BME280-DS002, table 18.
	if got := bmxTx(t, c, at, []byte{0xd0}, 1)[0]; got != 0x60 {
		t.Errorf("id %02x", got)
	}
	reset := [8]byte{0x80, 0, 0, 0x80, 0, 0, 0x80, 0}
	if got := [8]byte(bmxTx(t, c, at, []byte{0xf7}, 8)); got != reset {
		t.Errorf("data after reset: % x", got)
	}
	// Forced x1 x1 x1: typically 1 + 2 + 2.5 + 2.5 = 8 ms (section 9.1).
	bmxTx(t, c, at, []byte{0xf2, 0x01, 0xf4, 0x25}, 0)
	if got := bmxTx(t, c, at.Add(7999*time.Microsecond), []byte{0xf3}, 2); got[0]&8 == 0 || got[1] != 0x25 {
		t.Errorf("status, ctrl_meas %02x before the end, want measuring", got)
	}
	if got := bmxTx(t, c, at.Add(8*time.Millisecond), []byte{0xf3}, 2); got[0]&8 != 0 || got[1] != 0x24 {
		t.Errorf("status, ctrl_meas %02x after the end, want sleep", got)
	}
	if got := [8]byte(bmxTx(t, c, at.Add(8*time.Millisecond), []byte{0xf7}, 8)); got == reset {
		t.Error("no data after a measurement")
	}
	// Skipped pressure reads 80000 (section "Data readout").
	bmxTx(t, c, at.Add(time.Second), []byte{0xf4, 0x21}, 0)
	if got := bmxTx(t, c, at.Add(2*time.Second), []byte{0xf7}, 3); [3]byte(got) != [3]byte{0x80, 0, 0} {
		t.Errorf("skipped pressure: % x", got)
	}
	bmxTx(t, c, at.Add(3*time.Second), []byte{0xe0, 0xb6}, 0)
	if got := [8]byte(bmxTx(t, c, at.Add(3*time.Second), []byte{0xf7}, 8)); got != reset {
		t.Errorf("data after a soft reset: % x", got)
	}
}

// periph's driver, unmodified: steps of 4 mV and 10 uV, and of 3.2 A/2^15 =
// 97.7 uA in the current, which the chip truncates and the driver scales with a
// calibration rounded down to one of 4194 parts.
func TestINA219WithDriver(t *testing.T) {
	for _, c := range []struct{ bus, shunt float64 }{{12.6, 0.05}, {5.1, 0.0123}, {0, 0}, {13.9, -0.02}, {10.7, 0.31}} {
		chip := &INA219{Bus: steady(c.bus), Shunt: steady(c.shunt)}
		b := NewBoard(newHand(), 1)
		b.AddI2C(bus1, 0x40, chip)
		bus, err := b.I2C(bus1)
		if err != nil {
			t.Fatal(err)
		}
		dev, err := ina219.New(bus, &ina219.DefaultOpts) // 100 mohm
		if err != nil {
			t.Fatal(err)
		}
		p, err := dev.Sense()
		if err != nil {
			t.Fatal(err)
		}
		volts := float64(p.Voltage) / float64(physic.Volt)
		shunt := float64(p.Shunt) / float64(physic.Volt)
		amps := float64(p.Current) / float64(physic.Ampere)
		if math.Abs(volts-c.bus) > 2.01e-3 || math.Abs(shunt-c.shunt) > 5.01e-6 || math.Abs(amps-c.shunt/0.1) > 2e-4+math.Abs(amps)/4194 {
			t.Errorf("%+v: %g V, %g V, %g A", c, volts, shunt, amps)
		}
		if watts := float64(p.Power) / float64(physic.Watt); math.Abs(watts-math.Abs(c.bus*c.shunt/0.1)) > 0.02 {
			t.Errorf("%+v: %g W", c, watts)
		}
	}
}

// INA219 datasheet SBOS448, "Register Details": reset value, full scales of
// 16 V (4000) and 320 mV (32000), the 12 V example of the doc comment.
func TestINA219Registers(t *testing.T) {
	now := newHand().Now()
	c := &INA219{Bus: steady(12), Shunt: steady(1)}
	if got := bmxTx(t, c, now, []byte{0}, 2); got[0] != 0x39 || got[1] != 0x9f {
		t.Errorf("config % x", got)
	}
	if got := bmxTx(t, c, now, []byte{2}, 2); got[0] != 0x5d || got[1] != 0xc2 {
		t.Errorf("12 V: % x, want 5d c2", got)
	}
	if got := bmxTx(t, c, now, []byte{1}, 2); int(got[0])<<8|int(got[1]) != 32000 {
		t.Errorf("shunt beyond 320 mV: % x", got)
	}
	c.Bus = steady(20)
	bmxTx(t, c, now, []byte{0, 0x1f, 0xff}, 0) // 16 V range
	if got := bmxTx(t, c, now, []byte{2}, 2); (int(got[0])<<8|int(got[1]))>>3 != 4000 {
		t.Errorf("bus beyond 16 V: % x", got)
	}
	bmxTx(t, c, now, []byte{5, 0xff, 0xff}, 0) // current far beyond 16 bits
	if got := bmxTx(t, c, now, []byte{2}, 2); got[1]&1 == 0 {
		t.Errorf("no overflow flag: % x", got)
	}
	bmxTx(t, c, now, []byte{0, 0x80, 0}, 0)
	if got := bmxTx(t, c, now, []byte{0}, 2); got[0] != 0x39 || got[1] != 0x9f {
		t.Errorf("config after reset % x", got)
	}
}
