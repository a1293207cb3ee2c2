package siren

import (
	"strings"
	"testing"
	"time"

	"charwarden/alarms"
)

// Quiet for 2 min, evacuate for 1; then the signal is back by itself.
func TestSilence(t *testing.T) {
	for i, c := range map[int]struct {
		sound Pattern
		quiet time.Duration
	}{
		coEvacuate: {Temporal4, time.Minute},
		coAlarm:    {Temporal4, 2 * time.Minute},
		wallStop:   {Temporal3, 2 * time.Minute},
	} {
		d := newDesk(t)
		d.turn(i, alarms.Unacknowledged)
		d.sounds("before", c.sound)
		for range 3 {
			d.turn(i, alarms.Unacknowledged) // so that it begins with a pulse
			d.pass(20 * ms)
			if !d.s.Silence(d.now, "ada") || d.horn.on() {
				t.Fatalf("%s: not silenced at once", d.as[i].Rule.Name)
			}
			d.quiet(d.as[i].Rule.Name, c.quiet-50*ms)
			d.pass(50 * ms)
			if !d.horn.on() {
				t.Errorf("%s: still quiet after %v", d.as[i].Rule.Name, c.quiet)
			}
			d.sounds("after", c.sound)
		}
		if !strings.Contains(d.log.String(), "person=ada") {
			t.Errorf("the log does not say who: %s", d.log.String())
		}
	}
}

// However often somebody asks, an evacuate is heard every minute.
func TestSilenceIsNotPutOff(t *testing.T) {
	d := newDesk(t)
	d.turn(coEvacuate, alarms.Unacknowledged)
	d.tick()
	if d.s.Silence(d.now, "ada"); d.horn.on() {
		t.Fatal("not silenced")
	}
	for began := d.now; d.now.Sub(began) < time.Minute-100*ms; {
		d.pass(100 * ms)
		if d.horn.on() || d.s.Silence(d.now, "ada") {
			t.Fatalf("after %v: horn %v", d.now.Sub(began), d.horn.on())
		}
	}
	d.pass(100 * ms)
	if !d.horn.on() {
		t.Error("put off")
	}
}

// Evacuate comes back after a minute whatever else was silenced with it, and
// what else was silenced keeps its own time.
func TestSilenceOfSeveral(t *testing.T) {
	d := newDesk(t)
	d.turn(wallStop, alarms.Unacknowledged)
	d.turn(coEvacuate, alarms.Unacknowledged)
	d.tick()
	d.s.Silence(d.now, "ada")
	d.quiet("both", time.Minute-50*ms)
	d.pass(50 * ms)
	d.sounds("evacuate", Temporal4)
	d.turn(coEvacuate, alarms.Acknowledged)
	d.quiet("the wall is silenced still", 49*time.Second)
	d.pass(time.Second)
	d.sounds("the wall", Temporal3)
}

// What is newly raised, or calls again, ends every silence in the same tick; a
// caution is its chirp, a notice nothing.
func TestSilenceIsBroken(t *testing.T) {
	quiet := func(t *testing.T) *desk {
		d := newDesk(t)
		d.turn(coAlarm, alarms.Unacknowledged)
		d.turn(wallStop, alarms.Unacknowledged)
		d.tick()
		d.turn(wallStop, alarms.Acknowledged)
		d.tick()
		d.s.Silence(d.now, "ada")
		d.quiet("silenced", 5*time.Second)
		return d
	}
	for name, c := range map[string]struct {
		alarm int
		first alarms.State // on the way to unacknowledged
		want  Pattern
	}{
		"a new seq of the same":         {coAlarm, alarms.Returned, Temporal4},
		"another":                       {coEvacuate, alarms.Normal, Temporal4},
		"another one without a hazard":  {gasAlarm, alarms.Normal, Temporal4},
		"one that was acknowledged":     {wallStop, alarms.Acknowledged, Temporal4},
		"a caution, which only chirps":  {coCaution, alarms.Normal, Chirp},
		"a notice, which says nothing":  {supplyNotice, alarms.Normal, Off},
		"one that comes out of service": {gasAlarm, alarms.OutOfService, Temporal4},
	} {
		d := quiet(t)
		if c.first != d.as[c.alarm].State {
			d.turn(c.alarm, c.first)
			d.tick()
		}
		d.turn(c.alarm, alarms.Unacknowledged)
		d.tick()
		if d.horn.on() != (c.want != Off) || d.s.horn.Pattern != c.want {
			t.Errorf("%s: horn %v with %+v", name, d.horn.on(), d.s.horn.Pattern)
		}
	}
	d := quiet(t)
	d.turn(coCaution, alarms.Unacknowledged)
	if n := d.chirps(60 * time.Second); n != 1 {
		t.Errorf("%d chirps", n)
	}
	d.quiet("what was silenced", 54*time.Second)
	d.pass(time.Second)
	d.sounds("its time is up", Temporal4)
}

// A chirp can be cut, and one that was silenced is due after the silence.
func TestSilenceOfChirps(t *testing.T) {
	d := newDesk(t)
	d.turn(gasAlarm, alarms.Unacknowledged)
	d.tick()
	if !d.horn.on() || !d.s.Silence(d.now, "ada") || d.horn.on() {
		t.Error("a chirp is not cut")
	}
	d.quiet("until it is due", 4*time.Minute-50*ms)
	if n := d.chirps(time.Second); n != 1 {
		t.Errorf("%d chirps after 4 min", n)
	}
	d.pass(3*time.Minute + 50*time.Second)
	if !d.s.Silence(d.now, "ada") {
		t.Error("nothing to silence")
	}
	d.quiet("due, and silenced", 2*time.Minute-50*ms)
	if n := d.chirps(time.Second); n != 1 {
		t.Errorf("%d chirps after the silence", n)
	}
	d.turn(gasAlarm, alarms.Acknowledged)
	d.pass(time.Second)
	if d.s.Silence(d.now, "ada") {
		t.Error("silenced though nothing sounds")
	}
}
