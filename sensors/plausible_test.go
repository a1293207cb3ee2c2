package sensors_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"charwarden/sensors"
)

// each says at which ticks of 0.1 s a channel has a new reading.
func each(at, period time.Duration) bool { return at%period < 100*time.Millisecond }

func wall(rate float64) sensors.Channel {
	return sensors.Channel{Name: "wall", Quantity: sensors.Temperature, Period: 250 * time.Millisecond, MaxRate: rate}
}

func TestJumpFlippedBit(t *testing.T) {
	d := newDesk(t, nil, wall(20))
	for i, v := range []float64{600, 600.25, 856.25 /* bit 10 of the code */, 600.5, 600.25} {
		d.good("wall", v)
		r := d.at("wall")
		honest(t, r)
		if want := i == 2; (r.Status == sensors.Jump) != want || !want && r.Value != v {
			t.Errorf("reading %d: %v %v", i, r.Status, r.Value)
		}
		if i == 2 && r.Raw != v {
			t.Errorf("raw %v lost, want %v", r.Raw, v)
		}
		d.now = d.now.Add(250 * time.Millisecond)
	}
}

// A real step is a fault for two readings and then the value, so that a place
// that changed for good is never blind.
func TestJumpRealStep(t *testing.T) {
	for _, to := range []float64{900, 20, -150} {
		d := newDesk(t, nil, wall(20))
		d.good("wall", 600)
		d.at("wall")
		for i := range 4 {
			d.now = d.now.Add(250 * time.Millisecond)
			d.good("wall", to+float64(i)) // still moving, as a place does
			r := d.at("wall")
			if want := i < 2; (r.Status == sensors.Jump) != want {
				t.Errorf("to %v, reading %d: %v", to, i, r.Status)
			}
		}
	}
}

// Three readings that differ from the last value and from each other agree on
// nothing.
func TestJumpNoiseIsNotAgreement(t *testing.T) {
	d := newDesk(t, nil, wall(20))
	d.good("wall", 600)
	d.at("wall")
	for i, v := range []float64{900, 300, 1100, 100, 700, 900} {
		d.now = d.now.Add(250 * time.Millisecond)
		d.good("wall", v)
		if r := d.at("wall"); r.Status == sensors.Good && math.Abs(v-600) > 20*0.25*float64(i+1) {
			t.Errorf("reading %d: %v taken as good", i, v)
		}
	}
}

// Slow ramps with chip steps and a jittery schedule are never flagged, nor is
// a first reading, nor what changed while nobody could look.
func TestJumpRampsPass(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 0))
	for range 50 {
		d := newDesk(t, nil, wall(20))
		slope := 19 * (2*rng.Float64() - 1)
		v, start := 500+400*rng.Float64(), d.now
		for range 200 {
			d.now = d.now.Add(time.Duration(100+rng.IntN(900)) * time.Millisecond)
			code := math.Round((v+slope*d.now.Sub(start).Seconds())*4) / 4
			d.good("wall", code)
			wantStatus(t, "ramp", d.at("wall"), sensors.Good)
		}
	}
	d := newDesk(t, nil, wall(20))
	d.good("wall", 100)
	d.at("wall")
	d.now = d.now.Add(time.Minute)
	d.good("wall", 700)
	wantStatus(t, "600 degC in a minute without readings", d.at("wall"), sensors.Good)
}

// A place that goes over range at once is a jump first and then clipped: it
// keeps its side.
func TestJumpThenClipped(t *testing.T) {
	d := newDesk(t, nil, wall(20))
	d.good("wall", 600)
	d.at("wall")
	for i := range 3 {
		d.now = d.now.Add(250 * time.Millisecond)
		d.put(sensors.Reading{Channel: "wall", At: d.now, Value: 1372, Raw: 1372, Status: sensors.ClippedHigh, Err: errors.New("over")})
		want := sensors.Jump
		if i == 2 {
			want = sensors.ClippedHigh
		}
		wantStatus(t, "clipped", d.at("wall"), want)
	}
}

func still(after time.Duration) sensors.Channel {
	return sensors.Channel{Name: "still", Quantity: sensors.Temperature, Period: 250 * time.Millisecond, FrozenAfter: after}
}

