package alarms

import (
	"math"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// day is the time at which the tests begin.
var day = time.Date(2031, 5, 4, 6, 0, 0, 0, time.UTC)

// pump is the channel of the tests that need only one.
var pump = sensors.Channel{Name: "pump", Quantity: sensors.Pressure, Period: time.Second}

func rule(kind Kind, limit, deadband float64, on, off time.Duration, latch bool) Rule {
	return Rule{
		Name: "pump_" + kind.String(), Channel: pump.Name, Kind: kind, Priority: High,
		Limit: limit, Deadband: deadband, OnDelay: on, OffDelay: off, Latch: latch,
		Means: "a test", DoFirst: "read the test",
	}
}

func good(v float64) []sensors.Reading {
	return []sensors.Reading{{Channel: pump.Name, Value: v, Status: sensors.Good}}
}

func bad(s sensors.Status) []sensors.Reading {
	return []sensors.Reading{sensors.Bad(pump.Name, day, s, nil)}
}

func engine(t testing.TB, rules ...Rule) *Engine {
	t.Helper()
	e, err := New(rules, []sensors.Channel{pump})
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// stateOf is the state of rule i.
func (e *Engine) stateOf(i int) State { return e.Alarms(nil)[i].State }

// A delay is seconds, not steps, and the step that ends it is the first at or
// after it.
func TestDelaysAreTime(t *testing.T) {
	for _, tick := range []time.Duration{time.Millisecond, 250 * time.Millisecond, 2 * time.Second, time.Minute} {
		e := engine(t, rule(Above, 100, 0, 10*time.Second, 30*time.Second, false))
		up := -1 * time.Second
		for at := time.Duration(0); at <= 2*time.Minute && up < 0; at += tick {
			if len(e.Step(day.Add(at), good(101), phase.Running)) > 0 {
				up = at
			}
		}
		if up < 10*time.Second || up >= 10*time.Second+tick {
			t.Errorf("tick %v: raised after %v, want the first step from 10s on", tick, up)
		}
	}
}

// A leap of centuries ends a delay that has begun; nothing overflows.
func TestTimeLeaps(t *testing.T) {
	e := engine(t, rule(Above, 100, 0, 10*time.Second, 0, false))
	e.Step(day, good(200), phase.Running)
	e.Step(day.Add(time.Second), good(200), phase.Running)
	if got := e.Step(day.AddDate(1000, 0, 0), good(200), phase.Running); len(got) != 1 {
		t.Errorf("got %v, want raised", got)
	}
}

// Going back in time measures nothing and clears nothing, not even without an
// off-delay; afterwards the clock counts on from where it is.
func TestTimeGoesBack(t *testing.T) {
	e := engine(t, rule(Above, 100, 0, 10*time.Second, 0, false))
	e.Step(day, good(200), phase.Running)
	if got := e.Step(day.Add(-time.Hour), good(200), phase.Running); len(got) != 0 {
		t.Fatalf("raised by a step back: %v", got)
	}
	if got := e.Step(day.Add(-time.Hour+10*time.Second), good(200), phase.Running); len(got) != 1 {
		t.Fatal("the on-delay did not go on after the step back")
	}
	if got := e.Step(day.Add(-2*time.Hour), good(0), phase.Running); len(got) != 0 {
		t.Fatalf("a step back cleared: %v", got)
	}
	if got := e.Step(day.Add(-2*time.Hour), good(0), phase.Running); len(got) != 1 || got[0].State != Returned {
		t.Fatalf("got %v, want returned in the next step", got)
	}

	slow := engine(t, rule(Above, 100, 0, 0, 10*time.Second, false))
	slow.Step(day, good(200), phase.Running)
	slow.Step(day.Add(time.Second), good(0), phase.Running)
	slow.Step(day.Add(9*time.Second), good(0), phase.Running)
	slow.Step(day.Add(5*time.Second), good(0), phase.Running) // the off-delay starts over
	if got := slow.Step(day.Add(14*time.Second), good(0), phase.Running); len(got) != 0 {
		t.Errorf("cleared on time measured before the step back: %v", got)
	}
	if got := slow.Step(day.Add(24*time.Second), good(0), phase.Running); len(got) != 1 {
		t.Error("never cleared after the step back")
	}
}

// A Good reading without a finite number is a defect and counts as a fault.
func TestGoodWithoutNumber(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		e := engine(t, rule(Above, 100, 0, 0, 0, false), rule(Below, 50, 0, 0, 0, false), rule(Fault, 0, 0, 0, 0, false))
		e.Step(day, good(200), phase.Running)
		got := e.Step(day.Add(time.Second), good(v), phase.Running)
		if len(got) != 1 || got[0].Rule.Kind != Fault || got[0].State != Unacknowledged {
			t.Errorf("good %v: %v, want the fault alarm alone", v, got)
		}
		if s := e.stateOf(0); s != Unacknowledged {
			t.Errorf("good %v: the limit alarm is %v", v, s)
		}
		if got[0].Value != 200 {
			t.Errorf("good %v: newest usable value %v, want 200", v, got[0].Value)
		}
	}
}

// What is left out, or belongs to another channel, is no reading.
func TestMisplacedReadings(t *testing.T) {
	other := []sensors.Reading{{Channel: "other", Value: 0, Status: sensors.Good}}
	for name, readings := range map[string][]sensors.Reading{"none": nil, "other": other} {
		e := engine(t, rule(Above, 100, 0, 0, 0, false), rule(Fault, 0, 0, 0, 0, false))
		e.Step(day, good(200), phase.Running)
		got := e.Step(day.Add(time.Minute), readings, phase.Running)
		if len(got) != 1 || got[0].Rule.Kind != Fault {
			t.Errorf("%s: %v, want the fault alarm alone", name, got)
		}
	}
}

// Memory that holds no state is an alarm, never normal.
func TestInvalidStateIsAlarm(t *testing.T) {
	e := engine(t, rule(Above, 100, 0, time.Hour, 0, false))
	e.Step(day, good(0), phase.Running)
	e.tracks[0].state = 77
	if worst, stands := worst(e); !stands || worst != High {
		t.Errorf("Worst is %v, %v; want alarm, true", worst, stands)
	}
	got := e.Step(day.Add(time.Second), good(0), phase.Running)
	if len(got) != 1 || got[0].From != 77 || got[0].State != Unacknowledged || got[0].Seq != 1 {
		t.Errorf("got %v, want from state(77) to unacknowledged", got)
	}
}

func TestAlarmsAndWorst(t *testing.T) {
	notice := rule(Below, 10, 0, 0, 0, false)
	notice.Priority = Notice
	evacuate := rule(Above, 100, 0, 0, 0, true)
	evacuate.Priority, evacuate.Never = Evacuate, true
	e := engine(t, notice, evacuate)
	if p, stands := worst(e); stands {
		t.Errorf("something stands at the start: %v", p)
	}
	for _, a := range e.Alarms(nil) {
		if a.State != Normal || a.Seq != 0 || !a.Since.IsZero() || !math.IsNaN(a.Value) {
			t.Errorf("%s at the start: %+v", a.Rule.Name, a)
		}
	}
	e.Step(day, good(5), phase.Running)
	if p, stands := worst(e); !stands || p != Notice {
		t.Errorf("Worst is %v, %v; want notice, true", p, stands)
	}
	e.Step(day.Add(time.Second), good(500), phase.Running)
	if p, stands := worst(e); !stands || p != Evacuate {
		t.Errorf("Worst is %v, %v; want evacuate, true", p, stands)
	}
	into := make([]Alarm, 7)
	got := e.Alarms(into)
	if len(got) != 2 || &got[0] != &into[0] {
		t.Fatalf("Alarms returned %d alarms, or not into the slice it was given", len(got))
	}
	if a := got[0]; a.State != Returned || a.Value != 500 || a.Seq != 1 || !a.Since.Equal(day.Add(time.Second)) {
		t.Errorf("%s: %+v", a.Rule.Name, a)
	}
}

// worst is the highest priority among what stands.
func worst(e *Engine) (p Priority, stands bool) {
	for _, a := range e.Alarms(nil) {
		if a.State.Standing() {
			p, stands = max(p, a.Rule.Priority), true
		}
	}
	return p, stands
}
