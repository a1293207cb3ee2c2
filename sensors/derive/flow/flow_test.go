package flow

import (
	"errors"
	"math"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/engine"
	"charwarden/sensors/derive/gas"
	"charwarden/sensors/derive/hearth"
)

var start = time.Date(2026, 6, 1, 14, 0, 0, 0, time.UTC)

const tick = 100 * time.Millisecond

func good(v, u float64, at time.Time) *sensors.Reading {
	return &sensors.Reading{At: at, Value: v, Raw: v, Uncertainty: u, Status: sensors.Good}
}

func bad(s sensors.Status) *sensors.Reading {
	r := sensors.Bad("x", start, s, errors.New("wire"))
	return &r
}

func pump() engine.Spec {
	s := engine.Default()
	s.Displacement = 420e-6
	return s
}

func of(t *testing.T, o Opts) *Flow {
	t.Helper()
	f, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func known(t *testing.T, r sensors.Reading) sensors.Reading {
	t.Helper()
	if r.Status != sensors.Good || r.Err != nil || !(r.Value >= 0) || !(r.Uncertainty > 0) || r.Channel != "gas_flow" || !math.IsNaN(r.Cold) {
		t.Fatalf("%+v", r)
	}
	return r
}

// A measured point comes back at its suction, and half of it at a quarter.
func TestMeasuredPoint(t *testing.T) {
	f := of(t, Opts{Point: Point{Suction: 400, Gas: 12}})
	in := Inputs{Air: good(25, 0.5, start), Pressure: good(gas.Atm, 100, start)}
	in.Suction = good(400, 5, start)
	r := known(t, f.Step(start, in))
	if math.Abs(r.Value-12) > 1e-9 || r.Uncertainty < 0.03*12 || r.Uncertainty > 0.08*12 {
		t.Errorf("%+v", r)
	}
	in.Suction = good(100, 5, start)
	if r = known(t, f.Step(start.Add(time.Hour), in)); math.Abs(r.Value-6) > 1e-9 { // and starts anew after the gap
		t.Errorf("%+v", r)
	}
	// Thinner air: at 81 % of the pressure, 90 % of the flow at that suction.
	in.Pressure = good(0.81*gas.Atm, 100, start)
	if r = f.Step(start.Add(2*time.Hour), in); math.Abs(r.Value-5.4) > 1e-9 {
		t.Errorf("%+v", r)
	}
	if !math.IsNaN(f.Disagreement()) {
		t.Error("disagrees with nothing")
	}
}

// By the bore: what the hearth's balance makes of the nozzle's law.
func TestBore(t *testing.T) {
	n := Nozzle{Bore: 12.7e-3, Discharge: 0.8}
	f := of(t, Opts{Nozzle: n})
	h, _ := hearth.Solve(hearth.Default())
	air := Fluid{Gas: gas.DryAir, Temp: 25, Pressure: gas.Atm}
	want := n.Flow(&air, 129) * h.YieldWet / h.Blast
	in := Inputs{Suction: good(129, 2, start), Air: good(25, 1, start), Pressure: good(gas.Atm, 100, start)}
	r := known(t, f.Step(start, in))
	if math.Abs(r.Value-want) > 1e-9 || r.Uncertainty < 0.15*want || r.Uncertainty > 0.17*want {
		t.Errorf("%+v, want %g", r, want)
	}
	// With exhaust led back there is less gas for the blast.
	back := hearth.Default()
	back.Return = 0.2
	h, _ = hearth.Solve(back)
	f.Hearth(&h)
	if s := f.Step(start.Add(time.Minute), in); !(s.Value < 0.97*want) || !(s.Uncertainty/s.Value < r.Uncertainty/r.Value) {
		t.Errorf("%+v", s)
	}
	was := f.state
	f.Hearth(&hearth.State{YieldWet: math.NaN()})
	if f.state != was {
		t.Error("took a hearth that cannot be")
	}
}

// Speed alone knows little but the ceiling; a manifold's pressure makes it good.
func TestSpeed(t *testing.T) {
	f := of(t, Opts{Engine: pump()})
	h, _ := hearth.Solve(hearth.Default())
	full, err := engine.Run(pump(), 3000, engine.From(&h))
	if err != nil {
		t.Fatal(err)
	}
	r := known(t, f.Step(start, Inputs{Speed: good(3000, 0, start)}))
	if lo, hi := r.Value-r.Uncertainty, r.Value+r.Uncertainty; lo > 0.25*full.GasFlow || hi < full.GasFlow || r.Value > full.GasFlow {
		t.Errorf("%g..%g of %g", lo, hi, full.GasFlow)
	}
	old := start.Add(-time.Second)
	r = known(t, f.Step(start.Add(time.Minute), Inputs{Speed: good(3000, 0, start), Manifold: good(47.5e3, 200, old)}))
	if math.Abs(r.Value-full.GasFlow/2) > 1e-6*r.Value || r.Uncertainty > 0.06*r.Value || r.At != old {
		t.Errorf("%+v of %g", r, full.GasFlow)
	}
	for name, in := range map[string]Inputs{
		"stands":         {Speed: good(0, 0, start)},
		"nothing":        {},
		"suction no use": {Suction: good(300, 1, start)},
		"clipped":        {Speed: bad(sensors.ClippedHigh)},
	} {
		if r := f.Step(start, in); r.Status != sensors.Unknown || r.Err == nil || !math.IsNaN(r.Value) {
			t.Errorf("%s: %+v", name, r)
		}
	}
}

// Both, that agree: better than either; that do not: said, and less certain.
func TestBoth(t *testing.T) {
	o := Opts{Nozzle: Nozzle{Bore: 20e-3, Discharge: 0.8}, Engine: pump()}
	step := func(in Inputs) (sensors.Reading, float64) {
		f := of(t, o)
		r := known(t, f.Step(start, in))
		return r, f.Disagreement()
	}
	speed, manifold := good(3000, 0, start), good(80e3, 100, start)
	e, _ := step(Inputs{Speed: speed, Manifold: manifold})
	// Look for the suction that says the same.
	var n sensors.Reading
	pa := 50.0
	for ; pa < 1000; pa++ {
		if n, _ = step(Inputs{Suction: good(pa, 3, start)}); n.Value >= e.Value {
			break
		}
	}
	b, en := step(Inputs{Suction: good(pa, 3, start), Speed: speed, Manifold: manifold})
	if math.Abs(en) > 0.1 || !(b.Uncertainty < e.Uncertainty && b.Uncertainty < n.Uncertainty) {
		t.Errorf("disagree by %g: %+v", en, b)
	}
	blocked, en := step(Inputs{Suction: good(3*pa, 3, start), Speed: speed, Manifold: manifold})
	if !(en > 1) || !(blocked.Uncertainty > b.Uncertainty) {
		t.Errorf("blocked: %g, %+v", en, blocked)
	}
	if _, en := step(Inputs{Suction: good(pa/4, 3, start), Speed: speed, Manifold: manifold}); !(en < -1) {
		t.Errorf("leak: %g", en)
	}
	// However high the suction: never more than the engine can draw.
	top, _ := step(Inputs{Suction: good(9000, 3, start), Speed: speed})
	full, _ := step(Inputs{Suction: good(9000, 3, start)})
	h, _ := hearth.Solve(hearth.Default())
	run, _ := engine.Run(pump(), 3000, engine.From(&h))
	if !(top.Value <= 1.1*run.GasFlow) || !(full.Value > 2*run.GasFlow) {
		t.Errorf("%g and %g of %g", top.Value, full.Value, run.GasFlow)
	}
	// A blower, with the engine standing: the hearth's flow, and none if nothing draws.
	if r, en := step(Inputs{Suction: good(pa, 3, start), Speed: good(0, 0, start)}); r.Value != n.Value || !math.IsNaN(en) {
		t.Errorf("%+v", r)
	}
	if r, _ := step(Inputs{Suction: good(0, 3, start), Speed: good(0, 0, start)}); r.Value != 0 || r.Uncertainty > e.Value/3 {
		t.Errorf("%+v", r)
	}
	if r, _ := step(Inputs{Suction: good(-20, 3, start), Speed: good(0, 0, start)}); r.Value != 0 || !(r.Raw < 0) {
		t.Errorf("%+v", r)
	}
}

func TestBadReadings(t *testing.T) {
	o := Opts{Nozzle: Nozzle{Bore: 20e-3, Discharge: 0.8}, Engine: pump()}
	for _, c := range []struct {
		name           string
		suction, speed *sensors.Reading
		want           sensors.Status
	}{
		{"suction", bad(sensors.NoAnswer), good(3000, 0, start), sensors.Good},
		{"speed", good(200, 2, start), bad(sensors.Stale), sensors.Good},
		{"both", bad(sensors.NoAnswer), bad(sensors.Stale), sensors.NoAnswer},
		{"suction not yet", bad(sensors.Unknown), bad(sensors.Stale), sensors.Stale},
		{"suction, standing", bad(sensors.Open), good(0, 0, start), sensors.Open},
		{"suction not yet, standing", bad(sensors.Unknown), good(0, 0, start), sensors.Unknown},
		{"suction alone", bad(sensors.Unzeroed), nil, sensors.Unzeroed},
		{"speed alone", nil, bad(sensors.NoAnswer), sensors.NoAnswer},
	} {
		r := of(t, o).Step(start, Inputs{Suction: c.suction, Speed: c.speed})
		if r.Status != c.want || (r.Status == sensors.Good) == math.IsNaN(r.Value) || (r.Status == sensors.Good) != (r.Err == nil) {
			t.Errorf("%s: %+v", c.name, r)
		}
	}
	top := good(500, 5, start)
	top.Status = sensors.ClippedHigh
	f := of(t, o)
	if r := f.Step(start, Inputs{Suction: top}); r.Status != sensors.ClippedHigh || !(r.Value > 1) || r.Err == nil {
		t.Errorf("%+v", r)
	}
	if r := f.Step(start, Inputs{Suction: top, Speed: good(3000, 0, start)}); r.Status != sensors.Good {
		t.Errorf("%+v", r)
	}
}

// A step of the flow is there to 63 % after 10 s, and at once after a gap.
func TestLag(t *testing.T) {
	f := of(t, Opts{Point: Point{Suction: 400, Gas: 12}})
	f.Step(start, Inputs{Suction: good(100, 1, start)})
	now := start
	var r sensors.Reading
	for range 100 {
		now = now.Add(tick)
		r = f.Step(now, Inputs{Suction: good(400, 1, now)})
	}
	was := f.nozzle.Flow(&Fluid{Gas: f.state.blast, Temp: assumedAir, Pressure: assumedPressure}, 100) * f.state.ratio
	if want := was + (r.Raw-was)*(1-math.Exp(-1)); math.Abs(r.Value-want) > 1e-6 {
		t.Errorf("%g, want %g", r.Value, want)
	}
	now = now.Add(11 * time.Second)
	if r = f.Step(now, Inputs{Suction: good(100, 1, now)}); r.Value != r.Raw {
		t.Errorf("%+v", r)
	}
}

func TestOpts(t *testing.T) {
	wild := hearth.Default()
	wild.Return = 0.7
	for _, o := range []Opts{
		{}, {Nozzle: Nozzle{Bore: 12}}, {Nozzle: Nozzle{Bore: 0.012, Discharge: math.NaN()}}, {Point: Point{Suction: 100}}, {Point: Point{Gas: math.NaN(), Suction: 1}},
		{Engine: engine.Spec{Displacement: 420}}, {Nozzle: Nozzle{Bore: 0.012, Discharge: 0.8}, Hearth: wild},
	} {
		if _, err := New(o); err == nil {
			t.Errorf("%+v taken", o)
		}
	}
}

func TestNoAllocation(t *testing.T) {
	f := of(t, Opts{Nozzle: Nozzle{Bore: 20e-3, Discharge: 0.8}, Engine: pump()})
	now := start
	in := Inputs{Suction: good(200, 2, now), Speed: good(3000, 5, now), Manifold: good(80e3, 100, now), Air: good(20, 1, now), Gas: good(40, 1, now)}
	stands := Inputs{Speed: good(0, 0, now)}
	if n := testing.AllocsPerRun(200, func() { now = now.Add(tick); f.Step(now, in); f.Step(now, stands) }); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

func BenchmarkStep(b *testing.B) {
	f, _ := New(Opts{Nozzle: Nozzle{Bore: 20e-3, Discharge: 0.8}, Engine: pump()})
	now := start
	in := Inputs{Suction: good(200, 2, now), Speed: good(3000, 5, now), Air: good(20, 1, now)}
	b.ReportAllocs()
	for b.Loop() {
		now = now.Add(tick)
		f.Step(now, in)
	}
}

// With the lid open to refuel suction collapses while the engine runs on: the
// flow is then the engine's, little known, and not the next to nothing of suction.
func TestOpenLid(t *testing.T) {
	f := of(t, Opts{Point: Point{Suction: 500, Gas: 9}, Engine: pump()})
	at := func(suction float64) sensors.Reading {
		return known(t, f.Step(start, Inputs{
			Suction: &sensors.Reading{At: start, Value: suction, Uncertainty: 5, Status: sensors.Good},
			Speed:   &sensors.Reading{At: start, Value: 3000, Status: sensors.Good},
		}))
	}
	closed := at(400)
	if f.LidOpen() {
		t.Error("shut, and taken as open")
	}
	if closed.Uncertainty > 0.1*closed.Value {
		t.Errorf("closed: %g within %g", closed.Raw, closed.Uncertainty)
	}
	if open := at(8); !f.LidOpen() || !(open.Raw > 4) || open.Uncertainty < 0.4*open.Raw {
		t.Errorf("open: %g within %g", open.Raw, open.Uncertainty)
	}
	if idle := at(60); math.Abs(idle.Raw-9*math.Sqrt(60.0/500)) > 0.3 {
		t.Errorf("a low load: %g within %g", idle.Raw, idle.Uncertainty)
	}
}
