package alarms

import (
	"math"
	"testing"
	"time"

	"charwarden/sensors"
)

// FuzzStep hands over arbitrary rules, statuses, values and times. data is
// read in threes: status, value, time; a person answers now and then.
func FuzzStep(f *testing.F) {
	f.Add(100.0, 5.0, int64(0), int64(0), true, []byte("\x01\x80\x01\x01\x00\x01\x07\xff\x80\x0c\x03\x10"))
	f.Add(-1e300, 1e300, int64(time.Hour), int64(1), false, []byte("\x08\xff\x7f\x02\x01\xff\x01\x01\x00"))
	f.Add(math.NaN(), math.Inf(1), int64(-1), int64(math.MaxInt64), true, []byte{1})
	f.Fuzz(func(t *testing.T, limit, deadband float64, on, off int64, latch bool, data []byte) {
		above := rule(Above, limit, deadband, time.Duration(on), time.Duration(off), latch)
		below := above
		below.Name, below.Kind = "pump_below", Below
		rules := []Rule{above, below, rule(Fault, 0, 0, 0, 0, latch)}
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
		var after []Alarm
		for i := 0; i+2 < len(data); i += 3 {
			x := sensors.Reading{Channel: pump.Name, Status: sensors.Status(data[i] % 32)}
			x.Value = []float64{limit, limit + deadband, limit - deadband, math.NaN(), math.Inf(-1), math.MaxFloat64, 0,
				float64(data[i+1])}[data[i+1]%8]
			// From hours back to centuries on, so that differences of time overflow.
			now = now.Add(time.Duration(int8(data[i+2])) << (data[i+1] % 56))
			changes := len(e.Step(now, []sensors.Reading{x}))
			after = e.Alarms(after)
			for k, a := range after {
				if a.State != before[k].State {
					changes--
				}
				checkStep(t, x, before[k], a)
			}
			if changes != 0 {
				t.Fatalf("changes and snapshots differ by %d", changes)
			}
			if data[i]%5 == 0 {
				_, _ = e.Acknowledge(now, rules[data[i]%3].Name, 0) // may be refused
			}
			if data[i]%7 == 0 {
				_, _ = e.Reset(now, rules[data[i]%3].Name)
			}
			copy(before, e.Alarms(after))
		}
	})
}

// checkStep holds what no step may do, whatever it is handed.
func checkStep(t *testing.T, x sensors.Reading, was, is Alarm) {
	number := x.Status == sensors.Good && !math.IsNaN(x.Value) && !math.IsInf(x.Value, 0)
	present := was.State == Unacknowledged || was.State == Acknowledged
	if is.Rule.Kind.limited() {
		if present && is.State != Unacknowledged && is.State != Acknowledged && !number {
			t.Fatalf("%v cleared on %v %v", is.Rule.Kind, x.Status, x.Value)
		}
		if is.Rule.OnDelay == 0 && is.State != Unacknowledged && is.State != Acknowledged &&
			(is.Rule.Kind == Above && x.Status == sensors.ClippedHigh || is.Rule.Kind == Below && x.Status == sensors.ClippedLow) {
			t.Fatalf("%v is %v on %v", is.Rule.Kind, is.State, x.Status)
		}
	} else if is.State == Normal && !number && x.Status != sensors.Unzeroed {
		t.Fatalf("the fault alarm is normal on %v %v", x.Status, x.Value)
	}
	if !present && was.State.Standing() && !is.State.Standing() {
		t.Fatalf("%v became normal without a person", was.State)
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
