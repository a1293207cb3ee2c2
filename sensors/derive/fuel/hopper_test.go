package fuel

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

var noon = time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)

// bench plays a hopper.
type bench struct {
	*testing.T
	*Hopper
	now   time.Time
	gas   float64 // Nm3/h
	u     float64
	bad   sensors.Status
	scale func() (kg float64, s sensors.Status) // nil: not fitted
}

func newBench(t *testing.T) *bench {
	h, err := New(Opts{Capacity: 10, Heel: 1, Yield: 5})
	if err != nil {
		t.Fatal(err)
	}
	return &bench{T: t, Hopper: h, now: noon}
}

func (b *bench) pass(d, tick time.Duration) {
	for end := b.now.Add(d); b.now.Before(end); {
		b.now = b.now.Add(tick)
		flow := sensors.Reading{At: b.now, Value: b.gas, Uncertainty: b.u, Status: sensors.Good}
		if b.bad != sensors.Unknown {
			flow = sensors.Bad("gas_flow", b.now, b.bad, nil)
		}
		var scale *sensors.Reading
		if b.scale != nil {
			kg, s := b.scale()
			scale = &sensors.Reading{At: b.now, Value: kg, Uncertainty: 0.05, Status: s}
		}
		b.Step(b.now, &flow, scale)
	}
}

func (b *bench) shows() (rate, burnt, left, until sensors.Reading) {
	r := b.Readings(nil)
	return r[0], r[1], r[2], r[3]
}

func (b *bench) near(what string, got, want, tol float64) {
	b.Helper()
	if !(math.Abs(got-want) <= tol) {
		b.Errorf("%s: %g, want %g", what, got, want)
	}
}

func TestCounts(t *testing.T) {
	b := newBench(t)
	b.gas, b.u = 10, 0.5
	b.pass(time.Minute, time.Second)
	if _, _, left, until := b.shows(); left.Status != sensors.Unknown || until.Status != sensors.Unknown || !math.IsNaN(left.Value) ||
		!strings.Contains(left.Err.Error(), "charwarden filled") {
		t.Errorf("nothing was told: %+v %+v", left, until)
	}
	if err := b.Filled(6); err != nil {
		t.Fatal(err)
	}
	b.Begin()
	b.pass(90*time.Minute, 100*time.Millisecond) // 2 kg/h
	rate, burnt, left, until := b.shows()
	b.near("rate", rate.Value, 2, 1e-9)
	b.near("burnt", burnt.Value, 3, 1e-6)
	b.near("left", left.Value, 3, 1e-6)
	b.near("time", until.Value, 3600, 0.01)
	b.near("half width of the rate", rate.Uncertainty, math.Hypot(0.1, 0.1), 1e-9)            // the flow's 5 %, and the yield's
	b.near("half width of left", left.Uncertainty, math.Hypot(0.05, 3*math.Sqrt2*0.05), 1e-3) // the first gram is not
	if err := b.Filled(20); err == nil || !strings.Contains(err.Error(), "weigh") {
		t.Errorf("%v", err)
	}
	if err := b.Filled(4); err != nil {
		t.Fatal(err)
	}
	b.pass(30*time.Minute, time.Second)
	_, burnt, left, _ = b.shows()
	b.near("burnt", burnt.Value, 4, 1e-6)
	b.near("left", left.Value, 6, 1e-6)
	b.Begin()
	if _, burnt, _, _ := b.shows(); burnt.Value != 0 {
		t.Errorf("a new run begins at %g", burnt.Value)
	}
	b.pass(4*time.Hour, time.Second) // more than is in it
	_, _, left, until = b.shows()
	if left.Value != 0 || until.Value != 0 || left.Status != sensors.Good {
		t.Errorf("%+v %+v", left, until)
	}
	for _, kg := range []float64{-1, math.NaN(), math.Inf(1)} {
		if b.Filled(kg) == nil || b.Weighed(kg) == nil {
			t.Errorf("%g kg", kg)
		}
	}
}

// A flow that dies away at the stop is hardly known at all, and burns next to
// nothing: what was burnt before is known as well as before.
func TestDiesAway(t *testing.T) {
	b := newBench(t)
	if err := b.Filled(6); err != nil {
		t.Fatal(err)
	}
	b.Begin()
	b.gas, b.u = 10, 0.5
	b.pass(time.Hour, time.Second)
	_, before, _, _ := b.shows()
	b.gas = 0.001
	b.pass(10*time.Minute, time.Second)
	_, burnt, left, _ := b.shows()
	b.near("half width of burnt", burnt.Uncertainty, before.Uncertainty, 0.1)
	if left.Uncertainty > 0.4 {
		t.Errorf("left %g within %g", left.Value, left.Uncertainty)
	}
}

