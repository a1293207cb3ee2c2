package alarms

import (
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// Each rule on what is reckoned calls for a value past its limit after its delay
// and no sooner, in its phase and no other.
func TestReckonedRules(t *testing.T) {
	for _, c := range []struct {
		rule      Rule
		quantity  sensors.Quantity
		well, bad float64
		in, not   phase.Phase
		priority  Priority
		hazard    Hazard
		after     time.Duration
	}{
		{RefuelRule("x"), sensors.Age, 3600, 600, phase.Running, phase.Sealed, Caution, NoHazard, time.Minute},
		{DewRule("x"), sensors.Difference, 12, -1, phase.Running, phase.Cold, Notice, NoHazard, 10 * time.Minute},
		{QuenchRule("x"), sensors.Temperature, 760, 690, phase.Running, phase.Lighting, Notice, NoHazard, 5 * time.Minute},
		{HotterRule("x"), sensors.Difference, 5, 45, phase.Running, phase.Sealed, Notice, NoHazard, 5 * time.Minute},
		{ReignitionRule("x"), sensors.Difference, 2, 16, phase.Sealed, phase.Running, High, Fire, 3 * time.Minute},
		{ReignitionRule("x"), sensors.Difference, 2, 16, phase.Lighting, phase.Running, High, Fire, 3 * time.Minute},
		{SealRule("x"), sensors.Ratio, 0.98, 0.7, phase.Sealed, phase.Running, Notice, NoHazard, 10 * time.Minute},
	} {
		if c.rule.Priority != c.priority || c.rule.Hazard != c.hazard || c.rule.Stops || c.rule.Means == "" || c.rule.DoFirst == "" {
			t.Errorf("%+v", c.rule)
		}
		// play returns how long after the value went bad the rule called, 0 for never.
		play := func(p phase.Phase, v float64) time.Duration {
			e, err := New([]Rule{c.rule}, []sensors.Channel{{Name: "x", Quantity: c.quantity}})
			if err != nil {
				t.Fatal(err)
			}
			e.Step(day, []sensors.Reading{{Channel: "x", At: day, Value: c.well, Status: sensors.Good}}, p)
			for d := time.Second; d <= 20*time.Minute; d += time.Second {
				now := day.Add(d)
				for _, tr := range e.Step(now, []sensors.Reading{{Channel: "x", At: now, Value: v, Status: sensors.Good}}, p) {
					if tr.State == Unacknowledged {
						return d - time.Second
					}
				}
			}
			return 0
		}
		if got := play(c.in, c.bad); got != c.after {
			t.Errorf("%s in %v: called after %v, want %v", c.rule.Name, c.in, got, c.after)
		}
		if got := play(c.not, c.bad); got != 0 {
			t.Errorf("%s in %v: called after %v", c.rule.Name, c.not, got)
		}
		if got := play(c.in, c.well); got != 0 {
			t.Errorf("%s is called for %g after %v", c.rule.Name, c.well, got)
		}
	}
}
