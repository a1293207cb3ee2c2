package siren

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"charwarden/alarms"
)

// lit walks a lamp through 2 s and returns its pattern by what its pin did.
func (d *desk) lit(w *wire) Pattern {
	d.tick()
	var edges []time.Duration
	first, was := w.on(), w.on()
	for at := time.Duration(0); at < 4*time.Second; at += 50 * ms {
		d.pass(50 * ms)
		if on := w.on(); on != was {
			was = on
			edges = append(edges, at)
		}
	}
	switch {
	case len(edges) == 0 && first:
		return Steady
	case len(edges) == 0:
		return Off
	case len(edges) == 16:
		return Fast
	case len(edges) == 4:
		return Slow
	}
	d.t.Errorf("edges at %v", edges)
	return Off
}

// The state diagram of ISA-18.2: its suggestion for a lamp in each state (from
// memory; A off, B fast, C steady, D slow, E fast, F steady). Colours by IEC
// 60073: red danger, yellow warning or abnormal, green normal.
func TestLamps(t *testing.T) {
	want := map[alarms.State]Pattern{
		alarms.Normal:              Off,
		alarms.Unacknowledged:      Fast,
		alarms.Acknowledged:        Steady,
		alarms.Returned:            Slow,
		alarms.Latched:             Fast,
		alarms.LatchedAcknowledged: Steady,
		alarms.Shelved:             Off,
		alarms.Suppressed:          Off,
		alarms.OutOfService:        Off,
		99:                         Fast,
	}
	for i := range count {
		for s, lamp := range want {
			d := newDesk(t)
			d.as[i].State = s
			red, yellow, green := Off, Off, Off
			if i <= gasAlarm {
				red = lamp
			} else {
				yellow = lamp
			}
			if s == alarms.Normal || s == alarms.Suppressed {
				green = Steady
			}
			if r, y, g := d.lit(d.red), d.lit(d.yellow), d.lit(d.green); r != red || y != yellow || g != green {
				t.Errorf("%s, %v: red %+v, yellow %+v, green %+v", d.as[i].Rule.Name, s, r, y, g)
			}
		}
	}
}

// A lamp for several alarms shows first what still waits for somebody.
func TestLampOfSeveral(t *testing.T) {
	d := newDesk(t)
	for _, c := range []struct {
		alarm int
		to    alarms.State
		want  Pattern
	}{
		{coAlarm, alarms.Acknowledged, Steady},
		{gasAlarm, alarms.Returned, Slow},
		{wallStop, alarms.LatchedAcknowledged, Slow},
		{coEvacuate, alarms.Latched, Fast},
		{gasAlarm, alarms.Normal, Fast},
		{coEvacuate, alarms.LatchedAcknowledged, Steady},
		{coAlarm, alarms.Normal, Steady},
	} {
		d.as[c.alarm].State = c.to
		if got := d.lit(d.red); got != c.want {
			t.Errorf("%s %v: %+v, want %+v", d.as[c.alarm].Rule.Name, c.to, got, c.want)
		}
	}
	d.as[coCaution].State = alarms.Unacknowledged
	if r, y := d.lit(d.red), d.lit(d.yellow); r != Steady || y != Fast {
		t.Errorf("red %+v, yellow %+v", r, y)
	}
}

// A million steps through random states, silences, tests and hours: never is
// the green lamp lit while something stands, the horn never sounds with nothing
// to say, and red is never dark for longer than a flash, and two steps of up to 0.2 s,
// while danger stands.
func TestNeverGreenWhileSomethingStands(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 7))
	d := newDesk(t)
	states := append(alarms.States(), 77)
	var dark time.Time // since when red is dark though it must not be
	for step := range 1_000_000 {
		d.now = d.now.Add(time.Duration(r.Int64N(int64(200 * ms))))
		switch n := r.IntN(1000); {
		case n < 60:
			d.turn(r.IntN(count), states[r.IntN(len(states))])
			d.tick()
		case n < 65:
			for i := range d.as {
				d.turn(i, alarms.Normal)
			}
			d.tick()
		case n < 75:
			d.s.Silence(d.now, "ada")
		case n < 80:
			d.s.Test(d.now)
		case n < 500:
			d.s.play(d.now)
		default:
			d.tick()
		}
		d.ts = d.ts[:0]
		stands := slices.ContainsFunc(d.as, func(a alarms.Alarm) bool { return a.State.Standing() })
		if d.green.on() && stands {
			t.Fatalf("step %d: green though something stands", step)
		}
		danger := slices.ContainsFunc(d.as, func(a alarms.Alarm) bool { return a.Rule.Priority >= alarms.High && a.State.Standing() })
		if !danger || d.red.on() {
			dark = d.now
		}
		if d.now.Sub(dark) > 1400*ms {
			t.Fatalf("step %d: red is dark for %v though danger stands", step, d.now.Sub(dark))
		}
		if !stands && d.s.testing.IsZero() && d.horn.on() && d.now.Sub(d.s.horn.since) > 150*ms {
			t.Fatalf("step %d: the horn sounds though nothing stands", step)
		}
	}
	if d.horn.writes < 1000 || d.green.writes < 100 {
		t.Errorf("horn written %d times, green %d: too little was tried", d.horn.writes, d.green.writes)
	}
}

// What a tick costs: nothing on the heap, and about a microsecond.
func TestUpdateDoesNotAllocate(t *testing.T) {
	d := newDesk(t)
	d.turn(coAlarm, alarms.Unacknowledged)
	d.turn(gasAlarm, alarms.Unacknowledged)
	d.turn(coCaution, alarms.Acknowledged)
	d.tick()
	if n := testing.AllocsPerRun(1000, func() { d.now = d.now.Add(100 * ms); d.tick() }); n != 0 {
		t.Errorf("%v allocations a tick", n)
	}
}

func BenchmarkUpdate(b *testing.B) {
	d := newDesk(new(testing.T))
	rules := make([]alarms.Rule, 60)
	d.as = d.as[:0]
	for i := range rules {
		rules[i] = alarms.Rule{Priority: alarms.Priority(i % 4)}
		d.as = append(d.as, alarms.Alarm{Rule: &rules[i], State: alarms.State(i % 9)})
	}
	b.ReportAllocs()
	for b.Loop() {
		d.now = d.now.Add(100 * ms)
		d.tick()
	}
}
