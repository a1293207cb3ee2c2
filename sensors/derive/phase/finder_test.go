package phase

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

var noon = time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)

const tick = 100 * time.Millisecond

// gone is what a fitted sensor reads that has no value; absent one that is not
// fitted.
var gone, absent = math.NaN(), math.Inf(-1)

// state is what the rig shows for a while: rpm, degC, degC, Pa.
type state struct {
	lasts                     time.Duration
	speed, wall, gas, suction float64
}

func reading(v float64) *sensors.Reading {
	switch {
	case v == absent:
		return nil
	case math.IsNaN(v):
		r := sensors.Bad("x", noon, sensors.NoAnswer, errors.New("test"))
		return &r
	}
	return &sensors.Reading{Channel: "x", Value: v, Raw: v, Status: sensors.Good}
}

func (s state) inputs() Inputs {
	return Inputs{Speed: reading(s.speed), Walls: []*sensors.Reading{reading(s.wall), nil}, GasOut: reading(s.gas), Suction: reading(s.suction)}
}

func finder(t testing.TB, o Opts) *Finder {
	f, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// story plays states one after the other and tells the changes of phase with
// the second at which each came.
func story(t *testing.T, f *Finder, states ...state) string {
	var told []string
	now, was := noon, Phase(99)
	for _, s := range states {
		in := s.inputs()
		for end := now.Add(s.lasts); now.Before(end); now = now.Add(tick) {
			if p := f.Step(now, in); p != was {
				told = append(told, fmt.Sprintf("%s %.0f", p, now.Sub(noon).Seconds()))
				was = p
			}
		}
	}
	return strings.Join(told, ", ")
}

const (
	s = time.Second
	m = time.Minute
)

// Every edge, with the time at which it must come: the limits are the defaults
// of Opts, the times follow from them.
func TestEdges(t *testing.T) {
	cold := state{20 * s, 0, 20, 20, 0}
	lit := state{20 * s, 0, 100, 180, 300}
	warming := state{20 * s, 3000, 150, 200, 300}
	run := state{3 * m, 3000, 400, 300, 500}
	stopped := state{20 * s, 0, 350, 230, 0}
	for _, c := range []struct {
		name, want string
		states     []state
	}{
		{"nothing known", "cold 0", []state{{10 * m, gone, gone, gone, gone}}},
		{"nothing fitted", "cold 0", []state{{10 * m, absent, absent, absent, absent}}},
		{"blower", "cold 0, lighting 30", []state{cold, {20 * s, 0, 20, 20, 30}}},
		{"a draught is no blower", "cold 0", []state{cold, {10 * m, 0, 20, 20, 29}}},
		{"warmth", "cold 0, lighting 30", []state{cold, {20 * s, 0, 20, 70, 0}}},
		{"the sun", "cold 0", []state{cold, {10 * m, 0, 69, 69, 0}}},
		{"one gust", "cold 0", []state{cold, {9 * s, 0, 20, 20, 60}, cold}},
		{"purged and not lit", "cold 0, lighting 30, cold 150", []state{cold, {10 * s, 0, 20, 20, 200}, {tick, 0, 20, 20, 200}, {4 * m, 0, 20, 20, 0}}},
		{"purged, suction lost", "cold 0, lighting 30", []state{cold, {11 * s, 0, 20, 20, 200}, {10 * m, 0, 20, 20, gone}}},
		{"lit and given up", "cold 0, lighting 30, sealed 640", []state{cold, lit, {11 * m, 0, 150, 150, 0}}},
		{"start", "cold 0, lighting 30, warming 43", []state{cold, lit, warming}},
		{"cranked by hand", "cold 0, lighting 30", []state{cold, lit, {2 * s, 400, 100, 180, 300}, lit}},
		{"start on a cold rig", "cold 0, warming 23", []state{cold, {5 * m, 3000, 20, 20, 300}}},
		{"hot at once", "cold 0, lighting 30, warming 43, running 163", []state{cold, lit, run}},
		{"hot later", "cold 0, lighting 30, warming 43, running 240", []state{cold, lit, {200 * s, 3000, 199, 249, 300}, run}},
		{"hot by gas", "cold 0, lighting 30, warming 43, running 163", []state{cold, lit, {3 * m, 3000, 150, 250, 300}}},
		{"a start that failed", "cold 0, lighting 30, warming 43, lighting 63", []state{cold, lit, warming, lit}},
		{"stalled while warming", "cold 0, lighting 30, warming 43, stopping 63", []state{cold, lit, warming, {20 * s, 0, 150, 200, 0}}},
		{"stop", "cold 0, running 3, stopping 190, sealed 310", []state{run, stopped, {5 * m, 0, 300, 200, -20}}},
		{"stop and seal without suction", "cold 0, running 3, stopping 183, sealed 303", []state{
			{3 * m, 3000, 400, 300, absent}, {5 * m, 0, 350, 230, absent}}},
		{"suction lost at the stop", "cold 0, running 3, stopping 190, sealed 310", []state{run, {5 * m, 0, 350, 230, gone}}},
		{"open nozzle draws", "cold 0, running 3, stopping 190", []state{run, stopped, {10 * m, 0, 300, 200, 28}}},
		{"blower after the stop", "cold 0, running 3, stopping 190, lighting 210", []state{run, stopped, {m, 0, 300, 200, 200}}},
		{"stalled and started again", "cold 0, running 3, stopping 190, running 203", []state{run, stopped, run}},
		{"started again when it had cooled", "cold 0, running 3, stopping 190, warming 203", []state{run, stopped, warming}},
		{"cold again", "cold 0, running 3, stopping 190, sealed 310, cold 510", []state{run, stopped, {5 * m, 0, 60, 59, 0}, {m, 0, 59, 59, 0}}},
		{"one couple broken: not proved cold", "cold 0, running 3, stopping 190, sealed 310", []state{run, stopped, {5 * m, 0, 60, 59, 0}, {m, 0, gone, 20, 0}}},
		{"pulses lost", "cold 0, running 3", []state{run, {10 * m, 0, 400, 300, 500}}},
		{"no answer from the tacho", "cold 0, running 3", []state{run, {10 * m, gone, 400, 300, 60}}},
		{"tacho lost, then still", "cold 0, running 3, stopping 303", []state{run, {3 * m, gone, 400, 300, 0}}},
		{"all lost while running", "cold 0, running 3", []state{run, {60 * m, gone, gone, gone, gone}}},
		{"all lost while sealed", "cold 0, running 3, stopping 190, sealed 310", []state{run, stopped, {3 * m, 0, 300, 200, 0}, {60 * m, gone, gone, gone, gone}}},
		{"daemon begins at a run", "cold 0, running 3", []state{run}},
		{"daemon begins while warming", "cold 0, warming 3", []state{warming}},
		{"daemon begins at the blower", "cold 0, lighting 10", []state{lit}},
		{"daemon begins at a hot rig", "cold 0, stopping 10, sealed 130", []state{{5 * m, 0, 300, 200, 0}}},
		{"daemon begins at a run without speed", "cold 0, running 123", []state{{5 * m, gone, 400, 300, 500}}},
		{"no tacho", "cold 0, lighting 30, warming 43, running 163, stopping 343, sealed 463", []state{
			{20 * s, absent, 20, 20, 0}, {20 * s, absent, 100, 180, 300}, {3 * m, absent, 400, 300, 500}, {10 * m, absent, 300, 200, 0}}},
		{"no tacho: lid open to refuel", "cold 0, running 3", []state{
			{m, absent, 400, 300, 500}, {110 * s, absent, 400, 300, 0}, {m, absent, 400, 300, 500}}},
		{"temperatures only", "cold 0, lighting 30, warming 43, running 163, stopping 223, sealed 343, cold 650", []state{
			{20 * s, absent, 20, 20, absent}, {20 * s, absent, 100, 180, absent}, {3 * m, absent, 400, 300, absent}, {7 * m, absent, 179, 229, absent}, {m, absent, 30, 30, absent}}},
		{"no thermometer", "cold 0, lighting 30, warming 43, running 163, stopping 230, sealed 350", []state{
			{20 * s, 0, absent, absent, 0}, {20 * s, 0, absent, absent, 300}, {3 * m, 3000, absent, absent, 300}, {9 * m, 0, absent, absent, 0}}},
		{"never ran: it warms again", "cold 0, lighting 30, warming 43, stopping 63, warming 83, running 203", []state{
			cold, lit, {20 * s, 3000, 400, 300, 300}, {20 * s, 0, 350, 230, 0}, run}},
		{"blower and start after the stop", "cold 0, running 3, stopping 190, running 212", []state{run, stopped, {9 * s, 0, 300, 200, 200}, run}},
		{"start as it gets cold", "cold 0, running 3, stopping 190, sealed 310, warming 512", []state{
			run, stopped, {5 * m, 0, 60, 59, 0}, {9 * s, 0, 59, 59, 0}, {20 * s, 3000, 59, 59, 0}}},
		{"cold and perhaps drawn", "cold 0, running 3, stopping 190", []state{run, stopped, {5 * m, 0, 20, 20, 28}}},
		{"start as it is given up", "cold 0, lighting 30, warming 642", []state{cold, lit, {599 * s, 0, 150, 150, 0}, {20 * s, 3000, 150, 150, 0}}},
		{"a phase lasts 5 s", "cold 0, lighting 30, warming 35", []state{cold, {8 * s, 0, 100, 180, 300}, warming}},
		{"daemon begins at the blower without speed", "cold 0, lighting 10", []state{{m, gone, 20, 20, 200}}},
		{"coasting is neither", "cold 0, running 3", []state{run, {m, 200, 350, 230, 0}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := story(t, finder(t, Opts{}), c.states...); got != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
		})
	}
}

func TestKnown(t *testing.T) {
	f := finder(t, Opts{})
	story(t, f, state{m, gone, 20, 20, gone})
	if !f.Known() {
		t.Error("a cold rig is not known to be cold")
	}
	f = finder(t, Opts{})
	story(t, f, state{m, gone, gone, 20, 0})
	if f.Known() {
		t.Error("known to be cold without a wall")
	}
}

func TestClipped(t *testing.T) {
	high := &sensors.Reading{Value: 2000, Status: sensors.ClippedHigh}
	low := &sensors.Reading{Value: -100, Status: sensors.ClippedLow}
	for _, c := range []struct {
		r     *sensors.Reading
		limit float64
		want  fact
	}{{high, 100, yes}, {high, 3000, unknown}, {low, 100, no}, {low, -200, unknown},
		{&sensors.Reading{Value: gone, Status: sensors.Good}, 0, unknown}, {&sensors.Reading{Value: 500, Status: sensors.Stale}, 0, unknown}} {
		if got := reached(c.r, c.limit); got != c.want {
			t.Errorf("%v %g at %g: %d, want %d", c.r.Status, c.r.Value, c.limit, got, c.want)
		}
	}
}

func TestForce(t *testing.T) {
	f := finder(t, Opts{})
	at := func(after time.Duration, st state) Phase { return f.Step(noon.Add(after), st.inputs()) }
	check := func(what string, got, want Phase, forced bool) {
		t.Helper()
		if got != want || f.Forced() != forced {
			t.Errorf("%s: %v, forced %v, want %v, %v", what, got, f.Forced(), want, forced)
		}
	}
	still := state{0, 0, 20, 20, 0}
	for d := time.Duration(0); d < m; d += tick {
		at(d, still)
	}
	f.Force(noon.Add(m), Lighting)
	check("forced", at(m, still), Lighting, true)
	if f.Inferred() != Cold || !f.Since().Equal(noon.Add(m)) {
		t.Errorf("inferred %v, since %v", f.Inferred(), f.Since().Sub(noon))
	}
	check("stays", at(2*m, still), Lighting, true)
	f.Auto(noon.Add(2 * m))
	check("given back", at(2*m, still), Cold, false)
	if !f.Since().Equal(noon.Add(2 * m)) {
		t.Errorf("since %v", f.Since().Sub(noon))
	}

	// Readings that agree end it; the next change is theirs.
	f.Force(noon.Add(3*m), Lighting)
	blown := state{0, 0, 20, 20, 200}
	for d := 3 * m; d < 3*m+11*s; d += tick {
		at(d, blown)
	}
	check("agreed", at(3*m+11*s, blown), Lighting, false)
	if !f.Since().Equal(noon.Add(3 * m)) { // it has been Lighting all along
		t.Errorf("since %v", f.Since().Sub(noon))
	}
	f.Force(noon.Add(4*m), Lighting)
	check("already so", at(4*m, blown), Lighting, false)

	// Before anything is known a force of Cold is the operator's, too.
	f = finder(t, Opts{})
	f.Force(noon, Cold)
	check("cold by force", at(0, state{0, gone, gone, gone, gone}), Cold, true)
}

func TestOpts(t *testing.T) {
	for _, o := range []Opts{
		{Turning: 50}, {Standing: 400}, {Standing: -1}, {Cold: 80}, {Warm: 190}, {HotGas: 80}, {Drawn: 20}, {Pulling: 30}, {Still: gone}, {Quiet: -1},
	} {
		if f, err := New(o); err == nil || f != nil {
			t.Errorf("%+v: taken", o)
		} else if !strings.HasPrefix(err.Error(), "phase: ") {
			t.Errorf("%+v: %v", o, err)
		}
	}
	f := finder(t, Opts{Turning: 1000, WarmUp: 10 * s})
	if got, want := story(t, f, state{20 * s, 0, 20, 20, 0}, state{20 * s, 900, 400, 300, 29}, state{20 * s, 1100, 400, 300, 300}),
		"cold 0, lighting 30, warming 43, running 53"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func TestParse(t *testing.T) {
	for p := Cold; p < phases; p++ {
		if got, err := Parse(p.String()); err != nil || got != p {
			t.Errorf("%v: %v, %v", p, got, err)
		}
	}
	if _, err := Parse("boiling"); err == nil || !strings.Contains(err.Error(), "sealed") {
		t.Errorf("boiling: %v", err)
	}
	if got := phases.String(); got != "phase(6)" {
		t.Errorf("out of range: %s", got)
	}
}

func TestNoAllocation(t *testing.T) {
	f := finder(t, Opts{})
	in, now := state{0, 3000, 400, 300, 500}.inputs(), noon
	if n := testing.AllocsPerRun(1000, func() { now = now.Add(tick); f.Step(now, in) }); n != 0 {
		t.Errorf("%g allocations a step", n)
	}
}

func BenchmarkStep(b *testing.B) {
	f := finder(b, Opts{})
	in, now := state{0, 3000, 400, 300, 500}.inputs(), noon
	b.ReportAllocs()
	for b.Loop() {
		now = now.Add(tick)
		f.Step(now, in)
	}
}

// Whatever the readings, a step does not panic, changes are 5 s or more apart,
// unknown readings alone change nothing, and a phase that claims a turning
// engine or a standing one is not entered against the tacho.
func FuzzStep(f *testing.F) {
	f.Add([]byte{0, 0, 0, 0, 40, 200, 3, 3, 3, 3, 90, 1, 2, 3, 4, 5})
	f.Add([]byte("the quick brown fox jumps over the lazy dog, and the engine stands"))
	f.Fuzz(func(t *testing.T, data []byte) {
		fd := finder(t, Opts{})
		pick := func(b byte, values ...float64) float64 { return values[int(b)%len(values)] }
		now, was, changed := noon, Cold, time.Time{}
		for ; len(data) >= 5; data = data[5:] {
			st := state{
				speed:   pick(data[0], gone, 0, 3000, 200, absent, 0, 3000),
				wall:    pick(data[1], gone, 20, 65, 100, 190, 400, absent),
				gas:     pick(data[2], gone, 20, 65, 100, 240, 300, absent),
				suction: pick(data[3], gone, 0, -30, 27, 50, 500, absent),
			}
			in := st.inputs()
			for range 1 + int(data[4])*int(data[4])/20 {
				now = now.Add(tick * 5)
				p := fd.Step(now, in)
				if p == was {
					continue
				}
				if !changed.IsZero() && now.Sub(changed) < 5*s {
					t.Fatalf("%v after %v lasted %v", p, was, now.Sub(changed))
				}
				switch {
				case p >= phases:
					t.Fatalf("phase %d", p)
				case math.IsNaN(st.speed) && math.IsNaN(st.wall) && math.IsNaN(st.gas) && math.IsNaN(st.suction):
					t.Fatalf("%v after %v with nothing known", p, was)
				case st.speed == 3000 && p != Warming && p != Running && p != Lighting:
					t.Fatalf("%v after %v while the engine turns", p, was)
				case st.speed == 0 && (p == Warming || p == Running):
					t.Fatalf("%v after %v while the engine stands", p, was)
				case p == Cold && (st.wall > 60 || st.gas > 60 || math.IsNaN(st.wall) || math.IsNaN(st.gas)):
					t.Fatalf("cold after %v at %g and %g degC", was, st.wall, st.gas)
				}
				was, changed = p, now
			}
		}
	})
}
