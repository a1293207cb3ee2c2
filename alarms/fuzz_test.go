package alarms

import (
	"math"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// fuzzRules are one that nobody can put aside, and one of everything else that
// looks at the pump; below looks only while the pump is above -5 and the phase
// is right.
func fuzzRules(limit, deadband float64, on, off int64, latch bool) []Rule {
	below := rule(Below, limit, deadband, time.Duration(on), time.Duration(off), latch)
	below.While = []While{{Phases: []phase.Phase{phase.Running, phase.Sealed}}, {Channel: pump.Name, Limit: -5, Deadband: 1}}
	above := below
	above.Name, above.Kind, above.While = "pump_above", Above, nil
	above.Priority, above.Latch, above.Never = Evacuate, true, true
	rate := below
	rate.Name, rate.Kind, rate.Window = "pump_rate", Rate, 10*time.Second
	return []Rule{above, below, rate, rule(Fault, 0, 0, 0, 0, latch)}
}

// FuzzStep hands over arbitrary rules, statuses, values and times. data is
// read in fours: status, value, time, and what a person does after the step.
func FuzzStep(f *testing.F) {
	f.Add(100.0, 5.0, int64(0), int64(0), true, []byte("\x01\x80\x01\x01\x01\x00\x01\x12\x07\xff\x80\x21\x0c\x03\x10\x93"))
	f.Add(-1e300, 1e300, int64(time.Hour), int64(1), false, []byte("\x08\xff\x7f\x02\x02\x01\xff\x35\x01\x01\x00\x41"))
	f.Add(math.NaN(), math.Inf(1), int64(-1), int64(math.MaxInt64), true, []byte{1})
	f.Add(10.0, 0.0, int64(0), int64(0), true, []byte("\x01\x05\x01\x60\x01\x06\x01\x80\x01\x05\x01\x71\x01\x06\x01\x21\x01\x06\x01\x42"))
	f.Fuzz(func(t *testing.T, limit, deadband float64, on, off int64, latch bool, data []byte) {
		rules := fuzzRules(limit, deadband, on, off, latch)
		e, err := New(rules, []sensors.Channel{pump})
		fits := finite(limit) && finite(deadband) && deadband >= 0 && on >= 0 && off >= 0
		if (err == nil) != fits {
			t.Fatalf("limit %v, deadband %v, delays %d, %d: error %v", limit, deadband, on, off, err)
		}
		if err != nil {
			return
		}
		now := day
		before := e.Alarms(nil)
		for ; len(data) >= 4; data = data[4:] {
			x := sensors.Reading{Channel: pump.Name, Status: sensors.Status(data[0] % 32), AtLeast: data[0] >= 0xe0}
			x.Value = []float64{limit, limit + deadband, limit - deadband, math.NaN(), math.Inf(-1), math.MaxFloat64, 0,
				float64(int8(data[1]))}[data[1]%8]
			// From hours back to centuries on, so that differences of time overflow.
			now = now.Add(time.Duration(int8(data[2])) << (data[1] % 56))
			changes := len(e.Step(now, []sensors.Reading{x}, phase.Phase(data[0]/32)))
			after := e.Alarms(nil)
			for k, a := range after {
				if a.State != before[k].State {
					changes--
				}
				checkStep(t, x, before[k], a)
			}
			if changes != 0 {
				t.Fatalf("changes and snapshots differ by %d", changes)
			}
			e = command(t, e, now, data[3])
			before = e.Alarms(nil)
			checkCommand(t, data[3], after, before)
		}
	})
}

// What a byte asks for: its high half.
const (
	acknowledgeIt = iota
	resetIt
	shelveIt
	unshelveIt
	removeIt
	returnIt
	startTest
	endTest
	restart
)

// command does what c asks for to the alarm that its low bits name; it may be
// refused. It returns the engine to go on with.
func command(t *testing.T, e *Engine, now time.Time, c byte) *Engine {
	name := e.rules[int(c)%len(e.rules)].Name
	var change Transition
	var err error
	switch c >> 4 {
	case acknowledgeIt:
		change, err = e.Acknowledge(now, name, uint64(c&4))
	case resetIt:
		change, err = e.Reset(now, name)
	case shelveIt:
		change, err = e.Shelve(now, name, time.Duration(c&15-1)*time.Minute)
	case unshelveIt:
		change, err = e.Unshelve(now, name)
	case removeIt:
		change, err = e.Remove(now, name, "a test")
	case returnIt:
		change, err = e.Return(now, name)
	case startTest:
		_ = e.StartTest(pump.Name) // may be refused
		return e
	case endTest:
		for _, x := range e.EndTest(now, pump.Name, nil) {
			if x.Test {
				t.Fatalf("%s is still of a test", x.Rule.Name)
			}
		}
		return e
	case restart:
		next, err := New(e.rules, []sensors.Channel{pump})
		if err != nil {
			t.Fatal(err)
		}
		if _, errs := next.Restore(e.Keep(nil)); len(errs) > 0 {
			t.Fatal(errs)
		}
		return next
	default:
		return e
	}
	if err == nil && (change.Rule.Name != name || change.State == change.From) {
		t.Fatalf("%s: %+v", name, change)
	}
	return e
}

// checkCommand holds what no person may do.
func checkCommand(t *testing.T, c byte, was, is []Alarm) {
	for i, a := range is {
		b := was[i]
		if a.Rule.Never && a.State.Hidden() {
			t.Fatalf("%s is %v", a.Rule.Name, a.State)
		}
		released := c>>4 == resetIt && b.State == LatchedAcknowledged || c>>4 == endTest && b.Test
		if a.Rule.Priority == Evacuate && b.State.Standing() && !a.State.Standing() && !released {
			t.Fatalf("evacuate: %v to %v by %#x", b.State, a.State, c)
		}
		if c>>4 == restart && a.State != b.State && !(b.State == Suppressed && a.State == Normal) {
			t.Fatalf("restarted: %v to %v", b.State, a.State)
		}
		if a.Seq < b.Seq || a.State >= states {
			t.Fatalf("occurrence %d after %d, state %v", a.Seq, b.Seq, a.State)
		}
	}
}

// checkStep holds what no step may do, whatever it is handed.
func checkStep(t *testing.T, x sensors.Reading, was, is Alarm) {
	number := x.Status == sensors.Good && !math.IsNaN(x.Value) && !math.IsInf(x.Value, 0)
	present := was.State == Unacknowledged || was.State == Acknowledged
	stands := is.State == Unacknowledged || is.State == Acknowledged
	if is.Rule.Kind.Limited() {
		if present && !stands && !number {
			t.Fatalf("%v cleared on %v %v", is.Rule.Kind, x.Status, x.Value)
		}
		if is.Rule.OnDelay == 0 && !stands && !is.State.Hidden() &&
			(is.Rule.Kind == Above && x.Status == sensors.ClippedHigh || is.Rule.Kind == Below && x.Status == sensors.ClippedLow) {
			t.Fatalf("%v is %v on %v", is.Rule.Kind, is.State, x.Status)
		}
	} else if is.State == Normal && !number && x.Status != sensors.Unzeroed {
		t.Fatalf("the fault alarm is normal on %v %v", x.Status, x.Value)
	}
	if is.Rule.Never && is.State.Hidden() || was.State.Standing() && is.State.Hidden() {
		t.Fatalf("%s: %v became %v", is.Rule.Name, was.State, is.State)
	}
	// A latched or returned alarm waits for a person, whatever its channel says.
	if (!present || is.Rule.Latch) && was.State.Standing() && !is.State.Standing() {
		t.Fatalf("%v became %v without a person", was.State, is.State)
	}
	came := is.State == Unacknowledged && was.State != Unacknowledged && was.State != Acknowledged
	if came != (is.Seq == was.Seq+1) || !came && is.Seq != was.Seq {
		t.Fatalf("%v to %v: occurrence %d after %d", was.State, is.State, is.Seq, was.Seq)
	}
	if math.IsInf(is.Value, 0) || math.IsNaN(is.Value) && !math.IsNaN(was.Value) {
		t.Fatalf("value %v after %v", is.Value, was.Value)
	}
	if is.State >= states {
		t.Fatalf("no such state: %v", is.State)
	}
}
