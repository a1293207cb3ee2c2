package alarms

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// The delays of the rule that the published table is driven with.
const (
	onDelay  = 10 * time.Second
	offDelay = 20 * time.Second
	again    = 60 * time.Second
	shelf    = 15 * time.Minute
)

// walk is an engine with one rule that is led through the diagram from
// outside, with its clock.
type walk struct {
	*testing.T
	*Engine
	at    time.Duration
	phase phase.Phase
	latch bool
	quick bool // no on-delay
}

func newWalk(t *testing.T, latch bool) *walk {
	w := &walk{T: t, phase: phase.Running, latch: latch}
	w.restart()
	return w
}

// restart puts a new engine in the place of the old one.
func (w *walk) restart() {
	r := rule(Above, 100, 20, onDelay, offDelay, w.latch)
	r.ReAlarm = again
	if w.quick {
		r.OnDelay = 0
	}
	r.While = []While{{Phases: []phase.Phase{phase.Running}}}
	w.Engine = engine(w, r, rule(Fault, 0, 0, 2*time.Second, 5*time.Second, true))
}

func (w *walk) now() time.Time { return day.Add(w.at) }

// one returns the changes of the limit alarm in a step.
func (w *walk) one(r []sensors.Reading) (got []Transition) {
	for _, c := range w.Step(w.now(), r, w.phase) {
		if c.Rule.Kind == Above {
			got = append(got, c)
		}
	}
	return got
}

// hold steps twice, with the same reading, d apart, and returns the changes
// of the limit alarm in the last step.
func (w *walk) hold(d time.Duration, r []sensors.Reading) []Transition {
	w.one(r)
	w.at += d
	got := w.one(r)
	w.at += time.Second
	return got
}

// press is what a person does, as a list of changes.
func (w *walk) press(verb string) ([]Transition, error) {
	const name = "pump_above"
	var c Transition
	var err error
	switch verb {
	case "acknowledge":
		c, err = w.Acknowledge(w.now(), name, 0)
	case "reset":
		c, err = w.Reset(w.now(), name)
	case "shelve":
		c, err = w.Shelve(w.now(), name, shelf)
	case "unshelve":
		c, err = w.Unshelve(w.now(), name)
	case "remove":
		c, err = w.Remove(w.now(), name, "the plug is wet")
	case "return":
		c, err = w.Return(w.now(), name)
	}
	if err != nil {
		return nil, err
	}
	return []Transition{c}, nil
}

func (w *walk) must(verb string) {
	w.Helper()
	if _, err := w.press(verb); err != nil {
		w.Fatal(err)
	}
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
		w.must("acknowledge")
	}
	if strings.Contains("DEF", letter) {
		w.hold(offDelay, good(80))
	}
	switch letter {
	case "G":
		w.must("shelve")
	case "H":
		w.phase = phase.Cold
		w.hold(time.Second, good(0))
	case "I":
		w.must("remove")
	}
	if got := w.stateOf(0); got != letters[letter] {
		w.Fatalf("led to %v, want %v", got, letters[letter])
	}
}

var letters = map[string]State{
	"A": Normal, "B": Unacknowledged, "C": Acknowledged, "D": Returned, "E": Latched, "F": LatchedAcknowledged,
	"G": Shelved, "H": Suppressed, "I": OutOfService,
}

// reaches says whether a rule with or without latch comes to the state.
func reaches(letter string, latch bool) bool {
	return !(latch && letter == "D") && !(!latch && (letter == "E" || letter == "F"))
}

