package main

import (
	"bufio"
	"fmt"
	"io"
	"net/http"
	"os"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"golang.org/x/sys/unix"

	"charwarden/cmd/internal/names"
	"charwarden/config"
)

// A process that is stopped for half a minute, by a debugger or a board that
// swaps: the phone hears that nobody watches, and after it the daemon says that
// it was late, and goes on. What came meanwhile is told at once.
func TestStoppedForHalfAMinute(t *testing.T) {
	if testing.Short() {
		t.Skip("takes 40 s")
	}
	broker := startMosquitto(t)
	page := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	kim := newHandset(t, broker, "kim", "")
	daemon, in := startDaemon(t, "tcp://"+broker, page, t.TempDir())
	within(t, 10*time.Second, "birth", kim.hears("status", "watching since "))
	within(t, 10*time.Second, "a reading", kim.hears("reading/co", `"status":"good"`))
	kim.forget()
	daemon.Process.Signal(syscall.SIGSTOP)
	began := time.Now()
	io.WriteString(in, "3.3\n") // meanwhile the cell goes to the rail
	within(t, 29*time.Second, "the will", kim.hears("status", "WATCH LOST"))
	t.Logf("the phone hears it after %v", time.Since(began).Round(time.Second))
	if kim.newest("heartbeat") != "" && time.Since(began) > 15*time.Second {
		kim.forget()
		time.Sleep(3 * time.Second)
		if kim.newest("heartbeat") != "" {
			t.Error("a daemon that stands still has a heartbeat")
		}
	}
	time.Sleep(30*time.Second - time.Since(began))
	daemon.Process.Signal(syscall.SIGCONT)
	within(t, 10*time.Second, "birth again", kim.hears("status", "watching since "))
	within(t, 10*time.Second, "what came meanwhile", kim.hears("alarm/co_evacuate", `"state":"unacknowledged"`))
	within(t, 5*time.Second, "that it was late", func() bool {
		return strings.Contains(daemon.Stderr.(*safeLog).String(), "alarm=tick_late_caution")
	})
	within(t, 10*time.Second, "a reading again", kim.hears("reading/wall_near", `"status":"good"`))
	was := gauges(t, page)
	if was[names.TicksMissed] < 250 {
		t.Errorf("%v ticks are told as missed, of 30 s", was[names.TicksMissed])
	}
	time.Sleep(2 * time.Second)
	is := gauges(t, page)
	if n := is[names.Ticks] - was[names.Ticks]; n < 15 || is[names.TicksMissed] > was[names.TicksMissed]+2 {
		t.Errorf("%v ticks in 2 s, %v more missed", n, is[names.TicksMissed]-was[names.TicksMissed])
	}
}

// memory of a process by /proc: its line of status in kB.
func memory(t *testing.T, pid int, line string) int {
	t.Helper()
	f, err := os.Open(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for lines := bufio.NewScanner(f); lines.Scan(); {
		if rest, ok := strings.CutPrefix(lines.Text(), line+":"); ok {
			n, err := strconv.Atoi(strings.Fields(rest)[0])
			if err != nil {
				t.Fatal(err)
			}
			return n
		}
	}
	t.Fatalf("no %s", line)
	return 0
}

// A soft limit below what the daemon needs costs time, not the watch.
func TestMemoryLimitOfTheRuntime(t *testing.T) {
	t.Setenv("GOMEMLIMIT", "4MiB")
	page := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	daemon, _ := startDaemon(t, "", page, t.TempDir())
	within(t, 10*time.Second, "the page", func() bool { return scrape(page) == nil })
	was, began := gauges(t, page), time.Now()
	for range 20 {
		if err := scrape(page); err != nil {
			t.Error(err)
		}
		time.Sleep(250 * time.Millisecond)
	}
	is := gauges(t, page)
	n, missed := is[names.Ticks]-was[names.Ticks], is[names.TicksMissed]-was[names.TicksMissed]
	if want := 10 * time.Since(began).Seconds(); n < want/2 || n+missed < 0.85*want {
		t.Errorf("%v ticks and %v missed, want %.0f", n, missed, want)
	}
	t.Logf("%v ticks, %v missed", n, missed)
	t.Logf("%d kB resident", memory(t, daemon.Process.Pid, "VmRSS"))
}

// The system gives no more memory. Either the daemon does with what it has, or
// it ends and says so, and the next one stands by what stood: never a daemon
// that is there and does not watch.
func TestMemoryRefused(t *testing.T) {
	dir, page := t.TempDir(), fmt.Sprintf("127.0.0.1:%d", freePort(t))
	daemon, in := startDaemon(t, "", page, dir)
	log := daemon.Stderr.(*safeLog)
	io.WriteString(in, "3.3\n")
	within(t, 10*time.Second, "evacuate", func() bool {
		return strings.Contains(log.String(), "alarm=co_evacuate priority=evacuate from=normal to=unacknowledged")
	})
	limit := uint64(memory(t, daemon.Process.Pid, "VmData")) << 10
	if err := unix.Prlimit(daemon.Process.Pid, unix.RLIMIT_DATA, &unix.Rlimit{Cur: limit, Max: limit}, nil); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- daemon.Wait() }()
	died := false
	for end := time.Now().Add(15 * time.Second); time.Now().Before(end) && !died; {
		for range 8 { // pages that nobody reads to the end need memory
			go func() {
				if resp, err := http.Get("http://" + page + "/metrics"); err == nil {
					time.Sleep(time.Second)
					resp.Body.Close()
				}
			}()
		}
		select {
		case <-ended:
			died = true
		case <-time.After(200 * time.Millisecond):
		}
	}
	t.Logf("died: %v", died)
	if !died {
		was := gauges(t, page)
		time.Sleep(2 * time.Second)
		if n := gauges(t, page)[names.Ticks] - was[names.Ticks]; n < 15 {
			t.Fatalf("%v ticks in 2 s: it is there and does not watch", n)
		}
		daemon.Process.Kill()
		<-ended
	} else if !slices.ContainsFunc([]string{"out of memory", "cannot allocate memory", "pthread_create failed", "failed to create new OS thread",
		"runtime.(*spanQueue).tryDrain"}, // the collector of Go 1.26 writes into a queue that it did not get, and says where
		func(why string) bool { return strings.Contains(log.String(), why) }) {
		t.Errorf("it ended, and nobody is told why")
	}
	next, _ := startDaemon(t, "", page, dir)
	within(t, 10*time.Second, "evacuate again", func() bool {
		for line := range strings.Lines(next.Stderr.(*safeLog).String()) {
			if strings.Contains(line, "alarm=co_evacuate") && strings.Contains(line, "restored=true") {
				return true
			}
		}
		return false
	})
}

// A broker that never answers is told of after a minute, by the horn's side of
// the daemon: the phone cannot hear it. A password that cannot be read is no
// reason to leave the rig alone.
func TestBrokerAwayIsSaid(t *testing.T) {
	for _, password := range []string{"", "/nowhere/mqtt.password"} {
		synctest.Test(t, func(t *testing.T) {
			b := newBenchRig(t, func(c *config.Config) {
				c.MQTT.Broker, c.MQTT.PasswordFile = "tcp://127.0.0.1:1", password // nobody runs the client
			})
			start := time.Now()
			b.play(t, 2*time.Minute, nil)
			wantPunctual(t, b, 2*time.Minute)
			if at, ok := b.came("broker_away_notice", start); !ok || at < time.Minute || at > 62*time.Second {
				t.Errorf("password file %q: broker_away_notice came at %v (%v), want after a minute", password, at, ok)
			}
		})
	}
}
