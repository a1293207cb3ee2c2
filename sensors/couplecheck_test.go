package sensors_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

// hotRig has a couple that is hot whenever the gas behind the reactor is; the
// couples are read at 4 Hz, the loop ticks at 10 Hz.
func hotRig(t *testing.T) *desk {
	p := 250 * time.Millisecond
	return newDesk(t, nil,
		sensors.Channel{Name: "wall", Quantity: sensors.Temperature, Period: p, HotWith: []string{"gas", "filter"}},
		sensors.Channel{Name: "gas", Quantity: sensors.Temperature, Period: p},
		sensors.Channel{Name: "filter", Quantity: sensors.Temperature, Period: p})
}

func TestShortedAndReversedCouple(t *testing.T) {
	const cold = 30.0
	for _, c := range []struct {
		name      string
		wall, gas float64
		after     time.Duration // 0: never
		hint      string
	}{
		{"hot as the others", 350, 400, 0, ""},
		{"shorted", cold + 1, 400, time.Minute, "shorted to itself"},
		{"shorted, a little below", cold - 1.5, 400, time.Minute, "shorted to itself"},
		{"barely warm", cold + 2.5, 400, 0, ""},
		{"reversed", cold - 320, 400, 100 * time.Millisecond, "swap the couple's two wires"},
		{"a little reversed", cold - 9, 400, 0, ""},
		{"shorted, rig cold", cold, 25, 0, ""},
		{"reversed, rig cold", cold - 30, 25, 0, ""},
		{"shorted, others lukewarm", cold, cold + 149, 0, ""},
		{"shorted, others just hot", cold, cold + 151, time.Minute, "shorted to itself"},
	} {
		d := hotRig(t)
		var first time.Duration = -1
		d.play(70*time.Second, func(at time.Duration) {
			if each(at, 250*time.Millisecond) {
				d.couple("wall", c.wall, cold)
				d.couple("gas", c.gas, cold)
				d.couple("filter", 25, cold)
			}
			r := d.at("wall")
			honest(t, r)
			switch {
			case r.Status == sensors.Good:
				if first >= 0 {
					t.Fatalf("%s: good again at %v", c.name, at)
				}
			case r.Status != sensors.OutOfRange || !strings.Contains(r.Err.Error(), c.hint):
				t.Fatalf("%s: %v: %v", c.name, r.Status, r.Err)
			case first < 0:
				first = at
			}
		})
		if c.after == 0 && first >= 0 || c.after > 0 && (first < 0 || first < c.after-100*time.Millisecond || first > c.after+500*time.Millisecond) {
			t.Errorf("%s: flagged after %v, want %v (0: never)", c.name, first, c.after)
		}
	}
}

// The minute is one without a break: a couple that shows heat, or that nobody
// could read, begins anew.
func TestShortedCoupleMinuteBeginsAnew(t *testing.T) {
	for _, c := range []struct {
		name   string
		middle func(d *desk)
	}{
		{"heat", func(d *desk) { d.couple("wall", 60, 30) }},
		{"open", func(d *desk) { d.put(sensors.Bad("wall", d.now, sensors.Open, errors.New("open"))) }},
		{"nothing", func(*desk) {}},
	} {
		d := hotRig(t)
		d.play(95*time.Second, func(at time.Duration) {
			if each(at, 250*time.Millisecond) {
				d.couple("gas", 500, 30)
				d.couple("filter", 400, 30)
				if at >= 40*time.Second && at < 44*time.Second {
					c.middle(d)
				} else {
					d.couple("wall", 30, 30)
				}
			}
			if r := d.at("wall"); r.Status == sensors.OutOfRange {
				t.Fatalf("%s in the 40th second: flagged at %v: %v", c.name, at, r.Err)
			}
		})
	}
}