// published is every event of the table, each done from outside in every way
// that it can come about; before its time, nothing may change.
var published = map[string][]func(*walk) ([]Transition, error){
	"condition true for on_delay":   {after(onDelay, 101)},
	"condition true":                {func(w *walk) ([]Transition, error) { return w.one(good(101)), nil }},
	"condition false for off_delay": {after(offDelay, 80)},
	"condition false for off_delay (below limit minus deadband)": {func(w *walk) ([]Transition, error) {
		if got := w.hold(3*offDelay, good(80.5)); len(got) > 0 {
			w.Errorf("inside the deadband: %v", got)
		}
		return after(offDelay, 80)(w)
	}},
	"re-alarm time elapsed":            {after(again, 150)},
	"acknowledge":                      {pressing("acknowledge")},
	"reset":                            {pressing("reset")},
	"shelve(duration<=max)":            {pressing("shelve")},
	"design suppression on":            {func(w *walk) ([]Transition, error) { w.phase = phase.Cold; return w.one(good(0)), nil }},
	"suppression off, condition false": {inPhase(phase.Running, 0)},
	"suppression off, condition true": {func(w *walk) ([]Transition, error) {
		w.quick = true // with an on-delay it would come by way of A
		w.restart()
		w.lead("H")
		if got := w.hold(again, good(150)); len(got) > 0 {
			w.Errorf("suppressed: %v", got)
		}
		return inPhase(phase.Running, 150)(w)
	}},
	"remove from service (local only)": {pressing("remove")},

	"timer end or unshelve, condition true":                                      {meanwhile(150, true, pressing("unshelve")), meanwhile(150, true, shelfEnds(150))},
	"timer end or unshelve, condition false, was or became active while shelved": {meanwhile(150, false, pressing("unshelve")), meanwhile(150, false, shelfEnds(0)), wasBefore("shelve", "unshelve")},
	"timer end or unshelve, condition false, otherwise":                          {pressing("unshelve"), shelfEnds(0)},
	"return to service, condition true":                                          {meanwhile(150, true, pressing("return"))},
	"return to service, condition false, was latched or became active while out": {meanwhile(150, false, pressing("return")), wasBefore("remove", "return"), wasLatched},
	"return to service, condition false, otherwise":                              {pressing("return")},
	"input bad quality": {nil}, // see badQuality
	"daemon restart":    {nil}, // see restarted
}

// after holds v for d; one step earlier there may be no change.
func after(d time.Duration, v float64) func(*walk) ([]Transition, error) {
	return func(w *walk) ([]Transition, error) {
		if got := w.hold(d-time.Millisecond, good(v)); len(got) > 0 {
			w.Errorf("%v came before its time", got)
		}
		w.at -= time.Second - time.Millisecond
		return w.one(good(v)), nil
	}
}

func pressing(verb string) func(*walk) ([]Transition, error) {
	return func(w *walk) ([]Transition, error) { return w.press(verb) }
}

func inPhase(p phase.Phase, v float64) func(*walk) ([]Transition, error) {
	return func(w *walk) ([]Transition, error) { w.phase = p; return w.one(good(v)), nil }
}

// shelfEnds waits for the end of the shelf.
func shelfEnds(v float64) func(*walk) ([]Transition, error) {
	return func(w *walk) ([]Transition, error) {
		const ago = time.Second // since the last step, by hold: the shelf counts from there
		w.at += w.Alarms(nil)[0].Left - ago - time.Millisecond
		if got := w.one(good(v)); len(got) > 0 {
			w.Errorf("%v came before its time", got)
		}
		w.at += time.Millisecond
		return w.one(good(v)), nil
	}
}

// meanwhile lets the condition come while the alarm is hidden, and go again
// unless it stays.
func meanwhile(v float64, stays bool, do func(*walk) ([]Transition, error)) func(*walk) ([]Transition, error) {
	return func(w *walk) ([]Transition, error) {
		got := w.hold(onDelay, good(v))
		if !stays {
			got = append(got, w.hold(offDelay, good(0))...)
		}
		if a := w.Alarms(nil)[0]; len(got) > 0 || a.Hidden != 1 {
			w.Errorf("while hidden: %v, %d occurrences", got, a.Hidden)
		}
		return do(w)
	}
}

// wasBefore takes the alarm out of hiding and hides it anew while it stands.
func wasBefore(hide, back string) func(*walk) ([]Transition, error) {
	return func(w *walk) ([]Transition, error) {
		w.must(back)
		w.hold(onDelay, good(150))
		w.must(hide)
		w.hold(offDelay, good(0))
		return w.press(back)
	}
}

