package main

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/gpio"

	"charwarden/cmd/internal/siren"
	"charwarden/config"
	"charwarden/sensors"
)

// pinless is a board on which one pin is missing and one refuses.
type pinless struct {
	sensors.Board
	missing, refuses string
}

func (b pinless) Pin(name string) (gpio.PinIO, error) {
	p, err := b.Board.Pin(name)
	switch name {
	case b.missing:
		return nil, fs.ErrNotExist
	case b.refuses:
		return mute{p}, err
	}
	return p, err
}

type mute struct{ gpio.PinIO }

func (mute) Out(gpio.Level) error { return errors.New("operation not permitted") }

// checked is what checkBoard says of the outlets, by name.
func checked(t *testing.T, cfg *config.Config, b sensors.Board, heard io.Writer) map[string]checkRow {
	t.Helper()
	rows, err := checkBoard(t.Context(), cfg, b, bubbleClock{}, heard)
	if err != nil {
		t.Fatal(err)
	}
	time.Sleep(time.Second) // an edge that is waited for outlives the check
	of := make(map[string]checkRow)
	for _, r := range rows {
		if r.Chip == "output" || r.Chip == "input" {
			of[r.Channel] = r
		}
	}
	return of
}

func withPermit(c *config.Config) { c.Outputs.RunPermit = "GPIO12" }

// Without a daemon `check` finds the pins and drives none.
func TestCheckFindsOutlets(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBenchRig(t, withPermit)
		o := b.cfg.Outputs
		of := checked(t, b.cfg, pinless{Board: b.sim.board, missing: o.LampYellow}, nil)
		for name, pin := range map[string]string{"horn": o.Horn, "lamp_red": o.LampRed, "lamp_yellow": o.LampYellow, "lamp_green": o.LampGreen,
			"watch_pulse": o.WatchPulse, "run_permit": o.RunPermit, "reset_button": o.ResetButton} {
			r, state, chip := of[name], "good", "output"
			if name == "lamp_yellow" {
				state = "missing"
			}
			if name == "reset_button" {
				chip = "input"
			}
			if r.Bus != pin || r.State != state || r.Chip != chip || r.Value != nil || r.Unit != "" || (r.Fault == nil) != (state == "good") {
				t.Errorf("%s: %+v, want %s %s on %s", name, r, chip, state, pin)
			}
			if _, n := b.sim.board.Output(pin); n != 0 {
				t.Errorf("%s: driven %d times", name, n)
			}
		}
		if len(of) != 7 {
			t.Errorf("%d outlets, want 7", len(of))
		}
	})
}

// --sound plays horn and lamps, leaves them off and the permit alone, and shows
// what a pin refused.
func TestCheckSound(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBenchRig(t, withPermit)
		o := b.cfg.Outputs
		var heard bytes.Buffer
		start := time.Now()
		of := checked(t, b.cfg, pinless{Board: b.sim.board, refuses: o.LampRed}, &heard)
		if took := time.Since(start); took < siren.TestTime() {
			t.Errorf("it took %v, want at least %v", took, siren.TestTime())
		}
		if r := of["lamp_red"]; r.State != "fault" || r.Hint == nil || !strings.Contains(*r.Hint, "not permitted") {
			t.Errorf("lamp_red: %+v", r)
		}
		// Groups of four, three and one; each is two edges.
		for pin, want := range map[string]int{o.Horn: 2 * (4 + 3 + 1), o.LampYellow: 2, o.LampGreen: 2, o.RunPermit: 0, o.WatchPulse: 0} {
			if l, n := b.sim.board.Output(pin); n != want || l {
				t.Errorf("%s: %d edges and %v, want %d and Low", pin, n, l, want)
			}
		}
		if !strings.Contains(heard.String(), "listen and look") {
			t.Errorf("said %q", heard.String())
		}
	})
}

// The daemon's answer follows its pins: a horn that refuses is at fault, and
// good again once it follows.
func TestOutletFollowsItsPin(t *testing.T) {
	b := newBenchRig(t, nil)
	p, err := b.sim.board.Pin("GPIO5")
	if err != nil {
		t.Fatal(err)
	}
	o := &outlet{what: "horn", chip: "output", name: "GPIO5", PinIO: mute{p}}
	if err := o.Out(gpio.High); err == nil {
		t.Error("a refusal was swallowed")
	}
	if r := o.row(); r.State != "fault" {
		t.Errorf("%+v", r)
	}
	o.PinIO = p
	if err := o.Out(gpio.High); err != nil {
		t.Error(err)
	}
	if r := o.row(); r.State != "good" || r.Fault != nil || r.Hint != nil {
		t.Errorf("%+v", r)
	}
}
