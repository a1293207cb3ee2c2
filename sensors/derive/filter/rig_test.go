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
	l, err := filter.New("", filter.Clean{Drop: r.FilterDrop(ref), Suction: r.Suction(ref)})
	if err != nil {
		t.Fatal(err)
	}
	var got sensors.Reading
	for at := until - time.Minute; at <= until; at += 100 * time.Millisecond {
		now := dawn.Add(at)
		drop := sensors.Reading{At: now, Value: r.FilterDrop(now), Status: sensors.Good}
		suction := sensors.Reading{At: now, Value: r.Suction(now), Status: sensors.Good}
		got = l.Step(now, &drop, &suction)
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

// On the simulated rig the loading rises with the dust by a part of 1 an hour,
// and taking the load off, which lowers the drop by 40 %, moves it by less than
// 15 % (the bed's unrest); a torn filter falls well below clean, a clogged one rises.
func TestRig(t *testing.T) {
	for seed := range uint64(10) {
		early, late := read(t, rig(t, seed, ""), 20*time.Minute).Value, read(t, rig(t, seed, ""), 70*time.Minute).Value
		if !(math.Abs(early-1) < 0.15 && late-early > 0.1 && late-early < 1) {
			t.Errorf("seed %d: loading %.2f early, %.2f late", seed, early, late)
		}
		r := rig(t, seed, "")
		drop := r.FilterDrop(dawn.Add(79*time.Minute)) / r.FilterDrop(dawn.Add(71*time.Minute))
		loaded, idle := read(t, rig(t, seed, ""), 71*time.Minute).Value, read(t, rig(t, seed, ""), 79*time.Minute).Value
		if drop > 0.65 || math.Abs(idle/loaded-1) > 0.15 {
			t.Errorf("seed %d: unloaded, the drop is %.2f and the loading %.2f times what it was", seed, drop, idle/loaded)
		}
		before := read(t, rig(t, seed, ""), 52*time.Minute).Value
		if hole := read(t, rig(t, seed, "filter-hole"), 52*time.Minute).Value; !(hole < 0.6*before) {
			t.Errorf("seed %d: loading %.2f with a hole, %.2f without", seed, hole, before)
		}
		if clog := read(t, rig(t, seed, "filter-clog"), 54*time.Minute).Value; !(clog > 1.5*before) {
			t.Errorf("seed %d: loading %.2f clogged, %.2f before", seed, clog, before)
		}
		if stop := read(t, rig(t, seed, ""), 85*time.Minute); stop.Status != sensors.Unknown || !math.IsNaN(stop.Value) {
			t.Errorf("seed %d: %v %v after the stop", seed, stop.Status, stop.Value)
		}
	}
}