// wasLatched takes a latched alarm out of service.
func wasLatched(w *walk) ([]Transition, error) {
	w.must("return")
	w.hold(onDelay, good(150))
	w.hold(offDelay, good(0))
	w.must("remove")
	return w.press("return")
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
	if len(rows) != 28 {
		t.Errorf("%d rows, want 27", len(rows)-1)
	}
	for _, row := range rows[1:] {
		from, event, to, latching, annunciate := row[0], row[1], row[2], row[3], row[4]
		t.Run(from+" -- "+event+" -> "+to, func(t *testing.T) {
			ways, known := published[event]
			if !known {
				t.Fatal("an event that the engine does not know")
			}
			done := 0
			for _, latch := range []bool{false, true} {
				if latching == "yes" && !latch || latching == "no" && latch {
					if event != "input bad quality" { // there it is the fault alarm that latches
						continue
					}
				}
				for _, letter := range strings.Split(strings.ReplaceAll(from, "any", "A,B,C,D,E,F,G,H,I"), ",") {
					if !reaches(letter, latch) {
						continue
					}
					done++
					switch event {
					case "input bad quality":
						badQuality(t, latch, letter, latching, annunciate)
						continue
					case "daemon restart":
						restarted(t, latch, letter, annunciate)
						continue
					}
					for _, do := range ways {
						w := newWalk(t, latch)
						w.lead(letter)
						got, err := do(w)
						w.holds(letter, to, annunciate, got, err)
					}
				}
			}
			if done == 0 {
				t.Error("the row was not done")
			}
		})
	}
}

// holds checks one row that was done.
func (w *walk) holds(from, to, annunciate string, got []Transition, err error) {
	w.Helper()
	if from == to { // refused
		if err == nil || len(got) > 0 || w.stateOf(0) != letters[from] {
			w.Errorf("latch %v: %v, error %v, state %v; want refused", w.latch, got, err, w.stateOf(0))
		}
		return
	}
	if err != nil || len(got) != 1 || got[0].From != letters[from] || got[0].State != letters[to] {
		w.Fatalf("latch %v: %v, error %v; want one change to %v", w.latch, got, err, letters[to])
	}
	if got[0].Annunciates() != (annunciate == "yes") {
		w.Errorf("latch %v: annunciates %v, want %s", w.latch, got[0].Annunciates(), annunciate)
	}
}

// badQuality is the published row "any, input bad quality".
func badQuality(t *testing.T, latch bool, letter, latching, annunciate string) {
	for _, s := range sensors.Statuses() {
		if s == sensors.Good || s == sensors.Unzeroed || s == sensors.ClippedHigh {
			continue // a value; no fault; full scale for this limit
		}
		w := newWalk(t, latch)
		w.lead(letter)
		w.Step(w.now(), bad(s), w.phase)
		w.at += 30 * time.Second
		got := w.Step(w.now(), bad(s), w.phase)
		if len(got) != 1 || got[0].Rule.Kind != Fault || got[0].State != Unacknowledged ||
			got[0].Annunciates() != (annunciate == "yes") || got[0].Rule.Latch != (latching == "yes") {
			t.Errorf("%s, %v: %v, want the fault alarm alone", letter, s, got)
		}
		if w.stateOf(0) != letters[letter] {
			t.Errorf("%s, %v: became %v", letter, s, w.stateOf(0))
		}
	}
}

// restarted is the published row "any, daemon restart": nothing is cleared by
// it, nor by the time that nothing is read.
func restarted(t *testing.T, latch bool, letter, annunciate string) {
	w := newWalk(t, latch)
	w.lead(letter)
	before := w.Alarms(nil)[0]
	text, err := json.Marshal(w.Keep(nil))
	if err != nil {
		t.Fatal(err)
	}
	var kept []Kept
	if err := json.Unmarshal(text, &kept); err != nil {
		t.Fatal(err)
	}
	w.restart()
	got, errs := w.Restore(kept)
	if len(errs) > 0 {
		t.Fatalf("%s: %v", letter, errs)
	}
	if len(got) > 0 != before.State.Standing() {
		t.Errorf("%s: restored %v", letter, got)
	}
	calls := len(got) == 1 && got[0].Annunciates()
	if want := annunciate == "if B/E" && (letter == "B" || letter == "E"); calls != want {
		t.Errorf("%s: annunciates %v, want %v", letter, calls, want)
	}
	w.hold(again-time.Second, bad(sensors.Stale))
	after := w.Alarms(nil)[0]
	was := fmt.Sprint(before.State, before.Seq, before.Order, before.Hidden, before.Reason)
	if is := fmt.Sprint(after.State, after.Seq, after.Order, after.Hidden, after.Reason); is != was {
		t.Errorf("%s: %s before, %s after", letter, was, is)
	}
}
