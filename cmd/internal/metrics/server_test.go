package metrics

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
)

// serve runs e until the test ends, and checks how it ends.
func serve(t *testing.T, e *Exporter) (url string, stop func()) {
	t.Helper()
	if err := e.Listen(); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- e.Run(ctx) }()
	stopped := false
	stop = func() {
		if stopped {
			return
		}
		stopped = true
		cancel()
		select {
		case err := <-ended:
			if err != nil {
				t.Errorf("Run returned %v", err)
			}
		case <-time.After(time.Second):
			t.Error("Run did not return within 1 s")
		}
	}
	t.Cleanup(stop)
	return "http://" + e.Addr().String(), stop
}

// fetch makes one request on a connection of its own.
func fetch(t *testing.T, method, url string, edit func(*http.Request)) (status int, body string, err error) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), method, url, nil)
	if err != nil {
		t.Fatal(err)
	}
	req.Close = true
	if edit != nil {
		edit(req)
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		return 0, "", err
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	return res.StatusCode, string(b), err
}

func TestNewRefuses(t *testing.T) {
	for what, spoil := range map[string]func(*Opts){
		"no clock":       func(o *Opts) { o.Clock = nil },
		"no log":         func(o *Opts) { o.Log = nil },
		"no address":     func(o *Opts) { o.Listen = "" },
		"no port":        func(o *Opts) { o.Listen = "127.0.0.1" },
		"channel twice":  func(o *Opts) { o.Channels = append(o.Channels, o.Channels[0]) },
		"channel empty":  func(o *Opts) { o.Channels = []sensors.Channel{{}} },
		"channel bytes":  func(o *Opts) { o.Channels = []sensors.Channel{{Name: "w\xff"}} },
		"quantity":       func(o *Opts) { o.Channels = []sensors.Channel{{Name: "w", Quantity: 200}} },
		"rule twice":     func(o *Opts) { o.Rules = append(o.Rules, o.Rules[0]) },
		"rule empty":     func(o *Opts) { o.Rules = []alarms.Rule{{}} },
		"rule important": func(o *Opts) { o.Rules = []alarms.Rule{{Name: "r", Priority: 200}} },
	} {
		o := pumpOpts(newDial())
		spoil(&o)
		if _, err := New(o); err == nil || !strings.HasPrefix(err.Error(), "metrics: ") {
			t.Errorf("%s: error %v", what, err)
		}
	}
}

func TestListenSaysWhatToDo(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	_, port, _ := net.SplitHostPort(taken.Addr().String())
	for _, tc := range []struct {
		addr  string
		cause error
		words []string
	}{
		{taken.Addr().String(), syscall.EADDRINUSE, []string{taken.Addr().String(), "sudo ss -ltnp 'sport = :" + port + "'", "another port"}},
		{"192.0.2.1:9455", syscall.EADDRNOTAVAIL, []string{"192.0.2.1:9455", "ip -br addr"}}, // RFC 5737: nobody's address
		{"127.0.0.1:70000", nil, []string{"70000"}},
	} {
		o := pumpOpts(newDial())
		o.Listen = tc.addr
		e, err := New(o)
		if err != nil {
			t.Fatal(err)
		}
		err = e.Listen()
		if err == nil {
			t.Fatalf("%s: listens", tc.addr)
		}
		if tc.cause != nil && !errors.Is(err, tc.cause) {
			t.Errorf("%s: %v is not %v", tc.addr, err, tc.cause)
		}
		for _, w := range append(tc.words, "metrics: ") {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %q lacks %q", tc.addr, err, w)
			}
		}
		if e.Addr() != nil {
			t.Errorf("%s: Addr = %v", tc.addr, e.Addr())
		}
		if e.Run(t.Context()) == nil {
			t.Errorf("%s: Run without a listener returned nil", tc.addr)
		}
	}
	// Root may have any port, so the advice is asked without one.
	if a := advice(&net.OpError{Err: syscall.EACCES}, ":80"); !strings.Contains(a, "1024") {
		t.Errorf("advice for EACCES: %q", a)
	}
}

func TestServe(t *testing.T) {
	e, d := newPump(t)
	rs, as, h := morning(e, d.Now())
	e.Update(d.Now(), rs, as, h)
	url, stop := serve(t, e)
	for _, tc := range []struct {
		method, path string
		status       int
		word         string
	}{
		{"GET", "/metrics", 200, "\n" + wallValue + " 412.25\n"},
		{"GET", "/", 200, `href="/metrics"`},
		{"HEAD", "/metrics", 200, ""},
		{"GET", "/other", 404, ""},
		{"POST", "/metrics", 405, ""},
	} {
		status, body, err := fetch(t, tc.method, url+tc.path, nil)
		if err != nil || status != tc.status || !strings.Contains(body, tc.word) {
			t.Errorf("%s %s: %d, %v, %q; want %d with %q", tc.method, tc.path, status, err, body, tc.status, tc.word)
		}
	}
	status, _, err := fetch(t, "GET", url+"/metrics", func(r *http.Request) { r.Header.Set("X-Long", strings.Repeat("x", 64<<10)) })
	if err == nil && status != http.StatusRequestHeaderFieldsTooLarge {
		t.Errorf("64 kB of header: status %d", status)
	}
	stop()
	l, err := net.Listen("tcp", e.Addr().String())
	if err != nil {
		t.Fatalf("the port is not free after Run: %v", err)
	}
	l.Close()
}

