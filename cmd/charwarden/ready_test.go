package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"charwarden/config"
	"charwarden/sensors"
	"charwarden/sensors/derive/cooldown"
	"charwarden/sensors/derive/phase"
)

// readyCore is the reference rig before a fire, with everything as it must be.
func readyCore(t *testing.T) (c *core, now time.Time) {
	t.Helper()
	b := newBenchRig(t, nil)
	cfg, err := config.Parse("reference.toml", config.Reference())
	if err != nil {
		t.Fatal(err)
	}
	now = time.Date(2026, 6, 1, 7, 0, 0, 0, time.UTC)
	if c, err = newCore(cfg, now); err != nil {
		t.Fatal(err)
	}
	c.signals = b.loop.core.signals
	c.finder.Force(now, phase.Cold)
	c.shown = phase.Cold
	for _, ch := range c.channels {
		set(c, now, ch.Name, 0)
	}
	set(c, now, "disk_free", 0.4)
	set(c, now, "charcoal_left", 6)
	set(c, now, "filter_clean_mass", 9)
	set(c, now, "co_bump_age", 3600)
	set(c, now, "co_zero_age", 20*86400)
	c.holding.Leak, c.holding.Best, c.holding.Tight, c.holding.Ended = 12, 10, true, now.Add(-20*time.Minute)
	return c, now
}

func set(c *core, now time.Time, channel string, v float64) {
	*c.reading(channel) = sensors.Reading{Channel: channel, At: now, Value: v, Raw: v, Status: sensors.Good}
}

func lose(c *core, now time.Time, channel string, s sensors.Status, err error) {
	*c.reading(channel) = sensors.Bad(channel, now, s, err)
}

func itemOf(t *testing.T, rows []readyRow, item string) readyRow {
	t.Helper()
	for _, r := range rows {
		if r.Item == item {
			return r
		}
	}
	t.Fatalf("no item %q in %+v", item, rows)
	return readyRow{}
}

func TestReadyRig(t *testing.T) {
	c, now := readyCore(t)
	rows := readyRows(c, now)
	if m := missing(rows); len(m) > 0 {
		t.Errorf("missing in a rig that is ready: %v", m)
	}
	if r := itemOf(t, rows, "sensors"); *r.Value != 15 || *r.Limit != 15 {
		t.Errorf("sensors %v of %v", *r.Value, *r.Limit)
	}
	if r := itemOf(t, rows, "co bump test"); r.State != readyOK || *r.Value != 3600 || *r.Limit != 86400 || *r.Unit != "s" {
		t.Errorf("%+v", r)
	}
	seen := map[string]bool{}
	for _, r := range rows {
		if seen[r.Item] {
			t.Errorf("%s twice", r.Item)
		}
		seen[r.Item] = true
	}
}

