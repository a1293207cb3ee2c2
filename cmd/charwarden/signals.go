package main

import (
	"cmp"
	"fmt"
	"log/slog"

	"periph.io/x/conn/v3/gpio"

	"charwarden/cmd/internal/siren"
	"charwarden/config"
	"charwarden/sensors"
)

// signals is what reaches the person, and the engine, without any network: horn
// and lamps, the watch pulse, the run permit and the button beside them. It
// belongs to the loop.
type signals struct {
	siren  *siren.Siren
	watch  *siren.Pulse
	permit siren.Permit
	train  *siren.Pulse // of the permit
	fitted bool         // a run permit is configured
	button *siren.Button
	log    *slog.Logger
	core   *core
	lost   bool // the permit was lost when last said

	outlets []*outlet // what is configured
	missing error     // a pin that could not be had
}

// newSignals finds the pins. One that cannot be had is said and costs only what
// hangs on it.
func newSignals(o config.Outputs, b sensors.Board, clock sensors.Clock, c *core, log *slog.Logger) *signals {
	s := &signals{fitted: o.RunPermit != "", log: log, core: c}
	find := func(what, chip, name string) *outlet {
		if name == "" {
			return nil
		}
		l := &outlet{what: what, chip: chip, name: name}
		s.outlets = append(s.outlets, l)
		var err error
		if l.PinIO, err = b.Pin(name); err != nil {
			l.PinIO, l.err = nil, fmt.Errorf("%s: pin %s: %w", what, name, err)
			log.Error("output missing: see the pin's name, and what else uses it", "err", l.err)
			s.missing = l.err
			return nil
		}
		return l
	}
	out := func(what, name string) gpio.PinOut { // a nil *outlet is no nil PinOut
		if l := find(what, "output", name); l != nil {
			return l
		}
		return nil
	}
	s.siren = siren.New(siren.Opts{Horn: out("horn", o.Horn), Red: out("lamp_red", o.LampRed),
		Yellow: out("lamp_yellow", o.LampYellow), Green: out("lamp_green", o.LampGreen), Clock: clock, Log: log})
	s.watch = siren.NewPulse("watch_pulse", out("watch_pulse", o.WatchPulse), log)
	s.train = siren.NewPulse("run_permit", out("run_permit", o.RunPermit), log)
	s.button, _ = siren.NewButton(nil, log)
	if l := find("reset_button", "input", o.ResetButton); l != nil {
		button, err := siren.NewButton(l.PinIO, log)
		if err != nil {
			l.err, s.missing = err, err
			log.Error("no button", "err", err)
			return s
		}
		s.button = button
	}
	return s
}

// update is the first output of a tick: what sounds, and whether the engine may
// run.
func (s *signals) update(f *frame) {
	s.siren.Update(f.now, f.alarms, f.transitions)
	c := s.core
	speed, fitted := sensors.Reading{}, false
	if r := c.reading(c.cfg.Roles.Speed); r != nil {
		speed, fitted = *r, true
	}
	s.permit.Step(f.now, f.alarms, siren.Stands(speed, fitted, c.finder.Inferred(), c.finder.Known()))
	held, why := s.permit.Held()
	if s.fitted && !held != s.lost {
		s.lost = !held
		if s.lost {
			s.log.Warn("run permit lost: the engine stops; the fire goes on", "why", why)
		} else {
			s.log.Info("run permit given")
		}
	}
	switch s.button.Tick(f.now) {
	case siren.ShortPress:
		s.siren.Silence(f.now, "button")
	case siren.LongPress:
		if err := s.permit.Reset(f.now); err != nil {
			s.log.Warn("command refused", "person", "button", "verb", "reset permit", "err", err)
		} else {
			s.core.dirty = true
			s.log.Info("command", "person", "button", "verb", "reset permit")
		}
	}
}

// beat is the last thing that a completed tick does. Before every chip has
// answered once nobody knows enough to let the engine run.
func (s *signals) beat(answered bool) {
	s.watch.Tick()
	if held, _ := s.permit.Held(); held && s.fitted && answered {
		s.train.Tick()
	}
}

// fault is why an output does not work; nil while all do.
func (s *signals) fault() error {
	return cmp.Or(s.missing, s.siren.Fault(), s.watch.Fault(), s.train.Fault())
}
