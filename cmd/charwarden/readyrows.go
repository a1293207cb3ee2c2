package main

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strings"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// What an item of `ready` may be.
const (
	readyOK      = "ok"
	readyMissing = "missing" // measured, and not so
	readySee     = "see"     // no sensor knows it
)

// readyRow is one item of what must be true before the fire, or after the stop.
type readyRow struct {
	Item  string   `json:"item"`
	State string   `json:"state"` // ok, missing or see
	Value *float64 `json:"value"` // in unit; null: none
	Limit *float64 `json:"limit"`
	Unit  *string  `json:"unit"` // null: a count
	Hint  *string  `json:"hint"` // what is missing, and what to do
}

// careRoutes are the questions of `ready` and `watch`.
func (d *desk) careRoutes(mux *http.ServeMux) {
	mux.HandleFunc("GET /ready", d.tellNow(func(now time.Time, c *core, q url.Values) any {
		if q.Get("when") == "after" {
			return afterRows(c, now)
		}
		return readyRows(c, now)
	}))
	mux.HandleFunc("GET /readings", d.tellNow(func(now time.Time, c *core, _ url.Values) any {
		return readingRows(c, now)
	}))
	mux.HandleFunc("GET /live", d.tellNow(func(now time.Time, c *core, _ url.Values) any {
		return liveOf(c, now)
	}))
}

// tellNow answers a question with what the loop knows at a time.
func (d *desk) tellNow(know func(time.Time, *core, url.Values) any) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		q := r.URL.Query()
		var what any
		err := d.ask(r.Context(), func(now time.Time, c *core) error {
			what = know(now, c, q)
			return nil
		})
		if err != nil {
			http.Error(w, err.Error(), codeOf(err))
			return
		}
		answer(w, what)
	}
}

// readyList collects rows.
type readyList struct {
	*core
	now  time.Time
	rows []readyRow
}

// readyRows are what must be true before the fire, as far as it is measured.
func readyRows(c *core, now time.Time) []readyRow {
	l := &readyList{core: c, now: now}
	l.alarms()
	l.quiet()
	l.sensors()
	l.cells()
	l.dust()
	l.fill()
	l.seals()
	l.outlets()
	l.records()
	l.time()
	return l.rows
}

// add appends an item; the row may be completed until the next one.
func (l *readyList) add(item, state, format string, a ...any) *readyRow {
	l.rows = append(l.rows, readyRow{Item: item, State: state, Hint: orNull(fmt.Sprintf(format, a...))})
	return &l.rows[len(l.rows)-1]
}

// of completes a row with its figures; a limit that is NaN is none.
func (r *readyRow) of(value, limit float64, unit string) {
	r.Value, r.Limit, r.Unit = figure(value), figure(limit), orNull(unit)
}

// alarms that stand, and those that somebody put aside.
func (l *readyList) alarms() {
	var stand, aside []string
	for _, r := range byUrgency(l.core, alarmRows(l.core)) {
		switch {
		case r.stands():
			stand = append(stand, r.Name)
		case r.State == alarms.Shelved.String(), r.State == alarms.OutOfService.String():
			aside = append(aside, r.Name)
		}
	}
	if len(stand) > 0 {
		l.add("alarms", readyMissing, "stand: %s; see `charwarden alarms`", few(stand)).of(float64(len(stand)), math.NaN(), "")
	} else {
		l.add("alarms", readyOK, "none stands")
	}
	if len(aside) > 0 {
		l.add("put aside", readySee, "cannot call: %s; put them back with `charwarden in` or `unshelve`, or know why not", few(aside))
	}
}

