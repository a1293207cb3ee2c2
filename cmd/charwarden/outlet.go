package main

import (
	"sync"

	"periph.io/x/conn/v3/gpio"
)

// outlet is a configured pin of the signals, with what it said last. Any
// goroutine may drive it and ask it.
type outlet struct {
	gpio.PinIO // nil if it could not be had
	what, chip string
	name       string // as the file has it

	mu  sync.Mutex
	err error
}

// Out drives the pin and keeps its answer.
func (o *outlet) Out(l gpio.Level) error {
	err := o.PinIO.Out(l)
	o.mu.Lock()
	o.err = err
	o.mu.Unlock()
	return err
}

// row is the outlet as `check` shows it.
func (o *outlet) row() checkRow {
	o.mu.Lock()
	err := o.err
	o.mu.Unlock()
	row := checkRow{Channel: o.what, Chip: o.chip, Bus: o.name, State: "good"}
	if err == nil {
		return row
	}
	word, hint := "refused", err.Error()+": see what else uses the pin"
	row.State = "fault"
	if o.PinIO == nil {
		word, hint = "no_pin", err.Error()+": see the pin's name in the file"
		row.State = "missing"
	}
	row.Fault, row.Hint = &word, &hint
	return row
}

// rows are all configured outlets.
func (s *signals) rows() []checkRow {
	var rows []checkRow
	for _, o := range s.outlets {
		rows = append(rows, o.row())
	}
	return rows
}
