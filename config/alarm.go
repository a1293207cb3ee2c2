package config

import (
	"math"
	"slices"
	"strings"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
)

// Kinds of alarm by what they have.
var (
	compared = []alarms.Kind{alarms.Deviation, alarms.Exceeds, alarms.Frozen}
	windowed = []alarms.Kind{alarms.Rate, alarms.Projected, alarms.SlowFall, alarms.Frozen}
	limited  = slices.DeleteFunc(allKinds(), func(k alarms.Kind) bool { return !k.Limited() })
)

// parts are the keys that only some kinds have.
var parts = []struct {
	key    string
	kinds  []alarms.Kind
	needed bool
}{
	{"limit", limited, true},
	{"deadband", limited, false},
	{"other", compared, true},
	{"other_moved", []alarms.Kind{alarms.Frozen}, true},
	{"window", windowed, true},
	{"within", []alarms.Kind{alarms.Projected}, true},
}

func allKinds() (all []alarms.Kind) {
	for k := alarms.Above; k <= alarms.Frozen; k++ {
		all = append(all, k)
	}
	return all
}

// alarm reads an [[alarm]] table over the built-in rule of that name, or over
// the defaults of a new one. ch is nil for a channel that does not exist.
func (t *table) alarm(ch *channel, channel, as string, was *alarms.Rule) alarms.Rule {
	r := alarms.Rule{Name: channel + "_" + as, Channel: channel, OffDelay: 10 * time.Second}
	if was != nil {
		r = *was
	} else {
		t.require("priority")
	}
	if t.kind(&r, was) {
		t.condition(ch, &r, was == nil)
	}
	for _, key := range []string{"means", "do_first"} {
		if was == nil || t.has(key) {
			t.require(key)
		}
	}
	if word := t.text("priority", r.Priority.String()); t.has("priority") {
		p, err := alarms.ParsePriority(word)
		if err != nil {
			t.fail("priority", "%q: unknown word (allowed: notice, caution, alarm, evacuate)", word)
		}
		r.Priority = p
	}
	if t.has("hazard") {
		r.Hazard = alarms.Gas
		if t.word("hazard", "gas", "fire") == "fire" {
			r.Hazard = alarms.Fire
		}
	}
	r.OnDelay = t.span("on_delay", r.OnDelay, 0, time.Hour)
	r.OffDelay = t.span("off_delay", r.OffDelay, 0, time.Hour)
	r.ReAlarm = t.span("re_alarm", r.ReAlarm, 0, 24*time.Hour)
	r.Stops = t.flag("stops_engine", r.Stops)
	needs := r.Stops || r.Priority == alarms.Evacuate
	r.Latch = t.flag("latch", r.Latch || needs)
	if needs && !r.Latch {
		t.fail("latch", "false: an alarm that stops the engine or calls to evacuate stays until it is reset at the rig")
	}
	r.Never = r.Never || r.Priority == alarms.Evacuate
	if t.has("while") {
		r.While = t.while()
	}
	if r.Never && len(r.While) > 0 {
		t.fail("while", "%s always watches: leave the key out, or write while = []", r.Name)
	}
	r.Means = t.sentence("means", r.Means)
	r.DoFirst = t.sentence("do_first", r.DoFirst)
	return r
}

// kind reads what kind of alarm it is, and reports keys that this kind does not
// have, or lacks. It is false if the kind is not known; then all keys count as
// asked for.
func (t *table) kind(r, was *alarms.Rule) bool {
	var words []string
	for _, k := range allKinds() {
		words = append(words, k.String())
	}
	word := t.text("kind", r.Kind.String())
	k, err := alarms.ParseKind(word)
	for _, p := range parts {
		t.value(p.key)
	}
	switch {
	case err != nil:
		t.fail("kind", "%q: unknown word%s (allowed: %s)", word, didYouMean(word, words), strings.Join(words, ", "))
		return false
	case was != nil && k != was.Kind:
		t.fail("kind", "%s is of kind %s: leave the key out, or choose another word for as", r.Name, was.Kind)
		return false
	}
	r.Kind = k
	fits := true
	for _, p := range parts {
		switch has := slices.Contains(p.kinds, k); {
		case t.has(p.key) && !has:
			t.fail(p.key, "%s is of kind %s, which has no %s", r.Name, k, p.key)
			fits = false
		case has && (was == nil && p.needed || t.has(p.key)):
			t.require(p.key)
		}
	}
	return fits
}