// What is not as it must be is missing, and says what to do.
func TestReadyItems(t *testing.T) {
	for _, tc := range []struct {
		name   string
		break_ func(c *core, now time.Time)
		item   string
		state  string
		says   string
	}{
		{"sensor mute", func(c *core, now time.Time) { lose(c, now, "wall_near", sensors.Open, nil) }, "wall_near", readyMissing, "open: broken couple"},
		{"sensors counted", func(c *core, now time.Time) { lose(c, now, "wall_near", sensors.Open, nil) }, "sensors", readyMissing, "1 give no value"},
		{"no zero of a pressure", func(c *core, now time.Time) { lose(c, now, "suction", sensors.Unzeroed, nil) }, "suction", readyMissing, "unzeroed: no zero yet"},
		{"cell never tested", func(c *core, now time.Time) {
			lose(c, now, "co_bump_age", sensors.Unknown, errors.New("bump test: none recorded"))
		}, "co bump test", readyMissing, "none recorded: a dead cell reads 0 ppm: charwarden bumptest co"},
		{"test of yesterday", func(c *core, now time.Time) { set(c, now, "co_bump_age", 86400) }, "co bump test", readyMissing, "too old"},
		{"zero of last summer", func(c *core, now time.Time) { set(c, now, "co_zero_age", 91*86400) }, "co zero", readyMissing, "charwarden calibrate co zero"},
		{"filter due in this run", func(c *core, now time.Time) { set(c, now, "filter_clean_mass", 5) }, "filter", readyMissing, "charwarden cleaned"},
		{"filter's trend not known", func(c *core, now time.Time) { lose(c, now, "filter_clean_mass", sensors.Unknown, nil) }, "filter", readySee, "first minutes"},
		{"filter cleaned", func(c *core, now time.Time) { c.loading.Cleaned() }, "filter", readyOK, "learned in the first"},
		{"clean filter not known", func(c *core, now time.Time) { c.cfg.Roles.CleanDrop = 0 }, "filter", readyMissing, "clean it, then `charwarden cleaned`"},
		{"no filter drop", func(c *core, now time.Time) { c.loading = nil }, "filter", readySee, "not measured"},
		{"hopper half empty", func(c *core, now time.Time) { set(c, now, "charcoal_left", 3.9) }, "charcoal", readyMissing, "charwarden filled"},
		{"hopper never weighed", func(c *core, now time.Time) { lose(c, now, "charcoal_left", sensors.Unknown, nil) }, "charcoal", readyMissing, "charwarden weighed"},
		{"no hold test", func(c *core, now time.Time) { c.process.holding = cooldown.NewHold() }, "seals", readyMissing, "charwarden holdtest"},
		{"it leaks", func(c *core, now time.Time) { c.holding.Tight = false }, "seals", readyMissing, ""},
		{"tight before the last run", func(c *core, now time.Time) { c.holding.Ran = true }, "seals", readyMissing, "opened since"},
		{"tight", func(c *core, now time.Time) {}, "seals", readyOK, "20 min ago"},
		{"hold test runs", func(c *core, now time.Time) { c.holding.Running = true }, "seals", readyMissing, "wait for its end"},
		{"disk full", func(c *core, now time.Time) { set(c, now, "disk_free", 0.09) }, "disk", readyMissing, "delete them"},
		{"disk away", func(c *core, now time.Time) { lose(c, now, "disk_free", sensors.NoAnswer, errors.New("disk: gone")) }, "disk", readyMissing, "disk: gone"},
		{"state not stored", func(c *core, now time.Time) { set(c, now, "state_unsaved", 4) }, "state", readyMissing, "power cut"},
		{"run log not stored", func(c *core, now time.Time) { set(c, now, "log_unsaved", 4) }, "run log", readyMissing, "power cut"},
		{"clock not synchronised", func(c *core, now time.Time) { set(c, now, "clock_unsynced", 7) }, "clock", readySee, "not synchronised, and says 2026-"},
		{"clock before the last zero", func(c *core, now time.Time) {
			set(c, now, "clock_unsynced", 7)
			c.cares[0].Done = now.AddDate(0, 1, 0)
		}, "clock", readyMissing, "which is past"},
		{"it runs", func(c *core, now time.Time) { c.shown = phase.Running }, "phase", readyMissing, "running"},
		{"phase not known", func(c *core, now time.Time) { c.shown = phase.Unknown }, "phase", readyMissing, "not known yet"},
		{"sealed and hot", func(c *core, now time.Time) {
			c.shown = phase.Sealed
			set(c, now, "wall_cold_time", 3000)
		}, "phase", readyMissing, "still hot"},
		{"sealed and cool", func(c *core, now time.Time) { c.shown = phase.Sealed }, "phase", readyOK, "embers and CO may remain"},
		{"sealed, and nobody knows", func(c *core, now time.Time) {
			c.shown = phase.Sealed
			lose(c, now, "wall_cold_time", sensors.Open, nil)
		}, "phase", readyMissing, "not known to be cool"},
		{"an alarm out of service", func(c *core, now time.Time) {
			if _, err := c.engine.Remove(now, "gas_out_caution", "couple is ordered"); err != nil {
				t.Error(err)
			}
		}, "put aside", readySee, "gas_out_caution"},
		{"an alarm stands", func(c *core, now time.Time) {
			lose(c, now, "co", sensors.NoAnswer, nil)
			for i := range 5 {
				c.engine.Step(now.Add(time.Duration(i)*time.Second), c.readings, phase.Cold)
			}
		}, "alarms", readyMissing, "stand: co_fault"},
		{"no horn", func(c *core, now time.Time) { drop(c, "horn") }, "horn", readyMissing, "no alarm is heard"},
		{"no watch pulse", func(c *core, now time.Time) { drop(c, "watch_pulse") }, "watch pulse", readyMissing, "a dead board"},
		{"horn refuses", func(c *core, now time.Time) {
			for _, o := range c.signals.outlets {
				if o.what == "horn" {
					o.err = errors.New("pin is taken")
				}
			}
		}, "horn", readyMissing, "pin is taken"},
		{"permit not held", func(c *core, now time.Time) { c.signals.fitted = true }, "run permit", readyMissing, "nothing has been judged yet"},
		{"no cell", func(c *core, now time.Time) { c.doses = nil }, "co cell", readySee, "none is fitted"},
	} {
		c, now := readyCore(t)
		tc.break_(c, now)
		r := itemOf(t, readyRows(c, now), tc.item)
		if r.State != tc.state || r.Hint == nil && tc.says != "" || r.Hint != nil && !strings.Contains(*r.Hint, tc.says) {
			hint := ""
			if r.Hint != nil {
				hint = *r.Hint
			}
			t.Errorf("%s: %s is %s: %q, want %s and %q", tc.name, tc.item, r.State, hint, tc.state, tc.says)
		}
	}
}

