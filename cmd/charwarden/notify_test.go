package main

import (
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"charwarden/alarms"
)

// ear is a notify socket and what it heard.
func ear(t *testing.T) (*notifier, func() string) {
	t.Helper()
	path := t.TempDir() + "/notify"
	c, err := net.ListenPacket("unixgram", path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	t.Setenv("NOTIFY_SOCKET", path)
	buf := make([]byte, 512)
	return newNotifier(), func() string {
		c.SetReadDeadline(time.Now().Add(50 * time.Millisecond))
		k, _, err := c.ReadFrom(buf)
		if err != nil {
			return "nothing"
		}
		return strings.ReplaceAll(string(buf[:k]), "\n", "|")
	}
}

// READY is earned by the first complete sweep, a watchdog's food by ticks.
func TestNotify(t *testing.T) {
	n, heard := ear(t)
	start := time.Now()
	for _, c := range []struct {
		after    time.Duration
		answered bool
		want     string
	}{
		{0, false, "WATCHDOG=1"},
		{400 * time.Millisecond, false, "nothing"},
		{500 * time.Millisecond, true, "READY=1|STATUS=watching; no alarm stands"},
		{900 * time.Millisecond, true, "nothing"},
		{1100 * time.Millisecond, true, "WATCHDOG=1"},
		{2100 * time.Millisecond, true, "WATCHDOG=1"},
	} {
		n.tick(&frame{now: start.Add(c.after)}, c.answered)
		if got := heard(); got != c.want {
			t.Errorf("%v: said %q, want %q", c.after, got, c.want)
		}
	}
	n.stopping()
	if got, want := heard(), "STOPPING=1|STATUS=stopping: nobody is watching the rig"; got != want {
		t.Errorf("at the end said %q, want %q", got, want)
	}
}

// A bus that hangs from the start holds back no boot; that it has not answered
// is said.
func TestNotifyWithoutAnswer(t *testing.T) {
	n, heard := ear(t)
	start := time.Now()
	const waiting = "watching; no alarm stands; not every channel has answered yet"
	for _, c := range []struct {
		after    time.Duration
		answered bool
		want     string
	}{
		{0, false, "WATCHDOG=1"},
		{900 * time.Millisecond, false, "nothing"},
		{1000 * time.Millisecond, false, "READY=1|WATCHDOG=1|STATUS=" + waiting},
		{2 * time.Second, false, "WATCHDOG=1"},
		{3 * time.Second, true, "WATCHDOG=1|STATUS=watching; no alarm stands"},
	} {
		n.tick(&frame{now: start.Add(c.after)}, c.answered)
		if got := heard(); got != c.want {
			t.Errorf("%v: said %q, want %q", c.after, got, c.want)
		}
	}
}

// The line names the worst that stands, of one priority what came first.
func TestNotifyStatus(t *testing.T) {
	alarm := func(name string, p alarms.Priority, s alarms.State, order uint64) alarms.Alarm {
		return alarms.Alarm{Rule: &alarms.Rule{Name: name, Priority: p}, State: s, Order: order}
	}
	for _, c := range []struct {
		all  []alarms.Alarm
		want string
	}{
		{nil, "watching; no alarm stands"},
		{[]alarms.Alarm{alarm("suction_fault", alarms.Caution, alarms.Normal, 3)}, "watching; no alarm stands"},
		{[]alarms.Alarm{alarm("wall_near_stop", alarms.High, alarms.Shelved, 1), alarm("filter_in_caution", alarms.Caution, alarms.Returned, 2)},
			"watching; caution: filter_in_caution returned"},
		{[]alarms.Alarm{alarm("wall_near_stop", alarms.High, alarms.Acknowledged, 4), alarm("wall_far_stop", alarms.High, alarms.Unacknowledged, 2),
			alarm("suction_fault", alarms.Caution, alarms.Unacknowledged, 1)},
			"watching; alarm: wall_far_stop unacknowledged, and 2 more"},
	} {
		if got := outlookOf(&frame{alarms: c.all}, true).String(); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

// A change of the alarms is said with the next feed, and once.
func TestNotifyStatusChanges(t *testing.T) {
	n, heard := ear(t)
	now := time.Now()
	n.tick(&frame{now: now}, true)
	heard()
	f := &frame{alarms: []alarms.Alarm{{Rule: &alarms.Rule{Name: "co_evacuate", Priority: alarms.Evacuate}, State: alarms.Unacknowledged}}}
	for _, want := range []string{"WATCHDOG=1|STATUS=watching; evacuate: co_evacuate unacknowledged", "WATCHDOG=1"} {
		now = now.Add(feedEvery)
		f.now = now
		n.tick(f, true)
		if got := heard(); got != want {
			t.Errorf("said %q, want %q", got, want)
		}
	}
	f.alarms[0].State = alarms.Acknowledged
	f.now = now.Add(feedEvery)
	n.tick(f, true)
	if got, want := heard(), "WATCHDOG=1|STATUS=watching; evacuate: co_evacuate acknowledged"; got != want {
		t.Errorf("said %q, want %q", got, want)
	}
}

// From the first tick to READY at most 1 s, whatever hangs from the start: the
// engine's speed alone needs that long to be known as none. The fault of the
// channels is said when their time is up.
func TestReadyInTime(t *testing.T) {
	for _, hangs := range []string{"nothing", "/dev/i2c-1", "/dev/spidev0.0"} {
		t.Run(hangs, func(t *testing.T) {
			n, _ := ear(t)
			synctest.Test(t, func(t *testing.T) {
				b := newBenchRig(t, nil)
				if hangs != "nothing" {
					b.sim.board.Hang(hangs, -1)
				}
				var took time.Duration
				b.loop.alive = n
				b.loop.outputs = append(b.loop.outputs, func(f *frame) { // sees what the tick before said
					if took == 0 && n.ready {
						took = f.now.Sub(n.began)
					}
				})
				b.play(t, 5*time.Second, nil)
				if most := readyWithin + b.cfg.Tick; took == 0 || took > most {
					t.Errorf("ready after %v (0: never), want within %v", took, most)
				}
				for alarm, bus := range map[string]string{"co_fault": "/dev/i2c-1", "wall_near_fault": "/dev/spidev0.0"} {
					if _, faulty := b.came(alarm, b.loop.core.base); faulty != (bus == hangs) {
						t.Errorf("%s came: %v", alarm, faulty)
					}
				}
			})
		})
	}
}
