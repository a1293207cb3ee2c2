package sensors

import (
	"errors"
	"time"
)

// Care is the age of something that a person does by hand, such as the zero or
// the bump test of a CO cell.
type Care struct {
	Channel string
	What    string    // "bump test"
	Done    time.Time // zero: never, as far as is known
}

// Sense reports the age in seconds, Unknown where none is recorded or where
// the clock is before it: the board has no clock battery.
func (c *Care) Sense(now time.Time, into []Reading) []Reading {
	switch age := now.Sub(c.Done); {
	case c.Done.IsZero():
		return append(into, Bad(c.Channel, now, Unknown, errors.New(c.What+": none recorded")))
	case age < 0:
		return append(into, Bad(c.Channel, now, Unknown, errors.New(c.What+": the clock is before its date")))
	default:
		v := age.Seconds()
		return append(into, Reading{Channel: c.Channel, At: now, Value: v, Raw: v, Cold: nan, Status: Good})
	}
}
