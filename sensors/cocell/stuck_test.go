package cocell

import (
	"testing"
	"time"
)

func TestStuck(t *testing.T) {
	const second = time.Second
	noise := func(i int) int16 { return 100 + int16(i%3) }
	for _, c := range []struct {
		name  string
		code  func(i int) int16 // at second i
		until int
		fires int // first second at which it reports; -1: never
		ends  int // first second after that at which it does not; -1: goes on
	}{
		{"never moved in a day", func(int) int16 { return 100 }, 86400, -1, -1},
		{"noise all the time", noise, 3600, -1, -1},
		{"noise, then dead from 100 s", func(i int) int16 { return noise(min(i, 100)) }, 600, 220, -1},
		{"dead from 100 s, back at 300 s", func(i int) int16 {
			if i >= 300 {
				return noise(i)
			}
			return noise(min(i, 100))
		}, 600, 220, 300},
		// One step of gas on a noiseless channel teaches nothing.
		{"one step", func(i int) int16 {
			if i < 30 {
				return 100
			}
			return 200
		}, 3600, -1, -1},
		// A slow drift never moves three times within a window.
		{"one count in 40 s", func(i int) int16 { return int16(i / 40) }, 3600, -1, -1},
		{"quiet first, noise from 1000 s, dead from 1100 s", func(i int) int16 {
			return noise(max(1000, min(i, 1100)))
		}, 1500, 1220, -1},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := Stuck{After: 120 * second, Learn: 60 * second}
			fires, ends := -1, -1
			start := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
			for i := range c.until {
				got := s.Step(start.Add(time.Duration(i)*second), c.code(i))
				if got && fires < 0 {
					fires = i
				}
				if !got && fires >= 0 && ends < 0 {
					ends = i
				}
			}
			if fires != c.fires || ends != c.ends {
				t.Errorf("fires at %d, ends at %d, want %d and %d", fires, ends, c.fires, c.ends)
			}
		})
	}
}

func TestStuckMemory(t *testing.T) {
	s := Stuck{After: time.Minute, Learn: time.Minute}
	now := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	var code int16
	if n := testing.AllocsPerRun(100000, func() {
		now = now.Add(time.Second)
		code++
		s.Step(now, code)
	}); n != 0 {
		t.Errorf("%v allocations a step", n)
	}
}
