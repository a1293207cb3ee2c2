package main

import (
	"context"
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"charwarden/alarms"
	"charwarden/cmd/internal/siren"
	"charwarden/config"
	"charwarden/sensors"
)

// hornRig is the reference rig with a run permit, cold and at rest, whose
// readings a test puts into the loop's queue itself, tick by tick.
type hornRig struct {
	*benchRig
	t         *testing.T
	co, speed float64 // ppm, rpm
	n         int
	stop      func()
}

// newHornRig keeps its state in dir; "" is a directory of the test.
func newHornRig(t *testing.T, dir string) *hornRig {
	t.Helper()
	h := &hornRig{t: t}
	h.benchRig = newBenchRig(t, func(c *config.Config) {
		c.Outputs.RunPermit = "GPIO12"
		if dir != "" {
			c.State = dir
		}
	})
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- h.loop.state.Run(ctx) }()
	h.stop = func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
	return h
}

// tick is one tick with a fresh reading of every channel.
func (h *hornRig) tick() {
	h.t.Helper()
	time.Sleep(h.cfg.Tick)
	now := time.Now()
	h.n++
	for _, c := range h.cfg.Channels {
		v := 20 + float64(h.n%7)/100 // moves a little, as all things do
		switch {
		case c.Quantity == sensors.CO:
			v = h.co
		case c.Quantity == sensors.Speed:
			v = h.speed
		case c.Quantity == sensors.Pressure:
			v -= 20
		case c.Quantity == sensors.Voltage:
			v -= 15
		}
		h.rig.in <- sensors.Reading{Channel: c.Name, At: now, Value: v, Raw: v, Cold: 20, Status: sensors.Good}
	}
	h.loop.step(now)
}

func (h *hornRig) pass(d time.Duration) {
	h.t.Helper()
	for end := time.Now().Add(d); time.Now().Before(end); {
		h.tick()
	}
}

func (h *hornRig) horn() bool {
	l, _ := h.sim.board.Output(h.cfg.Outputs.Horn)
	return bool(l)
}

// sounds reports whether the horn is heard within the next 10 s: longer than
// the quiet of any signal.
func (h *hornRig) sounds() (any bool) {
	for end := time.Now().Add(10 * time.Second); time.Now().Before(end); h.tick() {
		any = any || h.horn()
	}
	return any
}

func (h *hornRig) edges(pin string) int {
	_, n := h.sim.board.Output(pin)
	return n
}

func (h *hornRig) alarm(name string) alarms.Alarm {
	h.t.Helper()
	all := h.core().engine.Alarms(nil)
	i := slices.IndexFunc(all, func(a alarms.Alarm) bool { return a.Rule.Name == name })
	if i < 0 {
		h.t.Fatalf("no alarm %s", name)
	}
	return all[i]
}

func (h *hornRig) core() *core { return h.loop.core }

// do is what the loop does for a person.
func (h *hornRig) do(what string, f func(string, time.Time) (alarms.Transition, error), name string) {
	h.t.Helper()
	tr, err := f(name, time.Now())
	if err != nil {
		h.t.Fatalf("%s %s: %v", what, name, err)
	}
	h.core().made = append(h.core().made, tr)
	h.tick()
}

func (h *hornRig) acknowledge(name string) {
	h.t.Helper()
	h.do("acknowledge", func(name string, now time.Time) (alarms.Transition, error) {
		return h.core().engine.Acknowledge(now, name, 0)
	}, name)
}

func (h *hornRig) reset(name string) {
	h.t.Helper()
	h.do("reset", func(name string, now time.Time) (alarms.Transition, error) {
		return h.core().engine.Reset(now, name)
	}, name)
}

// atRest has everything judged and nothing that sounds.
func (h *hornRig) atRest() {
	h.t.Helper()
	h.pass(30 * time.Second)
	if held, why, fitted := h.core().permitState(); h.sounds() || !held || !fitted {
		for _, a := range h.core().engine.Alarms(nil) {
			if a.State.Standing() {
				h.t.Logf("%s: %v", a.Rule.Name, a.State)
			}
		}
		h.t.Fatalf("at rest: horn %v, permit %v %q", h.horn(), held, why)
	}
}

