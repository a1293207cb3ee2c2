package phase_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
	"charwarden/sensors/sim"
)

var dawn = time.Date(2026, 6, 1, 14, 0, 0, 0, time.UTC)

// rig feeds a Finder from the simulated rig, with sensors left out and gaps.
type rig struct {
	*sim.Rig
	speed, near, far, gas, suction sensors.Reading
	in                             phase.Inputs
	gaps                           *rand.Rand // nil: none
	until                          [5]time.Time
}

func newRig(seed uint64) *rig {
	r := &rig{Rig: sim.NewRig(dawn, sim.DefaultPlan(), seed)}
	r.in = phase.Inputs{Speed: &r.speed, Walls: []*sensors.Reading{&r.near, &r.far}, GasOut: &r.gas, Suction: &r.suction}
	return r
}

var errGap = errors.New("gap")

// show takes the readings at now. A gap begins about every 3 min on each input
// and lasts up to 40 s; besides, one reading in ten is missed.
func (r *rig) show(now time.Time) phase.Inputs {
	for i, c := range []struct {
		to *sensors.Reading
		of func(time.Time) float64
	}{{&r.speed, r.Speed}, {&r.near, r.WallNear}, {&r.far, r.WallFar}, {&r.gas, r.GasOut}, {&r.suction, r.Suction}} {
		v := c.of(now)
		*c.to = sensors.Reading{At: now, Value: v, Raw: v, Status: sensors.Good}
		if r.gaps == nil {
			continue
		}
		if r.gaps.IntN(1800) == 0 {
			r.until[i] = now.Add(time.Duration(r.gaps.Int64N(int64(40 * time.Second))))
		}
		if now.Before(r.until[i]) || r.gaps.IntN(10) == 0 {
			*c.to = sensors.Bad("", now, sensors.NoAnswer, errGap)
		}
	}
	return r.in
}

type change struct {
	to phase.Phase
	at time.Duration
}

func (r *rig) run(t *testing.T, lasts time.Duration) []change {
	f, err := phase.New(phase.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	var all []change
	for at := time.Duration(0); at <= lasts; at += 100 * time.Millisecond {
		now := dawn.Add(at)
		if p := f.Step(now, r.show(now)); len(all) == 0 || all[len(all)-1].to != p {
			all = append(all, change{p, at})
		}
	}
	return all
}

// act is when the plan moves a control to a value.
func act(t *testing.T, c sim.Control, to float64) time.Duration {
	for _, a := range sim.DefaultPlan().Acts {
		if a.Control == c && a.To == to {
			return a.At
		}
	}
	t.Fatal("the plan has changed")
	return 0
}

// The default run passes every phase once, each within its time after what the
// operator does: lighting after the blower, warming after the engine is
// started, running 2 min later, stopping after it has run out (about 20 s),
// sealed 2 min after that. Gaps may add their own length to each.
func TestDefaultRun(t *testing.T) {
	blower, start, off := act(t, sim.Blower, 1), act(t, sim.Engine, 1), act(t, sim.Engine, 0)
	want := []struct {
		phase.Phase
		after, within time.Duration
	}{
		{phase.Cold, 0, 0},
		{phase.Lighting, blower, 12 * time.Second},
		{phase.Warming, start, 6 * time.Second},
		{phase.Running, start + 2*time.Minute, 6 * time.Second},
		{phase.Stopping, off, 35 * time.Second},
		{phase.Sealed, off + 2*time.Minute, 35 * time.Second},
	}
	for seed := range uint64(5) {
		for _, gaps := range []bool{false, true} {
			name, more := fmt.Sprintf("seed %d", seed), time.Duration(0)
			r := newRig(seed)
			if gaps {
				name += " with gaps"
				r.gaps = rand.New(rand.NewPCG(seed, 2))
				more = time.Minute
			}
			got := r.run(t, 90*time.Minute)
			if len(got) != len(want) {
				t.Errorf("%s: %v", name, got)
				continue
			}
			for i, w := range want {
				if late := got[i].at - w.after; got[i].to != w.Phase || late < 0 || late > w.within+more {
					t.Errorf("%s: %v, want %v within %v of %v", name, got[i], w.Phase, w.within+more, w.after)
				}
			}
		}
	}
}

// A rig with fewer sensors passes the same phases, some of them later.
func TestFewerSensors(t *testing.T) {
	all := []phase.Phase{phase.Cold, phase.Lighting, phase.Warming, phase.Running, phase.Stopping, phase.Sealed, phase.Cold}
	for _, c := range []struct {
		name  string
		leave func(*phase.Inputs)
		want  []phase.Phase
	}{
		{"all", func(*phase.Inputs) {}, all},
		{"no tacho", func(in *phase.Inputs) { in.Speed = nil }, all},
		{"no suction", func(in *phase.Inputs) { in.Suction = nil }, all},
		{"one wall", func(in *phase.Inputs) { in.Walls, in.GasOut = in.Walls[:1], nil }, all},
		{"temperatures only", func(in *phase.Inputs) { in.Speed, in.Suction = nil, nil }, all},
		{"no thermometer", func(in *phase.Inputs) { in.Walls, in.GasOut = nil, nil }, all[:6]},
	} {
		r := newRig(3)
		c.leave(&r.in)
		got := r.run(t, 5*time.Hour)
		var phases []phase.Phase
		for _, g := range got {
			phases = append(phases, g.to)
		}
		if !slices.Equal(phases, c.want) {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// Faults of the rig end in the phase that they end in, and an engine that dies
// of an empty hopper has stopped.
func TestFaults(t *testing.T) {
	for _, f := range sim.FaultNames() {
		r := newRig(1)
		if err := r.Inject(f.Name, 30*time.Minute); err != nil {
			t.Fatal(err)
		}
		got := r.run(t, 79*time.Minute)
		want := phase.Running
		if r.Speed(dawn.Add(79*time.Minute)) < 100 {
			want = phase.Sealed
		}
		if last := got[len(got)-1].to; len(got) > 6 || last != want {
			t.Errorf("%s: %v, want %v at the end", f.Name, got, want)
		}
	}
}
