package filter

import (
	"math"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/gas"
)

// rigWith is the readings of a rig with a flow meter, a thermometer and a
// barometer, with medium m and a cake of that resistance, s through it.
func rigWith(m *Medium, s *Stream, cake float64) Inputs {
	return Inputs{Drop: pa(m.Drop(s, cake), 0), Flow: pa(s.Flow, 0), Temp: pa(s.Temp, 0), Air: pa(s.Pressure, 0)}
}

// taught returns a loading that has learned clean medium m at the loads, in
// Nm3/h, turn by turn, and the time when it had.
func taught(t testing.TB, m *Medium, loads ...float64) (*Loading, time.Time) {
	l, err := New(Opts{})
	if err != nil {
		t.Fatal(err)
	}
	l.Gas(mixes[0])
	l.Cleaned()
	now := noon
	for i := range 20000 {
		s := Stream{Flow: loads[i/660%len(loads)], Temp: 40 + float64(i%7), Pressure: 97e3, Gas: mixes[0]}
		now = now.Add(100 * time.Millisecond)
		if r := l.Step(now, rigWith(m, &s, 0)); r.Status == sensors.Good {
			if math.Abs(r.Value) > 0.02 {
				t.Errorf("clean, just learned: %g %%", r.Value)
			}
			return l, now
		}
	}
	t.Fatal("not learned")
	return nil, now
}

// Learned at loads that differ, a loading knows the medium's two terms, and is
// the same at every flow, temperature, pressure and gas.
func TestFlowInvariant(t *testing.T) {
	for name, m := range media(t) {
		m.Area = 0.001 // so that all of them take enough
		clean := m.Thickness / m.K1
		l, now := taught(t, &m, 4, 7, 12)
		usual := Stream{Flow: 7, Temp: 43, Pressure: 97e3, Gas: mixes[0]}
		for _, cake := range []float64{-0.3 * clean, 0, 0.5 * clean, 2 * clean} {
			want := 50 * (m.Drop(&usual, cake)/m.Drop(&usual, 0) - 1)
			streams(func(s *Stream) {
				now = now.Add(time.Minute)
				l.Gas(s.Gas)
				got := l.Step(now, rigWith(&m, s, cake))
				if got.Status != sensors.Good || math.Abs(got.Raw-want) > 0.2 {
					t.Errorf("%s: %v %g %%, want %g at %+v", name, got.Status, got.Raw, want, *s)
				}
			})
		}
	}
}

// Of one load, the learned medium has one term; the loading is right at that
// load and wrong elsewhere by the other term's part only.
func TestOneLoad(t *testing.T) {
	m := media(t)["foam100"]
	l, now := taught(t, &m, 7)
	if l.ref.inertial != 0 {
		t.Fatalf("%+v", l.ref)
	}
	s := Stream{Flow: 7, Temp: 60, Pressure: 97e3, Gas: mixes[0]}
	if got := l.Step(now, rigWith(&m, &s, m.Thickness/m.K1)); math.Abs(got.Raw-50) > 1.5 {
		t.Errorf("%g %%", got.Raw)
	}
}

// A configured clean filter, by flow: three times the drop at the same flow is
// 100 %, and where that is not known by flow, suction is used as long as there is any.
func TestConfiguredFlow(t *testing.T) {
	in := func(drop, flow, suction, temp float64) Inputs {
		return Inputs{Drop: pa(drop, 0), Flow: pa(flow, 0), Suction: pa(suction, 0), Temp: pa(temp, 0), Air: pa(101325+suction, 0)}
	}
	for _, c := range []struct {
		clean Clean
		in    Inputs
		want  float64
	}{
		{Clean{Drop: 120, Flow: 6}, in(360, 6, 900, 40), 100},
		{Clean{Drop: 120, Flow: 6, Suction: 500}, in(360, 6, 900, 40), 100},
		{Clean{Drop: 120, Flow: 6, Suction: 500}, in(120, 3, 500, 40), 50},
		{Clean{Drop: 120, Flow: 6, Temp: 80}, in(240, 6, 500, 80), 50},
		{Clean{Drop: 120, Suction: 500}, in(240, 6, 500, 40), 50},
		{Clean{Drop: 120, Suction: 500}, in(240, 6, 2000, 40), 0},
	} {
		l, err := New(Opts{Clean: c.clean})
		if err != nil {
			t.Fatal(err)
		}
		if got := l.Step(noon, c.in); got.Status != sensors.Good || math.Abs(got.Value-c.want) > 1e-9 {
			t.Errorf("%+v: %v %g %v, want %g", c.clean, got.Status, got.Value, got.Err, c.want)
		}
	}
}

// Without thermometer and barometer 40 degC and 1 atm are taken, with much
// uncertainty; so they are while these are bad.
func TestAssumed(t *testing.T) {
	l := loading(t, Clean{Drop: 120, Flow: 6})
	stale := sensors.Bad("x", noon, sensors.Stale, nil)
	all := l.Step(noon, Inputs{Drop: pa(300, 5), Flow: pa(6, 0.3), Temp: pa(40, 2), Air: pa(gas.Atm, 100)})
	for _, in := range []Inputs{
		{Drop: pa(300, 5), Flow: pa(6, 0.3)},
		{Drop: pa(300, 5), Flow: pa(6, 0.3), Temp: &stale, Air: &stale},
		{Drop: pa(300, 5), Flow: pa(6, 0.3), Temp: pa(-300, 0), Air: pa(0, 0)},
	} {
		got := loading(t, Clean{Drop: 120, Flow: 6}).Step(noon, in)
		if got.Status != sensors.Good || math.Abs(got.Value-all.Value) > 1e-9 || got.Uncertainty < 1.5*all.Uncertainty {
			t.Errorf("%v %g within %g; with all %g within %g", got.Status, got.Value, got.Uncertainty, all.Value, all.Uncertainty)
		}
	}
}

