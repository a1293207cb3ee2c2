package alarms

import (
	"math"
	"testing"
	"time"
)

// fill notes value(t) every tick for d and returns the time of the last.
func fill(h *history, from time.Time, d, tick, window time.Duration, value func(s float64) float64) time.Time {
	at := from
	for ; at.Sub(from) <= d; at = at.Add(tick) {
		h.note(at, value(at.Sub(day).Seconds()), 0, window)
	}
	return at.Add(-tick)
}

// The slope of a straight line is its own, and that of a parabola over an
// interval, at evenly spaced times, is the derivative in the middle of it
// (closed form of least squares).
func TestSlope(t *testing.T) {
	for _, tick := range []time.Duration{100 * time.Millisecond, time.Second, 1875 * time.Millisecond} {
		const window = time.Minute
		var h history
		fill(&h, day, 3*time.Minute, tick, window, func(s float64) float64 { return 400 - 0.25*s })
		if got := h.slope(); math.Abs(got+0.25) > 1e-12 {
			t.Errorf("tick %v: slope %v, want -0.25", tick, got)
		}
		h = history{}
		fill(&h, day, 3*time.Minute, tick, window, func(s float64) float64 { return 0.01 * s * s })
		first, last := h.at[h.place(0)].Sub(day).Seconds(), h.at[h.place(h.n-1)].Sub(day).Seconds()
		if got, want := h.slope(), 0.01*(first+last); math.Abs(got-want) > 1e-9 {
			t.Errorf("tick %v: slope %v over %v to %v s, want %v", tick, got, first, last, want)
		}
		if last-first < 58 || last-first > 62 {
			t.Errorf("tick %v: it reaches back %v s, want the window", tick, last-first)
		}
	}
	var h history
	h.note(day, 5, 0, time.Minute)
	if got := h.slope(); got != 0 {
		t.Errorf("slope of one sample is %v", got)
	}
}

// A sample every 32nd of the window is kept, and no more than that.
func TestHistoryThins(t *testing.T) {
	const window = 32 * time.Second
	var h history
	for i := range 1000 {
		h.note(day.Add(time.Duration(i)*100*time.Millisecond), float64(i), float64(-i), window)
	}
	if h.n != 33 {
		t.Fatalf("%d samples, want 33", h.n)
	}
	for i := range h.n { // the last whole second is 99, 32 s before it 67
		p := h.place(i)
		if want := float64(670 + 10*i); h.own[p] != want || h.other[p] != -want {
			t.Errorf("sample %d: %v and %v, want %v", i, h.own[p], h.other[p], want)
		}
	}
	if own, other := h.spans(); own != 320 || other != 320 {
		t.Errorf("spans %v and %v, want 320", own, other)
	}
}

func TestHistoryFull(t *testing.T) {
	const window = 32 * time.Second
	var h history
	if h.full(day, window) {
		t.Error("full of nothing")
	}
	for s := range 40 {
		now := day.Add(time.Duration(s) * time.Second)
		h.note(now, 0, 0, window)
		if h.full(now, window) != (s >= 31) { // to within a 32nd
			t.Errorf("after %d s: full %v", s, h.full(now, window))
		}
	}
}

// A gap of more than an eighth of the window (3 s for short ones) or a step
// back makes what was before worthless; an eighth does not.
func TestHistoryBreaks(t *testing.T) {
	for _, c := range []struct {
		window, gap time.Duration
		breaks      bool
	}{
		{80 * time.Second, 10 * time.Second, false},
		{80 * time.Second, 10*time.Second + 1, true},
		{8 * time.Second, 3 * time.Second, false},
		{8 * time.Second, 3*time.Second + 1, true},
		{80 * time.Second, -1, true},
		{80 * time.Second, 0, false},
	} {
		var h history
		last := fill(&h, day, c.window, c.window/32, c.window, func(float64) float64 { return 1 })
		if !h.full(last, c.window) {
			t.Fatalf("window %v: not full", c.window)
		}
		h.note(last.Add(c.gap), 2, 0, c.window)
		if broken := h.n == 1 && h.own[h.head] == 2; broken != c.breaks {
			t.Errorf("window %v, gap %v: %d samples, broken %v", c.window, c.gap, h.n, broken)
		}
	}
}
