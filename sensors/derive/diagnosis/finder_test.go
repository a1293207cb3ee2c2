package diagnosis_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/diagnosis"
	"charwarden/sensors/derive/phase"
	"charwarden/sensors/sim"
)

// Healthy runs, with the reference of earlier ones and without any, name
// nothing above possible for more than a moment.
func TestHealthy(t *testing.T) {
	kept := learned()
	for seed := range uint64(8) {
		for _, reference := range []*diagnosis.Kept{nil, &kept} {
			d := newDrive(200+seed, reference)
			var named time.Duration
			nothing := 0
			d.until(3*time.Hour, func(time.Time, phase.Phase) {
				if g, ok := top(d.f, nil, false); ok && g.Word() > diagnosis.Possible {
					if named += beat; named == 20*time.Second {
						t.Errorf("seed %d, reference %v, %v: %v %v for %v, against %v", seed, reference != nil, d.at, g.Word(), g.Cause, g.For, g.Against)
					}
				}
				if d.f.Verdict() == diagnosis.Nothing {
					nothing++
				}
			})
			if reference != nil && nothing < 7200 {
				t.Errorf("seed %d: all as usual for only %d s of 3 h", seed, nothing/2)
			}
		}
	}
}

// A day of steps of load and two refuellings names the open lid, once it is, and
// nothing else.
func TestHealthyDay(t *testing.T) {
	kept := learned()
	d := newDrive(210, &kept)
	d.rig = sim.NewRig(dawn, sim.DayPlan(), 210)
	d.in.CharcoalLeft = nil // it does not know of the refuelling
	seen := map[diagnosis.Cause]time.Duration{}
	d.until(8*time.Hour, func(time.Time, phase.Phase) {
		if g, ok := top(d.f, nil, false); ok && g.Word() > diagnosis.Possible {
			seen[g.Cause] += beat
		}
	})
	if lid := seen[diagnosis.LidOpen]; lid < 2*time.Minute || lid > 20*time.Minute {
		t.Errorf("lid open for %v, want some minutes after each refuelling", lid)
	}
	delete(seen, diagnosis.LidOpen)
	for c, d := range seen {
		if d > 20*time.Second {
			t.Errorf("%v for %v", c, d)
		}
	}
}

// A finding explains itself, and comes with what to do first.
func TestEvidence(t *testing.T) {
	kept := learned()
	d := newDrive(1, &kept)
	if err := d.rig.Inject("return-stuck", while); err != nil {
		t.Fatal(err)
	}
	d.until(while+12*time.Minute, nil)
	g, ok := top(d.f, nil, false)
	if !ok || g.Cause != diagnosis.ReturnShut {
		t.Fatalf("%+v", g)
	}
	var pro []string
	for _, e := range g.For {
		pro = append(pro, e.String())
	}
	all := strings.Join(pro, "; ")
	for _, want := range []string{"return line", "degC colder than at this load", "near wall"} {
		if !strings.Contains(all, want) {
			t.Errorf("%q: no %q", all, want)
		}
	}
	if g.First == "" || g.Since.Before(dawn.Add(while)) || g.Since.After(dawn.Add(while+8*time.Minute)) {
		t.Errorf("first %q, since %v", g.First, g.Since)
	}
}

var errGone = errors.New("gone")

// A channel that is lost takes back nothing, and what was last known is told as
// that.
func TestLostChannel(t *testing.T) {
	kept := learned()
	d := newDrive(2, &kept)
	if err := d.rig.Inject("filter-hole", while); err != nil {
		t.Fatal(err)
	}
	d.until(while+6*time.Minute, nil)
	before, _ := top(d.f, nil, false)
	gone := sensors.Bad("", dawn, sensors.NoAnswer, errGone)
	d.in.FilterDrop = &gone
	d.until(while+12*time.Minute, nil)
	g, ok := top(d.f, nil, false)
	if !ok || g.Cause != diagnosis.FilterHole || g.Word() < before.Word() {
		t.Errorf("%v, then %v", before, g)
	}
	if !slices.ContainsFunc(g.For, func(e diagnosis.Evidence) bool { return strings.HasSuffix(e.String(), "when last known") }) {
		t.Errorf("%v", g.For)
	}
}

// Without a tacho, without walls, without CO, and so on, a hole is still found
// and a healthy rig is still well; with nothing fitted nothing is told.
func TestFewerChannels(t *testing.T) {
	for _, c := range []struct {
		name  string
		leave func(*diagnosis.Inputs)
	}{
		{"no tacho", func(in *diagnosis.Inputs) { in.Speed = nil }},
		{"no walls", func(in *diagnosis.Inputs) { in.WallNear, in.WallFar = nil, nil }},
		{"no air, no carbon monoxide", func(in *diagnosis.Inputs) { in.AirTemp, in.CO = nil, nil }},
	} {
		var kept diagnosis.Kept
		for _, fault := range []string{"", "", "filter-hole"} {
			d := newDrive(4, &kept)
			c.leave(&d.in)
			if fault == "" {
				d.until(95*time.Minute, nil)
				kept = d.f.Keep()
				if g, ok := top(d.f, nil, false); ok && g.Word() > diagnosis.Possible {
					t.Errorf("%s: well, and %v", c.name, g)
				}
				continue
			}
			if err := d.rig.Inject(fault, while); err != nil {
				t.Fatal(err)
			}
			d.until(while+8*time.Minute, nil)
			if g, ok := top(d.f, nil, false); !ok || g.Cause != diagnosis.FilterHole {
				t.Errorf("%s: %v, %+v", c.name, d.f.Verdict(), g)
			}
		}
	}
	d := newDrive(4, nil)
	d.in = diagnosis.Inputs{}
	d.until(50*time.Minute, nil)
	if v := d.f.Verdict(); v != diagnosis.NotEnough {
		t.Errorf("nothing fitted: %v", v)
	}
}

func TestStepDoesNotAllocate(t *testing.T) {
	kept := learned()
	d := newDrive(3, &kept)
	d.until(50*time.Minute, nil)
	now := dawn.Add(d.at)
	if n := testing.AllocsPerRun(500, func() {
		now = now.Add(100 * time.Millisecond)
		d.f.Step(now, d.in, phase.Running)
	}); n != 0 {
		t.Errorf("%g allocations a step", n)
	}
}

func BenchmarkStep(b *testing.B) {
	kept := learned()
	d := newDrive(3, &kept)
	d.until(50*time.Minute, nil)
	now := dawn.Add(d.at)
	for b.Loop() {
		now = now.Add(100 * time.Millisecond)
		d.f.Step(now, d.in, phase.Running)
	}
}
