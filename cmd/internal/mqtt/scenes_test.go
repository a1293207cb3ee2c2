package mqtt

import (
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"charwarden/alarms"
)

// The scenes below are played on more than one broker.

func contains(s string) func(heard) bool {
	return func(h heard) bool { return strings.Contains(h.payload, s) }
}

func equals(s string) func(heard) bool {
	return func(h heard) bool { return h.payload == s }
}

const watching = "watching since 2026-05-03T09:12:00Z"

// seesAll waits until the phone knows every retained topic of the rig.
func seesAll(t *testing.T, e *ear, within time.Duration) {
	t.Helper()
	eventually(t, within, "birth", func() bool { return e.has("status", equals(watching)) })
	for _, c := range pumpChannels {
		eventually(t, within, "reading of "+c.Name, func() bool { return e.has("reading/"+c.Name, contains(`"status":"good"`)) })
	}
	for _, r := range pumpRules {
		eventually(t, within, "alarm "+r.Name, func() bool { return e.has("alarm/"+r.Name, contains(`"name":"`+r.Name)) })
	}
	eventually(t, within, "summary", func() bool { return e.has("summary", contains(`"phase":"running"`)) })
}

// sceneBirth: everything is retained, for a phone that comes late too, and the
// heart beats.
func sceneBirth(t *testing.T, broker string) {
	p := pumpPublisher(t, pumpOpts(t, broker))
	drive(t, p)
	running(t, p)
	eventually(t, 3*time.Second, "connected", func() bool { return p.Stats().Connected })
	early := listen(t, broker, "early", nil)
	seesAll(t, early, 2*time.Second)
	late := listen(t, broker, "late", nil)
	seesAll(t, late, 2*time.Second)
	late.mu.Lock()
	for _, h := range late.heard {
		if !h.retained && !strings.HasSuffix(h.topic, "heartbeat") && !strings.Contains(h.topic, "/reading/") {
			t.Errorf("%s came to the late phone, but not as retained", h.topic)
		}
	}
	late.mu.Unlock()
	eventually(t, 3*time.Second, "heartbeat", func() bool { return late.has("heartbeat", contains("beat ")) })
}

// sceneEdges: an alarm's edge is with the phone within a second, as state, as
// a line and as an event; so is its return.
func sceneEdges(t *testing.T, broker string) {
	p := pumpPublisher(t, pumpOpts(t, broker))
	l := drive(t, p)
	running(t, p)
	eventually(t, 3*time.Second, "connected", func() bool { return p.Stats().Connected })
	e := listen(t, broker, "phone", nil)
	seesAll(t, e, 2*time.Second)

	l.turn(0, alarms.Unacknowledged, 655.25)
	eventually(t, time.Second, "alarm state", func() bool {
		return e.has("alarm/wall_near_stop", contains(`"state":"unacknowledged","value":655.25,"limit":650`))
	})
	eventually(t, time.Second, "line", func() bool {
		return e.has("notify", func(h heard) bool {
			return strings.HasPrefix(h.payload, "ALARM wall_near_stop") && strings.HasSuffix(h.payload, "ack: wall_near_stop 1")
		})
	})
	eventually(t, time.Second, "event", func() bool { return e.has("events", contains(`"to":"unacknowledged"`)) })
	eventually(t, time.Second, "summary", func() bool { return e.has("summary", contains(`"worst":"alarm"`)) })
	l.turn(0, alarms.Acknowledged, 655.25)
	l.turn(0, alarms.Normal, 480)
	eventually(t, time.Second, "return", func() bool {
		return e.has("notify", contains("back to normal")) && e.has("alarm/wall_near_stop", contains(`"seq":1`)) &&
			e.has("events", contains(`"from":"acknowledged","to":"normal"`))
	})
	if n := p.Stats().Dropped; n != 0 {
		t.Errorf("dropped %d", n)
	}
}

