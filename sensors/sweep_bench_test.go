package sensors_test

import (
	"testing"
	"time"

	"charwarden/sensors"
)

// reference is a rig of 17 channels as the loop has them, and a reading of
// each that no check objects to.
func reference() (channels []sensors.Channel, readings []sensors.Reading) {
	add := func(q sensors.Quantity, v float64, names ...string) {
		for _, name := range names {
			channels = append(channels, sensors.Channel{Name: name, Quantity: q, Period: 250 * time.Millisecond})
			readings = append(readings, sensors.Reading{Channel: name, Value: v, Raw: v, Cold: 25, Status: sensors.Good})
		}
	}
	add(sensors.Temperature, 400, "wall_near", "wall_far", "gas_out", "filter_in", "filter_out", "return_line", "air_temp")
	for i := range channels {
		channels[i].MaxRate, channels[i].FrozenAfter = 20, 2*time.Minute
	}
	channels[0].HotWith = []string{"wall_far", "gas_out"}
	add(sensors.Pressure, 40, "suction", "filter_drop")
	for i := 7; i < 9; i++ {
		channels[i].Zero = &sensors.ZeroBand{MaxPa: 300, UnzeroedPa: 250, ZeroedPa: 100}
	}
	add(sensors.CO, 3, "co")
	add(sensors.Age, 3600, "co_zero_age", "co_bump_age")
	add(sensors.Speed, 0, "speed")
	add(sensors.Voltage, 12, "supply", "rail")
	add(sensors.Pressure, 97e3, "air_pressure")
	add(sensors.Humidity, 0.5, "air_humidity")
	return channels, readings
}

// turn is one tick of the loop in which every channel has a new reading.
func turn(s *sensors.Sweep, readings []sensors.Reading, now time.Time, n int) {
	for i := range readings {
		r := readings[i]
		r.At = now
		r.Value += 0.25 * float64(n&1)
		r.Raw = r.Value
		s.Put(r)
	}
	s.Tick(now)
}

func BenchmarkSweep(b *testing.B) {
	channels, readings := reference()
	now := time.Date(2026, 6, 1, 14, 0, 0, 0, time.UTC)
	s, err := sensors.NewSweep(channels, nil, now)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for n := 0; b.Loop(); n++ {
		now = now.Add(100 * time.Millisecond)
		turn(s, readings, now, n)
	}
}

// The loop lives for months: a tick with nothing wrong leaves no garbage.
func TestSweepAllocatesNothing(t *testing.T) {
	channels, readings := reference()
	if len(channels) != 17 {
		t.Fatalf("%d channels, want the reference rig's 17", len(channels))
	}
	now, n := time.Date(2026, 6, 1, 14, 0, 0, 0, time.UTC), 0
	s, err := sensors.NewSweep(channels, nil, now)
	if err != nil {
		t.Fatal(err)
	}
	if allocs := testing.AllocsPerRun(1000, func() {
		n++
		now = now.Add(100 * time.Millisecond)
		turn(s, readings, now, n)
	}); allocs != 0 {
		t.Errorf("%v allocations a tick, want none", allocs)
	}
	for i, r := range s.Tick(now) {
		if r.Status != sensors.Good || i >= 7 && i < 9 && r.Uncertainty != 100 {
			t.Errorf("%s: %v, uncertainty %v (%v)", r.Channel, r.Status, r.Uncertainty, r.Err)
		}
	}
}
