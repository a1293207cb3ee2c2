package tacho

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"
)

const (
	ms = time.Millisecond
	s  = time.Second
)

func hz(f float64) time.Duration { return time.Duration(float64(s) / f) }

func TestSteady(t *testing.T) {
	for _, c := range []struct {
		name   string
		hz     float64
		perRev float64
		want   float64
	}{
		{"60 Hz, wasted spark", 60, 1, 3600},
		{"30 Hz, camshaft", 30, 0.5, 3600},
		{"120 Hz, both edges", 120, 2, 3600},
		{"fastest", 99.9, 1, 5994},
		{"idle of 900", 15, 1, 900},
		{"slow", 1.25, 1, 75},
		{"slower than a window", 0.9, 1, 0},
	} {
		p := new(fakePin).every(hz(c.hz), 3*ms, 20*s)
		d := open(t, p, Opts{PulsesPerRev: c.perRev})
		for i := range 150 {
			rpm, err := sense(t, d, p, 100*ms)
			if i < 20 && errors.Is(err, ErrUnsettled) {
				continue
			}
			// Just before a pulse is due the bound by the last pulse may be
			// one clock step lower.
			if err != nil || math.Abs(rpm-c.want) > 0.001*c.want {
				t.Errorf("%s, reading %d: %v rpm, %v, want %v", c.name, i, rpm, err, c.want)
			}
		}
	}
}

// Spikes up to a few ms after each spark: ringing of the coil.
func TestNoise(t *testing.T) {
	p := new(fakePin)
	for at := 20 * ms; at < 5*s; at += hz(60) {
		p.edges = append(p.edges, at, at+50*time.Microsecond, at+300*time.Microsecond, at+2*ms, at+6*ms)
	}
	slices.Sort(p.edges)
	d := open(t, p, Opts{})
	for range 40 {
		if rpm, err := sense(t, d, p, 100*ms); err != nil || math.Abs(rpm-3600) > 5 {
			t.Errorf("%v rpm, %v", rpm, err)
		}
	}
	// Noise alone never reads above MaxRPM.
	p = new(fakePin).every(200*time.Microsecond, 0, 3*s)
	d = open(t, p, Opts{MaxRPM: 4500})
	for range 20 {
		if rpm, err := sense(t, d, p, 100*ms); err != nil || rpm > 4500 || rpm < 4000 {
			t.Errorf("%v rpm, %v", rpm, err)
		}
	}
}

// The engine stops at 2 s: the speed falls as 1/t, then is 0, and stays there.
func TestStop(t *testing.T) {
	p := new(fakePin).every(hz(50), 0, 2*s)
	d := open(t, p, Opts{})
	last := 1980 * ms
	for p.at < 5*s {
		rpm, err := sense(t, d, p, 100*ms)
		if err != nil {
			t.Fatal(err)
		}
		gone := p.at - last
		want := 3000.0
		switch {
		case gone > s:
			want = 0
		case gone > 20*ms:
			want = 60 / gone.Seconds()
		}
		if math.Abs(rpm-want) > 0.001*want {
			t.Errorf("%v after the last pulse: %v rpm, want %v", gone, rpm, want)
		}
	}
	// It is started again after a long rest: the rest is not a period.
	p.every(hz(10), 5*s+50*ms, 9*s)
	if rpm, err := sense(t, d, p, 100*ms); err != nil || rpm != 0 {
		t.Errorf("one pulse: %v rpm, %v", rpm, err)
	}
	if rpm, err := sense(t, d, p, 100*ms); err != nil || math.Abs(rpm-600) > 1 {
		t.Errorf("two pulses: %v rpm, %v", rpm, err)
	}
	// The same within one long look.
	p = new(fakePin).every(hz(50), 0, s).every(s, 2500*ms, 2600*ms)
	d = open(t, p, Opts{})
	if rpm, err := sense(t, d, p, 2550*ms); err != nil || rpm != 0 {
		t.Errorf("one pulse in a long look: %v rpm, %v", rpm, err)
	}
}

// At first no pulse does not mean standstill; after a Window it does.
func TestStart(t *testing.T) {
	p := new(fakePin)
	d := open(t, p, Opts{})
	for i := 1; i <= 20; i++ {
		rpm, err := sense(t, d, p, 100*ms)
		if early := i < 10; errors.Is(err, ErrUnsettled) != early || early != math.IsNaN(rpm) || !early && rpm != 0 {
			t.Errorf("after %v: %v rpm, %v", p.at, rpm, err)
		}
	}
	// An engine that already runs is known after two pulses.
	p = new(fakePin).every(hz(50), 0, s)
	d = open(t, p, Opts{})
	if rpm, err := sense(t, d, p, 100*ms); err != nil || math.Abs(rpm-3000) > 1 {
		t.Errorf("%v rpm, %v", rpm, err)
	}
}

// Pulses that came while nobody looked are not counted, nor is the time.
func TestBreak(t *testing.T) {
	p := new(fakePin).every(hz(50), 0, 20*s)
	d := open(t, p, Opts{})
	for range 5 {
		if rpm, err := sense(t, d, p, 200*ms); err != nil || math.Abs(rpm-3000) > 1 {
			t.Errorf("%v rpm, %v", rpm, err)
		}
		p.at += 777 * ms
	}
	// Too slow for what a look shows: unknown, never 0.
	p = new(fakePin).every(400*ms, 0, 20*s)
	d = open(t, p, Opts{})
	for range 10 {
		if rpm, err := sense(t, d, p, 100*ms); !errors.Is(err, ErrUnsettled) || !math.IsNaN(rpm) {
			t.Errorf("%v rpm, %v", rpm, err)
		}
		p.at += 450 * ms
	}
}

