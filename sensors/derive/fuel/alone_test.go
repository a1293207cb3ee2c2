package fuel

import (
	"errors"
	"math/rand/v2"
	"testing"
	"time"

	"charwarden/sensors"
)

// pan is a hopper on a scale, with a flow that may be missing.
type pan struct {
	*testing.T
	*Hopper
	now     time.Time
	truth   float64 // kg in it
	burns   float64 // kg/h, with a balance that is right
	extra   float64 // kg on the scale that are not charcoal
	flow    bool    // fitted
	broken  bool    // the flow
	noise   float64 // kg rms
	silent  bool    // the scale
	rng     *rand.Rand
	highest float64 // kg that left was above truth, at most
}

func newPan(t *testing.T) *pan {
	h, err := New(Opts{Capacity: 10, Heel: 1, Yield: 5})
	if err != nil {
		t.Fatal(err)
	}
	return &pan{T: t, Hopper: h, now: noon, truth: 8, noise: 0.02, rng: rand.New(rand.NewPCG(1, 2))}
}

// pass lets time go by, with a tick of 0.5 s.
func (p *pan) pass(d time.Duration) {
	for end := p.now.Add(d); p.now.Before(end); {
		p.now = p.now.Add(500 * time.Millisecond)
		p.truth -= p.burns / 7200
		var flow *sensors.Reading
		switch {
		case p.broken:
			r := sensors.Bad("gas_flow", p.now, sensors.Open, errors.New("broken wire"))
			flow = &r
		case p.flow:
			flow = &sensors.Reading{At: p.now, Value: 5 * p.burns, Uncertainty: 0.2 * p.burns, Status: sensors.Good}
		}
		scale := &sensors.Reading{At: p.now, Value: p.truth + p.extra + p.noise*p.rng.NormFloat64(), Uncertainty: 0.04, Status: sensors.Good}
		if p.silent {
			*scale = sensors.Bad("hopper", p.now, sensors.NoAnswer, errors.New("no frame"))
		}
		p.Step(p.now, flow, scale)
		p.highest = max(p.highest, p.left-p.truth)
	}
}

func (p *pan) near(what string, got, want, tol float64) {
	p.Helper()
	if !(got >= want-tol && got <= want+tol) {
		p.Errorf("%s: %.3f, want %.3f within %g", what, got, want, tol)
	}
}

// A rig with a scale and no flow counts by the scale alone; at rest its noise
// burns nothing, and what somebody puts in is not burnt backwards.
func TestScaleAlone(t *testing.T) {
	p := newPan(t)
	p.pass(8 * time.Hour)
	r := p.Readings(nil)
	p.near("left at rest", r[2].Value, 8, 0.03)
	p.near("burnt at rest", r[1].Value, 0, 0.03)
	if r[3].Status != sensors.Unknown {
		t.Errorf("time at rest: %+v", r[3])
	}
	p.burns = 1.5
	p.pass(2 * time.Hour)
	r = p.Readings(nil)
	p.near("rate", r[0].Value, 1.5, 0.15)
	p.near("burnt", r[1].Value, 3, 0.05)
	p.near("left", r[2].Value, 5, 0.05)
	p.near("time", r[3].Value, 4/1.5*3600, 1200)
	p.near("half width of the rate", r[0].Uncertainty, 0.1, 1e-9)
	p.near("highest above the truth", p.highest, 0.04, 0.04)

	p.truth += 4
	p.pass(time.Minute)
	if err := p.Filled(4); err != nil { // told too
		t.Fatal(err)
	}
	p.pass(30 * time.Minute)
	r = p.Readings(nil)
	p.near("left after a refuel", r[2].Value, p.truth, 0.06)
	p.near("burnt after a refuel", r[1].Value, 3+1.5*30.5/60, 0.1)
	p.extra = 20 // somebody leans on it
	p.pass(25 * time.Second)
	p.extra = 0
	p.pass(5 * time.Minute)
	p.near("left after a bump", p.left, p.truth, 0.06)
}

// Before the scale has told the rate it is Unknown, and says that this takes time.
func TestScaleAloneLearns(t *testing.T) {
	p := newPan(t)
	p.burns = 1.5
	p.pass(9 * time.Minute)
	if r := p.Readings(nil); r[0].Status != sensors.Unknown || !errors.Is(r[0].Err, errLearns) || r[3].Status != sensors.Unknown {
		t.Errorf("%+v", r)
	}
	p.pass(2 * time.Minute)
	if r := p.Readings(nil); r[0].Status != sensors.Good || r[3].Status != sensors.Good {
		t.Errorf("%+v", r)
	}
	p.silent = true
	p.pass(time.Second)
	if r := p.Readings(nil); r[0].Status == sensors.Good || r[2].Status != sensors.Good {
		t.Errorf("scale gone: %+v", r)
	}
	p.silent, p.noise, p.burns = false, 0, 0.08 // less than a scale can tell from its drift
	p.pass(2 * time.Hour)
	if r := p.Readings(nil); r[0].Status != sensors.Good || r[3].Status != sensors.Unknown {
		t.Errorf("hardly burning: %+v", r)
	}
}

// With the flow gone the scale goes on; burnt stays whole, and the balance does
// not learn from what it has not counted.
func TestFlowLostOnScale(t *testing.T) {
	p := newPan(t)
	p.flow, p.burns = true, 1.5
	p.pass(90 * time.Minute)
	p.broken = true
	p.pass(time.Minute)
	if r := p.Readings(nil); r[0].Status != sensors.Open {
		t.Errorf("flow %+v, want its own fault until the scale tells it", r[0])
	}
	p.pass(89 * time.Minute)
	r := p.Readings(nil)
	p.near("rate", r[0].Value, 1.5, 0.15)
	p.near("burnt", r[1].Value, 4.5, 0.06)
	p.near("left", r[2].Value, 3.5, 0.06)
	if r[1].AtLeast {
		t.Error("burnt is a lower bound, with a scale that saw it all")
	}
	if err := p.Weighed(3.5); err != nil {
		t.Fatal(err)
	}
	p.near("gain", p.gain, 1, 0.03)
}
