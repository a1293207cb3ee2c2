package siren

import (
	"errors"
	"time"
)

// ErrCalls refuses a test: it could not be told from the real thing.
var ErrCalls = errors.New("siren: test: an alarm calls: acknowledge it first")

// The outputs of a Siren.
const (
	horn = iota
	red
	yellow
	green
	outputs
)

var outputNames = [outputs]string{"horn", "red lamp", "yellow lamp", "green lamp"}

// rehearsal is what a test plays, one after the other: a group of every sound,
// each with a second of quiet after it, and every lamp for a second.
var rehearsal = [...]struct {
	output int
	Pattern
	long time.Duration
}{
	{horn, Temporal4, Temporal4.Group() + time.Second},
	{horn, Temporal3, Temporal3.Group() + time.Second},
	{horn, Chirp, Chirp.Group() + time.Second},
	{red, Steady, time.Second},
	{yellow, Steady, time.Second},
	{green, Steady, time.Second},
}

// TestTime is how long a test takes.
func TestTime() (all time.Duration) {
	for _, part := range rehearsal {
		all += part.long
	}
	return all
}

// rehearse returns which output is on when a test has run for t (-1: none), and
// when it goes on; over reports that it has ended.
func rehearse(t time.Duration) (output int, next time.Duration, over bool) {
	var start time.Duration
	for _, part := range rehearsal {
		if end := start + part.long; t < end {
			on, edge := part.At(t - start)
			next = min(edge, part.long) + start // Never is longer than any part
			if !on {
				return -1, next, false
			}
			return part.output, next, false
		}
		start += part.long
	}
	return -1, 0, true
}
