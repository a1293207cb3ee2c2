package siren

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/gpio"

	"charwarden/alarms"
	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
	"charwarden/sensors/sim"
)

// run starts the player in a bubble; the returned function ends it and waits.
func (d *desk) run() (stop func()) {
	ctx, cancel := context.WithCancel(d.t.Context())
	ended := make(chan error)
	go func() { ended <- d.s.Run(ctx) }()
	synctest.Wait()
	return func() {
		d.t.Helper()
		cancel()
		if err := <-ended; err != nil {
			d.t.Errorf("Run: %v", err)
		}
	}
}

// edges are the times, from now on, at which a pin changes.
func edges(w *wire, long time.Duration) (out []time.Duration) {
	was := w.on()
	for at := time.Duration(0); at < long; at += 10 * ms {
		time.Sleep(10 * ms)
		synctest.Wait()
		if on := w.on(); on != was {
			was = on
			out = append(out, at+10*ms)
		}
	}
	return out
}

// The player makes the edges of a signal to the millisecond, wherever the
// ticks fall, and although the loop hangs: after one update no other comes.
func TestLoopHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDesk(t)
		stop := d.run()
		d.now = time.Now()
		d.tick()
		if !d.green.on() {
			t.Error("not green though all is well")
		}
		time.Sleep(time.Minute)
		synctest.Wait()
		if d.green.on() {
			t.Error("green though nobody has watched for a minute")
		}
		d.turn(coAlarm, alarms.Unacknowledged)
		d.now = time.Now()
		d.tick()
		if !d.horn.on() || !d.red.on() || d.green.on() {
			t.Error("horn and red are not on at once")
		}
		for round := range 100 {
			want := []time.Duration{100, 200, 300, 400, 500, 600, 700, 5700}
			got := edges(d.horn, 5700*ms)
			for i, at := range got {
				if len(got) != len(want) || at != want[i]*ms {
					t.Fatalf("round %d: edges at %v", round, got)
				}
			}
		}
		if n := len(edges(d.red, 10*time.Second)); n != 40 {
			t.Errorf("%d edges of the red lamp in 10 s, want 40", n)
		}
		stop()
	})
}

// A silence ends by itself too while the loop hangs.
func TestSilenceEndsThoughTheLoopHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDesk(t)
		stop := d.run()
		d.turn(coEvacuate, alarms.Unacknowledged)
		d.now = time.Now()
		d.tick()
		time.Sleep(50 * ms)
		d.s.Silence(time.Now(), "ada")
		if got := edges(d.horn, 61*time.Second); len(got) == 0 || got[0] != time.Minute {
			t.Errorf("edges at %v", got)
		}
		stop()
	})
}

// What repeats its chirp does so while the loop hangs.
func TestChirpsThoughTheLoopHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDesk(t)
		stop := d.run()
		d.turn(gasAlarm, alarms.Unacknowledged)
		d.now = time.Now()
		d.tick()
		got := edges(d.horn, 8*time.Minute+time.Second)
		want := []time.Duration{150 * ms, 4 * time.Minute, 4*time.Minute + 150*ms, 8 * time.Minute, 8*time.Minute + 150*ms}
		if !slices.Equal(got, want) {
			t.Errorf("edges at %v, want %v", got, want)
		}
		stop()
	})
}

// A loop that ticks beside the player makes no edge too many or too late, and
// one that is behind the player does not take edges back.
func TestLoopAndPlayer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDesk(t)
		stop := d.run()
		d.turn(wallStop, alarms.Unacknowledged)
		for d.now = time.Now(); d.now.Sub(d.s.horn.since) < 40*time.Second || d.s.horn.Pattern == Off; d.now = time.Now() {
			time.Sleep(37 * ms) // the loop's work, after it looked at the clock
			d.tick()
			time.Sleep(60 * ms)
		}
		synctest.Wait()
		if n := d.horn.writes; n < 60 || n > 62 { // 6 edges every 4 s
			t.Errorf("%d writes in 40 s", n)
		}
		stop()
	})
}

// At the end everything is off, and a loop that is not yet done leaves it so.
func TestEnd(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDesk(t)
		stop := d.run()
		d.turn(coEvacuate, alarms.Unacknowledged)
		d.turn(coCaution, alarms.Acknowledged)
		d.now = time.Now()
		d.tick()
		if !d.horn.on() || !d.yellow.on() {
			t.Error("not on")
		}
		stop()
		d.tick()
		d.turn(wallStop, alarms.Unacknowledged)
		d.tick()
		for _, w := range []*wire{d.horn, d.red, d.yellow, d.green} {
			if w.on() {
				t.Errorf("%s is on after the end", w.name)
			}
		}
		stop = d.run()
		if !d.horn.on() {
			t.Error("off though it runs again")
		}
		stop()
	})
}

// Before anything has been watched no lamp is lit, whatever a dead daemon left.
func TestBeginning(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDesk(t)
		for _, w := range []*wire{d.horn, d.red, d.yellow, d.green} {
			w.level = gpio.High
		}
		stop := d.run()
		for _, w := range []*wire{d.horn, d.red, d.yellow, d.green} {
			if w.on() {
				t.Errorf("%s is on", w.name)
			}
		}
		stop()
	})
}

