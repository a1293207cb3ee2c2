package alarms

import (
	"math"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// watcher is an engine with one rule of the pump that may compare with the
// well, fed every second.
type watcher struct {
	*testing.T
	*Engine
	at time.Duration
}

func watch(t *testing.T, r Rule) *watcher {
	t.Helper()
	e, err := New([]Rule{r}, yard)
	if err != nil {
		t.Fatal(err)
	}
	return &watcher{t, e, 0}
}

// step hands over both values; a NaN is a stale channel.
func (w *watcher) step(pump, well float64) State {
	of := func(name string, v float64) sensors.Reading {
		if math.IsNaN(v) {
			return sensors.Bad(name, day, sensors.Stale, nil)
		}
		return sensors.Reading{Channel: name, Value: v, Status: sensors.Good}
	}
	return w.feed(of("pump", pump), of("well", well))
}

func (w *watcher) feed(r ...sensors.Reading) State {
	w.Step(day.Add(w.at), r, phase.Running)
	w.at += time.Second
	return w.stateOf(0)
}

// over goes on for n seconds and returns the state at the end.
func (w *watcher) over(n int, pump, well func(s float64) float64) (s State) {
	for range n {
		at := w.at.Seconds()
		s = w.step(pump(at), well(at))
	}
	return s
}

func constant(v float64) func(float64) float64 { return func(float64) float64 { return v } }
func line(a, b float64) func(float64) float64  { return func(s float64) float64 { return a + b*s } }
func comparing(k Kind, limit, band float64) Rule {
	r := rule(k, limit, band, 0, 0, false)
	r.Other = "well"
	return r
}

func windowed(k Kind, limit, band float64, window time.Duration) Rule {
	r := rule(k, limit, band, 0, 0, false)
	r.Window = window
	return r
}

// At the limit is past it; at limit and deadband is back; between stays.
func TestEdgesOfComparing(t *testing.T) {
	for _, c := range []struct {
		kind                       Kind
		short, at, inside, outside [2]float64
	}{
		{Exceeds, [2]float64{14.5, 5}, [2]float64{15, 5}, [2]float64{13.5, 5}, [2]float64{13, 5}},
		{Exceeds, [2]float64{-20, 5}, [2]float64{-5, -15}, [2]float64{8.5, 0}, [2]float64{0, 100}},
		{Deviation, [2]float64{5, 14.5}, [2]float64{5, 15}, [2]float64{5, 13.5}, [2]float64{5, 13}},
		{Deviation, [2]float64{14.5, 5}, [2]float64{15, 5}, [2]float64{-3.5, 5}, [2]float64{13, 5}},
	} {
		w := watch(t, comparing(c.kind, 10, 2))
		for i, s := range []struct {
			of   [2]float64
			want State
		}{
			{c.short, Normal}, {c.at, Unacknowledged}, {c.inside, Unacknowledged},
			{[2]float64{c.at[0], math.NaN()}, Unacknowledged}, {[2]float64{math.NaN(), c.outside[1]}, Unacknowledged},
			{c.outside, Returned}, {c.inside, Returned},
		} {
			if got := w.step(s.of[0], s.of[1]); got != s.want {
				t.Errorf("%v, %d: at %v it is %v, want %v", c.kind, i, s.of, got, s.want)
			}
		}
	}
}

// A channel at the end of its scale on the dangerous side is past any limit
// there, and on the other side proves nothing.
func TestClipped(t *testing.T) {
	high := sensors.Reading{Channel: "pump", Value: 50, Status: sensors.ClippedHigh}
	low := sensors.Reading{Channel: "pump", Value: -50, Status: sensors.ClippedLow}
	well := sensors.Reading{Channel: "well", Value: 30, Status: sensors.Good}
	projected := windowed(Projected, 100, 0, time.Minute)
	projected.Within = time.Minute
	for _, c := range []struct {
		rule      Rule
		high, low State
	}{
		{rule(Above, 100, 0, 0, 0, false), Unacknowledged, Normal},
		{rule(Below, -100, 0, 0, 0, false), Normal, Unacknowledged},
		{projected, Unacknowledged, Normal},
		{comparing(Exceeds, 20, 0), Unacknowledged, Normal}, // 50 or more against 30
		{comparing(Exceeds, 20.5, 0), Normal, Normal},
		{comparing(Deviation, 20, 0), Unacknowledged, Normal},
		{rule(Fault, 0, 0, 0, 0, false), Unacknowledged, Unacknowledged},
	} {
		if got := watch(t, c.rule).feed(high, well); got != c.high {
			t.Errorf("%v %v: clipped high it is %v, want %v", c.rule.Kind, c.rule.Limit, got, c.high)
		}
		if got := watch(t, c.rule).feed(low, well); got != c.low {
			t.Errorf("%v %v: clipped low it is %v, want %v", c.rule.Kind, c.rule.Limit, got, c.low)
		}
	}
	well.Status = sensors.ClippedHigh
	if got := watch(t, comparing(Exceeds, 20, 0)).feed(high, well); got != Normal {
		t.Errorf("both clipped: %v, want normal: nothing is known of the difference", got)
	}
}

// A lower bound raises what is above, and neither clears it nor raises what is
// below.
func TestAtLeast(t *testing.T) {
	at := func(v float64) sensors.Reading {
		return sensors.Reading{Channel: "pump", Value: v, AtLeast: true, Status: sensors.Good}
	}
	above := watch(t, rule(Above, 100, 10, 0, 0, false))
	for _, s := range []struct {
		of   float64
		want State
	}{{50, Normal}, {100, Unacknowledged}, {95, Unacknowledged}, {0, Unacknowledged}} {
		if got := above.feed(at(s.of)); got != s.want {
			t.Errorf("above: at least %v: %v, want %v", s.of, got, s.want)
		}
	}
	if got := above.step(50, 0); got != Returned {
		t.Errorf("above: 50 in full: %v, want returned", got)
	}
	below := watch(t, rule(Below, 100, 10, 0, 0, false))
	if got := below.feed(at(50)); got != Normal {
		t.Errorf("below: at least 50: %v, want normal", got)
	}
	below.step(50, 0)
	if got := below.feed(at(105)); got != Unacknowledged {
		t.Errorf("below: at least 105: %v, want unacknowledged", got)
	}
	if got := below.feed(at(110)); got != Returned {
		t.Errorf("below: at least 110: %v, want returned", got)
	}
}

// Rate is per minute: a rise of exactly the limit is one; a fall is none.
func TestRate(t *testing.T) {
	for _, c := range []struct {
		perSecond float64
		want      State
	}{{0.5, Unacknowledged}, {0.499, Normal}, {-5, Normal}, {0, Normal}} {
		w := watch(t, windowed(Rate, 30, 6, 32*time.Second))
		if got := w.over(31, line(100, c.perSecond), constant(0)); got != Normal {
			t.Errorf("%v a second: %v before the window is full", c.perSecond, got)
		}
		if got := w.over(10, line(100, c.perSecond), constant(0)); got != c.want {
			t.Errorf("%v a second: %v, want %v", c.perSecond, got, c.want)
		}
		if a := w.Alarms(nil)[0]; math.Abs(a.Value-60*c.perSecond) > 1e-9 {
			t.Errorf("%v a second: value %v", c.perSecond, a.Value)
		}
	}
}

// A constant value is projected to be what it is; the projection reaches
// Within ahead, never down, and at the limit none is needed.
func TestProjected(t *testing.T) {
	r := windowed(Projected, 100, 5, 32*time.Second)
	r.Within = 100 * time.Second
	for _, c := range []struct {
		name string
		of   func(float64) float64
		want State
		at   int // second of the change
	}{
		{"constant below", constant(99.9), Normal, 0},
		{"constant at the limit", constant(100), Unacknowledged, 0},
		{"rising too slowly", line(50, 0.1), Normal, 0}, // 60 after 100 s
		{"rising", line(50, 0.5), Unacknowledged, 31},   // 50 + 15 + 50 is past it as soon as the window is full
		{"falling", line(99.9, -1), Normal, 0},
	} {
		w := watch(t, r)
		seen := Normal
		for i := range 60 {
			s := w.over(1, c.of, constant(0))
			if s != seen && i != c.at {
				t.Errorf("%s: %v after %d s, want %v", c.name, s, i, c.at)
			}
			seen = s
		}
		if seen != c.want {
			t.Errorf("%s: %v, want %v", c.name, seen, c.want)
		}
	}
}

// A fall is not projected: the value itself has to come back.
func TestProjectedNeverDown(t *testing.T) {
	r := windowed(Projected, 100, 5, 32*time.Second)
	r.Within = 100 * time.Second
	w := watch(t, r)
	if got := w.over(40, constant(105), constant(0)); got != Unacknowledged {
		t.Fatalf("105: %v", got)
	}
	if got := w.over(40, line(105+10, -0.25), constant(0)); got != Unacknowledged { // down to 95.25
		t.Errorf("fell to 95.25: %v, want unacknowledged", got)
	}
	if got := w.step(95, 0); got != Returned {
		t.Errorf("95: %v, want returned", got)
	}
}

// What was seen while the rule did not watch is no part of the fall: it counts
// from when it may watch, over a whole window.
func TestSlowFallCountsFromWatching(t *testing.T) {
	r := windowed(SlowFall, 5, 2, 32*time.Second)
	r.While = []While{{Channel: "well", Kind: Below, Limit: 10}}
	w := watch(t, r)
	if got := w.over(100, constant(80), constant(50)); got != Suppressed {
		t.Fatalf("suppressed by the well: %v", got)
	}
	if got := w.over(30, constant(80), constant(0)); got != Normal { // from the last step that it did not watch
		t.Errorf("30 s of watching: %v, want normal", got)
	}
	if got := w.over(1, constant(80), constant(0)); got != Unacknowledged { // full to within a 32nd
		t.Errorf("31 s of watching: %v, want unacknowledged", got)
	}
	w.over(40, constant(80), constant(0))
	if got := w.step(73.5, 0); got != Unacknowledged { // fell by 6.5: inside the deadband
		t.Errorf("fell by 6.5: %v", got)
	}
	if got := w.step(73, 0); got != Returned {
		t.Errorf("fell by 7: %v, want returned", got)
	}
}

// A channel that stands still is frozen only if the other moved.
func TestFrozen(t *testing.T) {
	r := comparing(Frozen, 0.5, 0.5)
	r.Window, r.OtherMoved = 32*time.Second, 10
	for _, c := range []struct {
		name      string
		own, well func(float64) float64
		want      State
	}{
		{"both stand still", constant(80), constant(20), Normal},
		{"the other moves", constant(80), line(20, 1), Unacknowledged},
		{"the other moves just too little", constant(80), line(20, 0.28), Normal},
		{"the other falls", constant(80), line(200, -1), Unacknowledged},
		{"both move", line(80, 0.5), line(20, 1), Normal},
		{"moves by the limit", func(s float64) float64 { return 80 + 0.5*float64(int(s)%2) }, line(20, 1), Unacknowledged},
	} {
		w := watch(t, r)
		if got := w.over(31, c.own, c.well); got != Normal {
			t.Errorf("%s: %v before the window is full", c.name, got)
		}
		if got := w.over(30, c.own, c.well); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
	w := watch(t, r)
	w.over(40, constant(80), line(20, 1))
	if got := w.over(60, constant(80), constant(60)); got != Unacknowledged {
		t.Errorf("the other stands still afterwards: %v; nothing proves it moves again", got)
	}
	if got := w.step(81, 60); got != Returned {
		t.Errorf("moved by 1: %v, want returned", got)
	}
}
