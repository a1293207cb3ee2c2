package mqtt

import (
	"io"
	"net"
	"sync"
	"sync/atomic"
	"testing"
)

// wire is a piece of network before a broker, that can break.
type wire struct {
	url   string
	down  atomic.Bool // new connections are not let through
	mu    sync.Mutex
	conns []net.Conn
}

func lay(t *testing.T, broker string) *wire {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w := &wire{url: "mqtt://" + l.Addr().String()}
	go func() {
		for {
			in, err := l.Accept()
			if err != nil {
				return
			}
			if w.down.Load() {
				in.Close()
				continue
			}
			out, err := net.Dial("tcp", broker)
			if err != nil {
				in.Close()
				continue
			}
			w.mu.Lock()
			w.conns = append(w.conns, in, out)
			w.mu.Unlock()
			carry := func(to, from net.Conn) {
				io.Copy(to, from)
				to.Close()
				from.Close()
			}
			go carry(in, out)
			go carry(out, in)
		}
	}()
	t.Cleanup(func() { l.Close(); w.sever() })
	return w
}

// sever breaks all connections of the wire.
func (w *wire) sever() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, c := range w.conns {
		c.Close()
	}
	w.conns = nil
}
