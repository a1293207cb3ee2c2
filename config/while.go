package config

import (
	"math"
	"strings"

	"charwarden/alarms"
	"charwarden/sensors/derive/phase"
)

// while reads while = [{ phase = ["running"] }, { channel = "suction", above =
// "156 Pa", deadband = "20 Pa" }].
func (t *table) while() []alarms.While {
	items, ok := t.values["while"].([]any)
	var all []alarms.While
	for i, item := range items {
		m, isTable := item.(map[string]any)
		ok = ok && isTable
		if !ok {
			break
		}
		w := &table{f: t.f, name: t.name + ".while", head: "a condition", at: t.at.key("while").item(i), values: m}
		all = append(all, w.holds())
		w.done()
		t.broken = t.broken || w.broken
	}
	if !ok {
		t.fail("while", "%s: a list of conditions is wanted: write [{ phase = [\"running\"] }]", written(t.values["while"]))
	}
	return all
}

// holds reads one condition.
func (t *table) holds() (w alarms.While) {
	switch inPhase, ofChannel := t.has("phase"), t.has("channel"); {
	case inPhase && ofChannel:
		t.fail("phase", "phase or channel is wanted, not both: write two conditions")
		for _, key := range []string{"above", "below", "deadband"} {
			t.value(key)
		}
	case inPhase:
		w.Phases = t.phases()
	default:
		t.require("channel")
		t.side(t.named("channel"), &w)
	}
	return w
}

func (t *table) phases() (all []phase.Phase) {
	var words []string
	for p := phase.Cold; p <= phase.Sealed; p++ {
		words = append(words, p.String())
	}
	list := t.list("phase", phase.Running.String())
	for _, word := range list {
		p, err := phase.Parse(word)
		if err != nil {
			t.fail("phase", "%q: unknown word%s (allowed: %s)", word, didYouMean(word, words), strings.Join(words, ", "))
		}
		all = append(all, p)
	}
	if len(list) == 0 && !t.broken {
		t.fail("phase", "empty: the alarm would never watch (allowed: %s)", strings.Join(words, ", "))
	}
	return all
}

// side reads on which side of a limit the channel must be.
func (t *table) side(ch *channel, w *alarms.While) {
	above, below := t.has("above"), t.has("below")
	t.value("deadband")
	if above == below {
		t.fail("channel", "either above or below is wanted with a value")
		return
	}
	if ch == nil {
		return
	}
	key := "above"
	if w.Channel, w.Kind = ch.Name, alarms.Above; below {
		key, w.Kind = "below", alarms.Below
	}
	d := dimensionOf(ch.Quantity)
	limit, ok := t.measure(key, d.parse, d)
	if !ok {
		return
	}
	w.Limit, w.Deadband = limit, math.Abs(limit)/50
	if band, ok := t.measure("deadband", d.difference, d); ok && band < 0 {
		t.fail("deadband", "%s: 0 or more is wanted", written(t.values["deadband"]))
	} else if ok {
		w.Deadband = band
	}
	if limit < ch.low || limit > ch.high {
		show := func(v float64) string { return Display{}.Format(ch.Quantity, v) }
		t.fail(key, "%s: %s cannot show that (allowed: %s to %s)", show(limit), ch.Name, show(ch.low), show(ch.high))
	}
}
