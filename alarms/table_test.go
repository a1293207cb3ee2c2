package alarms

import (
	"errors"
	"testing"
)

// Every pair of state and event stands in the table: it changes the state, or
// is refused or ignored and changes nothing; what is no state becomes an alarm.
func TestTableIsTotal(t *testing.T) {
	arrows := make(map[arrow]map[State]bool)
	heads := 0
	for _, s := range States() {
		for on := nothing; on < events; on++ {
			heads += countHeads(t, arrows, s, on)
		}
	}
	// raise 4, clear 2, acknowledge 3, reset, re-alarm, shelve 4, suppress,
	// remove 6, come back 1 + 1 + 1, end of a test 5
	if len(arrows) != 30 || heads != 39 {
		t.Errorf("%d arrows with %d heads, want 30 with 39", len(arrows), heads)
	}
	for on := nothing; on < events; on++ {
		if to, err := next(states, on, facts{}); to != Unacknowledged || err != nil {
			t.Errorf("no state, event %d: %v, %v; want unacknowledged", on, to, err)
		}
	}
}

func countHeads(t *testing.T, arrows map[arrow]map[State]bool, s State, on event) (heads int) {
	for bits := range 8 {
		is := facts{latch: bits&1 != 0, active: bits&2 != 0, was: bits&4 != 0}
		to, err := next(s, on, is)
		again := s == Unacknowledged && on == testEnding // what is still there is a new occurrence
		if to >= states || (err == nil) != (to != s || again && to == s) {
			t.Errorf("%v, event %d, %+v: %v, %v", s, on, is, to, err)
		}
		if err != nil {
			continue
		}
		a := arrow{s, on}
		if arrows[a] == nil {
			arrows[a] = make(map[State]bool)
		}
		if !arrows[a][to] {
			arrows[a][to] = true
			heads++
		}
	}
	return heads
}

// heads is the diagram once more, by the letters of alarm_states.csv, one line
// a state and one column an event from raising to testEnding: where it goes,
// or - nothing and small letters for a refusal.
//
//	n ErrNormal  k ErrAcknowledged  u ErrUnacknowledged  p ErrPresent  t ErrNotLatched
//	l ErrLatched h ErrHidden  s ErrNotShelved  i ErrInService
//
// Figures stand for a choice: 1 D, with latch E; 2 A, with latch F; 3 B
// present, else E with latch if it was, else A; 4 B present, else A.
var heads = map[State]string{
	Normal:              "B-nt-GsH-Ii-",
	Unacknowledged:      "-1Cp-Gs--Ii4",
	Acknowledged:        "-2kpBGs--Ii4",
	Returned:            "B-At-Gs--IiA",
	Latched:             "B-Fu-ls--IiA",
	LatchedAcknowledged: "B-kA-ls--IiA",
	Shelved:             "--hh-h3--hi-",
	Suppressed:          "--hh-hs-4hi-",
	OutOfService:        "--hh-hs--h3-",
}

var reasons = map[byte]error{
	'-': errNoChange, 'n': ErrNormal, 'k': ErrAcknowledged, 'u': ErrUnacknowledged, 'p': ErrPresent, 't': ErrNotLatched,
	'l': ErrLatched, 'h': ErrHidden, 's': ErrNotShelved, 'i': ErrInService,
}

// Each pair of state and event goes where the diagram says, or is refused for
// the reason that fits it.
func TestEveryPair(t *testing.T) {
	for _, s := range States() {
		if len(heads[s]) != int(events)-1 {
			t.Fatalf("%v: %d columns, want %d", s, len(heads[s]), events-1)
		}
		for on := raising; on < events; on++ {
			for bits := range 8 {
				is := facts{latch: bits&1 != 0, active: bits&2 != 0, was: bits&4 != 0}
				want, reason := head(s, heads[s][on-1], is)
				if to, err := next(s, on, is); to != want || !errors.Is(err, reason) {
					t.Errorf("%v, event %d, %+v: %v, %v; want %v, %v", s, on, is, to, err, want, reason)
				}
			}
		}
		if to, err := next(s, nothing, facts{}); to != s || err == nil {
			t.Errorf("%v, no event: %v, %v", s, to, err)
		}
	}
}

func head(s State, mark byte, is facts) (State, error) {
	if reason, refused := reasons[mark]; refused {
		return s, reason
	}
	choose := func(is bool, yes, no State) State {
		if is {
			return yes
		}
		return no
	}
	switch mark {
	case '1':
		return choose(is.latch, Latched, Returned), nil
	case '2':
		return choose(is.latch, LatchedAcknowledged, Normal), nil
	case '3':
		return choose(is.active, Unacknowledged, choose(is.latch && is.was, Latched, Normal)), nil
	case '4':
		return choose(is.active, Unacknowledged, Normal), nil
	}
	return letters[string(mark)], nil
}

// Only what calls is standing, and what calls or what is hidden is not normal.
func TestStates(t *testing.T) {
	want := map[State][2]bool{ // stands, hidden
		Normal: {}, Unacknowledged: {true, false}, Acknowledged: {true, false}, Returned: {true, false},
		Latched: {true, false}, LatchedAcknowledged: {true, false},
		Shelved: {false, true}, Suppressed: {false, true}, OutOfService: {false, true},
		states: {true, false}, // no state at all
	}
	if len(want) != int(states)+1 || len(States()) != int(states) {
		t.Errorf("%d states, want %d", len(States()), len(want)-1)
	}
	for s, w := range want {
		if s.Standing() != w[0] || s.Hidden() != w[1] {
			t.Errorf("%v: standing %v, hidden %v; want %v", s, s.Standing(), s.Hidden(), w)
		}
	}
	for _, s := range States() {
		if got, err := ParseState(s.String()); err != nil || got != s {
			t.Errorf("state %v: %v, %v", s, got, err)
		}
	}
	if _, err := ParseState("aside"); err == nil {
		t.Error("state aside is not refused")
	}
}
