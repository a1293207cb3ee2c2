package main

import (
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"charwarden/alarms"
)

// bumped begins a bump test with gas of 250 ppm, of which co reaches the cell.
func (h *hornRig) bumped(co float64) {
	h.t.Helper()
	h.atRest()
	if err := h.core().startTest(time.Now(), "co", 250); err != nil {
		h.t.Fatal(err)
	}
	if r, _ := h.core().testState("co"); r.Left != testLength || r.Passed {
		h.t.Errorf("just begun: %+v", r)
	}
	h.co = co
	h.tick()
}

// Test gas sounds like gas, is marked as a test, and stops nothing; once it is
// gone and the test is over everything is as before.
func TestBumpTest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHornRig(t, "")
		defer h.stop()
		h.bumped(250)
		begun := time.Now()
		if !h.horn() {
			t.Error("the horn is off")
		}
		for _, name := range []string{"co_alarm", "co_evacuate"} {
			if a := h.alarm(name); a.State != alarms.Unacknowledged || !a.Test {
				t.Errorf("%s: %v, test %v", name, a.State, a.Test)
			}
		}
		if r, _ := h.core().testState("co"); !r.Running || !r.Passed || r.Peak != 250 {
			t.Errorf("gas is on: %+v", r)
		}
		permit := h.edges("GPIO12")
		for range 300 {
			h.tick()
		}
		if n := h.edges("GPIO12") - permit; n != 300 {
			t.Errorf("%d edges of the permit in 300 ticks", n)
		}
		h.co = 0
		for running := true; running; {
			h.tick()
			r, _ := h.core().testState("co")
			running = r.Running
			if took := time.Since(begun); took > testLength+time.Second {
				t.Fatalf("it runs for %v", took)
			} else if !running && took < testLength-time.Second {
				t.Errorf("it ended after %v", took)
			}
		}
		h.tick()
		if x := h.core().reading("co_bump_age"); x.Status.String() != "good" || x.Value > 1 {
			t.Errorf("co_bump_age: %v %v", x.Status, x.Value)
		}
		for _, a := range h.core().engine.Alarms(nil) {
			if a.Rule.Channel == "co" && a.State != alarms.Normal {
				t.Errorf("%s: %v after the test", a.Rule.Name, a.State)
			}
		}
		if h.sounds() {
			t.Error("the horn sounds after the test")
		}
		if held, why, _ := h.core().permitState(); !held {
			t.Errorf("permit lost: %s", why)
		}
	})
}

// Gas that is still there when the test ends is real from that tick on.
func TestBumpTestHandsOver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHornRig(t, "")
		defer h.stop()
		h.bumped(250)
		seq := h.alarm("co_evacuate").Seq
		for running := true; running; {
			permit := h.edges("GPIO12")
			h.tick()
			r, _ := h.core().testState("co")
			running = r.Running
			want := 0
			if running {
				want = 1
			}
			if n := h.edges("GPIO12") - permit; n != want {
				t.Fatalf("%d edges of the permit in a tick, running %v", n, running)
			}
		}
		if a := h.alarm("co_evacuate"); a.State != alarms.Unacknowledged || a.Test || a.Seq != seq+1 {
			t.Errorf("co_evacuate: %v, test %v, seq %d after %d", a.State, a.Test, a.Seq, seq)
		}
		told := false
		for _, tr := range h.frames[len(h.frames)-1].transitions {
			told = told || tr.Rule.Name == "co_evacuate" && tr.Annunciates() && !tr.Test && tr.At.Equal(h.loop.frame.now)
		}
		if !told {
			t.Error("the outputs were not told of the new occurrence in the tick that ended the test")
		}
		if held, _, _ := h.core().permitState(); held {
			t.Error("the permit is held")
		}
		if !h.sounds() {
			t.Error("the horn is quiet")
		}
	})
}

