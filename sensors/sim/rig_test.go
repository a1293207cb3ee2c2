package sim

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"
)

const seeds = 20

var dawn = time.Date(2026, 6, 1, 14, 0, 0, 0, time.UTC)

// watch asks a rig once a second from one rig time to another.
func watch(from, to time.Duration, f func(at time.Duration, now time.Time)) {
	for at := from; at <= to; at += time.Second {
		f(at, dawn.Add(at))
	}
}

// What the default run may not exceed, so that a fault-free demo raises no
// alarm: the suggested starting limits of a bare carbon-steel rig (common
// practice, no source) and short-term CO limits of 25 ppm for a minute.
func TestFaultFreeRun(t *testing.T) {
	for seed := range uint64(seeds) {
		r := NewRig(dawn, DefaultPlan(), seed)
		var above, puffs time.Duration
		watch(0, 95*time.Minute, func(at time.Duration, now time.Time) {
			if r.CO(now) > 25 {
				above += time.Second
				puffs += time.Second
			} else {
				above = 0
			}
			if r.WallNear(now) > 480 || r.WallFar(now) > 480 || r.FilterIn(now) > 60 || r.FilterDrop(now) > 250 || r.CO(now) > 100 || above >= time.Minute {
				t.Fatalf("seed %d at %s: wall %.0f, filter in %.0f, drop %.0f, CO %.0f for %s",
					seed, at, r.WallNear(now), r.FilterIn(now), r.FilterDrop(now), r.CO(now), above)
			}
		})
		if puffs == 0 {
			t.Errorf("seed %d: no puff of CO at start or stop", seed)
		}
	}
}

// What rigs of this size are expected to show in a steady run: common practice,
// no source; speed of a 3000 rpm governor with 6 % droop.
func TestSteadyRun(t *testing.T) {
	for seed := range uint64(seeds) {
		r := NewRig(dawn, DefaultPlan(), seed)
		in := func(at time.Duration, what string, v, lo, hi float64) {
			if !(v >= lo && v <= hi) {
				t.Errorf("seed %d at %s: %s %.1f, want %g..%g", seed, at, what, v, lo, hi)
			}
		}
		for at := 30 * time.Minute; at <= 70*time.Minute; at += 20 * time.Second {
			now := dawn.Add(at)
			in(at, "wall near", r.WallNear(now), 425, 480)
			in(at, "wall far", r.WallFar(now), 300, 380)
			in(at, "gas out", r.GasOut(now), 250, 400)
			in(at, "filter in", r.FilterIn(now), 35, 55)
			in(at, "filter out below in", r.FilterIn(now)-r.FilterOut(now), 1, 15)
			in(at, "suction", r.Suction(now), 300, 900)
			in(at, "filter drop", r.FilterDrop(now), 100, 240)
			in(at, "speed", r.Speed(now), 2900, 3100)
			in(at, "CO", r.CO(now), 0, 12)
			in(at, "return line", r.ReturnLine(now), 80, 200)
			in(at, "supply", r.Supply(now), 13, 14.4)
			in(at, "air", r.AirTemp(now), 10, 30)
			in(at, "air pressure", r.AirPressure(now), 95000, 105000)
			in(at, "air humidity", r.AirHumidity(now), 0.2, 0.9)
		}
		r = NewRig(dawn, DefaultPlan(), seed)
		clean, loaded := r.FilterDrop(dawn.Add(19*time.Minute)), r.FilterDrop(dawn.Add(65*time.Minute)) // at one load
		in(19*time.Minute, "clean drop", clean, 100, 150)
		in(65*time.Minute, "drop gained", loaded-clean, 20, 100)
	}
}