// sceneWill: the broker speaks for a daemon whose connection breaks; the
// daemon comes back and says everything again; an orderly end says so.
func sceneWill(t *testing.T, broker string) {
	w := lay(t, strings.TrimPrefix(broker, "mqtt://"))
	p := pumpPublisher(t, pumpOpts(t, w.url))
	drive(t, p)
	stop := running(t, p)
	eventually(t, 3*time.Second, "connected", func() bool { return p.Stats().Connected })
	e := listen(t, broker, "phone", nil)
	seesAll(t, e, 2*time.Second)
	e.forget()
	w.down.Store(true)
	w.sever()
	eventually(t, 3*time.Second, "will", func() bool { return e.has("status", equals(willLine)) })
	meanwhile := listen(t, broker, "meanwhile", nil)
	eventually(t, time.Second, "retained will", func() bool {
		return meanwhile.has("status", func(h heard) bool { return h.retained && h.payload == willLine })
	})
	w.down.Store(false)
	seesAll(t, e, 5*time.Second)
	if got := p.Stats().Connects; got != 2 {
		t.Errorf("%d connects, want 2", got)
	}
	e.forget()
	begin := time.Now()
	stop()
	if d := time.Since(begin); d > 2*time.Second {
		t.Errorf("leaving took %v", d)
	}
	eventually(t, time.Second, "last words", func() bool {
		return e.has("status", contains("WATCH LOST: stopped by the operator at "))
	})
	time.Sleep(200 * time.Millisecond)
	if e.has("status", equals(willLine)) {
		t.Error("the will spoke after an orderly end")
	}
	after := listen(t, broker, "after", nil)
	eventually(t, time.Second, "retained last words", func() bool {
		return after.has("status", func(h heard) bool { return h.retained && strings.HasPrefix(h.payload, "WATCH LOST: stopped") })
	})
}

// sceneCommands: what a phone asks for arrives; what it may not ask for, and
// what was retained, does not.
func sceneCommands(t *testing.T, broker string) {
	e := listen(t, broker, "phone", nil)
	e.say(t, "charwarden/pump/do/kim/note", "retained before", true)
	var mu sync.Mutex
	var got []string
	o := pumpOpts(t, broker)
	o.OnCommand = func(c Command) {
		mu.Lock()
		defer mu.Unlock()
		got = append(got, fmt.Sprint(c.Person, "/", c.Verb, "/", c.Text))
	}
	p := pumpPublisher(t, o)
	drive(t, p)
	running(t, p)
	seesAll(t, e, 3*time.Second)
	has := func(want string) bool {
		mu.Lock()
		defer mu.Unlock()
		for _, g := range got {
			if g == want {
				return true
			}
		}
		return false
	}
	// The subscription follows the state: ask until it is there.
	eventually(t, 3*time.Second, "silence", func() bool {
		e.say(t, "charwarden/pump/do/kim/silence", "", false)
		return has("kim/silence/")
	})
	e.say(t, "charwarden/pump/do/kim/reset", "co_evacuate", false)
	e.say(t, "charwarden/pump/do/kim/note", strings.Repeat("x", 257), false)
	e.say(t, "charwarden/pump/do/lee/ack", "wall_near_stop 3", false)
	eventually(t, time.Second, "ack", func() bool { return has("lee/ack/wall_near_stop 3") })
	time.Sleep(50 * time.Millisecond)
	mu.Lock()
	defer mu.Unlock()
	for _, g := range got {
		if g != "kim/silence/" && g != "lee/ack/wall_near_stop 3" {
			t.Errorf("let through: %.60q", g)
		}
	}
}

// sceneRestart: after a broker that lost everything comes back, everything is
// said again, and what became of the alarms meanwhile is known.
func sceneRestart(t *testing.T, broker string, kill func(), again func()) {
	p := pumpPublisher(t, pumpOpts(t, broker))
	l := drive(t, p)
	running(t, p)
	eventually(t, 3*time.Second, "connected", func() bool { return p.Stats().Connected })
	seesAll(t, listen(t, broker, "before", nil), 2*time.Second)
	kill()
	eventually(t, 3*time.Second, "not connected", func() bool { return !p.Stats().Connected })
	l.turn(1, alarms.Unacknowledged, 230)
	again()
	eventually(t, 5*time.Second, "connected again", func() bool { return p.Stats().Connected })
	e := listen(t, broker, "after", nil)
	seesAll(t, e, 2*time.Second)
	eventually(t, time.Second, "an alarm of the time between", func() bool {
		return e.has("alarm/co_evacuate", contains(`"state":"unacknowledged","value":230`)) &&
			e.has("notify", contains("EVACUATE co_evacuate"))
	})
}
