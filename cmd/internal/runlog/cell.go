package runlog

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"charwarden/sensors"
)

// A stored cell is NULL (nothing new), an integer (a good reading's count) or
// text:
//
//	"open"                 a fault word: no value
//	"clipped_high 16000"   at the top of the range, which is this many counts
//	"12345@250"            a good reading that was 250 ms older than its row
//	"open@250"             a fault that was

// text is the cell as text; "" where an integer or NULL says all.
func (c Cell) text() string {
	var s string
	switch c.Status {
	case sensors.Unknown:
		return ""
	case sensors.Good:
		if c.Lag == 0 {
			return ""
		}
		s = strconv.FormatInt(c.Count, 10)
	case sensors.ClippedHigh, sensors.ClippedLow:
		s = c.Status.String() + " " + strconv.FormatInt(c.Count, 10)
	default:
		s = c.Status.String()
	}
	if c.Lag > 0 {
		s += "@" + strconv.FormatInt(c.Lag.Milliseconds(), 10)
	}
	return s
}

// parseCell is the inverse of text.
func parseCell(s string) (c Cell, err error) {
	what, lag, late := strings.Cut(s, "@")
	if late {
		ms, err := strconv.ParseInt(lag, 10, 32)
		if err != nil || ms <= 0 {
			return Cell{}, fmt.Errorf("cell %q: lag: want whole ms above 0", s)
		}
		c.Lag = time.Duration(ms) * time.Millisecond
	}
	word, count, counted := strings.Cut(what, " ")
	if late && !counted {
		if n, err := strconv.ParseInt(what, 10, 64); err == nil {
			c.Count, c.Status = n, sensors.Good
			return c, nil
		}
	}
	if c.Status, err = sensors.ParseStatus(word); err != nil {
		return Cell{}, fmt.Errorf("cell %q: %w", s, err)
	}
	clipped := c.Status == sensors.ClippedHigh || c.Status == sensors.ClippedLow
	if counted != clipped || c.Status <= sensors.Good {
		return Cell{}, fmt.Errorf("cell %q: a count stands beside clipped_high and clipped_low only", s)
	}
	if clipped {
		if c.Count, err = strconv.ParseInt(count, 10, 64); err != nil {
			return Cell{}, fmt.Errorf("cell %q: %w", s, err)
		}
	}
	return c, nil
}