// Weighing says by how much the balance is off: it takes half of that at once,
// and never more than 30 %.
func TestLearns(t *testing.T) {
	b := newBench(t)
	b.gas = 10
	b.Weighed(8)
	for range 8 { // it burns 2.4 kg/h, the balance says 2
		b.pass(time.Hour, time.Second)
		b.Weighed(8 - 2.4)
		b.Weighed(8)
	}
	rate, _, _, _ := b.shows()
	b.pass(time.Second, time.Second)
	rate, _, _, _ = b.shows()
	b.near("rate", rate.Value, 2.4, 0.01)
	for range 8 {
		b.pass(time.Hour, time.Second)
		b.Weighed(1)
		b.Weighed(8)
	}
	b.pass(time.Second, time.Second)
	rate, _, _, _ = b.shows()
	b.near("rate at most", rate.Value, 2.6, 1e-9)
	gain := b.gain
	b.pass(10*time.Minute, time.Second) // too little to learn of
	b.Weighed(3)
	if b.gain != gain {
		t.Errorf("learned %g of %g kg", b.gain, b.since)
	}
}

// With the flow gone, burnt is a lower bound and left is wide.
func TestBlind(t *testing.T) {
	b := newBench(t)
	b.gas = 10
	b.Weighed(8)
	b.pass(time.Hour, time.Second)
	b.bad = sensors.Open
	b.pass(30*time.Minute, time.Second)
	rate, burnt, left, until := b.shows()
	if rate.Status != sensors.Open || until.Status != sensors.Open || !burnt.AtLeast {
		t.Errorf("%+v %+v %+v", rate, until, burnt)
	}
	b.near("burnt", burnt.Value, 2, 1e-3)
	b.near("left", left.Value, 6, 1e-3)
	if left.Uncertainty < 1 {
		t.Errorf("left within %g", left.Uncertainty)
	}
	b.bad = sensors.Unknown
	b.pass(time.Hour, time.Second)
	_, burnt, left, _ = b.shows()
	if !burnt.AtLeast || left.Uncertainty < 1 {
		t.Error("forgotten")
	}
	b.near("left", left.Value, 4, 1e-3)
	b.Weighed(3)
	if _, _, left, _ := b.shows(); left.Uncertainty > 0.06 {
		t.Errorf("weighed, and within %g", left.Uncertainty)
	}
}

// A scale that drifts by 1 kg in 6 h, on which somebody leans, and charcoal that
// is put in: left stays within 0.2 kg of the truth.
func TestScale(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	b := newBench(t)
	truth, drift, lean := 8.0, 0.0, 0.0
	b.scale = func() (float64, sensors.Status) {
		truth -= 1.9 / 3600 // the balance is 5 % off
		drift += 1.0 / (6 * 3600)
		return truth + drift + lean + 0.02*rng.NormFloat64(), sensors.Good
	}
	b.gas = 10
	check := func(when string, tol float64) {
		t.Helper()
		if _, _, left, _ := b.shows(); math.Abs(left.Value-truth) > tol || left.Status != sensors.Good {
			t.Errorf("%s: %.3f, truly %.3f", when, left.Value, truth)
		}
	}
	b.pass(time.Hour, time.Second)
	check("after an hour", 0.25)
	lean = 25
	b.pass(20*time.Second, time.Second)
	check("somebody leans on it", 0.25)
	lean = 0
	b.pass(time.Minute, time.Second)
	check("and goes", 0.25)
	truth += 4
	b.pass(20*time.Second, time.Second)
	b.pass(time.Minute, time.Second)
	check("refuelled", 0.4)
	if err := b.Filled(4); err != nil { // told too: not counted twice
		t.Fatal(err)
	}
	check("told too", 0.4)
	truth -= 2
	b.pass(2*time.Minute, time.Second)
	check("some was taken out", 0.4)
	b.Weighed(truth)
	b.pass(time.Hour, time.Second)
	check("weighed", 0.25)

	// With no gas drawn nothing burns: all of it is drift.
	b.gas = 0
	truthNow := truth
	b.scale = func() (float64, sensors.Status) { drift += 1.0 / 3600; return truthNow + drift, sensors.Good }
	_, _, before, _ := b.shows()
	b.pass(2*time.Hour, time.Second)
	if _, _, left, _ := b.shows(); math.Abs(left.Value-before.Value) > 1e-9 {
		t.Errorf("at rest it went from %g to %g", before.Value, left.Value)
	}
	// A scale that is gone leaves the count.
	b.gas = 10
	b.scale = func() (float64, sensors.Status) { return math.NaN(), sensors.NoAnswer }
	b.pass(30*time.Minute, time.Second)
	if _, _, left, _ := b.shows(); math.Abs(before.Value-1-left.Value) > 0.06 || left.Uncertainty < 0.05 {
		t.Errorf("%+v", left)
	}
}

