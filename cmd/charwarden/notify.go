package main

import (
	"fmt"
	"net"
	"os"
	"strings"
	"time"

	"charwarden/alarms"
)

// notifier tells systemd that the daemon is ready and alive, and in one line how
// the rig is (sd_notify(3)). Without NOTIFY_SOCKET it is silent. A receiver that
// does not read costs the loop at most a millisecond.
type notifier struct {
	conn  net.Conn
	ready bool
	began time.Time // first tick
	fed   time.Time
	said  outlook // as said last
}

// feedEvery is how often the watchdog is fed; the unit allows 10 s.
const feedEvery = time.Second

// readyWithin bounds how long a start waits for channels that do not answer. A
// hung bus becomes a fault after 1 to 3 s; the rig is watched before that, and
// whoever waits for the start must not wait for a bus.
const readyWithin = time.Second

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

// tick is called at the end of each completed tick. The daemon is ready once
// every channel has answered or is a reported fault.
func (n *notifier) tick(f *frame, answered bool) {
	if n.conn == nil {
		return
	}
	if n.began.IsZero() {
		n.began = f.now
	}
	var said []string
	if !n.ready && (answered || f.now.Sub(n.began) >= readyWithin) {
		n.ready = true
		said = append(said, "READY=1")
	}
	feed := f.now.Sub(n.fed) >= feedEvery
	if feed {
		n.fed = f.now
		said = append(said, "WATCHDOG=1")
	}
	if len(said) == 0 {
		return
	}
	if o := outlookOf(f, answered); n.ready && o != n.said {
		n.said = o
		said = append(said, "STATUS="+o.String())
	}
	n.say(strings.Join(said, "\n"))
}

// stopping says that the end is meant.
func (n *notifier) stopping() { n.say("STOPPING=1\nSTATUS=stopping: nobody is watching the rig") }

// outlook is what the line of `systemctl status` is made of.
type outlook struct {
	watching bool         // always, but for the zero value
	worst    *alarms.Rule // of those that stand; of one priority the one that came first
	state    alarms.State // of that one
	stand    int
	answered bool
}

func outlookOf(f *frame, answered bool) outlook {
	o := outlook{watching: true, answered: answered}
	var order uint64
	for i := range f.alarms {
		a := &f.alarms[i]
		if !a.State.Standing() {
			continue
		}
		o.stand++
		if o.worst == nil || a.Rule.Priority > o.worst.Priority || a.Rule.Priority == o.worst.Priority && a.Order < order {
			o.worst, o.state, order = a.Rule, a.State, a.Order
		}
	}
	return o
}

func (o outlook) String() string {
	line := "watching; no alarm stands"
	if o.worst != nil {
		line = fmt.Sprintf("watching; %s: %s %s", o.worst.Priority, o.worst.Name, o.state)
	}
	if o.stand > 1 {
		line += fmt.Sprintf(", and %d more", o.stand-1)
	}
	if !o.answered {
		line += "; not every channel has answered yet"
	}
	return line
}