func TestRunReportsTheEndOfServing(t *testing.T) {
	e, _ := newPump(t)
	if err := e.Listen(); err != nil {
		t.Fatal(err)
	}
	e.listener.Close()
	if err := e.Run(t.Context()); err == nil || !errors.Is(err, net.ErrClosed) {
		t.Errorf("Run on a closed listener returned %v", err)
	}
}

// bigPump has a page that no socket buffer takes whole.
func bigPump(t *testing.T) *Exporter {
	o := pumpOpts(newDial())
	for i := range 1000 {
		o.Rules = append(o.Rules, alarms.Rule{Name: fmt.Sprintf("valve_%d_fault", i), Priority: alarms.Notice})
	}
	e, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	as := make([]alarms.Alarm, len(o.Rules))
	for i := range o.Rules {
		as[i].Rule = &o.Rules[i]
	}
	e.Update(o.Clock.Now(), nil, as, Health{})
	return e
}

// deaf asks for the page, reads that it comes and then no more.
func deaf(t *testing.T, e *Exporter) net.Conn {
	t.Helper()
	small := net.Dialer{Control: func(_, _ string, c syscall.RawConn) error {
		return c.Control(func(fd uintptr) { syscall.SetsockoptInt(int(fd), syscall.SOL_SOCKET, syscall.SO_RCVBUF, 4096) })
	}}
	c, err := small.Dial("tcp", e.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	if _, err := io.WriteString(c, "GET /metrics HTTP/1.1\r\nHost: pump\r\n\r\n"); err != nil {
		t.Fatal(err)
	}
	first := make([]byte, len("HTTP/1.1 200"))
	if _, err := io.ReadFull(c, first); err != nil || string(first) != "HTTP/1.1 200" {
		t.Fatalf("%q, %v", first, err)
	}
	return c
}

// waitStatus asks for /metrics until the answer is want.
func waitStatus(t *testing.T, url string, want int, limit time.Duration) {
	t.Helper()
	end := time.Now().Add(limit)
	for {
		status, _, err := fetch(t, "GET", url+"/metrics", nil)
		if err == nil && status == want {
			return
		}
		if time.Now().After(end) {
			t.Fatalf("status %d, %v after %v; want %d", status, err, limit, want)
		}
		time.Sleep(20 * time.Millisecond)
	}
}

func TestDeafClientsAreCutOff(t *testing.T) {
	e := bigPump(t)
	e.server.WriteTimeout = 2 * time.Second
	url, _ := serve(t, e)
	for range scrapes {
		deaf(t, e)
	}
	waitStatus(t, url, http.StatusServiceUnavailable, 1500*time.Millisecond) // they hold every place
	waitStatus(t, url, http.StatusOK, 5*time.Second)                         // and lose it without letting go
}

func TestStopWithDeafClient(t *testing.T) {
	e := bigPump(t)
	_, stop := serve(t, e)
	c := deaf(t, e)
	stop() // fails if Run takes more than 1 s
	c.SetReadDeadline(time.Now().Add(time.Second))
	b, err := io.ReadAll(c)
	if errors.Is(err, os.ErrDeadlineExceeded) || strings.HasSuffix(string(b), "\r\n0\r\n\r\n") { // last chunk, RFC 9112, 7.1
		t.Errorf("Run left its answer going: %d bytes, %v", len(b), err)
	}
}

// The tests above shorten limits that must be there without them too.
func TestEveryLimitIsSet(t *testing.T) {
	e, _ := newPump(t)
	s := e.server
	for what, d := range map[string]time.Duration{
		"header": s.ReadHeaderTimeout, "read": s.ReadTimeout, "write": s.WriteTimeout, "idle": s.IdleTimeout,
	} {
		if d <= 0 || d > 30*time.Second {
			t.Errorf("%s time-out %v, want up to 30 s", what, d)
		}
	}
}

func TestSilentClientsAreCutOff(t *testing.T) {
	e, _ := newPump(t)
	e.server.ReadHeaderTimeout = 800 * time.Millisecond
	url, _ := serve(t, e)
	for range connections {
		c, err := net.Dial("tcp", e.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		io.WriteString(c, "GET /metrics HT") // never goes on
	}
	asked := time.Now()
	status, _, err := fetch(t, "GET", url+"/metrics", nil) // one too many: waits for a place
	if err != nil || status != http.StatusOK {
		t.Fatalf("status %d, %v", status, err)
	}
	if waited := time.Since(asked); waited < 100*time.Millisecond {
		t.Errorf("connection %d had a place after %v: there is no limit", connections+1, waited)
	}
}
