package config

import (
	"math"
	"strings"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
)

// rules collects the built-in rules of every channel and what [[alarm]] tables
// change of them or add.
func (f *file) rules(c *Config) {
	at := map[string]int{}
	for _, ch := range f.order() {
		for _, r := range ch.rules {
			at[r.Name] = len(c.Rules)
			c.Rules = append(c.Rules, r)
		}
	}
	changed := map[string]bool{}
	for _, t := range f.tables("alarm") {
		t.require("channel", "as")
		channel, as := t.text("channel", ""), t.identifier("as", "_")
		ch, known := f.channels[channel]
		if channel != "" && !known {
			var names []string
			for _, other := range f.order() {
				names = append(names, other.Name)
			}
			t.fail("channel", "%q: no such channel%s%s", channel, didYouMean(channel, names), allowed(names))
		}
		name := channel + "_" + as
		free := as == "" || channel == "" || t.claim("as", "alarm", name)
		i, builtIn := at[name]
		if builtIn && known && c.Rules[i].Channel != channel {
			t.fail("as", "%q is the name of an alarm of %s: choose another word", name, c.Rules[i].Channel)
			builtIn = false
		}
		var was *alarms.Rule
		if builtIn {
			was = &c.Rules[i]
		}
		r := t.alarm(ch, channel, as, was)
		t.done()
		switch {
		case !free || t.broken:
		case builtIn:
			t.weakened(ch, was, &r)
			changed[name] = true
			*was = r
		default:
			c.Rules = append(c.Rules, r)
		}
	}
	for _, r := range c.Rules[:len(at)] {
		if !changed[r.Name] {
			f.channels[r.Channel].reachable(r)
		}
	}
}