func TestFrozen(t *testing.T) {
	other := sensors.Channel{Name: "other", Quantity: sensors.Temperature, Period: 250 * time.Millisecond}
	pressure := sensors.Channel{Name: "suction", Quantity: sensors.Pressure, Period: 250 * time.Millisecond}
	for _, c := range []struct {
		name  string
		other func(at time.Duration) float64 // degC
		noise float64
		want  sensors.Status
	}{
		{"while another rises", func(at time.Duration) float64 { return 300 + at.Seconds() }, 0, sensors.Frozen},
		{"while another falls", func(at time.Duration) float64 { return 300 - at.Seconds() }, 0, sensors.Frozen},
		{"while the rig stands cold", func(time.Duration) float64 { return 20 }, 0, sensors.Good},
		{"while another wanders a little", func(at time.Duration) float64 { return 300 + 9*math.Sin(at.Seconds()) }, 0, sensors.Good},
		{"moving by one step of the chip", func(at time.Duration) float64 { return 300 + at.Seconds() }, 0.25, sensors.Good},
	} {
		d := newDesk(t, nil, still(30*time.Second), other, pressure)
		var seen sensors.Reading
		d.play(40*time.Second, func(at time.Duration) {
			if each(at, 250*time.Millisecond) {
				d.good("still", 250+c.noise*float64(at/(10*time.Second)))
				d.good("other", c.other(at))
				d.good("suction", 1000+100*at.Seconds()) // another kind says nothing
			}
			if r := d.at("still"); r.Status != sensors.Good && at < 30*time.Second {
				t.Fatalf("%s: %v after %v", c.name, r.Status, at)
			}
		})
		if seen = d.at("still"); seen.Status != c.want {
			t.Errorf("%s: %v, want %v", c.name, seen.Status, c.want)
		}
		honest(t, seen)
	}
}

// A channel that hangs from the start is found too, although the other one had
// no value yet when it came to rest.
func TestFrozenFromTheStart(t *testing.T) {
	other := sensors.Channel{Name: "other", Quantity: sensors.Temperature, Period: 250 * time.Millisecond}
	d := newDesk(t, nil, still(30*time.Second), other)
	d.play(60*time.Second, func(at time.Duration) {
		if each(at, 250*time.Millisecond) {
			d.good("still", 20)
			if at > 10*time.Second {
				d.good("other", 20+2*at.Seconds())
			}
		}
	})
	wantStatus(t, "still", d.at("still"), sensors.Frozen)
	d.good("still", 20.25)
	wantStatus(t, "moved", d.at("still"), sensors.Good)
}

// What nobody read cannot be called unchanged: a bus that hung for minutes
// leaves its channels unjudged.
func TestFrozenNotByAHungBus(t *testing.T) {
	other := sensors.Channel{Name: "other", Quantity: sensors.Temperature, Period: 250 * time.Millisecond}
	d := newDesk(t, nil, still(30*time.Second), other)
	d.play(120*time.Second, func(at time.Duration) {
		if each(at, 250*time.Millisecond) {
			d.good("other", 20+at.Seconds())
			if at < 5*time.Second || at > 115*time.Second {
				d.good("still", 20)
			}
		}
		if at > 116*time.Second {
			wantStatus(t, "after the hang", d.at("still"), sensors.Good)
		}
	})
}

// Even where the configuration asks for every check, none touches CO: whatever
// it does, good stays good and clipped stays clipped, value and all.
func TestCOIsNeverImplausible(t *testing.T) {
	for seed := range uint64(300) {
		rng := rand.New(rand.NewPCG(seed, 3))
		d := newDesk(t, nil,
			sensors.Channel{Name: "co", Quantity: sensors.CO, Period: 100 * time.Millisecond, MaxRate: 0.001, FrozenAfter: time.Second, HotWith: []string{"gas"}},
			sensors.Channel{Name: "co2", Quantity: sensors.CO, Period: 100 * time.Millisecond},
			sensors.Channel{Name: "gas", Quantity: sensors.Temperature, Period: 100 * time.Millisecond})
		v, shape, left, slope := 1000*rng.Float64(), 0, 0, 0.0
		for i := range 400 {
			if left == 0 {
				shape, left, slope = rng.IntN(5), 1+rng.IntN(80), 50*rng.NormFloat64()
				if shape == 0 { // step
					v = 1000 * rng.Float64()
				}
			}
			left--
			r := sensors.Reading{Channel: "co", At: d.now, Cold: 20, Status: sensors.Good}
			switch shape {
			case 1: // ramp, down or up
				v = min(max(v+slope, -5), 1000)
			case 2: // noise
				v = min(max(v+rng.NormFloat64(), -5), 1000)
			case 3: // clip
				v, r.Status, r.Err = 1000, sensors.ClippedHigh, errors.New("over")
			} // 4, and 0 after its first: stands still to the last bit
			r.Value, r.Raw = v, v
			d.put(r)
			d.good("co2", float64(i*100))
			d.good("gas", 900)
			if got := d.at("co"); got.Status != r.Status || got.Value != v {
				t.Fatalf("seed %d, reading %d, shape %d: %v %v (%v), want %v %v", seed, i, shape, got.Status, got.Value, got.Err, r.Status, v)
			}
			d.now = d.now.Add(100 * time.Millisecond)
		}
	}
}