// Root of the sum of squares of the parts, each found by moving its input
// (JCGM 100:2008, 5.1.3 note 2), by flow and of a medium with both terms.
func TestFlowUncertainty(t *testing.T) {
	m := media(t)["foam45"]
	m.Area = 0.001
	l, now := taught(t, &m, 4, 7, 12)
	v := [4]float64{400, 9, 60, 96e3}
	u := [4]float64{2, 0.1, 9, 3000}
	step := func(v, u [4]float64) sensors.Reading {
		now = now.Add(time.Minute)
		return l.Step(now, Inputs{Drop: pa(v[0], u[0]), Flow: pa(v[1], u[1]), Temp: pa(v[2], u[2]), Air: pa(v[3], u[3])})
	}
	var want float64
	for i := range v {
		high, low := v, v
		high[i] += u[i]
		low[i] -= u[i]
		want = math.Hypot(want, (step(high, u).Raw-step(low, u).Raw)/2)
	}
	if got := step(v, u).Uncertainty; math.Abs(got-want) > 5e-3*want {
		t.Errorf("%g, want %g", got, want)
	}
}

func TestFlowStatus(t *testing.T) {
	off := sensors.Bad("gas_flow", noon, sensors.Unknown, errIdle)
	open := sensors.Bad("gas_flow", noon, sensors.Open, errIdle)
	for _, c := range []struct {
		name  string
		clean Clean
		in    Inputs
		want  sensors.Status
		says  string
	}{
		{"engine off", Clean{Drop: 120, Flow: 6}, Inputs{Drop: pa(0, 0), Flow: &off}, sensors.Unknown, errIdle.Error()},
		{"flow bad", Clean{Drop: 120, Flow: 6}, Inputs{Drop: pa(0, 0), Flow: &open}, sensors.Open, "flow: "},
		{"no flow", Clean{Drop: 120, Flow: 6}, Inputs{Drop: pa(0, 0), Flow: pa(0.4, 0)}, sensors.Unknown, "no flow"},
		{"nothing known", Clean{}, Inputs{Drop: pa(120, 0), Flow: pa(6, 0), Suction: pa(500, 0)}, sensors.Unknown, "clean it and say so"},
		{"nothing known by suction", Clean{Drop: 120, Flow: 6}, Inputs{Drop: pa(120, 0), Suction: pa(500, 0)}, sensors.Unknown, "clean it and say so"},
		{"nothing known by flow", Clean{Drop: 120, Suction: 500}, Inputs{Drop: pa(120, 0), Flow: pa(6, 0)}, sensors.Unknown, "clean it and say so"},
	} {
		got := loading(t, c.clean).Step(noon, c.in)
		if got.Status != c.want || !math.IsNaN(got.Value) || got.Err == nil || !strings.Contains(got.Err.Error(), c.says) {
			t.Errorf("%s: %+v", c.name, got)
		}
	}
}

// A mix that cannot be is not taken.
func TestGas(t *testing.T) {
	l := loading(t, Clean{Drop: 120, Flow: 6})
	in := Inputs{Drop: pa(240, 0), Flow: pa(6, 0)}
	want := l.Step(noon, in).Raw
	for _, m := range []gas.Mix{{}, {gas.CO: -1, gas.N2: 2}, {gas.CO: math.NaN()}, {gas.N2: math.Inf(1)}} {
		l.Gas(m)
		if got := l.Step(noon, in); got.Raw != want {
			t.Errorf("%v: %g, want %g", m, got.Raw, want)
		}
	}
	l.Gas(gas.Mix{gas.H2: 3}) // thin: more resistance for the same drop
	if got := l.Step(noon, in); !(got.Raw > want+50) {
		t.Errorf("hydrogen: %g, charcoal gas %g", got.Raw, want)
	}
}

func TestFlowNoAllocation(t *testing.T) {
	m := media(t)["foam45"]
	m.Area = 0.004
	l, now := taught(t, &m, 7)
	s := Stream{Flow: 7, Temp: 50, Pressure: 97e3, Gas: mixes[0]}
	in := rigWith(&m, &s, 1e6)
	off := sensors.Bad("gas_flow", noon, sensors.Unknown, errIdle)
	still := Inputs{Drop: in.Drop, Flow: &off}
	if n := testing.AllocsPerRun(1000, func() {
		now = now.Add(100 * time.Millisecond)
		l.Gas(mixes[1])
		l.Step(now, in)
		l.Step(now, still)
	}); n != 0 {
		t.Errorf("%g allocations", n)
	}
	l.Cleaned()
	if n := testing.AllocsPerRun(7000, func() { now = now.Add(100 * time.Millisecond); l.Step(now, in) }); n != 0 {
		t.Errorf("%g allocations while it learns", n)
	}
}

func BenchmarkStep(b *testing.B) {
	l, err := New(Opts{Clean: Clean{Drop: 120, Flow: 6}})
	if err != nil {
		b.Fatal(err)
	}
	in, now := Inputs{Drop: pa(240, 5), Flow: pa(6, 0.3), Temp: pa(45, 2), Air: pa(1e5, 100)}, noon
	for b.Loop() {
		now = now.Add(100 * time.Millisecond)
		l.Step(now, in)
	}
}