// NIOSH's ceiling for carbon monoxide is 200 ppm (Pocket Guide to Chemical
// Hazards): at it, in the very next tick, the horn is on and the engine's permit
// has ended.
func TestHornInTheNextTick(t *testing.T) {
	for _, ppm := range []float64{200, 201, 5000} {
		synctest.Test(t, func(t *testing.T) {
			h := newHornRig(t, "")
			defer h.stop()
			h.atRest()
			permit, watch := h.edges("GPIO12"), h.edges(h.cfg.Outputs.WatchPulse)
			h.co = ppm
			h.tick()
			if !h.horn() {
				t.Errorf("%v ppm: the horn is off after the tick", ppm)
			}
			if a := h.alarm("co_evacuate"); a.State != alarms.Unacknowledged || a.Test {
				t.Errorf("%v ppm: co_evacuate is %v, test %v", ppm, a.State, a.Test)
			}
			if p, w := h.edges("GPIO12")-permit, h.edges(h.cfg.Outputs.WatchPulse)-watch; p != 0 || w != 1 {
				t.Errorf("%v ppm: %d edges of the permit and %d of the watch in the tick, want 0 and 1", ppm, p, w)
			}
		})
	}
}

func TestBelowTheCeilingThePermitStays(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHornRig(t, "")
		defer h.stop()
		h.atRest()
		permit := h.edges("GPIO12")
		h.co = 199.9
		h.tick()
		if a := h.alarm("co_evacuate"); a.State != alarms.Normal {
			t.Errorf("co_evacuate is %v", a.State)
		}
		if n := h.edges("GPIO12") - permit; n != 1 {
			t.Errorf("%d edges of the permit in the tick, want 1", n)
		}
	})
}

// One edge a completed tick, on both trains; none of the permit before every
// channel has answered.
func TestPulsesFollowTheTicks(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHornRig(t, "")
		defer h.stop()
		for range 3 { // nothing was read
			time.Sleep(h.cfg.Tick)
			h.loop.step(time.Now())
		}
		if p, w := h.edges("GPIO12"), h.edges(h.cfg.Outputs.WatchPulse); p != 0 || w != 3 {
			t.Errorf("%d edges of the permit and %d of the watch before anything was read, want 0 and 3", p, w)
		}
		h.atRest()
		permit, watch := h.edges("GPIO12"), h.edges(h.cfg.Outputs.WatchPulse)
		for range 1000 {
			h.tick()
		}
		if p, w := h.edges("GPIO12")-permit, h.edges(h.cfg.Outputs.WatchPulse)-watch; p != 1000 || w != 1000 {
			t.Errorf("%d and %d edges in 1000 ticks", p, w)
		}
	})
}

// A trip outlasts its condition, its acknowledgement and its reset.
func TestPermitComesBackByHandOnly(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHornRig(t, "")
		defer h.stop()
		h.atRest()
		h.co = 250
		h.tick()
		lost := h.edges("GPIO12")
		stays := func(what string) {
			t.Helper()
			h.pass(time.Second)
			if n := h.edges("GPIO12"); n != lost {
				t.Errorf("%s: %d edges of a permit that is lost", what, n-lost)
			}
		}
		refused := func(what string) {
			t.Helper()
			if err := h.core().resetPermit(time.Now()); !errors.As(err, new(*siren.StandsError)) {
				t.Errorf("%s: reset of the permit: %v, want it refused", what, err)
			}
			stays(what)
		}
		refused("gas is there")
		h.co = 0
		h.pass(3 * time.Minute)
		refused("gas is gone")
		h.acknowledge("co_evacuate")
		refused("acknowledged")
		h.reset("co_evacuate")
		stays("alarm reset")
		if err := h.core().resetPermit(time.Now()); err != nil {
			t.Fatal(err)
		}
		h.tick()
		if n := h.edges("GPIO12") - lost; n != 1 {
			t.Errorf("%d edges in the tick after the reset, want 1", n)
		}
	})
}