// condition reads what the kind looks at.
func (t *table) condition(ch *channel, r *alarms.Rule, fresh bool) {
	other := t.other(ch, r)
	if slices.Contains(windowed, r.Kind) {
		r.Window = t.span("window", r.Window, 10*time.Second, time.Hour)
	}
	if r.Kind == alarms.Projected {
		r.Within = t.span("within", r.Within, 10*time.Second, 24*time.Hour)
	}
	if ch == nil { // the unit is unknown: take the values as read
		return
	}
	switch r.Kind {
	case alarms.Fault:
		r.Cause = ch.cause
	case alarms.Zeroing:
		if ch.Zero == nil {
			t.fail("kind", "%s has no zero that is taken: only a [[pressure]] with zero = \"auto\" has", ch.Name)
		}
	default:
		t.limit(ch, other, r, fresh)
	}
}

// other reads the channel to compare with; nil if there is none, or a wrong
// one.
func (t *table) other(ch *channel, r *alarms.Rule) *channel {
	o := t.f.channels[r.Other]
	if t.has("other") {
		o = t.named("other")
	}
	switch {
	case o == nil || ch == nil:
		return nil
	case o == ch:
		t.fail("other", "%q: that is this channel itself: name another", o.Name)
		return nil
	case r.Kind != alarms.Frozen && o.Quantity != ch.Quantity:
		t.fail("other", "%q is a channel in %s: one in %s is wanted", o.Name, o.Quantity.Unit(), ch.Quantity.Unit())
		return nil
	}
	r.Other = o.Name
	if r.Kind != alarms.Frozen {
		return o
	}
	d := dimensionOf(o.Quantity)
	if v, ok := t.measure("other_moved", d.difference, d); ok && v <= 0 {
		t.fail("other_moved", "%s: more than 0 is wanted", written(t.values["other_moved"]))
	} else if ok {
		r.OtherMoved = v
	}
	return o
}

// limit reads limit and deadband and checks that the alarm can come and can
// go.
func (t *table) limit(ch, other *channel, r *alarms.Rule, fresh bool) {
	d := dimensionOf(ch.Quantity)
	parse, band := d.difference, d.difference
	switch {
	case r.Kind == alarms.Above || r.Kind == alarms.Below || r.Kind == alarms.Projected:
		parse = d.parse
	case r.Kind == alarms.Rate:
		parse, band = d.perMinute, d.perMinute
	}
	limit, given := t.measure("limit", parse, d)
	switch {
	case given && toxic(ch.Quantity) && r.Kind == alarms.Above:
		r.Deadband = limit / 5 // clears at 80 % of the level
	case given && fresh:
		r.Deadband = math.Abs(limit) / 50
	}
	if given {
		r.Limit = limit
	}
	if given && limit <= 0 && (r.Kind == alarms.Rate || r.Kind == alarms.Deviation) {
		t.fail("limit", "%s: more than 0 is wanted", written(t.values["limit"]))
	}
	if v, ok := t.measure("deadband", band, d); ok && v < 0 {
		t.fail("deadband", "%s: 0 or more is wanted", written(t.values["deadband"]))
	} else if ok {
		r.Deadband = v
	}
	r.Deadband = max(0, r.Deadband)
	if t.broken {
		return
	}
	low, high := ch.figures(r.Kind, other)
	show := func(v float64) string { return Display{}.Format(ch.Quantity, v) }
	if r.Limit < low || r.Limit > high {
		t.fail("limit", "%s: %s cannot show that (allowed: %s to %s)", show(r.Limit), ch.Name, show(low), show(high))
		return
	}
	back := r.Limit - r.Deadband
	if r.Kind == alarms.Below || r.Kind == alarms.SlowFall || r.Kind == alarms.Frozen {
		back = r.Limit + r.Deadband
	}
	if back < low || back > high {
		t.fail("deadband", "%s would clear only at %s, which %s cannot show (allowed: %s to %s)", r.Name, show(back), ch.Name, show(low), show(high))
	}
}

// figures returns the ends of what a kind of alarm can compare with its limit.
func (ch *channel) figures(k alarms.Kind, other *channel) (low, high float64) {
	switch k {
	case alarms.Rate:
		return -infinite, infinite
	case alarms.Deviation:
		return 0, max(ch.high-other.low, other.high-ch.low)
	case alarms.Exceeds:
		return ch.low - other.high, ch.high - other.low
	case alarms.SlowFall, alarms.Frozen:
		return 0, ch.high - ch.low
	}
	return ch.low, ch.high
}

// toxic reports a quantity of carbon monoxide.
func toxic(q sensors.Quantity) bool {
	return q == sensors.CO || q == sensors.Mean || q == sensors.COHb
}

// sentence returns a text for people, or def.
func (t *table) sentence(key, def string) string {
	s, ok := t.read(key)
	if !ok {
		return def
	}
	if s != "" && strings.TrimSpace(s) == "" || len(s) > 240 {
		t.fail(key, "%s: one sentence of at most 240 letters is wanted", written(s))
	}
	return s
}