// A pin that answers without time passing must not hold the goroutine.
func TestBrokenPin(t *testing.T) {
	for _, answer := range []bool{false, true} {
		p := &fakePin{broken: func() bool { return answer }}
		d := open(t, p, Opts{})
		rpm, err := sense(t, d, p, 100*ms)
		if !errors.Is(err, ErrPin) || !math.IsNaN(rpm) || p.waits > 100 {
			t.Errorf("answer %v: %v rpm, %v after %d waits", answer, rpm, err, p.waits)
		}
		// Once repaired it starts afresh.
		p.broken = nil
		p.every(hz(50), p.at, p.at+s)
		if rpm, err := sense(t, d, p, 100*ms); err != nil || math.Abs(rpm-3000) > 1 {
			t.Errorf("repaired: %v rpm, %v", rpm, err)
		}
	}
	// False at once on a clock that does run, which is how -1 is answered.
	p := new(fakePin)
	p.broken = func() bool { p.at += 2 * time.Microsecond; return false }
	if _, err := sense(t, open(t, p, Opts{}), p, 100*ms); !errors.Is(err, ErrPin) {
		t.Error(err)
	}
	// A wait cut short now and then is no fault.
	p = new(fakePin)
	p.broken = func() bool { p.at += 10 * ms; return p.waits%2 == 0 }
	if rpm, err := sense(t, open(t, p, Opts{}), p, s); err != nil || math.Abs(rpm-3000) > 1 {
		t.Errorf("%v rpm, %v", rpm, err)
	}
}

func TestNothingToWaitFor(t *testing.T) {
	p := new(fakePin)
	d := open(t, p, Opts{})
	if _, err := d.Sense(epoch.Add(-s)); !errors.Is(err, ErrUnsettled) || p.waits != 0 {
		t.Errorf("%v after %d waits", err, p.waits)
	}
}

func TestNew(t *testing.T) {
	p := &fakePin{t: t}
	for name, o := range map[string]*Opts{
		"nil":         nil,
		"no clock":    {PulsesPerRev: 1},
		"no pulses":   {Now: p.now},
		"negative":    {Now: p.now, PulsesPerRev: -1},
		"NaN":         {Now: p.now, PulsesPerRev: math.NaN()},
		"max rpm":     {Now: p.now, PulsesPerRev: 1, MaxRPM: -1},
		"infinite":    {Now: p.now, PulsesPerRev: 1, MaxRPM: math.Inf(1)},
		"window":      {Now: p.now, PulsesPerRev: 1, Window: -s},
		"too short":   {Now: p.now, PulsesPerRev: 1, Window: ms},
		"too much":    {Now: p.now, PulsesPerRev: 60, Window: s},
		"no pulse in": {Now: p.now, PulsesPerRev: 0.001},
	} {
		if d, err := New(p, o); err == nil {
			t.Errorf("%s: %v accepted", name, d)
		}
	}
	o := &Opts{Now: p.now, PulsesPerRev: 1, Pull: gpio.PullUp}
	if d, err := New(p, o); err != nil || p.edge != gpio.RisingEdge || p.pull != gpio.PullUp || d.String() != "tacho{GPIO17}" {
		t.Errorf("%v, %v, pin set to %v %v", d, err, p.pull, p.edge)
	}
	o.Edge = gpio.FallingEdge
	if _, err := New(p, o); err != nil || p.edge != gpio.FallingEdge {
		t.Errorf("%v, pin set to %v", err, p.edge)
	}
	p.inErr = errPin
	if _, err := New(p, o); !errors.Is(err, errPin) || !strings.HasPrefix(err.Error(), "tacho: GPIO17: ") {
		t.Error(err)
	}
}

// Whatever comes in: a speed in range or an error, memory bounded, in time.
func FuzzSense(f *testing.F) {
	f.Add([]byte{16, 16, 17, 16, 1, 15}, uint8(100))
	f.Add([]byte{0, 0, 0, 255, 255, 3}, uint8(10))
	f.Fuzz(func(t *testing.T, gaps []byte, span uint8) {
		p := new(fakePin)
		var at time.Duration
		for _, g := range gaps {
			at += time.Duration(g) * time.Duration(g) * 10 * time.Microsecond
			p.edges = append(p.edges, at)
		}
		d := open(t, p, Opts{})
		size := len(d.ring.at)
		for range 20 {
			rpm, err := sense(t, d, p, time.Duration(span)*ms)
			if err == nil && !(rpm >= 0 && rpm <= 6000.001) || err != nil && !math.IsNaN(rpm) {
				t.Errorf("%v rpm, %v", rpm, err)
			}
			if len(d.ring.at) != size || d.ring.n > size {
				t.Errorf("ring of %d holds %d", size, d.ring.n)
			}
			p.at += time.Duration(len(gaps)%7) * 5 * ms
		}
	})
}
