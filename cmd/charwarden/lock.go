package main

import (
	"errors"
	"fmt"
	"net"
	"os"
	"strings"
	"syscall"
)

// boardLock is a name in the kernel's abstract socket space: there is one for
// each board, no file to go stale, and it is let go of in the moment the process
// is gone. A process that a locked-up bus keeps from dying still holds it.
const boardLock = "@charwarden/board"

// heldError says who has the board.
type heldError struct {
	pid  int
	name string
}

func (e *heldError) Error() string {
	return fmt.Sprintf("board: process %d (%s) watches this rig already: stop it first (`systemctl stop charwarden`); if it cannot be killed a bus has locked up and only a power cycle helps", e.pid, e.name)
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
