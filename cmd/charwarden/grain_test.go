package main

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"charwarden/cmd/internal/runlog"
	"charwarden/config"
	"charwarden/sensors"
)

// What the core is given is what the log gives back, for whatever may come.
func TestGrain(t *testing.T) {
	cfg, err := config.Parse("reference.toml", config.Reference())
	if err != nil {
		t.Fatal(err)
	}
	g := newGrain(cfg)
	back := make([]sensors.Reading, len(cfg.Channels))
	for i, ch := range cfg.Channels {
		back[i] = sensors.Bad(ch.Name, time.Time{}, sensors.Unknown, nil)
	}
	var self instrument
	bands := make(map[string]runlog.Band)
	rng := rand.New(rand.NewPCG(4, 4))
	start := time.Date(2026, 6, 1, 8, 0, 0, 0, time.UTC)
	now := start
	readings := make([]sensors.Reading, len(cfg.Channels))
	for i, ch := range cfg.Channels {
		readings[i] = sensors.Bad(ch.Name, time.Time{}, sensors.Unknown, nil)
	}
	fresh := 0
	for range 20_000 {
		now = now.Add(100 * time.Millisecond)
		for i := range readings {
			if rng.IntN(3) > 0 {
				continue
			}
			r := &readings[i]
			*r = sensors.Reading{Channel: r.Channel, At: now.Add(-time.Duration(rng.Int64N(int64(400 * time.Millisecond)))),
				Value: rng.NormFloat64() * 300, Uncertainty: math.Abs(rng.NormFloat64()), Status: sensors.Good, AtLeast: rng.IntN(9) == 0}
			r.Raw = r.Value
			switch rng.IntN(12) {
			case 0:
				*r = sensors.Bad(r.Channel, r.At, sensors.Statuses()[2+rng.IntN(11)], errors.New("a cause"))
				if valued(r.Status) {
					r.Value = 1e3
				}
			case 1:
				r.Uncertainty = math.NaN()
			case 2:
				r.Value = math.MaxFloat64
			case 3:
				r.Status, r.Value = sensors.ClippedHigh, math.Inf(1)
			}
		}
		told := instrument{busStall: time.Duration(rng.Int64N(int64(3 * time.Second))), tickLate: time.Duration(rng.IntN(4)) * time.Millisecond}
		used := g.take(now, readings)
		usedSelf := g.self(told)
		for _, b := range g.bands {
			bands[b.Channel] = b
		}
		parts := self.parts()
		for i, c := range g.cells {
			in := input{channel: g.inputs[i], at: -1}
			if i < g.sensors {
				in.at = i
			} else {
				in.part = parts[i-g.sensors]
			}
			if c.Status != sensors.Unknown {
				fresh++
			}
			(&rerun{readings: back, bands: bands}).set(&in, c, now)
		}
		if self != usedSelf {
			t.Fatalf("%v, again %v", usedSelf, self)
		}
		for i := range used {
			a, b := used[i], back[i]
			a.Raw, b.Raw, a.Cold, b.Cold, a.Err = 0, 0, 0, 0, nil
			if math.IsNaN(a.Value) && math.IsNaN(b.Value) {
				a.Value, b.Value = 0, 0
			}
			if a != b {
				t.Fatalf("%s: %+v, again %+v", a.Channel, used[i], back[i])
			}
			if d := now.Sub(used[i].At) - now.Sub(readings[i].At); !used[i].At.IsZero() && used[i].Status != sensors.Unknown && (d > time.Millisecond || d < -g.old) && g.cells[i].Status != 0 {
				t.Fatalf("%s: %v off", used[i].Channel, d)
			}
			if r := &readings[i]; used[i].Status == sensors.Good && g.cells[i].Status != 0 && math.Abs(used[i].Value-r.Value) > g.inputs[i].Step/2 {
				t.Fatalf("%s: %g became %g", r.Channel, r.Value, used[i].Value)
			}
		}
	}
	if fresh < 50_000 {
		t.Errorf("only %d cells", fresh)
	}
	// Too much for a count is no number, but clipped stays at the top.
	ch := &g.inputs[0]
	if c := cellOf(ch, &sensors.Reading{Value: math.Inf(1), Status: sensors.ClippedHigh}); c.Status != sensors.ClippedHigh || c.Count != huge {
		t.Errorf("%+v", c)
	}
	if c := cellOf(ch, &sensors.Reading{Value: math.MaxFloat64, Status: sensors.Good}); c.Status != sensors.OutOfRange {
		t.Errorf("%+v", c)
	}
}
