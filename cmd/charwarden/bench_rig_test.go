package main

import (
	"context"
	"io"
	"log/slog"
	"sync"
	"testing"
	"time"

	"charwarden/config"
	"charwarden/sensors"
)

// bubbleClock is the system's clock, which a synctest bubble fakes.
type bubbleClock struct{ systemClock }

// quiet is a log that nobody reads.
func quiet() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// benchRig is the reference rig with simulated chips at rest, and the daemon
// on it without outputs to the network.
type benchRig struct {
	*watch
	sim    *simRig
	frames []frame // of ticks with transitions; for after the run

	mu   sync.Mutex
	last map[string]sensors.Status // of the last tick; at any time
}

// newBenchRig builds it in the directory of the test. edit may change the
// configuration.
func newBenchRig(t *testing.T, edit func(*config.Config)) *benchRig {
	t.Helper()
	cfg, err := config.Parse("reference.toml", config.Reference())
	if err != nil {
		t.Fatal(err)
	}
	cfg = withoutBoard(cfg)
	dir := t.TempDir()
	cfg.State, cfg.Socket = dir, dir+"/socket"
	cfg.RunLog.Dir = ""
	cfg.MQTT.Broker, cfg.Metrics.Listen = "", ""
	if edit != nil {
		edit(cfg)
	}
	clock := bubbleClock{}
	s, err := newSimRig(cfg, clock, 1)
	if err != nil {
		t.Fatal(err)
	}
	b := &benchRig{sim: s, last: make(map[string]sensors.Status)}
	b.watch = &watch{cfg: cfg, board: s.board, clock: clock, log: quiet()}
	b.more = []output{b.keepFrame}
	if err := b.assemble(); err != nil {
		t.Fatal(err)
	}
	b.parts = b.parts[:0] // no state file, no socket: only the buses
	for _, o := range b.rig.owners {
		b.parts = append(b.parts, part{"bus " + o.Name(), o.Run})
	}
	return b
}

func (b *benchRig) keepFrame(f *frame) {
	b.mu.Lock()
	for _, r := range f.readings {
		b.last[r.Channel] = r.Status
	}
	b.mu.Unlock()
	if len(f.transitions) > 0 {
		g := *f
		g.transitions = append(g.transitions[:0:0], f.transitions...)
		b.frames = append(b.frames, g)
	}
}

// play runs the daemon for a time and then lets go of every hung bus.
func (b *benchRig) play(t *testing.T, d time.Duration, during func()) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), d)
	defer cancel()
	done := make(chan error, 1)
	go func() { done <- b.start(ctx) }()
	if during != nil {
		during()
	}
	<-ctx.Done()
	for _, a := range b.cfg.ADCs {
		b.sim.board.Heal(a.Bus)
	}
	for _, c := range b.cfg.Thermocouples {
		b.sim.board.Heal(c.Port)
	}
	if err := <-done; err != nil {
		t.Error(err)
	}
}

// status of a channel in the last frame.
func (b *benchRig) status(channel string) string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.last[channel].String()
}

// came reports when an alarm was first raised, counted from the start.
func (b *benchRig) came(name string, start time.Time) (time.Duration, bool) {
	for _, f := range b.frames {
		for _, tr := range f.transitions {
			if tr.Rule.Name == name && tr.Annunciates() {
				return tr.At.Sub(start), true
			}
		}
	}
	return 0, false
}