// A clock that jumps, and an hour in which nobody watched, count as nothing.
func TestGaps(t *testing.T) {
	b := newBench(t)
	b.gas = 10
	b.Weighed(8)
	b.pass(time.Minute, time.Second)
	_, _, before, _ := b.shows()
	b.now = b.now.Add(time.Hour)
	b.pass(time.Second, time.Second)
	b.now = b.now.Add(-3 * time.Hour)
	b.pass(time.Second, time.Second)
	if _, _, left, _ := b.shows(); math.Abs(left.Value-before.Value) > 1e-2 {
		t.Errorf("from %g to %g", before.Value, left.Value)
	}
}

func TestKept(t *testing.T) {
	b := newBench(t)
	b.gas = 10
	b.Weighed(8)
	b.pass(time.Hour, time.Second)
	data, err := json.Marshal(b.Keep())
	if err != nil {
		t.Fatal(err)
	}
	var k Kept
	if err := json.Unmarshal(data, &k); err != nil {
		t.Fatal(err)
	}
	c := newBench(t)
	c.gas, c.now = 10, b.now
	c.Restore(k)
	b.pass(time.Hour, time.Second)
	c.now = b.now.Add(-time.Hour)
	c.pass(time.Hour, time.Second)
	_, burnt1, left1, _ := b.shows()
	_, burnt2, left2, _ := c.shows()
	if math.Abs(left1.Value-left2.Value) > 1e-3 || math.Abs(burnt1.Value-burnt2.Value) > 1e-3 {
		t.Errorf("%g %g, restored %g %g", burnt1.Value, left1.Value, burnt2.Value, left2.Value)
	}
	d := newBench(t)
	d.Restore(Kept{Known: true, Left: -1, Gain: 5})
	if d.known || d.gain != 1 {
		t.Errorf("%+v", d.Hopper)
	}
}

func TestRefuses(t *testing.T) {
	for _, o := range []Opts{{}, {Yield: math.NaN()}, {Yield: 5, Heel: -1}, {Yield: 5, Capacity: math.Inf(1)}} {
		if _, err := New(o); err == nil {
			t.Errorf("%+v", o)
		}
	}
}

func TestNoAllocation(t *testing.T) {
	b := newBench(t)
	b.Weighed(8)
	flow, scale := sensors.Reading{Value: 10, Status: sensors.Good}, sensors.Reading{Value: 8, Status: sensors.Good}
	buf, now := make([]sensors.Reading, 0, 8), noon
	if n := testing.AllocsPerRun(1000, func() {
		now = now.Add(100 * time.Millisecond)
		b.Step(now, &flow, &scale)
		buf = b.Readings(buf[:0])
	}); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

// Nothing that is kept or read makes a value that is not one.
func FuzzHopper(f *testing.F) {
	f.Add(8.0, 1.0, 10.0, 7.9, 1.0, int64(100))
	f.Fuzz(func(t *testing.T, left, burnt, gasFlow, scale, gain float64, ms int64) {
		h, err := New(Opts{Capacity: 10, Heel: 1, Yield: 5})
		if err != nil {
			t.Fatal(err)
		}
		h.Restore(Kept{Known: true, Left: left, Burnt: burnt, Gain: gain, Rate: gain, At: noon.Add(-time.Duration(ms)), Scale: true})
		if math.Abs(gasFlow) > 1e4 || math.Abs(scale) > 1e4 || math.IsNaN(gasFlow+scale) { // no sensor says that and is good
			return
		}
		now := noon
		for range 5 {
			now = now.Add(time.Duration(ms) * time.Millisecond)
			flow := &sensors.Reading{Value: gasFlow, Status: sensors.Good}
			if ms%3 == 0 {
				flow = nil
			}
			h.Step(now, flow, &sensors.Reading{Value: scale, Status: sensors.Good})
		}
		for _, r := range h.Readings(nil) {
			if r.Status == sensors.Good && (math.IsNaN(r.Value) || math.IsInf(r.Value, 0)) || r.Status != sensors.Good && !math.IsNaN(r.Value) {
				t.Errorf("%+v", r)
			}
		}
	})
}
