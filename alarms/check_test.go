package alarms

import (
	"math"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

func TestNewRefuses(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil func(*Rule)
		want  string
	}{
		{"empty name", func(r *Rule) { r.Name = "" }, "rule number 2: name: empty"},
		{"name of another channel", func(r *Rule) { r.Name = "well_above" }, "rule well_above: name: must be the channel's name"},
		{"name without a word", func(r *Rule) { r.Name = "pump_" }, "rule pump_: name: must be"},
		{"name with a space", func(r *Rule) { r.Name = "pump_too hot" }, "name: only a-z"},
		{"name with a topic's wildcard", func(r *Rule) { r.Name = "pump_#" }, "name: only a-z"},
		{"name used twice", func(r *Rule) { r.Name = "pump_fault" }, "rule pump_fault: name: used twice"},
		{"unknown channel", func(r *Rule) { r.Channel, r.Name = "well", "well_x" }, `rule well_x: channel: "well": no such channel`},
		{"unknown kind", func(r *Rule) { r.Kind = kinds }, "rule pump_above: kind: kind(4): no such kind"},
		{"unknown priority", func(r *Rule) { r.Priority = priorities }, "priority: priority(4): no such priority"},
		{"limit NaN", func(r *Rule) { r.Limit = math.NaN() }, "limit: NaN: must be a finite number"},
		{"limit infinite", func(r *Rule) { r.Limit = math.Inf(-1) }, "limit: -Inf: must be a finite number"},
		{"deadband negative", func(r *Rule) { r.Deadband = -1 }, "deadband: -1: must be 0 or a positive number"},
		{"deadband NaN", func(r *Rule) { r.Deadband = math.NaN() }, "deadband: NaN: must be"},
		{"fault with a limit", func(r *Rule) { r.Kind = Fault }, "limit, deadband: only rules above and below have them"},
		{"on-delay negative", func(r *Rule) { r.OnDelay = -time.Second }, "on-delay: -1s: must be 0 or longer"},
		{"off-delay negative", func(r *Rule) { r.OffDelay = -1 }, "off-delay: -1ns: must be 0 or longer"},
		{"re-alarm negative", func(r *Rule) { r.ReAlarm = -1 }, "re-alarm: -1ns: must be 0 or longer"},
		{"stops without latch", func(r *Rule) { r.Stops = true }, "stops: needs latch"},
		{"evacuate without latch", func(r *Rule) { r.Priority = Evacuate }, "priority: evacuate needs latch"},
		{"no meaning", func(r *Rule) { r.Means = "" }, "means: empty"},
		{"no response", func(r *Rule) { r.DoFirst = "" }, "do first: empty"},
	} {
		r := rule(Above, 100, 10, 0, 0, false)
		if _, err := New([]Rule{rule(Fault, 0, 0, 0, 0, false), r}, []sensors.Channel{pump}); err != nil {
			t.Fatalf("before it was spoilt: %v", err)
		}
		c.spoil(&r)
		e, err := New([]Rule{rule(Fault, 0, 0, 0, 0, false), r}, []sensors.Channel{pump})
		if e != nil || err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		} else if strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: more than one error:\n%v", c.name, err)
		}
	}
}

// Everything that is wrong is said at once, one line each.
func TestNewSaysAllAtOnce(t *testing.T) {
	a := rule(Above, math.NaN(), -1, -1, 0, false)
	b := rule(Below, 1, 0, 0, 0, false)
	b.Channel, b.Name = "well", "well_below"
	_, err := New([]Rule{a, b, b}, []sensors.Channel{pump, pump, {}})
	want := []string{
		"alarms: channel pump: name: used twice",
		"alarms: channel 3: name: empty",
		"alarms: rule pump_above: limit: NaN: must be a finite number",
		"alarms: rule pump_above: deadband: -1: must be 0 or a positive number",
		"alarms: rule pump_above: on-delay: -1ns: must be 0 or longer",
		`alarms: rule well_below: channel: "well": no such channel`,
		"alarms: rule well_below: name: used twice",
		`alarms: rule well_below: channel: "well": no such channel`,
	}
	if err == nil || err.Error() != strings.Join(want, "\n") {
		t.Errorf("got\n%v\nwant\n%s", err, strings.Join(want, "\n"))
	}
}

// The engine keeps rules of its own: the caller's list may change afterwards.
func TestNewKeepsItsOwnRules(t *testing.T) {
	rules := []Rule{rule(Above, 100, 0, 0, 0, false)}
	e := engine(t, rules...)
	rules[0].Limit = 1000
	if got := e.Step(day, good(500)); len(got) != 1 || got[0].Rule.Limit != 100 {
		t.Errorf("got %v, want the alarm of the limit 100", got)
	}
}

func TestWords(t *testing.T) {
	for k := range kinds {
		if got, err := ParseKind(k.String()); err != nil || got != k {
			t.Errorf("kind %v: %v, %v", k, got, err)
		}
	}
	if _, err := ParseKind("aside"); err == nil {
		t.Error("kind aside is not refused")
	}
	for p := range priorities {
		if got, err := ParsePriority(p.String()); err != nil || got != p {
			t.Errorf("priority %v: %v, %v", p, got, err)
		}
	}
	if _, err := ParsePriority("panic"); err == nil {
		t.Error("priority panic is not refused")
	}
	if got := State(200).String(); got != "state(200)" {
		t.Errorf("state 200 is %q", got)
	}
}
