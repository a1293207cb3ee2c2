package sensors_test

import (
	"encoding/binary"
	"errors"
	"math"
	"testing"
	"time"

	"charwarden/sensors"
)

// fuzzed is a rig with every check on every channel.
func fuzzed() []sensors.Channel {
	c := sensors.Channel{Period: 250 * time.Millisecond, MaxRate: 20, FrozenAfter: time.Second, Gain: 1.5, Offset: -1}
	channels := make([]sensors.Channel, 7)
	for i, q := range []sensors.Quantity{sensors.Temperature, sensors.Temperature, sensors.Pressure, sensors.Pressure, sensors.CO, sensors.Speed, sensors.Age} {
		channels[i] = c
		channels[i].Name, channels[i].Quantity = string(rune('a'+i)), q
	}
	channels[0].HotWith = []string{"b"}
	channels[2].Zero = &sensors.ZeroBand{MaxPa: 300, UnzeroedPa: 250, ZeroedPa: 100}
	channels[4].HotWith = []string{"a", "b"}
	return channels
}

// FuzzSweep plays readings of 12 bytes each: channel, status, time in units of
// 10 ms since the one before (signed) and how old it is, 8 bytes of value. No
// sequence panics or makes a number out of what is none.
func FuzzSweep(f *testing.F) {
	put := func(b []byte, channel, status byte, dt, age int8, v float64) []byte {
		return binary.BigEndian.AppendUint64(append(b, channel, status, byte(dt), byte(age)), math.Float64bits(v))
	}
	var quiet, wild, still []byte
	for i := range 12 {
		for c := range byte(7) {
			quiet = put(quiet, c, 1, 15, 0, map[bool]float64{true: 0, false: 30}[c == 5])
			wild = put(wild, c, byte(i)%14, int8(i*7), int8(i), []float64{math.NaN(), math.Inf(1), math.MaxFloat64, -1e300, 5}[i%5])
			still = put(still, c, 1, 15, 0, map[bool]float64{true: 25, false: 700 + 5*float64(i)}[c == 0])
		}
	}
	f.Add(quiet)
	f.Add(wild)
	f.Add(still)
	f.Fuzz(func(t *testing.T, b []byte) {
		start := time.Date(2026, 6, 1, 14, 0, 0, 0, time.UTC)
		channels := fuzzed()
		s, err := sensors.NewSweep(channels, map[string]sensors.Zero{"c": {Pa: 12}}, start)
		if err != nil {
			t.Fatal(err)
		}
		cause := errors.New("cause")
		now := start
		given := make([]sensors.Status, len(channels))
		for ; len(b) >= 12; b = b[12:] {
			i, status := int(b[0])%len(channels), sensors.Status(b[1])
			now = now.Add(time.Duration(int8(b[2])) * 10 * time.Millisecond)
			at := now.Add(-time.Duration(int8(b[3])) * 10 * time.Millisecond)
			v := math.Float64frombits(binary.BigEndian.Uint64(b[4:]))
			r := sensors.Reading{Channel: channels[i].Name, At: at, Value: v, Raw: v, Cold: 20, Uncertainty: 1, Status: status}
			if status != sensors.Good {
				r.Err = cause
			}
			if !s.Put(r) {
				t.Fatalf("%s refused", r.Channel)
			}
			if given[i] = status; status == sensors.Good && (math.IsNaN(1.5*v) || math.IsInf(1.5*v, 0)) {
				given[i] = sensors.OutOfRange
			}
			rs := s.Tick(now)
			if len(rs) != len(channels) {
				t.Fatalf("%d readings", len(rs))
			}
			for i := range rs {
				check(t, &channels[i], &rs[i], given[i], now)
			}
			for name, z := range s.Zeros() {
				if !(math.Abs(z.Pa) <= 300) {
					t.Fatalf("zero of %s: %v", name, z)
				}
			}
		}
	})
}

func check(t *testing.T, c *sensors.Channel, r *sensors.Reading, given sensors.Status, now time.Time) {
	t.Helper()
	if r.Channel != c.Name {
		t.Fatalf("%s in place of %s", r.Channel, c.Name)
	}
	number := !math.IsNaN(r.Value) && !math.IsInf(r.Value, 0)
	switch r.Status {
	case sensors.Good:
		if !number || given != sensors.Good || now.Sub(r.At) > c.StaleAfter() {
			t.Fatalf("%s: good %v from %v before, given as %v", c.Name, r.Value, now.Sub(r.At), given)
		}
	case sensors.ClippedHigh, sensors.ClippedLow:
		if r.Status != given {
			t.Fatalf("%s: %v, given as %v", c.Name, r.Status, given)
		}
	default:
		if !math.IsNaN(r.Value) {
			t.Fatalf("%s: %v with the value %v", c.Name, r.Status, r.Value)
		}
	}
	if r.Status != sensors.Good && r.Err == nil && !r.At.IsZero() {
		t.Fatalf("%s: %v without a reason", c.Name, r.Status)
	}
	if c.Quantity == sensors.CO && r.Status != given && r.Status != sensors.Stale && !(r.At.IsZero() && r.Status == sensors.NoAnswer) {
		t.Fatalf("CO given as %v became %v", given, r.Status)
	}
}
