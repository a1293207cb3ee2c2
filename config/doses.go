package config

import (
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
	"charwarden/sensors/derive/exposure"
)

// What follows the name of a CO channel in the names of its ages.
const zeroAge, bumpAge = "_zero_age", "_bump_age"

// longestOf returns the longest name of a channel that a CO channel brings
// with it.
func longestOf(co string) string {
	longest := co + zeroAge
	for _, ch := range exposure.Channels(co) {
		if len(ch.Name) > len(longest) {
			longest = ch.Name
		}
	}
	return longest
}

// derive registers a channel that is reckoned from a CO cell's.
func (t *table) derive(ch sensors.Channel, high float64) *channel {
	ch.Gain = 1
	c := &channel{Channel: ch, high: high, table: t, key: "channel", number: len(t.f.channels), origin: fromCell}
	if t.claim("channel", "channel", ch.Name) {
		t.f.channels[ch.Name] = c
	}
	return c
}

// doses adds the channels of what a person beside the cell has taken in.
func (t *table) doses(co *channel) {
	if co.Name == "" {
		return
	}
	for _, ch := range exposure.Channels(co.Name) {
		high := co.high
		if ch.Quantity == sensors.COHb {
			high = 100
		}
		t.derive(ch, high)
	}
	t.f.give(alarms.ExposureRules(co.Name)...)
}

// ages adds the two channels that say how long ago a CO cell was zeroed and
// tested with gas. Both are noticed from their limits on, and when it never
// happened.
func (t *table) ages(co string, zeroDays, bumpDays int) {
	add := func(what string, days int, never, old, do string) {
		c := t.derive(sensors.Channel{Name: co + what, Quantity: sensors.Age, Period: time.Second}, ever)
		fault := alarms.FaultRule(c.Channel)
		fault.Means, fault.DoFirst = never, do
		c.rules = []alarms.Rule{fault, {
			Name: c.Name + "_notice", Channel: c.Name, Kind: alarms.Above, Priority: alarms.Notice,
			Limit: float64(days) * 86400, Means: old, DoFirst: do,
		}}
	}
	if co == "" {
		return
	}
	add(zeroAge, zeroDays,
		"Nobody has recorded a zero of "+co+" in clean air.",
		"The zero of "+co+" is old, so small values may be wrong.",
		"Zero it in clean air, far from a lit rig, with: charwarden calibrate "+co+" zero")
	add(bumpAge, bumpDays,
		"Nobody has recorded a test of "+co+" with gas; a dead cell reads 0 ppm.",
		"The last test of "+co+" with gas is old; a dead cell reads 0 ppm.",
		"Test it with gas before the fire, with: charwarden bumptest "+co)
}
