package main

import (
	"errors"
	"testing"
	"time"

	"charwarden/sensors"
)

// A hint says what is wrong once, and what to do once; the channel stands before it
// already.
func TestHint(t *testing.T) {
	for _, c := range []struct {
		status sensors.Status
		err    error
		want   string
	}{
		{sensors.Unzeroed, errors.New("no zero yet: the running daemon takes one by itself"), "no zero yet: the running daemon takes one by itself"},
		{sensors.Unzeroed, nil, "no zero yet: with the engine off and nothing drawing, the running daemon takes it within 15 s"},
		{sensors.ClippedLow, errors.New("co: cocell: 0.000 V: check cell, wiring and supply"), "cocell: 0.000 V: check cell, wiring and supply"},
		{sensors.Open, errors.New("max31855: open"), "max31855: open: broken couple or loose screw: see the couple's wires"},
		{sensors.NoAnswer, &openError{file: "/nowhere", group: "spi", err: errors.New("no such port")}, "no such port"},
	} {
		if got := hintFor(sensors.Bad("co", time.Now(), c.status, c.err)); got != c.want {
			t.Errorf("%v, %v: %q, want %q", c.status, c.err, got, c.want)
		}
	}
}
