package cooldown

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"charwarden/sensors"
)

var start = time.Date(2026, 6, 1, 14, 0, 0, 0, time.UTC)

// A second, independent calculation: 620 to 20 degC with time constants of 95
// and 210 min.
func TestSecondLaw(t *testing.T) {
	for tau, want := range map[float64][]float64{95: {458, 339, 190, 68, 24}, 210: {540, 471, 359, 211, 81}} {
		for i, minutes := range []float64{30, 60, 120, 240, 480} {
			if got := At(620, 20, tau, minutes); math.Abs(got-want[i]) > 0.6 {
				t.Errorf("tau %g after %g min: %.1f, want %g", tau, minutes, got, want[i])
			}
		}
	}
	for tau, want := range map[float64]float64{95: 257, 210: 569} {
		if got := Until(620, 20, tau, 60); math.Abs(got-want) > 0.6 {
			t.Errorf("tau %g: 60 degC after %.1f min, want %g", tau, got, want)
		}
	}
	if Until(50, 20, 95, 60) != 0 || !math.IsInf(Until(620, 60, 95, 60), 1) {
		t.Error("there already, or never")
	}
}

// shell cools by a law: W/K of draught and of radiation over J/K.
type shell struct {
	*testing.T
	w         *Watch
	now       time.Time
	near, far float64
	air       float64
	law       func(temp, air float64) float64 // K/s
	rng       *rand.Rand
	bad       bool
	gasOut    *sensors.Reading
}

func newShell(t *testing.T, law func(temp, air float64) float64) *shell {
	return &shell{T: t, w: New(), now: start, near: 520, far: 400, air: 20, law: law, rng: rand.New(rand.NewPCG(1, 1))}
}

func newton(tau float64) func(temp, air float64) float64 {
	return func(temp, air float64) float64 { return -(temp - air) / tau }
}

// steel of a vessel: 10 W/m2/K of draught and emissivity 0.85, on 4 kg/m2.
func steel(temp, air float64) float64 {
	k := func(c float64) float64 { return math.Pow(c+273.15, 4) }
	return -(10*(temp-air) + 0.85*5.67e-8*(k(temp)-k(air))) / 40e3
}

func (s *shell) pass(d time.Duration, sealed bool) {
	for end := s.now.Add(d); s.now.Before(end); s.now = s.now.Add(time.Second) {
		s.near += s.law(s.near, s.air)
		s.far += s.law(s.far, s.air)
		reading := func(v float64) *sensors.Reading {
			if s.bad {
				r := sensors.Bad("wall", s.now, sensors.Open, nil)
				return &r
			}
			return &sensors.Reading{At: s.now, Value: v + 0.3*s.rng.NormFloat64(), Status: sensors.Good}
		}
		air := &sensors.Reading{At: s.now, Value: s.air, Status: sensors.Good}
		s.w.Step(s.now, Inputs{Sealed: sealed, Air: air, GasOut: s.gasOut, Walls: []*sensors.Reading{reading(s.near), nil, reading(s.far)}})
	}
}

func (s *shell) shows() (tau, cold, health, again sensors.Reading) {
	r := s.w.Readings(nil)
	return r[0], r[1], r[2], r[3]
}

func within(t *testing.T, what string, r sensors.Reading, want, part float64) {
	t.Helper()
	if r.Status != sensors.Good || !(math.Abs(r.Value-want) <= part*want) {
		t.Errorf("%s: %v %g %v, want %g", what, r.Status, r.Value, r.Err, want)
	}
}

