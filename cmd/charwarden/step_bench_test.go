package main

import (
	"testing"
	"time"

	"charwarden/sensors"
)

// BenchmarkStep is one tick of the loop at the reference load, with all outputs
// and no network. Aims: 20 us, no allocation.
func BenchmarkStep(b *testing.B) {
	cfg := refConfig(b, "tcp://127.0.0.1:1", "127.0.0.1:9455")
	w := &watch{cfg: cfg, board: newCannedBoard(), clock: systemClock{}, log: quiet()}
	if err := w.assemble(); err != nil {
		b.Fatal(err)
	}
	now := time.Now()
	tick := func(n int) {
		now = now.Add(cfg.Tick)
		for i, c := range cfg.Channels {
			ticks := max(1, int(c.Period/cfg.Tick))
			if n%ticks == i%ticks {
				v := 40 + float64(n&1)
				w.rig.in <- sensors.Reading{Channel: c.Name, At: now, Value: v, Raw: v, Cold: 25, Status: sensors.Good}
			}
		}
		w.loop.step(now)
	}
	for n := range 1000 { // into the steady state
		tick(n)
	}
	b.ReportAllocs()
	b.ResetTimer()
	for n := range b.N {
		tick(n)
	}
}