// Fuel and heat: never more charcoal, never less dust; kg per kWh at the shaft
// between the best that is published for a small engine (0.74, Homdoung et al. 2015, abstract)
// and that of a lossy hearth with much return (1.4, computed).
func TestConservation(t *testing.T) {
	for seed := range uint64(5) {
		r := NewRig(dawn, DefaultPlan(), seed)
		charcoal, dust, joules, before := 6.0, 0.0, 0.0, 0.0
		watch(0, 90*time.Minute, func(at time.Duration, now time.Time) {
			left := r.CharcoalLeft(now)
			if left > charcoal || r.machine.dust < dust {
				t.Fatalf("seed %d at %s: charcoal %g after %g, dust %g after %g", seed, at, left, charcoal, r.machine.dust, dust)
			}
			charcoal, dust = left, r.machine.dust
			if at == 12*time.Minute {
				before = left
			}
			joules += r.machine.set[Load] * math.Pow(r.Speed(now)/3000, 3)
		})
		if perKWh := (before - charcoal) / (joules / 3.6e6); perKWh < 0.74 || perKWh > 1.4 {
			t.Errorf("seed %d: %.2f kg/kWh", seed, perKWh)
		}
	}
}

// Nozzle and bed take the square of the flow, the filter its first power: from
// idle to load, suction rises as the square of the drop.
func TestFlowLaws(t *testing.T) {
	for seed := range uint64(seeds) {
		r := NewRig(dawn, DefaultPlan(), seed)
		idle, load := dawn.Add(12*time.Minute), dawn.Add(19*time.Minute)
		drop := r.FilterDrop(load) / r.FilterDrop(idle)
		suction := r.Suction(load) / r.Suction(idle)
		if rel := suction / (drop * drop); drop < 1.5 || rel < 0.6 || rel > 1.2 {
			t.Errorf("seed %d: drop times %.2f, suction times %.2f", seed, drop, suction)
		}
	}
}

func TestStop(t *testing.T) {
	r := NewRig(dawn, DefaultPlan(), 5)
	last := math.Inf(1)
	watch(81*time.Minute, 120*time.Minute, func(at time.Duration, now time.Time) {
		if w := r.WallNear(now); w > last {
			t.Fatalf("at %s the wall rises: %g after %g", at, w, last)
		} else {
			last = w
		}
		if r.Speed(now) != 0 || r.Suction(now) > 0 || r.FilterDrop(now) != 0 {
			t.Fatalf("at %s: speed %g, suction %g, drop %g", at, r.Speed(now), r.Suction(now), r.FilterDrop(now))
		}
	})
	if w := NewRig(dawn, DefaultPlan(), 5).WallNear(dawn.Add(90 * time.Minute)); w < 100 {
		t.Errorf("wall %g ten minutes after the stop: it cannot be cold", w)
	}
}

// every lists what a rig can be asked.
func every(r *Rig) []func(time.Time) float64 {
	return []func(time.Time) float64{
		r.WallNear, r.WallFar, r.GasOut, r.FilterIn, r.FilterOut, r.ReturnLine, r.Suction, r.FilterDrop,
		r.CO, r.Speed, r.Supply, r.AirTemp, r.AirPressure, r.AirHumidity, r.CharcoalLeft,
		r.GasFlow, r.EngineFlow, r.FilterLoad, r.BedExit, r.Strength, r.ReturnShare,
	}
}

// The same seed gives the same numbers, whatever is asked and in what order.
func TestDeterminism(t *testing.T) {
	a, b, other := NewRig(dawn, DefaultPlan(), 9), NewRig(dawn, DefaultPlan(), 9), NewRig(dawn, DefaultPlan(), 10)
	var times []time.Time
	for at := 60 * time.Minute; at < 90*time.Minute; at += 7777 * time.Millisecond {
		times = append(times, dawn.Add(at))
	}
	b.WallNear(dawn.Add(91 * time.Minute)) // b looks back, a does not
	differ := false
	for _, now := range times {
		for i := range every(a) {
			if got, want := every(b)[i](now), every(a)[i](now); got != want {
				t.Fatalf("quantity %d at %s: %g and %g", i, now.Sub(dawn), got, want)
			}
			differ = differ || every(a)[i](now) != every(other)[i](now)
		}
	}
	if !differ {
		t.Error("two seeds, one run")
	}
	if !slices.Equal(a.Happening(times[100]), b.Happening(times[100])) {
		t.Error("one seed, two stories")
	}
}

