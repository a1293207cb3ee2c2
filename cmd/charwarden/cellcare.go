package main

import (
	"errors"
	"fmt"
	"math"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// cared is what people have done to one channel: it outlives the process.
type cared struct {
	Zero float64 `json:"zero"` // taken off, in the channel's unit
	Span float64 `json:"span"` // then multiplied; 0 is 1
	ZeroAt, SpanAt,
	BumpAt time.Time
	BumpPeak float64 `json:"bump_peak"` // ppm that the last passed test reached
}

const (
	testLength  = 5 * time.Minute
	testSettle  = 2 * time.Minute        // how long test gas may hang about the cell
	testShare   = 0.8                    // of the gas must show (ISEA statement on bump tests, second hand)
	steadyFor   = 30 * time.Second       // what a calibration averages
	steadyEvery = 500 * time.Millisecond // and how often it looks
)

// bump is a bump test: from its start to its end, or kept as the last result.
type bump struct {
	testResult
	began time.Time
	need  float64   // ppm to reach
	until time.Time // after the end: until when the dose does not count
}

// testResult is how a bump test goes or went.
type testResult struct {
	Channel string        `json:"channel"`
	Peak    float64       `json:"peak"`  // ppm
	Asked   float64       `json:"asked"` // ppm of the gas; 0: not told
	Passed  bool          `json:"passed"`
	Running bool          `json:"running"`
	Left    time.Duration `json:"left_ns"`
}

// calResult is a calibration that was carried out.
type calResult struct {
	Channel string    `json:"channel"`
	What    string    `json:"what"`
	Before  float64   `json:"before"` // mean shown
	After   float64   `json:"after"`
	Unit    string    `json:"unit"`
	Date    time.Time `json:"date"`
}

// startTest begins a bump test of a CO channel with gas of ppm, 0 if that is
// not known. What the channel raises is marked as a test until it ends.
func (c *core) startTest(now time.Time, channel string, ppm float64) error {
	x := c.reading(channel)
	switch {
	case x == nil || c.channels[c.at[channel]].Quantity != sensors.CO:
		return fmt.Errorf("%s: no channel of carbon monoxide: only those are tested with gas", channel)
	case c.tests[channel] != nil && c.tests[channel].Running:
		return errors.New("a test runs already")
	case ppm < 0 || math.IsNaN(ppm) || math.IsInf(ppm, 0):
		return fmt.Errorf("%v ppm: no such gas", ppm)
	case x.Status != sensors.Good:
		return fmt.Errorf("%s is %v: repair it first", channel, x.Status)
	}
	need := testShare * ppm
	if ppm == 0 {
		for _, r := range c.cfg.Rules {
			if r.Channel == channel && r.Kind == alarms.Above && (need == 0 || r.Limit < need) {
				need = r.Limit
			}
		}
	}
	if x.Value >= need {
		return fmt.Errorf("it shows %.0f ppm before any gas: leave, and prove the air clear first", x.Value)
	}
	if err := c.engine.StartTest(channel); err != nil {
		return err
	}
	c.hold(channel, true)
	c.tests[channel] = &bump{testResult: testResult{Channel: channel, Asked: ppm, Running: true, Left: testLength}, began: now, need: need}
	return nil
}

// endTest ends a test and records one that passed.
func (c *core) endTest(now time.Time, channel string) (testResult, error) {
	b := c.tests[channel]
	if b == nil || !b.Running {
		return testResult{}, errors.New("no test runs")
	}
	b.Running, b.Left = false, 0
	b.until = now.Add(testSettle)
	if b.Passed {
		k := c.caredFor(channel)
		k.BumpAt, k.BumpPeak = now, b.Peak
		c.date(channel, k)
		c.dirty = true
	}
	c.made = c.engine.EndTest(now, channel, c.made)
	return b.testResult, nil
}

// testState returns the running test, or the last.
func (c *core) testState(channel string) (testResult, bool) {
	b := c.tests[channel]
	if b == nil {
		return testResult{}, false
	}
	return b.testResult, true
}

// runTests follows the tests that run, ends those whose time is up, and lets the
// dose count again once the gas is gone.
func (c *core) runTests(now time.Time) {
	for channel, b := range c.tests {
		x := c.reading(channel)
		if b.Running {
			if x.Status == sensors.Good || x.Status == sensors.ClippedHigh {
				b.Peak = max(b.Peak, x.Value)
				b.Passed = b.Peak >= b.need
			}
			b.Left = max(0, testLength-now.Sub(b.began))
			if b.Left == 0 {
				c.endTest(now, channel)
			}
		} else if !b.until.IsZero() && (now.After(b.until) || x.Status == sensors.Good && x.Value < b.need/5 || c.stands(channel)) {
			b.until = time.Time{}
			c.hold(channel, false)
		}
	}
}

// stands reports whether a real alarm of the channel stands.
func (c *core) stands(channel string) bool {
	return c.anyOf(channel, func(a *alarms.Alarm) bool { return a.State.Standing() && !a.Test })
}

// clear reports whether nothing that test gas raised counts as there any more. An
// alarm ends some time after its gas: a test that ends before makes a real one of
// it.
func (c *core) clear(channel string) bool {
	return !c.anyOf(channel, func(a *alarms.Alarm) bool {
		return a.Test && (a.State == alarms.Unacknowledged || a.State == alarms.Acknowledged)
	})
}

func (c *core) anyOf(channel string, is func(*alarms.Alarm) bool) bool {
	c.list = c.engine.Alarms(c.list)
	for i := range c.list {
		if a := &c.list[i]; a.Rule.Channel == channel && is(a) {
			return true
		}
	}
	return false
}

func (c *core) hold(channel string, on bool) {
	for _, d := range c.doses {
		if d.channel == channel {
			d.Hold(on)
		}
	}
}

// steady collects what a calibration averages.
type steady struct {
	at     []time.Time
	values []float64
}

func (s *steady) note(now time.Time, x *sensors.Reading) {
	n := len(s.at)
	switch {
	case x.Status != sensors.Good:
		s.at, s.values = s.at[:0], s.values[:0]
		return
	case n > 0 && now.Sub(s.at[n-1]) < steadyEvery:
		return
	}
	if n > 0 && now.Sub(s.at[0]) > steadyFor {
		copy(s.at, s.at[1:])
		copy(s.values, s.values[1:])
		s.at, s.values = s.at[:n-1], s.values[:n-1]
	}
	s.at, s.values = append(s.at, now), append(s.values, x.Value)
}

// mean of what was collected, and its standard deviation.
func (s *steady) mean() (mean, deviation float64) {
	for _, v := range s.values {
		mean += v
	}
	n := float64(len(s.values))
	mean /= n
	for _, v := range s.values {
		deviation += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(deviation / n)
}

// band is what a calibration may change: our own choice, after the SPEC module
// library's bound of 50 mV for a zero and CO cells' spread of sensitivity.
var band = map[sensors.Quantity]struct{ zero, least, low, high, noise float64 }{
	sensors.CO:       {zero: 25, least: 20, low: 0.5, high: 2, noise: 3},
	sensors.Pressure: {zero: 50, least: 100, low: 0.8, high: 1.25, noise: 10},
}

// calibrate makes what a channel shows now, as the mean of the last 30 s, read
// 0 (what: zero) or reference (span).
func (c *core) calibrate(now time.Time, channel, what string, reference float64) (calResult, error) {
	s := c.steady[channel]
	if s == nil {
		return calResult{}, fmt.Errorf("%s: only carbon monoxide and pressure are calibrated here", channel)
	}
	ch := &c.channels[c.at[channel]]
	bounds, k := band[ch.Quantity], c.caredFor(channel)
	if ph := c.phase(); ph == phase.Running || ph == phase.Warming || ph == phase.Unknown || c.turns() {
		return calResult{}, fmt.Errorf("the engine is not known to stand (phase %v): stop it first", ph)
	}
	if len(s.at) < 2 || s.at[len(s.at)-1].Sub(s.at[0]) < steadyFor-steadyEvery {
		return calResult{}, fmt.Errorf("%s has not given good values for %v yet: wait, then ask again", channel, steadyFor)
	}
	if c.stands(channel) {
		return calResult{}, fmt.Errorf("an alarm of %s stands: leave, and prove the air clear first", channel)
	}
	mean, noise := s.mean()
	if noise > bounds.noise+0.05*math.Abs(reference) {
		return calResult{}, fmt.Errorf("%s is not steady: it moves by %.3g %s", channel, noise, ch.Quantity.Unit())
	}
	span, gain := k.span(), ch.Gain
	if gain == 0 {
		gain = 1
	}
	result := calResult{Channel: channel, What: what, Before: mean, Unit: ch.Quantity.Unit(), Date: now}
	fresh := *k
	switch what {
	case "zero":
		fresh.Zero += (mean - ch.Offset) / (gain * span)
		if math.Abs(fresh.Zero) > bounds.zero {
			return calResult{}, fmt.Errorf("%s would be moved by %.3g %s in all, at most %g: the air is not clean, or the sensor is worn out", channel, fresh.Zero, result.Unit, bounds.zero)
		}
		fresh.ZeroAt = now
	case "span":
		if !(reference >= bounds.least) || math.IsInf(reference, 0) {
			return calResult{}, fmt.Errorf("reference %v: at least %g %s is wanted", reference, bounds.least, result.Unit)
		}
		fresh.Span = span * (reference - ch.Offset) / (mean - ch.Offset)
		if !(fresh.Span >= bounds.low && fresh.Span <= bounds.high) {
			return calResult{}, fmt.Errorf("%s shows %.3g for %.3g %s: a factor of %.2f, allowed %g to %g: wrong gas, or the sensor is worn out", channel, mean, reference, result.Unit, fresh.Span, bounds.low, bounds.high)
		}
		fresh.SpanAt = now
		result.After = reference
	default:
		return calResult{}, fmt.Errorf("%q: zero or span is wanted", what)
	}
	*k = fresh
	s.at, s.values = s.at[:0], s.values[:0]
	c.dirty = true
	c.correct(channel, k)
	c.date(channel, k)
	return result, nil
}

func (k *cared) span() float64 {
	if k.Span == 0 {
		return 1
	}
	return k.Span
}

// turns reports whether the tacho shows that the engine turns, or nothing.
func (c *core) turns() bool {
	x := c.reading(c.cfg.Roles.Speed)
	return x != nil && !(x.Status == sensors.Good && x.Value < 1)
}

func (c *core) caredFor(channel string) *cared {
	if c.cared[channel] == nil {
		c.cared[channel] = new(cared)
	}
	return c.cared[channel]
}

// newer returns the later of two dates.
func newer(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}
