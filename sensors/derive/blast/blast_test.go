package blast

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

func good(v float64) *sensors.Reading {
	return &sensors.Reading{At: start, Value: v, Raw: v, Status: sensors.Good}
}

func bad(s sensors.Status) *sensors.Reading {
	r := sensors.Bad("x", start, s, errors.New("wire"))
	return &r
}

func rig(ret float64) Opts {
	o := Opts{Hearth: hearth.Default(), Engine: engine.Default()}
	o.Hearth.Return, o.Engine.Displacement = ret, 420e-6
	return o
}

func of(t *testing.T, o Opts) *Blast {
	t.Helper()
	b, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func solved(t *testing.T, in hearth.Input) hearth.State {
	t.Helper()
	s, err := hearth.Solve(in)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.6g, want %.6g", what, got, want)
	}
}

// The channels are the hearth's, the power that of the engine at what it draws.
func TestReadings(t *testing.T) {
	o := rig(0.15)
	b := of(t, o)
	want := solved(t, o.Hearth)
	run, err := engine.Run(o.Engine, 3000, engine.From(&want))
	if err != nil {
		t.Fatal(err)
	}
	b.Step(start, Inputs{Flow: good(run.GasFlow), Speed: good(3000)})
	r := b.Readings(nil)
	if len(r) != len(Channels(o)) || len(r) != 4 {
		t.Fatalf("%d readings", len(r))
	}
	for i, v := range []float64{want.BedExit, want.HeatWet / 1e6, want.AirNeedWet, run.Shaft} {
		near(t, r[i].Channel, r[i].Value, v, 1e-6*v)
		if r[i].Channel != Channels(o)[i].Name || r[i].Status != sensors.Good || !(r[i].Uncertainty > 0) || !r[i].At.Equal(start) || !math.IsNaN(r[i].Cold) {
			t.Errorf("%+v", r[i])
		}
	}
	// The bed's uncertainty, by its definition.
	var sum float64
	for _, change := range []func(*hearth.Input, float64){
		func(x *hearth.Input, by float64) { x.Return += by * 0.05 },
		func(x *hearth.Input, by float64) { x.Loss += by * 0.05 },
		func(x *hearth.Input, by float64) { x.Moisture += by * 0.02 },
	} {
		lo, hi := o.Hearth, o.Hearth
		change(&lo, -1)
		change(&hi, 1)
		sum += math.Pow((solved(t, hi).BedExit-solved(t, lo).BedExit)/2, 2)
	}
	near(t, "uncertainty", r[bedExit].Uncertainty, math.Sqrt(sum), 0.01)

	if s, ok := b.State(); !ok || s.BedExit != r[bedExit].Value || b.Input().Return != 0.15 {
		t.Errorf("%v %+v", ok, b.Input())
	}
	o.Engine.Displacement = 0
	if b = of(t, o); len(b.Readings(nil)) != 3 || len(Channels(o)) != 3 {
		t.Error("power of an engine that is not known")
	}
}

// A line as cold as the air leads nothing back; it opens and shuts with slack.
func TestReturnLine(t *testing.T) {
	b := of(t, rig(0.15))
	now := start
	at := func(line float64, in Inputs) float64 {
		now = now.Add(solveEvery)
		in.Return, in.Air = good(line), good(20)
		b.Step(now, in)
		return b.Input().Return
	}
	runs := Inputs{Speed: good(3000)}
	for _, c := range []struct{ line, want float64 }{{22, 0}, {35, 0}, {120, 0.15}, {35, 0.15}, {28, 0}, {35, 0}} {
		if got := at(c.line, runs); got != c.want {
			t.Errorf("line at %g degC: %g, want %g", c.line, got, c.want)
		}
	}
	if at(150, runs); b.Input().ExhaustTemp != 150 {
		t.Errorf("%+v", b.Input())
	}
	if got := at(150, Inputs{Speed: good(0), Flow: good(5)}); got != 0 {
		t.Errorf("%g from an engine that stands", got)
	}
	if got := at(150, Inputs{Speed: bad(sensors.Open), Flow: good(5)}); got != 0.15 {
		t.Errorf("%g of an unknown speed", got)
	}
	if got := at(900, runs); got != 0.15 || b.Input().ExhaustTemp != 600 {
		t.Errorf("%+v", b.Input())
	}
}

func TestWeather(t *testing.T) {
	b := of(t, rig(0))
	b.Step(start, Inputs{Speed: good(3000), Air: good(10), Pressure: good(90e3), Humidity: good(0.8)})
	x := b.Input()
	near(t, "air", x.AirTemp, 10, 0)
	near(t, "pressure", x.Pressure, 90e3, 0)
	near(t, "water", x.Humidity*gas.Saturation(298.15), 0.8*gas.Saturation(283.15), 1e-9)
	b.Step(start.Add(time.Minute), Inputs{Speed: good(3000), Air: good(900), Pressure: good(1), Humidity: bad(sensors.NoAnswer)})
	if b.Input() != b.in {
		t.Errorf("%+v", b.Input())
	}
}

