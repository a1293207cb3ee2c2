package main

import (
	"context"
	"errors"
	"net"
	"os"
	"strings"
	"testing"
	"time"
)

// A running daemon answers `check` from its own readings; before its first
// tick it says so.
func TestCheckAsksTheDaemon(t *testing.T) {
	b := newBenchRig(t, nil)
	d := &desk{path: b.cfg.Socket, rig: b.rig, signals: b.loop.core.signals, log: quiet()}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- d.Run(ctx) }()
	within(t, 5*time.Second, "the desk listens", func() bool {
		c, err := net.Dial("unix", b.cfg.Socket)
		if err == nil {
			c.Close()
		}
		return err == nil
	})
	if _, err := askRows(ctx, b.cfg.Socket, nil); err == nil || !strings.Contains(err.Error(), "no tick yet") {
		t.Errorf("before the first tick: %v", err)
	}
	b.loop.outputs = append(b.loop.outputs, d.update)
	b.loop.step(time.Now())
	rows, err := askRows(ctx, b.cfg.Socket, nil)
	if err != nil {
		t.Fatal(err)
	}
	chips, outlets := rows[:len(b.rig.places)], rows[len(b.rig.places):] // ages have no place: no chip could answer for them
	if want := 6; len(outlets) != want {
		t.Errorf("%d rows of outlets, want %d", len(outlets), want)
	}
	for _, r := range outlets {
		if r.State != "good" || r.Hint != nil {
			t.Errorf("%+v", r)
		}
	}
	for _, r := range chips {
		if r.State != "missing" || r.Value != nil || r.Hint == nil {
			t.Errorf("%+v: nothing was read yet", r)
		}
	}
	if st, err := os.Stat(b.cfg.Socket); err != nil || st.Mode().Perm() != 0o660 {
		t.Errorf("socket: %v, %v, want mode 0660", st.Mode(), err)
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
}

func TestCheckBoard(t *testing.T) {
	b := newBenchRig(t, nil)
	rows, err := checkBoard(t.Context(), b.cfg, b.sim.board, systemClock{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		want := "good"
		if r.Channel == "suction" || r.Channel == "filter_drop" {
			want = "fault" // no zero yet
		}
		if r.State != want {
			t.Errorf("%s: %s, want %s: %v", r.Channel, r.State, want, r.Hint)
		}
	}
}

func TestSecondDaemonRefuses(t *testing.T) {
	name := "@charwarden/test-" + strings.ReplaceAll(t.TempDir(), "/", "-")
	l, err := lockBoard(name)
	if err != nil {
		t.Fatal(err)
	}
	_, err = lockBoard(name)
	held := (*heldError)(nil)
	if !errors.As(err, &held) || held.pid != os.Getpid() || held.name == "unknown" {
		t.Fatalf("second lock: %v, want process %d named", err, os.Getpid())
	}
	l.Close()
	l, err = lockBoard(name)
	if err != nil {
		t.Fatalf("lock after it was let go of: %v", err)
	}
	l.Close()
}
