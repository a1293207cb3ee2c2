package wall

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

var noon = time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)

const tick = 500 * time.Millisecond

func good(v float64) *sensors.Reading {
	return &sensors.Reading{Channel: "x", At: noon, Value: v, Raw: v, Status: sensors.Good}
}

func gone() *sensors.Reading {
	r := sensors.Bad("x", noon, sensors.Open, nil)
	return &r
}

func watch(t testing.TB) *Watch {
	w, err := New(Opts{Name: "wall", Scale: true})
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// play steps w from now on for a time, and returns the time after it.
func play(w *Watch, now time.Time, lasts time.Duration, p phase.Phase, temp func(s float64) *sensors.Reading, load *sensors.Reading) time.Time {
	for at := time.Duration(0); at < lasts; at += tick {
		w.Step(now.Add(at), temp(at.Seconds()), load, p)
	}
	return now.Add(lasts)
}

func steady(v float64) func(float64) *sensors.Reading {
	return func(float64) *sensors.Reading { return good(v) }
}

func absent(float64) *sensors.Reading { return gone() }

func TestOver(t *testing.T) {
	w := watch(t)
	now := play(w, noon, time.Minute, phase.Cold, steady(500), nil)
	if r := w.Readings(nil)[0]; r.Status != sensors.Unknown || r.Channel != "wall_over" {
		t.Errorf("before a run: %+v", r)
	}
	for _, c := range []struct {
		name  string
		lasts time.Duration
		phase phase.Phase
		temp  func(float64) *sensors.Reading
		want  float64
		low   bool
	}{
		{"lit", time.Minute, phase.Lighting, steady(300), 0, false},
		{"below", time.Minute, phase.Running, steady(479), 0, false},
		{"above", 2 * time.Minute, phase.Running, steady(480), 120, false},
		{"one missed", 500 * time.Millisecond, phase.Running, absent, 120.5, false},
		{"and back", time.Minute, phase.Running, steady(490), 180.5, false},
		{"phase not known", time.Minute, phase.Unknown, steady(490), 240.5, false},
		{"not read", time.Minute, phase.Running, absent, 240.5, true},
		{"below after it", time.Minute, phase.Running, steady(400), 240.5, true},
		{"stopping", time.Minute, phase.Stopping, steady(490), 300.5, true},
		{"sealed", time.Minute, phase.Sealed, steady(490), 300.5, true},
		{"was no stop", time.Minute, phase.Running, steady(490), 360.5, true},
		{"sealed again", time.Minute, phase.Sealed, steady(300), 360.5, true},
		{"next run", time.Minute, phase.Lighting, steady(300), 0, false},
	} {
		now = play(w, now, c.lasts, c.phase, c.temp, nil)
		r := w.Readings(nil)[0]
		if r.Status != sensors.Good || math.Abs(r.Value-c.want) > 1 || r.AtLeast != c.low {
			t.Errorf("%s: %v %g at least %v, want %g %v", c.name, r.Status, r.Value, r.AtLeast, c.want, c.low)
		}
	}
}

// A clipped wall is over its limit; it gives a lower bound of the scale.
func TestClipped(t *testing.T) {
	w := watch(t)
	hot := good(1350)
	hot.Status = sensors.ClippedHigh
	now := play(w, noon, time.Minute, phase.Lighting, steady(20), nil)
	play(w, now, time.Minute, phase.Running, func(float64) *sensors.Reading { return hot }, nil)
	r := w.Readings(nil)
	if r[0].Value < 59 || r[0].AtLeast || !r[3].AtLeast || r[1].Status != sensors.Unknown || r[1].Err == nil {
		t.Errorf("%+v", r)
	}
}

// A wall that rises at a known slope with noise reaches its limit when it does,
// within twice the uncertainty that it states, also with strays in it.
func TestReaches(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	inside, all := 0, 0
	for _, rate := range []float64{0.06, 0.2, 0.6} { // K/s
		for range 20 {
			w := watch(t)
			play(w, noon, 3*time.Minute, phase.Running, func(s float64) *sensors.Reading {
				v := 420 + rate*s + 0.3*rng.NormFloat64()
				if math.Mod(s, 50) < 1 {
					v -= 40
				}
				return good(v)
			}, nil)
			r := w.Readings(nil)[1]
			want := (600 - 420 - rate*179.5) / rate
			if r.Status != sensors.Good || math.Abs(r.Value/want-1) > 0.1 {
				t.Errorf("%g K/s: %+v, want %g", rate, r, want)
			}
			all++
			if math.Abs(r.Value-want) <= r.Uncertainty {
				inside++
			}
		}
	}
	if inside*10 < 8*all { // a standard error of 15 points is itself rough
		t.Errorf("%d of %d within what is stated", inside, all)
	}
}

func TestReachesStatus(t *testing.T) {
	for name, c := range map[string]struct {
		lasts time.Duration
		temp  func(float64) *sensors.Reading
		want  sensors.Status
		v     float64
	}{
		"falls":     {3 * time.Minute, func(s float64) *sensors.Reading { return good(500 - 0.1*s) }, sensors.Unknown, 0},
		"stands":    {3 * time.Minute, steady(500), sensors.Unknown, 0},
		"far":       {3 * time.Minute, func(s float64) *sensors.Reading { return good(300 + 0.05*s) }, sensors.Unknown, 0},
		"too early": {time.Minute, func(s float64) *sensors.Reading { return good(500 + 0.5*s) }, sensors.Unknown, 0},
		"there":     {time.Second, steady(600), sensors.Good, 0},
		"open":      {3 * time.Minute, absent, sensors.Open, 0},
	} {
		w := watch(t)
		play(w, noon, c.lasts, phase.Running, c.temp, nil)
		r := w.Readings(nil)[1]
		if r.Status != c.want || r.Status != sensors.Good && (r.Err == nil || !math.IsNaN(r.Value)) || r.Status == sensors.Good && r.Value != c.v {
			t.Errorf("%s: %+v", name, r)
		}
	}
	// A line that nothing was added to for long is not one of now.
	w := watch(t)
	now := play(w, noon, 3*time.Minute, phase.Running, func(s float64) *sensors.Reading { return good(400 + 0.5*s) }, nil)
	now = play(w, now, time.Minute, phase.Running, absent, nil)
	w.Step(now, good(500), nil, phase.Running)
	if r := w.Readings(nil)[1]; r.Status != sensors.Unknown {
		t.Errorf("after a gap: %+v", r)
	}
}

// Scale grows by the law through the Watch too, in every phase; gaps.
func TestScaleStep(t *testing.T) {
	w := watch(t)
	now := play(w, noon, time.Hour, phase.Unknown, steady(640), nil)
	want := Scale(Stay{640, time.Hour})
	scale := func() sensors.Reading { return w.Readings(nil)[3] }
	if r := scale(); math.Abs(r.Value/want-1) > 1e-3 || r.AtLeast || r.Uncertainty != r.Value/2 {
		t.Errorf("%+v, want %g", r, want)
	}
	now = play(w, now, 30*time.Second, phase.Running, absent, nil)
	if r := scale(); !r.AtLeast || math.Abs(r.Value/want-1) > 2e-3 {
		t.Errorf("in a gap: %+v", r)
	}
	now = play(w, now, time.Minute, phase.Running, steady(600), nil)
	want = Scale(Stay{640, time.Hour + 30*time.Second}, Stay{600, time.Minute})
	if r := scale(); r.AtLeast || math.Abs(r.Value/want-1) > 1e-3 {
		t.Errorf("after a short gap: %+v, want %g", r, want)
	}
	now = play(w, now, time.Minute, phase.Cold, steady(50), nil)
	before := scale().Value
	now = play(w, now, time.Hour, phase.Cold, absent, nil)
	now = play(w, now, time.Minute, phase.Cold, steady(50), nil)
	if r := scale(); r.AtLeast || math.Abs(r.Value/before-1) > 1e-6 {
		t.Errorf("after a gap when cold: %+v", r)
	}
	now = play(w, now, time.Minute, phase.Running, steady(500), nil)
	now = play(w, now, 2*time.Minute, phase.Running, absent, nil)
	play(w, now, time.Minute, phase.Running, steady(40), nil)
	if r := scale(); !r.AtLeast || r.Value < before {
		t.Errorf("after a long gap when hot: %+v", r)
	}
}

func TestNew(t *testing.T) {
	for _, o := range []Opts{{}, {Name: "w", Limit: -1}, {Name: "w", Reach: 3000}, {Name: "w", Limit: math.NaN()}} {
		if _, err := New(o); err == nil {
			t.Errorf("%+v: no error", o)
		}
	}
	w, err := New(Opts{Name: "w"})
	if err != nil || len(w.Readings(nil)) != 3 || len(Channels(w.o)) != 3 {
		t.Errorf("%v %+v", err, w.Readings(nil))
	}
	for i, r := range watch(t).Readings(nil) {
		if r.Status != sensors.Unknown || r.Err == nil || r.Channel != Channels(Opts{Name: "wall", Scale: true})[i].Name {
			t.Errorf("new: %+v", r)
		}
	}
}

func TestNoAllocation(t *testing.T) {
	w := watch(t)
	now, n := noon, 0
	bad, wall, load := gone(), good(400), good(6)
	buf := make([]sensors.Reading, 0, 4)
	got := testing.AllocsPerRun(5000, func() {
		now, n = now.Add(tick), n+1
		wall.Value = 400 + 0.01*float64(n)
		in := wall
		if n%7 == 0 {
			in = bad
		}
		w.Step(now, in, load, phase.Running)
		buf = w.Readings(buf[:0])
	})
	if got != 0 {
		t.Errorf("%g allocations", got)
	}
}

func FuzzRestore(f *testing.F) {
	w := watch(f)
	play(w, noon, 20*time.Minute, phase.Running, steady(500), good(6))
	text, err := json.Marshal(w.Keep())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text, 500.0, 6.0)
	f.Add([]byte(`{"run":true,"over_s":-4,"scale_cm2":1e300,"degc":1e9,"this":{"-1":{"load":-1},"99":{"load":1e300,"degc":-1e9}}}`), 20.0, 1e300)
	f.Fuzz(func(t *testing.T, text []byte, temp, load float64) {
		var k Kept
		if json.Unmarshal(text, &k) != nil {
			return
		}
		w := watch(t)
		w.Restore(k)
		play(w, noon, time.Minute, phase.Running, steady(temp), good(load))
		for _, r := range w.Readings(nil) {
			if r.Status == sensors.Good && (math.IsNaN(r.Value) || math.IsInf(r.Value, 0) || r.Channel != "wall_hotter" && r.Value < 0) {
				t.Errorf("%s: %g", r.Channel, r.Value)
			}
			if r.Status != sensors.Good && r.Err == nil {
				t.Errorf("%s: %v without a reason", r.Channel, r.Status)
			}
		}
		if _, err := json.Marshal(w.Keep()); err != nil {
			t.Error(err)
		}
	})
}
