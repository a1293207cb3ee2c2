package main

import (
	"net"
	"sync"
)

// callers may be connected to the socket at a time; more wait in the kernel's
// queue. Without a limit a script that goes wild would take the open files that
// the state needs.
const callers = 32

// places lets in as many as there are places. (The limit that the metrics page
// has hides whose a connection is.)
type places struct {
	*net.UnixListener
	taken chan struct{}
}

func newPlaces(l *net.UnixListener) *places {
	return &places{l, make(chan struct{}, callers)}
}

// Accept waits for a place first. Whoever closes the listener closes the
// connections too, which ends that wait.
func (p *places) Accept() (net.Conn, error) {
	p.taken <- struct{}{}
	c, err := p.AcceptUnix()
	if err != nil {
		<-p.taken
		return nil, err
	}
	return &caller{UnixConn: c, leave: sync.OnceFunc(func() { <-p.taken })}, nil
}

// caller is a connection that has a place until it is closed.
type caller struct {
	*net.UnixConn
	leave func()
}

func (c *caller) Close() error {
	defer c.leave()
	return c.UnixConn.Close()
}
