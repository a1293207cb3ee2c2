package filter

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

var noon = time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)

var clean = Clean{Drop: 120, Suction: 500}

func pa(v, u float64) *sensors.Reading {
	return &sensors.Reading{Channel: "x", At: noon, Value: v, Raw: v, Uncertainty: u, Cold: math.NaN(), Status: sensors.Good}
}

// by is the inputs of a rig without a flow meter.
func by(drop, suction *sensors.Reading) Inputs { return Inputs{Drop: drop, Suction: suction} }

func loading(t testing.TB, c Clean) *Loading {
	l, err := New(Opts{Clean: c})
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// A cake filter behind an orifice: drop = Q (R0 + k m), suction = a Q². The
// loading is k m/R0 of the dust of two clean filters, whatever the flow and the nozzle. Closed form of filter
// drag, S = Se + K2 W (EPA Air Pollution Control Cost Manual, section 6,
// chapter 1, from memory).
func TestCakeFilter(t *testing.T) {
	for _, nozzle := range []float64{5e5, 4e6} { // Pa per (m3/s)²
		const r0, k, clean = 1.2e4, 3e5, 0.012 // Pa s/m3, and per kg; m3/s
		l := Clean{Drop: clean * r0, Suction: nozzle * clean * clean}
		for _, kg := range []float64{0, 0.004, 0.04, 0.16} {
			for _, q := range []float64{0.011, 0.02, 0.03} {
				got := loading(t, l).Step(noon, by(pa(q*(r0+k*kg), 0), pa(nozzle*q*q, 0)))
				if want := 50 * kg * 25; got.Status != sensors.Good || math.Abs(got.Value-want) > 1e-10 {
					t.Errorf("nozzle %g, %g kg, %g m3/s: %v %v %v, want %v", nozzle, kg, q, got.Status, got.Value, got.Err, want)
				}
			}
		}
	}
}

func TestReading(t *testing.T) {
	drop, suction := pa(240, 0), pa(500, 0)
	drop.At = noon.Add(-300 * time.Millisecond)
	got := loading(t, clean).Step(noon, by(drop, suction))
	if got.Channel != "filter_loading" || !got.At.Equal(drop.At) || math.Abs(got.Value-50) > 1e-12 || got.Raw != got.Value || got.Uncertainty != 0 || !math.IsNaN(got.Cold) {
		t.Errorf("%+v", got)
	}
	suction.At = noon.Add(-time.Second)
	if got := loading(t, clean).Step(noon, by(drop, suction)); !got.At.Equal(suction.At) {
		t.Errorf("at %v", got.At)
	}
	l, err := New(Opts{Channel: "filter_2_loading", Clean: clean})
	if err != nil {
		t.Fatal(err)
	}
	if got := l.Step(noon, by(drop, suction)); got.Channel != "filter_2_loading" {
		t.Errorf("channel %s", got.Channel)
	}
	for _, c := range []Clean{
		{Drop: 120}, {Drop: 120, Suction: 49.9}, {Suction: 500}, {Drop: -1, Suction: 500}, {Drop: math.NaN(), Suction: 500},
		{Drop: 120, Suction: math.NaN()}, {Drop: math.Inf(1), Suction: 500}, {Drop: 120, Suction: math.Inf(1)}, {Drop: 120, Flow: 0.4},
		{Drop: 120, Flow: math.NaN()}, {Drop: 120, Flow: -6}, {Drop: 120, Suction: 500, Flow: math.Inf(1)},
		{Drop: 120, Flow: 6, Temp: 201}, {Drop: 120, Flow: 6, Temp: math.NaN()}, {Temp: 40},
	} {
		if l, err := New(Opts{Clean: c}); err == nil || l != nil || !strings.HasPrefix(err.Error(), "filter: clean ") {
			t.Errorf("%+v: %v", c, err)
		}
	}
	for _, full := range []float64{1, 1.19, 20.1, -3, math.NaN(), math.Inf(1)} {
		if l, err := New(Opts{Clean: clean, Full: full}); err == nil || l != nil {
			t.Errorf("full %g", full)
		}
	}
}

// 0 is clean, 100 due at Full times the clean resistance; below 0 is a hole.
func TestPercent(t *testing.T) {
	for _, c := range []struct{ full, times, want float64 }{
		{0, 1, 0}, {0, 2, 50}, {0, 3, 100}, {0, 4, 150}, {0, 0.7, -15}, {0, 0, -50}, {2, 2, 100}, {5, 2, 25}, {1.2, 1.1, 50},
	} {
		l, err := New(Opts{Clean: clean, Full: c.full})
		if err != nil {
			t.Fatal(err)
		}
		if got := l.Step(noon, by(pa(120*c.times, 0), pa(500, 0))); got.Status != sensors.Good || math.Abs(got.Value-c.want) > 1e-12 {
			t.Errorf("full %g, %g times: %v %g, want %g", c.full, c.times, got.Status, got.Value, c.want)
		}
	}
}

// Root of the sum of squares of the parts, each found by moving its input
// (JCGM 100:2008, 5.1.3 note 2 gives this numerical form).
func TestUncertainty(t *testing.T) {
	value := func(d, s float64) float64 { return loading(t, clean).Step(noon, by(pa(d, 0), pa(s, 0))).Value }
	for _, c := range []struct{ d, ud, s, us float64 }{{240, 5, 500, 25}, {120, 0, 60, 1}, {0, 5, 500, 25}, {-3, 5, 80, 2}} {
		got := loading(t, clean).Step(noon, by(pa(c.d, c.ud), pa(c.s, c.us))).Uncertainty
		want := math.Hypot((value(c.d+c.ud, c.s)-value(c.d-c.ud, c.s))/2, (value(c.d, c.s+c.us)-value(c.d, c.s-c.us))/2)
		if math.Abs(got-want) > 2e-3*want {
			t.Errorf("%+v: %g, want %g", c, got, want)
		}
	}
}

// A first-order lag answers a step with 1 - exp(-t/10 s), whatever the ticks.
func TestLag(t *testing.T) {
	for _, tick := range []time.Duration{100 * time.Millisecond, time.Second, 2500 * time.Millisecond} {
		l := loading(t, clean)
		l.Step(noon, by(pa(120, 0), pa(500, 0)))
		for after := tick; after <= 40*time.Second; after += tick {
			got := l.Step(noon.Add(after), by(pa(240, 0), pa(500, 0)))
			if want := 50 * (1 - math.Exp(-after.Seconds()/10)); math.Abs(got.Value-want) > 1e-9 || math.Abs(got.Raw-50) > 1e-12 {
				t.Fatalf("every %v, after %v: %g, raw %g, want %g", tick, after, got.Value, got.Raw, want)
			}
		}
	}
	// A missed reading does not begin it anew, a stop does.
	l := loading(t, clean)
	l.Step(noon, by(pa(120, 0), pa(500, 0)))
	l.Step(noon.Add(5*time.Second), by(pa(120, 0), pa(10, 0)))
	if got, want := l.Step(noon.Add(10*time.Second), by(pa(240, 0), pa(500, 0))).Value, 50*(1-math.Exp(-1)); math.Abs(got-want) > 1e-12 {
		t.Errorf("after a gap %g, want %g", got, want)
	}
	if got := l.Step(noon.Add(21*time.Second), by(pa(360, 0), pa(500, 0))).Value; math.Abs(got-100) > 1e-12 {
		t.Errorf("after a stop %g, want 100", got)
	}
}

func TestNoValue(t *testing.T) {
	why := errors.New("wire off")
	bad := func(s sensors.Status) *sensors.Reading {
		r := sensors.Bad("x", noon, s, why)
		return &r
	}
	clip := func(s sensors.Status, v float64) *sensors.Reading {
		r := pa(v, 0)
		r.Status, r.Err = s, why
		return r
	}
	silent := &sensors.Reading{At: noon, Value: math.NaN()} // nothing has been read yet
	for _, c := range []struct {
		name          string
		drop, suction *sensors.Reading
		want          sensors.Status
		value         float64
		says          string
	}{
		{"flow", pa(240, 0), pa(500, 0), sensors.Good, 50, ""},
		{"just flow", pa(120, 0), pa(50, 0), sensors.Good, 50 * (math.Sqrt(10) - 1), ""},
		{"no flow", pa(120, 0), pa(49.9, 0), sensors.Unknown, 0, "no flow"},
		{"sealed", pa(0, 0), pa(-20, 0), sensors.Unknown, 0, "no flow"},
		{"pressed", pa(0, 0), clip(sensors.ClippedLow, -5000), sensors.Unknown, 0, "no flow"},
		{"suction open", pa(120, 0), bad(sensors.Open), sensors.Open, 0, "suction: wire off"},
		{"drop stale", bad(sensors.Stale), pa(500, 0), sensors.Stale, 0, "drop: wire off"},
		{"drop bad without flow", bad(sensors.Stale), pa(0, 0), sensors.Stale, 0, "drop: wire off"},
		{"both", bad(sensors.Stale), bad(sensors.Unzeroed), sensors.Unzeroed, 0, "suction: wire off"},
		{"none yet", silent, silent, sensors.Unknown, 0, "suction: unknown"},
		{"drop past its range", clip(sensors.ClippedHigh, 1200), pa(500, 0), sensors.ClippedHigh, 450, "drop: wire off"},
		{"drop below its range", clip(sensors.ClippedLow, -120), pa(500, 0), sensors.ClippedLow, -100, "drop: wire off"},
		{"suction past its range", pa(120, 0), clip(sensors.ClippedHigh, 5000), sensors.Unknown, 0, "suction: wire off"},
		{"no drop sensor", nil, pa(500, 0), sensors.Unknown, 0, "not measured"},
		{"no suction sensor", pa(120, 0), nil, sensors.Unknown, 0, "neither"},
		{"not a number", pa(120, 0), pa(math.NaN(), 0), sensors.Unknown, 0, "no flow"},
	} {
		got := loading(t, clean).Step(noon, by(c.drop, c.suction))
		if got.Status != c.want || got.Channel != Channel || !got.At.Equal(noon) {
			t.Errorf("%s: %+v", c.name, got)
		}
		if c.value == 0 != math.IsNaN(got.Value) || c.value != 0 && math.Abs(got.Value-c.value) > 1e-10 {
			t.Errorf("%s: %v, want %v", c.name, got.Value, c.value)
		}
		if (got.Err == nil) != (c.says == "") || got.Err != nil && !strings.Contains(got.Err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", c.name, got.Err, c.says)
		}
		if strings.Contains(c.says, why.Error()) && !errors.Is(got.Err, why) {
			t.Errorf("%s: the cause is lost: %v", c.name, got.Err)
		}
	}
}

func TestNoAllocation(t *testing.T) {
	l, drop, suction, still, now := loading(t, clean), pa(120, 5), pa(500, 25), pa(0, 25), noon
	if n := testing.AllocsPerRun(1000, func() {
		now = now.Add(100 * time.Millisecond)
		l.Step(now, by(drop, suction))
		l.Step(now, by(drop, still))
	}); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

// A value is finite and good, or clipped, or not there.
func FuzzStep(f *testing.F) {
	f.Add(120.0, 500.0, uint8(1), uint8(1), 100.0)
	f.Add(-1e308, 50.0, uint8(1), uint8(1), 0.0)
	f.Fuzz(func(t *testing.T, drop, suction float64, ds, ss uint8, ms float64) {
		if math.IsNaN(drop) || math.Abs(drop) > 1e6 || math.Abs(suction) > 1e6 { // no sensor says that and is good
			return
		}
		l := loading(t, clean)
		d, s := pa(drop, 5), pa(suction, 25)
		d.Status, s.Status = sensors.Status(ds%14), sensors.Status(ss%14)
		l.Step(noon, by(pa(120, 5), pa(500, 25)))
		r := l.Step(noon.Add(time.Duration(ms)), by(d, s))
		clipped := r.Status == sensors.ClippedHigh || r.Status == sensors.ClippedLow
		if (r.Status == sensors.Good || clipped) == math.IsNaN(r.Value) || math.IsInf(r.Value, 0) || (r.Status == sensors.Good) != (r.Err == nil) {
			t.Errorf("%+v", r)
		}
		if r.Status == sensors.Good && (d.Status != sensors.Good || s.Status != sensors.Good || suction < MinSuction) {
			t.Errorf("good from %v and %v at %g Pa", d.Status, s.Status, suction)
		}
	})
}
