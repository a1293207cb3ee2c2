package alarms

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"charwarden/sensors"
)

// sameError compares the reasons of two refusals.
func sameError(got, want error) bool {
	var a, b *SeqError
	if errors.As(want, &b) {
		return errors.As(got, &a) && *a == *b
	}
	return want == nil && got == nil || want != nil && errors.Is(got, want)
}

// randomRule has a limit of 10 and short delays, so that everything happens
// often.
func randomRule(r *rand.Rand, i int) Rule {
	seconds := func() time.Duration { return time.Duration(r.IntN(4)*r.IntN(4)) * 500 * time.Millisecond }
	rule := Rule{
		Name: pump.Name + "_" + string(rune('a'+i)), Channel: pump.Name,
		Kind: Kind(r.IntN(int(kinds))), Priority: Priority(r.IntN(int(Evacuate))),
		OnDelay: seconds(), OffDelay: seconds(), ReAlarm: seconds(), Latch: r.IntN(2) == 0,
		Means: "a test", DoFirst: "read the test",
	}
	if rule.Kind.limited() {
		rule.Limit, rule.Deadband = 10, float64(r.IntN(3))
	}
	return rule
}

// randomSample stays near the limit, holds still half of the time, and is bad
// now and then; the clock stands or goes back now and then.
func randomSample(r *rand.Rand, last sample) sample {
	s := last
	s.at = last.at.Add(time.Duration(r.IntN(5)) * 500 * time.Millisecond)
	if r.IntN(40) == 0 {
		s.at = last.at.Add(-time.Duration(r.IntN(10)) * time.Second)
	}
	switch r.IntN(10) {
	case 0:
		s.status = sensors.Status(r.IntN(len(sensors.Statuses()) + 1))
		s.value = []float64{math.NaN(), math.Inf(1), 0, 20}[r.IntN(4)]
	case 1, 2, 3, 4:
		s.status, s.value = sensors.Good, 7+0.5*float64(r.IntN(13))
	}
	return s
}

// The engine agrees with the naive model on every change, occurrence, time,
// refusal and snapshot.
func TestAgainstNaiveModel(t *testing.T) {
	const worlds, steps, rules = 700, 300, 5 // 210 000 steps, 1 050 000 of one alarm
	reached := make(map[[2]State]int)
	for world := range uint64(worlds) {
		r := rand.New(rand.NewPCG(2024, world))
		models := make([]naive, rules)
		var list []Rule
		for i := range models {
			models[i].Rule = randomRule(r, i)
			list = append(list, models[i].Rule)
		}
		e := engine(t, list...)
		now := sample{at: day}
		var snapshot []Alarm
		for step := range steps {
			now = randomSample(r, now)
			got := e.Step(now.at, []sensors.Reading{{Channel: pump.Name, Status: now.status, Value: now.value}})
			for i := range models {
				m := &models[i]
				before := m.state()
				m.step(now)
				if m.state() == before {
					continue
				}
				reached[[2]State{before, m.state()}]++
				if len(got) == 0 {
					t.Fatalf("world %d step %d: %+v: no change, want %v to %v", world, step, m.Rule, before, m.state())
				}
				c := got[0]
				got = got[1:]
				if c.Rule.Name != m.Name || c.From != before || c.State != m.state() || !c.At.Equal(now.at) {
					t.Fatalf("world %d step %d: %v\nwant %s %v to %v", world, step, c, m.Name, before, m.state())
				}
			}
			if len(got) > 0 {
				t.Fatalf("world %d step %d: %v, want no such change", world, step, got[0])
			}
			if r.IntN(3) == 0 {
				m := &models[r.IntN(rules)]
				before := m.state()
				var err, want error
				if r.IntN(2) == 0 {
					seq := uint64(r.IntN(2)) * m.seq
					if r.IntN(10) == 0 {
						seq += uint64(r.IntN(2))
					}
					want = m.acknowledge(now.at, seq)
					_, err = e.Acknowledge(now.at, m.Name, seq)
				} else {
					want = m.reset(now.at)
					_, err = e.Reset(now.at, m.Name)
				}
				if !sameError(err, want) {
					t.Fatalf("world %d step %d: %s in %v: error %v, want %v", world, step, m.Name, before, err, want)
				}
				if want == nil {
					reached[[2]State{before, m.state()}]++
				}
			}
			snapshot = e.Alarms(snapshot)
			for i, a := range snapshot {
				m := &models[i]
				same := math.Float64bits(a.Value) == math.Float64bits(m.value()) || math.IsNaN(a.Value) && math.IsNaN(m.value())
				if a.State != m.state() || a.Seq != m.seq || !a.Since.Equal(m.since) || !same {
					t.Fatalf("world %d step %d: %+v\nwant %v seq %d since %v value %v",
						world, step, a, m.state(), m.seq, m.since, m.value())
				}
			}
		}
	}
	if len(reached) != 13 { // B to D or E, C to A or F: two arrows more than in one table
		t.Errorf("%d of 13 arrows reached: %v", len(reached), reached)
	}
	for arrow, n := range reached {
		if n < 100 {
			t.Errorf("%v to %v was reached only %d times", arrow[0], arrow[1], n)
		}
	}
}
