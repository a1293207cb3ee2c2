package sim

import (
	"strings"
	"testing"
	"time"
)

// Every fault crosses its limits in its time, over half the seeds.
func TestRigFaults(t *testing.T) {
	begin := 30 * time.Minute
	type limit struct {
		fault, what   string
		crossed       func(r, healthy *Rig, now time.Time) bool
		after, before time.Duration
	}
	for _, l := range []limit{
		{"wall-hot", "wall 650", func(r, _ *Rig, now time.Time) bool { return r.WallNear(now) > 650 }, time.Minute, 6 * time.Minute},
		{"filter-clog", "drop 450", func(r, _ *Rig, now time.Time) bool { return r.FilterDrop(now) > 450 }, 2 * time.Minute, 7 * time.Minute},
		{"co-rise", "25 ppm", func(r, _ *Rig, now time.Time) bool { return r.CO(now) > 25 }, 10 * time.Second, time.Minute},
		{"co-rise", "100 ppm", func(r, _ *Rig, now time.Time) bool { return r.CO(now) > 100 }, time.Minute, 3 * time.Minute},
		{"co-rise", "200 ppm", func(r, _ *Rig, now time.Time) bool { return r.CO(now) > 200 }, 2 * time.Minute, 5 * time.Minute},
		{"filter-hole", "drop below 0.7 of before", func(r, h *Rig, now time.Time) bool { return r.FilterDrop(now) < 0.7*h.FilterDrop(now) }, 0, 2 * time.Second},
		{"hopper-empty", "gas out 450", func(r, _ *Rig, now time.Time) bool { return r.GasOut(now) > 450 }, 30 * time.Second, 6 * time.Minute},
		{"hopper-empty", "engine dead", func(r, _ *Rig, now time.Time) bool { return r.Speed(now) < 300 }, 5 * time.Minute, 25 * time.Minute},
		{"wet-charcoal", "drop 250", func(r, _ *Rig, now time.Time) bool { return r.FilterDrop(now) > 250 }, time.Minute, 12 * time.Minute},
		{"wet-charcoal", "wall 15 degC down", func(r, h *Rig, now time.Time) bool { return r.WallNear(now) < h.WallNear(now)-15 }, 30 * time.Second, 10 * time.Minute},
		{"return-stuck", "return line cold", func(r, _ *Rig, now time.Time) bool { return r.ReturnLine(now) < r.AirTemp(now)+20 }, 30 * time.Second, 3 * time.Minute},
		{"return-stuck", "wall 480", func(r, _ *Rig, now time.Time) bool { return r.WallNear(now) > 480 }, time.Minute, 9 * time.Minute},
	} {
		for seed := range uint64(seeds / 2) {
			r, healthy := NewRig(dawn, DefaultPlan(), seed), NewRig(dawn, DefaultPlan(), seed)
			if err := r.Inject(l.fault, begin); err != nil {
				t.Fatal(err)
			}
			for at := time.Duration(0); ; at += time.Second {
				if now := dawn.Add(begin + at); l.crossed(r, healthy, now) {
					if at < l.after {
						t.Errorf("%s, seed %d: %s after only %s", l.fault, seed, l.what, at)
					}
					break
				}
				if at > l.before {
					t.Errorf("%s, seed %d: no %s within %s", l.fault, seed, l.what, l.before)
					break
				}
			}
		}
	}
}

// A fault does nothing before its time and is told when it begins.
func TestInject(t *testing.T) {
	for _, f := range FaultNames() {
		r, healthy := NewRig(dawn, DefaultPlan(), 4), NewRig(dawn, DefaultPlan(), 4)
		if err := r.Inject(f.Name, 35*time.Minute); err != nil {
			t.Fatal(err)
		}
		now := dawn.Add(35*time.Minute - time.Second)
		for i := range every(r) {
			if every(r)[i](now) != every(healthy)[i](now) {
				t.Errorf("%s: quantity %d moved before the fault", f.Name, i)
			}
		}
		told := r.Happening(dawn.Add(36 * time.Minute))
		if extra := len(told) - len(healthy.Happening(dawn.Add(36*time.Minute))); extra != 1 || told[len(told)-1].At != 35*time.Minute {
			t.Errorf("%s: told %d more, last %+v", f.Name, extra, told[len(told)-1])
		}
		if f.Means == "" {
			t.Errorf("%s: no meaning", f.Name)
		}
	}
	err := NewRig(dawn, DefaultPlan(), 4).Inject("rust", 0)
	if err == nil || !strings.Contains(err.Error(), "wall-hot") {
		t.Errorf("unknown fault: %v, want the allowed ones", err)
	}
}

func TestHappening(t *testing.T) {
	r := NewRig(dawn, DefaultPlan(), 8)
	all := r.Happening(dawn.Add(2 * time.Hour))
	last := time.Duration(0)
	runs := 0
	for _, e := range all {
		if e.At < last || e.Text == "" {
			t.Errorf("%+v after %s", e, last)
		}
		last = e.At
		if e.Text == "engine runs on gas" {
			runs++
		}
	}
	if runs != 1 {
		t.Errorf("the engine started %d times", runs)
	}
	if some := r.Happening(dawn.Add(10 * time.Minute)); len(some) == 0 || len(some) >= len(all) || some[len(some)-1].At > 10*time.Minute {
		t.Errorf("up to 10 min: %d of %d events", len(some), len(all))
	}
	// A stuck valve stays where it is whatever the operator does.
	r = NewRig(dawn, DefaultPlan(), 8)
	if err := r.Inject("return-stuck", 30*time.Minute); err != nil {
		t.Fatal(err)
	}
	if now := dawn.Add(50 * time.Minute); r.ReturnLine(now) > r.AirTemp(now)+5 {
		t.Error("the plugged return opened again")
	}
}
