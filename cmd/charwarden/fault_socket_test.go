package main

import (
	"io"
	"net"
	"strings"
	"testing"
	"time"
)

// The socket has the limits of the metrics page: callers that say nothing are
// cut off and do not keep others out, a header has an end, and what is not there
// or not asked for in this way is refused.
func TestSocketLimits(t *testing.T) {
	d, carry := newTestDesk(t)
	carry()
	began := time.Now()
	for range callers {
		c, err := net.Dial("unix", d.path)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		io.WriteString(c, "POST /ack HT") // never goes on
	}
	if err := d.v.get(t.Context(), "/phase", new(phaseRow)); err != nil { // one too many: waits for a place
		t.Fatal(err)
	}
	if waited := time.Since(began); waited < time.Second || waited > 4*time.Second {
		t.Errorf("caller %d had a place after %v: want when the silent ones are cut off, after 2 s", callers+1, waited)
	}

	say := func(text string) string {
		t.Helper()
		c, err := net.Dial("unix", d.path)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		c.SetDeadline(time.Now().Add(10 * time.Second))
		io.WriteString(c, text)
		b, _ := io.ReadAll(c) // a reset is an answer too
		line, _, _ := strings.Cut(string(b), "\r\n")
		return line
	}
	const end = " HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n"
	for _, c := range []struct{ ask, want string }{
		{"GET /alarms" + end, "200"},
		{"GET /nothing" + end, "404"},
		{"GET /ack" + end, "405"},
		{"DELETE /alarms" + end, "405"},
		{"GET /../../etc/passwd" + end, "30"}, // to what it means, which is not there
		{"GET /alarms HTTP/1.1\r\nHost: x\r\nX-Long: " + strings.Repeat("h", 64<<10) + "\r\n\r\n", "431"},
		{"\x16\x03\x01 not HTTP\r\n\r\n", "400"},
		{"POST /ack HTTP/1.1\r\nHost: x\r\nConnection: close\r\nContent-Length: 999999\r\n\r\n" + strings.Repeat("x", 5000), "413"},
	} {
		if got := say(c.ask); !strings.HasPrefix(got, "HTTP/1.1 "+c.want) {
			t.Errorf("%.40q: %q, want %s", c.ask, got, c.want)
		}
	}
	began = time.Now()
	if got := say("POST /ack HTTP/1.1\r\nHost: x\r\nConnection: close\r\nContent-Length: 100\r\n\r\n{"); time.Since(began) > 8*time.Second {
		t.Errorf("a body that does not end held the caller's place for %v: %q", time.Since(began), got)
	}
}
