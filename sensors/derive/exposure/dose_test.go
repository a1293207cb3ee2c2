package exposure

import (
	"math"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

func TestChannels(t *testing.T) {
	d := New("co", Opts{})
	want := []string{"co_mean_5min ppm", "co_stel_15min ppm", "co_twa_8h ppm", "co_cohb percent", "co_cohb_linear percent"}
	channels := Channels("co")
	for step := range 2 { // unknown, then good
		out := d.Readings(nil)
		if len(out) != len(want) || len(channels) != len(want) {
			t.Fatalf("%d readings, %d channels", len(out), len(channels))
		}
		for i, c := range channels {
			if got := c.Name + " " + c.Quantity.Unit(); got != want[i] || out[i].Channel != c.Name || c.Period != time.Second {
				t.Errorf("%d: %v, reading %v", step, got, out[i].Channel)
			}
		}
		d.Step(start, good(1))
	}
}

// Nothing is shown, not even clean air, before there was a value.
func TestNothingYet(t *testing.T) {
	d := New("co", Opts{})
	for i, r := range []*sensors.Reading{nil, bad(sensors.Unknown), bad(sensors.ClippedLow), good(math.NaN())} {
		d.Step(start.Add(time.Duration(i)*time.Second), r)
		for _, out := range d.Readings(nil) {
			if out.Status != sensors.Unknown || out.Err == nil || !math.IsNaN(out.Value) {
				t.Errorf("%v: %v %v %v", r, out.Channel, out.Status, out.Value)
			}
		}
	}
	d.Step(start.Add(time.Hour), good(50)) // the hour before it does not count
	for i, want := range []float64{0, 0, 0, 0.7, 0.7} {
		if out := d.Readings(nil)[i]; out.Status != sensors.Good || out.AtLeast || out.Value != want {
			t.Errorf("%s: %v %v, want %v", out.Channel, out.Status, out.Value, want)
		}
	}
}

func TestUncertainty(t *testing.T) {
	d := New("co", Opts{Start: 10})
	d.Step(start, good(0))
	out := d.Readings(nil)
	if out[3].Value != 10 || out[4].Value != 10 || out[3].Uncertainty != 3 || out[4].Uncertainty != 3 || out[2].Uncertainty != 0 {
		t.Errorf("%+v", out)
	}
}

func TestWorkCounts(t *testing.T) {
	for w := range works {
		d := New("co", Opts{Work: w})
		run(d, 0, time.Hour, good(100), nil)
		d.Step(start.Add(time.Hour), good(100))
		if got, want := d.Readings(nil)[3].Value, exact(w, 0.7, 100, 60); math.Abs(got-want) > 1e-6 {
			t.Errorf("%v: %v, want %v", w, got, want)
		}
	}
}

// A zero that drifted below must not take away from a dose.
func TestBelowZero(t *testing.T) {
	d := New("co", Opts{})
	run(d, 0, 5*time.Minute, good(60), nil)
	run(d, 5*time.Minute, 10*time.Minute+1, good(-60), nil)
	if got := d.Readings(nil)[1].Value; math.Abs(got-20) > 1e-9 {
		t.Errorf("%v ppm, want 20", got)
	}
}

func TestClockBack(t *testing.T) {
	d := New("co", Opts{})
	d.Step(start, good(300))
	d.Step(start.Add(-time.Hour), good(300)) // measures nothing
	d.Step(start.Add(-time.Hour+time.Second), good(300))
	if got := d.Readings(nil)[0]; math.Abs(got.Value-1) > 1e-12 || got.AtLeast {
		t.Errorf("%v ppm, want 1", got.Value)
	}
	d.Step(time.Time{}, nil) // and as far forward as time goes
	d.Step(start.AddDate(280, 0, 0), good(0))
	if got := d.Readings(nil)[0]; got.Status != sensors.Unknown {
		t.Errorf("%v %v", got.Status, got.Value)
	}
}

// Not stepped for 3 s is still seen; for longer is a gap, and counts the worse
// end of it.
func TestNotStepped(t *testing.T) {
	for _, c := range []struct {
		pause time.Duration
		want  float64 // ppm·s
	}{{3 * time.Second, 3 * 10}, {4 * time.Second, 4 * 100}, {15 * time.Minute, 900 * 100}} {
		d := New("co", Opts{})
		d.Step(start, good(10))
		d.Step(start.Add(c.pause), good(100))
		if got := d.Readings(nil)[1]; math.Abs(got.Value*900-c.want) > 1e-6 || got.AtLeast {
			t.Errorf("%v: %v ppm·s, want %v", c.pause, got.Value*900, c.want)
		}
	}
}

// A gap that a clipped value ends is a lower bound at once.
func TestClippedAfterGap(t *testing.T) {
	d := New("co", Opts{})
	d.Step(start, good(10))
	d.Step(start.Add(time.Second), nil)
	d.Step(start.Add(3*time.Second), clipped(1000))
	if got := d.Readings(nil)[0]; !got.AtLeast || math.Abs(got.Value*300-2010) > 1e-9 {
		t.Errorf("%+v", got)
	}
}

// A long gap: unknown from the 15th minute on, says since when, and comes back
// when each window is measured again; the day's figures stay lower bounds for
// 16 h.
func TestLongGap(t *testing.T) {
	d := New("co", Opts{})
	at := time.Duration(0)
	forward := func(by time.Duration, r *sensors.Reading) []sensors.Reading {
		run(d, at, at+by, r, nil)
		at += by
		d.Step(start.Add(at), r)
		return d.Readings(nil)
	}
	forward(10*time.Minute, good(60))
	out := forward(15*time.Minute, bad(sensors.NoAnswer))
	if out[0].Status != sensors.Good || !out[0].AtLeast || math.Abs(out[0].Value-60) > 1e-9 {
		t.Errorf("after 15 min: %+v", out[0])
	}
	held := out[3].Value
	out = forward(time.Second, bad(sensors.NoAnswer))
	if out[0].Status != sensors.Unknown || !strings.Contains(out[0].Err.Error(), "unknown since 2031-05-04 06:10:00") {
		t.Errorf("after 15 min 1 s: %+v", out[0])
	}
	out = forward(time.Hour, bad(sensors.NoAnswer))
	if want := exact(Rest, held, 0, 60+1.0/60); out[3].Status != sensors.Good || !out[3].AtLeast || math.Abs(out[3].Value-want) > 1e-6 {
		t.Errorf("an hour later: %+v, want %v", out[3], want)
	}
	if want := 25 * 60.0 / 480; !out[2].AtLeast || math.Abs(out[2].Value-want) > 1e-9 {
		t.Errorf("an hour later: %+v, want %v", out[2], want)
	}
	out = forward(5*time.Minute-time.Second, good(0))
	if out[0].Status != sensors.Unknown {
		t.Errorf("back for less than 5 min: %+v", out[0])
	}
	out = forward(time.Second, good(0))
	if out[0].Status != sensors.Good || out[0].AtLeast || out[0].Value != 0 || out[1].Status != sensors.Unknown {
		t.Errorf("back for 5 min: %+v", out[:2])
	}
	out = forward(10*time.Minute, good(0))
	if out[1].Status != sensors.Good || out[1].AtLeast || !out[2].AtLeast || !out[3].AtLeast {
		t.Errorf("back for 15 min: %+v", out[1:4])
	}
	out = forward(15*time.Hour+45*time.Minute, good(0))
	if out[2].AtLeast || out[3].AtLeast || out[4].AtLeast || out[2].Value != 0 {
		t.Errorf("back for 16 h: %+v", out[2:])
	}
}

// Test gas is not the operator's air, however high; nor is what the cell gives
// off after a test that a fault came before.
func TestHold(t *testing.T) {
	for _, fault := range []*sensors.Reading{good(20), bad(sensors.Frozen)} {
		d := New("co", Opts{})
		run(d, 0, secs(20), good(20), nil)
		run(d, secs(20), secs(22), fault, nil)
		d.Hold(true)
		run(d, secs(22), secs(25), clipped(1000), func(out []sensors.Reading) {
			if math.Abs(out[0].Value-20) > 1e-9 || !out[0].AtLeast {
				t.Fatalf("in the test: %+v", out[0])
			}
		})
		d.Hold(false)
		d.Step(start.Add(secs(25)), good(150))
		out := d.Readings(nil)
		if math.Abs(out[1].Value-20) > 1e-9 || out[1].AtLeast != (fault.Status == sensors.Frozen) {
			t.Errorf("after it: %+v", out[1])
		}
	}
}

func TestStepDoesNotAllocate(t *testing.T) {
	d := New("co", Opts{})
	out := make([]sensors.Reading, 0, 5)
	at := start
	for _, r := range []*sensors.Reading{good(35), clipped(1000), bad(sensors.NoAnswer)} {
		if n := testing.AllocsPerRun(1000, func() {
			at = at.Add(100 * time.Millisecond)
			d.Step(at, r)
			out = d.Readings(out[:0])
		}); n != 0 {
			t.Errorf("%v: %v allocations a step", r.Status, n)
		}
	}
}

func BenchmarkStep(b *testing.B) {
	d := New("co", Opts{})
	out := make([]sensors.Reading, 0, 5)
	at, r := start, good(35)
	b.ReportAllocs()
	for b.Loop() {
		at = at.Add(100 * time.Millisecond)
		d.Step(at, r)
		out = d.Readings(out[:0])
	}
}