// Bare steel at 500 degC in air of 20: by hand, 0.85 sigma (773.15^4 -
// 293.15^4) = 16866 W/m2 and 10 x 480 = 4800 W/m2.
func TestWallLoss(t *testing.T) {
	near(t, "W", WallLoss(0.1, 500, 20), 2167, 1)
	near(t, "in balance", WallLoss(0.1, 20, 20), 0, 0)

	o := rig(0)
	o.WallArea = 0.1
	b := of(t, o)
	in := Inputs{Speed: good(3000), Flow: good(12), Air: good(20), Walls: []*sensors.Reading{good(450), good(550), bad(sensors.Open), nil}}
	b.Step(start, in)
	s := solved(t, o.Hearth)
	near(t, "loss", b.Input().Loss, WallLoss(0.1, 500, 20)/(12/s.YieldWet/3600*s.LHV), 1e-9)
	in.Flow = good(0.6)
	b.Step(start.Add(time.Minute), in)
	near(t, "never out of the box", b.Input().Loss, 0.25, 0)
	in.Flow = nil
	b.Step(start.Add(2*time.Minute), in)
	near(t, "without flow as configured", b.Input().Loss, 0.10, 0)
}

func TestNothingBlown(t *testing.T) {
	for _, c := range []struct {
		name string
		in   Inputs
		want sensors.Status
	}{
		{"nothing fitted", Inputs{}, sensors.Unknown},
		{"stands", Inputs{Speed: good(0)}, sensors.Unknown},
		{"no flow", Inputs{Speed: good(0), Flow: good(0.1)}, sensors.Unknown},
		{"flow not yet", Inputs{Flow: bad(sensors.Unknown)}, sensors.Unknown},
		{"flow stale", Inputs{Speed: good(0), Flow: bad(sensors.Stale)}, sensors.Stale},
		{"flow below", Inputs{Flow: bad(sensors.ClippedLow)}, sensors.Unknown},
		{"speed open", Inputs{Speed: bad(sensors.NoAnswer)}, sensors.NoAnswer},
	} {
		b := of(t, rig(0.1))
		b.Step(start, Inputs{Speed: good(3000), Flow: good(10)})
		b.Step(start.Add(tick), c.in)
		for _, r := range b.Readings(nil) {
			if r.Status != c.want || r.Err == nil || !math.IsNaN(r.Value) {
				t.Errorf("%s: %+v", c.name, r)
			}
		}
		if _, ok := b.State(); ok || b.Advice() != (Advice{}) {
			t.Errorf("%s: a last value stands", c.name)
		}
	}
	// The bed is known where the power is not.
	for _, in := range []Inputs{{Speed: good(3000)}, {Flow: good(8)}, {Speed: good(3000), Flow: bad(sensors.Stale)}, {Speed: bad(sensors.Stale), Flow: good(8)}, {Speed: good(0), Flow: good(8)}} {
		b := of(t, rig(0.1))
		b.Step(start, in)
		if r := b.Readings(nil); r[bedExit].Status != sensors.Good || r[shaftPower].Status == sensors.Good || r[shaftPower].Err == nil {
			t.Errorf("%+v: %+v", in, r)
		}
	}
}

func TestOpts(t *testing.T) {
	wet, imposed, area, litres := rig(0), rig(0), rig(0), rig(0)
	wet.Hearth.Moisture = 0.6
	imposed.Hearth.Imposed, imposed.Hearth.BedExit = true, 800
	area.WallArea = math.NaN()
	litres.Engine.Displacement = 420
	for _, o := range []Opts{wet, imposed, area, litres} {
		if _, err := New(o); err == nil {
			t.Errorf("%+v taken", o)
		}
	}
}

// Solutions are a second apart, judgements ten, and none of it allocates.
func TestThrottled(t *testing.T) {
	b := of(t, rig(0.1))
	at := func(ms int, air float64) float64 {
		b.Step(start.Add(time.Duration(ms)*time.Millisecond), Inputs{Speed: good(3000), Air: good(air)})
		return b.Readings(nil)[bedExit].Value
	}
	first := at(0, 20)
	if at(900, 60) != first || at(1000, 60) <= first {
		t.Error("not once a second")
	}
	was := b.advice
	if at(9000, 70); b.advice != was {
		t.Error("judged too soon")
	}
	if at(10000, 70); b.advice == was {
		t.Error("not judged")
	}
	now := start
	in := Inputs{Speed: good(3000), Flow: good(10), Return: good(120), Air: good(20), Walls: []*sensors.Reading{good(300)}}
	stands := Inputs{Speed: good(0)}
	buf := make([]sensors.Reading, 0, channels)
	if n := testing.AllocsPerRun(100, func() {
		now = now.Add(judgeEvery)
		b.Step(now, in)
		b.Step(now.Add(tick), in)
		b.Step(now.Add(2*tick), stands)
		buf = b.Readings(buf[:0])
	}); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

func BenchmarkStep(b *testing.B) {
	x, _ := New(rig(0.1))
	now := start
	in := Inputs{Speed: good(3000), Flow: good(10), Return: good(120), Air: good(20)}
	b.ReportAllocs()
	for b.Loop() {
		now = now.Add(tick)
		x.Step(now, in)
	}
}

// A judgement and the solution that it is of.
func BenchmarkJudge(b *testing.B) {
	x, _ := New(rig(0.1))
	now := start
	in := Inputs{Speed: good(3000), Flow: good(10)}
	b.ReportAllocs()
	for b.Loop() {
		now = now.Add(judgeEvery)
		x.Step(now, in)
	}
}
