package runlog

import (
	"testing"
	"time"

	"charwarden/sensors"
)

func TestCellText(t *testing.T) {
	for text, want := range map[string]Cell{
		"open":               {Status: sensors.Open},
		"clipped_high 16000": {Count: 16000, Status: sensors.ClippedHigh},
		"clipped_low -3@40":  {Count: -3, Status: sensors.ClippedLow, Lag: 40 * time.Millisecond},
		"12345@250":          {Count: 12345, Status: sensors.Good, Lag: 250 * time.Millisecond},
		"stale@3000":         {Status: sensors.Stale, Lag: 3 * time.Second},
	} {
		got, err := parseCell(text)
		if err != nil || got != want || got.text() != text {
			t.Errorf("%q: %+v %v, again %q", text, got, err, got.text())
		}
	}
	for _, bad := range []string{"", "good", "unknown", "12345", "open 3", "clipped_high", "clipped_high x", "12@0", "12@-1", "@", "open@", "x@3"} {
		if c, err := parseCell(bad); err == nil {
			t.Errorf("%q: %+v", bad, c)
		}
	}
	for _, c := range []Cell{{}, {Count: 7, Status: sensors.Good}} {
		if s := c.text(); s != "" {
			t.Errorf("%+v: %q", c, s)
		}
	}
}

func FuzzCell(f *testing.F) {
	f.Add("clipped_high 16000@20")
	f.Add("-12@3")
	f.Fuzz(func(t *testing.T, s string) {
		c, err := parseCell(s)
		if err != nil {
			return
		}
		if again, err := parseCell(c.text()); err != nil || again != c {
			t.Errorf("%q: %+v, again %+v %v", s, c, again, err)
		}
	})
}
