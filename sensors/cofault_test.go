package sensors_test

import (
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/cocell"
	"charwarden/sensors/sim"
)

func TestCOBelowZero(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		ppm := 0.0
		c := newCO(b, specCell, func(time.Time) float64 { return ppm })
		for _, v := range []float64{-1, -4.5, 0, 2} {
			ppm = v
			r, _ := c.sense(t)
			wantValue(t, "small", r, v, 0.3)
		}
		ppm = -6
		r, _ := c.sense(t)
		wantStatus(t, "drift", r, sensors.OutOfRange)
		ppm = 0
		r, _ = c.sense(t)
		wantValue(t, "back", r, 0, 0.3)
	})
}

// Figaro's TGS5042 shows 1.105 times its current at 40 degC (Application Notes
// for TGS5xxx series, rev. 12/25, appendix 2): at 1.525 nA/ppm, 1.2 Mohm and
// 100 ppm 202.215 mV below clean air.
func TestCOTemperature(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		cell := cocell.Cell{NanoampPerPPM: 1.525, Ohms: 1.2e6, CleanAirV: 2.5, Inverting: true, FullScalePPM: 1000, MaxV: 3.3, Table: cocell.TGS5042}
		c := newCO(b, cell, nil)
		c.chip.AIN[0] = steady(2.5 - 0.202215)
		air := new(sensors.Latest)
		c.cell.Temperature = air
		put := func(s sensors.Status) {
			air.Put(sensors.Reading{At: time.Now(), Value: 40, Raw: 40, Status: s})
		}
		put(sensors.Good)
		known, _ := c.sense(t)
		wantValue(t, "at 40 degC", known, 100, 0.1)
		put(sensors.Frozen)
		unknown, _ := c.sense(t)
		wantValue(t, "temperature not good", unknown, 110.5, 0.1)
		if unknown.Uncertainty <= known.Uncertainty || unknown.Uncertainty < 10.5 {
			t.Errorf("uncertainty %v, with a known temperature %v", unknown.Uncertainty, known.Uncertainty)
		}
		put(sensors.Good)
		time.Sleep(3100 * time.Millisecond)
		stale, _ := c.sense(t)
		wantValue(t, "temperature stale", stale, 110.5, 0.1)
		c.cell.Temperature = nil
		none, _ := c.sense(t)
		wantValue(t, "temperature not fitted", none, 110.5, 0.1)
	})
}

// A code that stands still is a fault only where it was seen to make noise.
func TestCOStuck(t *testing.T) {
	for _, c := range []struct {
		name  string
		noise float64
		want  sensors.Status
	}{
		{"noise before", 0.5e-3, sensors.Frozen},
		{"never any noise", 0, sensors.Good},
	} {
		onBoard(t, func(t *testing.T, b *sim.Board) {
			n, moving := 0, true
			co := newCO(b, specCell, nil)
			co.cell.Stuck = &cocell.Stuck{After: time.Minute, Learn: 10 * time.Second}
			co.chip.AIN[0] = func(time.Time) float64 {
				if moving {
					n++
				}
				return 1.001 + c.noise*float64(n%3)
			}
			for range 40 {
				r, _ := co.sense(t)
				wantStatus(t, c.name, r, sensors.Good)
			}
			moving = false
			start := time.Now()
			var r sensors.Reading
			for time.Since(start) < 70*time.Second {
				if r, _ = co.sense(t); r.Status != sensors.Good && time.Since(start) < 59*time.Second {
					t.Fatalf("%s: %v after %v", c.name, r.Status, time.Since(start))
				}
			}
			wantStatus(t, c.name+", then still", r, c.want)
			n++
			r, _ = co.sense(t)
			wantStatus(t, c.name+", moves again", r, sensors.Good)
		})
	}
}

// Settings that read back wrong once are asked for once more; twice is a fault.
func TestCOSettingsReadBackWrong(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		c := newCO(b, specCell, steady(10))
		c.sense(t)
		c.mux[c.conversions+1] = 0x1000
		r, n := c.sense(t)
		wantValue(t, "once", r, 10, 0.3)
		if n != 2 {
			t.Errorf("%d conversions, want 2", n)
		}
		c.mux[c.conversions+1], c.mux[c.conversions+2] = 0x1000, 0x1000
		r, n = c.sense(t)
		wantStatus(t, "twice", r, sensors.Checksum)
		if n != 2 {
			t.Errorf("%d conversions, want 2", n)
		}
		r, _ = c.sense(t)
		wantValue(t, "after", r, 10, 0.3)
	})
}

// A chip that is away is a fault that heals, found anew each time.
func TestCOWithoutChip(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		c := newCO(b, specCell, steady(10))
		b.NACK(i2c1, adcAddr, -1)
		for range 3 {
			r, n := c.sense(t)
			wantStatus(t, "absent", r, sensors.NoAnswer)
			if n != 0 {
				t.Errorf("%d conversions of an absent chip", n)
			}
		}
		b.Heal(i2c1)
		r, _ := c.sense(t)
		wantValue(t, "there", r, 10, 0.3)
		b.NACK(i2c1, adcAddr, 1)
		r, _ = c.sense(t)
		wantStatus(t, "refused once", r, sensors.NoAnswer)
		r, _ = c.sense(t)
		wantValue(t, "there again", r, 10, 0.3)
		c.chip.SetClockError(3) // four times as long: no result in one and a half
		r, _ = c.sense(t)
		wantStatus(t, "conversion does not end", r, sensors.NoAnswer)
		c.chip.SetClockError(0.1) // the datasheet's limit, SBAS444: 10 %
		c.sense(t)
		r, _ = c.sense(t)
		wantValue(t, "slow by 10 %", r, 10, 0.3)
	})
}
