package alarms

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"charwarden/sensors"
)

// Engine steps every rule through the transition table. It belongs to one
// goroutine: none of its methods may run beside another.
type Engine struct {
	rules   []Rule
	places  []int // of each rule's channel in names
	tracks  []track
	byName  map[string]int
	names   []string  // of the channels
	last    time.Time // of the newest step
	out     []Transition
	missing sensors.Reading // stands in for a reading that was not handed over
}

// New checks the rules against the channels and returns an engine with every
// alarm normal. The order of both is fixed for the engine's life. It reports
// everything that is wrong at once, each line naming its rule.
func New(rules []Rule, channels []sensors.Channel) (*Engine, error) {
	places, err := index(channels)
	errs := []error{err}
	e := &Engine{
		rules:  slices.Clone(rules),
		places: make([]int, len(rules)),
		tracks: make([]track, len(rules)),
		byName: make(map[string]int, len(rules)),
		names:  make([]string, len(channels)),
		out:    make([]Transition, 0, len(rules)), // one a rule is the most that a step gives
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
		place, known := places[r.Channel]
		if !known {
			refuse(fmt.Errorf("channel: %q: no such channel", r.Channel))
		}
		e.places[i], e.tracks[i].value = place, math.NaN()
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
func (e *Engine) Step(now time.Time, readings []sensors.Reading) []Transition {
	passed := between(e.last, now)
	e.last = now
	e.out = e.out[:0]
	for i := range e.rules {
		r, t := &e.rules[i], &e.tracks[i]
		on := t.due(r, e.reading(readings, e.places[i]), passed)
		if on == nothing {
			continue
		}
		if change, err := e.turn(now, i, on); err == nil {
			e.out = append(e.out, change)
		}
	}
	return e.out
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
	to, err := next(from, on, e.rules[i].Latch)
	if err != nil {
		return Transition{}, err
	}
	t.turned(now, on, to)
	return Transition{At: now, From: from, Alarm: e.alarm(i)}, nil
}

func (e *Engine) alarm(i int) Alarm {
	t := &e.tracks[i]
	return Alarm{
		Rule: &e.rules[i], State: t.state, Value: t.value, Since: t.since, Seq: t.seq,
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

// Worst returns the highest priority that stands, and whether any does.
func (e *Engine) Worst() (Priority, bool) {
	worst, stands := Notice, false
	for i := range e.rules {
		if e.tracks[i].state.Standing() {
			worst, stands = max(worst, e.rules[i].Priority), true
		}
	}
	return worst, stands
}
