package main

import (
	"net"
	"os"
	"time"
)

// notifier tells systemd that the daemon is ready and alive (sd_notify(3)).
// Without NOTIFY_SOCKET it is silent. A receiver that does not read costs the
// loop at most a millisecond.
type notifier struct {
	conn  net.Conn
	ready bool
	fed   time.Time
}

// feedEvery is how often the watchdog is fed; the unit allows 10 s.
const feedEvery = time.Second

func newNotifier() *notifier {
	path := os.Getenv("NOTIFY_SOCKET")
	if path == "" {
		return &notifier{}
	}
	c, err := net.Dial("unixgram", path)
	if err != nil {
		return &notifier{}
	}
	return &notifier{conn: c}
}

func (n *notifier) say(s string) {
	if n.conn != nil {
		n.conn.SetWriteDeadline(time.Now().Add(time.Millisecond))
		n.conn.Write([]byte(s))
	}
}

// tick is called at the end of each completed tick.
func (n *notifier) tick(now time.Time, answered bool) {
	if !n.ready && answered {
		n.ready = true
		n.say("READY=1\nSTATUS=watching")
	}
	if now.Sub(n.fed) >= feedEvery {
		n.fed = now
		n.say("WATCHDOG=1")
	}
}
