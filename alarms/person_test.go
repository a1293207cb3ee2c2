package alarms

import (
	"errors"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// What is refused says why, and changes nothing.
func TestRefusals(t *testing.T) {
	for _, c := range []struct {
		letters, verb string
		want          error
	}{
		{"A", "acknowledge", ErrNormal},
		{"CF", "acknowledge", ErrAcknowledged},
		{"GHI", "acknowledge", ErrHidden},
		{"AD", "reset", ErrNotLatched},
		{"BC", "reset", ErrPresent},
		{"E", "reset", ErrUnacknowledged},
		{"GHI", "reset", ErrHidden},
		{"EF", "shelve", ErrLatched},
		{"GHI", "shelve", ErrHidden},
		{"ABCDEFHI", "unshelve", ErrNotShelved},
		{"GHI", "remove", ErrHidden},
		{"ABCDEFGH", "return", ErrInService},
	} {
		for _, letter := range strings.Split(c.letters, "") {
			w := newWalk(t, strings.Contains("EF", letter))
			w.lead(letter)
			before := w.Alarms(nil)[0]
			if _, err := w.press(c.verb); !errors.Is(err, c.want) {
				t.Errorf("%s in %s: %v, want %v", c.verb, letter, err, c.want)
			}
			if after := w.Alarms(nil)[0]; after.State != before.State || after.Left != before.Left || after.Reason != before.Reason {
				t.Errorf("%s in %s: %+v, was %+v", c.verb, letter, after, before)
			}
		}
	}
	w := newWalk(t, true)
	w.lead("F")
	w.one(bad(sensors.Stale))
	if _, err := w.press("reset"); !errors.Is(err, ErrUnproved) {
		t.Errorf("reset on a stale channel: %v, want %v", err, ErrUnproved)
	}
	w.one(good(150)) // a second occurrence
	var old *SeqError
	if _, err := w.Acknowledge(w.now(), "pump_above", 1); !errors.As(err, &old) || *old != (SeqError{1, 2}) {
		t.Errorf("acknowledging occurrence 1 of 2: %v", err)
	}
}

// Nothing is done to an alarm that there is not.
func TestUnknownAlarm(t *testing.T) {
	e := engine(t, rule(Above, 100, 0, 0, 0, false))
	for verb, do := range map[string]func(string) error{
		"acknowledge": func(n string) error { _, err := e.Acknowledge(day, n, 0); return err },
		"reset":       func(n string) error { _, err := e.Reset(day, n); return err },
		"shelve":      func(n string) error { _, err := e.Shelve(day, n, time.Minute); return err },
		"unshelve":    func(n string) error { _, err := e.Unshelve(day, n); return err },
		"remove":      func(n string) error { _, err := e.Remove(day, n, "wet"); return err },
		"return":      func(n string) error { _, err := e.Return(day, n); return err },
	} {
		if err := do("nobody"); !errors.Is(err, ErrUnknownAlarm) || !strings.Contains(err.Error(), "nobody") {
			t.Errorf("%s: %v", verb, err)
		}
	}
}

// A shelf is bounded, a removal has a reason, and some alarms know neither.
func TestHidingIsBounded(t *testing.T) {
	never := rule(Above, 100, 0, 0, 0, true)
	never.Never = true
	e := engine(t, never, rule(Below, 10, 0, 0, 0, false))
	e.Step(day, good(500), phase.Running)
	if _, err := e.Shelve(day, "pump_above", time.Minute); !errors.Is(err, ErrNever) {
		t.Errorf("shelve: %v", err)
	}
	if _, err := e.Remove(day, "pump_above", "wet"); !errors.Is(err, ErrNever) {
		t.Errorf("remove: %v", err)
	}
	for _, d := range []time.Duration{-1, 0, MaxShelf + 1} {
		if _, err := e.Shelve(day, "pump_below", d); err == nil {
			t.Errorf("shelved for %v", d)
		}
	}
	for _, reason := range []string{"", " \t\n"} {
		if _, err := e.Remove(day, "pump_below", reason); err == nil {
			t.Errorf("removed because of %q", reason)
		}
	}
	if s := e.stateOf(1); s != Normal {
		t.Fatalf("refused, and %v", s)
	}
	c, err := e.Remove(day, "pump_below", "the pump is under water")
	if err != nil || c.Reason != "the pump is under water" {
		t.Errorf("removed: %+v, %v", c, err)
	}
	if c, err = e.Return(day, "pump_below"); err != nil || c.Reason != "" {
		t.Errorf("returned: %+v, %v", c, err)
	}
	if c, err = e.Shelve(day, "pump_below", MaxShelf); err != nil || c.Left != MaxShelf {
		t.Errorf("shelved: %+v, %v", c, err)
	}
	e.Step(day.Add(time.Minute), good(500), phase.Running)
	if a := e.Alarms(nil)[1]; a.Left != MaxShelf-time.Minute {
		t.Errorf("after a minute %v are left", a.Left)
	}
	e.Step(day.Add(MaxShelf), good(500), phase.Running)
	if a := e.Alarms(nil)[1]; a.State != Normal || a.Left != 0 {
		t.Errorf("at the end of the shelf: %+v", a)
	}
}

// The on-delay counts only while the rule watches; without one it calls at
// once; and a channel without a value suppresses nothing.
func TestSuppression(t *testing.T) {
	slow, quick := rule(Above, 100, 0, 10*time.Second, 0, true), rule(Below, 900, 0, 0, 0, true)
	slow.While = []While{{Phases: []phase.Phase{phase.Running}}}
	quick.While = slow.While
	e := engine(t, slow, quick)
	for s := range 112 {
		ph := phase.Cold
		if s >= 100 {
			ph = phase.Running
		}
		e.Step(day.Add(time.Duration(s)*time.Second), good(500), ph)
		want := [2]State{Suppressed, Suppressed}
		if s >= 100 {
			want = [2]State{Normal, Unacknowledged}
		}
		if s >= 111 { // the first step that it watches from its beginning is at 101 s
			want[0] = Unacknowledged
		}
		if got := [2]State{e.stateOf(0), e.stateOf(1)}; got != want {
			t.Fatalf("%d s: %v, want %v", s, got, want)
		}
	}
	e.Step(day.Add(200*time.Second), good(500), phase.Cold)
	if got := e.stateOf(0); got != Unacknowledged {
		t.Errorf("what stands was suppressed: %v", got)
	}
}

// A channel in While has its deadband, and without a value suppresses nothing.
func TestSuppressionByChannel(t *testing.T) {
	for _, sign := range []float64{1, -1} {
		r := rule(Above, 100, 0, 0, 0, false)
		r.While = []While{{Channel: "well", Kind: Above, Limit: 10 * sign, Deadband: 2}}
		if sign < 0 {
			r.While[0].Kind = Below
		}
		w := watch(t, r)
		for i, s := range []struct {
			well sensors.Reading
			want State
		}{
			{sensors.Bad("well", day, sensors.Stale, nil), Normal},
			{sensors.Reading{Channel: "well", Status: sensors.Good, Value: 8 * sign}, Normal},
			{sensors.Reading{Channel: "well", Status: sensors.Good, Value: 7.9 * sign}, Suppressed},
			{sensors.Reading{Channel: "well", Status: sensors.Good, Value: 9.9 * sign}, Suppressed},
			{sensors.Reading{Channel: "well", Status: sensors.Good, Value: 10 * sign}, Normal},
			{sensors.Reading{Channel: "well", Status: sensors.Good, Value: -50 * sign}, Suppressed},
			{sensors.Bad("well", day, sensors.ClippedLow, nil), Normal},
		} {
			if got := w.feed(sensors.Reading{Channel: "pump", Status: sensors.Good}, s.well); got != s.want {
				t.Errorf("sign %v, step %d: %v, want %v", sign, i, got, s.want)
			}
		}
		atLeast := sensors.Reading{Channel: "well", Status: sensors.Good, Value: -50 * sign, AtLeast: true}
		want := Normal // it may be more
		if sign < 0 {
			want = Suppressed
		}
		if got := w.feed(sensors.Reading{Channel: "pump", Status: sensors.Good}, atLeast); got != want {
			t.Errorf("sign %v, at least %v: %v, want %v", sign, atLeast.Value, got, want)
		}
	}
}
