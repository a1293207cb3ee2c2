package config

import (
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"charwarden/alarms"
	"charwarden/sensors/derive/phase"
)

// Every kind of alarm as the file writes it, with the units of its limit:
// 54 degF apart are 30 K, 1 inH2O is 249.09 Pa (NIST SP 811).
func TestKinds(t *testing.T) {
	const words = "priority = \"caution\"\nmeans = \"So.\"\ndo_first = \"Look.\"\n"
	base := alarms.Rule{Priority: alarms.Caution, Means: "So.", DoFirst: "Look.", OffDelay: 10 * time.Second}
	for _, c := range []struct {
		channel, keys string
		want          func(*alarms.Rule)
	}{
		{"gas_out", `kind = "rate"` + "\n" + `limit = "54 degF/min"` + "\n" + `deadband = "6 K/h"` + "\n" + `window = "90 s"`, func(r *alarms.Rule) {
			r.Kind, r.Limit, r.Deadband, r.Window = alarms.Rate, 30, 0.1, 90*time.Second
		}},
		{"gas_out", `kind = "projected"` + "\n" + `limit = "212 degF"` + "\n" + `window = "1 min"` + "\n" + `within = "5 min"`, func(r *alarms.Rule) {
			r.Kind, r.Limit, r.Deadband, r.Window, r.Within = alarms.Projected, 100, 2, time.Minute, 5*time.Minute
		}},
		{"gas_out", `kind = "deviation"` + "\n" + `limit = "54 degF"` + "\n" + `deadband = "5 K"` + "\n" + `other = "filter_in"`, func(r *alarms.Rule) {
			r.Kind, r.Limit, r.Deadband, r.Other = alarms.Deviation, 30, 5, "filter_in"
		}},
		{"filter_in", `kind = "exceeds"` + "\n" + `limit = "-5 degC"` + "\n" + `deadband = "0 K"` + "\n" + `other = "board_temp"` + "\n" + `hazard = "fire"`, func(r *alarms.Rule) {
			r.Kind, r.Limit, r.Other, r.Hazard = alarms.Exceeds, -5, "board_temp", alarms.Fire
		}},
		{"gas_out", `kind = "slow_fall"` + "\n" + `limit = "18 degF"` + "\n" + `deadband = "1 K"` + "\n" + `window = "10 min"` + "\n" + `while = [{ phase = ["sealed", "stopping"] }]`, func(r *alarms.Rule) {
			r.Kind, r.Limit, r.Deadband, r.Window = alarms.SlowFall, 10, 1, 10*time.Minute
			r.While = []alarms.While{{Phases: []phase.Phase{phase.Sealed, phase.Stopping}}}
		}},
		{"suction", `kind = "frozen"` + "\n" + `limit = "0.5 hPa"` + "\n" + `deadband = "2 Pa"` + "\n" + `window = "1 min"` + "\n" + `other = "speed"` + "\n" + `other_moved = "400 rpm"`, func(r *alarms.Rule) {
			r.Kind, r.Limit, r.Deadband, r.Window, r.Other, r.OtherMoved = alarms.Frozen, 50, 2, time.Minute, "speed", 400
		}},
		{"filter_loading", `kind = "fault"` + "\n" + `while = [{ channel = "suction", below = "1.56 hPa", deadband = "20 Pa" }, { channel = "speed", above = "500 rpm" }]`, func(r *alarms.Rule) {
			r.Kind = alarms.Fault
			r.While = []alarms.While{{Channel: "suction", Kind: alarms.Below, Limit: 156, Deadband: 20}, {Channel: "speed", Limit: 500, Deadband: 10}}
		}},
		{"suction", `kind = "unzeroed"`, func(r *alarms.Rule) { r.Kind = alarms.Zeroing }},
		{"suction", `kind = "fault"`, func(r *alarms.Rule) { r.Kind, r.Cause = alarms.Fault, "the I2C bus /dev/i2c-1" }},
		{"co_cohb", `limit = "4 %"`, func(r *alarms.Rule) { r.Limit, r.Deadband = 4, 0.8 }},
		{"disk_free", `kind = "below"` + "\n" + `limit = "20 %"` + "\n" + `deadband = "1 %"`, func(r *alarms.Rule) { r.Kind, r.Limit, r.Deadband = alarms.Below, 0.2, 0.01 }},
	} {
		cfg := parse(t, with("[[alarm]]\nchannel = \""+c.channel+"\"\nas = \"mine\"\n"+words+c.keys+"\n"))
		want := base
		want.Name, want.Channel = c.channel+"_mine", c.channel
		c.want(&want)
		got := rule(t, cfg, want.Name)
		near(t, want.Name+" limit", &got.Limit, want.Limit)
		near(t, want.Name+" deadband", &got.Deadband, want.Deadband)
		for i := range got.While {
			near(t, want.Name+" while", &got.While[i].Limit, want.While[i].Limit)
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("got  %+v\nwant %+v", got, want)
		}
		runs(t, cfg)
	}
}

