package siren

import (
	"log/slog"

	"periph.io/x/conn/v3/gpio"
)

// Pulse is a pulse train that lives by somebody's work: one edge for each Tick,
// and whatever level is left when the ticks end. It belongs to one goroutine.
type Pulse struct {
	line line
	next gpio.Level
}

// NewPulse returns the pulse train of a pin, whose name in the log is name; nil
// is a pin that is not fitted.
func NewPulse(name string, pin gpio.PinOut, log *slog.Logger) *Pulse {
	return &Pulse{line: line{name: name, pin: pin, log: log}, next: gpio.High}
}

// Tick makes one edge. An edge that the pin refused is the next one again.
func (p *Pulse) Tick() {
	if p.line.drive(p.next) {
		p.next = !p.next
	}
}

// Fault returns why the pin refused the last edge, or nil.
func (p *Pulse) Fault() error { return p.line.err }

// Failures is how many edges the pin has refused so far.
func (p *Pulse) Failures() uint64 { return p.line.failures }
