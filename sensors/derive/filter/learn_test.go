package filter

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

const tick = 100 * time.Millisecond

// until steps l with the inputs of each tick until it is Good, for a time at most.
func until(l *Loading, now time.Time, most time.Duration, in func(at time.Duration) Inputs) (time.Duration, sensors.Reading) {
	var r sensors.Reading
	for at := time.Duration(0); at < most; at += tick {
		if r = l.Step(now.Add(at), in(at)); r.Status == sensors.Good {
			return at, r
		}
	}
	return most, r
}

// Cleaned is followed by 10 min of learning, also beside a configured filter,
// and what was learned is the new clean.
func TestLearnSuction(t *testing.T) {
	l := loading(t, clean)
	l.Cleaned()
	first := l.Step(noon, by(pa(90, 0), pa(500, 0)))
	if first.Status != sensors.Unknown || !math.IsNaN(first.Value) || first.Err == nil || !strings.Contains(first.Err.Error(), "still learning") || !strings.Contains(first.Err.Error(), "10 min") {
		t.Errorf("%+v", first)
	}
	took, r := until(l, noon, time.Hour, func(time.Duration) Inputs { return by(pa(90, 0), pa(500, 0)) })
	if took < 10*time.Minute || took > 11*time.Minute || math.Abs(r.Value) > 1e-9 {
		t.Errorf("after %v: %+v", took, r)
	}
	if got := l.Step(noon.Add(2*time.Hour), by(pa(180, 0), pa(500, 0))); math.Abs(got.Value-50) > 1e-9 {
		t.Errorf("%g %%", got.Value)
	}
}

// An engine that hunts or a signal with holes teaches nothing; what is steady
// between counts.
func TestLearnSteadyOnly(t *testing.T) {
	for name, in := range map[string]func(time.Duration) Inputs{
		"hunting": func(at time.Duration) Inputs {
			s := 500 + 150*math.Sin(at.Seconds())
			return by(pa(120, 0), pa(s, 0))
		},
		"holes": func(at time.Duration) Inputs {
			if at%(9*time.Second) < 3*time.Second {
				return by(pa(0, 0), pa(0, 0))
			}
			return by(pa(120, 0), pa(500, 0))
		},
		"nothing taken":    func(time.Duration) Inputs { return by(pa(-2, 0), pa(500, 0)) },
		"too little taken": func(time.Duration) Inputs { return by(pa(4, 0), pa(500, 0)) },
		"too uncertain":    func(time.Duration) Inputs { return by(pa(60, 31), pa(500, 0)) },
		"clipped": func(time.Duration) Inputs {
			d := pa(1200, 0)
			d.Status = sensors.ClippedHigh
			return by(d, pa(500, 0))
		},
	} {
		l := loading(t, Clean{})
		l.Cleaned()
		if took, r := until(l, noon, 30*time.Minute, in); r.Status != sensors.Unknown || took != 30*time.Minute {
			t.Errorf("%s: learned after %v: %+v", name, took, r)
		}
	}
	// Steady for 20 s of every minute: 60 samples in some 60 min.
	l := loading(t, Clean{})
	l.Cleaned()
	took, _ := until(l, noon, 3*time.Hour, func(at time.Duration) Inputs {
		if at%time.Minute > 21*time.Second {
			return by(pa(120, 0), pa(500+300*math.Sin(at.Seconds()), 0))
		}
		return by(pa(120, 0), pa(500, 0))
	})
	if took < 25*time.Minute || took > 65*time.Minute {
		t.Errorf("learned after %v", took)
	}
}

// The law survives a tenth of samples that are far off, and noise of 3 %.
func TestLawRobust(t *testing.T) {
	for seed := range uint64(20) {
		rnd := rand.New(rand.NewPCG(seed, 3))
		var l learner
		for i := range l.got {
			x := 500 * float64(1+i%4)
			l.got[i] = Point{x, (3e6 + 1e3*x) * (1 + 0.03*rnd.NormFloat64())}
			if i%10 == 0 {
				l.got[i][1] *= 20 * rnd.Float64()
			}
		}
		rnd.Shuffle(samples, func(i, j int) { l.got[i], l.got[j] = l.got[j], l.got[i] })
		a, b, x := l.law()
		if math.Abs(a/3e6-1) > 0.15 || math.Abs(b/1e3-1) > 0.35 || math.Abs((a+b*1250)/4.25e6-1) > 0.04 || x != 1250 {
			t.Errorf("seed %d: %g + %g x, x %g", seed, a, b, x)
		}
	}
}

