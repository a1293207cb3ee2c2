package alarms

import (
	"errors"
	"strings"
	"testing"
	"time"

	"charwarden/sensors/derive/phase"
)

// What cannot be restored is said, and unknown is alarm.
func TestRestoreOdd(t *testing.T) {
	never := rule(Above, 100, 0, 0, 0, true)
	never.Never = true
	e := engine(t, never, rule(Below, 10, 0, 0, 0, false))
	stands, errs := e.Restore([]Kept{
		{Name: "pump_above", State: "shelved", Seq: 3, Order: 9, Left: time.Minute},
		{Name: "pump_below", State: "asleep", Seq: 7, Order: 8},
		{Name: "pump_gone", State: "latched", Seq: 1},
		{Name: "pump_quiet", State: "shelved", Seq: 1},
	})
	if len(stands) != 1 || stands[0].Rule.Name != "pump_below" || stands[0].State != Unacknowledged || !stands[0].Annunciates() {
		t.Errorf("stands %v, want the one of an unknown state", stands)
	}
	if len(errs) != 2 || !strings.Contains(errs[0].Error(), `pump_below: state: "asleep"`) || !errors.Is(errs[1], ErrUnknownAlarm) {
		t.Errorf("errors %v", errs)
	}
	if s := e.stateOf(0); s != Normal {
		t.Errorf("shelved before it could not be: %v", s)
	}
	if got := e.Step(day, good(500), phase.Running); len(got) != 2 || got[0].Seq != 4 || got[0].Order != 10 || got[1].State != Returned {
		t.Errorf("first step: %v, want occurrence 4, the tenth of all", got)
	}
}

// A shelf goes on where it was, and is never longer than one may be.
func TestRestoreShelf(t *testing.T) {
	for left, want := range map[time.Duration]time.Duration{time.Minute: time.Minute, time.Hour: MaxShelf, -1: 0} {
		e := engine(t, rule(Above, 100, 0, 0, 0, false))
		e.Restore([]Kept{{Name: "pump_above", State: "shelved", Left: left}})
		if got := e.Alarms(nil)[0].Left; got != want {
			t.Errorf("kept %v: %v are left, want %v", left, got, want)
		}
		e.Step(day.AddDate(1, 0, 0), good(0), phase.Running) // time that did not run for it
		if s := e.stateOf(0); (s == Shelved) != (want > 0) {
			t.Errorf("kept %v: %v after the first step", left, s)
		}
	}
}

// What is normal and never was otherwise is not kept; nothing is cut off.
func TestKeep(t *testing.T) {
	e := engine(t, rule(Above, 100, 0, 0, 0, false), rule(Below, 10, 0, 0, 0, false))
	e.Step(day, good(500), phase.Running)
	got := e.Keep(make([]Kept, 5))
	if len(got) != 1 || got[0] != (Kept{Name: "pump_above", State: "unacknowledged", Seq: 1, Order: 1, Since: day, Active: true}) {
		t.Errorf("kept %+v", got)
	}
}

// Suppressed, it is judged anew: what it saw before the restart calls nobody.
func TestRestoreSuppressed(t *testing.T) {
	r := rule(Above, 100, 0, 0, 0, false)
	r.While = []While{{Phases: []phase.Phase{phase.Running}}}
	e := engine(t, r)
	e.Step(day, good(500), phase.Cold)
	kept := e.Keep(nil)
	if len(kept) != 1 || kept[0].State != "suppressed" || !kept[0].Active {
		t.Fatalf("kept %+v", kept)
	}
	e = engine(t, r)
	if stands, errs := e.Restore(kept); len(stands) > 0 || len(errs) > 0 {
		t.Errorf("restored %v, %v", stands, errs)
	}
	if got := e.Step(day, nil, phase.Running); len(got) > 0 {
		t.Errorf("without a reading: %v", got)
	}
	if got := e.Step(day, good(500), phase.Running); len(got) != 1 || got[0].State != Unacknowledged {
		t.Errorf("still above: %v", got)
	}
}
