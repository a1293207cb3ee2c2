package alarms

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// MaxShelf is the longest that an alarm may be shelved: our own choice.
const MaxShelf = 30 * time.Minute

// Engine steps every rule through the transition table. It belongs to one
// goroutine: none of its methods may run beside another.
type Engine struct {
	rules   []Rule
	tied    []tie // of each rule to its channels
	tracks  []track
	byName  map[string]int
	names   []string  // of the channels
	testing []bool    // of the channels: test gas is on it
	last    time.Time // of the newest step
	order   uint64    // of the newest occurrence
	out     []Transition
	missing sensors.Reading // stands in for a reading that was not handed over
}

// tie is where the channels of a rule are among the readings.
type tie struct {
	own, other int   // other is -1 where there is none
	while      []int // -1 for one that looks at the phase
}

// New checks the rules against the channels and returns an engine with every
// alarm normal. The order of both is fixed for the engine's life. It reports
// everything that is wrong at once, each line naming its rule.
func New(rules []Rule, channels []sensors.Channel) (*Engine, error) {
	places, err := index(channels)
	errs := []error{err}
	e := &Engine{
		rules:   slices.Clone(rules),
		tied:    make([]tie, len(rules)),
		tracks:  make([]track, len(rules)),
		byName:  make(map[string]int, len(rules)),
		names:   make([]string, len(channels)),
		testing: make([]bool, len(channels)),
		out:     make([]Transition, 0, len(rules)), // one a rule is the most that a step gives
	}
	for i, c := range channels {
		e.names[i] = c.Name
	}
	for i := range e.rules {
		r := &e.rules[i]
		where := r.Name
		if where == "" {
			where = fmt.Sprintf("number %d", i+1)
		}
		refuse := func(err error) { errs = append(errs, fmt.Errorf("alarms: rule %s: %w", where, err)) }
		for _, err := range r.check() {
			refuse(err)
		}
		if _, twice := e.byName[r.Name]; twice && r.Name != "" {
			refuse(errors.New("name: used twice"))
		}
		e.byName[r.Name] = i
		place := func(what, channel string) int {
			p, known := places[channel]
			if !known && (channel != "" || what == "channel") { // check has refused an empty one
				refuse(fmt.Errorf("%s: %q: no such channel", what, channel))
			}
			return p
		}
		t := &e.tied[i]
		t.own, t.other = place("channel", r.Channel), -1
		if r.Kind.compares() {
			t.other = place("other", r.Other)
		}
		for _, w := range r.While {
			p := -1
			if len(w.Phases) == 0 {
				p = place("while", w.Channel)
			}
			t.while = append(t.while, p)
		}
		e.tracks[i] = track{value: math.NaN(), failed: make([]bool, len(r.While))}
		if r.Kind.windowed() {
			e.tracks[i].past = new(history)
		}
	}
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	return e, nil
}

// Step brings every alarm up to now and returns the changes in the order of
// the rules; the slice is valid until the next call. readings[i] belongs to
// channels[i] of New; one that is left out, or names another channel, counts
// as unknown. Delays are measured from step to step by now, on its monotonic
// clock where it carries one. If now went back, that step measures no time and
// clears nothing.
func (e *Engine) Step(now time.Time, readings []sensors.Reading, ph phase.Phase) []Transition {
	passed := between(e.last, now)
	e.last = now
	e.out = e.out[:0]
	for i := range e.rules {
		r, t := &e.rules[i], &e.tracks[i]
		suppressed := e.suppressed(i, readings, ph)
		ev := evidence{now: now, own: e.reading(readings, e.tied[i].own), past: t.past, was: t.present}
		if p := e.tied[i].other; p >= 0 {
			ev.other = e.reading(readings, p)
		}
		if suppressed && r.Kind == SlowFall { // it counts from when it may watch
			t.past.clear()
		}
		c, figure := r.judge(ev)
		if finite(figure) {
			t.value = figure
		}
		t.settle(r, c, passed)
		on := t.due(r, passed, suppressed)
		if on == nothing {
			continue
		}
		if change, err := e.turn(now, i, on); err == nil {
			e.out = append(e.out, change)
		}
	}
	return e.out
}

// suppressed reports whether a While of rule i is proved not to hold.
func (e *Engine) suppressed(i int, readings []sensors.Reading, ph phase.Phase) (any bool) {
	t := &e.tracks[i]
	for j, p := range e.tied[i].while {
		x := &e.missing
		if p >= 0 {
			x = e.reading(readings, p)
		}
		t.failed[j] = e.rules[i].While[j].fails(ph, x, t.failed[j])
		any = any || t.failed[j]
	}
	return any
}

// reading returns what was handed over for channel i.
func (e *Engine) reading(readings []sensors.Reading, i int) *sensors.Reading {
	if i >= len(readings) || readings[i].Channel != e.names[i] {
		return &e.missing
	}
	return &readings[i]
}

// turn sends one event to alarm i through the table.
func (e *Engine) turn(now time.Time, i int, on event) (Transition, error) {
	t := &e.tracks[i]
	from := t.state
	to, err := next(from, on, facts{latch: e.rules[i].Latch, active: t.active, was: t.was})
	if err != nil {
		return Transition{}, err
	}
	if t.turned(now, on, to) {
		e.order++
		t.order = e.order
		t.test = on != testEnding && e.testing[e.tied[i].own]
	}
	return Transition{At: now, From: from, Alarm: e.alarm(i)}, nil
}

func (e *Engine) alarm(i int) Alarm {
	t := &e.tracks[i]
	return Alarm{
		Rule: &e.rules[i], State: t.state, Value: t.value, Since: t.since, Seq: t.seq, Order: t.order,
		Hidden: t.hidden, Left: max(0, t.left), Reason: t.reason, Test: t.test,
	}
}

// Alarms returns every alarm in the order of the rules, appended to into[:0].
func (e *Engine) Alarms(into []Alarm) []Alarm {
	into = into[:0]
	for i := range e.rules {
		into = append(into, e.alarm(i))
	}
	return into
}