// few lists the first of names and how many more there are.
func few(names []string) string {
	const most = 4
	if len(names) <= most {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
}

// quiet: the rig is cold, or sealed and not hot any more.
func (l *readyList) quiet() {
	switch p := l.phase(); p {
	case phase.Cold:
		l.add("phase", readyOK, "%v", p)
	case phase.Sealed:
		l.cool(l.add("phase", readyOK, "%v", p))
	case phase.Unknown:
		l.add("phase", readyMissing, "not known yet: wait a minute, and look at the rig")
	default:
		l.add("phase", readyMissing, "%v: it is not at rest: this list is for before the fire", p)
	}
}

// cool says of a sealed rig that its walls are still hot, or that nobody knows.
func (l *readyList) cool(r *readyRow) {
	x := l.reading("wall_cold_time")
	switch {
	case x != nil && x.Status == sensors.Good && x.Value == 0:
		r.Hint = orNull("sealed, and its walls are below 60 °C; embers and CO may remain: open it outdoors, upwind")
	case x != nil && x.Status == sensors.Good:
		r.State = readyMissing
		r.of(x.Value, 0, quantityOf(l.core, x.Channel).Unit())
		r.Hint = orNull("sealed and still hot: do not open it before its walls are cool; embers and CO remain longer")
	default:
		r.State = readyMissing
		r.Hint = orNull("sealed, and not known to be cool: look at its walls, and do not open it while they are warm")
	}
}

// sensors: every one of them gives a value.
func (l *readyList) sensors() {
	good, all := 0, 0
	var bad []int
	for i := range l.cfg.Channels {
		switch r := &l.readings[i]; {
		case r.Channel == "disk_free" || r.Channel == "clock_unsynced": // have their own items
		case r.Status == sensors.Good:
			good, all = good+1, all+1
		default:
			all++
			bad = append(bad, i)
		}
	}
	if len(bad) == 0 {
		l.add("sensors", readyOK, "every one gives a value").of(float64(good), float64(all), "")
		return
	}
	l.add("sensors", readyMissing, "%d give no value: see their items", len(bad)).of(float64(good), float64(all), "")
	for _, i := range bad {
		r := &l.readings[i]
		hint := r.Status.String()
		if do := hintFor(*r); do != "" {
			hint += ": " + do
		}
		l.add(r.Channel, readyMissing, "%s", hint)
	}
}

// cells: zero and bump test of every CO cell, against the file's ages.
func (l *readyList) cells() {
	if len(l.doses) == 0 {
		l.add("co cell", readySee, "none is fitted: nothing here watches the air; the certified CO alarm on you does")
	}
	for _, d := range l.doses {
		l.age(d.channel+" zero", d.channel+"_zero_age", "zero it in clean air, far from a lit rig: charwarden calibrate "+d.channel+" zero")
		l.age(d.channel+" bump test", d.channel+"_bump_age", "a dead cell reads 0 ppm: charwarden bumptest "+d.channel)
	}
}

func (l *readyList) age(item, channel, do string) {
	limit := math.NaN()
	for _, r := range l.cfg.Rules {
		if r.Channel == channel && r.Kind == alarms.Above && !(r.Limit >= limit) {
			limit = r.Limit
		}
	}
	switch x := l.reading(channel); {
	case x == nil:
	case x.Status != sensors.Good:
		l.add(item, readyMissing, "%s: %s", reason(x), do).of(math.NaN(), limit, quantityOf(l.core, x.Channel).Unit())
	case x.Value >= limit:
		l.add(item, readyMissing, "too old: %s", do).of(x.Value, limit, quantityOf(l.core, x.Channel).Unit())
	default:
		l.add(item, readyOK, "").of(x.Value, limit, quantityOf(l.core, x.Channel).Unit())
	}
}

// reason is why a reading is not good.
func reason(r *sensors.Reading) string {
	if r.Err != nil {
		return r.Err.Error()
	}
	return r.Status.String()
}

// outlets: horn and watch pulse are fitted, and no output refuses; the permit,
// where there is one, is held.
func (l *readyList) outlets() {
	if l.signals == nil {
		return
	}
	has := map[string]bool{}
	for _, r := range l.signals.rows() {
		has[r.Channel] = true
		item := strings.ReplaceAll(r.Channel, "_", " ")
		switch {
		case r.State != "good":
			l.add(item, readyMissing, "%s", *r.Hint)
		case r.Channel == "horn":
			l.add(item, readyOK, "its pin works; hear it: charwarden check -c FILE --sound")
		case r.Channel == "watch_pulse":
			l.add(item, readyOK, "its pin works")
		}
	}
	if !has["horn"] {
		l.add("horn", readyMissing, "not fitted: no alarm is heard at the rig; name its pin under [outputs]")
	}
	if !has["watch_pulse"] {
		l.add("watch pulse", readyMissing, "not fitted: nobody would notice a dead board; name its pin under [outputs]")
	}
	switch held, why, fitted := l.permitState(); {
	case !fitted:
	case held:
		l.add("run permit", readyOK, "given")
	default:
		l.add("run permit", readyMissing, "%s; then `charwarden reset permit`", why)
	}
}
