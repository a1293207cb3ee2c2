package alarms

import (
	"strings"
	"testing"
	"time"

	"charwarden/sensors/derive/phase"
)

// What test gas raises is marked, and gone with the test; what is still there
// is real.
func TestBumpTest(t *testing.T) {
	e := engine(t, rule(Above, 100, 0, 0, 0, true), rule(Below, 10, 0, 0, 0, false))
	e.Step(day, good(50), phase.Running)
	if err := e.StartTest("well"); err == nil {
		t.Error("a test of no channel")
	}
	if err := e.StartTest("pump"); err != nil {
		t.Fatal(err)
	}
	got := e.Step(day.Add(time.Second), good(500), phase.Running)
	if len(got) != 1 || !got[0].Test || !got[0].Annunciates() {
		t.Fatalf("test gas: %v", got)
	}
	if err := e.StartTest("pump"); err == nil || !strings.Contains(err.Error(), "pump_above stands") {
		t.Errorf("a test while an alarm stands: %v", err)
	}
	e.Step(day.Add(2*time.Second), good(50), phase.Running)
	if a := e.Alarms(nil)[0]; a.State != Latched || !a.Test {
		t.Fatalf("gas off: %+v", a)
	}
	got = e.EndTest(day.Add(3*time.Second), "pump", nil)
	if len(got) != 1 || got[0].State != Normal || got[0].Test || got[0].Seq != 1 {
		t.Errorf("test over: %v", got)
	}
	got = e.Step(day.Add(4*time.Second), good(500), phase.Running)
	if len(got) != 1 || got[0].Test || got[0].Seq != 2 {
		t.Errorf("after the test: %v, want a real one", got)
	}
}

// Gas that stays after the test is a new occurrence, which calls.
func TestBumpTestTurnsReal(t *testing.T) {
	for _, acknowledged := range []bool{false, true} {
		e := engine(t, rule(Above, 100, 0, 0, 0, true))
		if err := e.StartTest("pump"); err != nil {
			t.Fatal(err)
		}
		e.Step(day, good(500), phase.Running)
		if acknowledged {
			if _, err := e.Acknowledge(day, "pump_above", 1); err != nil {
				t.Fatal(err)
			}
		}
		got := e.EndTest(day, "pump", nil)
		if len(got) != 1 || got[0].State != Unacknowledged || !got[0].Annunciates() || got[0].Seq != 2 || got[0].Order != 2 || got[0].Test {
			t.Errorf("acknowledged %v: %v, want a second occurrence", acknowledged, got)
		}
	}
}

// Put aside during the test, it comes back as if there had been none.
func TestBumpTestWhileShelved(t *testing.T) {
	e := engine(t, rule(Above, 100, 0, 0, 0, true))
	if err := e.StartTest("pump"); err != nil {
		t.Fatal(err)
	}
	e.Step(day, good(500), phase.Running)
	if _, err := e.Shelve(day, "pump_above", time.Minute); err != nil {
		t.Fatal(err)
	}
	e.Step(day.Add(time.Second), good(50), phase.Running)
	if got := e.EndTest(day, "pump", nil); len(got) > 0 || e.Alarms(nil)[0].Test {
		t.Errorf("test over: %v, %+v", got, e.Alarms(nil)[0])
	}
	if c, err := e.Unshelve(day, "pump_above"); err != nil || c.State != Normal {
		t.Errorf("unshelved: %v, %v", c, err)
	}
}
