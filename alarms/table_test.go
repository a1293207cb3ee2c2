package alarms

import (
	"encoding/csv"
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

// The delays of the rule that the published table is driven with.
const (
	onDelay  = 10 * time.Second
	offDelay = 20 * time.Second
	again    = 60 * time.Second
)

// walk is an engine with one rule that is led through the diagram from
// outside, with its clock.
type walk struct {
	*testing.T
	*Engine
	at time.Duration
}

func newWalk(t *testing.T, latch bool) *walk {
	r := rule(Above, 100, 20, onDelay, offDelay, latch)
	r.ReAlarm = again
	return &walk{t, engine(t, r, rule(Fault, 0, 0, 2*time.Second, 5*time.Second, true)), 0}
}

// hold steps twice, with the same reading, d apart, and returns the changes
// of the limit alarm in the last step.
func (w *walk) hold(d time.Duration, r []sensors.Reading) (got []Transition) {
	w.Step(day.Add(w.at), r)
	w.at += d
	for _, c := range w.Step(day.Add(w.at), r) {
		if c.Rule.Kind == Above {
			got = append(got, c)
		}
	}
	w.at += time.Second
	return got
}

// press is Acknowledge or Reset as a list of changes.
func (w *walk) press(verb string) ([]Transition, error) {
	f := w.Reset
	if verb == "acknowledge" {
		f = func(now time.Time, name string) (Transition, error) { return w.Acknowledge(now, name, 0) }
	}
	c, err := f(day.Add(w.at), "pump_above")
	if err != nil {
		return nil, err
	}
	return []Transition{c}, nil
}

// lead brings the alarm into the state of the letter. D is only reached
// without latch, E and F only with it.
func (w *walk) lead(letter string) {
	w.Helper()
	w.hold(time.Second, good(0))
	if strings.Contains("BCDEF", letter) {
		w.hold(onDelay, good(150))
	}
	if strings.Contains("CF", letter) {
		if _, err := w.press("acknowledge"); err != nil {
			w.Fatal(err)
		}
	}
	if strings.Contains("DEF", letter) {
		w.hold(offDelay, good(80))
	}
	if got := w.stateOf(0); got != letters[letter] {
		w.Fatalf("led to %v, want %v", got, letters[letter])
	}
}

var letters = map[string]State{
	"A": Normal, "B": Unacknowledged, "C": Acknowledged, "D": Returned, "E": Latched, "F": LatchedAcknowledged,
}

// The events of the published table that the engine knows, each done to it
// from outside; before the time is up, nothing may change.
var published = map[string]func(*walk) ([]Transition, error){
	"condition true for on_delay": func(w *walk) ([]Transition, error) {
		return w.notBefore(onDelay, good(101)), nil
	},
	"condition true": func(w *walk) ([]Transition, error) {
		return w.Step(day.Add(w.at), good(101)), nil
	},
	"condition false for off_delay": func(w *walk) ([]Transition, error) {
		return w.notBefore(offDelay, good(80)), nil
	},
	"condition false for off_delay (below limit minus deadband)": func(w *walk) ([]Transition, error) {
		if got := w.hold(3*offDelay, good(80.5)); len(got) > 0 {
			w.Errorf("inside the deadband: %v", got)
		}
		return w.notBefore(offDelay, good(80)), nil
	},
	"re-alarm time elapsed": func(w *walk) ([]Transition, error) {
		return w.notBefore(again, good(150)), nil
	},
	"acknowledge": func(w *walk) ([]Transition, error) { return w.press("acknowledge") },
	"reset":       func(w *walk) ([]Transition, error) { return w.press("reset") },
}

// notBefore holds r for d and returns the changes; one step earlier there may
// be none.
func (w *walk) notBefore(d time.Duration, r []sensors.Reading) []Transition {
	if got := w.hold(d-time.Millisecond, r); len(got) > 0 {
		w.Errorf("%v came before its time", got)
	}
	w.at -= time.Second - time.Millisecond
	return w.Step(day.Add(w.at), r)
}

// Rows of states and events that the engine does not have yet: shelved,
// suppressed, out of service, restart.
var notBuilt = []string{
	"A,B,C,D|shelve(duration<=max)|G",
	"G|timer end or unshelve, condition true|B",
	"G|timer end or unshelve, condition false, was or became active while shelved|E",
	"G|timer end or unshelve, condition false, otherwise|A",
	"A|design suppression on|H",
	"H|suppression off, condition true|B",
	"H|suppression off, condition false|A",
	"A,B,C,D,E,F|remove from service (local only)|I",
	"I|return to service, condition true|B",
	"I|return to service, condition false, was latched or became active while out|E",
	"I|return to service, condition false, otherwise|A",
	"any|daemon restart|restore from journal",
}

// Every row of testdata/published/alarm_transitions.csv (after ISA-18.2, IEC
// 62682 and OPC UA Part 9 v1.05) is done to an engine from outside.
func TestPublishedTransitions(t *testing.T) {
	f, err := os.Open("../testdata/published/alarm_transitions.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	in := csv.NewReader(f)
	in.Comment = '#'
	rows, err := in.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	left := make(map[string]bool)
	for _, row := range notBuilt {
		left[row] = true
	}
	built := 0
	for _, row := range rows[1:] {
		from, event, to, latching, annunciate := row[0], row[1], row[2], row[3], row[4]
		key := from + "|" + event + "|" + to
		if left[key] {
			delete(left, key)
			continue
		}
		built++
		t.Run(key, func(t *testing.T) {
			if event == "input bad quality" {
				badQuality(t, latching, annunciate)
				return
			}
			do, known := published[event]
			if !known {
				t.Fatal("an event that neither the engine knows nor notBuilt names")
			}
			for _, latch := range []bool{false, true} {
				if latching == "yes" && !latch || latching == "no" && latch || from == "D" && latch {
					continue
				}
				w := newWalk(t, latch)
				w.lead(from)
				got, err := do(w)
				if from == to { // refused
					if err == nil || len(got) > 0 || w.stateOf(0) != letters[from] {
						t.Errorf("latch %v: %v, error %v, state %v; want refused", latch, got, err, w.stateOf(0))
					}
					continue
				}
				if err != nil || len(got) != 1 || got[0].From != letters[from] || got[0].State != letters[to] {
					t.Fatalf("latch %v: %v, error %v; want one change to %v", latch, got, err, letters[to])
				}
				if got[0].Annunciates() != (annunciate == "yes") {
					t.Errorf("latch %v: annunciates %v, want %s", latch, got[0].Annunciates(), annunciate)
				}
			}
		})
	}
	if built != 15 || len(left) != 0 {
		t.Errorf("%d rows built, want 15; rows that the file no longer has: %v", built, left)
	}
}

// badQuality is the published row "any, input bad quality".
func badQuality(t *testing.T, latching, annunciate string) {
	for _, latch := range []bool{false, true} {
		for letter, state := range letters {
			if latch && letter == "D" || !latch && (letter == "E" || letter == "F") {
				continue
			}
			for _, s := range sensors.Statuses() {
				if s == sensors.Good || s == sensors.Unzeroed || s == sensors.ClippedHigh {
					continue // a value; no fault; full scale for this limit
				}
				w := newWalk(t, latch)
				w.lead(letter)
				w.Step(day.Add(w.at), bad(s))
				w.at += 30 * time.Second
				got := w.Step(day.Add(w.at), bad(s))
				if len(got) != 1 || got[0].Rule.Kind != Fault || got[0].State != Unacknowledged ||
					got[0].Annunciates() != (annunciate == "yes") || got[0].Rule.Latch != (latching == "yes") {
					t.Errorf("%s, %v: %v, want the fault alarm alone", letter, s, got)
				}
				if w.stateOf(0) != state {
					t.Errorf("%s, %v: became %v", letter, s, w.stateOf(0))
				}
			}
		}
	}
}

// Every pair of state and event stands in the table: it changes the state, or
// is refused or ignored and changes nothing; what is no state becomes an alarm.
func TestTableIsTotal(t *testing.T) {
	for _, latch := range []bool{false, true} {
		changes := 0
		for _, s := range States() {
			for on := nothing; on < events; on++ {
				to, err := next(s, on, latch)
				if to >= states || (err == nil) != (to != s) {
					t.Errorf("%v, event %d, latch %v: %v, %v", s, on, latch, to, err)
				}
				if err == nil {
					changes++
				}
			}
		}
		if changes != 11 { // the arrows between A and F in the diagram
			t.Errorf("latch %v: %d arrows, want 11", latch, changes)
		}
		for on := nothing; on < events; on++ {
			if to, err := next(states, on, latch); to != Unacknowledged || err != nil {
				t.Errorf("no state, event %d: %v, %v; want unacknowledged", on, to, err)
			}
		}
	}
}

// What is refused says why, and changes nothing.
func TestRefusals(t *testing.T) {
	for _, c := range []struct {
		letter, verb string
		want         error
	}{
		{"A", "acknowledge", ErrNormal},
		{"C", "acknowledge", ErrAcknowledged},
		{"F", "acknowledge", ErrAcknowledged},
		{"A", "reset", ErrNotLatched},
		{"B", "reset", ErrPresent},
		{"C", "reset", ErrPresent},
		{"D", "reset", ErrNotLatched},
		{"E", "reset", ErrUnacknowledged},
	} {
		w := newWalk(t, strings.Contains("EF", c.letter))
		w.lead(c.letter)
		if _, err := w.press(c.verb); !errors.Is(err, c.want) {
			t.Errorf("%s in %s: %v, want %v", c.verb, c.letter, err, c.want)
		}
		if w.stateOf(0) != letters[c.letter] {
			t.Errorf("%s in %s: became %v", c.verb, c.letter, w.stateOf(0))
		}
	}
	w := newWalk(t, true)
	w.lead("F")
	w.Step(day.Add(w.at), bad(sensors.Stale))
	if _, err := w.press("reset"); !errors.Is(err, ErrUnproved) {
		t.Errorf("reset on a stale channel: %v, want %v", err, ErrUnproved)
	}
	w.Step(day.Add(w.at), good(150)) // a second occurrence
	var old *SeqError
	if _, err := w.Acknowledge(day.Add(w.at), "pump_above", 1); !errors.As(err, &old) || *old != (SeqError{1, 2}) {
		t.Errorf("acknowledging occurrence 1 of 2: %v", err)
	}
	if _, err := w.Acknowledge(day, "nobody", 0); !errors.Is(err, ErrUnknownAlarm) {
		t.Errorf("acknowledging an unknown alarm: %v", err)
	}
	if _, err := w.Reset(day, "nobody"); !errors.Is(err, ErrUnknownAlarm) {
		t.Errorf("resetting an unknown alarm: %v", err)
	}
}
