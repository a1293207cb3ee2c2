package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"time"

	"charwarden/alarms"
	"charwarden/sensors/derive/phase"
)

var errUnknownChannel = errors.New("there is no channel of this name")

// routes are what the desk answers. A refusal is plain text that says why.
func (d *desk) routes() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /check", func(w http.ResponseWriter, _ *http.Request) {
		rows := d.rows()
		if rows == nil {
			http.Error(w, "no tick yet: ask again in a second", http.StatusServiceUnavailable)
			return
		}
		answer(w, rows)
	})
	mux.HandleFunc("GET /alarms", d.tell(func(c *core, _ url.Values) (any, error) {
		return alarmRows(c), nil
	}))
	mux.HandleFunc("GET /phase", d.tell(func(c *core, _ url.Values) (any, error) {
		return phaseOf(c), nil
	}))
	mux.HandleFunc("GET /permit", d.tell(func(c *core, _ url.Values) (any, error) {
		held, why, fitted := c.permitState()
		return permitRow{fitted, held, orNull(why)}, nil
	}))
	mux.HandleFunc("GET /bumptest", d.tell(func(c *core, q url.Values) (any, error) {
		return testRowOf(c, q.Get("channel"))
	}))

	turn := func(verb string, do func(*alarms.Engine, time.Time, string) (alarms.Transition, error)) {
		mux.HandleFunc("POST /"+verb, carryOut(d, verb, func(a asker, o named) (any, error) {
			return a.turned(do(a.engine, a.now, o.Alarm))
		}))
	}
	turn("ack", func(e *alarms.Engine, now time.Time, name string) (alarms.Transition, error) {
		return e.Acknowledge(now, name, 0)
	})
	turn("unshelve", (*alarms.Engine).Unshelve)
	turn("reset", (*alarms.Engine).Reset)
	turn("in", (*alarms.Engine).Return)
	mux.HandleFunc("POST /shelve", carryOut(d, "shelve", func(a asker, o shelfOrder) (any, error) {
		return a.turned(a.engine.Shelve(a.now, o.Alarm, o.duration()))
	}))
	mux.HandleFunc("POST /out", carryOut(d, "out", func(a asker, o outOrder) (any, error) {
		return a.turned(a.engine.Remove(a.now, o.Alarm, o.Reason))
	}))

	mux.HandleFunc("POST /silence", carryOut(d, "silence", func(a asker, _ bare) (any, error) {
		if !a.silence(a.now, a.person) {
			return nil, errors.New("nothing sounds: there is nothing to silence")
		}
		return struct{}{}, nil
	}))
	mux.HandleFunc("POST /sound", carryOut(d, "sound", func(a asker, _ bare) (any, error) {
		return struct{}{}, a.signals.siren.Test(a.now)
	}))
	mux.HandleFunc("POST /permit/reset", carryOut(d, "reset permit", func(a asker, _ bare) (any, error) {
		return struct{}{}, a.resetPermit(a.now)
	}))
	mux.HandleFunc("POST /phase", carryOut(d, "phase", func(a asker, o phaseOrder) (any, error) {
		if p, err := phase.Parse(o.Phase); err == nil {
			a.finder.Force(a.now, p)
		} else { // auto: the order was checked
			a.finder.Auto(a.now)
		}
		return struct{}{}, nil
	}))
	mux.HandleFunc("POST /note", carryOut(d, "note", func(asker, noteOrder) (any, error) {
		return struct{}{}, nil // the log's line is all that it is for
	}))
	mux.HandleFunc("POST /filled", carryOut(d, "filled", func(a asker, o massOrder) (any, error) {
		return a.charcoal(func() error { return a.hopper.Filled(o.Kilograms) })
	}))
	mux.HandleFunc("POST /weighed", carryOut(d, "weighed", func(a asker, o massOrder) (any, error) {
		return a.charcoal(func() error { return a.hopper.Weighed(o.Kilograms) })
	}))
	mux.HandleFunc("POST /cleaned", carryOut(d, "cleaned", func(a asker, _ bare) (any, error) {
		a.dirty = true
		return struct{}{}, a.cleaned(a.now)
	}))
	mux.HandleFunc("GET /holdtest", d.tell(func(c *core, _ url.Values) (any, error) {
		return holdRowOf(c), nil
	}))
	mux.HandleFunc("POST /holdtest/start", carryOut(d, "holdtest start", func(a asker, _ bare) (any, error) {
		return a.startHold(a.now)
	}))
	mux.HandleFunc("POST /holdtest/end", carryOut(d, "holdtest end", func(a asker, _ bare) (any, error) {
		if a.holding != nil {
			a.holding.End()
			a.dirty = true
		}
		return holdRowOf(a.core), nil
	}))
	mux.HandleFunc("GET /fire", d.tell(func(c *core, _ url.Values) (any, error) {
		return fireRowOf(c)
	}))
	mux.HandleFunc("GET /why", d.tell(func(c *core, _ url.Values) (any, error) {
		return causeRows(c), nil
	}))
	mux.HandleFunc("POST /calibrate", carryOut(d, "calibrate", func(a asker, o calOrder) (any, error) {
		if a.reading(o.Channel) == nil {
			return nil, fmt.Errorf("calibrate %s: %w", o.Channel, errUnknownChannel)
		}
		r, err := a.calibrate(a.now, o.Channel, o.What, o.Reference)
		return calRow{r.Channel, r.What, figure(r.Before), figure(r.After), r.Unit, r.Date}, err
	}))
	mux.HandleFunc("POST /bumptest/start", carryOut(d, "bumptest start", func(a asker, o testOrder) (any, error) {
		if a.reading(o.Channel) == nil {
			return nil, fmt.Errorf("bump test of %s: %w", o.Channel, errUnknownChannel)
		}
		if err := a.startTest(a.now, o.Channel, o.PPM); err != nil {
			return nil, err
		}
		return testRowOf(a.core, o.Channel)
	}))
	mux.HandleFunc("POST /bumptest/end", carryOut(d, "bumptest end", func(a asker, o testOrder) (any, error) {
		r, err := a.endTest(a.now, o.Channel)
		if err != nil {
			return nil, err
		}
		return testRowFor(a.core, r), nil
	}))
	return mux
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

