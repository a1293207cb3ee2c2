package filter_test

import (
	"math"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/filter"
	"charwarden/sensors/sim"
)

var dawn = time.Date(2026, 6, 1, 14, 0, 0, 0, time.UTC)

// read plays a rig up to a time and returns the loading then, with what the
// rig showed at 19 min as the clean filter.
func read(t *testing.T, r *sim.Rig, until time.Duration) sensors.Reading {
	ref := dawn.Add(19 * time.Minute)
	l, err := filter.New(filter.Opts{Clean: filter.Clean{Drop: r.FilterDrop(ref), Suction: r.Suction(ref)}})
	if err != nil {
		t.Fatal(err)
	}
	var got sensors.Reading
	for at := until - time.Minute; at <= until; at += 100 * time.Millisecond {
		now := dawn.Add(at)
		drop := sensors.Reading{At: now, Value: r.FilterDrop(now), Status: sensors.Good}
		suction := sensors.Reading{At: now, Value: r.Suction(now), Status: sensors.Good}
		got = l.Step(now, filter.Inputs{Drop: &drop, Suction: &suction})
	}
	return got
}

func rig(t *testing.T, seed uint64, fault string) *sim.Rig {
	r := sim.NewRig(dawn, sim.DefaultPlan(), seed)
	if fault != "" {
		if err := r.Inject(fault, 50*time.Minute); err != nil {
			t.Fatal(err)
		}
	}
	return r
}

// times is the resistance in the clean one's.
func times(loading sensors.Reading) float64 { return 1 + loading.Value/100*(filter.Full-1) }

// On the simulated rig the resistance rises with the dust by a part of the
// clean one's an hour, and taking the load off, which lowers the drop by 40 %, moves it by
// less than 15 % (the bed's unrest); a torn filter falls well below clean, a clogged one rises.
func TestRig(t *testing.T) {
	for seed := range uint64(10) {
		early, late := times(read(t, rig(t, seed, ""), 20*time.Minute)), times(read(t, rig(t, seed, ""), 70*time.Minute))
		if !(math.Abs(early-1) < 0.15 && late-early > 0.1 && late-early < 1) {
			t.Errorf("seed %d: resistance %.2f early, %.2f late", seed, early, late)
		}
		r := rig(t, seed, "")
		drop := r.FilterDrop(dawn.Add(79*time.Minute)) / r.FilterDrop(dawn.Add(71*time.Minute))
		loaded, idle := times(read(t, rig(t, seed, ""), 71*time.Minute)), times(read(t, rig(t, seed, ""), 79*time.Minute))
		if drop > 0.65 || math.Abs(idle/loaded-1) > 0.15 {
			t.Errorf("seed %d: unloaded, the drop is %.2f and the resistance %.2f times what it was", seed, drop, idle/loaded)
		}
		before := times(read(t, rig(t, seed, ""), 52*time.Minute))
		if hole := times(read(t, rig(t, seed, "filter-hole"), 52*time.Minute)); !(hole < 0.6*before) {
			t.Errorf("seed %d: resistance %.2f with a hole, %.2f without", seed, hole, before)
		}
		if clog := times(read(t, rig(t, seed, "filter-clog"), 54*time.Minute)); !(clog > 1.5*before) {
			t.Errorf("seed %d: resistance %.2f clogged, %.2f before", seed, clog, before)
		}
		if stop := read(t, rig(t, seed, ""), 85*time.Minute); stop.Status != sensors.Unknown || !math.IsNaN(stop.Value) {
			t.Errorf("seed %d: %v %v after the stop", seed, stop.Status, stop.Value)
		}
	}
}

// On the simulated rig a filter that was cleaned before the run is learned when
// the engine draws through it, not while the blower does, and an hour's charcoal
// shows how much more it bears.
func TestRigTrend(t *testing.T) {
	for seed := range uint64(4) {
		r := rig(t, seed, "")
		l, err := filter.New(filter.Opts{})
		if err != nil {
			t.Fatal(err)
		}
		trend := filter.NewTrend()
		l.Cleaned()
		trend.Cleaned(dawn)
		full := r.CharcoalLeft(dawn)
		var burnt float64
		var learned time.Duration
		var got []sensors.Reading
		for at := time.Duration(0); at < 80*time.Minute; at += 100 * time.Millisecond {
			now := dawn.Add(at)
			drop := sensors.Reading{At: now, Value: r.FilterDrop(now), Uncertainty: 5, Status: sensors.Good}
			suction := sensors.Reading{At: now, Value: r.Suction(now), Status: sensors.Good}
			left := r.CharcoalLeft(now)
			burnt += max(0, full-left)
			full = left
			kg := sensors.Reading{At: now, Value: burnt, Status: sensors.Good}
			rate := sensors.Reading{At: now, Value: 1.6, Status: sensors.Good}
			loading := l.Step(now, filter.Inputs{Drop: &drop, Suction: &suction})
			if loading.Status == sensors.Good && learned == 0 {
				learned = at
				if math.Abs(loading.Value) > 15 || drop.Value < 60 {
					t.Errorf("seed %d: learned at %v and %.0f Pa: %.1f %%", seed, at, drop.Value, loading.Value)
				}
			}
			trend.Step(now, &loading, &kg, &rate)
			got = trend.Readings(got[:0])
		}
		if mass, left := got[0], got[1]; learned == 0 || mass.Status != sensors.Good || mass.Value < 2 || mass.Value > 8 || mass.Uncertainty > mass.Value || left.Status != sensors.Good {
			t.Errorf("seed %d: learned at %v; %+v", seed, learned, got)
		}
	}
}
