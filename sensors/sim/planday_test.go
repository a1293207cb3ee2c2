package sim

import (
	"testing"
	"time"
)

// A day's work: within what a fault-free rig may show, two refuellings, the
// filter loaded to about 80 % of the way to three times clean, cold at the end.
func TestDayPlan(t *testing.T) {
	for seed := range uint64(3) {
		r := NewRig(dawn, DayPlan(), seed)
		fills, last := 0, 6.0
		var coAbove time.Duration
		var load float64
		for at := time.Duration(0); at <= 14*time.Hour; at += 5 * time.Second {
			now := dawn.Add(at)
			left := r.CharcoalLeft(now)
			if left > last+1 {
				fills++
			}
			last = left
			if left < 1.5 || left > 8 {
				t.Fatalf("seed %d at %s: %.1f kg", seed, at, left)
			}
			coAbove += 5 * time.Second
			if r.CO(now) <= 25 {
				coAbove = 0
			}
			if r.WallNear(now) > 480 || r.FilterIn(now) > 60 || r.FilterDrop(now) > 350 || coAbove > 45*time.Second || r.CO(now) > 150 {
				t.Fatalf("seed %d at %s: wall %.0f, filter in %.0f, drop %.0f, CO %.0f", seed, at, r.WallNear(now), r.FilterIn(now), r.FilterDrop(now), r.CO(now))
			}
			if at > 13*time.Minute && at < 6*time.Hour && r.Speed(now) < 2850 {
				t.Fatalf("seed %d at %s: %.0f rpm", seed, at, r.Speed(now))
			}
			if at == 6*time.Hour {
				load = r.FilterLoad(now)
			}
		}
		end := dawn.Add(14 * time.Hour)
		if fills != 2 || load < 2.2 || load > 3 || r.WallFar(end) > 60 {
			t.Errorf("seed %d: %d refuellings, filter %.2f times clean, far wall %.0f degC at the end", seed, fills, load, r.WallFar(end))
		}
		if start := NewRig(dawn, DayPlan(), seed).FilterLoad(dawn); start > 1.01 {
			t.Errorf("seed %d: filter %.3f times clean at the start", seed, start)
		}
	}
}

// With the lid off for a refuelling the suction is gone and a puff comes out;
// a minute later all is back.
func TestFill(t *testing.T) {
	r := NewRig(dawn, DayPlan(), 2)
	before, open, shut := dawn.Add(119*time.Minute+30*time.Second), dawn.Add(2*time.Hour+40*time.Second), dawn.Add(2*time.Hour+150*time.Second)
	if a, b, c := r.Suction(before), r.Suction(open), r.Suction(shut); b > 0.25*a || c < 0.4*a {
		t.Errorf("suction %.0f, %.0f, %.0f Pa", a, b, c)
	}
	if puff := r.CO(dawn.Add(2*time.Hour + 10*time.Second)); puff < 20 {
		t.Errorf("CO %.0f ppm", puff)
	}
	full := NewRig(dawn, Plan{Charcoal: 6, Hopper: 8, Acts: []Act{{time.Second, Fill, 5, ""}}}, 2)
	if kg := full.CharcoalLeft(dawn.Add(5 * time.Second)); kg != 8 {
		t.Errorf("%.1f kg in a hopper of 8", kg)
	}
}

// A shut rig cools by its shells alone; a leak slows it, an opening keeps the
// fire in: the draught brings as much heat as the shells lose.
func TestCooling(t *testing.T) {
	far := func(fault string, at time.Duration) float64 {
		r := NewRig(dawn, DefaultPlan(), 3)
		if fault != "" {
			if err := r.Inject(fault, 70*time.Minute); err != nil {
				t.Fatal(err)
			}
		}
		return r.WallFar(dawn.Add(at))
	}
	const late = 3 * time.Hour
	tight, seal, open := far("", late), far("seal-leak", late), far("return-left-open", late)
	if !(tight < 100 && seal > tight+15 && open > 180) {
		t.Errorf("far wall after 100 min: %.0f shut, %.0f with a bad gasket, %.0f with the return open", tight, seal, open)
	}
	if a, b := far("return-left-open", late), far("return-left-open", late+time.Hour); a-b > 15 {
		t.Errorf("no plateau: %.0f, an hour later %.0f", a, b)
	}
	forgotten := DefaultPlan()
	for i, a := range forgotten.Acts {
		if a.Control == Seal {
			forgotten.Acts[i].Control = Word
		}
	}
	if w := NewRig(dawn, forgotten, 3).WallFar(dawn.Add(late)); w < 180 {
		t.Errorf("far wall of a rig that nobody shut: %.0f", w)
	}
}
