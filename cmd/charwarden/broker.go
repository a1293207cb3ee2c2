package main

import (
	"fmt"
	"io"
	"log/slog"
	"sync"

	broker "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/hooks/auth"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
)

// demoBroker is the MQTT broker of `demo`, so that a newcomer needs none. The
// library behind it is small and complete but not actively kept, which is why
// `run` never uses it, why it listens on loopback only, and why this type is
// all that the rest of the program sees of it.
type demoBroker struct {
	addr string // of the listener, kept over a restart

	mu  sync.Mutex
	srv *broker.Server
}

// The library's package of packets holds 0.4 MB of cases for its own tests, in
// every program and for as long as it runs.
func init() { packets.TPacketData = nil }

// start listens, on a free port the first time and on the same one later.
func (b *demoBroker) start() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	limits := broker.NewDefaultServerCapabilities()
	limits.MaximumClients, limits.MaximumPacketSize = 16, 16<<10
	limits.MaximumInflight, limits.MaximumSessionExpiryInterval = 256, 3600
	srv := broker.New(&broker.Options{Capabilities: limits, Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	addr := b.addr
	if addr == "" {
		addr = "127.0.0.1:0"
	}
	l := listeners.NewTCP(listeners.Config{ID: "demo", Address: addr})
	if err := srv.AddHook(new(auth.AllowHook), nil); err != nil {
		return fmt.Errorf("demo broker: %w", err)
	}
	if err := srv.AddListener(l); err != nil {
		return fmt.Errorf("demo broker: %w", err)
	}
	if err := srv.Serve(); err != nil {
		return fmt.Errorf("demo broker: %w", err)
	}
	b.addr, b.srv = l.Address(), srv
	return nil
}

// stop drops every client and the listener; what it retained is forgotten.
func (b *demoBroker) stop() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.srv != nil {
		b.srv.Close()
		b.srv = nil
	}
}
