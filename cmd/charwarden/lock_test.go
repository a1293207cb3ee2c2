package main

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"
)

// What the kernel shows of a thread inside a transfer that does not return, before
// kill -9 and after it: in the form of proc(5), shortened.
const (
	stuckAlive = "Name:\tcharwarden\nState:\tD (disk sleep)\nSigQ:\t0/1803\nSigPnd:\t0000000000000000\nShdPnd:\t0000000000000000\n"
	stuckDead  = "Name:\tcharwarden\nState:\tD (disk sleep)\nSigQ:\t1/1803\nSigPnd:\t0000000000000100\nShdPnd:\t0000000000000100\n"
)

func TestKillPending(t *testing.T) {
	for _, c := range []struct {
		status string
		want   bool
	}{
		{stuckAlive, false},
		{stuckDead, true},
		{"ShdPnd:\t0000000000000100\n", true},
		{"ShdPnd:\t0000000000004000\n", false}, // SIGTERM, which a hung daemon may keep waiting for ever
		{"SigBlk:\t0000000000000100\n", false},
		{"SigPnd:\t\n", false},
		{"", false},
	} {
		if got := killPending(c.status); got != c.want {
			t.Errorf("%q: %v", c.status, got)
		}
	}
	if killed(os.Getpid()) {
		t.Error("this process was killed")
	}
}

// A process that was stopped, killed or never was is no process that cannot die.
func TestKilledRealProcess(t *testing.T) {
	c := exec.Command("sleep", "60")
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	for _, s := range []syscall.Signal{syscall.SIGSTOP, syscall.SIGTERM} { // which it does not take while stopped
		c.Process.Signal(s)
		if killed(c.Process.Pid) {
			t.Errorf("%v counts as killed", s)
		}
	}
	c.Process.Kill()
	c.Wait()
	if killed(c.Process.Pid) {
		t.Error("what is gone counts as killed and not gone")
	}
}

func TestAwaitBoard(t *testing.T) {
	name := "@charwarden/test-" + strings.ReplaceAll(t.TempDir(), "/", "-")
	l, err := lockBoard(name)
	if err != nil {
		t.Fatal(err)
	}
	exits := func(err error, want int, text string) {
		t.Helper()
		var b bytes.Buffer
		if got := exitCode(err, &b); got != want || !strings.Contains(b.String(), text) {
			t.Errorf("exit %d with %q, want %d with %q", got, &b, want, text)
		}
	}
	alive, dying := func(int) bool { return false }, func(int) bool { return true }

	// Started by hand beside a daemon that watches: no case for a restart of the board.
	synctest.Test(t, func(t *testing.T) {
		start := time.Now()
		_, err := awaitBoard(t.Context(), name, alive)
		exits(err, exitFailed, "watches this rig already")
		if d := time.Since(start); d > 0 {
			t.Errorf("waited %v for a daemon that lives", d)
		}
	})
	synctest.Test(t, func(t *testing.T) {
		start := time.Now()
		_, err := awaitBoard(t.Context(), name, dying)
		exits(err, exitUndead, "nobody watches this rig: restart the board")
		if d := time.Since(start); d < dieWithin || d > dieWithin+time.Second {
			t.Errorf("waited %v for one that was killed", d)
		}
	})
	// One that dies late lets go of the board.
	synctest.Test(t, func(t *testing.T) {
		start := time.Now()
		got, err := awaitBoard(t.Context(), name, func(int) bool {
			if time.Since(start) > 3*time.Second {
				l.Close()
			}
			return true
		})
		if err != nil {
			t.Fatal(err)
		}
		got.Close()
	})
	if _, err := awaitBoard(t.Context(), "@"+strings.Repeat("long", 50), dying); err == nil || errors.As(err, new(*heldError)) {
		t.Errorf("a name that cannot be: %v", err)
	}
}
