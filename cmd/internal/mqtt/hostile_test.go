package mqtt

import (
	"net"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"

	"charwarden/alarms"
)

// hostile listens and lets talk handle connection n, from 1; it is closed when
// talk returns.
func hostile(t *testing.T, talk func(n int, c net.Conn)) (url string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	go func() {
		for n := 1; ; n++ {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				defer c.Close()
				talk(n, c)
			}()
		}
	}()
	return "mqtt://" + l.Addr().String()
}

// converse reads packets until the connection ends, answers CONNECT and PING,
// and SUBSCRIBE and PUBLISH where confirm says so.
func converse(c net.Conn, confirm bool, see func(*packets.PublishPacket)) {
	for {
		pk, err := packets.ReadPacket(c)
		if err != nil {
			return
		}
		var reply packets.ControlPacket
		switch pk := pk.(type) {
		case *packets.ConnectPacket:
			reply = packets.NewControlPacket(packets.Connack)
		case *packets.PingreqPacket:
			reply = packets.NewControlPacket(packets.Pingresp)
		case *packets.SubscribePacket:
			ack := packets.NewControlPacket(packets.Suback).(*packets.SubackPacket)
			ack.MessageID, ack.ReturnCodes = pk.MessageID, []byte{0}
			reply = ack
		case *packets.PublishPacket:
			see(pk)
			if pk.Qos == 0 || !confirm {
				continue
			}
			ack := packets.NewControlPacket(packets.Puback).(*packets.PubackPacket)
			ack.MessageID = pk.MessageID
			reply = ack
		default:
			continue
		}
		if reply.Write(c) != nil {
			return
		}
	}
}

func ignore(*packets.PublishPacket) {}

// swallow reads and never answers.
func swallow(c net.Conn) {
	b := make([]byte, 4096)
	for {
		if _, err := c.Read(b); err != nil {
			return
		}
	}
}

// Whatever the broker does, the loop does not feel it, no goroutines pile up,
// and Run ends in time (which running checks).
func TestHostileBrokers(t *testing.T) {
	dead, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	dead.Close()
	for _, tc := range []struct {
		name, url string
	}{
		{"accepts and is mute", hostile(t, func(_ int, c net.Conn) { swallow(c) })},
		{"refuses the connection", "mqtt://" + dead.Addr().String()},
		{"hangs up at once", hostile(t, func(int, net.Conn) {})},
		{"speaks something else", hostile(t, func(_ int, c net.Conn) { c.Write([]byte("HTTP/1.1 400 Bad Request\r\n\r\n")) })},
		{"refuses the login", hostile(t, func(_ int, c net.Conn) { c.Write([]byte{0x20, 2, 0, 5}) })},
		{"flaps", hostile(t, func(_ int, c net.Conn) { c.Write([]byte{0x20, 2, 0, 0}); time.Sleep(30 * time.Millisecond) })},
		{"does not confirm", hostile(t, func(_ int, c net.Conn) { converse(c, false, ignore) })},
	} {
		t.Run(tc.name, func(t *testing.T) {
			before := runtime.NumGoroutine()
			p := pumpPublisher(t, pumpOpts(t, tc.url))
			stop := running(t, p)
			f := update(p)
			var slowest time.Duration
			for end := time.Now().Add(300 * time.Millisecond); time.Now().Before(end); time.Sleep(time.Millisecond) {
				begin := time.Now()
				f()
				slowest = max(slowest, time.Since(begin))
			}
			// Generous, for a busy test machine; a network wait is longer.
			if slowest > 100*time.Millisecond {
				t.Errorf("an Update took %v", slowest)
			}
			if n := runtime.NumGoroutine() - before; n > 25 {
				t.Errorf("%d more goroutines", n)
			}
			if !clientAlive() {
				t.Error("no goroutine of the client is to be seen: the check below shows nothing")
			}
			stop()
		})
	}
	// What is left of the clients above ends within their longest pause.
	eventually(t, 5*time.Second, "the clients' goroutines ended", func() bool { return !clientAlive() })
}

// clientAlive reports whether any goroutine is inside the client library.
func clientAlive() bool {
	b := make([]byte, 1<<20)
	return strings.Contains(string(b[:runtime.Stack(b, true)]), "paho%2emqtt%2egolang.")
}

// A broker that answers everything but confirms nothing gets at most
// maxFlights messages, and then a new client.
func TestStalledBrokerIsLeft(t *testing.T) {
	t.Parallel()
	var conns, unconfirmed atomic.Int64
	url := hostile(t, func(n int, c net.Conn) {
		conns.Store(int64(n))
		converse(c, n > 1, func(pk *packets.PublishPacket) {
			if n == 1 && pk.Qos == 1 {
				unconfirmed.Add(1)
			}
		})
	})
	p := pumpPublisher(t, pumpOpts(t, url))
	p.stall = 500 * time.Millisecond
	l := drive(t, p)
	running(t, p)
	for range 40 {
		l.turn(0, alarms.Unacknowledged, 655)
		l.turn(0, alarms.Normal, 480)
	}
	eventually(t, 3*time.Second, "a new client", func() bool { return conns.Load() == 2 && p.Stats().Published > 20 })
	if s := p.Stats(); s.Rebuilds != 1 || s.Dropped == 0 {
		t.Errorf("%+v, want 1 rebuild and the events of the old client counted as dropped", s)
	}
	if n := unconfirmed.Load(); n == 0 || n > maxFlights {
		t.Errorf("%d messages were left unconfirmed at a time, the bound is %d", n, maxFlights)
	}
	time.Sleep(p.stall + 300*time.Millisecond)
	if n := p.Stats().Rebuilds; n != 1 {
		t.Errorf("a broker that confirms was left too: %d rebuilds", n)
	}
}

// What was on its way when the connection broke is sent again, and only then
// the present: otherwise an old alarm state would stay retained. (That it
// waits is shown by TestSpeakWaitsForTheStore; here, what the wire carries.)
func TestOldStateNeverOvertakes(t *testing.T) {
	t.Parallel()
	var cut atomic.Pointer[net.Conn]
	var old atomic.Int64
	var mu sync.Mutex
	var fresh, resent, overtaken int
	var last string
	url := hostile(t, func(n int, c net.Conn) {
		if n == 1 {
			cut.Store(&c)
			converse(c, false, func(*packets.PublishPacket) { old.Add(1) })
			return
		}
		converse(c, true, func(pk *packets.PublishPacket) {
			time.Sleep(5 * time.Millisecond) // a slow link: sending again takes its time
			mu.Lock()
			defer mu.Unlock()
			if !pk.Dup {
				fresh++
			} else if resent++; fresh > 0 {
				overtaken++
			}
			if pk.TopicName == "charwarden/pump/alarm/wall_near_stop" {
				last = string(pk.Payload)
			}
		})
	})
	p := pumpPublisher(t, pumpOpts(t, url))
	l := drive(t, p)
	running(t, p)
	eventually(t, 3*time.Second, "the first state", func() bool { return old.Load() > 6 })
	(*cut.Load()).Close()
	l.turn(0, alarms.Unacknowledged, 655)
	eventually(t, 4*time.Second, "the state again", func() bool {
		mu.Lock()
		defer mu.Unlock()
		return fresh > 15
	})
	mu.Lock()
	defer mu.Unlock()
	if resent == 0 || overtaken > 0 {
		t.Errorf("%d messages were sent again, want some; %d of them behind new ones, want none", resent, overtaken)
	}
	if !strings.Contains(last, `"state":"unacknowledged"`) {
		t.Errorf("the broker ends up with %s", last)
	}
}
