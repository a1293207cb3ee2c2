package sensors_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

const (
	tick       = 100 * time.Millisecond
	unzeroedPa = 250.0
	zeroedPa   = 100.0
)

var (
	suction = sensors.Channel{Name: "suction", Quantity: sensors.Pressure, Period: tick,
		Zero: &sensors.ZeroBand{MaxPa: 300, UnzeroedPa: unzeroedPa, ZeroedPa: zeroedPa}}
	speed = sensors.Channel{Name: "speed", Quantity: sensors.Speed, Period: tick}
	hot   = sensors.Channel{Name: "hot", Quantity: sensors.Temperature, Period: tick}
	warm  = sensors.Channel{Name: "warm", Quantity: sensors.Temperature, Period: tick}
)

// engine plays one tick after another with the engine at rpm.
func engine(d *desk, long time.Duration, rpm float64, pa func(at time.Duration) float64) {
	d.play(long, func(at time.Duration) {
		d.good("speed", rpm)
		d.pressure(pa(at))
	})
}

// pressure puts a reading as Membrane makes it, with the uncertainty of a
// zeroed sensor.
func (d *desk) pressure(pa float64) {
	d.put(sensors.Reading{Channel: "suction", At: d.now, Value: pa, Raw: pa, Cold: math.NaN(), Uncertainty: zeroedPa, Status: sensors.Good})
}

func flat(pa float64) func(time.Duration) float64 { return func(time.Duration) float64 { return pa } }

func TestZeroIsTakenByItself(t *testing.T) {
	d := newDesk(t, nil, suction, speed)
	var first time.Duration = -1
	d.play(12*time.Second, func(at time.Duration) {
		noise := 8 * math.Sin(7*at.Seconds())
		d.good("speed", 0)
		d.pressure(40 + noise)
		r := d.at("suction")
		honest(t, r)
		switch r.Status {
		case sensors.Unzeroed:
			if first >= 0 || r.Uncertainty != unzeroedPa || math.Abs(r.Raw-40) > 8 {
				t.Fatalf("at %v: %+v", at, r)
			}
			if zeros := d.Zeros(); zeros != nil {
				t.Fatalf("at %v: zeros %v", at, zeros)
			}
		case sensors.Good:
			if first < 0 {
				first = at
			}
			if r.Uncertainty != zeroedPa || math.Abs(r.Value-noise) > 2 || math.Abs(r.Raw-40-noise) > 1e-9 {
				t.Fatalf("at %v: %+v, want the noise %v", at, r, noise)
			}
		}
	})
	if first < 10*time.Second || first > 10*time.Second+3*tick {
		t.Errorf("zeroed after %v, want 10 s", first)
	}
	zeros := d.Zeros()
	if z := zeros["suction"]; len(zeros) != 1 || math.Abs(z.Pa-40) > 2 || z.At.IsZero() {
		t.Errorf("zeros to store: %v", zeros)
	}
	if again := d.Zeros(); again != nil {
		t.Errorf("handed out twice: %v", again)
	}
}

func TestZeroRefused(t *testing.T) {
	for _, c := range []struct {
		name string
		rpm  float64
		pa   func(at time.Duration) float64
		why  string
	}{
		{"engine runs", 1500, flat(40), "no zero yet"},
		{"line moves", 0, func(at time.Duration) float64 { return 40 + 15*math.Sin(at.Seconds()) }, "no zero yet"},
		{"line creeps", 0, func(at time.Duration) float64 { return 3 * at.Seconds() }, "no zero yet"},
		{"beyond what a sound sensor can be off", 0, flat(-310), "more than a sound sensor can be off (300 Pa)"},
		{"speed unknown", math.NaN(), flat(40), "no zero yet"},
	} {
		d := newDesk(t, nil, suction, speed)
		engine(d, 31*time.Second, c.rpm, c.pa)
		d.pressure(c.pa(31 * time.Second))
		r := d.at("suction")
		wantStatus(t, c.name, r, sensors.Unzeroed)
		honest(t, r)
		if !strings.Contains(r.Err.Error(), c.why) {
			t.Errorf("%s: %v, want %q", c.name, r.Err, c.why)
		}
		if z := d.Zeros(); z != nil {
			t.Errorf("%s: zeros %v", c.name, z)
		}
	}
}