func TestTau(t *testing.T) {
	for _, tau := range []float64{2400, 5700, 12600} {
		s := newShell(t, newton(tau))
		s.pass(15*time.Minute, true)
		if tau, _, _, again := s.shows(); tau.Status != sensors.Unknown || again.Status != sensors.Unknown {
			t.Errorf("after 15 min: %+v", tau)
		}
		s.pass(30*time.Minute, true)
		got, cold, health, again := s.shows()
		within(t, "tau", got, tau, 0.02)
		if got.Uncertainty <= 0 || math.Abs(got.Value-tau) > 3*got.Uncertainty+1 {
			t.Errorf("tau %g within %g", got.Value, got.Uncertainty)
		}
		within(t, "time to 60 degC", cold, Until(s.near, s.air, tau, cool), 0.03)
		if health.Status != sensors.Unknown || health.Err == nil {
			t.Errorf("a first cooling has nothing to compare with: %+v", health)
		}
		if !(again.Value < 1) {
			t.Errorf("it burns again by %g K", again.Value)
		}
	}
}

// A wall that radiates has no one time constant: what is shown is that of the
// middle of the half hour on which it looks back, within 5 %, while the air warms.
func TestRadiates(t *testing.T) {
	s := newShell(t, steel)
	worst := 0.0
	var past []float64 // time constants, every 5 min
	for s.near > 60 {
		s.air += 0.05
		s.pass(5*time.Minute, true)
		past = append(past, -(s.near-s.air)/steel(s.near, s.air))
		if got, _, _, _ := s.shows(); s.now.Sub(start) > 45*time.Minute && s.near-s.air > 25 {
			worst = max(worst, math.Abs(got.Value/past[len(past)-4]-1))
		}
	}
	if worst > 0.05 || worst == 0 {
		t.Errorf("%.1f %% off", 100*worst)
	}
}

// Against its own best at the same heat: as tight is 1, a plateau is 0.
func TestHealth(t *testing.T) {
	s := newShell(t, steel)
	s.pass(4*time.Hour, true)
	s.pass(time.Minute, false)
	s.near, s.far = 520, 400
	s.pass(90*time.Minute, true)
	_, _, health, _ := s.shows()
	within(t, "the same again", health, 1, 0.06)
	s.pass(time.Minute, false)

	s.near, s.far = 520, 400
	s.law = func(temp, air float64) float64 { return steel(temp, air) / 2 }
	s.pass(150*time.Minute, true)
	_, _, health, _ = s.shows()
	within(t, "half as fast", health, 0.5, 0.15)
	s.pass(time.Minute, false)

	s.near, s.far = 220, 200
	s.law = func(temp, air float64) float64 { return 0 }
	s.pass(90*time.Minute, true)
	tau, cold, health, _ := s.shows()
	if health.Status != sensors.Good || health.Value > 0.2 || cold.Status == sensors.Good && cold.Value < 86400 {
		t.Errorf("a plateau: %+v %+v %+v", tau, cold, health)
	}
}

func TestBurnsAgain(t *testing.T) {
	s := newShell(t, steel)
	s.pass(50*time.Minute, true)
	s.law = func(temp, air float64) float64 { return 20.0 / 600 }
	s.pass(10*time.Minute, true)
	_, _, _, again := s.shows()
	if again.Status != sensors.Good || math.Abs(again.Value-20) > 5 {
		t.Errorf("20 K hotter again: %+v", again)
	}
	s = newShell(t, steel)
	s.pass(3*time.Hour, true)
	s.law = func(temp, air float64) float64 { return 35.0 / 3600 } // the sun: not the rig
	s.pass(time.Hour, true)
	if _, _, _, again := s.shows(); again.Value > 5 {
		t.Errorf("the sun: %+v", again)
	}
}

func TestNoWall(t *testing.T) {
	s := newShell(t, steel)
	s.pass(time.Hour, true)
	s.bad = true
	s.pass(5*time.Minute, true)
	for _, r := range s.w.Readings(nil) {
		if r.Status != sensors.Open || !math.IsNaN(r.Value) {
			t.Errorf("%+v", r)
		}
	}
	s.bad = false
	s.pass(35*time.Minute, true)
	if tau, _, _, _ := s.shows(); tau.Status != sensors.Good {
		t.Errorf("%+v", tau)
	}
	s.pass(time.Second, false)
	for _, r := range s.w.Readings(nil) {
		if r.Status != sensors.Unknown || r.Err == nil {
			t.Errorf("%+v", r)
		}
	}
}

