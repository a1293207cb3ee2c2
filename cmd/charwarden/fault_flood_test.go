package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"charwarden/cmd/internal/names"
)

const hostileMessages = 100_000

var flooded = flag.Bool("flood", false, "run TestHundredThousandHostile")

// hostileMessage is something that nobody should send to the rig.
func hostileMessage(r *rand.Rand) (topic string, payload []byte) {
	bytesOf := func(n int) []byte {
		b := make([]byte, r.IntN(n))
		for i := range b {
			b[i] = byte(r.UintN(256))
		}
		return b
	}
	pick := func(of ...string) string { return of[r.IntN(len(of))] }
	verb := pick("ack", "silence", "note", "reset", "shelve", "phase", "out", "ACK", "ack/ack", "", "%s%n", strings.Repeat("v", 200))
	person := pick("kim", "kim", "kim", "", "root", "a b", "\u202ekim", strings.Repeat("p", 300))
	topic = "charwarden/pump/do/" + person + "/" + verb
	switch r.IntN(8) {
	case 0:
		payload = bytesOf(300)
	case 1:
		payload = []byte(pick("co_evacuate 1", "co_evacuate 18446744073709551616", "co_evacuate -1", "co_evacuate 1 2", "co_evacuate", "1 co_evacuate"))
	case 2:
		payload = []byte(pick(`{"alarm":"co_evacuate"}`, "[[[[[[[[", "../../etc/passwd 1", "'; DROP TABLE ticks; --", "<script>alert(1)</script>"))
	case 3:
		payload = []byte(pick("moisture 1e999 %", "return NaN %", "batch \x00", "two\nlines", "\x1b[2J", "\xff\xfe"))
	case 4:
		payload = bytes.Repeat([]byte{'x'}, []int{255, 256, 257, 4096}[r.IntN(4)])
	}
	if r.IntN(1000) == 0 {
		payload = bytes.Repeat([]byte{'y'}, 64<<10)
	}
	return topic, payload
}

// storm sends them all, in order, and then a note that nothing can overtake,
// until it is told.
func storm(t *testing.T, broker string, sent *atomic.Int64, told func() bool) {
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + broker).SetClientID("storm").SetMessageChannelDepth(1000))
	if tok := c.Connect(); !tok.WaitTimeout(5*time.Second) || tok.Error() != nil {
		t.Errorf("storm: %v", tok.Error())
		return
	}
	defer c.Disconnect(50)
	r := rand.New(rand.NewPCG(100, 1))
	window := make([]paho.Token, 0, 500)
	settle := func() {
		for _, tok := range window {
			if !tok.WaitTimeout(time.Minute) || tok.Error() != nil {
				t.Errorf("storm: %v", tok.Error())
			}
		}
		window = window[:0]
	}
	for range hostileMessages {
		topic, payload := hostileMessage(r)
		window = append(window, c.Publish(topic, 1, r.IntN(5000) == 0, payload))
		sent.Add(1)
		if len(window) == cap(window) {
			settle()
		}
	}
	settle()
	for end := time.Now().Add(5 * time.Minute); time.Now().Before(end) && !told(); time.Sleep(200 * time.Millisecond) {
		c.Publish("charwarden/pump/do/kim/note", 1, false, "that was all").WaitTimeout(5 * time.Second)
	}
}

// besiege asks the metrics page, or the socket, for what is not there.
func besiege(ctx context.Context, dial func(context.Context, string, string) (net.Conn, error), n int, seed uint64, done *atomic.Int64) {
	r := rand.New(rand.NewPCG(seed, 2))
	client := &http.Client{Timeout: 20 * time.Second, Transport: &http.Transport{DialContext: dial, MaxIdleConnsPerHost: 1}}
	defer client.CloseIdleConnections()
	for range n {
		if ctx.Err() != nil {
			return
		}
		done.Add(1)
		if r.IntN(20) == 0 { // not HTTP at all
			if c, err := dial(ctx, "", ""); err == nil {
				c.SetDeadline(time.Now().Add(5 * time.Second))
				io.WriteString(c, []string{"\x16\x03\x01\x02\x00", "GET\r\n\r\n", "GET / HTTP/9.9\r\n\r\n", "\r\n\r\n\r\n", "POST /ack HTTP/1.1\r\nHost: x\r\nContent-Length: -5\r\n\r\n"}[r.IntN(5)])
				c.Close()
			}
			continue
		}
		method := []string{"GET", "HEAD", "POST", "PUT", "DELETE", "TRACE", "X"}[r.IntN(7)]
		path := []string{"/", "/x", "/../../etc/passwd", "/metrics/", "/ack", "/alarms?x=" + strings.Repeat("a", 2000), "/%00", "/debug/pprof/"}[r.IntN(8)]
		var body io.Reader
		if r.IntN(4) == 0 {
			body = strings.NewReader(strings.Repeat("{", 1+r.IntN(5000)))
		}
		req, err := http.NewRequestWithContext(ctx, method, "http://rig"+path, body)
		if err != nil {
			continue
		}
		if r.IntN(50) == 0 {
			req.Header.Set("X-Long", strings.Repeat("h", 20<<10))
		}
		if resp, err := client.Do(req); err == nil {
			io.Copy(io.Discard, io.LimitReader(resp.Body, 1<<20))
			resp.Body.Close()
		}
	}
}

