package metrics

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
)

// The rig of these tests drives a smallholding's irrigation pump.

// dial is a clock that a test sets by hand.
type dial struct {
	mu  sync.Mutex
	now time.Time
}

func newDial() *dial { return &dial{now: time.Date(2026, 5, 4, 6, 0, 0, 0, time.UTC)} }

func (d *dial) Now() time.Time {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.now
}

func (d *dial) Sleep(context.Context, time.Duration) { panic("the exporter never sleeps") }

func (d *dial) advance(by time.Duration) time.Time {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.now = d.now.Add(by)
	return d.now
}

// words is a log that a test reads.
type words struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (w *words) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.b.Write(p)
}

func (w *words) String() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.b.String()
}

func pumpOpts(d *dial) Opts {
	return Opts{
		Listen: "127.0.0.1:0",
		Channels: []sensors.Channel{
			{Name: "wall", Quantity: sensors.Temperature},
			{Name: "gas_out", Quantity: sensors.Temperature},
			{Name: "suction", Quantity: sensors.Pressure},
			{Name: "co", Quantity: sensors.CO},
			{Name: "speed", Quantity: sensors.Speed},
			{Name: "supply", Quantity: sensors.Voltage},
			{Name: "air_humidity", Quantity: sensors.Humidity},
			{Name: "bump_test", Quantity: sensors.Age},
		},
		Rules: []alarms.Rule{
			{Name: "co_evacuate", Channel: "co", Priority: alarms.Evacuate},
			{Name: "co_caution", Channel: "co", Priority: alarms.Caution},
			{Name: "gas_out_fault", Channel: "gas_out", Kind: alarms.Fault, Priority: alarms.Caution},
		},
		Version: "1.2.3", Commit: "abc1234", Clock: d,
		Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
	}
}

func newPump(t testing.TB) (*Exporter, *dial) {
	t.Helper()
	d := newDial()
	e, err := New(pumpOpts(d))
	if err != nil {
		t.Fatal(err)
	}
	return e, d
}

func reading(channel string, at time.Time, value float64) sensors.Reading {
	return sensors.Reading{Channel: channel, At: at, Value: value, Raw: value, Cold: math.NaN(), Status: sensors.Good}
}

func alarm(o Opts, name string, s alarms.State) alarms.Alarm {
	for i := range o.Rules {
		if o.Rules[i].Name == name {
			return alarms.Alarm{Rule: &o.Rules[i], State: s}
		}
	}
	panic("no rule " + name)
}

// morning is a snapshot in which everything but two channels is well.
func morning(e *Exporter, now time.Time) ([]sensors.Reading, []alarms.Alarm, Health) {
	rs := []sensors.Reading{
		reading("wall", now.Add(-250*time.Millisecond), 412.25),
		sensors.Bad("gas_out", now.Add(-500*time.Millisecond), sensors.Open, io.ErrUnexpectedEOF),
		reading("suction", now, -1250),
		reading("co", now.Add(-time.Second), 17.5),
		reading("speed", now, 2980),
		reading("supply", now, 12.75),
		reading("air_humidity", now, 0.625),
		sensors.Bad("bump_test", time.Time{}, sensors.NoAnswer, io.EOF),
	}
	as := []alarms.Alarm{
		alarm(e.opts, "co_evacuate", alarms.Normal),
		alarm(e.opts, "co_caution", alarms.Returned),
		alarm(e.opts, "gas_out_fault", alarms.Unacknowledged),
	}
	h := Health{
		Ticks: 36000, Missed: 2, Step: 1500 * time.Microsecond, StepMax: 12 * time.Millisecond,
		ReadingsDropped: 3, ReadingsMissed: 5,
		MQTTConnected: true, MQTTConnects: 4, MQTTRebuilds: 1, MQTTPublished: 7200, MQTTDropped: 5,
		LogQueued: 900, LogFile: 2_400_000, LogDropped: 3, LogFaults: 2,
		Bus: []BusHealth{{"/dev/spidev0.0", 0}, {"/dev/i2c-1", 1500 * time.Millisecond}},
	}
	return rs, as, h
}

// scrape asks without a network; accept is the Accept header.
func scrape(t testing.TB, e *Exporter, path, accept string) (body string, header http.Header) {
	t.Helper()
	w := httptest.NewRecorder()
	r := httptest.NewRequest("GET", path, nil)
	r.Header.Set("Accept", accept)
	r.Header.Set("Accept-Encoding", "gzip")
	e.server.Handler.ServeHTTP(w, r)
	if w.Code != http.StatusOK {
		t.Fatalf("GET %s: status %d\n%s", path, w.Code, w.Body)
	}
	return w.Body.String(), w.Header()
}

const (
	acceptText        = "text/plain;version=0.0.4"
	acceptOpenMetrics = "application/openmetrics-text;version=1.0.0,text/plain;version=0.0.4;q=0.5"
)

// lines are the page's samples by series: `name{labels}` to its value as text.
func lines(t testing.TB, e *Exporter) map[string]string {
	t.Helper()
	body, _ := scrape(t, e, "/metrics", acceptText)
	m := map[string]string{}
	for l := range strings.Lines(body) {
		if l = strings.TrimSpace(l); strings.HasPrefix(l, "#") {
			continue
		}
		i := strings.LastIndexByte(l, ' ')
		m[l[:i]] = l[i+1:]
	}
	return m
}

// expect compares series with their values; "" means absent.
func expect(t *testing.T, e *Exporter, when string, want map[string]string) {
	t.Helper()
	got := lines(t, e)
	for series, v := range want {
		if got[series] != v {
			t.Errorf("%s: %s = %q, want %q", when, series, got[series], v)
		}
	}
}

// labelled is the series of name with one label.
func labelled(name, label, value string) string { return fmt.Sprintf("%s{%s=%q}", name, label, value) }