// near replaces a number that is want but for rounding by want.
func near(t *testing.T, what string, got *float64, want float64) {
	t.Helper()
	if d := *got - want; d*d > 1e-18 {
		t.Errorf("%s: %v, want %v", what, *got, want)
	}
	*got = want
}

// A ready-made alarm of any kind keeps what its table does not name.
func TestOverrideKinds(t *testing.T) {
	plain := parse(t, with(""))
	got := parse(t, with(`
[[alarm]]
channel = "wall_near"
as = "rate"
limit = "25 degC/min"
while = []
[[alarm]]
channel = "wall_near"
as = "spread"
limit = "250 K"
[[alarm]]
channel = "filter_out"
as = "fire"
priority = "evacuate"
hazard = "gas"
while = []
[[alarm]]
channel = "suction"
as = "plugged"
other_moved = "900 rpm"
window = "5 min"
`))
	want := rule(t, plain, "wall_near_rate")
	want.Limit, want.While = 25, nil
	r := rule(t, got, "wall_near_rate")
	near(t, "rate", &r.Limit, 25)
	if !reflect.DeepEqual(r, want) {
		t.Errorf("%+v\nwant %+v", r, want)
	}
	want = rule(t, plain, "wall_near_spread")
	want.Limit = 250
	if r := rule(t, got, "wall_near_spread"); !reflect.DeepEqual(r, want) {
		t.Errorf("%+v\nwant %+v", r, want)
	}
	want = rule(t, plain, "filter_out_fire")
	want.Priority, want.Hazard, want.While, want.Never = alarms.Evacuate, alarms.Gas, nil, true
	if r := rule(t, got, "filter_out_fire"); !reflect.DeepEqual(r, want) {
		t.Errorf("%+v\nwant %+v", r, want)
	}
	want = rule(t, plain, "suction_plugged")
	want.OtherMoved, want.Window = 900, 5*time.Minute
	if r := rule(t, got, "suction_plugged"); !reflect.DeepEqual(r, want) {
		t.Errorf("%+v\nwant %+v", r, want)
	}
	runs(t, got)
}

// Rules that tie two channels are there only where there is no doubt which.
func TestRolesInDoubt(t *testing.T) {
	text := strings.NewReplacer(`watch = "gas_out"`, `watch = "filter_in"`, `clean = "520 Pa"`, "").Replace(string(Reference()))
	// With a nozzle the flow is known, and the clean filter can be learned.
	learned := rule(t, parse(t, text), "filter_loading_hole")
	if len(learned.While) != 1 || learned.While[0].Phases == nil {
		t.Errorf("%+v", learned)
	}
	c := parse(t, regexp.MustCompile(`(?m)^(\[nozzle\]|bore|discharge).*$`).ReplaceAllString(text, ""))
	if c.Roles.FilterIn != "" || c.Roles.GasOut != "" || c.Roles.FilterLoading != "" || c.Roles.CleanSuction != 0 || c.Roles.CleanDrop != 125 {
		t.Errorf("%+v", c.Roles)
	}
	for _, r := range c.Rules {
		if strings.HasSuffix(r.Name, "_doubt") || strings.HasSuffix(r.Name, "_fire") || r.Channel == "filter_loading" || r.Name == "suction_caution" {
			t.Errorf("%s", r.Name)
		}
	}
	rule(t, c, "gas_out_stop")
	rule(t, c, "suction_plugged")
	if len(c.Warnings) != 1 || !strings.Contains(c.Warnings[0], "pressure.clean: missing: suction has no limits") {
		t.Errorf("%q", c.Warnings)
	}
	runs(t, c)
}

// The wall's steel chooses its levels: see alarms.WallRules for the sources.
func TestSteel(t *testing.T) {
	for word, limit := range map[string]float64{"carbon_steel": 650, "stainless_304": 925, "galvanised": 350} {
		c := parse(t, strings.Replace(string(Reference()), `"carbon_steel"`, `"`+word+`"`, 1))
		if r := rule(t, c, "wall_near_stop"); r.Limit != limit {
			t.Errorf("%s: %v, want %v", word, r.Limit, limit)
		}
		if r := rule(t, c, "wall_far_stop"); r.Limit != 650 {
			t.Errorf("beside %s: %v", word, r.Limit)
		}
	}
}