// The board starts anew in the middle of the night, with a curve behind it.
func TestKept(t *testing.T) {
	s := newShell(t, newton(5700))
	s.pass(time.Hour, true)
	data, err := json.Marshal(s.w.Keep())
	if err != nil {
		t.Fatal(err)
	}
	var k Kept
	if err := json.Unmarshal(data, &k); err != nil {
		t.Fatal(err)
	}
	s.w = New()
	s.w.Restore(k, s.now)
	s.pass(35*time.Minute, true)
	tau, _, _, _ := s.shows()
	within(t, "tau", tau, 5700, 0.02)
}

// Neither a lost couple nor a restart ends what was burning again.
func TestLostWallClearsNothing(t *testing.T) {
	s := newShell(t, steel)
	s.pass(50*time.Minute, true)
	s.law = func(temp, air float64) float64 { return 30.0 / 600 }
	s.pass(10*time.Minute, true)
	s.law = newton(6000)
	near := sensors.Bad("wall", s.now, sensors.Open, nil)
	far := sensors.Reading{At: s.now, Value: 80, Status: sensors.Good}
	for range 300 {
		s.now = s.now.Add(time.Second)
		s.w.Step(s.now, Inputs{Sealed: true, Walls: []*sensors.Reading{&near, &far}})
	}
	_, cold, _, again := s.shows()
	if again.Status != sensors.Good || !again.AtLeast || again.Value < 22 || cold.Status != sensors.Open {
		t.Errorf("with one wall lost: %+v %+v", again, cold)
	}
	w := New()
	w.Restore(s.w.Keep(), s.now)
	s.w = w
	s.pass(2*time.Minute, true)
	if _, _, _, again := s.shows(); again.Value < 22 {
		t.Errorf("after a restart: %+v", again)
	}
}

// Gas that gets hot again where it leaves is a fire too.
func TestHotGas(t *testing.T) {
	s := newShell(t, steel)
	s.gasOut = &sensors.Reading{Value: 90, Status: sensors.Good}
	s.pass(time.Hour, true)
	s.gasOut.Value = 140
	s.pass(2*time.Minute, true)
	if _, _, _, again := s.shows(); math.Abs(again.Value-50) > 3 {
		t.Errorf("%+v", again)
	}
}

func FuzzRestore(f *testing.F) {
	f.Add([]byte(`{"best_s":[3000],"sealed":true,"hotter_k":3}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var k Kept
		if json.Unmarshal(data, &k) != nil {
			return
		}
		w := New()
		w.Restore(k, start)
		wall := &sensors.Reading{Value: 200, Status: sensors.Good}
		for m := range 200 {
			w.Step(start.Add(time.Duration(m)*time.Minute), Inputs{Sealed: true, Walls: []*sensors.Reading{wall}})
		}
		for _, r := range w.Readings(nil) {
			if r.Status == sensors.Good && (math.IsNaN(r.Value) || math.IsInf(r.Value, 0)) {
				t.Errorf("%+v", r)
			}
		}
	})
}

func TestNoAllocation(t *testing.T) {
	w, now := New(), start
	wall, air := &sensors.Reading{Value: 400, Status: sensors.Good}, &sensors.Reading{Value: 20, Status: sensors.Good}
	walls := []*sensors.Reading{wall, wall}
	buf := make([]sensors.Reading, 0, 8)
	if n := testing.AllocsPerRun(5000, func() {
		now = now.Add(time.Second)
		wall.Value -= 0.05
		w.Step(now, Inputs{Sealed: true, Air: air, Walls: walls})
		buf = w.Readings(buf[:0])
	}); n != 0 {
		t.Errorf("%g allocations", n)
	}
}
