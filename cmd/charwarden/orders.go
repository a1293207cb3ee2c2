package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"charwarden/alarms"
	"charwarden/sensors/derive/phase"
)

// maxOrder bounds the body of an order; maxText a person's own words in it.
const (
	maxOrder = 4 << 10 // bytes
	maxText  = 256     // bytes
)

// order is the JSON body of one command. check says what is wrong with it,
// about names it in the log.
type order interface {
	check() error
	about() []any
}

// bare is the order of a command that needs no words: {} or nothing.
type bare struct{}

func (bare) check() error { return nil }
func (bare) about() []any { return nil }

// named is about one alarm: {"alarm":"wall_near_stop"}.
type named struct {
	Alarm string `json:"alarm"`
}

func (o named) check() error { return wanted("alarm", o.Alarm) }
func (o named) about() []any { return []any{"alarm", o.Alarm} }

// ackOrder acknowledges one alarm: {"alarm":"wall_near_stop","seq":3}. Without
// seq the newest occurrence is meant, whichever it is.
type ackOrder struct {
	Alarm string `json:"alarm"`
	Seq   uint64 `json:"seq,omitempty"`
}

func (o ackOrder) check() error { return wanted("alarm", o.Alarm) }
func (o ackOrder) about() []any {
	if o.Seq == 0 {
		return []any{"alarm", o.Alarm}
	}
	return []any{"alarm", o.Alarm, "seq", o.Seq}
}

// shelfOrder puts an alarm aside: {"alarm":"gas_out_fault","seconds":600}.
type shelfOrder struct {
	Alarm   string  `json:"alarm"`
	Seconds float64 `json:"seconds"`
}

func (o shelfOrder) check() error {
	if !(o.Seconds > 0 && o.Seconds <= alarms.MaxShelf.Seconds()) {
		return fmt.Errorf("seconds: %g: want more than 0 and at most %g", o.Seconds, alarms.MaxShelf.Seconds())
	}
	return wanted("alarm", o.Alarm)
}
func (o shelfOrder) about() []any { return []any{"alarm", o.Alarm, "for", o.duration()} }
func (o shelfOrder) duration() time.Duration {
	return time.Duration(o.Seconds * float64(time.Second))
}

// outOrder takes an alarm out of service: {"alarm":"co_fault","reason":"..."}.
type outOrder struct {
	Alarm  string `json:"alarm"`
	Reason string `json:"reason"`
}

func (o outOrder) check() error {
	return errors.Join(wanted("alarm", o.Alarm), wanted("reason", o.Reason))
}
func (o outOrder) about() []any { return []any{"alarm", o.Alarm, "reason", o.Reason} }

// phaseOrder forces a phase, or lets the readings say it: {"phase":"auto"}.
type phaseOrder struct {
	Phase string `json:"phase"`
}

func (o phaseOrder) check() error {
	if o.Phase == "auto" {
		return nil
	}
	_, err := phase.Parse(o.Phase)
	return err
}
func (o phaseOrder) about() []any { return []any{"phase", o.Phase} }

// noteOrder is a line for the log: {"text":"hopper filled"}.
type noteOrder struct {
	Text string `json:"text"`
}

func (o noteOrder) check() error { return wanted("text", o.Text) }
func (o noteOrder) about() []any { return []any{"text", o.Text} }

// moveOrder is how far the wall clock was set while the daemon ran.
type moveOrder struct {
	Seconds int64 `json:"seconds"`
}

func (o moveOrder) check() error { return nil }
func (o moveOrder) about() []any { return []any{"seconds", o.Seconds} }

// calOrder is a calibration: to 0, or to reference in the channel's unit:
// {"channel":"co","what":"span","reference":50}.
type calOrder struct {
	Channel   string  `json:"channel"`
	What      string  `json:"what"`
	Reference float64 `json:"reference"`
}

func (o calOrder) check() error {
	if o.What != "zero" && o.What != "span" {
		return fmt.Errorf("what: %q: want zero or span", o.What)
	}
	if span := o.What == "span"; span != (o.Reference != 0) {
		return errors.New("reference: a span needs one that is not 0, a zero has none")
	}
	return wanted("channel", o.Channel)
}
func (o calOrder) about() []any {
	return []any{"channel", o.Channel, "what", o.What, "reference", o.Reference}
}

// testOrder begins or ends a bump test; ppm 0 is gas of a strength that nobody
// told: {"channel":"co","ppm":100}.
type testOrder struct {
	Channel string  `json:"channel"`
	PPM     float64 `json:"ppm"`
}

func (o testOrder) check() error {
	if o.PPM < 0 || o.PPM > 1e6 {
		return fmt.Errorf("ppm: %g: want 0 to 1000000", o.PPM)
	}
	return wanted("channel", o.Channel)
}
func (o testOrder) about() []any { return []any{"channel", o.Channel, "ppm", o.PPM} }

// massOrder is charcoal: {"kilograms":5.5}.
type massOrder struct {
	Kilograms float64 `json:"kilograms"`
}

func (o massOrder) check() error {
	if !(o.Kilograms >= 0 && o.Kilograms <= 1000) {
		return fmt.Errorf("kilograms: %g: want 0 to 1000", o.Kilograms)
	}
	return nil
}
func (o massOrder) about() []any { return []any{"kilograms", o.Kilograms} }

// wanted refuses a text that is missing, long, or not plainly readable in a
// log.
func wanted(what, s string) error {
	switch {
	case strings.TrimSpace(s) == "":
		return fmt.Errorf("%s: missing", what)
	case len(s) > maxText:
		return fmt.Errorf("%s: %d bytes: at most %d", what, len(s), maxText)
	case strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }):
		return fmt.Errorf("%s: a character that cannot be printed", what)
	}
	return nil
}

// decodeOrder reads one order strictly: one JSON object, no key that it does
// not have, no number that is none.
func decodeOrder[T order](body []byte) (T, error) {
	var o T
	if !utf8.Valid(body) {
		return o, errors.New("order: not UTF-8")
	}
	body = bytes.TrimSpace(body)
	if len(body) == 0 {
		body = []byte("{}")
	}
	if body[0] != '{' { // null would pass as an empty one
		return o, errors.New("order: a JSON object is wanted")
	}
	dec := json.NewDecoder(bytes.NewReader(body))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&o); err != nil {
		return o, fmt.Errorf("order: %w", err)
	}
	if _, err := dec.Token(); err != io.EOF {
		return o, errors.New("order: more than one JSON object")
	}
	if err := o.check(); err != nil {
		return o, fmt.Errorf("order: %w", err)
	}
	return o, nil
}

// figure is a number for JSON: null where it is none.
func figure(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
