package sensors_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c"

	"charwarden/sensors"
	"charwarden/sensors/sim"
	"charwarden/sensors/tacho"
)

const airAddr = 0x76

func newAir(b sensors.Board) *sensors.Air {
	return &sensors.Air{Temperature: "air_temp", Pressure: "air_pressure", Humidity: "air_humidity",
		Bus: sensors.NewI2CBus(b, i2c1), Addr: airAddr, Out: new(sensors.Latest)}
}

func senseAir(t *testing.T, a *sensors.Air) []sensors.Reading {
	t.Helper()
	rs := a.Sense(time.Now(), nil)
	if len(rs) != 3 || rs[0].Channel != "air_temp" || rs[1].Channel != "air_pressure" || rs[2].Channel != "air_humidity" {
		t.Fatalf("readings %v", rs)
	}
	for _, r := range rs {
		honest(t, r)
	}
	return rs
}

func TestAir(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		b.AddI2C(i2c1, airAddr, &sim.BMx280{Temperature: steady(18.5), Pressure: steady(97_300), Humidity: steady(0.62)})
		a := newAir(b)
		rs := senseAir(t, a)
		wantValue(t, "temperature", rs[0], 18.5, 0.1)
		wantValue(t, "pressure", rs[1], 97_300, 20)
		wantValue(t, "humidity", rs[2], 0.62, 0.01)
		if v, ok := a.Out.Value(time.Now()); !ok || v != rs[0].Value {
			t.Errorf("handed on %v %v", v, ok)
		}
		b.NACK(i2c1, airAddr, -1)
		for _, r := range senseAir(t, a) {
			wantStatus(t, r.Channel+" unplugged", r, sensors.NoAnswer)
		}
		if v, ok := a.Out.Value(time.Now()); ok {
			t.Errorf("still hands on %v", v)
		}
		b.Heal(i2c1)
		// The chip comes back without the settings that it was given.
		b.AddI2C(i2c1, airAddr, &sim.BMx280{Temperature: steady(18.5), Pressure: steady(97_300), Humidity: steady(0.41)})
		rs = senseAir(t, a)
		wantValue(t, "temperature, plugged", rs[0], 18.5, 0.1)
		wantValue(t, "pressure, plugged", rs[1], 97_300, 20)
		wantValue(t, "humidity, plugged", rs[2], 0.41, 0.01)
	})
}

// A BMP280 has no humidity: only that channel is a fault, and says what to do.
func TestAirWithoutHumidity(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		b.AddI2C(i2c1, airAddr, &sim.BMx280{Temperature: steady(18.5), Pressure: steady(97_300)})
		a := newAir(b)
		rs := senseAir(t, a)
		wantValue(t, "temperature", rs[0], 18.5, 0.1)
		wantValue(t, "pressure", rs[1], 97_300, 20)
		wantStatus(t, "humidity", rs[2], sensors.NoAnswer)
		if !strings.Contains(rs[2].Err.Error(), "BMP280") {
			t.Errorf("hint: %v", rs[2].Err)
		}
		a.Humidity, a.Temperature = "", ""
		if rs := a.Sense(time.Now(), nil); len(rs) != 1 || rs[0].Channel != "air_pressure" {
			t.Errorf("channels without a name: %v", rs)
		}
	})
}

// A chip that says for ever that it measures (status bit 3) does not hold the
// owner of its bus; it is found anew once it comes to its senses.
func TestAirNeverIdle(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		b.AddI2C(i2c1, airAddr, &sim.BMx280{Temperature: steady(18.5), Pressure: steady(97_300), Humidity: steady(0.5)})
		busy, transfers := true, 0
		a := newAir(&disturbed{b, func(next i2c.Bus, addr uint16, w, r []byte) error {
			transfers++
			err := next.Tx(addr, w, r)
			if busy && len(w) == 1 && w[0] == 0xf3 {
				r[0] |= 8
			}
			return err
		}})
		for range 3 {
			transfers = 0
			start := time.Now()
			for _, r := range senseAir(t, a) {
				wantStatus(t, r.Channel, r, sensors.NoAnswer)
			}
			// 300 transfers of about 4 bytes at 100 kHz are 0.12 s.
			if took := time.Since(start); transfers > 300 || took > 100*time.Millisecond {
				t.Errorf("held the bus for %d transfers and slept %v", transfers, took)
			}
		}
		busy = false
		for _, r := range senseAir(t, a) {
			wantStatus(t, r.Channel+" after", r, sensors.Good)
		}
	})
}

