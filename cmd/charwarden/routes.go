package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"

	"charwarden/alarms"
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

	mux.HandleFunc("GET /holdtest", d.tell(func(c *core, _ url.Values) (any, error) {
		return holdRowOf(c), nil
	}))
	mux.HandleFunc("GET /fire", d.tell(func(c *core, _ url.Values) (any, error) {
		return fireRowOf(c)
	}))
	mux.HandleFunc("GET /why", d.tell(func(c *core, _ url.Values) (any, error) {
		return causeRows(c), nil
	}))
	for verb := range verbs {
		if verb == clockVerb { // nobody's to say
			continue
		}
		mux.HandleFunc("POST "+pathOf(verb), d.carryOut(verb))
	}
	d.careRoutes(mux)
	return mux
}

// pathOf a verb at the socket: "/holdtest/start".
func pathOf(verb string) string { return "/" + strings.ReplaceAll(verb, " ", "/") }

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
func (d *desk) carryOut(verb string) http.HandlerFunc {
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
		todo, err := verbs[verb](body)
		if err != nil {
			refuse(http.StatusBadRequest, err)
			return
		}
		about = append(about, todo.order.about()...)
		var what any
		err = d.ask(r.Context(), func(now time.Time, c *core) (err error) {
			what, err = c.carryOut(now, person, todo)
			return err
		})
		if err != nil {
			refuse(codeOf(err), err)
			return
		}
		d.log.Info("command", about...)
		if n, noted := what.(noteRow); noted {
			err := d.stored(r.Context())
			if n.Stored = err == nil; err != nil {
				n.Why = orNull(err.Error())
			}
			what = n
		}
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
