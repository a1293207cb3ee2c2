package main

import (
	"context"
	"encoding/json"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"

	"charwarden/sensors"
)

// hornBoard is the canned board with a horn that notes when it is switched on.
type hornBoard struct {
	*cannedBoard
	name string
	on   chan time.Time
}

func (b hornBoard) Pin(name string) (gpio.PinIO, error) {
	p, err := b.cannedBoard.Pin(name)
	if name != b.name {
		return p, err
	}
	return &hornPin{PinIO: p, on: b.on}, err
}

type hornPin struct {
	gpio.PinIO
	on chan time.Time
}

func (p *hornPin) Out(l gpio.Level) error {
	if l == gpio.High {
		select {
		case p.on <- time.Now():
		default: // only the first edge of a pattern counts
		}
	}
	return nil
}

// BenchmarkHornToSubscriber is the time from the write of the horn's pin, in
// the loop's tick, to the alarm at mosquitto_sub. Aim for p99: 50 ms.
func BenchmarkHornToSubscriber(b *testing.B) {
	broker := startMosquitto(b)
	cfg := refConfig(b, "tcp://"+broker, "127.0.0.1:9455")
	cfg.Metrics.Listen = ""
	only(cfg, "co_evacuate").OffDelay = 0 // so that it can be raised again and again
	board := hornBoard{newCannedBoard(), cfg.Outputs.Horn, make(chan time.Time, 1)}
	w := &watch{cfg: cfg, board: board, clock: systemClock{}, log: quiet()}
	if err := w.assemble(); err != nil {
		b.Fatal(err)
	}
	for _, p := range w.parts { // the chips are this benchmark's
		if p.name == "mqtt" || p.name == "state" || p.name == "siren" {
			ctx, cancel := context.WithCancel(context.Background())
			done := make(chan struct{})
			go func() { p.run(ctx); close(done) }()
			b.Cleanup(func() { cancel(); <-done })
		}
	}
	lines := subscriber(b, broker, "charwarden/pump/alarm/co_evacuate")
	n := 0
	tick := func(co float64) {
		time.Sleep(10 * time.Millisecond) // ten times the daemon's pace
		now := time.Now()
		for _, c := range cfg.Channels {
			v := 20 + float64(n%7)/100
			if c.Name == "co" {
				v = co
			}
			w.rig.in <- sensors.Reading{Channel: c.Name, At: now, Value: v, Raw: v, Cold: 20, Status: sensors.Good}
		}
		n++
		w.loop.step(now)
	}
	for !w.mqtt.Stats().Connected {
		tick(1)
	}
	for range 300 { // until it has said all that it retains
		tick(1)
	}
	rule := only(cfg, "co_evacuate")
	for b.Loop() {
		var took []time.Duration
		for range 200 {
			for len(board.on) > 0 { // an edge of the pattern before
				<-board.on
			}
			tick(250)
			t0 := <-board.on
			for { // the newest occurrence, not what came before it
				l := <-lines
				var m struct{ State string }
				if json.Unmarshal([]byte(l.text), &m) == nil && m.State == "unacknowledged" && l.at.After(t0) {
					took = append(took, l.at.Sub(t0))
					break
				}
			}
			w.loop.requests <- func(now time.Time, c *core) {
				for _, a := range c.engine.Alarms(nil) { // whatever else calls would sound on
					if t, err := c.engine.Acknowledge(now, a.Rule.Name, 0); err == nil {
						c.made = append(c.made, t)
					}
				}
			}
			for range 10 {
				tick(1)
			}
			w.loop.requests <- func(now time.Time, c *core) {
				if t, err := c.engine.Reset(now, rule.Name); err == nil {
					c.made = append(c.made, t)
				} else {
					b.Errorf("reset: %v", err)
				}
			}
			tick(1)
		}
		quantiles(b, "", took)
	}
	b.ReportMetric(0, "ns/op")
}
