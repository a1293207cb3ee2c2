package mqtt

import (
	"bytes"
	"encoding/json"
	"math"
	"strconv"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
)

// number is written with at most places decimals, null where it is none.
type number struct {
	v      float64
	places int // exact: all that are needed
}

const exact = -1

var null = number{v: math.NaN()}

func (n number) String() string { return string(n.appendTo(nil)) }

func (n number) appendTo(b []byte) []byte {
	if math.IsNaN(n.v) || math.IsInf(n.v, 0) {
		return append(b, "null"...)
	}
	v := n.v
	if n.places != exact && math.Abs(v) < 1e9 { // beyond, a float has no decimals to spare
		p := math.Pow10(n.places)
		v = math.Round(v*p) / p
	}
	if v == 0 {
		v = 0 // no -0
	}
	if math.Abs(v) >= 1e15 {
		return strconv.AppendFloat(b, v, 'g', -1, 64)
	}
	return strconv.AppendFloat(b, v, 'f', -1, 64)
}

func (n number) MarshalJSON() ([]byte, error) { return n.appendTo(nil), nil }

// stamp is RFC 3339 in UTC with milliseconds, null for the zero time.
type stamp time.Time

func (s stamp) appendTo(b []byte) []byte {
	t := time.Time(s)
	if t.IsZero() {
		return append(b, "null"...)
	}
	return t.UTC().AppendFormat(b, `"2006-01-02T15:04:05.000Z"`)
}

func (s stamp) MarshalJSON() ([]byte, error) { return s.appendTo(nil), nil }

// seconds is the same to the second, for lines that people read.
func seconds(t time.Time) string { return t.UTC().Format(time.RFC3339) }

// text is null where it is empty.
func text(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

// encode writes one of the structs below; none of them can fail. Signs such as
// < and > stay readable.
func encode(v any) []byte {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		panic("mqtt: payload: " + err.Error())
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n"))
}

// mono is t in seconds since boot, null for the zero time.
func (p *Publisher) mono(t time.Time) number {
	if t.IsZero() {
		return null
	}
	return number{p.o.MonoStart + t.Sub(p.o.Start).Seconds(), 3}
}

// readingPayload of a channel's newest reading. Nine of ten messages are one of
// these, so it is put together by hand.
func (p *Publisher) readingPayload(c *sensors.Channel, r *sensors.Reading) []byte {
	places, value := displays[c.Quantity].places, null
	if r.Status == sensors.Good {
		value = number{r.Value, places}
	}
	b := append(make([]byte, 0, 224), `{"value":`...)
	b = value.appendTo(b)
	b = appendString(append(b, `,"unit":`...), c.Quantity.Unit())
	b = appendString(append(b, `,"status":`...), r.Status.String())
	b = stamp(r.At).appendTo(append(b, `,"time":`...))
	b = appendString(append(b, `,"boot":`...), p.o.Boot)
	b = p.mono(r.At).appendTo(append(b, `,"mono_s":`...))
	if r.AtLeast { // value is a lower bound
		b = append(b, `,"at_least":true`...)
	}
	if r.Status == sensors.Good && r.Uncertainty > 0 { // half width, where one is stated
		b = number{r.Uncertainty, places + 1}.appendTo(append(b, `,"uncertainty":`...))
	}
	return append(b, '}')
}

// appendString appends s as JSON.
func appendString(b []byte, s string) []byte {
	for i := range len(s) {
		if s[i] < ' ' || s[i] > '~' || s[i] == '"' || s[i] == '\\' {
			return append(b, encode(s)...)
		}
	}
	return append(append(append(b, '"'), s...), '"')
}

// figures are an alarm's value, limit and unit; null for a rule that has no
// limit.
func (p *Publisher) figures(a *alarms.Alarm) (value, limit number, unit *string) {
	if !a.Rule.Kind.Limited() {
		return null, null, nil
	}
	q := p.quantity(a.Rule)
	return number{a.Value, displays[q].places}, number{a.Rule.Limit, exact}, text(a.Rule.Unit(q))
}

func (p *Publisher) quantity(r *alarms.Rule) sensors.Quantity {
	return p.o.Channels[p.channels[r.Channel]].Quantity
}

func (p *Publisher) alarmPayload(a *alarms.Alarm) []byte {
	value, limit, unit := p.figures(a)
	return encode(struct {
		Name     string  `json:"name"`
		Channel  string  `json:"channel"`
		Priority string  `json:"priority"`
		State    string  `json:"state"`
		Value    number  `json:"value"`
		Limit    number  `json:"limit"`
		Unit     *string `json:"unit"`
		Since    stamp   `json:"since"`
		Seq      uint64  `json:"seq"`
		Means    *string `json:"means"`
		DoFirst  *string `json:"do_first"`
		Test     bool    `json:"test,omitempty"` // raised by test gas
	}{
		a.Rule.Name, a.Rule.Channel, a.Rule.Priority.String(), a.State.String(),
		value, limit, unit, stamp(a.Since), a.Seq, text(a.Rule.Means), text(a.Rule.DoFirst), a.Test,
	})
}

func (p *Publisher) eventPayload(tr *alarms.Transition) []byte {
	value, limit, unit := p.figures(&tr.Alarm)
	return encode(struct {
		Time     stamp   `json:"time"`
		Boot     string  `json:"boot"`
		MonoS    number  `json:"mono_s"`
		Alarm    string  `json:"alarm"`
		Channel  string  `json:"channel"`
		From     string  `json:"from"`
		To       string  `json:"to"`
		Priority string  `json:"priority"`
		Value    number  `json:"value"`
		Limit    number  `json:"limit"`
		Unit     *string `json:"unit"`
		Seq      uint64  `json:"seq"`
		Test     bool    `json:"test,omitempty"`
	}{
		stamp(tr.At), p.o.Boot, p.mono(tr.At), tr.Rule.Name, tr.Rule.Channel,
		tr.From.String(), tr.State.String(), tr.Rule.Priority.String(), value, limit, unit, tr.Seq, tr.Test,
	})
}

// summary is the rig in one comparable value.
type summary struct {
	standing [alarms.Evacuate + 1]int // alarms that are shown, by priority
	states   [16]int                  // all alarms, by state
	phase    string
}

func summarise(as []alarms.Alarm, phase string) summary {
	s := summary{phase: phase}
	for i := range as {
		s.states[min(int(as[i].State), len(s.states)-1)]++
		if as[i].State.Standing() {
			s.standing[as[i].Rule.Priority]++
		}
	}
	return s
}

// payload of s. Objects inside it carry a key for every priority and state,
// in alphabetical order.
func (s *summary) payload(version string) []byte {
	standing, states := map[string]int{}, map[string]int{}
	var worst string
	for p := alarms.Notice; p <= alarms.Evacuate; p++ {
		standing[p.String()] = s.standing[p]
		if s.standing[p] > 0 {
			worst = p.String()
		}
	}
	for _, st := range alarms.States() {
		states[st.String()] = s.states[st]
	}
	return encode(struct {
		Worst    *string        `json:"worst"`
		Standing map[string]int `json:"standing"`
		States   map[string]int `json:"states"`
		Phase    *string        `json:"phase"`
		Version  *string        `json:"version"`
	}{text(worst), standing, states, text(s.phase), text(version)})
}