// A test that does not reach its gas is no test that was passed.
func TestBumpTestFails(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHornRig(t, "")
		defer h.stop()
		h.bumped(150)
		h.co = 0
		h.pass(testLength + time.Second)
		if r, _ := h.core().testState("co"); r.Running || r.Passed || r.Peak != 150 {
			t.Errorf("%+v, want a peak of 150 of the 200 ppm wanted", r)
		}
		if x := h.core().reading("co_bump_age"); x.Status.String() != "unknown" {
			t.Errorf("co_bump_age: %v %v", x.Status, x.Value)
		}
	})
}

// shows wants the newest reading of the CO channel.
func (h *hornRig) shows(want float64) {
	h.t.Helper()
	h.tick()
	if x := h.core().reading("co"); x.Status.String() != "good" || math.Abs(x.Value-want) > 1e-9 {
		h.t.Errorf("co shows %v (%v), want %v", x.Value, x.Status, want)
	}
}

// 8 ppm in clean air are taken off, 50 that should be 60 make a factor of 1.2;
// so 58 at the cell are 60, before a restart and after.
func TestCalibrate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHornRig(t, "")
		h.atRest()
		h.co = 8
		h.pass(31 * time.Second)
		r, err := h.core().calibrate(time.Now(), "co", "zero", 0)
		if err != nil || math.Abs(r.Before-8) > 1e-9 || r.After != 0 || r.Unit != "ppm" {
			t.Fatalf("zero: %+v, %v", r, err)
		}
		h.shows(0)
		if x := h.core().reading("co_zero_age"); x.Status.String() != "good" || x.Value > 1 {
			t.Errorf("co_zero_age: %v %v", x.Status, x.Value)
		}
		h.co = 58
		h.pass(31 * time.Second)
		r, err = h.core().calibrate(time.Now(), "co", "span", 60)
		if err != nil || math.Abs(r.Before-50) > 1e-9 || r.After != 60 {
			t.Fatalf("span: %+v, %v", r, err)
		}
		h.shows(60)
		h.stop()
		again := newHornRig(t, h.cfg.State)
		defer again.stop()
		again.co = 58
		again.shows(60)
		if x := again.core().reading("co_zero_age"); x.Status.String() != "good" || x.Value > 60 {
			t.Errorf("co_zero_age after the restart: %v %v", x.Status, x.Value)
		}
	})
}

func TestCalibrateRefuses(t *testing.T) {
	still := func(co float64) func(*hornRig) {
		return func(h *hornRig) { h.co = co; h.pass(31 * time.Second) }
	}
	for _, c := range []struct {
		what      string
		reference float64
		before    func(*hornRig)
		says      string
	}{
		{"zero", 0, func(h *hornRig) { h.speed = 1500; h.pass(31 * time.Second) }, "stop it first"},
		{"zero", 0, func(h *hornRig) { h.speed = 50; h.pass(31 * time.Second) }, "stop it first"}, // turned by hand
		{"zero", 0, func(h *hornRig) {
			for range 31 {
				h.co = 20 - h.co
				h.pass(time.Second)
			}
		}, "not steady"},
		{"zero", 0, still(26), "would be moved by 26 ppm in all, at most 25"},
		{"zero", 0, still(150), "an alarm of co stands"},
		{"span", 150, still(150), "an alarm of co stands"},
		{"span", 19, still(20), "at least 20"},
		{"span", 50, still(24), "a factor of 2.08"},
		{"span", 20, still(41), "a factor of 0.49"},
		{"span", math.Inf(1), still(24), "at least"},
		{"paint", 50, still(24), "zero or span"},
	} {
		synctest.Test(t, func(t *testing.T) {
			h := newHornRig(t, "")
			defer h.stop()
			h.atRest()
			c.before(h)
			r, err := h.core().calibrate(time.Now(), "co", c.what, c.reference)
			if err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%s at %v: %+v, %v, want %q", c.what, h.co, r, err, c.says)
			}
			h.shows(h.co)
		})
	}
	synctest.Test(t, func(t *testing.T) { // just after the start, or a fault
		h := newHornRig(t, "")
		defer h.stop()
		h.pass(20 * time.Second)
		if _, err := h.core().calibrate(time.Now(), "co", "zero", 0); err == nil || !strings.Contains(err.Error(), "good values for 30s") {
			t.Errorf("after 20 s: %v", err)
		}
	})
}
