package siren

import (
	"testing"
	"time"

	"charwarden/alarms"
)

// What a state asks of the horn, for the alarms of a desk.
func TestSoundOf(t *testing.T) {
	all := append(alarms.States(), alarms.State(99))
	rules := rules()
	plain := alarms.Rule{Name: "bed_evacuate", Channel: "bed", Priority: alarms.Evacuate}
	unseen := map[alarms.State]bool{alarms.Unacknowledged: true, 99: true}
	until := map[alarms.State]bool{alarms.Unacknowledged: true, alarms.Returned: true, alarms.Latched: true, 99: true}
	for _, c := range []struct {
		rule  *alarms.Rule
		sound Pattern
		in    map[alarms.State]bool
	}{
		{&rules[coEvacuate], Temporal4, until},
		{&rules[coAlarm], Temporal4, unseen},
		{&rules[wallStop], Temporal3, unseen},
		{&plain, Temporal3, until},
		{&rules[gasAlarm], Chirp, unseen},
		{&rules[coCaution], Off, nil},
		{&rules[supplyNotice], Off, nil},
	} {
		for _, s := range all {
			for _, test := range []bool{false, true} {
				want := Off
				if c.in[s] {
					want = c.sound
				}
				if got := soundOf(&alarms.Alarm{Rule: c.rule, State: s, Test: test}); got != want {
					t.Errorf("%s, %v: %+v, want %+v", c.rule.Name, s, got, want)
				}
			}
		}
	}
}

func TestGasWinsOverFire(t *testing.T) {
	d := newDesk(t)
	d.quiet("nothing stands", 5*time.Second)
	d.turn(wallStop, alarms.Unacknowledged)
	d.sounds("fire", Temporal3)
	d.turn(coAlarm, alarms.Unacknowledged)
	d.sounds("fire and gas", Temporal4)
	d.turn(wallStop, alarms.Acknowledged)
	d.sounds("gas", Temporal4)
	d.turn(wallStop, alarms.Unacknowledged) // re-alarm
	d.sounds("gas and fire again", Temporal4)
	d.turn(coAlarm, alarms.Acknowledged)
	d.sounds("only fire", Temporal3)
	d.turn(wallStop, alarms.Latched)
	d.quiet("latched", 10*time.Second)
	d.turn(wallStop, alarms.LatchedAcknowledged)
	d.quiet("latched, acknowledged", 10*time.Second)
}

// A signal that goes on is not begun anew by one more alarm of its kind.
func TestSignalGoesOn(t *testing.T) {
	d := newDesk(t)
	d.turn(coAlarm, alarms.Unacknowledged)
	d.tick()
	began := d.s.horn.since
	d.pass(2350 * ms)
	d.turn(coEvacuate, alarms.Unacknowledged)
	d.turn(coCaution, alarms.Unacknowledged)
	d.sounds("both", Temporal4)
	if d.s.horn.since != began {
		t.Errorf("begun anew after %v", d.s.horn.since.Sub(began))
	}
	d.turn(coEvacuate, alarms.Acknowledged)
	d.turn(coAlarm, alarms.Acknowledged)
	d.quiet("no chirp is left over", time.Minute)
}

func TestEvacuateUntilAcknowledged(t *testing.T) {
	d := newDesk(t)
	d.turn(coEvacuate, alarms.Unacknowledged)
	d.sounds("there", Temporal4)
	d.turn(coEvacuate, alarms.Latched)
	d.sounds("gone", Temporal4)
	d.turn(coEvacuate, alarms.LatchedAcknowledged)
	d.quiet("acknowledged", 10*time.Second)
	d.turn(coEvacuate, alarms.Unacknowledged)
	d.sounds("there again", Temporal4)
}