// 100,000 hostile commands over MQTT, 100,000 hostile requests of the metrics
// page and 10,000 at the socket, all at once: the loop goes on, memory stays
// where it was, an evacuate in the middle of it comes, nothing else changes.
func TestHundredThousandHostile(t *testing.T) {
	if !*flooded {
		t.Skip("takes some minutes of two processors: -flood")
	}
	broker := startMosquitto(t, "allow_anonymous true", "max_queued_messages 0", "max_inflight_messages 1000", "sys_interval 1")
	page, dir := fmt.Sprintf("127.0.0.1:%d", freePort(t)), t.TempDir()
	daemon, in := startDaemon(t, "tcp://"+broker, page, dir)
	log := daemon.Stderr.(*safeLog)
	watcher := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + broker).SetClientID("watcher"))
	if tok := watcher.Connect(); !tok.WaitTimeout(5*time.Second) || tok.Error() != nil {
		t.Fatal(tok.Error())
	}
	defer watcher.Disconnect(50)
	var dropped atomic.Value
	watcher.Subscribe("$SYS/broker/publish/messages/dropped", 0, func(_ paho.Client, m paho.Message) { dropped.Store(string(m.Payload())) })
	within(t, 20*time.Second, "the daemon's subscription", func() bool {
		watcher.Publish("charwarden/pump/do/kim/note", 1, false, "ready").WaitTimeout(5 * time.Second)
		return strings.Contains(log.String(), "text=ready")
	})
	was, began := gauges(t, page), time.Now()

	var sent, asked, local atomic.Int64
	var wg sync.WaitGroup
	told := func() bool { return strings.Contains(log.String(), "that was all") }
	wg.Go(func() { storm(t, broker, &sent, told) })
	tcp := func(ctx context.Context, _, _ string) (net.Conn, error) {
		return new(net.Dialer).DialContext(ctx, "tcp", page)
	}
	unix := func(ctx context.Context, _, _ string) (net.Conn, error) {
		return new(net.Dialer).DialContext(ctx, "unix", filepath.Join(dir, "socket"))
	}
	for i := range 4 {
		wg.Go(func() { besiege(t.Context(), tcp, hostileMessages/4, uint64(i), &asked) })
	}
	wg.Go(func() { besiege(t.Context(), unix, hostileMessages/10, 9, &local) })
	for sent.Load() < hostileMessages/4 && asked.Load() < hostileMessages/4 {
		time.Sleep(50 * time.Millisecond)
	}
	io.WriteString(in, "3.3\n")
	struck := time.Now()
	within(t, 10*time.Second, "evacuate in the middle of it", func() bool {
		return strings.Contains(log.String(), "alarm=co_evacuate priority=evacuate from=normal to=unacknowledged")
	})
	t.Logf("evacuate after %v, with %d commands and %d requests", time.Since(struck), sent.Load(), asked.Load())
	wg.Wait()
	if !told() {
		t.Error("the last of them was not heard")
	}
	is, took := gauges(t, page), time.Since(began)
	n, missed := is[names.Ticks]-was[names.Ticks], is[names.TicksMissed]-was[names.TicksMissed]
	if want := 10 * took.Seconds(); n < 0.9*want-5 {
		t.Errorf("%v ticks in %v, %v missed", n, took, missed)
	}
	peak := memory(t, daemon.Process.Pid, "VmHWM")
	if peak > 120_000 {
		t.Errorf("it took %d kB at its peak", peak)
	}
	if d, _ := dropped.Load().(string); d != "0" {
		t.Errorf("the broker dropped %q of them: they were not all heard", d)
	}
	text := log.String()
	for _, bad := range []string{"panic", "goroutine ", "fatal error", "part of the daemon failed"} {
		if strings.Contains(text, bad) {
			t.Errorf("the log has %q", bad)
		}
	}
	if sent.Load() != hostileMessages || asked.Load() != hostileMessages {
		t.Errorf("%d commands and %d requests", sent.Load(), asked.Load())
	}
	var alarms []struct {
		Name, State string
	}
	if err := newVisit(filepath.Join(dir, "socket"), nil).get(t.Context(), "/alarms", &alarms); err != nil {
		t.Fatal(err)
	}
	for _, a := range alarms {
		if a.State == "out_of_service" || a.State == "shelved" || a.Name == "co_evacuate" && a.State != "unacknowledged" && a.State != "acknowledged" {
			t.Errorf("%s is %s", a.Name, a.State)
		}
	}
	t.Logf("%d + %d + %d in %v: %v ticks, %v missed, %d kB at the peak, %d lines of log",
		sent.Load(), asked.Load(), local.Load(), took.Round(time.Second), n, missed, peak, strings.Count(text, "\n"))
}
