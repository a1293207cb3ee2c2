package alarms

import (
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

// rig is the reference rig's channels.
var rig = []sensors.Channel{
	{Name: "wall_near", Quantity: sensors.Temperature},
	{Name: "wall_far", Quantity: sensors.Temperature},
	{Name: "suction", Quantity: sensors.Pressure},
	{Name: "filter_drop", Quantity: sensors.Pressure},
	{Name: "co", Quantity: sensors.CO},
	{Name: "speed", Quantity: sensors.Speed},
	{Name: "supply", Quantity: sensors.Voltage},
	{Name: "air_temp", Quantity: sensors.Temperature},
	{Name: "air_pressure", Quantity: sensors.Pressure},
	{Name: "air_humidity", Quantity: sensors.Humidity},
	{Name: "last_bump", Quantity: sensors.Age},
}

// rigRules is every built-in rule that fits the rig.
func rigRules() (rules []Rule) {
	for _, c := range rig {
		rules = append(rules, FaultRule(c))
	}
	rules = append(rules, UnzeroedRule("suction"), UnzeroedRule("filter_drop"))
	rules = append(rules, CORules("co")...)
	rules = append(rules, WallRules("wall_near")...)
	rules = append(rules, WallRules("wall_far")...)
	return append(rules, FilterDropRules("filter_drop")...)
}

// The engine takes every built-in rule, and the numbers are the ones that were
// agreed on; there is no outside source for most of them.
func TestBuiltInRules(t *testing.T) {
	if _, err := New(rigRules(), rig); err != nil {
		t.Fatal(err)
	}
	const s = time.Second
	want := map[string]Rule{
		"co_caution":          {Kind: Above, Priority: Caution, Limit: 25, Deadband: 5, OnDelay: 60 * s, OffDelay: 60 * s},
		"co_alarm":            {Kind: Above, Priority: High, Limit: 100, Deadband: 20, OffDelay: 60 * s},
		"co_evacuate":         {Kind: Above, Priority: Evacuate, Limit: 200, Deadband: 40, OffDelay: 60 * s, Latch: true, Stops: true},
		"wall_near_notice":    {Kind: Above, Priority: Notice, Limit: 480, Deadband: 10, OnDelay: 3 * s, OffDelay: 60 * s},
		"wall_near_caution":   {Kind: Above, Priority: Caution, Limit: 540, Deadband: 10, OnDelay: 3 * s, OffDelay: 60 * s},
		"wall_near_alarm":     {Kind: Above, Priority: High, Limit: 600, Deadband: 10, OnDelay: 3 * s, OffDelay: 60 * s},
		"wall_near_stop":      {Kind: Above, Priority: High, Limit: 650, Deadband: 10, OnDelay: 3 * s, OffDelay: 60 * s, Latch: true, Stops: true},
		"filter_drop_caution": {Kind: Above, Priority: Caution, Limit: 250, Deadband: 10, OnDelay: 15 * s, OffDelay: 15 * s},
		"filter_drop_alarm":   {Kind: Above, Priority: High, Limit: 450, Deadband: 10, OnDelay: 15 * s, OffDelay: 15 * s},
		"suction_unzeroed":    {Kind: Zeroing, Priority: Notice, OnDelay: 20 * s},
	}
	for name, p := range map[string]Priority{
		"wall_near": Caution, "suction": Caution, "co": High, "speed": Caution, "supply": Notice,
		"air_temp": Notice, "air_pressure": Notice, "air_humidity": Notice, "last_bump": Notice,
	} {
		want[name+"_fault"] = Rule{Kind: Fault, Priority: p, OnDelay: 2 * s, OffDelay: 5 * s, Latch: p == High}
	}
	for _, r := range rigRules() {
		w, ok := want[r.Name]
		if !ok {
			continue
		}
		delete(want, r.Name)
		w.Name, w.Channel, w.Means, w.DoFirst = r.Name, r.Channel, r.Means, r.DoFirst
		if r != w {
			t.Errorf("got  %+v\nwant %+v", r, w)
		}
	}
	for name := range want {
		t.Errorf("no rule %s", name)
	}
}

// What the person reads: whole sentences; of a CO alarm first the way out, of
// a trip last that the fire still burns.
func TestBuiltInWords(t *testing.T) {
	const first = "Leave now, upwind. Do not go back to shut anything or to silence the horn."
	const last = "Ignition off does not stop the fire: gas may now come out."
	for _, r := range rigRules() {
		for _, text := range []string{r.Means, r.DoFirst} {
			if !strings.HasSuffix(text, ".") || strings.ContainsAny(text, "\n\t") || strings.Contains(strings.ToLower(text), "safe") {
				t.Errorf("%s: %q", r.Name, text)
			}
		}
		leave := r.Kind == Above && r.Channel == "co" && r.Priority >= High
		if strings.HasPrefix(r.DoFirst, first+" When the air is proved clear, ") != leave {
			t.Errorf("%s: begins with %q", r.Name, r.DoFirst)
		}
		if strings.HasSuffix(r.DoFirst, last) != r.Stops {
			t.Errorf("%s: ends with %q", r.Name, r.DoFirst)
		}
	}
}
