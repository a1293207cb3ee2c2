package sensors_test

import (
	"context"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/ads1115"
	"charwarden/sensors/membrane"
	"charwarden/sensors/sim"
)

// counted counts the calls that a sensor is in; more than one is a second
// owner on the same bus.
type counted struct {
	sensors.Sensor
	inside *atomic.Int64
	most   *atomic.Int64
}

func (c counted) Sense(now time.Time, into []sensors.Reading) []sensors.Reading {
	c.most.Store(max(c.most.Load(), c.inside.Add(1)))
	defer c.inside.Add(-1)
	return c.Sensor.Sense(now, into)
}

// twoBuses is a small rig: couples on SPI; CO, a pressure and a supply on I2C.
type twoBuses struct {
	t        *testing.T
	board    *sim.Board
	chips    []*sim.MAX31855
	channels []sensors.Channel
	onI2C    map[string]bool
	spi, i2c *sensors.Owner
	out      chan sensors.Reading
	sweep    *sensors.Sweep
	most     atomic.Int64
	ended    chan error
	cancel   context.CancelFunc
}

const dead = 0x41 // an address without a chip until one is added

func newTwoBuses(t *testing.T, b *sim.Board) *twoBuses {
	r := &twoBuses{t: t, board: b, out: make(chan sensors.Reading, 256), ended: make(chan error, 2), onI2C: map[string]bool{}}
	r.spi, r.i2c = sensors.NewOwner("spi0", system{}, r.out), sensors.NewOwner(i2c1, system{}, r.out)
	var inSPI, inI2C atomic.Int64
	couples, chips, _, _ := six(b)
	r.chips = chips
	for _, c := range couples {
		r.spi.Add(counted{c, &inSPI, &r.most}, every)
		r.channels = append(r.channels, sensors.Channel{Name: c.Channel, Quantity: sensors.Temperature, Period: every, MaxRate: 20})
	}
	add := func(name string, q sensors.Quantity, period time.Duration, s sensors.Sensor) {
		r.i2c.Add(counted{s, &inI2C, &r.most}, period)
		r.channels = append(r.channels, sensors.Channel{Name: name, Quantity: q, Period: period})
		r.onI2C[name] = true
	}
	adc := &sim.ADS1115{AIN: [4]func(time.Time) float64{steady(specCell.Volts(12, 20)), steady(2.7)}}
	b.AddI2C(i2c1, adcAddr, adc)
	b.AddI2C(i2c1, 0x40, &sim.INA219{Bus: steady(12)})
	bus := sensors.NewI2CBus(b, i2c1)
	shared := &sensors.ADC{Bus: bus, Addr: adcAddr, Sleep: time.Sleep}
	add("co", sensors.CO, 250*time.Millisecond, &sensors.COCell{Channel: "co", ADC: shared, Range: ads1115.V4_096, Rate: ads1115.SPS128, Cell: specCell, Limits: []float64{30}})
	add("p", sensors.Pressure, 500*time.Millisecond, &sensors.Membrane{Channel: "p", ADC: shared, Input: ads1115.AIN1, Rate: ads1115.SPS128, Law: membrane.MPXV7002DP, Divider: 1})
	add("supply", sensors.Voltage, time.Second, &sensors.Supply{Channel: "supply", Bus: bus, Addr: 0x40})
	add("spare", sensors.Voltage, 2*time.Second, &sensors.Supply{Channel: "spare", Bus: bus, Addr: dead})
	var err error
	if r.sweep, err = sensors.NewSweep(r.channels, nil, time.Now()); err != nil {
		t.Fatal(err)
	}
	var ctx context.Context
	ctx, r.cancel = context.WithCancel(t.Context())
	go func() { r.ended <- r.spi.Run(ctx) }()
	go func() { r.ended <- r.i2c.Run(ctx) }()
	return r
}

// loop ticks at 10 Hz and hands each reading of a tick to see; channels keep
// their order, and none is good beyond its age.
func (r *twoBuses) loop(long time.Duration, see func(at time.Duration, x sensors.Reading)) {
	r.t.Helper()
	for start := time.Now(); time.Since(start) < long; {
		time.Sleep(100 * time.Millisecond)
		synctest.Wait()
		for len(r.out) > 0 {
			r.sweep.Put(<-r.out)
		}
		now := time.Now()
		for i, x := range r.sweep.Tick(now) {
			if x.Channel != r.channels[i].Name {
				r.t.Fatalf("channel %d is %s, want %s", i, x.Channel, r.channels[i].Name)
			}
			if old := now.Sub(x.At) > r.channels[i].StaleAfter(); x.Status == sensors.Good && old {
				r.t.Fatalf("%s: good, from %v ago", x.Channel, now.Sub(x.At))
			}
			see(now.Sub(start), x)
		}
	}
}