// From the first reading above the limit to the pin, through the engine, in the
// same tick; the pins are those of the simulated board.
func TestFirstReadingToHorn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		board := sim.NewBoard(system{}, 1)
		pin := func(name string) gpio.PinOut {
			p, err := board.Pin(name)
			if err != nil {
				t.Fatal(err)
			}
			return p
		}
		s := New(Opts{Horn: pin("GPIO5"), Red: pin("GPIO6"), Green: pin("GPIO19"), Clock: system{}, Log: slog.New(slog.NewTextHandler(io.Discard, nil))})
		e, err := alarms.New(alarms.CORules("co"), []sensors.Channel{{Name: "co", Quantity: sensors.CO}})
		if err != nil {
			t.Fatal(err)
		}
		var as []alarms.Alarm
		tick := func(ppm float64) {
			now := time.Now()
			rs := []sensors.Reading{{Channel: "co", At: now, Value: ppm, Status: sensors.Good}}
			ts := e.Step(now, rs, phase.Running)
			as = e.Alarms(as)
			s.Update(now, as, ts)
		}
		on := func(name string) bool { l, _ := board.Output(name); return bool(l) }
		tick(12)
		if on("GPIO5") || on("GPIO6") || !on("GPIO19") {
			t.Error("12 ppm: not green only")
		}
		time.Sleep(100 * ms)
		tick(101)
		if !on("GPIO5") || !on("GPIO6") || on("GPIO19") {
			t.Error("101 ppm: horn or red off, or green")
		}
	})
}

// A test plays every sound and lamp, and a real alarm ends it at once.
func TestTest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDesk(t)
		stop := d.run()
		if err := d.s.Test(time.Now()); err != nil {
			t.Fatal(err)
		}
		var log []string
		for range int(TestTime()/(50*ms)) + 20 {
			synctest.Wait()
			now := ""
			for name, w := range map[string]*wire{"horn": d.horn, "red": d.red, "yellow": d.yellow, "green": d.green} {
				if w.on() {
					now += name
				}
			}
			if len(log) == 0 || log[len(log)-1] != now {
				log = append(log, now)
			}
			time.Sleep(50 * ms)
		}
		want := strings.Repeat("horn..", 4) + strings.Repeat("horn..", 3) + "horn..red.yellow.green."
		if got := strings.Join(log, "."); got != want {
			t.Errorf("got  %s\nwant %s", got, want)
		}

		d.s.Test(time.Now())
		time.Sleep(TestTime() - 2500*ms)
		synctest.Wait()
		if !d.red.on() {
			t.Error("the red lamp is not tested")
		}
		d.turn(coCaution, alarms.Unacknowledged)
		d.now = time.Now()
		d.tick()
		if d.red.on() || !d.yellow.on() || !d.horn.on() || !d.s.testing.IsZero() {
			t.Error("a real alarm does not end the test")
		}
		d.turn(coAlarm, alarms.Unacknowledged)
		d.tick()
		if err := d.s.Test(time.Now()); !errors.Is(err, ErrCalls) {
			t.Errorf("a test while an alarm calls: %v", err)
		}
		stop()
	})
}

// While something stands the green lamp is not tested, and the lamps of what
// stands stay lit.
func TestTestBesideWhatStands(t *testing.T) {
	d := newDesk(t)
	d.turn(coAlarm, alarms.Acknowledged)
	d.tick()
	if err := d.s.Test(d.now); err != nil {
		t.Fatal(err)
	}
	for end := d.now.Add(TestTime()); d.now.Before(end); d.pass(50 * ms) {
		if !d.red.on() || d.green.on() {
			t.Fatalf("red %v, green %v", d.red.on(), d.green.on())
		}
	}
}

// A pin that refuses is said once, counted, tried again, and said once more
// when it follows; it does not hold the others.
func TestRefusedPin(t *testing.T) {
	d := newDesk(t)
	d.tick()
	d.horn.refuse(errWire)
	d.turn(coAlarm, alarms.Unacknowledged)
	d.pass(time.Second)
	err := d.s.Fault()
	if !errors.Is(err, errWire) || !strings.Contains(err.Error(), "siren: horn: pin GPIO5: ") {
		t.Errorf("fault: %v", err)
	}
	if d.red.writes < 4 || d.s.Failures() < 5 {
		t.Errorf("red written %d times, %d failures", d.red.writes, d.s.Failures())
	}
	if n := strings.Count(d.log.String(), "\n"); n != 1 {
		t.Errorf("%d lines in the log:\n%s", n, d.log.String())
	}
	d.horn.refuse(nil)
	d.sounds("follows again", Temporal4)
	if err := d.s.Fault(); err != nil || strings.Count(d.log.String(), "\n") != 2 {
		t.Errorf("fault %v, log:\n%s", err, d.log.String())
	}
}

func TestNoPins(t *testing.T) {
	d := newDesk(t)
	d.s = New(Opts{Clock: system{}, Log: d.s.log})
	d.turn(coEvacuate, alarms.Unacknowledged)
	d.pass(time.Minute)
	if err := d.s.Fault(); err != nil || d.s.Failures() != 0 {
		t.Errorf("fault: %v", err)
	}
}
