package sensors_test

import (
	"context"
	"math"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"

	"charwarden/sensors"
	"charwarden/sensors/sim"
)

// system is the system's clock, which a synctest bubble fakes.
type system struct{}

func (system) Now() time.Time { return time.Now() }

func (system) Sleep(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

// onBoard runs a test on a simulated board, in a bubble whose time costs none.
func onBoard(t *testing.T, f func(t *testing.T, b *sim.Board)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) { f(t, sim.NewBoard(system{}, 1)) })
}

func steady(v float64) func(time.Time) float64 { return func(time.Time) float64 { return v } }

// once asks a sensor of one channel now.
func once(t *testing.T, s sensors.Sensor) sensors.Reading {
	t.Helper()
	rs := s.Sense(time.Now(), nil)
	if len(rs) != 1 {
		t.Fatalf("%d readings, want 1", len(rs))
	}
	honest(t, rs[0])
	return rs[0]
}

// honest holds what every reading owes to its user: a value or a reason.
func honest(t *testing.T, r sensors.Reading) {
	t.Helper()
	number := !math.IsNaN(r.Value) && !math.IsInf(r.Value, 0)
	switch r.Status {
	case sensors.Good:
		if !number || r.Err != nil {
			t.Fatalf("%s: good, but value %v and error %v", r.Channel, r.Value, r.Err)
		}
	case sensors.ClippedHigh, sensors.ClippedLow:
		if r.Err == nil {
			t.Fatalf("%s: %v without a reason", r.Channel, r.Status)
		}
	default:
		if !math.IsNaN(r.Value) || r.Err == nil {
			t.Fatalf("%s: %v with value %v and error %v", r.Channel, r.Status, r.Value, r.Err)
		}
	}
}

func wantStatus(t *testing.T, what string, r sensors.Reading, want sensors.Status) {
	t.Helper()
	if r.Status != want {
		t.Errorf("%s: %v (%v, %v), want %v", what, r.Status, r.Value, r.Err, want)
	}
}

func wantValue(t *testing.T, what string, r sensors.Reading, want, within float64) {
	t.Helper()
	if r.Status != sensors.Good || !(math.Abs(r.Value-want) <= within) {
		t.Errorf("%s: %v %v (%v), want good %v within %v", what, r.Status, r.Value, r.Err, want, within)
	}
}

// disturbed is a board whose I2C transfers pass through tx, which may call
// next, and may change what it brought.
type disturbed struct {
	sensors.Board
	tx func(next i2c.Bus, addr uint16, w, r []byte) error
}

func (d *disturbed) I2C(name string) (i2c.BusCloser, error) {
	b, err := d.Board.I2C(name)
	if err != nil {
		return nil, err
	}
	return &disturbedBus{b, d}, nil
}

type disturbedBus struct {
	i2c.BusCloser
	d *disturbed
}

func (b *disturbedBus) Tx(addr uint16, w, r []byte) error { return b.d.tx(b.BusCloser, addr, w, r) }

// pinless is a board without pins until it has them.
type pinless struct {
	sensors.Board
	missing error
}

func (p *pinless) Pin(name string) (gpio.PinIO, error) {
	if p.missing != nil {
		return nil, p.missing
	}
	return p.Board.Pin(name)
}

// desk is a sweep with a hand on its time.
type desk struct {
	*sensors.Sweep
	t   *testing.T
	now time.Time
}

func newDesk(t *testing.T, zeros map[string]sensors.Zero, channels ...sensors.Channel) *desk {
	t.Helper()
	now := time.Date(2026, 6, 1, 14, 0, 0, 0, time.UTC)
	s, err := sensors.NewSweep(channels, zeros, now)
	if err != nil {
		t.Fatal(err)
	}
	return &desk{s, t, now}
}

// good puts a good reading, cold junction unknown.
func (d *desk) good(channel string, v float64) {
	d.t.Helper()
	d.put(sensors.Reading{Channel: channel, At: d.now, Value: v, Raw: v, Cold: math.NaN(), Status: sensors.Good})
}

func (d *desk) couple(channel string, v, cold float64) {
	d.t.Helper()
	d.put(sensors.Reading{Channel: channel, At: d.now, Value: v, Raw: v, Cold: cold, Status: sensors.Good})
}

func (d *desk) put(r sensors.Reading) {
	d.t.Helper()
	if !d.Put(r) {
		d.t.Fatalf("%s refused", r.Channel)
	}
}

// at ticks and returns the reading of a channel.
func (d *desk) at(channel string) sensors.Reading {
	d.t.Helper()
	for i, r := range d.Tick(d.now) {
		if d.Channels()[i].Name == channel {
			return r
		}
	}
	d.t.Fatalf("no channel %s", channel)
	return sensors.Reading{}
}

// play lets time run at 10 ticks a second; each gets the time since the start.
func (d *desk) play(long time.Duration, feed func(at time.Duration)) {
	d.t.Helper()
	for at := time.Duration(0); at < long; at += 100 * time.Millisecond {
		feed(at)
		d.Tick(d.now)
		d.now = d.now.Add(100 * time.Millisecond)
	}
}
