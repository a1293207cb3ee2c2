package main

import (
	"context"
	"log/slog"
	"net"
	"os/user"
	"strconv"
	"sync"
	"syscall"
	"time"
)

// peerKey is where a connection's context keeps whose it is.
type peerKey struct{}

// withPeer notes who made a connection to the socket; the kernel tells, the
// caller cannot lie.
func withPeer(ctx context.Context, c net.Conn) context.Context {
	u, ok := c.(syscall.Conn)
	if !ok {
		return ctx
	}
	raw, err := u.SyscallConn()
	if err != nil {
		return ctx
	}
	var cred *syscall.Ucred
	if raw.Control(func(fd uintptr) {
		cred, err = syscall.GetsockoptUcred(int(fd), syscall.SOL_SOCKET, syscall.SO_PEERCRED)
	}) != nil || err != nil {
		return ctx
	}
	return context.WithValue(ctx, peerKey{}, cred)
}

// peer says who asks: login name, or user number where there is none, and
// process.
func peer(ctx context.Context) (person string, pid int32) {
	cred, ok := ctx.Value(peerKey{}).(*syscall.Ucred)
	if !ok {
		return "unknown", 0
	}
	person = strconv.FormatUint(uint64(cred.Uid), 10)
	if u, err := user.LookupId(person); err == nil {
		person = u.Username
	}
	return person, cred.Pid
}

// flood lets one of the refusals of a flood into the log a second, with how
// many it stands for.
type flood struct {
	mu   sync.Mutex
	last time.Time
	held int
}

func (f *flood) log(log *slog.Logger, now time.Time, about []any) {
	f.mu.Lock()
	f.held++
	n := f.held
	due := f.last.IsZero() || now.Sub(f.last) >= time.Second
	if due {
		f.last, f.held = now, 0
	}
	f.mu.Unlock()
	if due {
		log.Warn("command refused", append(about, "refused", n)...)
	}
}
