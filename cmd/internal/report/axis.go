package report

import (
	"math"
	"time"
)

// axis is what numbers lie along, in the reader's unit.
type axis struct {
	from, to float64
	ticks    []tick
	title    string // below it; "" for none
}

type tick struct {
	at   float64
	text string
}

// share is where v lies, 0 to 1.
func (a *axis) share(v float64) float64 { return (v - a.from) / (a.to - a.from) }

// numbers is an axis over lo to hi in about so many steps; it begins at 0 if
// that is not far, and at the numbers themselves if it is tight.
func numbers(lo, hi float64, steps int, tight bool) axis {
	if !(lo <= hi) {
		lo, hi = 0, 1
	}
	if !tight {
		if lo > 0 && lo < 0.4*hi {
			lo = 0
		}
		// A line that hardly moves is not blown up to a mountain.
		if least := 0.02 * max(math.Abs(lo), math.Abs(hi)); hi-lo < least {
			lo, hi = (lo+hi-least)/2, (lo+hi+least)/2
		}
	}
	if hi-lo < 1e-9 {
		lo, hi = lo-1, hi+1
		if !tight && lo == -1 {
			lo = 0
		}
	}
	step := roundStep((hi - lo) / float64(steps))
	a := axis{from: lo, to: hi}
	if !tight {
		a.from, a.to = math.Floor(lo/step+1e-9)*step, math.Ceil(hi/step-1e-9)*step
		if lo < 0 && lo > -0.1*hi { // noise about 0 needs no step of its own
			a.from = lo
		}
	}
	digits := max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	for i := math.Ceil(a.from/step - 1e-9); i*step <= a.to+1e-9*step; i++ {
		a.ticks = append(a.ticks, tick{i * step, fixed(i*step, digits)})
	}
	return a
}

// roundStep is the next of 1, 2, 5 with any power of ten.
func roundStep(v float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if m*p >= v*(1-1e-9) {
			return m * p
		}
	}
	return 10 * p
}

// mostTimes is how many times of day have room below a picture on a phone.
const mostTimes = 6

// times is the axis of a stretch of a run: time of day where the clock was ever
// set, else the time since the start.
func (r *run) times(from, to int64) axis {
	a := axis{from: float64(from), to: float64(max(to, from+1))}
	steps := []time.Duration{time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 30 * time.Minute,
		time.Hour, 2 * time.Hour, 3 * time.Hour, 6 * time.Hour, 12 * time.Hour, 24 * time.Hour, 48 * time.Hour, 7 * 24 * time.Hour}
	step := steps[len(steps)-1]
	for _, s := range steps {
		if to-from <= int64(mostTimes)*s.Milliseconds() {
			step = s
			break
		}
	}
	if !r.told() {
		a.title = "time since the start"
		for ms := int64(0); from+ms <= to; ms += step.Milliseconds() {
			text := time.Time{}.Add(time.Duration(ms) * time.Millisecond).Format("15:04")
			if h := ms / 3600_000; h >= 24 {
				text = span(ms)
			}
			a.ticks = append(a.ticks, tick{float64(from + ms), text})
		}
		return a
	}
	begin, end := r.wall(from), r.wall(to)
	a.title = "time of day"
	day := time.Date(begin.Year(), begin.Month(), begin.Day(), 0, 0, 0, 0, r.zone)
	for i := 0; ; i++ {
		at := day.Add(time.Duration(i) * step)
		if at.After(end) {
			return a
		}
		if at.Before(begin) {
			continue
		}
		text := at.Format("15:04")
		if step >= 24*time.Hour {
			text = at.Format("2 Jan")
		}
		a.ticks = append(a.ticks, tick{float64(from + at.Sub(begin).Milliseconds()), text})
	}
}