func TestSupply(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		volts := 12.4
		s := &sensors.Supply{Channel: "supply", Bus: sensors.NewI2CBus(b, i2c1), Addr: 0x40, Out: new(sensors.Latest)}
		wantStatus(t, "no bus", once(t, s), sensors.NoAnswer)
		b.AddI2C(i2c1, 0x40, &sim.INA219{Bus: func(time.Time) float64 { return volts }})
		wantValue(t, "charged", once(t, s), 12.4, 0.002) // half a step of 4 mV, SBOS448
		volts = 10.9
		r := once(t, s)
		wantValue(t, "sagging", r, 10.9, 0.002)
		if v, ok := s.Out.Value(time.Now()); !ok || v != r.Value || r.Uncertainty < 0.004 || r.Uncertainty > 0.1 {
			t.Errorf("handed on %v %v, uncertainty %v", v, ok, r.Uncertainty)
		}
		b.NACK(i2c1, 0x40, 1)
		wantStatus(t, "refused", once(t, s), sensors.NoAnswer)
		if v, ok := s.Out.Value(time.Now()); ok {
			t.Errorf("still hands on %v", v)
		}
		wantValue(t, "healed", once(t, s), 10.9, 0.002)
	})
}

func TestLatest(t *testing.T) {
	now := time.Date(2026, 6, 1, 14, 0, 0, 0, time.UTC)
	var none *sensors.Latest
	if _, ok := none.Value(now); ok {
		t.Error("one that is not fitted has a value")
	}
	l := new(sensors.Latest)
	if _, ok := l.Value(now); ok {
		t.Error("an empty one has a value")
	}
	for _, c := range []struct {
		age  time.Duration
		s    sensors.Status
		want bool
	}{
		{0, sensors.Good, true}, {3 * time.Second, sensors.Good, true}, {3001 * time.Millisecond, sensors.Good, false},
		{0, sensors.Stale, false}, {0, sensors.ClippedHigh, false}, {0, sensors.Unknown, false},
	} {
		l.Put(sensors.Reading{At: now.Add(-c.age), Value: 5, Status: c.s})
		if v, ok := l.Value(now); ok != c.want || ok && v != 5 {
			t.Errorf("%v old, %v: %v %v", c.age, c.s, v, ok)
		}
	}
}

func TestCare(t *testing.T) {
	now := time.Date(2026, 6, 1, 14, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name, hint string
		done       time.Time
		want       sensors.Status
		value      float64
	}{
		{"a day ago", "", now.AddDate(0, 0, -1), sensors.Good, 86400},
		{"now", "", now, sensors.Good, 0},
		{"never", "bump test: none recorded", time.Time{}, sensors.Unknown, 0},
		{"clock without battery", "the clock is before", now.AddDate(0, 1, 0), sensors.Unknown, 0},
	} {
		rs := (&sensors.Care{Channel: "co_bump_age", What: "bump test", Done: c.done}).Sense(now, nil)
		r := rs[0]
		honest(t, r)
		wantStatus(t, c.name, r, c.want)
		if len(rs) != 1 || r.Status == sensors.Good && r.Value != c.value || r.Err != nil && !strings.Contains(r.Err.Error(), c.hint) {
			t.Errorf("%s: %+v", c.name, rs)
		}
	}
}

func TestShaft(t *testing.T) {
	onBoard(t, func(t *testing.T, b *sim.Board) {
		hz, busy := 50.0, errors.New("pin is busy")
		board := &pinless{b, busy}
		s := &sensors.Shaft{Channel: "speed", Board: board, Pin: "GPIO17", Every: 250 * time.Millisecond,
			Opts: tacho.Opts{PulsesPerRev: 1, Now: time.Now}}
		b.AddPulses("GPIO17", func(time.Time) float64 { return hz })
		r := once(t, s)
		wantStatus(t, "no pin", r, sensors.NoAnswer)
		if !errors.Is(r.Err, busy) {
			t.Errorf("reason lost: %v", r.Err)
		}
		board.missing = nil
		run := func(long time.Duration) (last sensors.Reading) {
			for start := time.Now(); time.Since(start) < long; {
				before := time.Now()
				for _, r := range s.Sense(before, nil) {
					honest(t, r)
					last = r
				}
				if took := time.Since(before); took > s.Every {
					t.Fatalf("waited %v for edges, at most %v", took, s.Every)
				}
			}
			return last
		}
		wantValue(t, "50 pulses a second", run(3*time.Second), 3000, 30)
		hz = 0
		wantValue(t, "standing", run(3*time.Second), 0, 0)
		hz = 20
		wantValue(t, "20 pulses a second", run(3*time.Second), 1200, 12)
	})
}