// drop takes an output away.
func drop(c *core, what string) {
	var left []*outlet
	for _, o := range c.signals.outlets {
		if o.what != what {
			left = append(left, o)
		}
	}
	c.signals.outlets = left
}

func TestAfterRows(t *testing.T) {
	for _, tc := range []struct {
		name    string
		set     func(c *core, now time.Time)
		item    string
		state   string
		says    string
		missing int
	}{
		{"sealed", func(c *core, now time.Time) { set(c, now, "wall_cold_time", 5400) }, "phase", readyOK, "60 °C", 0},
		{"cold", func(c *core, now time.Time) { c.shown = phase.Cold }, "phase", readyOK, "cold", 0},
		{"stopping", func(c *core, now time.Time) { c.shown = phase.Stopping }, "phase", readySee, "ask again", 0},
		{"it still runs", func(c *core, now time.Time) { c.shown = phase.Running }, "phase", readyMissing, "not known to be stopped", 1},
		{"not known", func(c *core, now time.Time) { c.shown = phase.Unknown }, "phase", readyMissing, "unknown", 1},
		{"it burns again", func(c *core, now time.Time) { set(c, now, "reignition", 16) }, "fire", readyMissing, "do not open it", 1},
		{"nobody knows", func(c *core, now time.Time) { lose(c, now, "reignition", sensors.Open, nil) }, "fire", readySee, "open", 0},
		{"a seal leaks", func(c *core, now time.Time) { set(c, now, "seal_health", 0.7) }, "seals", readyMissing, "from upwind", 1},
		{"too early to tell", func(c *core, now time.Time) {
			lose(c, now, "seal_health", sensors.Unknown, errors.New("it was sealed a short while ago"))
		}, "seals", readySee, "short while ago", 0},
	} {
		c, now := readyCore(t)
		c.shown = phase.Sealed
		set(c, now, "seal_health", 0.98)
		tc.set(c, now)
		rows := afterRows(c, now)
		if r := itemOf(t, rows, tc.item); r.State != tc.state || r.Hint == nil || !strings.Contains(*r.Hint, tc.says) || len(missing(rows)) != tc.missing {
			t.Errorf("%s: %+v, want %s and %q", tc.name, rows, tc.state, tc.says)
		}
	}
}