func TestHiddenIsSilent(t *testing.T) {
	for _, s := range []alarms.State{alarms.Shelved, alarms.Suppressed, alarms.OutOfService} {
		for i := range count {
			d := newDesk(t)
			d.turn(i, s)
			d.quiet(s.String(), 10*time.Second)
			d.turn(i, alarms.Unacknowledged)
			d.tick()
			if d.horn.on() != (i != supplyNotice) {
				t.Errorf("%s, from %v: horn %v", d.as[i].Rule.Name, s, d.horn.on())
			}
		}
	}
}

func TestChirps(t *testing.T) {
	for _, c := range []struct {
		name  string
		alarm int
		want  int // in 12.5 min: 4 min apart for priority alarm (one maker's manual)
	}{
		{"notice", supplyNotice, 0},
		{"caution", coCaution, 1},
		{"alarm", gasAlarm, 4},
	} {
		d := newDesk(t)
		d.tick()
		d.turn(c.alarm, alarms.Unacknowledged)
		if n := d.chirps(750 * time.Second); n != c.want {
			t.Errorf("%s: %d chirps, want %d", c.name, n, c.want)
		}
		d.turn(c.alarm, alarms.Acknowledged)
		if n := d.chirps(10 * time.Minute); n != 0 {
			t.Errorf("%s: %d chirps though acknowledged", c.name, n)
		}
		d.turn(c.alarm, alarms.Unacknowledged)
		if n := d.chirps(time.Minute); n != min(c.want, 1) {
			t.Errorf("%s: %d chirps when it calls again", c.name, n)
		}
	}
}

// Two that come at once, or within a chirp, are one chirp, two that come apart are two; one that
// comes latched out of hiding, or over a restart, is heard.
func TestChirpForEachCall(t *testing.T) {
	d := newDesk(t)
	d.turn(coCaution, alarms.Unacknowledged)
	d.turn(gasAlarm, alarms.Unacknowledged)
	if n := d.chirps(time.Minute); n != 1 {
		t.Errorf("%d chirps of two at once", n)
	}
	d.turn(coCaution, alarms.Returned)
	d.turn(coCaution, alarms.Unacknowledged)
	d.tick()
	d.pass(50 * ms)
	d.turn(coCaution, alarms.Returned)
	d.turn(coCaution, alarms.Unacknowledged)
	d.pass(50 * ms)
	d.pass(50 * ms)
	if d.horn.on() {
		t.Error("a chirp within a chirp makes it longer")
	}
	d.turn(gasAlarm, alarms.Acknowledged)
	d.turn(coCaution, alarms.Returned)
	if n := d.chirps(time.Second); n != 0 {
		t.Errorf("%d chirps of none", n)
	}
	d.turn(coCaution, alarms.Unacknowledged)
	if n := d.chirps(time.Minute); n != 1 {
		t.Errorf("%d chirps of one that came back", n)
	}
	d.turn(wallStop, alarms.Shelved)
	d.pass(time.Second)
	d.turn(wallStop, alarms.Latched)
	if n := d.chirps(10 * time.Minute); n != 1 {
		t.Errorf("%d chirps of one that latched while it was shelved", n)
	}
	d.ts = append(d.ts, alarms.Transition{Restored: true, From: alarms.Latched, Alarm: d.as[wallStop]})
	if n := d.chirps(10 * time.Minute); n != 1 {
		t.Errorf("%d chirps of one that stood latched before a restart", n)
	}
}

// An alarm that stands when the siren first hears of it sounds, whether or not
// anybody tells of a change.
func TestStandsAtStart(t *testing.T) {
	for i, want := range map[int]Pattern{coEvacuate: Temporal4, wallStop: Temporal3, gasAlarm: Chirp} {
		d := newDesk(t)
		d.as[i].State = alarms.Unacknowledged
		d.tick()
		if !d.horn.on() || d.s.horn.Pattern != want {
			t.Errorf("%s: %+v, %v", d.as[i].Rule.Name, d.s.horn.Pattern, d.horn.on())
		}
	}
}
