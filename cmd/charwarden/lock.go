package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// boardLock is a name in the kernel's abstract socket space: there is one for
// each board, no file to go stale, and it is let go of in the moment the process
// is gone. A process that a locked-up bus keeps from dying still holds it.
const boardLock = "@charwarden/board"

// heldError says who has the board.
type heldError struct {
	pid    int
	name   string
	undead bool // it was killed and cannot die
}

func (e *heldError) Error() string {
	if e.undead {
		return fmt.Sprintf("board: process %d (%s) was killed and cannot die, because a bus has locked up: nobody watches this rig: restart the board (`systemctl reboot --force --force`); if it does not, only a power cycle helps", e.pid, e.name)
	}
	return fmt.Sprintf("board: process %d (%s) watches this rig already: stop it first (`systemctl stop charwarden`); if it cannot be killed a bus has locked up and only a power cycle helps", e.pid, e.name)
}

// dieWithin is how long a killed process may take to die: transfers that time
// out end in seconds, a controller that has locked up never ends.
const dieWithin = 10 * time.Second

// awaitBoard takes the board. It waits for a holder that was killed and is not
// gone yet, and for no other.
func awaitBoard(ctx context.Context, name string, killed func(pid int) bool) (net.Listener, error) {
	const every = 100 * time.Millisecond
	for left := dieWithin; ; left -= every {
		l, err := lockBoard(name)
		held := (*heldError)(nil)
		if !errors.As(err, &held) || !killed(held.pid) {
			return l, err
		}
		if left <= 0 {
			held.undead = true
			return nil, held
		}
		wait(ctx, every)
		if ctx.Err() != nil {
			return nil, held
		}
	}
}

// lockBoard takes the board for this process until the listener is closed.
// Where another has it the error is a *heldError.
func lockBoard(name string) (net.Listener, error) {
	l, err := net.Listen("unix", name)
	if !errors.Is(err, syscall.EADDRINUSE) {
		return l, err
	}
	return nil, holder(name)
}

// holder asks the kernel who listens; the holder itself need not be alive
// enough to answer.
func holder(name string) error {
	c, err := net.Dial("unix", name)
	if err != nil {
		return fmt.Errorf("board: another process watches this rig already and does not answer: %w", err)
	}
	defer c.Close()
	raw, err := c.(*net.UnixConn).SyscallConn()
	if err != nil {
		return fmt.Errorf("board: %w", err)
	}
	held := &heldError{name: "unknown"}
	if cerr := raw.Control(func(fd uintptr) {
		var cred *syscall.Ucred
		if cred, err = syscall.GetsockoptUcred(int(fd), syscall.SOL_SOCKET, syscall.SO_PEERCRED); err == nil {
			held.pid = int(cred.Pid)
		}
	}); cerr != nil {
		return fmt.Errorf("board: %w", cerr)
	}
	if b, err := os.ReadFile(fmt.Sprintf("/proc/%d/comm", held.pid)); err == nil {
		held.name = strings.TrimSpace(string(b))
	}
	return held
}

// killed reports whether SIGKILL waits for a thread of the process: nothing that
// lives keeps that signal waiting, but a thread inside a call of the kernel that
// does not return. A call that merely takes long shows no such signal.
func killed(pid int) bool {
	tasks, _ := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/status", pid))
	for _, path := range tasks {
		b, err := os.ReadFile(path)
		if err == nil && killPending(string(b)) {
			return true
		}
	}
	return false
}

// killPending reads a /proc/PID/task/TID/status (proc(5)): SigPnd is the mask of
// signals that wait for the thread, ShdPnd of those for the whole process, bit
// n-1 for signal n.
func killPending(status string) bool {
	for line := range strings.Lines(status) {
		key, mask, _ := strings.Cut(line, ":")
		if key != "SigPnd" && key != "ShdPnd" {
			continue
		}
		if m, err := strconv.ParseUint(strings.TrimSpace(mask), 16, 64); err == nil && m&(1<<(syscall.SIGKILL-1)) != 0 {
			return true
		}
	}
	return false
}
