package config

import (
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
	changed := map[string]*table{}
	for _, t := range f.tables("alarm") {
		t.require("channel", "as")
		channel, as := t.text("channel", ""), t.identifier("as", "_")
		ch := t.named("channel")
		name := channel + "_" + as
		free := as == "" || channel == "" || t.claim("as", "alarm", name)
		i, builtIn := at[name]
		if builtIn && ch != nil && c.Rules[i].Channel != channel {
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
			changed[name] = t
			*was = r
		default:
			changed[name] = t
			c.Rules = append(c.Rules, r)
		}
	}
	for i := range c.Rules {
		if t := changed[c.Rules[i].Name]; t != nil {
			t.ladder(&c.Rules[i], c.Rules)
		}
	}
	for _, r := range c.Rules[:len(at)] {
		if changed[r.Name] == nil {
			f.channels[r.Channel].reachable(r)
		}
	}
}

// weakened watches over the built-in alarms for carbon monoxide: what makes
// one come later or call less loudly is heard at every start, and nothing
// weakens evacuate but its limit.
func (t *table) weakened(ch *channel, was, r *alarms.Rule) {
	if !toxic(ch.Quantity) {
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
	if r.Hazard != was.Hazard {
		t.fail("hazard", "%s keeps its sound: leave the key out", r.Name)
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
	if len(r.While) > len(was.While) {
		t.warn("while", "%s does not watch at all times: people may be hurt before it sounds", r.Name)
	}
	if was.Stops && !r.Stops {
		t.warn("stops_engine", "%s does not stop the engine, whose exhaust holds carbon monoxide", r.Name)
	}
}

// reachable reports a built-in alarm whose limit the channel cannot show, at
// the key that decides it.
func (ch *channel) reachable(r alarms.Rule) {
	end := ch.high
	switch r.Kind {
	case alarms.Above, alarms.Projected:
		if r.Limit <= end {
			return
		}
	case alarms.Below:
		if end = ch.low; r.Limit >= end {
			return
		}
	default:
		return
	}
	key := "watch"
	switch {
	case toxic(ch.Quantity):
		key = "full_scale"
	case ch.Quantity == sensors.Voltage:
		key = "channel"
	case ch.Quantity == sensors.Pressure && ch.table.values["watch"] == "suction":
		key = "clean"
	}
	show := func(v float64) string { return Display{}.Format(ch.Quantity, v) }
	ch.table.fail(key, "%s comes at %s, but %s ends at %s: change the sensor or, by an [[alarm]], the limit", r.Name, show(r.Limit), ch.Name, show(end))
}
