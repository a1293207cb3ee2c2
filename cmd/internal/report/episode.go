package report

import (
	"cmp"
	"encoding/json"
	"math"
	"slices"
	"strings"

	"charwarden/cmd/internal/runlog"
	"charwarden/sensors"
)

// episode is one time that an alarm stood.
type episode struct {
	number                   int // in the order of time, from 1
	alarm, channel, priority string
	seq                      uint64
	from, to                 int64   // of the condition; to is 0 if it stood at the end of the log
	value, limit             float64 // when it came; NaN: none
	worst                    float64 // while it stood, in value's unit; NaN: not known
	unit                     string
	acked                    int64 // 0: never
	by                       string
	open                     bool // nobody acknowledged it, or it waits for its reset
	state                    string
	firstOut, test, restored bool
	means                    string
}

// present says that the alarm's condition holds in a state.
func present(state string) bool { return state == "unacknowledged" || state == "acknowledged" }

// seen says that somebody has acknowledged it.
func seen(state string) bool {
	return state == "acknowledged" || state == "latched_acknowledged" || state == "normal"
}

// occurrences makes episodes of the transitions.
func (r *run) occurrences() (all []episode) {
	standing := map[string]int{} // by alarm, into all
	for _, t := range r.transitions {
		i, known := standing[t.Alarm]
		if known && all[i].seq != t.Seq && present(t.To) {
			known = false // another occurrence
		}
		if !known {
			if !present(t.To) && !strings.HasPrefix(t.To, "latched") && t.To != "returned" {
				continue
			}
			i = len(all)
			standing[t.Alarm] = i
			all = append(all, r.begun(&t))
		}
		e := &all[i]
		e.state = t.To
		switch {
		case present(t.To):
			if !present(t.From) && t.Seq == e.seq {
				e.to = 0
			}
		case e.to == 0:
			e.to = t.Ms
		}
		if seen(t.To) && !seen(t.From) && e.acked == 0 {
			if by := r.acknowledger(&t); by != "" || t.To != "normal" {
				e.acked, e.by = t.Ms, by
			}
		}
		e.open = t.To != "normal" && t.To != "shelved" && t.To != "suppressed" && t.To != "out_of_service"
		if t.To == "normal" {
			delete(standing, t.Alarm)
		}
	}
	all = slices.DeleteFunc(all, func(e episode) bool { return e.to > 0 && e.to < r.from && !e.open || e.from > r.end })
	slices.SortStableFunc(all, func(a, b episode) int { return cmp.Compare(a.from, b.from) })
	for i := range all {
		e := &all[i]
		e.number = i + 1
		e.worst = r.worstOf(e)
	}
	return all
}

// begun is a new episode.
func (r *run) begun(t *runlog.Transition) episode {
	e := episode{alarm: t.Alarm, channel: t.Channel, priority: t.Priority, seq: t.Seq, from: t.Ms,
		value: number(t.Value), limit: number(t.Limit), unit: t.Unit, worst: math.NaN(),
		firstOut: t.FirstOut, test: t.Test, restored: t.Restored}
	if l := r.limitOf(t.Alarm); l != nil {
		e.means = l.Means
	}
	return e
}

func number(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

// limitOf is the rule of an alarm, nil if the caller did not tell it.
func (r *run) limitOf(alarm string) *Limit {
	for i := range r.rig.Limits {
		if r.rig.Limits[i].Alarm == alarm {
			return &r.rig.Limits[i]
		}
	}
	return nil
}

// worstOf looks up how far an alarm on a level went.
func (r *run) worstOf(e *episode) float64 {
	l, t := r.limitOf(e.alarm), r.of(e.channel)
	if l == nil || t == nil || l.Kind != "above" && l.Kind != "below" {
		return math.NaN()
	}
	to := e.to
	if to == 0 {
		to = r.end
	}
	lo, hi := t.within(e.from, to)
	if l.Kind == "below" {
		return min(lo, e.value)
	}
	if math.IsNaN(hi) {
		return e.value
	}
	return max(hi, e.value)
}

// figure is a value of an alarm for the reader. The kinds that look at a level
// have the channel's measure, the others that of a difference.
func (r *run) figure(e *episode, v float64) string {
	if math.IsNaN(v) {
		return ""
	}
	t, l := r.of(e.channel), r.limitOf(e.alarm)
	if t == nil || !strings.HasPrefix(e.unit, t.Unit) {
		return strings.TrimSpace(fixed(v, 1) + " " + e.unit)
	}
	m := r.measure(t.Quantity)
	switch {
	case t.Quantity == sensors.Age:
		return span(int64(1000 * v))
	case e.unit != t.Unit: // a rate
		return m.apart().text(v) + strings.TrimPrefix(e.unit, t.Unit)
	case l != nil && l.Kind != "above" && l.Kind != "below" && l.Kind != "projected":
		return m.apart().text(v)
	}
	return m.text(v)
}

// acknowledger is who asked for the acknowledgement of that moment; "" if the
// log does not tell.
func (r *run) acknowledger(t *runlog.Transition) string {
	for i := len(r.commands) - 1; i >= 0; i-- {
		c := &r.commands[i]
		if c.Verb != "ack" || c.Err != "" || c.Ms > t.Ms || t.Ms-c.Ms > max(1000, 2*r.meta.Tick.Milliseconds()) {
			continue
		}
		var order struct {
			Alarm string `json:"alarm"`
		}
		if json.Unmarshal([]byte(c.Body), &order) == nil && order.Alarm != t.Alarm {
			continue
		}
		return c.Person
	}
	return ""
}

// lasted is how long an episode's condition was there, of the time in the log.
func (r *run) lasted(e *episode) int64 {
	if e.to == 0 {
		return r.end - e.from
	}
	return e.to - e.from
}
