package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"charwarden/config"
)

// benchDaemon is the daemon on a simulated rig at the pace of life, as a
// process of its own: benchdaemon BROKER METRICS DIR [PASSWORD], the last a file
// with that of the broker's user charwarden. A line on its standard input with a
// voltage forces the CO cell's output there; "hang" hangs the loop.
// The edges of its watch pulse and run permit are told on descriptor 3, if it
// is open, as the letters w and p.
func benchDaemon() {
	cfg, err := config.Parse("reference.toml", config.Reference())
	if err != nil {
		panic(err)
	}
	cfg = withoutBoard(cfg)
	cfg.MQTT.Broker, cfg.Metrics.Listen = os.Args[1], os.Args[2]
	cfg.Outputs.RunPermit = permitPin
	cfg.State, cfg.Socket = os.Args[3], filepath.Join(os.Args[3], "socket")
	cfg.RunLog.Dir = filepath.Join(os.Args[3], "runs")
	if len(os.Args) > 4 {
		cfg.MQTT.User, cfg.MQTT.PasswordFile = "charwarden", os.Args[4]
	}
	s, err := newSimRig(cfg, systemClock{}, 1)
	if err != nil {
		panic(err)
	}
	var hung atomic.Bool
	w := &watch{cfg: cfg, board: pipeBoard{s.board}, clock: systemClock{}, log: newLog(os.Stderr)}
	w.more = []output{func(*frame) {
		for hung.Load() {
			time.Sleep(time.Millisecond)
		}
	}}
	if err := w.assemble(); err != nil {
		panic(err)
	}
	go func() {
		var volts float64
		for in := bufio.NewScanner(os.Stdin); in.Scan(); {
			if in.Text() == "hang" {
				hung.Store(true)
				continue
			}
			fmt.Sscan(in.Text(), &volts)
			s.adcs["adc"].Force(2, volts)
		}
	}()
	w.start(context.Background())
}

// startDaemon runs benchDaemon in a process and returns it with its input; its
// Stderr is a *safeLog.
func startDaemon(t *testing.T, args ...string) (*exec.Cmd, io.Writer) {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := &exec.Cmd{Path: exe, Args: append([]string{"benchdaemon"}, args...)}
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	log := &safeLog{}
	cmd.Stderr = log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		cmd.Process.Kill()
		cmd.Wait()
		if t.Failed() {
			t.Logf("daemon:\n%s", log)
		}
	})
	return cmd, in
}

// lacks ends a test that cannot run here: in CI that is a failure.
func lacks(t testing.TB, format string, args ...any) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf("CI needs it: "+format, args...)
	}
	t.Skipf("to run this test: "+format, args...)
}

// startMosquitto runs Debian's broker on a free port until the test ends. conf
// are lines of its configuration in place of access for everybody.
func startMosquitto(t testing.TB, conf ...string) (addr string) {
	t.Helper()
	exe, err := exec.LookPath("/usr/sbin/mosquitto")
	if err != nil {
		lacks(t, "apt-get install mosquitto: %v", err)
	}
	port := freePort(t)
	if conf == nil {
		conf = []string{"allow_anonymous true"}
	}
	file := filepath.Join(t.TempDir(), "mosquitto.conf")
	text := fmt.Sprintf("listener %d 127.0.0.1\npersistence false\n%s\n", port, strings.Join(conf, "\n"))
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(exe, "-c", file)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	addr = fmt.Sprintf("127.0.0.1:%d", port)
	within(t, 5*time.Second, "mosquitto listens", func() bool {
		c, err := net.Dial("tcp", addr)
		if err == nil {
			c.Close()
		}
		return err == nil
	})
	return addr
}

func freePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// within fails the test unless ok holds before the limit.
func within(t testing.TB, limit time.Duration, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(limit); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if ok() {
			return
		}
	}
	t.Fatalf("%s: not within %v", what, limit)
}

// The whole way with real programs: chip to phone through mosquitto, to the
// metrics page, and what the phone hears when the daemon is killed.
func TestRealDaemon(t *testing.T) {
	broker := startMosquitto(t)
	page := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	dir := t.TempDir()

	var mu sync.Mutex
	heard := make(map[string]string) // the newest of each topic
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + broker).SetClientID("phone"))
	if tok := c.Connect(); !tok.WaitTimeout(5*time.Second) || tok.Error() != nil {
		t.Fatalf("phone: %v", tok.Error())
	}
	t.Cleanup(func() { c.Disconnect(50) })
	c.Subscribe("charwarden/pump/#", 1, func(_ paho.Client, m paho.Message) {
		mu.Lock()
		defer mu.Unlock()
		heard[strings.TrimPrefix(m.Topic(), "charwarden/pump/")] = string(m.Payload())
	}).WaitTimeout(5 * time.Second)
	hears := func(topic, text string) func() bool {
		return func() bool {
			mu.Lock()
			defer mu.Unlock()
			return strings.Contains(heard[topic], text)
		}
	}
	shows := func(line string) func() bool {
		return func() bool {
			resp, err := http.Get("http://" + page + "/metrics")
			if err != nil {
				return false
			}
			defer resp.Body.Close()
			b, _ := io.ReadAll(resp.Body)
			return strings.Contains(string(b), "\n"+line)
		}
	}

	daemon, in := startDaemon(t, "tcp://"+broker, page, dir)
	within(t, 10*time.Second, "birth", hears("status", "watching since "))
	within(t, 10*time.Second, "heartbeat", hears("heartbeat", "beat "))
	within(t, 10*time.Second, "a reading at the phone", hears("reading/wall_near", `"status":"good"`))
	within(t, 10*time.Second, "a reading on the page", shows(`charwarden_temperature_celsius{channel="wall_near"} `))
	within(t, 10*time.Second, "an alarm at rest", hears("alarm/co_evacuate", `"state":"normal"`))

	io.WriteString(in, "3.3\n") // the cell's output at the rail
	within(t, 3*time.Second, "evacuate at the phone", hears("alarm/co_evacuate", `"state":"unacknowledged"`))
	within(t, 3*time.Second, "the line for people", hears("notify", "Leave now, upwind."))
	within(t, 3*time.Second, "evacuate on the page",
		shows(`charwarden_alarm_state{alarm="co_evacuate",priority="evacuate",state="unacknowledged"} 1`))

	daemon.Process.Signal(syscall.SIGKILL)
	within(t, 20*time.Second, "the will", hears("status", "WATCH LOST: nobody is watching the rig"))
	mu.Lock()
	clear(heard)
	mu.Unlock()
	startDaemon(t, "tcp://"+broker, page, dir) // whose cell shows clean air
	within(t, 10*time.Second, "birth again", hears("status", "watching since "))
	within(t, 10*time.Second, "what stood stands again", hears("alarm/co_evacuate", `"state":"unacknowledged"`))
	within(t, 10*time.Second, "and calls again", hears("notify", "Leave now, upwind."))
}