func TestAskLooks(t *testing.T) {
	ask := func(in string, looks []look) ([]readyRow, string, error) {
		return askLooks(t.Context(), linesOf(t.Context(), strings.NewReader(in)), io.Discard, looks)
	}
	rows, text, err := ask("south-west, at the well\x07\ny\nYes\nno\n\ny\n", beforeLooks)
	if err != nil {
		t.Fatal(err)
	}
	if want := "wind and place south-west, at the well, second person yes, CO alarm worn yes, water at hand no, nozzle clear no, horn heard yes"; text != want {
		t.Errorf("%q, want %q", text, want)
	}
	if m := missing(rows); strings.Join(m, " ") != "water nozzle" {
		t.Errorf("missing %v", m)
	}
	if rows, _, err := ask("\ny\ny\ny\ny\ny\n", beforeLooks); err != nil || len(missing(rows)) != 1 {
		t.Errorf("%+v %v: no word of the wind", rows, err)
	}
	if _, _, err := ask("south\ny\n", beforeLooks); !errors.Is(err, errLeft) {
		t.Errorf("%v: the input ended", err)
	}
	// The longest answers still make one note.
	long := strings.Repeat("ä", 500) + strings.Repeat("\nno", len(beforeLooks)) + "\n"
	_, text, err = ask(long, beforeLooks)
	note := noteOrder{cut("ready: "+text+"; missing: "+few(strings.Split(strings.Repeat("a_channel_of_thirty_characters ", 20), " ")), maxText)}
	if err != nil || note.check() != nil {
		t.Errorf("%v %v: %q", err, note.check(), note.Text)
	}
	if _, text, err := ask(strings.Repeat("y\n", len(afterLooks)), afterLooks); err != nil || !strings.Contains(text, "nozzle shut yes") || len("after the stop: "+text) > maxText {
		t.Errorf("%q %v", text, err)
	}
}

func TestReadyCommand(t *testing.T) {
	_, v := careDesk(t)
	say := func(words ...string) (string, error) {
		var out bytes.Buffer
		err := ready(t.Context(), &call{args: append([]string{"--socket", v.socket}, words...), in: strings.NewReader("y\ny\n"), out: &out, err: io.Discard})
		return out.String(), err
	}
	for _, c := range []struct {
		words string
		says  []string
	}{
		{"", []string{"co bump test", "NOT READY: ", "see      an extinguisher or water", "not a certified life-safety device"}},
		{"--yes", []string{"NOT READY: ", "see      you wear a certified CO alarm"}},
		{"--after", []string{"see      the nozzle is shut", "NOT AT REST", "come back in the morning", "A shut rig holds embers and CO for many hours"}},
		{"--json", []string{`{"item":"alarms","state":"missing","value":`, `{"item":"wind","state":"see","value":null,"limit":null,"unit":null,"hint":"`}},
	} {
		text, err := say(strings.Fields(c.words)...)
		if !errors.Is(err, errNotGood) {
			t.Errorf("%s: %v", c.words, err)
		}
		for _, s := range c.says {
			if !strings.Contains(text, s) {
				t.Errorf("%s lacks %q:\n%s", c.words, s, text)
			}
		}
		for i, l := range strings.Split(text, "\n") {
			if c.words != "--json" && len([]rune(l)) > readyWidth {
				t.Errorf("%s: line %d is wide: %q", c.words, i, l)
			}
		}
		var rows []readyRow
		if c.words == "--json" && (json.Unmarshal([]byte(text), &rows) != nil || len(rows) < 20) {
			t.Errorf("%s", text)
		}
	}
	if _, err := say("now"); !errors.As(err, new(*usageError)) {
		t.Errorf("%v", err)
	}
}

// At a terminal a person answers, and the answers are noted.
func TestReadyAtTerminal(t *testing.T) {
	d, v := careDesk(t)
	user, screen := openTerminal(t, 80, 24)
	go io.WriteString(screen, "west, at the pump\ny\ny\ny\ny\ny\n")
	go io.Copy(io.Discard, screen) // the echo
	var out bytes.Buffer
	err := ready(t.Context(), &call{args: []string{"--socket", v.socket}, in: user, out: &out, err: io.Discard})
	user.Close()
	if !errors.Is(err, errNotGood) || !strings.Contains(out.String(), "noted\n") || !strings.Contains(out.String(), "From where does the wind blow") {
		t.Errorf("%v\n%s", err, &out)
	}
	if log := d.log.String(); !strings.Contains(log, `text="ready: wind and place west, at the pump, second person yes, `) || !strings.Contains(log, "; missing: ") {
		t.Errorf("%s", log)
	}
}

// A rig that is ready ends the command well, and says what it does not say.
func TestReadyAllWell(t *testing.T) {
	c, now := readyCore(t)
	rows := readyRows(c, now)
	var out bytes.Buffer
	if err := errors.Join(printReady(&out, nil, rows), readyVerdict(&out, missing(rows), false)); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"ok", "1 h (limit 1 d)", "40 % (limit 10 %)", "6.00 kg (limit 4.00 kg)", "Nothing that is measured is missing.", caution} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("lacks %q:\n%s", want, &out)
		}
	}
}