func (r *twoBuses) allGood(what string) {
	r.t.Helper()
	r.loop(100*time.Millisecond, func(_ time.Duration, x sensors.Reading) {
		if x.Channel != "spare" {
			wantStatus(r.t, what+": "+x.Channel, x, sensors.Good)
		}
	})
}

// stop cancels and waits for both owners; it returns how long that took.
func (r *twoBuses) stop() time.Duration {
	r.t.Helper()
	start := time.Now()
	r.cancel()
	for range 2 {
		if err := <-r.ended; err != nil {
			r.t.Errorf("owner ended with %v", err)
		}
	}
	return time.Since(start)
}

func ignore(time.Duration, sensors.Reading) {}

// An I2C bus that hangs for ever takes its own channels with it, each at its
// age, and nobody else's; all heal when the call returns.
func TestHungBus(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		r := newTwoBuses(t, b)
		r.loop(5*time.Second, ignore)
		r.allGood("before")
		if !r.sweep.Answered() {
			t.Error("the first sweep is not complete")
		}
		b.Hang(i2c1, -1)
		stale := map[string]time.Duration{}
		r.loop(time.Minute, func(at time.Duration, x sensors.Reading) {
			switch {
			case !r.onI2C[x.Channel]:
				if x.Status != sensors.Good {
					t.Fatalf("%s on SPI is %v (%v) after %v", x.Channel, x.Status, x.Err, at)
				}
			case x.Status == sensors.Stale && stale[x.Channel] == 0:
				stale[x.Channel] = at
			case x.Status != sensors.Stale && stale[x.Channel] != 0:
				t.Fatalf("%s became %v while the bus hangs", x.Channel, x.Status)
			}
		})
		for _, c := range r.channels {
			// At most a period old when the bus began to hang, and one tick late.
			if at, limit := stale[c.Name], c.StaleAfter(); r.onI2C[c.Name] && (at < limit-c.Period || at > limit+200*time.Millisecond) {
				t.Errorf("%s: stale %v after the bus began to hang, want %v", c.Name, at, limit)
			}
		}
		if stuck := r.i2c.Stuck(time.Now()); stuck < 59*time.Second || stuck > 61*time.Second || r.spi.Stuck(time.Now()) != 0 {
			t.Errorf("I2C owner stuck for %v, SPI owner %v", stuck, r.spi.Stuck(time.Now()))
		}
		b.Heal(i2c1)
		r.loop(3*time.Second, ignore)
		r.allGood("healed")
		if r.most.Load() != 1 || r.i2c.Stuck(time.Now()) != 0 || r.spi.Missed() != 0 || r.i2c.Missed() == 0 {
			t.Errorf("%d calls at once; stuck %v; missed %d on SPI, %d on I2C", r.most.Load(), r.i2c.Stuck(time.Now()), r.spi.Missed(), r.i2c.Missed())
		}
		if took := r.stop(); took > 50*time.Millisecond { // one conversion and a bit
			t.Errorf("stopped after %v", took)
		}
	})
}

// An owner in a hanging call ends when that call does: a second, which is the
// kernel's own limit, on a bus that is held.
func TestStopDuringAHang(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		r := newTwoBuses(t, b)
		r.loop(2*time.Second, ignore)
		b.Hang(i2c1, time.Hour)
		r.loop(5*time.Second, ignore)
		if took := r.stop(); took > 1100*time.Millisecond {
			t.Errorf("stopped after %v", took)
		}
	})
}

// Chips that are missing at the start are faults, take no other channel's
// place, and heal when they appear.
func TestMissingAtTheStart(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		r := newTwoBuses(t, b)
		r.chips[2].Power(false, time.Now())
		r.loop(4*time.Second, ignore)
		missing := 0
		r.loop(10*time.Second, func(_ time.Duration, x sensors.Reading) {
			want := sensors.Good
			if x.Channel == "GPIO7" || x.Channel == "spare" {
				want = sensors.NoAnswer
				missing++
			}
			wantStatus(t, x.Channel, x, want)
			honest(t, x)
		})
		if missing == 0 || !r.sweep.Answered() {
			t.Errorf("%d faults; answered %v: a reported fault is an answer", missing, r.sweep.Answered())
		}
		r.chips[2].Power(true, time.Now())
		b.AddI2C(i2c1, dead, &sim.INA219{Bus: steady(5)})
		r.loop(3*time.Second, ignore)
		r.loop(time.Second, func(_ time.Duration, x sensors.Reading) { wantStatus(t, "appeared: "+x.Channel, x, sensors.Good) })
		r.stop()
	})
}
