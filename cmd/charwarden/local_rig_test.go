package main

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
	"charwarden/sensors/sim"
)

// What people say of hopper and filter reaches the core, and only what makes
// sense.
func TestDeskRig(t *testing.T) {
	d, carry := newTestDesk(t)
	carry()
	speed, suction := d.core.reading("speed"), d.core.reading("suction")
	for _, c := range []struct {
		path, body string
		code       int
		says       string
	}{
		{"/filled", `{"kilograms":5}`, 200, `"charcoal_left":5`},
		{"/filled", `{"kilograms":2}`, 200, `"charcoal_left":7`},
		{"/filled", `{"kilograms":20}`, 409, "weigh what is in it"},
		{"/filled", `{"kilograms":-1}`, 400, "want 0 to 1000"},
		{"/filled", `{"kilograms":0}`, 409, "more than 0"},
		{"/weighed", `{"kilograms":3.5}`, 200, `"charcoal_left":3.5`},
		{"/weighed", `{"pounds":3.5}`, 400, "unknown field"},
		{"/cleaned", `{}`, 200, "{}"},
		{"/holdtest/start", `{}`, 409, "not known to stand"},
	} {
		if code, text := d.raw(t, c.path, c.body); code != c.code || !strings.Contains(text, c.says) {
			t.Errorf("%s %s: %d %s, want %d %s", c.path, c.body, code, text, c.code, c.says)
		}
	}
	*speed = sensors.Reading{Channel: "speed", Status: sensors.Good}
	if code, text := d.raw(t, "/holdtest/start", `{}`); code != 409 || !strings.Contains(text, "no good value") {
		t.Errorf("%d %s", code, text)
	}
	*suction = sensors.Reading{Channel: "suction", Value: 300, Status: sensors.Good}
	if code, text := d.raw(t, "/holdtest/start", `{}`); code != 200 || !strings.Contains(text, `"running":true,"begun_pa":300`) {
		t.Errorf("%d %s", code, text)
	}
	if code, text := d.raw(t, "/holdtest/end", `{}`); code != 200 || !strings.Contains(text, `"hold_leak":null`) || !strings.Contains(text, "No result") {
		t.Errorf("%d %s", code, text)
	}
	var rows []causeRow
	if err := d.v.get(t.Context(), "/why", &rows); err != nil || len(rows) != 1 || rows[0].Cause != "not_enough" || rows[0].For == nil {
		t.Errorf("%+v %v", rows, err)
	}
	if log := d.log.String(); !strings.Contains(log, "verb=filled kilograms=5") && !strings.Contains(log, "kilograms=5") {
		t.Errorf("%s", log)
	}
}

// The commands against a daemon, as a person calls them.
func TestRigCommands(t *testing.T) {
	d, carry := newTestDesk(t)
	carry()
	say := func(want int, words ...string) string {
		t.Helper()
		var out, errw bytes.Buffer
		args := append([]string{words[0], "--socket", d.path}, words[1:]...)
		if code := dispatch(t.Context(), args, strings.NewReader(""), &out, &errw); code != want {
			t.Errorf("%v: exit %d: %s%s", words, code, &out, &errw)
		}
		return out.String() + errw.String()
	}
	for _, c := range []struct {
		code  int
		words string
		says  string
	}{
		{0, "filled 5", "hopper: 5.00 kg added; reckoned to hold 5.00 kg"},
		{0, "weighed 4lb", "1.81 kg in it; reckoned to hold 1.81 kg"},
		{2, "filled five", "--kilograms"},
		{2, "weighed -3", "-3"},
		{2, "filled", "KILOGRAMS is missing"},
		{1, "filled 90", "weigh what is in it"},
		{0, "cleaned", "taken as clean"},
		{1, "holdtest", "stopped: nothing was changed"},
		{0, "fire", "nothing to say while no gas is made"},
		{0, "fire --json", `"side":"`},
		{0, "why", "not enough is measured or learned"},
		{0, "why --json", `"cause":"not_enough"`},
		{2, "why now", "not expected here"},
	} {
		if got := say(c.code, strings.Fields(c.words)...); !strings.Contains(got, c.says) {
			t.Errorf("%s: %q, want %q", c.words, got, c.says)
		}
	}
}

// What was learned and counted in a run stands after a restart, through JSON.
func TestProcessKept(t *testing.T) {
	r := newTruthRig(t, 1, sim.DayPlan())
	if err := r.core.cleaned(r.start); err != nil {
		t.Fatal(err)
	}
	if err := r.core.hopper.Weighed(6); err != nil {
		t.Fatal(err)
	}
	r.pass(90*time.Minute, nil)
	data, err := json.Marshal(r.core.process.keep())
	if err != nil {
		t.Fatal(err)
	}
	var k processKept
	if err := json.Unmarshal(data, &k); err != nil {
		t.Fatal(err)
	}
	if len(data) > 64<<10 {
		t.Errorf("%d bytes a minute to the card", len(data))
	}
	left, loading, burnt, scale := r.value("charcoal_left"), r.value("filter_loading"), r.value("charcoal_burnt"), r.value("wall_near_scale")
	c, err := newCore(r.core.cfg, r.core.base)
	if err != nil {
		t.Fatal(err)
	}
	c.process.restore(k, r.now)
	r.core = c
	r.pass(91*time.Minute, nil)
	for _, c := range []struct {
		what                string
		before, after, most float64
	}{
		{"left", left, r.value("charcoal_left"), 0.05}, {"burnt", burnt, r.value("charcoal_burnt"), 0.05},
		{"scale", scale, r.value("wall_near_scale"), 0.01 * scale}, {"loading", loading, r.value("filter_loading"), 4},
	} {
		if !(math.Abs(c.after-c.before) <= c.most) {
			t.Errorf("%s: %g before, %g after the restart", c.what, c.before, c.after)
		}
	}
}

// A shut rig's phase says when its walls are cool, and never without what that
// does not mean.
func TestPhaseOfAShutRig(t *testing.T) {
	cold, word, caution := 3000.0, "sealed", "Embers and CO may remain. Not before the next morning, outdoors, upwind."
	for _, s := range []float64{cold, 0} {
		got := phaseRow{Phase: &word, Cold: &s}.String()
		if !strings.Contains(got, "60 °C") || !strings.HasSuffix(got, caution) {
			t.Errorf("%q", got)
		}
	}
	if got := (phaseRow{Phase: &word}).String(); strings.Contains(got, "60") {
		t.Errorf("%q", got)
	}
}

// A restart in the night, before anything is known of the rig, forgets neither
// that it is shut nor that it had become hotter again.
func TestShutOverRestart(t *testing.T) {
	r := newTruthRig(t, 1, sim.DayPlan())
	k := r.core.process.keep()
	k.Cooling.Sealed, k.Cooling.Floor = true, 20
	r.core.process.restore(k, r.now)
	r.pass(5*time.Second, nil) // the phase is not known yet
	if got := r.core.process.keep().Cooling; !got.Sealed || got.Floor != 20 {
		t.Errorf("%+v", got)
	}
}