// Loads that differ little, or a term below 0, give one term.
func TestLawOneTerm(t *testing.T) {
	for name, y := range map[string]func(x float64) float64{
		"little": func(x float64) float64 { return 2e6 + 1e3*x/4 },
		"falls":  func(x float64) float64 { return 4e6 - 1e3*x },
		"below":  func(x float64) float64 { return 4e3*x - 1e6 },
	} {
		var l learner
		for i := range l.got {
			x := 500 * float64(1+i%4)
			if name == "little" {
				x = 1000 + float64(i)
			}
			l.got[i] = Point{x, y(x)}
		}
		if a, b, x := l.law(); b != 0 || math.Abs(a-y(x)) > 1e-6*a {
			t.Errorf("%s: %g + %g x, want %g", name, a, b, y(x))
		}
	}
}

func kept(t *testing.T, l *Loading) Kept {
	text, err := json.Marshal(l.Keep())
	if err != nil {
		t.Fatal(err)
	}
	var k Kept
	if err := json.Unmarshal(text, &k); err != nil {
		t.Fatal(err)
	}
	return k
}

// What was learned, and that it learns, survives a restart; a new setting wins.
func TestKeep(t *testing.T) {
	m := media(t)["foam100"]
	l, now := taught(t, &m, 4, 7, 12)
	s := Stream{Flow: 9, Temp: 70, Pressure: 95e3, Gas: mixes[0]}
	want := l.Step(now.Add(time.Minute), rigWith(&m, &s, 1e7)).Raw
	k := kept(t, l)
	if !k.At.Equal(now) || k.Learning {
		t.Errorf("%+v, learned at %v", k, now)
	}
	back := loading(t, Clean{})
	back.Restore(k)
	back.Gas(mixes[0])
	if got := back.Step(noon, rigWith(&m, &s, 1e7)); got.Raw != want {
		t.Errorf("%g, want %g", got.Raw, want)
	}
	if again := kept(t, back); again != k {
		t.Errorf("%+v, want %+v", again, k)
	}
	changed := loading(t, clean)
	changed.Restore(k)
	if got := changed.Keep(); !got.At.IsZero() || changed.ref != clean.reference() {
		t.Errorf("a new setting lost: %+v", got)
	}
	l.Cleaned()
	back = loading(t, Clean{})
	back.Restore(kept(t, l))
	if r := back.Step(noon, rigWith(&m, &s, 0)); r.Status != sensors.Unknown || !strings.Contains(r.Err.Error(), "still learning") {
		t.Errorf("%+v", r)
	}
}

func TestRestoreNonsense(t *testing.T) {
	for _, k := range []Kept{
		{}, {At: noon}, {At: noon, Viscous: -1}, {At: noon, Viscous: math.NaN(), Root: math.Inf(1)}, {Viscous: 1e6},
		{At: noon, Viscous: 1e308, Inertial: 1e308, Load: 1e308},
	} {
		l := loading(t, Clean{})
		l.Restore(k)
		if l.ref != (reference{}) || !l.learned.IsZero() {
			t.Errorf("%+v: %+v", k, l.ref)
		}
	}
	for _, k := range []Kept{
		{At: noon, Viscous: 1e6, Inertial: -1, Load: 5}, {At: noon, Viscous: 1e6, Inertial: 3, Load: math.NaN(), Root: -3},
	} {
		l := loading(t, Clean{})
		l.Restore(k)
		if l.ref.total() != 1e6 || l.ref.inertial != 0 || l.ref.root != 0 {
			t.Errorf("%+v: %+v", k, l.ref)
		}
	}
}
