package alarms

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// farm is 20 channels with 60 rules: three a channel.
func farm() (rules []Rule, channels []sensors.Channel) {
	for i := range 20 {
		c := sensors.Channel{Name: fmt.Sprintf("pump_%d", i), Quantity: sensors.Pressure}
		high := Rule{
			Name: c.Name + "_high", Channel: c.Name, Kind: Above, Priority: High,
			Limit: 100, Deadband: 5, OnDelay: time.Second, OffDelay: time.Second,
			Means: "a test", DoFirst: "read the test",
		}
		low := high
		low.Name, low.Kind, low.Limit, low.OnDelay, low.OffDelay = c.Name+"_low", Below, 50, 0, 0
		channels = append(channels, c)
		rules = append(rules, high, low, FaultRule(c))
	}
	return rules, channels
}

// readings makes n sweeps, the same for the same seed.
func readings(seed uint64, n int, channels []sensors.Channel) [][]sensors.Reading {
	r := rand.New(rand.NewPCG(seed, 1))
	sweeps := make([][]sensors.Reading, n)
	for i := range sweeps {
		for _, c := range channels {
			x := sensors.Reading{Channel: c.Name, Status: sensors.Good, Value: r.NormFloat64()*40 + 75}
			if r.IntN(8) == 0 {
				x = sensors.Bad(c.Name, day, sensors.Status(r.IntN(len(sensors.Statuses()))), nil)
			}
			sweeps[i] = append(sweeps[i], x)
		}
	}
	return sweeps
}

// The same readings give the same transitions, bit for bit, in the order of
// the rules.
func TestReplayIsExact(t *testing.T) {
	rules, channels := farm()
	place := make(map[string]int)
	for i, r := range rules {
		place[r.Name] = i
	}
	run := func() (lines []string) {
		e, err := New(rules, channels)
		if err != nil {
			t.Fatal(err)
		}
		for i, sweep := range readings(7, 3000, channels) {
			now, last := day.Add(time.Duration(i)*700*time.Millisecond), -1
			for _, c := range e.Step(now, sweep, phase.Running) {
				if place[c.Rule.Name] <= last {
					t.Fatalf("step %d: %s comes out of the order of the rules", i, c.Rule.Name)
				}
				last = place[c.Rule.Name]
				lines = append(lines, fmt.Sprintf("%v %s %v %v %x %d %v", c.At, c.Rule.Name, c.From, c.State,
					math.Float64bits(c.Value), c.Seq, c.Since))
			}
			if i%10 == 0 {
				_, _ = e.Acknowledge(now, rules[i%len(rules)].Name, 0) // may be refused
			}
		}
		return lines
	}
	first, second := run(), run()
	if len(first) < 1000 || len(first) != len(second) {
		t.Fatalf("%d and %d transitions, want the same and at least 1000", len(first), len(second))
	}
	for i := range first {
		if first[i] != second[i] {
			t.Fatalf("transition %d:\n%s\n%s", i, first[i], second[i])
		}
	}
}

// busy is an engine whose every step changes 20 alarms, and its step.
func busy(t testing.TB) (e *Engine, step func() int) {
	rules, channels := farm()
	e, err := New(rules, channels)
	if err != nil {
		t.Fatal(err)
	}
	sweeps := make([][]sensors.Reading, 2)
	for i, v := range []float64{20, 75} {
		for _, c := range channels {
			sweeps[i] = append(sweeps[i], sensors.Reading{Channel: c.Name, Status: sensors.Good, Value: v})
		}
	}
	n := 0
	return e, func() int {
		n++
		return len(e.Step(day.Add(time.Duration(n)*100*time.Millisecond), sweeps[n%2], phase.Running))
	}
}

func TestStepDoesNotAllocate(t *testing.T) {
	e, step := busy(t)
	step()
	into := e.Alarms(nil)
	if n := testing.AllocsPerRun(200, func() {
		if changes := step(); changes != 20 {
			t.Fatalf("%d changes, want 20", changes)
		}
		into = e.Alarms(into)
	}); n != 0 {
		t.Errorf("%v allocations a step, want 0", n)
	}
}

func BenchmarkStep(b *testing.B) {
	b.Run("changing", func(b *testing.B) {
		_, step := busy(b)
		b.ReportAllocs()
		for b.Loop() {
			step()
		}
	})
	b.Run("quiet", func(b *testing.B) {
		rules, channels := farm()
		e, err := New(rules, channels)
		if err != nil {
			b.Fatal(err)
		}
		sweep := readings(7, 1, channels)[0]
		b.ReportAllocs()
		for b.Loop() {
			e.Step(day, sweep, phase.Running)
		}
	})
}
