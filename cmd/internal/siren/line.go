package siren

import (
	"fmt"
	"log/slog"

	"periph.io/x/conn/v3/gpio"
)

// line is one output pin. It is written and never read.
type line struct {
	name     string
	pin      gpio.PinOut // nil: not fitted
	log      *slog.Logger
	level    gpio.Level // that the pin is proved to have, if known
	known    bool
	err      error // of the writes since the last that worked
	failures uint64
}

// drive gives the pin a level and reports whether it has it. A write that was
// refused is tried again by the next call; the log sees the first refusal and
// the end of them.
func (l *line) drive(level gpio.Level) bool {
	if l.pin == nil || l.known && l.level == level {
		return true
	}
	if err := l.pin.Out(level); err != nil {
		l.known = false
		l.failures++
		if l.err == nil {
			l.err = fmt.Errorf("siren: %s: pin %s: %w", l.name, l.pin.Name(), err)
			l.log.Error("an output does not follow; it is tried again", "err", l.err)
		}
		return false
	}
	if l.err != nil {
		l.err = nil
		l.log.Info("an output follows again", "output", l.name, "failures", l.failures)
	}
	l.level, l.known = level, true
	return true
}
