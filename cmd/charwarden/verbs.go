package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"charwarden/alarms"
	"charwarden/cmd/internal/runlog"
	"charwarden/sensors/derive/phase"
)

// deed is one thing that a person wants done, ready for the loop to do it.
type deed struct {
	verb  string
	order order
	do    func(asker) (any, error)
}

// verbs are all that people may have the loop do, whether they ask at the
// socket or by phone, and what `replay` does again. Each reads its order's JSON.
var verbs = func() map[string]func(body []byte) (deed, error) {
	v := make(map[string]func([]byte) (deed, error))
	turn := func(verb string, do func(*alarms.Engine, time.Time, string) (alarms.Transition, error)) {
		verbOf(v, verb, func(a asker, o named) (any, error) { return a.turned(do(a.engine, a.now, o.Alarm)) })
	}
	turn("unshelve", (*alarms.Engine).Unshelve)
	turn("reset", (*alarms.Engine).Reset)
	turn("in", (*alarms.Engine).Return)
	verbOf(v, "ack", func(a asker, o ackOrder) (any, error) {
		return a.turned(a.engine.Acknowledge(a.now, o.Alarm, o.Seq))
	})
	verbOf(v, "shelve", func(a asker, o shelfOrder) (any, error) {
		return a.turned(a.engine.Shelve(a.now, o.Alarm, o.duration()))
	})
	verbOf(v, "out", func(a asker, o outOrder) (any, error) {
		return a.turned(a.engine.Remove(a.now, o.Alarm, o.Reason))
	})
	verbOf(v, "silence", func(a asker, _ bare) (any, error) {
		if !a.silence(a.now, a.person) {
			return nil, errors.New("nothing sounds: there is nothing to silence")
		}
		return struct{}{}, nil
	})
	verbOf(v, "sound", func(a asker, _ bare) (any, error) {
		if a.signals == nil {
			return nil, errors.New("there is no horn here")
		}
		return struct{}{}, a.signals.siren.Test(a.now)
	})
	verbOf(v, "reset permit", func(a asker, _ bare) (any, error) {
		return struct{}{}, a.resetPermit(a.now)
	})
	verbOf(v, "phase", func(a asker, o phaseOrder) (any, error) {
		if p, err := phase.Parse(o.Phase); err == nil {
			a.finder.Force(a.now, p)
		} else { // auto: the order was checked
			a.finder.Auto(a.now)
		}
		return struct{}{}, nil
	})
	verbOf(v, "note", func(a asker, o noteOrder) (any, error) {
		n, err := runlog.ParseNote(o.Text)
		if err != nil {
			return nil, err
		}
		a.noted = append(a.noted, n)
		return noteRow{Kind: n.Kind, Value: n.Value, Unit: orNull(n.Unit), Text: n.Text}, nil
	})
	verbOf(v, "runs start", func(a asker, _ bare) (any, error) { return struct{}{}, a.runs.begin(a.person) })
	verbOf(v, "runs stop", func(a asker, _ bare) (any, error) { return struct{}{}, a.runs.end(a.person) })
	rigVerbs(v)
	return v
}()

// rigVerbs are about charcoal, filter, seals and cells.
func rigVerbs(v map[string]func([]byte) (deed, error)) {
	verbOf(v, "filled", func(a asker, o massOrder) (any, error) {
		a.noted = append(a.noted, runlog.Note{Kind: "refuel", Value: &o.Kilograms, Unit: "kg"})
		return a.charcoal(func() error { return a.hopper.Filled(o.Kilograms) })
	})
	verbOf(v, "weighed", func(a asker, o massOrder) (any, error) {
		a.noted = append(a.noted, runlog.Note{Kind: "left", Value: &o.Kilograms, Unit: "kg"})
		return a.charcoal(func() error { return a.hopper.Weighed(o.Kilograms) })
	})
	verbOf(v, "cleaned", func(a asker, _ bare) (any, error) {
		a.noted = append(a.noted, runlog.Note{Kind: "cleaned"})
		a.dirty = true
		return struct{}{}, a.cleaned(a.now)
	})
	verbOf(v, "holdtest start", func(a asker, _ bare) (any, error) { return a.startHold(a.now) })
	verbOf(v, "holdtest end", func(a asker, _ bare) (any, error) {
		if a.holding != nil {
			a.holding.End()
			a.dirty = true
		}
		return holdRowOf(a.core), nil
	})
	verbOf(v, "calibrate", func(a asker, o calOrder) (any, error) {
		if a.reading(o.Channel) == nil {
			return nil, fmt.Errorf("calibrate %s: %w", o.Channel, errUnknownChannel)
		}
		r, err := a.calibrate(a.now, o.Channel, o.What, o.Reference)
		return calRow{r.Channel, r.What, figure(r.Before), figure(r.After), r.Unit, r.Date}, err
	})
	verbOf(v, "bumptest start", func(a asker, o testOrder) (any, error) {
		if a.reading(o.Channel) == nil {
			return nil, fmt.Errorf("bump test of %s: %w", o.Channel, errUnknownChannel)
		}
		if err := a.startTest(a.now, o.Channel, o.PPM); err != nil {
			return nil, err
		}
		return testRowOf(a.core, o.Channel)
	})
	verbOf(v, "bumptest end", func(a asker, o testOrder) (any, error) {
		r, err := a.endTest(a.now, o.Channel)
		if err != nil {
			return nil, err
		}
		return testRowFor(a.core, r), nil
	})
	verbOf(v, clockVerb, func(a asker, o moveOrder) (any, error) {
		a.moved += time.Duration(o.Seconds) * time.Second
		return struct{}{}, nil
	})
}

// verbOf adds a verb.
func verbOf[T order](v map[string]func([]byte) (deed, error), verb string, do func(asker, T) (any, error)) {
	v[verb] = func(body []byte) (deed, error) {
		o, err := decodeOrder[T](body)
		return deed{verb, o, func(a asker) (any, error) { return do(a, o) }}, err
	}
}

// deedOf is an order that does not come as JSON.
func deedOf(verb string, o order) (deed, error) {
	body, err := json.Marshal(o)
	if err != nil {
		return deed{}, err
	}
	return verbs[verb](body)
}

// carryOut does it, in the loop, and keeps for the run log what was asked and
// what came of it.
func (c *core) carryOut(now time.Time, person string, d deed) (any, error) {
	noted := len(c.noted)
	what, err := d.do(asker{c, now, person})
	said := runlog.Command{Person: person, Verb: d.verb}
	if err != nil {
		said.Err = err.Error()
		c.noted = c.noted[:noted]
	}
	for i := noted; i < len(c.noted); i++ {
		c.noted[i].Person = person
	}
	body, _ := json.Marshal(d.order) // it was read from JSON
	said.Body = string(body)
	c.said = append(c.said, said)
	return what, err
}

// asker is the loop's hand while it carries out what a person asks for.
type asker struct {
	*core
	now    time.Time
	person string
}

// turned notes a transition that a person brought about and answers with it.
func (a asker) turned(t alarms.Transition, err error) (any, error) {
	if err != nil {
		return nil, err
	}
	a.made = append(a.made, t)
	return turnRow{t.Rule.Name, t.State.String()}, nil
}

// charcoal tells the hopper something and answers with what it makes of it.
func (a asker) charcoal(tell func() error) (any, error) {
	if a.hopper == nil {
		return nil, errNoHopper
	}
	if err := tell(); err != nil {
		return nil, err
	}
	a.dirty = true
	rs := a.hopper.Readings(nil)
	return hopperRow{Burnt: figure(rs[1].Value), Left: figure(rs[2].Value)}, nil
}
