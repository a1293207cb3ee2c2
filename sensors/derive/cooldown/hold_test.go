package cooldown

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

// hold lets a vessel leak from a start in Pa with a time constant in s, and
// returns the test when it has ended.
func hold(t *testing.T, h *HoldTest, from, tau float64) *HoldTest {
	t.Helper()
	rng := rand.New(rand.NewPCG(2, 2))
	at := func(d time.Duration) *sensors.Reading {
		return &sensors.Reading{At: start.Add(d), Value: from*math.Exp(-d.Seconds()/tau) + 2*rng.NormFloat64(), Status: sensors.Good}
	}
	if err := h.Start(start, at(0)); err != nil {
		t.Fatal(err)
	}
	for d := time.Duration(0); h.Running && d < time.Hour; d += 200 * time.Millisecond {
		h.Step(start.Add(d), at(d))
	}
	if h.Running {
		t.Fatal("it does not end")
	}
	return h
}

// The leak is that at 200 Pa, 60 x 200/tau Pa/min, wherever the test began, and
// with pressure as with suction.
func TestHold(t *testing.T) {
	for _, tau := range []float64{40, 200, 1500} {
		for _, from := range []float64{150, 300, 800, -400} {
			h := hold(t, NewHold(), from, tau)
			if r := h.Reading(start); r.Status != sensors.Good || math.Abs(r.Value/(60*200/tau)-1) > 0.05 {
				t.Errorf("from %g Pa, tau %g s: %v %.1f %v, want %.1f", from, tau, r.Status, r.Value, r.Err, 60*200/tau)
			}
		}
	}
}

func TestHoldVerdict(t *testing.T) {
	h := hold(t, NewHold(), 300, 40)
	if h.Tight || h.Best != 0 || !strings.HasPrefix(h.Verdict(), "LEAKS") {
		t.Errorf("a first one that leaks: %+v %s", h, h.Verdict())
	}
	hold(t, h, 300, 800)
	if !h.Tight || math.Abs(h.Best-15) > 1 || !strings.HasPrefix(h.Verdict(), "Tight") {
		t.Errorf("a tight one: %+v %s", h, h.Verdict())
	}
	hold(t, h, 300, 400)
	if h.Tight || !strings.Contains(h.Verdict(), "best is 15") {
		t.Errorf("twice the best: %s", h.Verdict())
	}
	again := NewHold()
	again.Restore(h.Keep())
	if hold(t, again, 300, 700); !again.Tight {
		t.Errorf("%s", again.Verdict())
	}
	again.Restore(HoldKept{Best: math.NaN(), Ended: start, Leak: math.NaN()})
	again.Restore(HoldKept{Best: -3})
	if !(again.Best > 10) {
		t.Errorf("best %g", again.Best)
	}
}

func TestHoldRefuses(t *testing.T) {
	h := NewHold()
	if r := h.Reading(start); r.Status != sensors.Unknown || !strings.Contains(r.Err.Error(), "charwarden holdtest") {
		t.Errorf("%+v", r)
	}
	good := func(v float64) *sensors.Reading { return &sensors.Reading{Value: v, Status: sensors.Good} }
	bad := sensors.Bad("suction", start, sensors.Unzeroed, nil)
	for _, r := range []*sensors.Reading{nil, &bad, good(99), good(-50)} {
		if err := h.Start(start, r); err == nil || h.Running {
			t.Errorf("%+v begins a test", r)
		}
	}
	if err := h.Start(start, good(300)); err != nil {
		t.Fatal(err)
	}
	if h.Start(start, good(300)) == nil {
		t.Error("a second one beside it")
	}
	h.Step(start.Add(time.Second), good(290))
	h.Step(start.Add(2*time.Second), &bad)
	h.End()
	if r := h.Reading(start); r.Status != sensors.Unknown || !strings.HasPrefix(h.Verdict(), "No result") {
		t.Errorf("after 2 s: %+v %s", r, h.Verdict())
	}
}

// The last result stands after a restart, with its time; one that never was does
// not.
func TestHoldKept(t *testing.T) {
	if k := NewHold().Keep(); k != (HoldKept{}) {
		t.Errorf("%+v of a test that was never made", k)
	}
	h := hold(t, NewHold(), 300, 800)
	h.Ran = true
	again := NewHold()
	again.Restore(h.Keep())
	if again.Leak != h.Leak || !again.Tight || !again.Ran || !again.Ended.Equal(h.Ended) || again.Ended.Before(start) || again.Verdict() != h.Verdict() {
		t.Errorf("%+v, want %+v", again, h)
	}
	if err := again.Start(start, &sensors.Reading{Value: 300, Status: sensors.Good}); err != nil || again.Ran || !again.Ended.IsZero() {
		t.Errorf("%+v %v: a new test begins with nothing", again, err)
	}
	if k := again.Keep(); !k.Ended.IsZero() || k.Best != h.Best {
		t.Errorf("%+v of a test that runs", k)
	}
}