// A rig that starts again is a new one, whatever it went through before.
func TestRestart(t *testing.T) {
	r := NewRig(dawn, DayPlan(), 3)
	if err := r.Inject("wall-hot", 10*time.Minute); err != nil {
		t.Fatal(err)
	}
	if err := r.Inject("filter-hole", 70*time.Minute); err != nil { // still to come when the new one starts
		t.Fatal(err)
	}
	r.WallNear(dawn.Add(time.Hour))
	later := dawn.Add(24 * time.Hour)
	r.Restart(later, DefaultPlan(), 7)
	fresh := NewRig(later, DefaultPlan(), 7)
	for at := time.Duration(0); at < 2*time.Hour; at += 17 * time.Second {
		for i, f := range every(r) {
			if got, want := f(later.Add(at)), every(fresh)[i](later.Add(at)); got != want {
				t.Fatalf("quantity %d at %s: %g, a new rig has %g", i, at, got, want)
			}
		}
	}
	if got, want := r.Happening(later.Add(2*time.Hour)), fresh.Happening(later.Add(2*time.Hour)); !slices.Equal(got, want) {
		t.Errorf("told %v, a new rig tells %v", got, want)
	}
}

// Nothing ever stops being a number, whatever the seed, the plan and the faults.
func TestAlwaysNumbers(t *testing.T) {
	for seed := range uint64(30) {
		rng := rand.New(rand.NewPCG(seed, 1))
		plan := Plan{Charcoal: 8 * rng.Float64(), Moisture: 0.5 * rng.Float64()}
		for range 40 {
			c := Control(rng.IntN(int(controls)))
			to := rng.Float64()
			if c == Load {
				to *= 6000
			}
			plan.Acts = append(plan.Acts, Act{At: time.Duration(rng.Int64N(int64(2 * time.Hour))), Control: c, To: to})
		}
		r := NewRig(dawn, plan, seed)
		for _, f := range FaultNames() {
			if rng.IntN(2) == 0 {
				if err := r.Inject(f.Name, time.Duration(rng.Int64N(int64(time.Hour)))); err != nil {
					t.Fatal(err)
				}
			}
		}
		for at := time.Duration(0); at < 2*time.Hour; at += 5 * time.Second {
			for i, f := range every(r) {
				if v := f(dawn.Add(at)); math.IsNaN(v) || math.Abs(v) > 1e7 {
					t.Fatalf("seed %d, quantity %d at %s: %g", seed, i, at, v)
				}
			}
			if h := r.machine.hearth; h > 2012 { // adiabatic limit of carbon in air
				t.Fatalf("seed %d at %s: hearth %g", seed, at, h)
			}
		}
	}
}

func TestOutsideTheRun(t *testing.T) {
	r := NewRig(dawn, DefaultPlan(), 2)
	if a, b := r.WallNear(dawn.Add(-time.Hour)), r.WallNear(dawn); a != b {
		t.Errorf("before the start %g, at the start %g", a, b)
	}
	if len(r.Happening(dawn.Add(-time.Second))) != 0 {
		t.Error("something happened before the start")
	}
	end := r.WallNear(dawn.Add(rigLimit))
	if a := r.WallNear(dawn.Add(1000 * time.Hour)); a != end {
		t.Errorf("long after the end %g, want %g", a, end)
	}
	if a := r.AirTemp(dawn); math.IsNaN(a) || a < 0 {
		t.Errorf("long forgotten: %g", a)
	}
}

func TestRigConcurrentUse(t *testing.T) {
	r := NewRig(dawn, DefaultPlan(), 1)
	var all sync.WaitGroup
	for i, f := range every(r) {
		all.Go(func() {
			for at := range 300 {
				f(dawn.Add(time.Duration(at*(i+1)) * time.Second))
			}
			r.Happening(dawn.Add(time.Minute))
			if err := r.Inject("filter-hole", time.Hour); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
}

// BenchmarkRig takes one rig second of a steady run.
func BenchmarkRig(b *testing.B) {
	r := NewRig(dawn, Plan{Charcoal: 1e6, Acts: DefaultPlan().Acts[:10]}, 1)
	b.ReportAllocs()
	limit := int(rigLimit / time.Second)
	for i := 0; b.Loop(); i++ {
		if i == limit {
			b.StopTimer()
			r, i = NewRig(dawn, Plan{Charcoal: 1e6, Acts: DefaultPlan().Acts[:10]}, 1), 0
			b.StartTimer()
		}
		r.WallNear(dawn.Add(time.Duration(i) * time.Second))
	}
}
