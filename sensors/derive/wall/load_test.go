package wall

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// wallAt is a wall that is hotter with load, by 150 K per e-fold of flow.
func wallAt(flow, more float64) float64 { return 450 + 150*math.Log(flow/6) + more }

// run lights w, runs it for 10 min at each flow, hotter by so many K, and seals it.
func run(w *Watch, now time.Time, more float64, see func(flow float64), flows ...float64) time.Time {
	now = play(w, now, time.Minute, phase.Lighting, steady(100), good(0))
	for _, f := range flows {
		load := good(f)
		if w.o.Suction {
			load = good(500 * f * f / 36)
		}
		now = play(w, now, 12*time.Minute, phase.Running, steady(wallAt(f, more)), load)
		see(f)
	}
	return play(w, now, time.Minute, phase.Sealed, steady(300), good(0))
}

// The same wall at the same load is as hot as in the last run, and one that is
// 60 K hotter is, at loads that differ a little too; other loads are not compared.
func TestHotter(t *testing.T) {
	for _, suction := range []bool{false, true} {
		w, err := New(Opts{Name: "wall", Suction: suction})
		if err != nil {
			t.Fatal(err)
		}
		is := func(want, within float64) func(float64) {
			return func(flow float64) {
				r := w.Readings(nil)[2]
				if math.IsNaN(want) {
					if r.Status != sensors.Unknown || r.Err == nil {
						t.Errorf("%g Nm3/h: %+v, want unknown", flow, r)
					}
				} else if r.Status != sensors.Good || math.Abs(r.Value-want) > within || within > 10 && r.Uncertainty < 1 {
					t.Errorf("%g Nm3/h: %v %g (%v), want %g", flow, r.Status, r.Value, r.Err, want)
				}
			}
		}
		now := run(w, noon, 0, is(math.NaN(), 0), 4, 6, 7, 8)
		now = run(w, now, 0, is(0, 1), 6, 4)
		now = run(w, now, 60, is(60, 1), 6, 7, 4)
		now = run(w, now, 60, is(60, 25), 8.1) // from the first run, which was the last there, 60 K less
		now = run(w, now, 60, is(math.NaN(), 0), 2, 12)
		run(w, now, 120, is(60, 1), 6.3)
	}
}

func TestHotterStatus(t *testing.T) {
	w := watch(t)
	now := run(w, noon, 0, func(float64) {}, 6)
	now = run(w, now, 0, func(float64) {}, 6)
	now = play(w, now, time.Minute, phase.Lighting, steady(100), good(0))
	now = play(w, now, 8*time.Minute, phase.Running, steady(450), good(6))
	load := gone()
	clipped, low := good(100), good(0)
	clipped.Status, low.Status = sensors.ClippedHigh, sensors.ClippedLow
	for name, c := range map[string]struct {
		wall, load *sensors.Reading
		phase      phase.Phase
		want       sensors.Status
	}{
		"compares":     {good(450), good(6), phase.Running, sensors.Good},
		"no load":      {good(450), nil, phase.Running, sensors.Unknown},
		"load bad":     {good(450), load, phase.Running, sensors.Open},
		"load clipped": {good(450), clipped, phase.Running, sensors.Unknown},
		"load low":     {good(450), low, phase.Running, sensors.Unknown},
		"no flow":      {good(450), good(0.1), phase.Running, sensors.Unknown},
		"too much":     {good(450), good(math.NaN()), phase.Running, sensors.Unknown},
		"wall bad":     {gone(), good(6), phase.Running, sensors.Open},
		"no wall":      {nil, good(6), phase.Running, sensors.Unknown},
		"stopping":     {good(450), good(6), phase.Stopping, sensors.Unknown},
	} {
		v := *w
		v.Step(now, c.wall, c.load, c.phase)
		if r := v.Readings(nil)[2]; r.Status != c.want || r.Status != sensors.Good && r.Err == nil {
			t.Errorf("%s: %+v", name, r)
		}
	}
	// A wall on the move is not compared.
	play(w, now, 3*time.Minute, phase.Running, func(s float64) *sensors.Reading { return good(450 + 0.1*s) }, good(6))
	if r := w.Readings(nil)[2]; r.Status != sensors.Unknown {
		t.Errorf("moving: %+v", r)
	}
}

// What was kept goes on: the run, its bins, the last run's, the scale.
func TestRestore(t *testing.T) {
	w := watch(t)
	now := run(w, noon, 0, func(float64) {}, 6, 8)
	now = play(w, now, time.Minute, phase.Lighting, steady(100), good(0))
	now = play(w, now, 12*time.Minute, phase.Running, steady(500), good(6))
	text, err := json.Marshal(w.Keep())
	if err != nil {
		t.Fatal(err)
	}
	var k Kept
	if err := json.Unmarshal(text, &k); err != nil {
		t.Fatal(err)
	}
	v := watch(t)
	v.Restore(k)
	was := w.Readings(nil)
	now = play(v, now.Add(time.Hour), 7*time.Minute, phase.Running, steady(500), good(6))
	r := v.Readings(nil)
	if math.Abs(r[0].Value-was[0].Value-420) > 1 || !r[0].AtLeast {
		t.Errorf("over: %+v, was %+v", r[0], was[0])
	}
	if math.Abs(r[2].Value-50) > 1 {
		t.Errorf("hotter: %+v", r[2])
	}
	if r[3].Value <= was[3].Value || !r[3].AtLeast || was[3].AtLeast {
		t.Errorf("scale: %+v, was %+v", r[3], was[3])
	}
	// The next run's time is known again.
	now = play(v, now, time.Minute, phase.Sealed, steady(300), nil)
	play(v, now, time.Minute, phase.Lighting, steady(300), nil)
	if r := v.Readings(nil); r[0].Value != 0 || r[0].AtLeast || !r[3].AtLeast {
		t.Errorf("next run: %+v", r)
	}
}