// A stored zero holds from the first reading on; one within the uncertainty
// replaces it, one beyond is taken for a draught on the line.
func TestZeroStored(t *testing.T) {
	for _, c := range []struct {
		name               string
		stored, line, want float64
	}{
		{"near", 50, 120, 0},
		{"just too far", 50, 151, 101},
		{"the other way", 50, -60, -110},
	} {
		d := newDesk(t, map[string]sensors.Zero{"suction": {Pa: c.stored}}, suction, speed)
		d.good("speed", 0)
		d.pressure(c.line)
		if r := d.at("suction"); r.Status != sensors.Good || r.Value != c.line-c.stored || r.Uncertainty != zeroedPa || r.Raw != c.line {
			t.Errorf("%s: at the start %+v, want %v", c.name, r, c.line-c.stored)
		}
		engine(d, 12*time.Second, 0, flat(c.line))
		d.pressure(c.line)
		wantValue(t, c.name, d.at("suction"), c.want, 1e-9)
		if kept := d.Zeros() == nil; kept != (c.want != 0) {
			t.Errorf("%s: stored zero kept: %v", c.name, kept)
		}
		if err := d.Refused(); (err != nil) != (c.want != 0) || err != nil && !strings.Contains(err.Error(), "suction: zero: ") {
			t.Errorf("%s: refusal: %v", c.name, err)
		}
		if err := d.Refused(); err != nil {
			t.Errorf("%s: said twice: %v", c.name, err)
		}
	}
	for name, z := range map[string]sensors.Zero{"too large": {Pa: 301}, "no number": {Pa: math.NaN()}} {
		d := newDesk(t, map[string]sensors.Zero{"suction": z}, suction, speed)
		d.pressure(0)
		wantStatus(t, "stored zero "+name, d.at("suction"), sensors.Unzeroed)
	}
}

// One zero in each engine-off period: suction that the blower makes before the
// start is not zeroed away, however often the tacho drops out meanwhile.
func TestZeroOncePerOffPeriod(t *testing.T) {
	d := newDesk(t, nil, suction, speed)
	engine(d, 11*time.Second, 0, flat(40))
	if z := d.Zeros()["suction"]; z.Pa != 40 {
		t.Fatalf("first zero %v", z)
	}
	engine(d, 30*time.Second, 0, flat(100)) // blower on: 60 Pa, within the uncertainty
	for range 3 {
		d.put(sensors.Bad("speed", d.now, sensors.NoAnswer, errors.New("pin")))
		d.Tick(d.now)
		d.now = d.now.Add(5 * time.Second) // long enough to go stale
		d.Tick(d.now)
		engine(d, 15*time.Second, 0, flat(100))
	}
	d.pressure(100)
	wantValue(t, "suction under the blower", d.at("suction"), 60, 1e-9)
	if z := d.Zeros(); z != nil {
		t.Fatalf("zeroed again in the same off period: %v", z)
	}
	engine(d, 5*time.Second, 2400, flat(900))
	engine(d, 11*time.Second, 0, flat(55))
	if z := d.Zeros()["suction"]; z.Pa != 55 {
		t.Errorf("after a run: zero %v, want 55", z)
	}
}

// What is no number is no zero either.
func TestZeroIsANumber(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		d := newDesk(t, nil, suction, speed)
		engine(d, 25*time.Second, 0, flat(v))
		if z := d.Zeros(); z != nil {
			t.Errorf("%v: zeros %v", v, z)
		}
	}
}

// Ten flat seconds are ten seconds of readings: before and after a hang do not
// add up.
func TestZeroNeedsReadingsThroughout(t *testing.T) {
	d := newDesk(t, nil, suction, speed)
	d.play(14*time.Second, func(at time.Duration) {
		d.good("speed", 0)
		if at < 2*time.Second || at > 9*time.Second {
			d.pressure(40)
		}
	})
	if z := d.Zeros(); z != nil {
		t.Errorf("zero %v out of 2 s and 5 s", z)
	}
}

func TestZeroWithoutTacho(t *testing.T) {
	for _, c := range []struct {
		name      string
		hot, warm float64
		zeroed    bool
	}{
		{"all cold", 25, 30, true},
		{"the last one warm", 25, 61, false},
		{"the first one warm", 61, 25, false},
		{"one unknown", 25, math.NaN(), false},
	} {
		d := newDesk(t, nil, suction, hot, warm)
		d.play(12*time.Second, func(time.Duration) {
			d.couple("hot", c.hot, 20)
			d.couple("warm", c.warm, 20)
			d.pressure(40)
		})
		if zeroed := d.Zeros() != nil; zeroed != c.zeroed {
			t.Errorf("%s: zeroed %v", c.name, zeroed)
		}
	}
	d := newDesk(t, nil, suction) // nothing on this rig tells that the engine is off
	d.play(12*time.Second, func(time.Duration) { d.pressure(0) })
	if d.Zeros() != nil {
		t.Error("zeroed on a rig that cannot tell")
	}
}

// What Membrane adds for a supply that nobody measures is not lost on the way.
func TestZeroKeepsTheSupplysUncertainty(t *testing.T) {
	for stored, want := range map[bool]float64{true: zeroedPa + 130, false: unzeroedPa + 130} {
		zeros := map[string]sensors.Zero{}
		if stored {
			zeros["suction"] = sensors.Zero{Pa: 10}
		}
		d := newDesk(t, zeros, suction)
		d.put(sensors.Reading{Channel: "suction", At: d.now, Value: 5, Raw: 5, Uncertainty: zeroedPa + 130, Status: sensors.Good})
		if r := d.at("suction"); r.Uncertainty != want {
			t.Errorf("zero stored %v: uncertainty %v, want %v", stored, r.Uncertainty, want)
		}
	}
}