// tell answers a question with what the loop knows.
func (d *desk) tell(know func(*core, url.Values) (any, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		q := r.URL.Query()
		var what any
		err := d.ask(r.Context(), func(_ time.Time, c *core) (err error) {
			what, err = know(c, q)
			return err
		})
		if err != nil {
			http.Error(w, err.Error(), codeOf(err))
			return
		}
		answer(w, what)
	}
}

// carryOut has the loop do what a person orders, and logs who it was.
func carryOut[T order](d *desk, verb string, do func(asker, T) (any, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		person, pid := peer(r.Context())
		about := []any{"person", person, "pid", pid, "verb", verb}
		refuse := func(code int, err error) {
			http.Error(w, err.Error(), code)
			if about = append(about, "err", err); errors.Is(err, errTooMany) {
				d.floods.log(d.log, time.Now(), about)
				return
			}
			d.log.Warn("command refused", about...)
		}
		body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxOrder))
		if errors.As(err, new(*http.MaxBytesError)) {
			refuse(http.StatusRequestEntityTooLarge, fmt.Errorf("order: more than %d bytes", maxOrder))
			return
		}
		if err != nil {
			refuse(http.StatusBadRequest, fmt.Errorf("order: %w", err))
			return
		}
		o, err := decodeOrder[T](body)
		if err != nil {
			refuse(http.StatusBadRequest, err)
			return
		}
		about = append(about, o.about()...)
		var what any
		err = d.ask(r.Context(), func(now time.Time, c *core) (err error) {
			what, err = do(asker{c, now, person}, o)
			return err
		})
		if err != nil {
			refuse(codeOf(err), err)
			return
		}
		d.log.Info("command", about...)
		answer(w, what)
	}
}

func codeOf(err error) int {
	switch {
	case errors.Is(err, alarms.ErrUnknownAlarm), errors.Is(err, errUnknownChannel):
		return http.StatusNotFound
	case errors.Is(err, errTooMany), errors.Is(err, errNoAnswer):
		return http.StatusServiceUnavailable
	}
	return http.StatusConflict
}

func answer(w http.ResponseWriter, what any) {
	w.Header().Set("Content-Type", "application/json")
	json.NewEncoder(w).Encode(what) // a caller that went away misses it
}
