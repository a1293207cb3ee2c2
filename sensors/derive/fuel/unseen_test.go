package fuel

import (
	"testing"
	"time"

	"charwarden/sensors"
)

// An hour at 2 kg/h that nobody watched, with the daemon stopped or off, makes
// left wider and burnt a lower bound; off with nothing burning, it does not.
func TestUnwatched(t *testing.T) {
	for _, restart := range []bool{false, true} {
		b := newBench(t)
		b.gas = 10
		b.Weighed(8)
		b.pass(10*time.Minute, time.Second)
		if restart {
			k := b.Keep()
			b.Hopper = newBench(t).Hopper
			b.Restore(k)
		}
		b.now = b.now.Add(time.Hour)
		b.pass(time.Second, time.Second)
		_, burnt, left, _ := b.shows()
		b.near("left", left.Value, 8-2.0/6, 1e-2)
		b.near("half width of left", left.Uncertainty, 2, 0.1)
		if !burnt.AtLeast {
			t.Error("burnt is no lower bound")
		}
	}
	b := newBench(t)
	b.gas = 0
	b.Weighed(8)
	b.pass(time.Minute, time.Second)
	k := b.Keep()
	b.Hopper = newBench(t).Hopper
	b.Restore(k)
	b.now = b.now.AddDate(20, 0, 0) // a board without a clock battery
	b.pass(time.Second, time.Second)
	if _, burnt, left, _ := b.shows(); burnt.AtLeast || left.Uncertainty > 0.1 {
		t.Errorf("at rest: %+v %+v", burnt, left)
	}
}

// No more can burn unseen than there was.
func TestUnseenEnds(t *testing.T) {
	b := newBench(t)
	b.gas = 10
	b.Weighed(3)
	b.pass(30*time.Minute, time.Second)
	b.bad = sensors.Open
	b.pass(6*time.Hour, time.Second)
	_, burnt, left, _ := b.shows()
	b.near("half width of left", left.Uncertainty, 2, 0.15)
	b.near("half width of burnt", burnt.Uncertainty, 2, 0.15)
	b.bad = sensors.Unknown
	b.pass(45*time.Minute, time.Second) // the flow is back, and 1.5 kg burn
	_, _, left, _ = b.shows()
	b.near("half width of left", left.Uncertainty, 0.5, 0.25)

	c := newBench(t) // nothing was told, and the clock leaps by years
	c.gas = 10
	c.pass(time.Minute, time.Second)
	c.now = c.now.AddDate(20, 0, 0)
	c.pass(time.Second, time.Second)
	_, burnt, _, _ = c.shows()
	c.near("half width of burnt", burnt.Uncertainty, 48, 1)
}

// What was not seen is seen by a scale that comes back, and stays so.
func TestScaleSeesIt(t *testing.T) {
	p := newPan(t)
	p.flow, p.burns = true, 1.5
	p.pass(10 * time.Minute)
	p.broken, p.silent = true, true
	p.pass(time.Hour)
	if _, _, left, _ := (&bench{Hopper: p.Hopper}).shows(); left.Uncertainty < 1.5 {
		t.Errorf("left within %g", left.Uncertainty)
	}
	p.broken, p.silent = false, false
	p.pass(time.Hour)
	p.silent = true
	p.pass(time.Second)
	_, _, left, _ := (&bench{Hopper: p.Hopper}).shows()
	p.near("left", left.Value, p.truth, 0.1)
	p.near("half width of left", left.Uncertainty, 0.2, 0.2)
}

// The count is at 0 and it burns on: there was more in it than was told.
func TestBurnsOnAtZero(t *testing.T) {
	b := newBench(t)
	b.gas = 10
	b.Weighed(1)
	b.pass(25*time.Minute, time.Second)
	if _, _, left, until := b.shows(); left.AtLeast || until.AtLeast {
		t.Error("a lower bound before it is at 0")
	}
	b.pass(35*time.Minute, time.Second)
	_, _, left, until := b.shows()
	if left.Status != sensors.Good || left.Value != 0 || !left.AtLeast || left.Uncertainty < 1 || until.Value != 0 || !until.AtLeast {
		t.Errorf("%+v %+v", left, until)
	}
	b.Filled(4)
	if _, _, left, _ := b.shows(); !left.AtLeast || left.Value != 4 {
		t.Errorf("filled: %+v", left)
	}
	b.Weighed(4)
	if _, _, left, _ := b.shows(); left.AtLeast {
		t.Errorf("weighed: %+v", left)
	}
}

// What was in before the first filling that was told is not known.
func TestFilledUnknown(t *testing.T) {
	b := newBench(t)
	b.Filled(3)
	if _, _, left, _ := b.shows(); !left.AtLeast || left.Value != 3 {
		t.Errorf("%+v", left)
	}
	k := b.Keep()
	b.Hopper = newBench(t).Hopper
	b.Restore(k)
	if _, _, left, _ := b.shows(); !left.AtLeast {
		t.Errorf("forgotten when it was kept: %+v", left)
	}
}

// A refuel that nobody told of must not make the balance count too little.
func TestForgottenRefuel(t *testing.T) {
	b := newBench(t)
	b.gas = 10
	b.Weighed(8)
	b.pass(150*time.Minute, time.Second) // 5 kg by the balance
	b.Weighed(7)                         // 4 were put in
	if b.gain != 1 {
		t.Errorf("gain %g", b.gain)
	}
}