// alarm reads an [[alarm]] table over the built-in rule of that name, or over
// the defaults of a new one. ch is nil for a channel that does not exist.
func (t *table) alarm(ch *channel, channel, as string, was *alarms.Rule) alarms.Rule {
	r := alarms.Rule{Name: channel + "_" + as, Channel: channel, OffDelay: 10 * time.Second}
	limited := true
	if was != nil {
		r, limited = *was, was.Kind == alarms.Above || was.Kind == alarms.Below
	} else {
		t.require("priority", "limit")
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
	for _, key := range []string{"kind", "limit", "deadband"} {
		if t.has(key) && !limited {
			t.fail(key, "%s has no limit: it says that the channel has no usable value", r.Name)
		}
	}
	if limited {
		t.limit(ch, &r, was == nil)
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
	r.Means = t.sentence("means", r.Means)
	r.DoFirst = t.sentence("do_first", r.DoFirst)
	return r
}

// limit reads kind, limit and deadband and checks that the alarm can come and
// can go.
func (t *table) limit(ch *channel, r *alarms.Rule, fresh bool) {
	if t.word("kind", r.Kind.String(), other(r.Kind).String()) != r.Kind.String() {
		r.Kind = other(r.Kind)
	}
	if ch == nil { // the unit is unknown: take the values as read
		t.value("limit")
		t.value("deadband")
		return
	}
	d := dimensionOf(ch.Quantity)
	limit, given := t.measure("limit", d.parse, d)
	if given && ch.Quantity == sensors.CO {
		r.Deadband = limit / 5 // clears at 80 % of the level
	} else if given && fresh {
		r.Deadband = math.Abs(limit) / 50
	}
	if given {
		r.Limit = limit
	}
	if band, ok := t.measure("deadband", d.difference, d); ok && band < 0 {
		t.fail("deadband", "%s: 0 or more is wanted", written(t.values["deadband"]))
	} else if ok {
		r.Deadband = band
	}
	if t.broken {
		return
	}
	show := func(v float64) string { return Display{}.Format(ch.Quantity, v) }
	if r.Limit < ch.low || r.Limit > ch.high {
		t.fail("limit", "%s: %s cannot show that (allowed: %s to %s)", show(r.Limit), ch.Name, show(ch.low), show(ch.high))
		return
	}
	back := r.Limit - r.Deadband
	if r.Kind == alarms.Below {
		back = r.Limit + r.Deadband
	}
	if back < ch.low || back > ch.high {
		t.fail("deadband", "%s would clear only at %s, which %s cannot show (allowed: %s to %s)", r.Name, show(back), ch.Name, show(ch.low), show(ch.high))
	}
}

func other(k alarms.Kind) alarms.Kind {
	if k == alarms.Above {
		return alarms.Below
	}
	return alarms.Above
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

// weakened watches over the built-in alarms for carbon monoxide: what makes
// one come later or call less loudly is heard at every start, and nothing
// weakens evacuate but its limit.
func (t *table) weakened(ch *channel, was, r *alarms.Rule) {
	if ch.Quantity != sensors.CO {
		return
	}
	if was.Priority == alarms.Evacuate {
		if r.Priority != was.Priority {
			t.fail("priority", "%s keeps priority evacuate: leave the key out", r.Name)
		}
		if r.OnDelay > was.OnDelay {
			t.fail("on_delay", "%s comes at once: leave the key out", r.Name)
		}
	}
	if r.Kind != was.Kind {
		t.fail("kind", "%s comes above its limit: leave the key out, or choose another word for as", r.Name)
	}
	show := func(v float64) string { return Display{}.Format(ch.Quantity, v) }
	if r.Limit > was.Limit {
		t.warn("limit", "%s comes at %s, later than at %s: people may be hurt before it sounds", r.Name, show(r.Limit), show(was.Limit))
	}
	if r.Priority < was.Priority {
		t.warn("priority", "%s is only a %s, not %s: it may not be heard", r.Name, r.Priority, was.Priority)
	}
	if r.OnDelay > was.OnDelay {
		t.warn("on_delay", "%s comes after %s, later than after %s", r.Name, human(r.OnDelay), human(was.OnDelay))
	}
	if was.Stops && !r.Stops {
		t.warn("stops_engine", "%s does not stop the engine, whose exhaust holds carbon monoxide", r.Name)
	}
}

// reachable reports a built-in alarm whose limit the channel cannot show, at
// the key that decides it.
func (ch *channel) reachable(r alarms.Rule) {
	if r.Kind != alarms.Above || r.Limit <= ch.high {
		return
	}
	key := "watch"
	if ch.Quantity == sensors.CO {
		key = "full_scale"
	}
	show := func(v float64) string { return Display{}.Format(ch.Quantity, v) }
	ch.table.fail(key, "%s comes at %s, but %s ends at %s: change the sensor or, by an [[alarm]], the limit", r.Name, show(r.Limit), ch.Name, show(ch.high))
}

// preset reports whether watch asks for the ready-made alarms of that name.
func (t *table) preset(name string) bool {
	word := t.text("watch", "")
	if word != "" && word != name {
		t.fail("watch", "%q: unknown word (allowed: %s)", word, name)
	}
	return word == name
}

// ages adds the two channels that say how long ago a CO cell was zeroed and
// tested with gas. Both are noticed from their limits on, and when it never
// happened.
func (t *table) ages(co sensors.Channel, zeroDays, bumpDays int) {
	add := func(what string, days int, never, old, do string) {
		ch := sensors.Channel{Name: co.Name + what, Quantity: sensors.Age, Period: time.Second, Gain: 1}
		c := t.add("channel", ch, 0, 10*365*86400)
		c.rules[0].Priority, c.rules[0].Latch = alarms.Notice, false
		c.rules[0].Means, c.rules[0].DoFirst = never, do
		c.rules = append(c.rules, alarms.Rule{
			Name: ch.Name + "_notice", Channel: ch.Name, Kind: alarms.Above, Priority: alarms.Notice,
			Limit: float64(days) * 86400, Means: old, DoFirst: do,
		})
	}
	if co.Name == "" {
		return
	}
	add("_zero_age", zeroDays,
		"Nobody has recorded a zero of "+co.Name+" in clean air.",
		"The zero of "+co.Name+" is old, so small values may be wrong.",
		"Zero it in clean air, far from a lit rig, and write clean_air and zero_date into the configuration.")
	add("_bump_age", bumpDays,
		"Nobody has recorded a test of "+co.Name+" with gas; a dead cell reads 0 ppm.",
		"The last test of "+co.Name+" with gas is old; a dead cell reads 0 ppm.",
		"Test it with gas before the fire, and write bump_date into the configuration.")
}
