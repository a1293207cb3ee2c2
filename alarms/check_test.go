package alarms

import (
	"math"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

func TestNewRefuses(t *testing.T) {
	running := []phase.Phase{phase.Running}
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
		{"unknown channel", func(r *Rule) { r.Channel, r.Name = "hill", "hill_x" }, `rule hill_x: channel: "hill": no such channel`},
		{"unknown kind", func(r *Rule) { r.Kind = kinds }, "rule pump_above: kind: kind(10): no such kind"},
		{"unknown priority", func(r *Rule) { r.Priority = priorities }, "priority: priority(4): no such priority"},
		{"limit NaN", func(r *Rule) { r.Limit = math.NaN() }, "limit: NaN: must be a finite number"},
		{"limit infinite", func(r *Rule) { r.Limit = math.Inf(-1) }, "limit: -Inf: must be a finite number"},
		{"deadband negative", func(r *Rule) { r.Deadband = -1 }, "deadband: -1: must be 0 or a positive number"},
		{"deadband NaN", func(r *Rule) { r.Deadband = math.NaN() }, "deadband: NaN: must be"},
		{"fault with a limit", func(r *Rule) { r.Kind = Fault }, "limit, deadband: kind fault has none"},
		{"on-delay negative", func(r *Rule) { r.OnDelay = -time.Second }, "on-delay: -1s: must be 0 or longer"},
		{"off-delay negative", func(r *Rule) { r.OffDelay = -1 }, "off-delay: -1ns: must be 0 or longer"},
		{"re-alarm negative", func(r *Rule) { r.ReAlarm = -1 }, "re-alarm: -1ns: must be 0 or longer"},
		{"stops without latch", func(r *Rule) { r.Stops = true }, "stops: needs latch"},
		{"evacuate without latch", func(r *Rule) { r.Priority, r.Never = Evacuate, true }, "priority: evacuate needs latch and never"},
		{"evacuate that can be put aside", func(r *Rule) { r.Priority, r.Latch = Evacuate, true }, "priority: evacuate needs latch and never"},
		{"other for a kind that has none", func(r *Rule) { r.Other = "well" }, `other: "well": kinds deviation`},
		{"deviation without other", func(r *Rule) { r.Kind = Deviation }, `other: "": kinds deviation`},
		{"deviation from itself", func(r *Rule) { r.Kind, r.Other = Deviation, "pump" }, `other: "pump": kinds deviation`},
		{"exceeds an unknown channel", func(r *Rule) { r.Kind, r.Other = Exceeds, "hill" }, `other: "hill": no such channel`},
		{"frozen without other", func(r *Rule) { r.Kind, r.Window, r.OtherMoved = Frozen, 1, 1 }, `other: "": kinds deviation`},
		{"window for a kind that has none", func(r *Rule) { r.Window = 1 }, "window: 1ns: kinds rate"},
		{"rate without window", func(r *Rule) { r.Kind = Rate }, "window: 0s: kinds rate"},
		{"window negative", func(r *Rule) { r.Kind, r.Window = SlowFall, -1 }, "window: -1ns: kinds rate"},
		{"within for a kind that has none", func(r *Rule) { r.Within = 1 }, "within: 1ns: kind projected"},
		{"projected without within", func(r *Rule) { r.Kind, r.Window = Projected, 1 }, "within: 0s: kind projected"},
		{"other moved for a kind that has none", func(r *Rule) { r.OtherMoved = 1 }, "other moved: 1: kind frozen"},
		{"frozen without other moved", func(r *Rule) { r.Kind, r.Window, r.Other = Frozen, 1, "well" }, "other moved: 0: kind frozen"},
		{"other moved infinite", func(r *Rule) {
			r.Kind, r.Window, r.Other, r.OtherMoved = Frozen, 1, "well", math.Inf(1)
		}, "other moved: +Inf: kind frozen"},
		{"cause for a kind that has none", func(r *Rule) { r.Cause = "wire" }, "cause: only kind fault"},
		{"never with while", func(r *Rule) { r.Never, r.While = true, []While{{Phases: running}} }, "while: this alarm can be neither"},
		{"while nothing", func(r *Rule) { r.While = []While{{}} }, `while: phases or a channel are wanted`},
		{"while both", func(r *Rule) { r.While = []While{{Phases: running, Channel: "well"}} }, "while: phases or a channel, not both"},
		{"while an unknown channel", func(r *Rule) { r.While = []While{{Channel: "hill"}} }, `while: "hill": no such channel`},
		{"while of another kind", func(r *Rule) { r.While = []While{{Channel: "well", Kind: Rate}} }, "while: kind rate: only above and below"},
		{"while limit NaN", func(r *Rule) { r.While = []While{{Channel: "well", Limit: math.NaN()}} }, "while: limit NaN"},
		{"while deadband negative", func(r *Rule) { r.While = []While{{Channel: "well", Deadband: -1}} }, "deadband -1: must be finite"},
		{"unknown hazard", func(r *Rule) { r.Hazard = Fire + 1 }, "hazard: 3: no such hazard"},
		{"no meaning", func(r *Rule) { r.Means = "" }, "means: empty"},
		{"no response", func(r *Rule) { r.DoFirst = "" }, "do first: empty"},
	} {
		r := rule(Above, 100, 10, 0, 0, false)
		if _, err := New([]Rule{rule(Fault, 0, 0, 0, 0, false), r}, yard); err != nil {
			t.Fatalf("before it was spoilt: %v", err)
		}
		c.spoil(&r)
		e, err := New([]Rule{rule(Fault, 0, 0, 0, 0, false), r}, yard)
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
	if got := e.Step(day, good(500), phase.Running); len(got) != 1 || got[0].Rule.Limit != 100 {
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
